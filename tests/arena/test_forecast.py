"""What a run is said to cost before it starts, against what it comes to."""

import shutil
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from agents.errors import OptionError
from arena import forecast as forecasts
from arena.engine.assembly import WorldPlan
from arena.forecast import RunForecast, forecast
from arena.scene.contest import read_contest
from arena.simulation import run_plans, simulate
from replays.format.replay_file import write_replay
from tests.helpers.commands import photodrome

GB = 1e9


@pytest.mark.parametrize(
    ("arena", "walkers", "alone"), [("gap-wall", 10, False), ("one-lamp", 40, True), ("yard-day", 10, False)]
)
def test_a_forecast_is_right_within_a_factor_of_two_or_so(
    arena: str, walkers: int, alone: bool, tmp_path: Path
) -> None:
    """Of pulses, rows and file; what time they take depends on what else the machine does."""
    contest = read_contest(arena, ["poppy"], walkers=walkers, seconds=2e5 / walkers + 1.0, alone=alone)
    told = forecast(contest, 1)
    assert told is not None
    replay = simulate(contest)
    write_replay(replay, tmp_path / "run.replay.npz")
    rows = sum(getattr(replay, name).nbytes for name in ("pulses", "poses", "touches", "lights"))
    for one, other in (
        (told.pulses, len(replay.pulses)),
        (told.rows, rows),
        (told.file, (tmp_path / "run.replay.npz").stat().st_size),
    ):
        assert 1 / 2.5 < one / other < 2.5
    assert told.seconds > 0.0


def test_a_day_is_told_from_its_sky_and_a_part_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Under the sun of noon a poppy is blind, and in the open it fires in the morning and in the evening."""
    tried: list[float] = []

    def run(plans: Sequence[WorldPlan], threads: int | None = None) -> Any:
        tried.append(plans[0].until)
        return run_plans(plans, threads)

    monkeypatch.setattr(forecasts, "run_plans", run)
    contest = read_contest("yard-day", ["poppy"], walkers=10)
    told = forecast(contest, 1)
    assert told is not None
    assert told.pulses > 1e4
    assert max(tried) < 0.6 * contest.seconds


def test_of_a_short_run_nobody_need_know() -> None:
    assert forecast(read_contest("one-lamp", ["poppy"], walkers=10, seconds=600.0)) is None


def test_walkers_that_cannot_start_are_told_before_anything_is_tried() -> None:
    with pytest.raises(OptionError, match="8 start places"):
        forecast(read_contest("open-bench", ["poppy"], walkers=400, seconds=3600.0))


def test_what_does_not_fit_into_the_memory_is_said_to_go_to_the_disk() -> None:
    small = RunForecast(pulses=2.6e5, seconds=30.0, rows=0.2 * GB, file=0.02 * GB, room=1.0 * GB)
    assert (small.is_large, small.on_disk) == (False, 0.0)
    assert small.words() == "about 260,000 pulses: 30.0 s on this machine, and a replay of 20 MB"
    large = RunForecast(pulses=2.6e7, seconds=30.0, rows=5.0 * GB, file=0.4 * GB, room=1.0 * GB)
    assert large.is_large
    assert large.on_disk == pytest.approx(12.0 * GB)
    assert "takes 12 GB of them meanwhile" in large.words()
    assert RunForecast(1.0, 700.0, 1.0, 1.0, GB).is_large, "it takes more than ten minutes"


def test_a_disk_without_room_for_it_is_refused_with_figures_unless_told_otherwise(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    large = RunForecast(pulses=2.6e7, seconds=7000.0, rows=5.0 * GB, file=0.4 * GB, room=1.0 * GB)
    monkeypatch.setattr(forecasts, "spill_folder", lambda: tmp_path)
    for free, fits in ((12.3 * GB, False), (12.5 * GB, True)):
        monkeypatch.setattr(shutil, "disk_usage", lambda _, free=free: SimpleNamespace(free=free))
        if fits:
            large.check_room(Path("run.replay.npz"))
        else:
            with pytest.raises(OptionError, match=r"12.4 GB there, where 12.3 GB are free .*--anyway"):
                large.check_room(Path("run.replay.npz"))
    monkeypatch.setattr(forecasts, "forecast", lambda contest, threads: large)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=GB))
    run = ("run", "one-lamp", "-d", "poppy", "--walkers", "1", "--duration", "5")
    refused = photodrome(*run)
    assert (refused.code, refused.out) == (2, "")
    assert not Path("run.replay.npz").exists()
    went_on = photodrome(*run, "--anyway")
    assert went_on.code == 0
    assert "about 26,000,000 pulses" in went_on.err
    assert "Ctrl-C stops it" in went_on.err
    assert Path("run.replay.npz").is_file()
