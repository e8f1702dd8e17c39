"""A Dask cluster on this machine, in processes of its own, as one is that is not ours.

``python -m tests.helpers.dask_cluster N`` starts a scheduler and N workers, and says where it is; then it
does what lines on its input ask for.
"""

import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.helpers.commands import ROOT


class OwnCluster:
    """A cluster that runs as a program."""

    def __init__(self, process: "subprocess.Popen[str]", address: str) -> None:
        self._process, self.address = process, address

    def ask(self, order: str) -> Any:
        """Have something done, and return what came of it."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{order}\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def pids(self) -> list[int]:
        """The processes of its workers."""
        return [int(pid) for pid in self.ask("pids")]

    def kill(self) -> None:
        """End the scheduler at once."""
        self._process.kill()


@contextlib.contextmanager
def own_cluster(workers: int = 2, code: str | Path = "", **security: str | Path) -> Iterator[OwnCluster]:
    """Start a cluster; each worker runs the file ``code`` first; ``security`` is that of Dask, by files."""
    files = {name: str(path) for name, path in security.items()}
    with subprocess.Popen(
        [sys.executable, "-m", "tests.helpers.dask_cluster", str(workers), str(code), json.dumps(files)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as process:
        try:
            assert process.stdout is not None
            yield OwnCluster(process, process.stdout.readline().strip())
        finally:
            if process.poll() is None:
                with contextlib.suppress(OSError):
                    process.communicate("end\n", timeout=30)
            process.kill()


def main() -> None:
    """Be the cluster."""
    from distributed import LocalCluster, Security

    files = json.loads(sys.argv[3])
    how: dict[str, Any] = {"security": Security(require_encryption=True, **files)} if files else {}
    if sys.argv[2]:
        how["preload"] = [sys.argv[2]]

    def say(text: str) -> None:
        sys.stdout.write(f"{text}\n")
        sys.stdout.flush()

    with LocalCluster(
        n_workers=int(sys.argv[1]),
        threads_per_worker=1,
        processes=True,
        protocol="tls://" if files else "tcp://",
        dashboard_address=None,
        silence_logs=50,
        host="127.0.0.1",
        **how,
    ) as cluster:
        say(cluster.scheduler_address)
        for line in sys.stdin:
            order, *rest = line.split()
            if order == "end":
                return
            if order == "scale":
                cluster.scale(int(rest[0]))
            pids = [worker.pid for worker in cluster.workers.values()]
            say(json.dumps(pids))


if __name__ == "__main__":
    main()
