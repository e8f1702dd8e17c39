"""Where walkers start: at listed places, or drawn within a zone, with room for their bodies."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from agents.errors import OptionError
from agents.noise import START, uniform_pair
from arena.flatten import FlatArena
from arena.spec import ArenaSpec

Floats = npt.NDArray[np.float64]
Records = npt.NDArray[np.void]

# Room [m] left round every body at the start.
ROOM = 1e-3
# Draws for one walker before a zone counts as full.
ATTEMPTS = 2000

_RELIEF = "ask for fewer, make the zone larger, or give every walker the arena to itself"


@dataclass(frozen=True)
class Footprint:
    """The circle round a walker's body: ``radius`` [m], its middle ``ahead`` of the axle [m]."""

    radius: float
    ahead: float

    def middle(self, x: float, y: float, heading: float) -> tuple[float, float]:
        """Middle of the circle for an axle at (x, y) [m]."""
        return x + math.cos(heading) * self.ahead, y + math.sin(heading) * self.ahead


def footprints(walkers: Records) -> list[Footprint]:
    """The footprint of every WALKER record."""
    return [Footprint(float(one["body_reach"]), float(one["body_x"])) for one in walkers]


class Ground:
    """The floor of an arena: tells whether a circle is free of walls, and outside solid ones."""

    def __init__(self, spec: ArenaSpec, arena: FlatArena) -> None:
        from shapely import Polygon, prepare

        walls = arena.walls
        self._start = np.stack([walls["ax"], walls["ay"]], axis=1)
        self._way = np.stack([walls["bx"], walls["by"]], axis=1) - self._start
        self._floor = Polygon(spec.floor.outline)
        self._solid = [Polygon(wall.outline) for wall in spec.walls if wall.outline is not None]
        for shape in (self._floor, *self._solid):
            prepare(shape)

    def is_free(self, x: float, y: float, radius: float) -> bool:
        """Whether a circle [m] lies on the floor and touches no wall."""
        from shapely import Point

        to_point = np.array([x, y]) - self._start
        along = np.clip(np.sum(to_point * self._way, axis=1) / np.sum(self._way**2, axis=1), 0.0, 1.0)
        nearest = np.min(np.hypot(*(to_point - along[:, None] * self._way).T))
        if nearest < radius + ROOM:
            return False
        point = Point(x, y)
        return bool(self._floor.contains(point)) and not any(solid.contains(point) for solid in self._solid)


def start_count(spec: ArenaSpec, designs: int, alone: bool) -> int:
    """How many walkers of each design an arena starts if the command does not say."""
    if spec.starts.places is not None:
        places = len(spec.starts.places)
        return places if alone else max(places // designs, 1)
    assert spec.starts.zone is not None
    return spec.starts.zone.number


def place_walkers(spec: ArenaSpec, arena: FlatArena, prints: list[Footprint], seed: int) -> Floats:
    """Return a start pose x, y [m] and heading [rad] for every footprint, shape (walkers, 3), on one floor.

    Listed places are taken in their order. In a zone, place and heading of walker k are drawn by ``seed`` and
    k; a draw that has no room is drawn anew. Raises OptionError where there is no room for all.
    """
    ground = Ground(spec, arena)
    if spec.starts.places is not None:
        return _listed(spec, ground, prints, seed)
    return _in_zone(spec, ground, prints, seed)


def _heading(seed: int, number: int, attempt: int) -> float:
    return math.pi * (2.0 * uniform_pair(seed, number, START, 2 * attempt + 1)[0] - 1.0)


def _listed(spec: ArenaSpec, ground: Ground, prints: list[Footprint], seed: int) -> Floats:
    places = spec.starts.places or ()
    if len(prints) > len(places):
        raise OptionError(
            f"{len(prints)} walkers are to start, but {spec.name!r} lists {len(places)} start places; "
            "ask for fewer walkers or designs, or list more places"
        )
    poses: list[tuple[float, float, float]] = []
    for number, outline in enumerate(prints):
        (x, y), heading = places[number].place, places[number].heading
        turned = _heading(seed, number, 0) if heading is None else heading
        middle = outline.middle(x, y, turned)
        if not ground.is_free(*middle, outline.radius):
            raise OptionError(
                f"a body {2e3 * outline.radius:.0f} mm across meets a wall at start place {number + 1} "
                f"({x:g} {y:g} m) of {spec.name!r}"
            )
        for other in range(number):
            gap = (
                math.dist(middle, prints[other].middle(*poses[other])) - outline.radius - prints[other].radius
            )
            if gap < ROOM:
                raise OptionError(
                    f"start places {other + 1} and {number + 1} of {spec.name!r} are too near one another "
                    f"for bodies {2e3 * outline.radius:.0f} mm across"
                )
        poses.append((x, y, turned))
    return np.array(poses)


def _in_zone(spec: ArenaSpec, ground: Ground, prints: list[Footprint], seed: int) -> Floats:
    from shapely import Point, Polygon

    zone = spec.starts.zone
    assert zone is not None
    area = Polygon(zone.outline)
    west, south, east, north = area.bounds
    radii = np.array([outline.radius for outline in prints])
    # bodies reach beyond the edge of a zone that their axles are in
    beyond = max(outline.radius + abs(outline.ahead) for outline in prints)
    holds = int(area.buffer(beyond).area / (math.pi * float(np.mean(radii**2))))
    if len(prints) > max(holds, 1):
        raise OptionError(
            f"{len(prints)} walkers are to start, but the start zone of {spec.name!r} holds "
            f"{holds} bodies of this size at the very most; {_RELIEF}"
        )
    poses = np.empty((len(prints), 3))
    middles = np.empty((len(prints), 2))
    for number, outline in enumerate(prints):
        for attempt in range(ATTEMPTS):
            across, along = uniform_pair(seed, number, START, 2 * attempt)
            x, y = west + across * (east - west), south + along * (north - south)
            heading = _heading(seed, number, attempt) if zone.heading is None else zone.heading
            middle = outline.middle(x, y, heading)
            gaps = np.hypot(*(middles[:number] - middle).T) - radii[:number]
            if np.any(gaps < outline.radius + ROOM) or not area.contains(Point(x, y)):
                continue
            if ground.is_free(*middle, outline.radius):
                poses[number] = x, y, heading
                middles[number] = middle
                break
        else:
            raise OptionError(
                f"the start zone of {spec.name!r} has room for {number} walkers of this size, "
                f"{len(prints)} are to start; {_RELIEF}"
            )
    return poses
