"""Checks that an arena can be: no wall crosses itself, nobody starts inside one, nothing lies off the floor.

Each fault is raised at the path of its key, all of them together.
"""

import math
from collections.abc import Iterator, Sequence
from contextlib import suppress
from itertools import pairwise
from typing import Any

import numpy as np
from shapely import LineString, Point, Polygon, STRtree, count_coordinates, prepare
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from agents.text.keyed_errors import KeyedError, KeyedErrors, UnreadError
from agents.text.marked_yaml import KeyPath
from agents.text.quantities import Pair
from agents.text.units import format_quantity
from arena.scene.elements import ArenaForm, Goal, StartZone, Wall

# What lies on an edge counts as inside, whatever rounding says [m].
_SLACK = 1e-9
# An outline of less is no area [m²], a piece of wall that is shorter is no wall [m].
_LEAST_AREA = 1e-6
_LEAST_LENGTH = 1e-6
# What lies over the floor by less than this only touches it [m].
_TOUCH = 1e-5
# Fields that hold a line or an outline, by lists of things.
_FIELDS_DRAWN = {
    "walls": ("outline", "line"),
    "gates": ("line",),
    "shades": ("outline",),
    "goals": ("outline",),
}
# Corners of all outlines and lines together; a bench has a few dozen.
MOST_CORNERS = 5000
# Pairs of corners that are compared to find out whether walls leave room, a second's work.
_MOST_CROSSINGS = 100_000
# More cells than this make the map of light larger than any picture of it.
_MOST_CELLS = 4_000_000


def check_geometry(spec: ArenaForm) -> None:
    """Raise KeyedErrors with all that cannot be."""
    faults = list(geometry_faults(spec))
    if faults:
        raise KeyedErrors(faults)


def geometry_faults(spec: ArenaForm) -> Iterator[KeyedError]:
    """Yield all that cannot be, as far as the arena could be read."""
    corners = sum(len(points) for _, points in _drawn(spec))
    if corners > MOST_CORNERS:
        got = f"{corners:,} corners in all"
        yield KeyedError(
            (), got, f"at most {MOST_CORNERS:,} of floor, walls, shades, goals, gates and zone together"
        )
        return
    faults = [*_floor_faults(spec), *_names_faults(spec), *_form_faults(spec)]
    yield from faults
    # Where an outline crosses itself, inside and outside mean nothing; the rest is still looked at.
    broken = {fault.path for fault in faults}
    if ("floor", "outline") not in broken:
        with suppress(UnreadError):
            floor = Polygon(spec.floor.outline)
            yield from _cell_faults(floor, spec)
            yield from _place_faults(spec, floor, broken)


def _items(spec: ArenaForm, names: str) -> Iterator[tuple[int, Any]]:
    """The things of a list with their numbers, as far as the list could be read."""
    with suppress(UnreadError):
        yield from enumerate(getattr(spec, names))


def _drawn(spec: ArenaForm) -> Iterator[tuple[KeyPath, tuple[Pair, ...]]]:
    """Every line and outline that could be read, with its path: the floor's, those of things, the zone's."""
    with suppress(UnreadError):
        yield ("floor", "outline"), spec.floor.outline
    for names, fields in _FIELDS_DRAWN.items():
        for index, item in _items(spec, names):
            for field in fields:
                with suppress(UnreadError):
                    points = getattr(item, field)
                    if points is not None:
                        yield (names, index, field), points
    with suppress(UnreadError):
        if spec.starts.zone is not None:
            yield ("starts", "zone", "outline"), spec.starts.zone.outline


def _floor_faults(spec: ArenaForm) -> Iterator[KeyedError]:
    with suppress(UnreadError):
        yield from _outline_faults(spec.floor.outline, ("floor", "outline"))


