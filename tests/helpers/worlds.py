"""Small worlds for the tests of the engine: benches, designs and poses put together without any file.

Lengths in metres, light in lux or candela, angles in radians.
"""

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from shapely.geometry import LineString, MultiPoint, Point, Polygon
from shapely.geometry.base import BaseGeometry

from agents.design.as_built import build
from agents.design.spec import Design
from arena.engine.assembly import WorldPlan, assemble
from arena.engine.batch import world_of
from arena.engine.loop import advance, end_world, settle_world
from arena.engine.sky import begin_sky
from arena.engine.world_arrays import DONE, FULL
from arena.scene.contest import Contest, Entrant
from arena.scene.elements import Ambient, Floor, Goal, Lamp, Shade, StartPlace, Starts, Wall
from arena.scene.flat_arena import flatten
from arena.scene.sky import sky_of
from arena.scene.spec import ArenaSpec
from replays.format.tables import PULSES, TOUCHES

Pairs = Sequence[tuple[float, float]]
Poses = Sequence[tuple[float, float, float]]

TABLES = ("pulses", "poses", "touches", "lights")


def design(name: str = "radish", **values: object) -> Design:
    """The default design with SI values by path, dots written as two underscores."""
    return Design(name=name).with_values({key.replace("__", "."): value for key, value in values.items()})


def mirrored(one: Design) -> Design:
    """The design with left and right exchanged; its outline turned over too."""
    body = one.body
    if body.outline is not None:
        body = body.model_copy(update={"outline": tuple((x, -y) for x, y in body.outline[::-1])})
    return one.model_copy(update={"left": one.right, "right": one.left, "body": body})


def lamp(x: float, y: float, height: float, candela: float, diameter: float = 0.0) -> Lamp:
    """A grow lamp that shines alike all round, of daylight colour."""
    return Lamp(
        name=f"lamp {x:g} {y:g}",
        place=(x, y),
        height=height,
        light="daylight",
        intensity=candela,
        diameter=diameter,
    )


def plank(*points: tuple[float, float], height: float = 0.06) -> Wall:
    """A thin wall from point to point."""
    return Wall(name=f"plank {points}", line=points, height=height)


def tray(*points: tuple[float, float], height: float = 0.06) -> Wall:
    """A solid wall with these corners."""
    return Wall(name=f"tray {points}", outline=points, height=height)


def leaf(*points: tuple[float, float], height: float, passes: float = 0.0) -> Shade:
    """A shade with these corners."""
    return Shade(name=f"leaf {points}", outline=points, height=height, passes=passes)


def box(width: float, depth: float) -> Pairs:
    """Corners of a rectangle from the origin."""
    return ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth))


def bench(
    outline: Pairs,
    lamps: Sequence[Lamp] = (),
    walls: Sequence[Wall] = (),
    shades: Sequence[Shade] = (),
    ambient: float = 0.0,
    goals: Sequence[Goal] = (),
    starts: Starts | None = None,
) -> ArenaSpec:
    """An arena; unless starts are given it has one, in its first corner."""
    corner = 0.9 * np.array(outline[0]) + 0.1 * np.mean(np.array(outline), axis=0)
    return ArenaSpec(
        name="test bench",
        floor=Floor(outline=tuple(outline)),
        walls=tuple(walls),
        shades=tuple(shades),
        lamps=tuple(lamps),
        ambient=Ambient(illuminance=ambient),
        goals=tuple(goals),
        starts=starts or Starts(places=(StartPlace(place=(float(corner[0]), float(corner[1]))),)),
    )


def contest(spec: ArenaSpec, designs: Sequence[Design], **options: Any) -> Contest:
    """A contest of one walker a design that lasts 600 s, unless the options say otherwise."""
    choices = {"walkers": 1, "seconds": 600.0, "seed": 1, "alone": False} | options
    return Contest(spec, "-", tuple(Entrant(one, "-") for one in designs), **choices)


