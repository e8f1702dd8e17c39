"""A sweep on a cluster that loses a worker every few seconds: ``python -m tests.benchmarks.lossy_cluster``.

1,000 chunks on two workers, of which one is killed every 10 s, against the same sweep here: the same bytes,
and how much longer it took. Where a chunk is given up for good, as can be when workers take longer to start
than they live, the same command is given again, and told is how often.
"""

import argparse
import contextlib
import os
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from agents.errors import WorkError
from arena.studies.plans.study import parse_study
from arena.studies.running.sweeping import CSV, NPZ, run_sweep
from arena.studies.running.trials import chunk_size
from tests.helpers.dask_cluster import OwnCluster, own_cluster
from tests.helpers.plans import with_vary


def lossy(chunks: int, every: float, lasts: str) -> dict[str, float]:
    """Run so many chunks while a worker is killed ``every`` so many seconds; returns figures."""
    vary = "design.both.feeler: E12 10k..82k", "design.both.eye.aside: 20 mm..34 mm in 8"
    repeats = -(-256 * chunks // (12 * 8))
    plan = parse_study(with_vary(*vary, more=f"repeats: {repeats}\nlasts: {lasts}\n"))
    found = {"chunks": float(-(-plan.trials // chunk_size(plan)))}
    with tempfile.TemporaryDirectory() as place, own_cluster(2) as cluster:
        begun = time.monotonic()
        found["given up"] = 0.0
        with killing(cluster, every) as killed:
            while True:
                try:
                    run_sweep(plan, Path(place, "there"), on=cluster.address, pictures=False)
                    break
                except WorkError as error:
                    if "gave up a chunk" not in str(error):
                        raise
                    found["given up"] += 1.0
        found["there [s]"], found["killed"] = time.monotonic() - begun, float(len(killed))
        begun = time.monotonic()
        run_sweep(plan, Path(place, "here"), pictures=False)
        found["here [s]"] = time.monotonic() - begun
        for name in (CSV, NPZ):
            assert Path(place, "there", name).read_bytes() == Path(place, "here", name).read_bytes(), name
    return found


@contextlib.contextmanager
def killing(cluster: OwnCluster, every: float) -> Iterator[list[int]]:
    """Kill a worker every so many seconds, each in turn; gives the processes that were."""
    over, killed = threading.Event(), []

    def kill() -> None:
        while not over.wait(every):
            pids = cluster.pids()
            with contextlib.suppress(ProcessLookupError):
                os.kill(pids[len(killed) % len(pids)], signal.SIGKILL)
            killed.append(len(pids))

    thread = threading.Thread(target=kill)
    thread.start()
    try:
        yield killed
    finally:
        over.set()
        thread.join()


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--chunks", type=int, default=1000)
    parser.add_argument("--every", type=float, default=10.0)
    parser.add_argument("--lasts", default="20 s")
    how = parser.parse_args()
    for name, value in lossy(how.chunks, how.every, how.lasts).items():
        sys.stdout.write(f"{name}: {value:.3g}\n")


if __name__ == "__main__":
    main()