def _names_faults(spec: ArenaForm) -> Iterator[KeyedError]:
    for names in ("walls", "shades", "lamps", "goals", "gates"):
        first: dict[str, int] = {}
        for index, item in _items(spec, names):
            with suppress(UnreadError):
                if item.name in first:
                    got = f"{item.name!r}, the name of {names}[{first[item.name]}]"
                    yield KeyedError((names, index, "name"), got, "a name of its own")
                first.setdefault(item.name, index)


def _form_faults(spec: ArenaForm) -> Iterator[KeyedError]:
    for path, points in _drawn(spec):
        if path[-1] == "line":
            yield from _line_faults(points, path)
        elif path[0] != "floor":
            yield from _outline_faults(points, path)


def _point_text(point: Sequence[float]) -> str:
    return f"{point[0]:.6g} {point[1]:.6g} m"


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


def _line_faults(points: Sequence[Pair], path: KeyPath) -> Iterator[KeyedError]:
    steps = list(_step_faults(points, path))
    yield from steps
    if not steps and not LineString(points).is_simple:
        got = "a line that crosses or touches itself"
        instead = "two walls" if path[0] == "walls" else "two gates"
        yield KeyedError(path, got, f"points in order along it, or {instead}")


def _cell_faults(floor: Polygon, spec: ArenaForm) -> Iterator[KeyedError]:
    west, south, east, north = floor.bounds
    with suppress(UnreadError):
        cells = (east - west) * (north - south) / spec.cell**2
        if cells > _MOST_CELLS:
            least = format_quantity(math.sqrt(cells / _MOST_CELLS) * spec.cell, "m", digits=2)
            expected = f"a length with its unit, about {least} or more here"
            yield KeyedError(("cell",), format_quantity(spec.cell, "m"), expected)


def _place_faults(spec: ArenaForm, bare: Polygon, broken: set[KeyPath]) -> Iterator[KeyedError]:
    # what lies on the edge is on the floor, what only touches it from outside is beside it
    floor, inner = bare.buffer(_SLACK), bare.buffer(-_TOUCH)
    for one in (floor, inner):
        prepare(one)
    solids: list[tuple[int, BaseGeometry]] = []
    lines: list[tuple[int, BaseGeometry]] = []
    for path, points in _drawn(spec):
        if path in broken:
            continue
        if path[0] == "walls":
            index = int(path[1])
            if path[-1] == "outline":
                shape: BaseGeometry = Polygon(points)
                solids.append((index, shape))
            else:
                shape = LineString(points)
                lines += [(index, LineString(piece)) for piece in _pieces(spec.walls[index], points)]
            if not floor.covers(shape):
                got, expected = "a wall that leaves the floor", "a wall on the floor; it may touch its edge"
                yield KeyedError(path, got, expected)
        elif path[0] == "shades" and not inner.intersects(Polygon(points)):
            yield KeyedError(path, "a shade beside the floor", "a shade over the floor; it may stand out")
    room = _Room([solid for _, solid in solids])
    for path, points in _drawn(spec):
        if path[0] == "gates" and path not in broken:
            gate = LineString(points)
            if not (floor.intersects(gate) and room.is_left(gate, floor)):
                expected = "a line across the floor, clear of walls"
                yield KeyedError(path, "a gate that nobody can come to", expected)
    for index, goal in _items(spec, "goals"):
        if ("goals", index, "outline") not in broken:
            with suppress(UnreadError):
                yield from _goal_faults(goal, ("goals", index), inner, room)
    with suppress(UnreadError):
        yield from _zone_faults(spec.starts.zone, floor, room, broken)
    with suppress(UnreadError):
        yield from _start_faults(spec, floor, [*solids, *lines])


def _pieces(wall: Wall, line: Sequence[Pair]) -> Sequence[Sequence[Pair]]:
    """What stands of a thin wall; all of its ``line`` where its opening was not understood."""
    with suppress(UnreadError, ValueError):
        return wall.pieces
    return (line,)


