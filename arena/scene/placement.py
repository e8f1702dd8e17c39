"""Where walkers start: at listed places, or drawn within a zone, with room for their bodies."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.errors import OptionError
from agents.noise import START, uniform_pair
from arena.scene.flat_arena import FlatArena
from arena.scene.spec import ArenaSpec

# Room [m] left round every body at the start.
ROOM = 1e-3
# Draws for one walker before a zone counts as full.
ATTEMPTS = 2000
# Draws after which it is worth working out whether there is any room.
FEW_ATTEMPTS = 50

_RELIEF = "ask for fewer, make the zone larger, or give every walker the arena to itself"


@dataclass(frozen=True)
class Footprint:
    """The circle round a walker's body: ``radius`` [m], its middle ``ahead`` of the axle [m]."""

    radius: float
    ahead: float

    def middle(self, x: float, y: float, heading: float) -> tuple[float, float]:
        """Middle of the circle for an axle at (x, y) [m]."""
        return x + math.cos(heading) * self.ahead, y + math.sin(heading) * self.ahead


def footprints(walkers: RecordArray) -> list[Footprint]:
    """The footprint of every WALKER record."""
    return [Footprint(float(one["body_reach"]), float(one["body_ahead"])) for one in walkers]


class _Taken:
    """Circles that are taken, in squares so wide that whoever meets one lies in it or beside it."""

    def __init__(self, prints: list[Footprint]) -> None:
        self._side = 2.0 * max(outline.radius for outline in prints) + ROOM
        self._squares: dict[tuple[int, int], list[tuple[int, float, float, float]]] = {}

    def add(self, number: int, middle: tuple[float, float], radius: float) -> None:
        """Take the circle of walker ``number`` [m]."""
        self._squares.setdefault(self._square(middle), []).append((number, *middle, radius))

    def met_by(self, middle: tuple[float, float], radius: float) -> list[int]:
        """Numbers of those that a circle [m] comes too near to, in their order."""
        column, row = self._square(middle)
        return sorted(
            number
            for across in (column - 1, column, column + 1)
            for along in (row - 1, row, row + 1)
            for number, x, y, other in self._squares.get((across, along), ())
            if math.hypot(x - middle[0], y - middle[1]) - other < radius + ROOM
        )

    def _square(self, middle: tuple[float, float]) -> tuple[int, int]:
        return math.floor(middle[0] / self._side), math.floor(middle[1] / self._side)


