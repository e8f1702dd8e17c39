"""Speeds and ratios of one run: ``python -m tests.benchmarks.engine`` (``--quick`` for small sizes).

Workload A: many arenas with one walker each, 40 walls and 4 lamps, light for about 25 pulses in 600 s.
Workload B: one arena with 200 walkers that collide and shade one another, 600 s. The plain script of
tests/plain_walker.py runs the first few arenas of A; the ratio is of walker-seconds a second.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import math
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

import numpy as np

from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.light_kinds import KINDS
from arena.engine.assembly import WorldPlan
from arena.scene.flat_arena import FlatArena
from arena.scene.records import SHADE, SOURCE, WALL
from arena.simulation import run_plans
from tests.helpers.plain_walker import PlainWalker

SECONDS = 600.0
DESIGN = Design(name="bench mark")
# Room that a body needs at its start [m].
ROOM = 0.04

# Starts the program's engine as a first command does, in a process of its own.
START = """
import time
begun = time.perf_counter()
from arena.scene.contest import read_contest
from arena.simulation import simulate
simulate(read_contest("open-bench", ["poppy"], walkers=1, seconds=60.0, alone=True))
print(time.perf_counter() - begun)
"""


@dataclass(frozen=True)
class Figure:
    """What a workload came to: simulated walker-seconds, pulses, and seconds of wall and processor time."""

    walker_seconds: float
    pulses: int
    wall: float
    busy: float

    @property
    def speed(self) -> float:
        """Walker-seconds a second."""
        return self.walker_seconds / self.wall


def bench(width: float, depth: float, walls: int, intensity: float, draws: np.random.Generator) -> FlatArena:
    """An arena of ``walls`` short walls and 4 lamps of ``intensity`` [cd] one metre up, and its rim."""
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
        lamps[number]["x"], lamps[number]["y"], lamps[number]["z"] = x * width, y * depth, 1.0
        lamps[number]["intensity"], lamps[number]["aim_z"] = intensity, -1.0
    ambient = np.zeros(len(KINDS))
    ambient[0] = 300.0
    return FlatArena(
        lamps, records, np.zeros(0, SHADE), np.zeros((0, 2)), ambient, np.array(corners, np.float64)
    )


def is_free(arena: FlatArena, x: float, y: float) -> bool:
    """Whether a body has room there."""
    start = np.stack([arena.walls["ax"], arena.walls["ay"]], axis=1)
    way = np.stack([arena.walls["bx"], arena.walls["by"]], axis=1) - start
    along = np.clip(((np.array([x, y]) - start) * way).sum(axis=1) / (way**2).sum(axis=1), 0.0, 1.0)
    return bool(np.min(np.hypot(*(np.array([x, y]) - start - along[:, None] * way).T)) > ROOM)


def starts(arena: FlatArena, number: int, draws: np.random.Generator) -> np.ndarray:
    """Start poses with room between bodies, shape (number, 3)."""
    width, depth = arena.floor.max(axis=0)
    poses: list[tuple[float, float, float]] = []
    while len(poses) < number:
        x, y = draws.uniform(0.1, width - 0.1), draws.uniform(0.1, depth - 0.1)
        if is_free(arena, x, y) and all(math.hypot(x - a, y - b) > 2.0 * ROOM for a, b, _ in poses):
            poses.append((x, y, draws.uniform(-math.pi, math.pi)))
    return np.array(poses)


def many_arenas(number: int) -> list[WorldPlan]:
    """Workload A; one arena in twenty is drawn, the others repeat it with other starts."""
    draws = np.random.default_rng(1)
    walker = build(DESIGN)
    arenas = [bench(2.0, 2.0, 36, 2700.0, draws) for _ in range(max(number // 20, 1))]
    return [
        WorldPlan(
            arenas[index % len(arenas)],
            walker,
            starts(arenas[index % len(arenas)], 1, draws),
            np.array([index]),
            np.array([index]),
            1,
            SECONDS,
        )
        for index in range(number)
    ]


def one_crowd(number: int) -> list[WorldPlan]:
    """Workload B."""
    draws = np.random.default_rng(2)
    arena = bench(4.0, 3.0, 36, 3750.0, draws)
    numbers = np.arange(number)
    poses = starts(arena, number, draws)
    return [WorldPlan(arena, np.repeat(build(DESIGN), number), poses, numbers, numbers, 1, SECONDS)]


def engine(plans: Sequence[WorldPlan], threads: int) -> Figure:
    """Run plans on the engine."""
    begun, busy = time.perf_counter(), time.process_time()
    tables, _ = run_plans(plans, threads)
    wall, busy = time.perf_counter() - begun, time.process_time() - busy
    walkers = sum(len(plan.walkers) for plan in plans)
    return Figure(walkers * SECONDS, len(tables["pulses"]), wall, busy)


def plain(plans: Sequence[WorldPlan]) -> Figure:
    """Run plans of one walker each on the plain script."""
    pulses = 0
    begun, busy = time.perf_counter(), time.process_time()
    for plan in plans:
        x, y, heading = (float(value) for value in plan.poses[0])
        pulses += len(PlainWalker(plan.arena, DESIGN, (x, y, heading)).run(SECONDS))
    wall, busy = time.perf_counter() - begun, time.process_time() - busy
    return Figure(len(plans) * SECONDS, pulses, wall, busy)


def best(measure: Callable[[], Figure], times: int) -> Figure:
    """The quickest of several runs: what else the machine did only ever adds."""
    return min((measure() for _ in range(times)), key=lambda figure: figure.wall)


def first_start(folder: str) -> float:
    """Seconds from starting the interpreter's imports to the end of a short first run."""
    # each system keeps its caches under a variable of its own
    environment = {**os.environ, "XDG_CACHE_HOME": folder, "LOCALAPPDATA": folder, "HOME": folder}
    done = subprocess.run(
        [sys.executable, "-c", START], env=environment, capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def show(label: str, figure: Figure, walkers: int) -> None:
    """Print one line of a workload."""
    # by the time of this process alone, whatever else keeps the machine busy
    per_pulse = figure.busy / max(figure.pulses, 1) * 1e6
    print(
        f"{label:<30} {figure.speed / 1e6:8.4f} M walker-seconds/s"
        f"   {figure.pulses / walkers:5.1f} pulses a walker   {per_pulse:9.1f} us of core a pulse"
    )


def main(arguments: Sequence[str] | None = None) -> dict[str, Any]:
    """Print all figures; returns them by name."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="small sizes, no cold start")
    quick = parser.parse_args(arguments).quick
    cores = os.cpu_count() or 1
    many = many_arenas(20 if quick else 1000)
    crowd = one_crowd(20 if quick else 200)
    few = many[: 1 if quick else 3]
    print(
        f"{cores} cores, Python {platform.python_version()}, numpy {np.__version__}, "
        f"numba {version('numba')}, "
        f"{platform.system()} {platform.machine()}"
    )
    engine(many[:2], 1)
    times = 1 if quick else 3
    figures = {
        "A": best(lambda: engine(many, cores), times),
        "A, one thread": best(lambda: engine(many, 1), times),
        "B": best(lambda: engine(crowd, 1), times),
        "plain script on A": plain(few),
    }
    show(f"A, {cores} threads", figures["A"], len(many))
    show("A, one thread", figures["A, one thread"], len(many))
    show("B, one thread", figures["B"], len(crowd[0].walkers))
    show("plain script on A", figures["plain script on A"], len(few))
    ratio = figures["A"].speed / figures["plain script on A"].speed
    print(f"A over the plain script: {ratio:,.0f}")
    if not quick:
        with tempfile.TemporaryDirectory() as folder:
            cold = first_start(folder)
            warm = first_start(folder)
        print(f"first start: {cold:.1f} s, compiling; {warm:.1f} s from the cache; ratio {cold / warm:.1f}")
    return figures


if __name__ == "__main__":
    main()
