"""A sweep on a Dask cluster comes to the same bytes as one here, whoever is lost meanwhile."""

import json
import os
import signal
import socket
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from distributed import LocalCluster

from agents.errors import OptionError, WorkError
from arena.studies.plans.study import Study, parse_study
from arena.studies.running import cluster as module
from arena.studies.running.cluster import Cluster
from arena.studies.running.sweeping import CSV, NPZ, run_sweep

PLAN = {
    "photodrome": "study 1",
    "name": "feelers in the slalom",
    "arenas": ["slalom"],
    "designs": ["poppy"],
    "vary": {"design.both.feeler": "E6 10k..100k"},
    "repeats": 500,
    "lasts": "60 s",
}


def study(**changes: Any) -> Study:
    return parse_study(yaml.safe_dump(PLAN | changes, sort_keys=False))


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    """A scheduler with two workers, each a process of its own."""
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as one:
        yield one


def after(chunks: int, act: Callable[[], object]) -> Callable[[float], None]:
    """Does something once so many chunks are kept."""
    shares: list[float] = []

    def progress(share: float) -> None:
        shares.append(share)
        if len(shares) == chunks:
            act()

    return progress


def stop() -> None:
    raise KeyboardInterrupt


def test_a_worker_killed_half_way_changes_no_byte(cluster: LocalCluster, tmp_path: Path) -> None:
    """Begun here, stopped, and gone on with on two workers, one of which is killed: as on one thread here."""
    here, there = tmp_path / "here", tmp_path / "there"
    run_sweep(study(), here, threads=1)
    with pytest.raises(KeyboardInterrupt):
        run_sweep(study(), there, progress=after(3, stop))
    killed: list[int] = []

    def kill() -> None:
        process = next(iter(cluster.workers.values())).pid
        os.kill(process, signal.SIGKILL)
        killed.append(process)

    outcome = run_sweep(study(), there, on=cluster.scheduler_address, progress=after(4, kill))
    assert killed
    assert 3 * 256 <= outcome.kept < 3500
    for name in (CSV, NPZ):
        assert (here / name).read_bytes() == (there / name).read_bytes()


def test_impossible_settings_are_told_as_they_are_here(cluster: LocalCluster, tmp_path: Path) -> None:
    plan = study(vary={"design.body.radius": "26 mm, 400 mm"}, repeats=20)
    there = run_sweep(plan, tmp_path / "there", on=cluster.scheduler_address)
    assert there.impossible == run_sweep(plan, tmp_path / "here").impossible
    assert list(there.impossible) == [1]


def test_a_worker_of_another_version_is_told(
    cluster: LocalCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Study.payload

    def payload(self: Study) -> str:
        sent = json.loads(real(self))
        sent["parts"]["program"] = "another"
        return json.dumps(sent)

    monkeypatch.setattr(Study, "payload", payload)
    with pytest.raises(WorkError, match=r"tcp://.*program differ here"):
        run_sweep(study(), tmp_path, on=cluster.scheduler_address)


def test_a_worker_that_rounds_otherwise_is_told(cluster: LocalCluster) -> None:
    """As one may that joins later, on a machine of another kind."""
    with Cluster(study(), cluster.scheduler_address) as one:
        one.arithmetic = "another"
        with pytest.raises(WorkError, match="round otherwise"):
            list(one.run_chunks([0, 1]))


def test_all_workers_lost_is_told_and_nothing_with_them(
    cluster: LocalCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE", 1.5)
    monkeypatch.setattr(module, "ANSWER_TIME", 5.0)
    plan = study(repeats=2000)
    with pytest.raises(WorkError, match="there has been no worker"):
        run_sweep(plan, tmp_path, on=cluster.scheduler_address, progress=after(2, lambda: cluster.scale(0)))
    with pytest.raises(WorkError, match="has no workers"):
        run_sweep(plan, tmp_path, on=cluster.scheduler_address)
    assert run_sweep(plan, tmp_path).kept >= 2 * 256


def test_a_scheduler_that_goes_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "ANSWER_TIME", 2.0)
    plan = study(repeats=2000)
    with LocalCluster(
        n_workers=1,
        threads_per_worker=1,
        processes=False,
        protocol="tcp",
        dashboard_address=":0",
        silence_logs=50,
    ) as one:
        address = one.scheduler_address
        with pytest.raises(WorkError, match="goes on from what is kept"):
            run_sweep(plan, tmp_path, on=address, progress=after(2, one.close))
    assert run_sweep(plan, tmp_path).kept >= 2 * 256


def test_a_scheduler_that_cannot_be_reached_is_told_at_once(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        with pytest.raises(WorkError, match=f"{address}: no Dask scheduler can be reached there"):
            run_sweep(study(), tmp_path, on=address)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "address",
    ["", "shed", "tcp://", "tcp://shed", "tcp://shed:nought", "tcp://shed:99999", "post://shed:8786"],
)
def test_what_is_no_address_is_told(address: str, tmp_path: Path) -> None:
    with pytest.raises(OptionError, match="no address of a scheduler"):
        run_sweep(study(), tmp_path, on=address)


def test_the_package_that_is_lacking_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(OptionError, match=r"pip install 'photodrome\[cluster\]'"):
        run_sweep(study(), tmp_path, on="tcp://127.0.0.1:8786")