class World:
    """One world that can be run in slices and looked at in between; ``tables`` holds what it wrote so far.

    ``rows`` makes the output tables so small that they have to be emptied often; ``looked_up`` tells whether
    free pulses are looked up.
    """

    def __init__(
        self,
        spec: ArenaSpec,
        designs: Sequence[Design],
        poses: Poses,
        until: float = 600.0,
        seed: int = 1,
        rows: dict[str, int] | None = None,
        looked_up: bool = False,
    ) -> None:
        self.spec, self.designs, self.until = spec, designs, until
        walkers = np.concatenate([build(one) for one in designs])
        numbers = np.arange(len(designs))
        plan = WorldPlan(
            flatten(spec),
            walkers,
            np.array(poses, dtype=np.float64),
            numbers,
            numbers,
            seed,
            until,
            sky_of(spec, until, seed),
            looked_up=np.full(len(designs), looked_up),
        )
        batch, spans = assemble([plan])
        for name, count in (rows or {}).items():
            table = getattr(batch.out, name)
            batch = batch._replace(out=batch.out._replace(**{name: np.zeros((1, count), table.dtype)}))
        self.scene, self.crowd, self.out, self.weather = world_of(batch, spans, 0)
        self.known_pulses, self.held = batch.pulses, batch.held
        self.bodies: Any = self.crowd.bodies
        self.walkers: Any = self.crowd.walkers[self.bodies["built"]]
        self.emptied = 0
        self._chunks: dict[str, list[Any]] = {name: [] for name in TABLES}
        settle_world(self.crowd)
        begin_sky(self.scene, self.crowd, self.weather)

    def run(self, until: float | None = None) -> "World":
        """Run up to ``until`` [s], or to the end."""
        code = FULL
        while code == FULL:
            code = self.advanced(self.until if until is None else until)
            self._empty()
        assert code == DONE
        if until is None:
            while not end_world(self.crowd, self.out):
                self._empty()
            self._empty()
        return self

    def advanced(self, until: float) -> int:
        """Run up to ``until`` [s], or to where the output is full; returns what stopped it."""
        known, held = self.known_pulses, self.held
        return int(advance(self.scene, self.crowd, self.out, self.weather, known, held, until))

    def watch(self, look: Callable[[float], None], step: float) -> "World":
        """Run to the end and call ``look`` with the time after every ``step`` [s]."""
        for count in range(1, math.floor(self.until / step)):
            self.run(count * step)
            look(count * step)
        return self.run()

    def _empty(self) -> None:
        for place, name in enumerate(TABLES):
            count = self.out.counts[place]
            assert count <= len(getattr(self.out, name))
            if count:
                self._chunks[name].append(getattr(self.out, name)[:count].copy())
        self.out.counts[: len(TABLES)] = 0
        self.emptied += 1

    def table(self, name: str) -> Any:
        """All rows of a table so far, as they were written."""
        chunks = self._chunks[name]
        return np.concatenate(chunks) if chunks else getattr(self.out, name)[:0]

    @property
    def pulses(self) -> Any:
        """All pulses that have ended, by start."""
        rows: Any = self.table("pulses") if self._chunks["pulses"] else np.zeros(0, PULSES)
        return np.sort(rows, order=["start_s", "walker"])

    @property
    def touches(self) -> Any:
        """All touches so far."""
        return self.table("touches") if self._chunks["touches"] else np.zeros(0, TOUCHES)

    def ledger(self) -> np.ndarray[Any, Any]:
        """Energy [J] of each walker: panel, change of what is stored, motor, bases, eyes, leak, esr."""
        state = self.bodies["state"]
        rail, start = state["rail"], self.walkers["start_rail"]
        stored = 0.5 * self.walkers["capacitance"] * (rail**2 - start**2)
        spent = [state[f"{name}_energy"] for name in ("motor", "base", "eye", "leak", "esr")]
        return np.column_stack([state["panel_energy"], stored, *spent])

    def core(self, number: int) -> tuple[BaseGeometry, float]:
        """A body by shapely, from its design and pose alone: its core, and the radius about it."""
        body, parts = self.bodies[number], self.designs[number].body
        corners = np.array(parts.outline or [(parts.ahead, 0.0)])
        cosine, sine = math.cos(body["heading"]), math.sin(body["heading"])
        x = body["x"] + cosine * corners[:, 0] - sine * corners[:, 1]
        y = body["y"] + sine * corners[:, 0] + cosine * corners[:, 1]
        radius = 0.0 if parts.outline else (parts.radius or 0.026)
        return MultiPoint(np.column_stack([x, y])).convex_hull, radius


def signed_gap(one: BaseGeometry, other: BaseGeometry) -> float:
    """Gap of two convex shapes [m], negative by the shortest move that parts them.

    It is where the origin lies to the hull of all differences of their points (the Minkowski difference).
    """
    apart = one.distance(other)
    if apart > 0.0:
        return float(apart)
    differences = (_points(one)[:, None, :] - _points(other)[None, :, :]).reshape(-1, 2)
    hull = MultiPoint(differences).convex_hull
    return -float(hull.exterior.distance(Point(0.0, 0.0))) if isinstance(hull, Polygon) else 0.0


def _points(shape: BaseGeometry) -> np.ndarray[Any, Any]:
    line: Any = shape.exterior if isinstance(shape, Polygon) else shape
    return np.array(line.coords)


def wall_lines(spec: ArenaSpec) -> list[LineString]:
    """Every piece of wall and rim."""
    walls = flatten(spec).walls
    return [LineString([(one["ax"], one["ay"]), (one["bx"], one["by"])]) for one in walls]