class _Room:
    """Tells whether solid walls leave any room in a shape."""

    def __init__(self, solids: Sequence[BaseGeometry]) -> None:
        self._solids, self._tree = solids, STRtree(solids)
        self._left = _MOST_CROSSINGS

    def is_left(self, shape: BaseGeometry, floor: BaseGeometry | None = None) -> bool:
        """Whether there is room in an area, or along a line, on the ``floor`` where that is to be looked at.

        True also where it would take too long to tell.
        """
        is_area = shape.area > 0.0
        if floor is not None:
            self._left -= count_coordinates(shape) * count_coordinates(floor)
            shape = shape if self._left < 0 else shape.intersection(floor)
        for number in self._tree.query(shape, predicate="intersects"):
            solid = self._solids[number]
            self._left -= count_coordinates(shape) * count_coordinates(solid)
            if self._left < 0:
                return True
            shape = shape.difference(solid)
        return bool(shape.area >= _LEAST_AREA if is_area else shape.length >= _LEAST_LENGTH)


def _goal_faults(goal: Goal, path: KeyPath, inner: BaseGeometry, room: _Room) -> Iterator[KeyedError]:
    if goal.outline is not None:
        shape: BaseGeometry = Polygon(goal.outline)
        path = (*path, "outline")
    elif goal.centre is not None and goal.radius is not None:
        shape = Point(goal.centre).buffer(goal.radius)
        path = (*path, "centre")
    else:
        return
    if not inner.intersects(shape):
        yield KeyedError(path, "a goal outside the floor", "a goal on the floor")
    elif not room.is_left(shape):
        yield KeyedError(path, "a goal wholly inside walls", "a goal that a walker can enter")


def _zone_faults(
    zone: StartZone | None, floor: BaseGeometry, room: _Room, broken: set[KeyPath]
) -> Iterator[KeyedError]:
    path = ("starts", "zone", "outline")
    if zone is None or path in broken:
        return
    shape = Polygon(zone.outline)
    if not floor.covers(shape):
        yield KeyedError(path, "a zone that leaves the floor", "a zone on the floor")
    elif not room.is_left(shape):
        yield KeyedError(path, "a zone wholly inside walls", "a zone in which a walker can stand")


def _start_faults(
    spec: ArenaForm,
    floor: BaseGeometry,
    walls: list[tuple[int, BaseGeometry]],
) -> Iterator[KeyedError]:
    starts: list[tuple[int, Pair]] = []
    for index, start in enumerate(spec.starts.places or ()):
        with suppress(UnreadError):
            starts.append((index, start.place))
    points = np.array([Point(place) for _, place in starts], dtype=object)
    tree = STRtree([shape for _, shape in walls])
    # the first wall that each is in, or on
    inside: dict[int, int] = {}
    for number, wall in sorted(tree.query(points, "dwithin", _LEAST_LENGTH).T.tolist()):
        inside.setdefault(number, wall)
    first: dict[tuple[int, int], int] = {}
    for number, ((index, (x, y)), on_floor) in enumerate(zip(starts, floor.covers(points), strict=True)):
        path = ("starts", "places", index, "place")
        place = _point_text((x, y))
        # To the micrometre, as for the pieces of walls.
        spot = (round(x / _LEAST_LENGTH), round(y / _LEAST_LENGTH))
        if not on_floor:
            yield KeyedError(path, f"{place}, which is off the floor", "a place on the floor")
        elif number in inside:
            yield from _in_wall(spec, path, place, walls[inside[number]][0])
        elif spot in first:
            got = f"{place}, where starts.places[{first[spot]}] stands"
            yield KeyedError(path, got, "a place of its own")
        first.setdefault(spot, index)


def _in_wall(spec: ArenaForm, path: KeyPath, place: str, wall: int) -> Iterator[KeyedError]:
    name = ""
    with suppress(UnreadError):
        name = f" {spec.walls[wall].name!r}"
    yield KeyedError(path, f"{place}, which is inside the wall{name}", "a place clear of all walls")
