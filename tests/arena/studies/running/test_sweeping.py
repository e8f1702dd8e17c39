"""A sweep that is cut off in whatever way goes on where it stopped, and ends with the same bytes."""

import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from agents.errors import InputError, OutputError, WorkError
from arena.studies.plans.study import Study, parse_study
from arena.studies.running.database import FILE
from arena.studies.running.sweeping import CSV, NPZ, run_sweep
from arena.studies.running.trials import run_trials
from tests.benchmarks import sweep as benchmark_sweep
from tests.helpers.plans import chunk_count

PLAN = {
    "photodrome": "study 1",
    "name": "feelers in the slalom",
    "arenas": ["slalom"],
    "designs": ["poppy"],
    "vary": {"design.both.feeler": "E6 10k..100k", "design.both.eye.aside": "20 mm, 30 mm"},
    "repeats": 250,
    "seed": 5,
    "lasts": "60 s",
}

# Runs a plan in a folder, and tells whenever a chunk is kept.
SWEEP = """
import sys
from arena.studies.plans.study import parse_study
from arena.studies.running.sweeping import run_sweep
plan = parse_study(open(sys.argv[1]).read())
run_sweep(plan, sys.argv[2], threads=2, progress=lambda share: print(share, flush=True))
"""


def study(**changes: Any) -> Study:
    return parse_study(yaml.safe_dump(PLAN | changes, sort_keys=False))


def tables(folder: Path) -> list[bytes]:
    return [(folder / name).read_bytes() for name in (CSV, NPZ)]


