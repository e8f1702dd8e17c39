"""Speeds and ratios of one run: ``python -m tests.benchmarks.engine`` (``--quick`` for small sizes).

Workloads A and B and halls of any size are those of ``tests/benchmarks/worlds.py``, of walkers alike, whose
free pulses are looked up; A and B are run with each pulse stepped too, as where every part is drawn. C is a
hall of 5,000 walkers, 600 s. Each is run several times, in turns with the others; told are the median and the
range of its speed, in simulated walker-seconds a second of wall time, and the processor time of a pulse,
which what else the machine does disturbs less. The plain script of ``tests/helpers/plain_walker.py`` runs the
first few arenas of A. The cost of a walker-second in halls of 200 to 20,000 walkers gives the power of their
number with which the cost of a run grows. The memory of a walker is told of a run of a second, in which
nobody fires.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version

import numpy as np

from arena.engine.assembly import WorldPlan
from arena.simulation import run_plans
from tests.benchmarks.worlds import DESIGN, SECONDS, hall, many_arenas
from tests.helpers.plain_walker import PlainWalker

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

    walkers: int
    walker_seconds: float
    pulses: int
    wall: tuple[float, ...]
    busy: tuple[float, ...]

    @property
    def speed(self) -> float:
        """Walker-seconds a second, the median of all runs."""
        return self.walker_seconds / statistics.median(self.wall)

    @property
    def cost(self) -> float:
        """Processor time of a walker-second [s], the median of all runs."""
        return statistics.median(self.busy) / self.walker_seconds


def measured(works: Mapping[str, Callable[[], tuple[int, float, int]]], times: int) -> dict[str, Figure]:
    """Do each of the works so many ``times``, in turns; each tells its walkers, walker-seconds and pulses."""
    spent: dict[str, list[tuple[float, float]]] = {name: [] for name in works}
    came_to = {}
    for _ in range(times):
        for name, work in works.items():
            wall, busy = time.perf_counter(), time.process_time()
            came_to[name] = work()
            spent[name].append((time.perf_counter() - wall, time.process_time() - busy))
    return {
        name: Figure(*came_to[name], *(tuple(one) for one in zip(*spent[name], strict=True)))
        for name in works
    }


def engine(plans: Sequence[WorldPlan], threads: int) -> tuple[int, float, int]:
    """Run plans on the engine."""
    tables, _ = run_plans(plans, threads)
    walkers = sum(len(plan.walkers) for plan in plans)
    return walkers, walkers * plans[0].until, len(tables["pulses"])


def plain(plans: Sequence[WorldPlan]) -> tuple[int, float, int]:
    """Run plans of one walker each on the plain script."""
    pulses = 0
    for plan in plans:
        x, y, heading = (float(value) for value in plan.poses[0])
        pulses += len(PlainWalker(plan.arena, DESIGN, (x, y, heading)).run(plan.until))
    return len(plans), len(plans) * plans[0].until, pulses


def growth(figures: Sequence[Figure]) -> float:
    """Power of the number of walkers with which the cost of a run grows: the slope of a line through all."""
    counts = np.log([figure.walkers for figure in figures])
    costs = np.log([figure.cost for figure in figures])
    return 1.0 + float(np.polyfit(counts, costs, 1)[0])


def printed_by(program: str, *arguments: str, **environment: str) -> float:
    """What a Python program, run in a process of its own, prints."""
    done = subprocess.run(
        [sys.executable, "-c", program, *arguments],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    return float(done.stdout)


def memory(plans: Sequence[WorldPlan]) -> float:
    """Most memory [B] a walker that a run of ``plans`` holds at a time, its replay apart.

    All that Python and numpy ask for is counted, the walkers as built too, and what comes out is taken off.
    What is compiled or kept for the process is made before.
    """
    run_plans(plans, 1)
    tracemalloc.start()
    try:
        tables, ledger = run_plans(plans, 1)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    replay = sum(table.nbytes for table in tables.values()) + ledger.nbytes
    count = sum(len(plan.walkers) for plan in plans)
    given = sum(plan.walkers.nbytes + plan.poses.nbytes for plan in plans)
    return (peak + given - replay) / count


def first_start(folder: str) -> float:
    """Seconds from starting the interpreter's imports to the end of a short first run."""
    # each system keeps its caches under a variable of its own
    return printed_by(START, XDG_CACHE_HOME=folder, LOCALAPPDATA=folder, HOME=folder)


