"""Rail and triggers of a day, worked out anew from the replay alone."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from agents.errors import ReplayError
from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.traces import Circuits
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import Replay
from replays.scoring.time_shares import light_bearings


@pytest.fixture(scope="module")
def race() -> Replay:
    return simulate(read_contest("yard-day", ["poppy", "cress"], walkers=2, seconds=9000.0, seed=3))


def test_rails_and_triggers_come_out_as_in_the_run(race: Replay, tmp_path: Path) -> None:
    """Through sunrise, clouds, a lamp that goes out and air that warms, to a few millivolts."""
    path = tmp_path / "day.replay.npz"
    write_replay(race, path)
    replay = read_replay(path)
    assert replay.day is not None
    circuits = Circuits(replay)
    rails, triggers = [], []
    for walker in range(4):
        trace = circuits.trace(walker)
        for number in range(0, len(trace.pulses), 7):
            wait, pulse = trace.wait(number), trace.pulses[number]
            rails.append(wait.rail[-1] - pulse["trigger_V"])
            triggers.append(wait.triggers[-1][pulse["side"]] - pulse["trigger_V"])
    assert len(rails) > 40
    assert np.max(np.abs(rails)) < 5e-3
    # a cloud may take the trigger below the rail, which then fires from above it
    assert np.median(np.abs(triggers)) < 1e-4
    assert np.max(triggers) < 1e-3


def test_the_bearing_of_the_light_goes_by_the_hour(race: Replay) -> None:
    day, pulses = race.day, race.pulses
    assert day is not None
    step = np.searchsorted(day.times_s, pulses["start_s"], side="right") - 1
    bright = day.sun_lx[step] > 2e4
    assert bright.sum() > 20
    known = np.angle(np.exp(1j * (day.sun_azimuth_rad[step] - pulses["heading0"])))
    assert light_bearings(race)[bright] == pytest.approx(known[bright])
    assert np.ptp(day.sun_azimuth_rad[step][bright]) > 0.1


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("times_s", [5.0], "times from 0 on"),
        ("sun_lx", [1.0], "a list of"),
        ("air_K", None, "air_K"),
        ("lamps", [], "for each lamp"),
    ],
)
def test_a_damaged_day_is_refused(race: Replay, tmp_path: Path, key: str, value: object, words: str) -> None:
    arena = race.header["arena"]
    broken = {**race.header, "arena": {**arena, "day": {**arena["day"], key: value}}}
    with pytest.raises(ReplayError, match=words):
        write_replay(replace(race, header=broken), tmp_path / "broken.replay.npz")
