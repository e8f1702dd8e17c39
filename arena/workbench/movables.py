"""What can be moved on the plan, and what the arena's file has to say once it has been moved."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.text.marked_yaml import KeyPath
from agents.text.quantities import Pair
from agents.text.spec_reading import KeyedErrors
from agents.text.values_by_place import with_values
from arena.scene.elements import ArenaForm
from arena.scene.spec import ArenaSpec
from replays.scoring.outline import inside

# Things land on whole steps of this [m], so that the file stays readable.
GRID = 0.005
# To the tenth of a millimetre, which takes out what adding floats leaves behind.
_DIGITS = 4


METER: KeyPath = ("meter",)
"""Stands for the path of the light meter, which is in no file."""


@dataclass(frozen=True)
class Movable:
    """Something on the plan: ``points`` [m] are all of it, ``path`` the key that holds them in the file.

    ``kind`` is lamp, aim, wall, shade, start, zone, gate or goal; ``closed`` tells an outline from a line.
    """

    kind: str
    name: str
    path: KeyPath
    points: tuple[Pair, ...]
    closed: bool = False

    @property
    def is_point(self) -> bool:
        """Whether the file gives one place."""
        return len(self.points) == 1

    def moved(self, across: float, along: float) -> "Movable":
        """The same thing ``across`` and ``along`` [m] from where it is."""
        points = tuple((round(x + across, _DIGITS), round(y + along, _DIGITS)) for x, y in self.points)
        return Movable(self.kind, self.name, self.path, points, self.closed)

    @property
    def value(self) -> Any:
        """What the file has to say."""
        return self.points[0] if self.is_point else self.points

    def distance(self, x: float, y: float) -> float:
        """How far a place [m] is from it; 0 within an outline."""
        if self.is_point:
            return math.dist(self.points[0], (x, y))
        here = np.array([x]), np.array([y])
        if self.closed and inside(*here, np.array(self.points))[0]:
            return 0.0
        ends = [*self.points[1:], self.points[0]] if self.closed else self.points[1:]
        return min(_to_segment((x, y), one, other) for one, other in zip(self.points, ends, strict=False))


def _to_segment(point: Pair, one: Pair, other: Pair) -> float:
    way = (other[0] - one[0], other[1] - one[1])
    length = way[0] ** 2 + way[1] ** 2
    along = (point[0] - one[0]) * way[0] + (point[1] - one[1]) * way[1]
    share = min(max(along / length, 0.0), 1.0) if length > 0.0 else 0.0
    return math.dist(point, (one[0] + share * way[0], one[1] + share * way[1]))


def movables_of(spec: ArenaForm) -> list[Movable]:
    """All that can be moved, the nearest to the viewer first: what hangs, what stands, what is marked."""
    movables = []
    for index, lamp in enumerate(spec.lamps):
        if lamp.aim is not None:
            movables.append(Movable("aim", f"aim of {lamp.name}", ("lamps", index, "aim"), (lamp.aim,)))
        movables.append(Movable("lamp", lamp.name, ("lamps", index, "place"), (lamp.place,)))
    for index, place in enumerate(spec.starts.places or ()):
        key: KeyPath = ("starts", "places", index, "place")
        movables.append(Movable("start", f"start {index + 1}", key, (place.place,)))
    for index, wall in enumerate(spec.walls):
        points, closed = wall.outline or wall.line or (), wall.outline is not None
        key = ("walls", index, "outline" if closed else "line")
        movables.append(Movable("wall", wall.name, key, points, closed))
    for index, shade in enumerate(spec.shades):
        movables.append(Movable("shade", shade.name, ("shades", index, "outline"), shade.outline, True))
    if spec.starts.zone is not None:
        key = ("starts", "zone", "outline")
        movables.append(Movable("zone", "start zone", key, spec.starts.zone.outline, True))
    for index, gate in enumerate(spec.gates):
        movables.append(Movable("gate", gate.name, ("gates", index, "line"), gate.line))
    for index, goal in enumerate(spec.goals):
        if goal.centre is not None:
            movables.append(Movable("goal", goal.name, ("goals", index, "centre"), (goal.centre,)))
        elif goal.outline is not None:
            movables.append(Movable("goal", goal.name, ("goals", index, "outline"), goal.outline, True))
    return movables


def movable_of(movables: Sequence[Movable], path: KeyPath) -> Movable:
    """The thing at a path, or the first one where there is none."""
    return next((movable for movable in movables if movable.path == path), movables[0])


def movable_at(movables: Sequence[Movable], x: float, y: float, reach: float) -> Movable | None:
    """What a click at a place [m] takes hold of: a point within ``reach`` [m] first, then what lies there."""
    near = [(movable.distance(x, y), movable) for movable in movables if movable.is_point]
    near = [(distance, movable) for distance, movable in near if distance <= reach]
    if near:
        return min(near, key=lambda pair: pair[0])[1]
    return next(
        (movable for movable in movables if not movable.is_point and movable.distance(x, y) <= 0.7 * reach),
        None,
    )


def snapped(movable: Movable, across: float, along: float) -> Movable:
    """``movable`` moved by about so much [m], its first point on the grid where it moves at all."""
    x, y = movable.points[0]
    return movable.moved(
        round((x + across) / GRID) * GRID - x if across else 0.0,
        round((y + along) / GRID) * GRID - y if along else 0.0,
    )


def with_movable(spec: ArenaSpec, movable: Movable) -> ArenaSpec:
    """The arena with a thing where it now is. Raises KeyedErrors where that cannot be."""
    changed = with_values(spec, {movable.path: movable.value})
    # a copy is not checked by itself
    from arena.scene.geometry import check_geometry

    check_geometry(changed)
    return changed


def why_not(error: KeyedErrors) -> str:
    """In a few words why a place cannot be."""
    first = error.errors[0]
    return f"{first.got}; {first.expected} is needed"
