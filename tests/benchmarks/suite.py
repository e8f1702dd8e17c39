"""How long all tests take: ``python -m tests.benchmarks.suite`` (further arguments go to pytest).

Prints the wall time from start to end, the processor time of all processes, and what else the machine did.
A first run compiles the kernels; so the second one counts.
"""

# ruff: noqa: T201 - printing is what it is for

import os
import platform
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

# What the README tells to run, and the slowest tests besides.
COMMAND = ("-m", "pytest", "-n", "auto", "--dist", "worksteal", "--durations", "25")


@dataclass(frozen=True)
class Figure:
    """``wall`` and processor time of the user ``busy`` [s], and what pytest ended with."""

    wall: float
    busy: float
    code: int


def run_suite(arguments: Sequence[str]) -> Figure:
    """Run pytest in a process of its own, its output here."""
    before, begun = os.times(), time.perf_counter()
    code = subprocess.run([sys.executable, *COMMAND, *arguments], cwd=ROOT, check=False).returncode
    after = os.times()
    return Figure(time.perf_counter() - begun, after.children_user - before.children_user, code)


def main(arguments: Sequence[str] | None = None) -> Figure:
    """Run all tests, or those that are named, and print what they took."""
    load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown"
    figure = run_suite(sys.argv[1:] if arguments is None else arguments)
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    print(f"{machine}, load before {load}")
    print(f"all tests      {figure.wall:8.1f} s of wall time {figure.busy:8.1f} s of processor time")
    return figure


if __name__ == "__main__":
    sys.exit(main().code)