def show(label: str, figure: Figure) -> None:
    """Print one line of a workload."""
    slow, quick = figure.walker_seconds / max(figure.wall), figure.walker_seconds / min(figure.wall)
    per_pulse = statistics.median(figure.busy) / max(figure.pulses, 1) * 1e6
    print(
        f"{label:<30} {figure.speed / 1e6:8.4f} M walker-seconds/s ({slow / 1e6:.4f} to {quick / 1e6:.4f})"
        f"   {figure.pulses / figure.walkers:5.1f} pulses a walker   {per_pulse:9.1f} us of core a pulse"
    )


def main(arguments: Sequence[str] | None = None) -> dict[str, Figure]:
    """Print all figures; returns those of the workloads by name."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="small sizes, no cold start")
    quick = parser.parse_args(arguments).quick
    cores = os.cpu_count() or 1
    print(
        f"{cores} cores, Python {platform.python_version()}, numpy {np.__version__}, "
        f"numba {version('numba')}, "
        f"{platform.system()} {platform.machine()}"
    )
    many = many_arenas(20 if quick else 1000)
    crowd = hall(20 if quick else 200)
    large = hall(50 if quick else 5000, 60.0 if quick else SECONDS)
    sizes = (20, 80) if quick else (200, 2000, 20_000)
    lasts = 60.0 if quick else 200.0
    halls = {f"hall of {size:,}": hall(size, lasts) for size in sizes}
    engine(many[:2], 1)
    figures = measured(
        {
            f"A, {cores} threads": partial(engine, many, cores),
            "A, one thread": partial(engine, many, 1),
            "A, stepped, one thread": partial(engine, many_arenas(len(many), looked_up=False), 1),
            "B, one thread": partial(engine, crowd, 1),
            "B, stepped, one thread": partial(engine, hall(len(crowd[0].walkers), looked_up=False), 1),
        },
        1 if quick else 5,
    )
    figures |= measured({"C, one thread": partial(engine, large, 1)}, 1 if quick else 3)
    figures |= measured({name: partial(engine, plans, 1) for name, plans in halls.items()}, 1 if quick else 3)
    figures |= measured({"plain script on A": partial(plain, many[: 1 if quick else 3])}, 1)
    for name, figure in figures.items():
        show(name, figure)
    ratio = figures["A, one thread"].speed / figures["plain script on A"].speed
    print(f"A, one thread, over the plain script: {ratio:,.0f}")
    for other in ("A", "B"):
        over = figures[f"{other}, one thread"].cost / figures[f"{other}, stepped, one thread"].cost
        print(f"cost of {other} with free pulses looked up, over each stepped: {over:.2f}")
    for other in ("B", "C"):
        over = figures[f"{other}, one thread"].cost / figures["A, one thread"].cost
        print(f"cost of a walker-second, {other} over A: {over:.2f}")
    print(f"cost of halls grows with the power {growth([figures[name] for name in halls]):.2f} of walkers")
    print(f"memory of a walker: {memory(hall(sizes[-1], 1.0)) / 1e3:.1f} KB")
    if not quick:
        with tempfile.TemporaryDirectory() as folder:
            cold = first_start(folder)
            warm = first_start(folder)
        print(f"first start: {cold:.1f} s, compiling; {warm:.1f} s from the cache; ratio {cold / warm:.1f}")
    return figures


if __name__ == "__main__":
    main()
