"""The worlds that the engine's benchmark runs; lengths in metres, light in lux or candela.

Workload A: many arenas with one walker each, 40 walls and 4 lamps, light for about 25 pulses in 600 s.
Workload B: one arena with 200 walkers that collide and shade one another. A hall is workload B at any size
with as many walkers and walls a square metre: its four lamps hang higher and are stronger, so that the light
on its floor, and the length of shadows, stay as they are.
"""

import math
from collections.abc import Iterator

import numpy as np

from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.light_kinds import KINDS
from arena.engine.assembly import WorldPlan
from arena.scene.flat_arena import FlatArena
from arena.scene.records import SHADE, SOURCE, WALL

SECONDS = 600.0
DESIGN = Design(name="bench mark")
# Room that a body needs at its start.
ROOM = 0.04
# Walkers, width, depth, walls, height of the lamps and candela of workload B, from which halls are made.
CROWD = 200
WIDTH, DEPTH = 4.0, 3.0
WALLS = 36
HEIGHT, CANDELA = 1.0, 3750.0


def bench(
    width: float, depth: float, walls: int, intensity: float, draws: np.random.Generator, height: float = 1.0
) -> FlatArena:
    """An arena of ``walls`` short walls and 4 lamps of ``intensity`` [cd] at a ``height``, and its rim."""
    records = np.zeros(walls + 4, WALL)
    for number in range(walls):
        x, y = draws.uniform(0.1, width - 0.1), draws.uniform(0.1, depth - 0.1)
        turn, length = draws.uniform(0.0, math.pi), draws.uniform(0.05, 0.2)
        records[number] = (x, y, x + length * math.cos(turn), y + length * math.sin(turn), 0.06)
    corners = [(0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)]
    for number in range(4):
        records[walls + number] = (*corners[number], *corners[(number + 1) % 4], 0.04)
    lamps = np.zeros(4, SOURCE)
    for number, (x, y) in enumerate([(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)]):
        lamps[number]["x"], lamps[number]["y"], lamps[number]["z"] = x * width, y * depth, height
        lamps[number]["intensity"], lamps[number]["aim_z"] = intensity, -1.0
    ambient = np.zeros(len(KINDS))
    ambient[0] = 300.0
    return FlatArena(
        lamps, records, np.zeros(0, SHADE), np.zeros((0, 2)), ambient, np.array(corners, np.float64)
    )


class Starts:
    """Start poses with room between bodies and from walls, looked up in squares of the floor."""

    def __init__(self, arena: FlatArena) -> None:
        self._start = np.stack([arena.walls["ax"], arena.walls["ay"]], axis=1)
        self._way = np.stack([arena.walls["bx"], arena.walls["by"]], axis=1) - self._start
        self._size = arena.floor.max(axis=0)
        self._square: dict[tuple[int, int], list[tuple[float, float]]] = {}

    def drawn(self, number: int, draws: np.random.Generator) -> np.ndarray:
        """Poses of shape (number, 3): x, y and heading [rad]."""
        width, depth = self._size
        poses: list[tuple[float, float, float]] = []
        while len(poses) < number:
            x, y = draws.uniform(0.1, width - 0.1), draws.uniform(0.1, depth - 0.1)
            if all(math.hypot(x - a, y - b) > 2.0 * ROOM for a, b in self._near(x, y)) and self._is_free(
                x, y
            ):
                poses.append((x, y, draws.uniform(-math.pi, math.pi)))
                self._square.setdefault((int(x / ROOM), int(y / ROOM)), []).append((x, y))
        return np.array(poses)

    def _near(self, x: float, y: float) -> Iterator[tuple[float, float]]:
        column, row = int(x / ROOM), int(y / ROOM)
        for across in range(-2, 3):
            for along in range(-2, 3):
                yield from self._square.get((column + across, row + along), ())

    def _is_free(self, x: float, y: float) -> bool:
        from_start = np.array([x, y]) - self._start
        along = np.clip((from_start * self._way).sum(axis=1) / (self._way**2).sum(axis=1), 0.0, 1.0)
        return bool(np.min(np.hypot(*(from_start - along[:, None] * self._way).T)) > ROOM)


def many_arenas(number: int, seconds: float = SECONDS, looked_up: bool = True) -> list[WorldPlan]:
    """Workload A; one arena in twenty is drawn, the others repeat it with other starts."""
    draws = np.random.default_rng(1)
    walker = build(DESIGN)
    arenas = [bench(2.0, 2.0, 36, 2700.0, draws) for _ in range(max(number // 20, 1))]
    return [
        WorldPlan(
            arenas[index % len(arenas)],
            walker,
            Starts(arenas[index % len(arenas)]).drawn(1, draws),
            np.array([index]),
            np.array([index]),
            1,
            seconds,
            looked_up=np.array([looked_up]),
        )
        for index in range(number)
    ]


def hall(number: int, seconds: float = SECONDS, looked_up: bool = True) -> list[WorldPlan]:
    """Workload B where the ``number`` of walkers is 200, and a hall as crowded with any other."""
    draws = np.random.default_rng(2)
    scale = math.sqrt(number / CROWD)
    walls = max(round(WALLS * number / CROWD), 1)
    arena = bench(scale * WIDTH, scale * DEPTH, walls, scale**2 * CANDELA, draws, scale * HEIGHT)
    numbers = np.arange(number)
    poses = Starts(arena).drawn(number, draws)
    walkers, known = np.repeat(build(DESIGN), number), np.full(number, looked_up)
    return [WorldPlan(arena, walkers, poses, numbers, numbers, 1, seconds, looked_up=known)]
