"""Checks that an arena can be: no wall crosses itself, nobody starts inside one, nothing lies off the floor.

Each fault is raised at the path of its key, all of them together.
"""

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from shapely import LineString, Point, Polygon, prepare
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union
from shapely.validation import explain_validity

from agents.text.marked_yaml import KeyPath
from agents.text.quantities import Pair
from agents.text.spec_reading import KeyedError, KeyedErrors
from agents.text.units import format_quantity
from arena.scene.elements import ArenaForm, Goal, Shade, Starts, Wall

# What lies on an edge counts as inside, whatever rounding says [m].
_SLACK = 1e-9
# An outline of less is no area [m²], a piece of wall that is shorter is no wall [m].
_LEAST_AREA = 1e-6
_LEAST_LENGTH = 1e-6
# More cells than this make the map of light larger than any picture of it.
_MOST_CELLS = 4_000_000


def check_geometry(spec: ArenaForm) -> None:
    """Raise KeyedErrors with all that cannot be."""
    faults = list(_outline_faults(spec.floor.outline, ("floor", "outline")))
    for names in ("walls", "shades", "lamps", "goals", "gates"):
        faults += _name_faults(getattr(spec, names), names)
    for index, wall in enumerate(spec.walls):
        faults += _wall_form_faults(wall, ("walls", index))
    for index, gate in enumerate(spec.gates):
        faults += _line_faults(gate.line, ("gates", index, "line"), "two gates")
    for index, shade in enumerate(spec.shades):
        faults += _outline_faults(shade.outline, ("shades", index, "outline"))
    for index, goal in enumerate(spec.goals):
        if goal.outline is not None:
            faults += _outline_faults(goal.outline, ("goals", index, "outline"))
    if spec.starts.zone is not None:
        faults += _outline_faults(spec.starts.zone.outline, ("starts", "zone", "outline"))
    # Where an outline crosses itself, inside and outside mean nothing; the rest is still looked at.
    broken = {fault.path for fault in faults}
    if ("floor", "outline") not in broken:
        floor = Polygon(spec.floor.outline)
        faults += _cell_faults(floor, spec.cell)
        faults += _place_faults(spec, floor.buffer(_SLACK), broken)
    if faults:
        raise KeyedErrors(faults)


def _point_text(point: Sequence[float]) -> str:
    return f"{point[0]:.6g} {point[1]:.6g} m"


def _name_faults(items: Sequence[object], names: str) -> Iterator[KeyedError]:
    first: dict[str, int] = {}
    for index, item in enumerate(items):
        name = str(getattr(item, "name", ""))
        if name in first:
            got = f"{name!r}, the name of {names}[{first[name]}]"
            yield KeyedError((names, index, "name"), got, "a name of its own")
        first.setdefault(name, index)


def _step_faults(points: Sequence[Pair], path: KeyPath) -> Iterator[KeyedError]:
    for number, (one, other) in enumerate(pairwise(points), start=1):
        if math.dist(one, other) < _LEAST_LENGTH:
            got = f"points {number} and {number + 1} both at {_point_text(one)}"
            yield KeyedError(path, got, "points that follow each other at different places")


def _outline_faults(points: Sequence[Pair], path: KeyPath) -> Iterator[KeyedError]:
    steps = list(_step_faults(points, path))
    if steps:
        yield from steps
        return
    if math.dist(points[0], points[-1]) < _LEAST_LENGTH:
        got = f"the first point again at the end, {_point_text(points[0])}"
        yield KeyedError(path, got, "each corner once; an outline closes by itself")
        return
    polygon = Polygon(points)
    if polygon.convex_hull.area < _LEAST_AREA:
        yield KeyedError(path, "points all in one line", "an outline that holds an area")
    elif not polygon.is_valid:
        where = explain_validity(polygon).partition("[")[2].rstrip("]").split()
        place = f" at {_point_text([float(part) for part in where])}" if len(where) == 2 else ""
        yield KeyedError(
            path, f"an outline that crosses or touches itself{place}", "corners in order round it"
        )
    elif polygon.area < _LEAST_AREA:
        yield KeyedError(path, "an outline that holds next to nothing", "an area of at least 1 mm2")


def _wall_form_faults(wall: Wall, path: KeyPath) -> Iterator[KeyedError]:
    if wall.outline is not None:
        yield from _outline_faults(wall.outline, (*path, "outline"))
    elif wall.line is not None:
        yield from _line_faults(wall.line, (*path, "line"), "two walls")


def _line_faults(points: Sequence[Pair], path: KeyPath, instead: str) -> Iterator[KeyedError]:
    steps = list(_step_faults(points, path))
    yield from steps
    if not steps and not LineString(points).is_simple:
        got = "a line that crosses or touches itself"
        yield KeyedError(path, got, f"points in order along it, or {instead}")


