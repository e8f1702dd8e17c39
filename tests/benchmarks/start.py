"""What a start costs, cold and warm, in one run: ``python -m tests.benchmarks.start``.

A cold start finds an empty folder of caches, a warm one what the cold one left. Seconds are of wall time and,
in brackets, of processor time with all processes that were started; nothing else should run meanwhile.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = "from arena.cli.command import main; main()"
DEMO = ("demo", "--no-window")
BENCH = ("bench", "poppy")


@dataclass(frozen=True)
class Start:
    """Seconds of wall and processor time."""

    wall: float
    busy: float

    def __str__(self) -> str:
        return f"{self.wall:6.2f} s ({self.busy:.2f} s)"


def started(cache: Path, arguments: Sequence[str]) -> Start:
    """Run a command with ``cache`` for the folder of caches, and nothing to show on."""
    place = str(cache)
    # each system keeps its caches under a variable of its own
    environment = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "XDG_CACHE_HOME": place,
        "LOCALAPPDATA": place,
        "HOME": place,
    }
    begun, busy = time.perf_counter(), sum(os.times()[2:4])
    subprocess.run(
        [sys.executable, "-c", PROGRAM, *arguments],
        env=environment,
        cwd=cache,
        stdout=subprocess.DEVNULL,
        check=True,
    )
    return Start(time.perf_counter() - begun, sum(os.times()[2:4]) - busy)


def quickest(cache: Path, arguments: Sequence[str], times: int) -> Start:
    """The quickest of several starts: what else the machine did only ever adds."""
    return min((started(cache, arguments) for _ in range(times)), key=lambda start: start.wall)


def main(arguments: Sequence[str] | None = None) -> dict[str, Start]:
    """Print all figures; returns them by name."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--times", type=int, default=5, help="warm starts of each command")
    times = parser.parse_args(arguments).times
    print(
        f"{os.cpu_count()} cores, Python {platform.python_version()}, numba {version('numba')}, "
        f"{platform.system()} {platform.machine()}"
    )
    figures = {}
    with tempfile.TemporaryDirectory() as folder:
        cache = Path(folder)
        started(cache, ["--version"])  # what Python itself keeps of modules is there
        for name, command, count in (
            ("cold demo", DEMO, 1),
            ("first bench after it", BENCH, 1),
            ("warm demo", DEMO, times),
            ("warm bench", BENCH, times),
        ):
            figures[name] = quickest(cache, command, count)
            print(f"{name:<24} {figures[name]}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        figures["cold bench"] = started(Path(folder), BENCH)
        print(f"{'cold bench':<24} {figures['cold bench']}")
    ratio = figures["cold demo"].wall / figures["warm demo"].wall
    print(f"cold over warm demo: {ratio:.1f}")
    return figures


if __name__ == "__main__":
    main()