def stopper(after: int) -> Callable[[float], None]:
    """Stops a sweep as Ctrl-C does, once so many chunks are kept."""
    shares: list[float] = []

    def progress(share: float) -> None:
        shares.append(share)
        if len(shares) == after:
            raise KeyboardInterrupt

    return progress


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a sweep that nobody disturbed, on one thread."""
    folder = tmp_path_factory.mktemp("whole")
    shares: list[float] = []
    outcome = run_sweep(study(), folder, threads=1, progress=shares.append)
    assert outcome.kept == 0
    assert outcome.impossible == {}
    assert len(shares) == chunk_count(study()) == 14
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    return folder


def test_a_sweep_has_the_trials_of_its_settings(whole: Path) -> None:
    plan = study()
    outcome = run_sweep(plan, whole)
    assert outcome.kept == plan.trials == 3500
    some = [plan.setting(number) for number in (3, 13)]
    rows = run_trials(plan, some, range(250))
    found = outcome.columns(["pulses", "directness", "design.both.feeler"])
    assert np.array_equal(found["pulses"][[3, 13]], rows["pulses"])
    assert np.array_equal(found["directness"][[3, 13]], rows["directness"], equal_nan=True)
    assert found["design.both.feeler"].shape == (14, 250)
    assert found["design.both.feeler"][3].tolist() == [15e3] * 250
    assert (outcome.csv, outcome.npz) == (whole / CSV, whole / NPZ)


def test_a_sweep_killed_again_and_again_ends_with_the_same_bytes(whole: Path, tmp_path: Path) -> None:
    """Kill -9 at moments that are drawn, while trials run, are kept, or the process only begins."""
    plan, folder = tmp_path / "plan.yaml", tmp_path / "out"
    plan.write_text(yaml.safe_dump(PLAN, sort_keys=False))
    draws = random.Random(11)
    killed = 0
    for chunks in (1, 3, 0, 2):
        with subprocess.Popen(
            [sys.executable, "-c", SWEEP, str(plan), str(folder)], stdout=subprocess.PIPE, text=True
        ) as process:
            assert process.stdout is not None
            for _ in range(chunks):
                process.stdout.readline()
            time.sleep(draws.uniform(0.0, 0.04 if chunks else 0.8))
            process.send_signal(signal.SIGKILL)
            killed += process.wait(timeout=60) == -signal.SIGKILL
    assert killed == 4
    assert not (folder / CSV).exists()
    # as a run leaves it that is killed while it writes its tables
    (folder / f".{CSV}.0123abcd.part").write_text("trial,")
    outcome = run_sweep(study(), folder, threads=3)
    assert 6 * 256 <= outcome.kept < 3500
    assert tables(folder) == tables(whole)
    assert sorted(path.name for path in folder.iterdir()) == [FILE, CSV, NPZ]
    # once more, and nothing is left to be done
    assert run_sweep(study(), folder).kept == 3500
    assert tables(folder) == tables(whole)


def test_a_stopped_sweep_keeps_what_is_finished(whole: Path, tmp_path: Path) -> None:
    before = threading.active_count()
    with pytest.raises(KeyboardInterrupt):
        run_sweep(study(), tmp_path, threads=2, progress=stopper(5))
    # nobody is left at work
    assert threading.active_count() == before
    assert not (tmp_path / CSV).exists()
    outcome = run_sweep(study(), tmp_path)
    assert outcome.kept >= 4 * 256
    assert tables(tmp_path) == tables(whole)
    # begun anew, tables of before are not left to be taken for those of now
    with pytest.raises(KeyboardInterrupt):
        run_sweep(study(), tmp_path, restart=True, progress=stopper(1))
    assert not (tmp_path / CSV).exists()
    assert not (tmp_path / NPZ).exists()
    run_sweep(study(), tmp_path)
    assert tables(tmp_path) == tables(whole)


def test_another_plan_is_told_but_not_what_changes_no_trial(tmp_path: Path) -> None:
    plan = study(repeats=5)
    run_sweep(plan, tmp_path)
    before = tables(tmp_path)
    with pytest.raises(InputError, match=r"differs in plan.*--restart"):
        run_sweep(study(repeats=5, lasts="61 s"), tmp_path)
    assert tables(tmp_path) == before
    other = study(repeats=5, name="another name", about="another question", scores=["held", "reached"])
    assert run_sweep(other, tmp_path).kept == plan.trials
    assert tables(tmp_path) == before
    assert run_sweep(study(repeats=5, lasts="61 s"), tmp_path, restart=True).kept == 0
    assert tables(tmp_path) != before


def test_two_sweeps_in_one_folder(tmp_path: Path) -> None:
    told = []

    def second(_share: float) -> None:
        with pytest.raises(WorkError, match="another run is at work") as error:
            run_sweep(study(repeats=5), tmp_path)
        told.append(error)

    run_sweep(study(repeats=5), tmp_path, progress=second)
    assert told


def test_settings_that_are_impossible_are_told_with_the_others(tmp_path: Path) -> None:
    """A body that has no room between the planks, in two settings of four."""
    vary = {"design.body.radius": "26 mm, 400 mm", "design.both.latch": "8k, 10k"}
    plan = study(vary=vary, repeats=80)
    outcome = run_sweep(plan, tmp_path)
    assert list(outcome.impossible) == [2, 3]
    assert "has room for 0 walkers" in outcome.impossible[2]
    found = outcome.columns(["impossible", "pulses"])
    assert found["impossible"].tolist() == [[0.0] * 80] * 2 + [[1.0] * 80] * 2
    assert np.isnan(found["pulses"][2:]).all()
    assert run_sweep(plan, tmp_path).impossible == outcome.impossible


def test_places_where_nothing_can_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("leaf mould")
    with pytest.raises(OutputError, match="no folder can be made there"):
        run_sweep(study(repeats=5), tmp_path / "file" / "out")

    def in_the_way(_share: float) -> None:
        (tmp_path / "out" / NPZ).mkdir(exist_ok=True)

    with pytest.raises(OutputError, match="all trials are kept"):
        run_sweep(study(repeats=5), tmp_path / "out", progress=in_the_way)
    (tmp_path / "out" / NPZ).rmdir()
    assert run_sweep(study(repeats=5), tmp_path / "out").kept == 70


def test_the_benchmark_measures_what_it_says() -> None:
    """A sweep in a process of its own, and a trial in one."""
    plan = parse_study(benchmark_sweep.plan(40, "20 s"))
    assert (plan.trials, plan.repeats, plan.seconds) == (40, 4, 20.0)
    figures = benchmark_sweep.sweep(40, "20 s")
    assert 0.0 < figures["trials_s"] < figures["wall_s"]
    assert figures["peak_MB"] > 50.0
    assert benchmark_sweep.processes(1, 1) > 0.0