def _cell_faults(floor: Polygon, cell: float) -> Iterator[KeyedError]:
    west, south, east, north = floor.bounds
    cells = (east - west) * (north - south) / cell**2
    if cells > _MOST_CELLS:
        least = format_quantity(math.sqrt(cells / _MOST_CELLS) * cell, "m", digits=2)
        yield KeyedError(
            ("cell",), format_quantity(cell, "m"), f"a length with its unit, about {least} or more here"
        )


def _place_faults(spec: ArenaForm, floor: BaseGeometry, broken: set[KeyPath]) -> Iterator[KeyedError]:
    prepare(floor)
    solids: list[tuple[int, Polygon]] = []
    lines: list[tuple[int, LineString]] = []
    for index, wall in enumerate(spec.walls):
        path = ("walls", index, "outline" if wall.outline is not None else "line")
        if path in broken:
            continue
        if wall.outline is not None:
            shape: BaseGeometry = Polygon(wall.outline)
            solids.append((index, Polygon(wall.outline)))
        else:
            shape = LineString(wall.line or ())
            lines.append((index, LineString(wall.line or ())))
        if not floor.covers(shape):
            yield KeyedError(
                path, "a wall that leaves the floor", "a wall on the floor; it may touch its edge"
            )
    for index, shade in enumerate(spec.shades):
        if ("shades", index, "outline") not in broken:
            yield from _shade_faults(shade, ("shades", index, "outline"), floor)
    blocked = unary_union([solid for _, solid in solids])
    free = floor.difference(blocked)
    for index, goal in enumerate(spec.goals):
        if ("goals", index, "outline") not in broken:
            yield from _goal_faults(goal, ("goals", index), floor, free)
    for index, gate in enumerate(spec.gates):
        path = ("gates", index, "line")
        if path not in broken and free.intersection(LineString(gate.line)).length < _LEAST_LENGTH:
            yield KeyedError(
                path, "a gate that nobody can come to", "a line across the floor, clear of walls"
            )
    yield from _start_faults(spec, floor, free, solids, lines, broken)


def _shade_faults(shade: Shade, path: KeyPath, floor: BaseGeometry) -> Iterator[KeyedError]:
    if floor.intersection(Polygon(shade.outline)).area < _LEAST_AREA:
        yield KeyedError(path, "a shade beside the floor", "a shade over the floor; it may stand out")


def _goal_faults(goal: Goal, path: KeyPath, floor: BaseGeometry, free: BaseGeometry) -> Iterator[KeyedError]:
    if goal.outline is not None:
        shape: BaseGeometry = Polygon(goal.outline)
        path = (*path, "outline")
    else:
        shape = Point(goal.centre or (0.0, 0.0)).buffer(goal.radius or 0.0)
        path = (*path, "centre")
    if floor.intersection(shape).area < _LEAST_AREA:
        yield KeyedError(path, "a goal outside the floor", "a goal on the floor")
    elif free.intersection(shape).area < _LEAST_AREA:
        yield KeyedError(path, "a goal wholly inside walls", "a goal that a walker can enter")


def _start_faults(
    spec: ArenaForm,
    floor: BaseGeometry,
    free: BaseGeometry,
    solids: list[tuple[int, Polygon]],
    lines: list[tuple[int, LineString]],
    broken: set[KeyPath],
) -> Iterator[KeyedError]:
    zone_path = ("starts", "zone", "outline")
    if spec.starts.zone is not None and zone_path not in broken:
        zone = Polygon(spec.starts.zone.outline)
        if not floor.covers(zone):
            yield KeyedError(zone_path, "a zone that leaves the floor", "a zone on the floor")
        elif free.intersection(zone).area < _LEAST_AREA:
            yield KeyedError(zone_path, "a zone wholly inside walls", "a zone in which a walker can stand")
    if spec.starts.places is not None:
        yield from _listed_faults(spec.starts, spec, floor, solids, lines)


def _listed_faults(
    starts: Starts,
    spec: ArenaForm,
    floor: BaseGeometry,
    solids: list[tuple[int, Polygon]],
    lines: list[tuple[int, LineString]],
) -> Iterator[KeyedError]:
    for _, solid in solids:
        prepare(solid)
    first: dict[tuple[int, int], int] = {}
    for index, start in enumerate(starts.places or ()):
        path = ("starts", "places", index, "place")
        point = Point(start.place)
        place = _point_text(start.place)
        inside = [number for number, solid in solids if solid.covers(point)]
        inside += [number for number, line in lines if line.distance(point) < _LEAST_LENGTH]
        # To the micrometre, as for the pieces of walls.
        spot = (round(start.place[0] / _LEAST_LENGTH), round(start.place[1] / _LEAST_LENGTH))
        if not floor.covers(point):
            yield KeyedError(path, f"{place}, which is off the floor", "a place on the floor")
        elif inside:
            got = f"{place}, which is inside the wall {spec.walls[inside[0]].name!r}"
            yield KeyedError(path, got, "a place clear of all walls")
        elif spot in first:
            got = f"{place}, where starts.places[{first[spot]}] stands"
            yield KeyedError(path, got, "a place of its own")
        first.setdefault(spot, index)
