"""Circuits of walkers: those asked for last are kept, and they come out alike when they are made anew."""

import numpy as np
import pytest

from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes import traces
from replays.causes.traces import Circuits


def test_those_asked_for_last_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(traces, "_MOST_TRACES", 2)
    circuits = Circuits(simulate(read_contest("open-bench", ["poppy"], 3, 300.0)))
    first, second = circuits.trace(0), circuits.trace(1)
    assert circuits.trace(0) is first
    circuits.trace(2)
    assert circuits.trace(0) is first
    again = circuits.trace(1)
    assert again is not second
    assert again.waits == second.waits > 1
    for number in range(again.waits):
        assert np.array_equal(again.wait(number).rail, second.wait(number).rail)
