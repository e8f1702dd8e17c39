"""Whole turns: by hand, and against the way that the floor passed under the driven tyre."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from agents.design.changing import change_design
from agents.design.spec import read_design
from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.traces import Circuits
from replays.format.tables import CUT_OFF, LEFT, Replay
from replays.scoring.turns import turns_of_walker, whole_turns
from replays.window.cause_strip import sentence
from tests.helpers.fabricate import Fabricator


@pytest.fixture(scope="module")
def spinners() -> Replay:
    huge = change_design(read_design("thistle-spins"), {"name": "huge", "storage.capacitance": "10 mF"})
    return simulate(read_contest("open-bench", ["thistle-spins", huge, "poppy"], walkers=2, seconds=900))


def test_a_free_pulse_turns_as_far_as_its_axle_goes_round_the_standing_tyre(spinners: Replay) -> None:
    """The middle of the axle goes on a circle of half the track: turn = path / (track / 2)."""
    pulses = spinners.pulses
    free = pulses["touched"] == 0
    by_path = pulses["path_m"] / (0.5 * spinners.walkers["track"][pulses["walker"]])
    # the left wheel ahead turns the nose to the right
    by_path[pulses["side"] == LEFT] *= -1.0
    turns = np.degrees(whole_turns(spinners))
    assert np.abs(turns - np.degrees(by_path))[free].max() < 1.0
    assert np.abs(turns[free]).max() > 700.0


def test_what_is_told_of_a_pulse_in_the_window_is_the_whole_turn(spinners: Replay) -> None:
    walker = 2
    trace = Circuits(spinners).trace(walker)
    number = int(np.argmax(np.abs(trace.turns)))
    words, outcome = sentence(trace, float(trace.pulses["start_s"][number]))
    degrees = math.degrees(float(trace.turns[number]))
    assert abs(degrees) > 600.0
    assert f"turned {abs(degrees):.0f}° to the {'left' if degrees > 0 else 'right'}" in outcome
    assert words


def test_the_end_of_a_turn_is_exact_however_coarse_the_poses(spinners: Replay) -> None:
    pulses = spinners.pulses
    left_over = whole_turns(spinners) - (pulses["heading1"] - pulses["heading0"])
    assert np.allclose(left_over, 2 * math.pi * np.round(left_over / (2 * math.pi)), atol=1e-12)


def test_the_order_of_pulses_in_a_replay_does_not_matter(spinners: Replay) -> None:
    order = np.random.default_rng(3).permutation(len(spinners.pulses))
    shuffled = replace(spinners, pulses=spinners.pulses[np.sort(order[:200])])
    kept = whole_turns(spinners)[np.sort(order[:200])]
    assert np.allclose(whole_turns(shuffled), kept)


def test_standing_still_and_nobody_at_all_turn_nothing() -> None:
    made = Fabricator()
    assert whole_turns(made.replay()).size == 0
    walker = made.walker(0.5, 0.5, 3.0)
    made.pulse(walker, 10.0, (0.6, 0.5))
    assert whole_turns(made.replay()).tolist() == [0.0]


def test_a_pulse_that_is_locked_turns_on_in_its_direction_between_poses_a_fifth_of_a_second_apart() -> None:
    """Up to four times a second round, for ten seconds or for one and a half: poses 0.2 s apart."""
    for degrees, seconds in itertools.product((40.0, 144.0, 216.0, 320.0), (1.5, 10.0)):
        for sign in (1.0, -1.0):
            check_locked(sign * degrees, seconds)


def check_locked(degrees: float, seconds: float) -> None:
    """A pulse that turns by ``degrees`` from pose to pose."""
    made = Fabricator(seconds=20.0)
    made.walker(0.5, 0.5)
    made.pulse(0, 1.0, (0.5, 0.5), heading=0.0, lasts_s=seconds, ended=CUT_OFF)
    replay = made.replay()
    step, count = math.radians(degrees), round(seconds / 0.2)
    # it begins with poses near one another, as every pulse does
    times = np.concatenate([1.0 + 0.01 * np.arange(11), 1.1 + 0.2 * np.arange(1, count)])
    turned = np.concatenate([step / 20 * np.arange(11), step * (0.5 + np.arange(1, count))])
    rows = np.zeros(len(times), replay.poses.dtype)
    rows["time_s"], rows["heading"] = times, np.angle(np.exp(1j * turned))
    pulses = replay.pulses.copy()
    pulses["heading1"] = np.angle(np.exp(1j * turned[-1]))
    assert turns_of_walker(pulses, rows).tolist() == pytest.approx([turned[-1]], rel=1e-9)


def test_a_long_pulse_that_stands_after_a_while_turns_no_further() -> None:
    made = Fabricator(seconds=20.0)
    made.walker(0.5, 0.5)
    made.pulse(0, 1.0, (0.5, 0.5), heading=0.0, lasts_s=5.0, ended=CUT_OFF)
    replay = made.replay()
    times = np.concatenate([1.0 + 0.01 * np.arange(100), 2.0 + 0.5 * np.arange(8)])
    turned = np.minimum(8.0 * (times - 1.0), 4.0)
    rows = np.zeros(len(times), replay.poses.dtype)
    rows["time_s"], rows["heading"] = times, np.angle(np.exp(1j * turned))
    pulses = replay.pulses.copy()
    pulses["heading1"] = math.remainder(4.0, 2.0 * math.pi)
    assert turns_of_walker(pulses, rows).tolist() == pytest.approx([4.0], rel=1e-6)


def test_turns_of_a_short_pulse_are_summed_from_pose_to_pose() -> None:
    """Of up to half a round each, from firing to the first pose and from the last one to rest too."""
    draw = np.random.default_rng(23)
    for number in range(200):
        pieces = draw.uniform(-3.1, 3.1, 1 + number % 4)
        made = Fabricator(seconds=20.0)
        made.walker(0.5, 0.5)
        made.pulse(0, 7.0, (0.5, 0.5), lasts_s=0.9, ended=CUT_OFF)
        replay = made.replay()
        places = draw.uniform(-3.0, 3.0) + np.concatenate(([0.0], np.cumsum(pieces)))
        rows = np.zeros(len(pieces) - 1, replay.poses.dtype)
        rows["time_s"] = 7.0 + 0.9 * np.arange(1, len(pieces)) / len(pieces)
        rows["heading"] = np.angle(np.exp(1j * places[1:-1]))
        pulses = replay.pulses.copy()
        pulses["heading0"], pulses["heading1"] = np.angle(np.exp(1j * places[[0, -1]]))
        found = turns_of_walker(pulses, rows)
        assert found.tolist() == pytest.approx([float(pieces.sum())], abs=1e-5)


def test_turns_of_many_walkers_are_those_of_their_poses() -> None:
    """Several pulses each, mixed up, of up to three times round, some too short for a pose within them."""
    draw = np.random.default_rng(17)
    made = Fabricator(seconds=100.0)
    for _ in range(3):
        made.walker(0.5, 0.5)
    expected, rows, ends = [], [], []
    heading = draw.uniform(-math.pi, math.pi, 3)
    for number in range(12):
        # walkers out of turn, and one of them with no pulse of the middle
        walker = int(draw.integers(0, 3))
        begin, lasts = 1.0 + 8.0 * number, float(draw.choice([0.004, 0.9, 1.8, 3.0]))
        made.pulse(walker, begin, (0.5, 0.5), lasts_s=lasts)
        turn = float(draw.uniform(-1.0, 1.0)) * (0.05 if lasts < 0.01 else 19.0)
        times = np.arange(begin, begin + lasts, 0.0041)[1:]
        along = heading[walker] + turn * (times - begin) / lasts
        rows += [(walker, time, place) for time, place in zip(times, along, strict=True)]
        ends.append((heading[walker], heading[walker] + turn))
        heading[walker] += turn
        expected.append(turn)
    replay = made.replay()
    poses = np.zeros(len(rows), replay.poses.dtype)
    for at, (walker, time, place) in enumerate(sorted(rows)):
        poses[at]["walker"], poses[at]["time_s"] = walker, time
        poses[at]["heading"] = math.remainder(place, 2.0 * math.pi)
    pulses = replay.pulses.copy()
    for at, (first, last) in enumerate(ends):
        pulses[at]["heading0"] = math.remainder(first, 2.0 * math.pi)
        pulses[at]["heading1"] = math.remainder(last, 2.0 * math.pi)
    assert len({walker for walker, *_ in rows}) == 3
    assert np.abs(expected).max() > 12.0
    found = whole_turns(replace(replay, poses=poses, pulses=pulses))
    assert found == pytest.approx(np.array(expected), abs=1e-5)
