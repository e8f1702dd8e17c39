"""Where the time of a walk went: replays made by hand, and shares that add up for whatever ran."""

import math
from dataclasses import replace

import numpy as np
import pytest

from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.format.tables import BODY, CUT_OFF, LEFT_WHISKER
from replays.scoring.time_shares import (
    CHARGING,
    IN_SHADE,
    LATCHED,
    MOVING,
    ON_WALLS,
    SILENT,
    SORTS,
    TURNING_PAST,
    light_bearings,
    time_use,
    turned_past,
)
from tests.helpers.fabricate import Fabricator, arena, box, goal


def shares_of(made: Fabricator, walker: int = 0) -> dict[str, float]:
    return {sort: share for sort, share in time_use(made.replay()).of(walker).items() if share > 0.0}


def steps(made: Fabricator, walker: int, starts: list[float]) -> None:
    for start in starts:
        x, y, _ = made._now[walker]
        made.pulse(walker, start, (x + 0.05, y))


def test_waits_are_charging_and_pulses_moving() -> None:
    made = Fabricator(seconds=100.0)
    steps(made, made.walker(0.2, 0.5), [10.0, 40.0, 70.0, 95.0])
    assert shares_of(made) == pytest.approx({MOVING: 0.02, CHARGING: 0.98})


def test_an_episode_against_a_wall_is_neither_charging_nor_moving() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5)
    steps(made, walker, [10.0, 30.0, 50.0, 70.0, 90.0])
    made.touch(walker, 10.4, LEFT_WHISKER, closed=True)
    made.touch(walker, 30.2, LEFT_WHISKER, closed=False)
    # 19.8 s, with 0.1 s of the first pulse and 0.2 s of the second
    assert shares_of(made) == pytest.approx({ON_WALLS: 0.198, MOVING: 0.022, CHARGING: 0.78})


def test_against_a_wall_goes_before_in_shade() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5)
    steps(made, walker, [10.0, 30.0, 50.0, 70.0, 90.0])
    made.light(walker, 10.0, 100.0, 1000.0)
    made.light(walker, 50.0, 1000.0)
    made.touch(walker, 20.0, BODY, closed=True)
    made.touch(walker, 40.0, BODY, closed=False)
    assert shares_of(made) == pytest.approx({ON_WALLS: 0.2, IN_SHADE: 0.2, MOVING: 0.015, CHARGING: 0.585})


def test_silent_to_the_end_and_silent_throughout() -> None:
    made = Fabricator(seconds=1000.0)
    steps(made, made.walker(0.2, 0.5), [10.0, 20.0])
    mute = made.walker(0.2, 0.8)
    assert shares_of(made) == pytest.approx({SILENT: 0.9795, MOVING: 0.001, CHARGING: 0.0195})
    assert shares_of(made, mute) == {SILENT: 1.0}


def test_a_latch_that_never_releases_goes_before_silence() -> None:
    made = Fabricator(seconds=1000.0)
    made.pulse(made.walker(0.2, 0.5), 100.0, (0.3, 0.5), lasts_s=900.0, ended=CUT_OFF)
    assert shares_of(made) == pytest.approx({LATCHED: 0.9, SILENT: 0.1})


def test_a_pulse_that_turns_past_the_light_costs_its_wait_as_well() -> None:
    made = Fabricator(seconds=100.0)
    # the lamp stands straight east
    walker = made.walker(0.7, 0.5, heading=math.radians(-60.0))
    made.pulse(walker, 20.0, (0.7, 0.5), heading=math.radians(60.0))
    made.pulse(walker, 50.0, (0.7, 0.5), heading=math.radians(-160.0))
    use = time_use(made.replay())
    assert use.past.tolist() == [False, True]
    assert np.degrees(use.bearing).tolist() == pytest.approx([60.0, -60.0])
    assert np.degrees(use.turn).tolist() == pytest.approx([120.0, -220.0])
    assert shares_of(made) == pytest.approx({TURNING_PAST: 0.3, MOVING: 0.005, CHARGING: 0.695})


@pytest.mark.parametrize(
    ("turn", "bearing", "past"),
    [(60, 30, False), (120, 60, False), (251, 60, True), (251, -170, False), (713, 90, True),
     (-251, -60, True), (-80, 20, False), (150, 20, True), (20, 20, False), (0, 0, False), (360, 10, False)],
)  # fmt: skip
def test_past_is_over_the_light_and_away_from_it(turn: float, bearing: float, past: bool) -> None:
    assert turned_past(np.radians([turn]), np.radians([bearing])).tolist() == [past]


def test_the_light_is_the_lamp_that_gives_most_there_or_the_sun_or_the_goal() -> None:
    lamp = arena()["lamps"][0]
    second = lamp | {"x": 0.2, "y": 0.9}
    for lamps, sun, goals, expected in (
        ([lamp, second], None, [], math.pi / 2),
        ([lamp, second | {"intensity_cd": 3.0}], None, [], 0.0),
        # aimed away, with a narrow beam
        ([lamp, second | {"beam_half_angle_rad": 0.2, "aim": [0.9, 0.9]}], None, [], 0.0),
        ([lamp], {"azimuth_rad": 2.0, "elevation_rad": 0.6, "illuminance_lx": 2e4}, [], 2.0),
        ([lamp], {"azimuth_rad": 2.0, "elevation_rad": -0.1, "illuminance_lx": 2e4}, [], 0.0),
        ([], None, [goal(*box(0.1, 0.0, 0.3, 0.1)), goal(*box(0.9, 0.4, 1.1, 0.6))], -math.pi / 2),
    ):
        made = Fabricator(arena=arena(lamps=lamps, sun=sun, goals=goals))
        made.pulse(made.walker(0.2, 0.5), 10.0, (0.2, 0.5))
        assert light_bearings(made.replay()).tolist() == pytest.approx([expected], abs=1e-9)
    made = Fabricator(arena=arena(lamps=[]))
    made.pulse(made.walker(0.2, 0.5), 10.0, (0.2, 0.5), heading=3.0)
    assert math.isnan(light_bearings(made.replay())[0])
    assert not time_use(made.replay()).past.any()


def test_time_after_the_goal_does_not_count_and_who_starts_in_it_has_none() -> None:
    made = Fabricator(seconds=100.0, arena=arena(goals=[goal(*box(1.5, 0.0, 2.0, 1.0))]))
    made.pulse(made.walker(1.4, 0.5), 19.75, (1.6, 0.5))
    within = made.walker(1.7, 0.8)
    assert shares_of(made) == pytest.approx({MOVING: 0.0125, CHARGING: 0.9875}, abs=2e-3)
    assert all(math.isnan(share) for share in time_use(made.replay()).of(within).values())


def test_shares_add_up_to_one_whatever_ran() -> None:
    race = simulate(
        read_contest("tray-wall", ["poppy", "thistle-spins", "nettle-twitches"], walkers=3, seconds=2400)
    )
    use = time_use(race)
    assert use.shares.shape == (9, len(SORTS))
    assert np.allclose(use.shares.sum(axis=1), 1.0)
    assert (use.shares >= 0.0).all()
    # a walker whose rows are doctored away was silent
    without = replace(race, pulses=race.pulses[race.pulses["walker"] != 0], touches=race.touches[:0])
    assert time_use(without).of(0)[SILENT] == 1.0