class Ground:
    """The floor of an arena with its start places: tells where a circle is free, and starts walkers."""

    def __init__(self, spec: ArenaSpec, arena: FlatArena) -> None:
        from shapely import Polygon, contains_xy, prepare

        self._spec = spec
        self._contains = contains_xy
        walls = arena.walls
        self._start = np.stack([walls["ax"], walls["ay"]], axis=1)
        self._way = np.stack([walls["bx"], walls["by"]], axis=1) - self._start
        self._length_squared = np.sum(self._way**2, axis=1)
        self._floor = Polygon(spec.floor.outline)
        self._solid = [Polygon(wall.outline) for wall in spec.walls if wall.outline is not None]
        self._zone = None if spec.starts.zone is None else Polygon(spec.starts.zone.outline)
        # area [m2] that bodies can take which reach by that much [m] beyond the edge of the zone
        self._reached: dict[float, float] = {}
        self._roomy: dict[Footprint, bool] = {}
        for shape in (self._floor, *self._solid, *([] if self._zone is None else [self._zone])):
            prepare(shape)

    def is_free(self, x: float, y: float, radius: float) -> bool:
        """Whether a circle [m] lies on the floor and touches no wall."""
        to_point = np.array([x, y]) - self._start
        along = np.clip(np.sum(to_point * self._way, axis=1) / self._length_squared, 0.0, 1.0)
        nearest = np.min(np.hypot(*(to_point - along[:, None] * self._way).T))
        if nearest < radius + ROOM:
            return False
        return bool(self._contains(self._floor, x, y)) and not any(
            self._contains(solid, x, y) for solid in self._solid
        )

    def place(self, prints: list[Footprint], seed: int, first: int = 0) -> FloatArray:
        """Return a start pose x, y [m] and heading [rad] for every footprint, (walkers, 3), on one floor.

        Listed places are taken in their order. In a zone, place and heading of the k-th are drawn by ``seed``
        and ``first + k``; a draw that has no room is drawn anew. So is a heading that a listed place leaves
        open. Raises OptionError where there is no room for all.
        """
        if self._zone is None:
            return self._listed(prints, seed, first)
        return self._in_zone(prints, seed, first)

    def place_alone(self, outline: Footprint, seed: int, copy: int) -> tuple[float, float, float]:
        """Start pose of copy number ``copy`` of those that each have the floor to themselves.

        Where places are listed, copies beyond the last begin with the first again; a heading that is left
        open is each one's own. Raises OptionError where there is no room.
        """
        if self._zone is not None:
            x, y, heading = self._in_zone([outline], seed, copy)[0].tolist()
            return x, y, heading
        number = copy % len(self._spec.starts.places or ())
        return self._at_place(number, outline, seed, copy)

    def _at_place(self, number: int, outline: Footprint, seed: int, copy: int) -> tuple[float, float, float]:
        one = (self._spec.starts.places or ())[number]
        x, y = one.place
        heading = _heading(seed, copy, 0) if one.heading is None else one.heading
        if not self.is_free(*outline.middle(x, y, heading), outline.radius):
            raise OptionError(
                f"a body {2e3 * outline.radius:.0f} mm across meets a wall at start place {number + 1} "
                f"({x:g} {y:g} m) of {self._spec.name!r}"
            )
        return x, y, heading

    def _listed(self, prints: list[Footprint], seed: int, first: int) -> FloatArray:
        count = len(self._spec.starts.places or ())
        if len(prints) > count:
            raise OptionError(
                f"{len(prints)} walkers are to start, but {self._spec.name!r} lists {count} start places; "
                "ask for fewer walkers or designs, or list more places"
            )
        poses: list[tuple[float, float, float]] = []
        taken = _Taken(prints)
        for number, outline in enumerate(prints):
            pose = self._at_place(number, outline, seed, first + number)
            middle = outline.middle(*pose)
            for other in taken.met_by(middle, outline.radius):
                raise OptionError(
                    f"start places {other + 1} and {number + 1} of {self._spec.name!r} are too near one "
                    f"another for bodies {2e3 * outline.radius:.0f} mm across"
                )
            taken.add(number, middle, outline.radius)
            poses.append(pose)
        return np.array(poses)

    def _in_zone(self, prints: list[Footprint], seed: int, first: int) -> FloatArray:
        zone, area = self._spec.starts.zone, self._zone
        assert zone is not None
        assert area is not None
        west, south, east, north = area.bounds
        radii = np.array([outline.radius for outline in prints])
        holds = self._holds(area, prints, radii)
        if len(prints) > max(holds, 1):
            raise OptionError(
                f"{len(prints)} walkers are to start, but the start zone of {self._spec.name!r} holds "
                f"{holds} bodies of this size at the very most; {_RELIEF}"
            )
        poses = np.empty((len(prints), 3))
        taken = _Taken(prints)
        for number, outline in enumerate(prints):
            for attempt in range(ATTEMPTS):
                across, along = uniform_pair(seed, first + number, START, 2 * attempt)
                x, y = west + across * (east - west), south + along * (north - south)
                heading = _heading(seed, first + number, attempt) if zone.heading is None else zone.heading
                middle = outline.middle(x, y, heading)
                is_clear = not taken.met_by(middle, outline.radius) and self._contains(area, x, y)
                if is_clear and self.is_free(*middle, outline.radius):
                    poses[number] = x, y, heading
                    taken.add(number, middle, outline.radius)
                    break
                if attempt == FEW_ATTEMPTS and not self._may_hold(area, outline):
                    raise _full(self._spec.name, number, len(prints))
            else:
                raise _full(self._spec.name, number, len(prints))
        return poses

    def _may_hold(self, area: Any, outline: Footprint) -> bool:
        """Whether a zone without anybody in it may have room for such a body; if not, it surely has none."""
        if outline not in self._roomy:
            from shapely import MultiLineString

            # curves are drawn as polygons, a little too small or too large; both towards having room
            walls = MultiLineString(list(zip(self._start, self._start + self._way, strict=True)))
            free = self._floor.difference(walls.buffer(0.99 * outline.radius))
            for solid in self._solid:
                free = free.difference(solid)
            self._roomy[outline] = bool(free.intersects(area.buffer(1.01 * abs(outline.ahead) + 1e-6)))
        return self._roomy[outline]

    def _holds(self, area: Any, prints: list[Footprint], radii: FloatArray) -> int:
        """How many such bodies a zone holds at the very most."""
        # bodies reach beyond the edge of a zone that their axles are in
        beyond = max(outline.radius + abs(outline.ahead) for outline in prints)
        if beyond not in self._reached:
            self._reached = {beyond: area.buffer(beyond).area}
        return int(self._reached[beyond] / (math.pi * float(np.mean(radii**2))))


def start_count(spec: ArenaSpec, designs: int, alone: bool) -> int:
    """How many walkers of each design an arena starts if the command does not say."""
    if spec.starts.places is not None:
        places = len(spec.starts.places)
        return places if alone else max(places // designs, 1)
    assert spec.starts.zone is not None
    return spec.starts.zone.number


def _full(name: str, number: int, wanted: int) -> OptionError:
    return OptionError(
        f"the start zone of {name!r} has room for {number} walkers of this size, {wanted} are to start; "
        f"{_RELIEF}"
    )


def _heading(seed: int, number: int, attempt: int) -> float:
    return math.pi * (2.0 * uniform_pair(seed, number, START, 2 * attempt + 1)[0] - 1.0)
