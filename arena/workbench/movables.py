"""What can be moved on the plan, and what the arena's file has to say once it has been moved."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.text.documents import KeyedErrors
from agents.text.marked_yaml import KeyPath
from agents.text.quantities import Pair
from agents.text.values import with_values
from arena.scene.elements import ArenaForm
from arena.scene.spec import ArenaSpec
from replays.scoring.outline import inside

# Things land on whole steps of this [m], so that the file stays readable.
GRID = 0.005
# To the tenth of a millimetre, which takes out what adding floats leaves behind.
_DIGITS = 4


@dataclass(frozen=True)
class Thing:
    """Something on the plan: ``points`` [m] are all of it, ``path`` the key that holds them in the file.

    ``kind`` is lamp, aim, wall, shade, start, zone or goal; ``closed`` tells an outline from a line.
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

    def moved(self, across: float, along: float) -> "Thing":
        """The same thing ``across`` and ``along`` [m] from where it is."""
        points = tuple((round(x + across, _DIGITS), round(y + along, _DIGITS)) for x, y in self.points)
        return Thing(self.kind, self.name, self.path, points, self.closed)

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


def things_of(spec: ArenaForm) -> list[Thing]:
    """All that can be moved, the nearest to the viewer first: what hangs, what stands, what is marked."""
    things = []
    for index, lamp in enumerate(spec.lamps):
        if lamp.aim is not None:
            things.append(Thing("aim", f"aim of {lamp.name}", ("lamps", index, "aim"), (lamp.aim,)))
        things.append(Thing("lamp", lamp.name, ("lamps", index, "place"), (lamp.place,)))
    for index, place in enumerate(spec.starts.places or ()):
        key: KeyPath = ("starts", "places", index, "place")
        things.append(Thing("start", f"start {index + 1}", key, (place.place,)))
    for index, wall in enumerate(spec.walls):
        points, closed = wall.outline or wall.line or (), wall.outline is not None
        key = ("walls", index, "outline" if closed else "line")
        things.append(Thing("wall", wall.name, key, points, closed))
    for index, shade in enumerate(spec.shades):
        things.append(Thing("shade", shade.name, ("shades", index, "outline"), shade.outline, True))
    if spec.starts.zone is not None:
        key = ("starts", "zone", "outline")
        things.append(Thing("zone", "start zone", key, spec.starts.zone.outline, True))
    for index, goal in enumerate(spec.goals):
        if goal.centre is not None:
            things.append(Thing("goal", goal.name, ("goals", index, "centre"), (goal.centre,)))
        elif goal.outline is not None:
            things.append(Thing("goal", goal.name, ("goals", index, "outline"), goal.outline, True))
    return things


def thing_of(things: Sequence[Thing], path: KeyPath) -> Thing:
    """The thing at a path, or the first one where there is none."""
    return next((thing for thing in things if thing.path == path), things[0])


def thing_at(things: Sequence[Thing], x: float, y: float, reach: float) -> Thing | None:
    """What a click at a place [m] takes hold of: a point within ``reach`` [m] first, then what lies there."""
    near = [(thing.distance(x, y), thing) for thing in things if thing.is_point]
    near = [(distance, thing) for distance, thing in near if distance <= reach]
    if near:
        return min(near, key=lambda pair: pair[0])[1]
    return next(
        (thing for thing in things if not thing.is_point and thing.distance(x, y) <= 0.7 * reach), None
    )


def snapped(thing: Thing, across: float, along: float) -> Thing:
    """``thing`` moved by about so much [m], its first point on the grid where it moves at all."""
    x, y = thing.points[0]
    return thing.moved(
        round((x + across) / GRID) * GRID - x if across else 0.0,
        round((y + along) / GRID) * GRID - y if along else 0.0,
    )


def with_thing(spec: ArenaSpec, thing: Thing) -> ArenaSpec:
    """The arena with a thing where it now is. Raises KeyedErrors where that cannot be."""
    changed = with_values(spec, {thing.path: thing.value})
    # a copy is not checked by itself
    from arena.scene.geometry import check_geometry

    check_geometry(changed)
    return changed


def why_not(error: KeyedErrors) -> str:
    """In a few words why a place cannot be."""
    first = error.errors[0]
    return f"{first.got}; {first.expected} is needed"
