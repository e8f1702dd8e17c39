"""A run can be looked at while it is under way, and is the same for it."""

from dataclasses import replace

import numpy as np
import pytest

from arena.contest import read_contest
from arena.simulate import simulate
from replays.record import Replay


def test_glimpses_are_beginnings_of_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("arena.simulate.GLIMPSE_EVERY", 0.0)
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
    monkeypatch.setattr("arena.simulate.GLIMPSE_EVERY", 0.0)
    contest = replace(read_contest("potting-bench", ["poppy"]), walkers=20, seconds=1e6)

    class EnoughError(Exception):
        pass

    def look(replay: Replay, until: float) -> None:
        raise EnoughError

    # a million seconds of twenty walkers would take minutes
    with pytest.raises(EnoughError):
        simulate(contest, 1, glimpse=look)


def test_walkers_that_are_alone_are_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("arena.simulate.GLIMPSE_EVERY", 0.0)
    contest = replace(read_contest("open-bench", ["poppy"], alone=True), seconds=600.0)
    seen: list[float] = []
    simulate(contest, 1, glimpse=lambda replay, until: seen.append(until))
    assert seen == []
