"""A run can be looked at while it is under way, and is the same for it."""

import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import arena.simulation
from arena.scene.contest import read_contest
from arena.simulation import OUTPUT_TABLES, simulate
from replays.format.checks import check_replay
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import Replay


def test_glimpses_are_beginnings_of_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("arena.simulation.GLIMPSE_EVERY", 0.0)
    contest = replace(read_contest("potting-bench", ["poppy", "lentil"]), walkers=20, seconds=5000.0)
    seen: list[tuple[Replay, float]] = []
    whole = simulate(contest, 1, glimpse=lambda replay, until: seen.append((replay, until)))
    plain = simulate(contest, 1)
    for name in ("walkers", "pulses", "poses", "touches", "lights", "ledger", "built", "light_map"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(plain, name))
    assert seen
    for part, until in seen:
        np.testing.assert_array_equal(part.walkers, whole.walkers)
        for name, column in (
            ("pulses", "rest_s"),
            ("poses", "time_s"),
            ("touches", "time_s"),
            ("lights", "time_s"),
        ):
            early, late = getattr(part, name), getattr(whole, name)
            early, late = early[early[column] < until], late[late[column] < until]
            np.testing.assert_array_equal(early, late)


def test_what_a_glimpse_raises_stops_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("arena.simulation.GLIMPSE_EVERY", 0.0)
    contest = replace(read_contest("potting-bench", ["poppy"]), walkers=20, seconds=1e6)

    class EnoughError(Exception):
        pass

    def look(replay: Replay, until: float) -> None:
        raise EnoughError

    # a million seconds of twenty walkers would take minutes
    with pytest.raises(EnoughError):
        simulate(contest, 1, glimpse=look)


def test_walkers_that_are_alone_are_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("arena.simulation.GLIMPSE_EVERY", 0.0)
    contest = replace(read_contest("open-bench", ["poppy"], alone=True), seconds=600.0)
    seen: list[float] = []
    simulate(contest, 1, glimpse=lambda replay, until: seen.append(until))
    assert seen == []


@pytest.mark.parametrize("designs", [["lentil"], ["poppy", "sunflower", "lentil"]])
def test_a_run_that_is_looked_at_is_written_in_the_same_bytes(
    designs: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("arena.simulation.GLIMPSE_EVERY", 0.0)
    contest = replace(read_contest("potting-bench", designs), walkers=8, seconds=3000.0)
    times: list[float] = []
    write_replay(simulate(contest, 2, glimpse=lambda replay, until: times.append(until)), tmp_path / "seen")
    write_replay(simulate(contest, 2), tmp_path / "unseen")
    assert times == sorted(times)
    assert all(0.0 <= until <= contest.seconds for until in times)
    assert (tmp_path / "seen").read_bytes() == (tmp_path / "unseen").read_bytes()


def test_a_glimpse_can_be_written_and_read_and_lacks_no_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The tables of a glimpse are rows of the run: all up to its time, and none besides."""
    monkeypatch.setattr("arena.simulation.GLIMPSE_EVERY", 0.0)
    contest = replace(read_contest("potting-bench", ["poppy", "lentil"]), walkers=20, seconds=3500.0)
    seen: list[tuple[Replay, float]] = []
    whole = simulate(contest, 1, glimpse=lambda replay, until: seen.append((replay, until)))
    begun = [part for part in seen if part[1] > 0.0]
    assert begun
    assert len(begun[0][0].pulses) < len(whole.pulses)
    for part, until in (begun[0], begun[len(begun) // 2], begun[-1]):
        for name, column in (
            ("pulses", "rest_s"),
            *((name, "time_s") for name in OUTPUT_TABLES if name != "pulses"),
        ):
            rows, mine = getattr(whole, name), getattr(part, name)
            own = {row.tobytes() for row in mine}
            assert own <= {row.tobytes() for row in rows}
            assert {row.tobytes() for row in rows[rows[column] < until]} <= own
        write_replay(part, tmp_path / "part.npz")
        np.testing.assert_array_equal(read_replay(tmp_path / "part.npz").pulses, part.pulses)


def test_an_engine_that_is_slow_to_start_is_looked_at_only_once_it_has_begun(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As on a new machine, where the kernels have to be compiled: until then nobody has even a start."""
    monkeypatch.setattr("arena.simulation.GLIMPSE_EVERY", 0.0)
    advance = arena.simulation.advance_batch
    told: list[float] = []

    def late(*arguments: Any) -> None:
        # several looks at the clock go by
        time.sleep(0.01 if told[3:] else 0.5)
        advance(*arguments)

    monkeypatch.setattr("arena.simulation.advance_batch", late)
    contest = replace(read_contest("potting-bench", ["poppy", "lentil"]), walkers=3, seconds=900.0)
    seen: list[tuple[Replay, float]] = []
    simulate(contest, 1, told.append, lambda replay, until: seen.append((replay, until)))
    assert told[:3] == [0.0, 0.0, 0.0]
    assert seen
    for part, until in seen:
        assert until > 0.0
        check_replay(part)
