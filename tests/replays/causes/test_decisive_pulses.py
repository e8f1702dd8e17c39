"""The pulse that decided: replays made by hand, and of real races that it is there and the words hold."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.decisive_pulses import (
    AHEAD,
    BEHIND,
    BY_LIGHT,
    BY_MOVING,
    BY_WAY,
    CAUSES,
    HARDLY_MOVES,
    NEVER_FIRED,
    Deciding,
    Decision,
)
from replays.format.tables import BODY, CUT_OFF, LEFT_WHISKER, Replay
from replays.scoring.measures import goal_distances
from replays.scoring.time_shares import IN_SHADE, LATCHED, ON_WALLS, SILENT, TURNING_PAST, time_use
from tests.helpers.fabricate import Fabricator, arena, box, goal

UNDER_THE_LAMP = arena(goals=[goal(*box(1.5, 0.0, 2.0, 1.0))])


def bench() -> Fabricator:
    """A race of which walker 0 comes in first, in 60 s."""
    made = Fabricator(seconds=600.0, designs=("borage",), arena=UNDER_THE_LAMP)
    winner = made.walker(0.5, 0.2)
    for number in range(6):
        made.pulse(winner, 10.0 * (number + 1), (0.7 + 0.2 * number, 0.2))
    return made


def decision(made: Fabricator | Replay, walker: int = 1) -> Decision:
    replay = made.replay() if isinstance(made, Fabricator) else made
    count = len(replay.walkers)
    names = [f"borage {number + 1}" for number in range(count)]
    none = np.zeros(count, np.int64)
    return Deciding(replay, time_use(replay), none, none, names).of(walker)


def steps(made: Fabricator, walker: int, starts: list[float], step: float = 0.05) -> None:
    for start in starts:
        x, y, _ = made._now[walker]
        made.pulse(walker, start, (x + step, y))


def test_who_never_fired_has_no_pulse_that_decided() -> None:
    made = bench()
    made.walker(0.5, 0.8)
    found = decision(made)
    assert (found.cause, found.number, found.time_s) == (NEVER_FIRED, None, None)


def test_twitching_decided_from_the_first_pulse_on() -> None:
    made = bench()
    steps(made, made.walker(0.5, 0.8), [float(n) for n in range(5, 600)], 0.2e-3)
    found = decision(made)
    assert (found.cause, found.number, found.time_s) == (HARDLY_MOVES, 0, 5.0)
    assert "moved it 0.2 mm" in found.words


def test_the_last_pulse_decided_of_one_that_fell_silent() -> None:
    made = bench()
    walker = made.walker(0.5, 0.8)
    steps(made, walker, [20.0, 40.0])
    made.light(walker, 40.2, 210.0, 210.0)
    found = decision(made)
    assert (found.cause, found.number, found.time_s) == (SILENT, 1, 40.0)
    assert "in the 210 lx of the place it stayed silent for 9 min 20 s" in found.words


def test_a_latch_that_never_released_decided() -> None:
    made = bench()
    walker = made.walker(0.5, 0.8)
    steps(made, walker, [20.0, 40.0])
    made.pulse(walker, 100.0, (0.7, 0.8), lasts_s=500.0, ended=CUT_OFF)
    found = decision(made)
    assert (found.cause, found.number) == (LATCHED, 2)
    assert "did not release again" in found.words


@pytest.mark.parametrize(("against", "who"), [(0, "a wall"), (1, "another walker")])
def test_the_pulse_that_ran_against_something_decided(against: int, who: str) -> None:
    made = bench()
    walker = made.walker(0.5, 0.8)
    steps(made, walker, [20.0 * n for n in range(1, 29)], 0.03)
    made.touch(walker, 41.0, BODY, closed=True)
    made.touch(walker, 41.1, BODY, closed=False)
    made.touch(walker, 100.3, LEFT_WHISKER, closed=True, against=against)
    made.touch(walker, 300.2, LEFT_WHISKER, closed=False, against=against)
    found = decision(made)
    assert (found.cause, found.number, found.time_s) == (ON_WALLS, 4, 100.0)
    assert found.words == f"it ran against {who}, and it took 3 min 20 s and 10 pulses before it was free"


def test_being_run_into_is_told_apart_from_running_into_something() -> None:
    made = bench()
    walker = made.walker(0.5, 0.8)
    steps(made, walker, [20.0 * n for n in range(1, 29)], 0.03)
    made.touch(walker, 110.0, BODY, closed=True, against=1)
    found = decision(made)
    assert (found.number, found.time_s) == (4, 100.0)
    assert found.words == (
        "after it another walker was in touch with it, and it was not free again, in 8 min 10 s and 23 pulses"
    )


def test_the_pulse_that_went_into_shade_decided() -> None:
    made = bench()
    walker = made.walker(0.5, 0.8)
    steps(made, walker, [20.0 * n for n in range(1, 29)], 0.02)
    made.light(walker, 60.4, 200.0, 1000.0)
    made.light(walker, 420.2, 1000.0)
    found = decision(made)
    assert (found.cause, found.number, found.time_s) == (IN_SHADE, 2, 60.0)
    assert found.words == "it went into a shadow (200 lx against 1 klx in the open) and stayed for 6 min 00 s"


def test_of_pulses_past_the_light_the_one_that_lost_most_way_decided() -> None:
    made = bench()
    walker = made.walker(0.7, 0.5, heading=math.radians(-60.0))
    # back by nothing, by 30 mm and by 10 mm, each time past the lamp in the east and away from it
    for number, (x, degrees) in enumerate(((0.7, 220.0), (0.67, -280.0), (0.66, 240.0))):
        heading = made._now[walker][2] + math.radians(degrees)
        made.pulse(walker, 150.0 * (number + 1), (x, 0.5), heading=heading)
    use = time_use(made.replay())
    assert use.past[made.replay().pulses["walker"] == walker].tolist() == [True, True, True]
    found = decision(made)
    assert (found.cause, found.number, found.time_s) == (TURNING_PAST, 1, 300.0)
    assert "it turned 280° to the right, past the light" in found.words
    assert "30 mm farther from the goal, one of 3 such of 3" in found.words


def test_who_was_merely_slower_lost_with_the_pulse_after_which_it_never_was_level() -> None:
    made = bench()
    walker = made.walker(0.5, 0.8)
    # ahead at 15 s with a long step, and level no more when the winner has gone farther at 20.5 s
    made.pulse(walker, 5.0, (0.75, 0.8))
    steps(made, walker, [60.0, 115.0, 170.0, 225.0, 280.0, 335.0, 390.0, 445.0, 500.0, 555.0], 0.01)
    found = decision(made)
    assert (found.cause, found.number, found.time_s) == (BEHIND, 0, 5.0)
    assert found.words == "after it borage 1 was ahead for good"


def test_who_was_behind_from_the_first_pulse_on() -> None:
    made = bench()
    steps(made, made.walker(0.5, 0.8), [40.0 * n + 25.0 for n in range(14)], 0.01)
    found = decision(made)
    assert (found.cause, found.number, found.time_s) == (BEHIND, 0, 25.0)
    assert found.words == "borage 1 was ahead already, with 2 pulses fired, and stayed so"


def test_the_winner_won_with_the_pulse_from_which_on_nobody_was_ahead() -> None:
    made = bench()
    rival = made.walker(0.5, 0.8)
    # a long step ahead, until the winner passes it with its third pulse
    made.pulse(rival, 2.0, (1.0, 0.8))
    found = decision(made, 0)
    assert (found.cause, found.number, found.time_s) == (AHEAD, 2, 30.0)


def test_without_a_goal_the_light_decides() -> None:
    made = Fabricator(seconds=100.0)
    for lights in ((10.2, 500.0), (40.2, 200.0), (70.2, 900.0)), ((40.2, 1500.0),):
        walker = made.walker(0.5, 0.5)
        steps(made, walker, [10.0, 40.0, 70.0], 0.02)
        for time, light in lights:
            made.light(walker, time, light, 1500.0)
    replay = made.replay()
    first = np.array([1, 1])
    deciding = Deciding(replay, time_use(replay), first, np.zeros(2, np.int64), ["one", "two"])
    assert (deciding.of(1).cause, deciding.of(1).number) == (AHEAD, 1)
    assert deciding.of(1).words == "it took its panel from 1 klx to 1.5 klx"


@pytest.mark.parametrize(("by", "number"), [(BY_MOVING, 1), (BY_LIGHT, 0), (BY_WAY, 0)])
def test_what_counts_decides_which_pulse_is_told(by: str, number: int) -> None:
    made = bench()
    walker = made.walker(0.5, 0.8)
    steps(made, walker, [100.0, 400.0], 0.02)
    made.pulse(walker, 500.0, (0.54, 0.8))
    made.light(walker, 100.2, 800.0)
    made.light(walker, 400.2, 900.0)
    replay = made.replay()
    none = np.zeros(2, np.int64)
    found = Deciding(replay, time_use(replay), none, none, ["one", "two"], by).of(walker)
    assert (found.cause, found.number) == (BEHIND, number)
    words = {
        BY_MOVING: "it was the last that moved it (20 mm)",
        BY_LIGHT: "it took its panel from 1 klx to 800 lx",
        BY_WAY: "one was ahead already, with 6 pulses fired, and stayed so",
    }
    assert found.words == words[by]


@pytest.fixture(scope="module")
def races() -> list[Replay]:
    designs = ["poppy", "thistle-spins", "nettle-twitches", "lentil"]
    return [
        simulate(read_contest(place, designs, walkers=2, seconds=2400, seed=seed))
        for place, seed in (("leaf-shade", 1), ("tray-wall", 2), ("skylight", 3))
    ]


def test_in_real_races_the_pulse_is_one_of_the_walkers_own(races: list[Replay]) -> None:
    causes = set()
    for replay in races:
        use = time_use(replay)
        count = len(replay.walkers)
        names = [str(number) for number in range(count)]
        first = np.full(count, int(np.argmin(use.walk_s)))
        deciding = Deciding(replay, use, first, np.zeros(count, np.int64), names)
        for walker in range(count):
            found = deciding.of(walker)
            own = replay.pulses[replay.pulses["walker"] == walker]
            assert found.cause in CAUSES
            causes.add(found.cause)
            assert found.number is not None
            assert own["start_s"][found.number] == found.time_s <= use.walk_s[walker]
    assert {AHEAD, HARDLY_MOVES, TURNING_PAST, IN_SHADE} <= causes


def test_in_real_races_nobody_was_ahead_of_the_winner_after_its_pulse(races: list[Replay]) -> None:
    replay = races[0]
    use = time_use(replay)
    winner, count = int(np.argmin(use.walk_s)), len(replay.walkers)
    groups = np.zeros(count, np.int64)
    deciding = Deciding(replay, use, np.full(count, winner), groups, ["a walker"] * count)
    won = deciding.of(winner)
    assert won.number is not None
    rest = replay.pulses[replay.pulses["walker"] == winner]["rest_s"][won.number]

    def share_left(walker: int, time: float) -> float:
        rows = replay.poses[replay.poses["walker"] == walker]
        now = rows[np.searchsorted(rows["time_s"], time, side="right") - 1]
        both = np.array([rows[0], now], replay.poses.dtype)
        before, after = goal_distances(replay, replay.goals, np.full(2, walker), both)
        return float(after / before)

    for time in np.linspace(rest, use.walk_s[winner], 25):
        own = share_left(winner, time)
        assert all(share_left(one, time) >= own for one in range(count) if one != winner)


def test_nothing_is_said_that_the_replay_does_not_hold(races: list[Replay]) -> None:
    """Take the touches, or the shadows, out of a replay: no account speaks of walls, or of shade, more."""
    for replay in races[:2]:
        count = len(replay.walkers)
        lights = replay.lights.copy()
        lights["open_panel_lx"] = lights["panel_lx"]
        bare = replace(replay, touches=replay.touches[:0], lights=lights)
        use = time_use(bare)
        deciding = Deciding(bare, use, np.full(count, -1), np.zeros(count, np.int64), ["a walker"] * count)
        for walker in range(count):
            assert use.of(walker)[ON_WALLS] == use.of(walker)[IN_SHADE] == 0.0
            found = deciding.of(walker)
            assert found.cause not in (ON_WALLS, IN_SHADE)
            assert not re.search("wall|shadow", found.words)
