"""Speed of a sweep, whether its cost is linear, and its memory: ``python -m tests.benchmarks.sweep``.

Trials of one walker, 600 s, of poppy with its part spread in the slalom; 100 repeats of each setting. Every
sweep is a process of its own, and its wall time goes from the start of that process to its end. The ratio is
to processes of ``photodrome run``, one a trial, as many side by side as there are cores, measured on a few of
them. ``--million`` runs 1,000,000 trials of 20 s as well and tells the peak of memory; ``--quick`` takes
small sizes.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import json
import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import yaml

# Does what `photodrome sweep` does, and prints what it took: wall time of the trials alone [s], processor
# time [s], memory [MB].
SWEEP = """
import json, resource, sys, time
from arena.studies.plans.study import read_study
from arena.studies.telling.summary import draw_summary, summarise, write_summary
from arena.studies.running.sweeping import run_sweep
from arena.studies.telling.summary import publish_summary, summarise
outcome = run_sweep(read_study(sys.argv[1]), sys.argv[2])
summary = summarise(outcome)
publish_summary(summary)
# macOS counts bytes, Linux kilobytes
unit = 1e6 if sys.platform == "darwin" else 1e3
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
print(json.dumps({"trials_s": outcome.seconds, "busy_s": time.process_time(), "peak_MB": peak}))
"""
COMMAND = "from arena.cli.command import main; main()"


def plan(trials: int, lasts: str) -> str:
    """A plan of so many trials."""
    repeats = min(100, max(trials // 10, 1))
    return yaml.safe_dump(
        {
            "photodrome": "study 1",
            "name": f"{trials} trials",
            "arenas": ["slalom"],
            "designs": ["poppy"],
            "vary": {"design.both.eye.aside": f"15 mm..35 mm in {trials // repeats}"},
            "repeats": repeats,
            "lasts": lasts,
        },
        sort_keys=False,
    )


def sweep(trials: int, lasts: str = "600 s") -> dict[str, float]:
    """Run a sweep in a process of its own; adds its wall time ``wall_s`` to what that process prints."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.yaml"
        path.write_text(plan(trials, lasts), encoding="utf-8")
        begun = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", SWEEP, str(path), str(Path(folder) / "out")],
            capture_output=True,
            text=True,
            check=True,
        )
        wall = time.perf_counter() - begun
    figures: dict[str, float] = json.loads(done.stdout)
    return figures | {"wall_s": wall}


def processes(trials: int, cores: int) -> float:
    """Wall time a trial [s] where each is a process, as many side by side as there are cores."""
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        for first in range(0, trials, cores):
            at_work = [
                subprocess.Popen(
                    [
                        *(sys.executable, "-c", COMMAND, "run", "slalom", "-d", "poppy", "--walkers", "1"),
                        *("--duration", "600", "--seed", str(number), "--threads", "1"),
                        *("-o", str(Path(folder) / f"{number}.replay.npz")),
                    ],
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
                for number in range(first, min(first + cores, trials))
            ]
            codes = [process.wait() for process in at_work]
            if any(codes):
                raise RuntimeError("photodrome run failed")
        return (time.perf_counter() - begun) / trials


def main(arguments: Sequence[str] | None = None) -> dict[str, Any]:
    """Print all figures; returns them by name."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="small sizes")
    parser.add_argument("--million", action="store_true", help="1,000,000 short trials, for the memory")
    options = parser.parse_args(arguments)
    cores = os.cpu_count() or 1
    print(
        f"{cores} cores, Python {platform.python_version()}, numpy {np.__version__}, "
        f"numba {version('numba')}, {platform.system()} {platform.machine()}"
    )
    # fills the compiler's cache
    sweep(10, "20 s")
    sizes = (10, 20, 40) if options.quick else (1250, 2500, 5000, 10_000)
    figures: dict[str, Any] = {"sweeps": {}}
    print("   trials   wall [s]   without start [s]   trials/s   processor [s]   peak memory [MB]")
    for size in sizes:
        one = figures["sweeps"][size] = sweep(size)
        print(
            f"{size:9,} {one['wall_s']:10.2f} {one['trials_s']:19.2f} {size / one['trials_s']:10.0f}"
            f" {one['busy_s']:15.2f} {one['peak_MB']:18.0f}"
        )
    first, last = figures["sweeps"][sizes[0]], figures["sweeps"][sizes[-1]]
    print(
        f"{sizes[-1]:,} trials, {sizes[-1] // sizes[0]} times as many as {sizes[0]:,}, take "
        f"{last['trials_s'] / first['trials_s']:.1f} times as long without the start"
    )
    each = figures["process_s"] = processes(2 if options.quick else 4 * cores, cores)
    figures["ratio"] = sizes[-1] * each / last["wall_s"]
    print(
        f"one process a trial, {cores} side by side: {each:.2f} s a trial; {sizes[-1]:,} of them would take "
        f"{sizes[-1] * each:,.0f} s, {figures['ratio']:,.0f} times as long as the sweep"
    )
    if options.million:
        many = figures["million"] = sweep(1_000_000, "20 s")
        print(f"1,000,000 trials of 20 s: {many['wall_s']:,.0f} s, peak memory {many['peak_MB']:.0f} MB")
    return figures


if __name__ == "__main__":
    main()
