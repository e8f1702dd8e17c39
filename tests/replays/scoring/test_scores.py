"""Scores of replays made by hand, worked out on paper; outlines against shapely."""

import json
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from agents.errors import ReplayError
from agents.testbench.faults import LEAST_PATH
from replays.format.tables import BODY, CUT_OFF, LEFT_WHISKER, RIGHT_WHISKER, Replay, Tables
from replays.scoring.episodes import Episodes, contact_episodes, shade_episodes
from replays.scoring.measures import LEAST_MOVE
from replays.scoring.outline import inside, way_to
from replays.scoring.scores import EXPLANATIONS, DesignScore, score, score_many
from tests.helpers.fabricate import Fabricator, arena, box, goal

UNDER_THE_LAMP = arena(goals=[goal(*box(1.5, 0.0, 2.0, 1.0))])


def only(made: Fabricator) -> DesignScore:
    (scores,) = score(made.replay())
    return scores


def episodes_of(find: Callable[[Tables, float], Episodes], replay: Replay) -> Episodes:
    return find(replay, replay.seconds)


def walk_east(made: Fabricator, walker: int, y: float, starts: list[float], step: float = 0.1) -> None:
    x = made._now[walker][0]
    for number, start in enumerate(starts):
        made.pulse(walker, start, (x + step * (number + 1), y))


def random_outline(draw: np.random.Generator) -> NDArray[np.float64]:
    """A star-shaped outline about the origin, so that it never crosses itself."""
    angles = np.sort(draw.uniform(0, 2 * np.pi, int(draw.integers(5, 12))))
    lengths = draw.uniform(0.3, 1.0, angles.size)
    return np.column_stack((lengths * np.cos(angles), lengths * np.sin(angles)))


@pytest.mark.parametrize("seed", range(25))
def test_points_and_outlines_against_shapely(seed: int) -> None:
    draw = np.random.default_rng(seed)
    outline = random_outline(draw)
    area = shapely.Polygon(outline)
    x, y = draw.uniform(-1.2, 1.2, (2, 200))
    points = shapely.points(x, y)
    np.testing.assert_array_equal(inside(x, y, outline), shapely.contains(area, points))
    way_x, way_y = way_to(x, y, outline)
    np.testing.assert_allclose(np.hypot(way_x, way_y), shapely.distance(area, points), atol=1e-12)
    arrived = shapely.points(x + way_x, y + way_y)
    np.testing.assert_allclose(shapely.distance(area, arrived), 0.0, atol=1e-12)


def test_a_straight_walk_into_the_goal() -> None:
    made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    walker = made.walker(1.05, 0.5, panel_lx=500.0)
    walk_east(made, walker, 0.5, [10.0, 20.0, 30.0, 40.0, 50.0, 60.0])
    made.light(walker, 50.0, 2000.0)
    scores = only(made)
    assert (scores.walkers, scores.pulses, scores.reached, scores.reach_share) == (1, 6, 1, 1.0)
    # The fifth pulse goes from 1.45 to 1.55 m in 0.5 s, its poses 25 ms apart; the goal begins at 1.5 m.
    assert scores.median_reach_s == pytest.approx(50.25, abs=0.0251)
    assert scores.light_gain == pytest.approx((50 * 500 + 50 * 2000) / 100 / 500)
    assert scores.directness == pytest.approx(1.0, abs=1e-6)
    assert scores.aim == pytest.approx(1.0)
    assert scores.aim_resultant == pytest.approx(1.0)
    assert (scores.contacts, scores.shades) == (0, 0)
    assert scores.escape_share is None
    assert scores.escape_interval is None
    assert scores.median_escape_s is None
    assert scores.median_escape_pulses is None
    assert scores.stuck_share == 0.0


def test_the_centre_of_the_body_reaches_not_the_axle() -> None:
    made = Fabricator(designs=("cress", "borage"), arena=UNDER_THE_LAMP)
    ahead = made.walker(1.0, 0.3, body_ahead=0.1)
    behind = made.walker(1.0, 0.7, design=1, body_ahead=-0.1)
    made.pulse(ahead, 10.0, (1.45, 0.3))
    made.pulse(behind, 10.0, (1.55, 0.7))
    cress, borage = score(made.replay())
    assert (cress.reached, borage.reached) == (1, 0)


def test_who_never_reaches_counts_as_cut_off() -> None:
    made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    for start in (10.0, 30.0, 50.0):
        made.pulse(made.walker(1.4, 0.5), start, (1.6, 0.5))
    for _ in range(2):
        made.walker(0.2, 0.5)
    scores = only(made)
    # Three of five by 50 s: the share under way falls 0.8, 0.6, 0.4.
    assert scores.median_reach_s == pytest.approx(50.25, abs=0.0251)
    made.walker(0.2, 0.5)
    made.walker(0.2, 0.5)
    assert only(made).median_reach_s is None
    assert only(made).reached == 3
    # Wilson's interval for 3 of 7, worked out by hand.
    assert only(made).reach_interval == pytest.approx((0.1582, 0.7495), abs=5e-5)


def test_directness_of_a_detour() -> None:
    made = Fabricator()
    walker = made.walker(0.2, 0.2)
    made.pulse(walker, 10.0, (0.5, 0.2))
    made.pulse(walker, 20.0, (0.5, 0.6))
    assert only(made).directness == pytest.approx(5 / 7, abs=1e-6)
    made.walker(1.0, 0.5)
    assert only(made).directness == pytest.approx(5 / 7, abs=1e-6), "who never moved has no directness"


def test_aim_is_measured_to_the_nearest_point_of_the_nearest_goal() -> None:
    bench = arena(goals=[goal(*box(1.5, 0.0, 2.0, 1.0)), goal(*box(0.0, 0.0, 0.1, 0.1), name="far corner")])
    made = Fabricator(arena=bench)
    walker = made.walker(1.0, 0.9)
    moves = [0.0, math.pi / 3, -math.pi / 3, math.pi]
    for number, angle in enumerate(moves):
        x, y, _ = made._now[walker]
        made.pulse(walker, 10.0 + number, (x + 0.01 * math.cos(angle), y + 0.01 * math.sin(angle)))
    scores = only(made)
    # Cosines 1, 1/2, 1/2, -1; the sines cancel.
    assert scores.aim == pytest.approx(0.25)
    assert scores.aim_resultant == pytest.approx(0.25)


def test_aim_and_its_resultant_differ_for_a_steady_error() -> None:
    made = Fabricator(arena=UNDER_THE_LAMP)
    walker = made.walker(1.0, 0.2)
    for number in range(5):
        x, y, _ = made._now[walker]
        made.pulse(walker, 10.0 + number, (x, y + 0.05))
    scores = only(made)
    assert scores.aim == pytest.approx(0.0, abs=1e-12)
    assert scores.aim_resultant == pytest.approx(1.0)


def test_aim_leaves_out_what_comes_after_the_goal_and_pulses_that_do_not_move() -> None:
    made = Fabricator(arena=UNDER_THE_LAMP)
    walker = made.walker(1.4, 0.5)
    made.pulse(walker, 5.0, (1.4, 0.5))
    made.pulse(walker, 10.0, (1.6, 0.5))
    made.pulse(walker, 20.0, (1.2, 0.5))
    made.pulse(walker, 30.0, (1.0, 0.5))
    assert only(made).aim == pytest.approx(1.0)


def test_no_goal_leaves_what_needs_one_undefined() -> None:
    made = Fabricator()
    walk_east(made, made.walker(0.2, 0.5), 0.5, [10.0, 20.0])
    scores = only(made)
    for name in ("reached", "reach_share", "reach_interval", "median_reach_s", "aim", "aim_resultant"):
        assert getattr(scores, name) is None
    assert scores.directness == pytest.approx(1.0, abs=1e-6)


def test_a_design_without_walkers_is_listed() -> None:
    made = Fabricator(designs=("cress", "borage"), arena=UNDER_THE_LAMP)
    made.walker(0.2, 0.5)
    cress, borage = score(made.replay())
    assert (cress.design, borage.design) == ("cress", "borage")
    assert (cress.reached, cress.reach_share, cress.directness) == (0, 0.0, None)
    assert borage.walkers == 0
    assert borage.reach_share is None
    assert borage.light_gain is None
    assert borage.stuck_share is None


def test_nobody_at_all_can_be_scored() -> None:
    (scores,) = score(Fabricator(arena=UNDER_THE_LAMP).replay())
    assert scores.walkers == 0
    assert scores.contacts == 0


def test_light_gain_is_the_median_walker_and_leaves_out_who_starts_in_the_dark() -> None:
    made = Fabricator(seconds=100.0)
    for gain in (0.5, 2.0, 1000.0):
        walker = made.walker(0.2, 0.5, panel_lx=100.0)
        made.light(walker, 50.0, 100.0 * (2 * gain - 1))
    dark = made.walker(0.2, 0.5, panel_lx=0.0)
    made.light(dark, 1.0, 500.0)
    assert only(made).light_gain == pytest.approx(2.0)


def test_a_contact_that_two_free_pulses_end() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5)
    walk_east(made, walker, 0.5, [10.0, 20.0, 30.0, 40.0, 50.0])
    made.touch(walker, 10.4, LEFT_WHISKER, closed=True)
    made.touch(walker, 30.1, LEFT_WHISKER, closed=False)
    found = episodes_of(contact_episodes, made.replay())
    # The pulses at 40 and 50 s are free; those at 20 and 30 s were fired in touch.
    assert found.lasted_s.tolist() == pytest.approx([19.7])
    assert found.pulses.tolist() == [2]
    assert found.free.tolist() == [True]
    scores = only(made)
    assert (scores.contacts, scores.shades, scores.escape_share) == (1, 0, 1.0)
    assert scores.median_escape_s == pytest.approx(19.7)
    assert scores.median_escape_pulses == 2.0


def test_a_contact_with_one_free_pulse_after_it_is_cut_off() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5)
    walk_east(made, walker, 0.5, [10.0, 20.0, 30.0])
    made.pulse(walker, 99.5, (0.51, 0.5), ended=CUT_OFF)
    made.touch(walker, 10.4, LEFT_WHISKER, closed=True)
    made.touch(walker, 20.1, LEFT_WHISKER, closed=False)
    found = episodes_of(contact_episodes, made.replay())
    assert found.free.tolist() == [False]
    assert found.lasted_s.tolist() == pytest.approx([89.6])
    assert found.pulses.tolist() == [3]
    scores = only(made)
    assert scores.escape_share == 0.0
    assert scores.median_escape_s is None


@pytest.mark.parametrize(("free_pulses", "episodes"), [(0, 1), (1, 1), (2, 2), (3, 2)])
def test_touches_are_one_episode_unless_two_free_pulses_lie_between(free_pulses: int, episodes: int) -> None:
    made = Fabricator(seconds=200.0)
    walker = made.walker(0.2, 0.5)
    count = 2 + free_pulses
    walk_east(made, walker, 0.5, [10.0 * (number + 1) for number in range(count)], step=0.02)
    last = 10.0 * count
    for start in (10.0, last):
        made.touch(walker, start + 0.1, RIGHT_WHISKER, closed=True)
        made.touch(walker, start + 0.4, RIGHT_WHISKER, closed=False)
    found = episodes_of(contact_episodes, made.replay())
    assert len(found.free) == episodes
    assert found.began_s[0] == pytest.approx(10.1)
    assert found.free.tolist() == [True, False][2 - episodes :]


def test_going_over_from_one_part_to_another_is_no_break() -> None:
    made = Fabricator(seconds=100.0)
    walker, other = made.walker(0.2, 0.5), made.walker(0.2, 0.8)
    walk_east(made, walker, 0.5, [10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0])
    made.touch(walker, 10.4, LEFT_WHISKER, closed=True)
    made.touch(walker, 20.1, BODY, closed=True)
    made.touch(walker, 20.2, LEFT_WHISKER, closed=False)
    made.touch(walker, 45.0, BODY, closed=False)
    made.touch(walker, 45.0, RIGHT_WHISKER, closed=True, against=1)
    made.touch(walker, 46.0, RIGHT_WHISKER, closed=True, against=1)
    made.touch(walker, 47.0, RIGHT_WHISKER, closed=False, against=1)
    # The other walker is still in touch when the run ends.
    made.touch(other, 50.0, BODY, closed=True)
    found = episodes_of(contact_episodes, made.replay())
    assert found.walker.tolist() == [walker, other]
    assert found.lasted_s.tolist() == pytest.approx([36.6, 50.0])
    assert found.pulses.tolist() == [3, 0]
    assert found.free.tolist() == [True, False]


def test_a_touch_left_over_at_the_end_does_not_count_for_the_next_walker() -> None:
    made = Fabricator(seconds=100.0)
    first, second = made.walker(0.2, 0.2), made.walker(0.2, 0.8)
    made.touch(first, 10.0, BODY, closed=True)
    made.touch(first, 12.0, LEFT_WHISKER, closed=True)
    made.touch(second, 20.0, BODY, closed=True)
    made.touch(second, 30.0, BODY, closed=False)
    walk_east(made, second, 0.8, [40.0, 50.0])
    found = episodes_of(contact_episodes, made.replay())
    assert found.walker.tolist() == [first, second]
    assert found.lasted_s.tolist() == pytest.approx([90.0, 10.0])
    assert found.free.tolist() == [False, True]


def test_shade_is_less_than_half_of_the_light_in_the_open() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5, panel_lx=1000.0)
    walk_east(made, walker, 0.5, [10.0, 20.0, 30.0, 40.0, 50.0])
    made.light(walker, 10.5, 400.0, 1000.0)
    made.light(walker, 20.5, 300.0, 1000.0)
    made.light(walker, 30.5, 500.0, 1000.0)
    made.light(walker, 40.5, 10.0)
    found = episodes_of(shade_episodes, made.replay())
    assert found.began_s.tolist() == [10.5]
    assert found.lasted_s.tolist() == [20.0]
    assert found.pulses.tolist() == [2]
    assert found.free.tolist() == [True]
    assert (only(made).contacts, only(made).shades) == (0, 1)


def test_a_pulse_that_ends_in_the_next_shadow_is_not_free() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5, panel_lx=100.0, open_lx=1000.0)
    walk_east(made, walker, 0.5, [10.0, 20.0, 30.0, 40.0, 50.0])
    made.light(walker, 10.5, 1000.0)
    made.light(walker, 30.5, 100.0, 1000.0)
    made.light(walker, 40.5, 1000.0)
    found = episodes_of(shade_episodes, made.replay())
    assert len(found.free) == 1, "only the pulse at 20 s lay wholly between the shadows"
    assert found.free.tolist() == [False]
    assert found.lasted_s.tolist() == [100.0]


def test_shade_to_the_end_of_the_run_and_of_several_walkers() -> None:
    made = Fabricator(seconds=100.0)
    first = made.walker(0.2, 0.2, panel_lx=100.0, open_lx=1000.0)
    second = made.walker(0.2, 0.8, panel_lx=100.0, open_lx=1000.0)
    made.light(second, 60.0, 900.0, 1000.0)
    walk_east(made, second, 0.8, [70.0, 80.0])
    found = episodes_of(shade_episodes, made.replay())
    assert found.walker.tolist() == [first, second]
    assert found.lasted_s.tolist() == [100.0, 60.0]
    assert found.free.tolist() == [False, True]
    # One of two free after 60 s.
    assert only(made).median_escape_s == 60.0
    assert only(made).escape_share == 0.5


def test_what_begins_after_the_goal_is_no_episode_of_the_walk() -> None:
    made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    walker = made.walker(1.4, 0.5)
    made.pulse(walker, 10.0, (1.6, 0.5))
    made.touch(walker, 30.0, BODY, closed=True, against=1)
    made.light(walker, 40.0, 10.0, 1000.0)
    assert (only(made).contacts, only(made).shades) == (0, 0)


def test_six_pulses_that_get_nowhere_are_stuck() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5, radius=0.03)
    # Walks on for two pulses, then back and forth by less than a diameter for eight, then on again.
    places = [0.3, 0.4, *[0.42, 0.40] * 4, 0.5, 0.6]
    for number, x in enumerate(places):
        made.pulse(walker, 8.0 * (number + 1), (x, 0.5))
    # Stuck from the firing of the third pulse to the rest of the tenth.
    assert only(made).stuck_share == pytest.approx((80.5 - 24.0) / 100.0)


def test_five_pulses_that_get_nowhere_are_not_yet_stuck() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.2, 0.5, radius=0.03)
    for number, x in enumerate([0.3, *[0.32, 0.30] * 2, 0.32, 0.5, 0.6]):
        made.pulse(walker, 12.0 * (number + 1), (x, 0.5))
    assert only(made).stuck_share == 0.0


def test_going_round_in_a_small_circle_is_stuck_and_small_steps_are_not() -> None:
    spinner = Fabricator(seconds=100.0)
    walker = spinner.walker(0.5, 0.5, radius=0.05)
    for number in range(1, 13):
        angle = number * math.pi / 3
        place = (0.5 + 0.02 * math.sin(angle), 0.52 - 0.02 * math.cos(angle))
        spinner.pulse(walker, 8.0 * number, place)
    assert only(spinner).stuck_share == pytest.approx((96.5 - 8.0) / 100.0)
    dawdler = Fabricator(seconds=100.0)
    walk_east(dawdler, dawdler.walker(0.2, 0.5, radius=0.05), 0.5, [8.0 * n for n in range(1, 13)], 0.004)
    assert only(dawdler).stuck_share == 0.0


def test_twitching_on_the_spot_is_stuck_and_has_neither_directness_nor_aim() -> None:
    """Thousands of steps of a tenth of a millimetre, all towards the goal: straight, and yet nowhere."""
    made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    walker = made.walker(0.2, 0.5, radius=0.026)
    walk_east(made, walker, 0.5, [1.0 + n for n in range(98)], 0.1e-3)
    scores = only(made)
    assert (scores.directness, scores.aim, scores.aim_resultant) == (None, None, None)
    assert scores.hardly_moved == 1
    assert scores.progress == pytest.approx(9.8e-3 / 1.3)
    # from the first of its pulses to the last
    assert scores.stuck_share == pytest.approx(0.975)


def test_twitching_far_in_the_end_is_still_twitching() -> None:
    made = Fabricator(seconds=1000.0, arena=UNDER_THE_LAMP)
    walk_east(made, made.walker(0.2, 0.5, radius=0.03), 0.5, [1.0 + n for n in range(990)], 0.2e-3)
    assert (only(made).hardly_moved, only(made).directness) == (1, None)
    # and silent after its last pulse, for more than six of its waits of half a second
    assert only(made).stuck_share == pytest.approx(0.999)


def test_the_least_move_is_that_of_the_bench() -> None:
    assert LEAST_MOVE == LEAST_PATH


def test_one_that_hardly_moved_does_not_lift_the_directness_of_the_others() -> None:
    made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    bent = made.walker(0.2, 0.2)
    made.pulse(bent, 10.0, (0.5, 0.2))
    made.pulse(bent, 20.0, (0.5, 0.6))
    # two steps straight on, and not as far as it is wide
    walk_east(made, made.walker(0.2, 0.8, radius=0.03), 0.8, [10.0, 20.0], 0.02)
    assert (only(made).hardly_moved, only(made).directness) == (1, pytest.approx(5 / 7, abs=1e-6))


def test_who_starts_beside_the_goal_and_reaches_it_has_moved_enough() -> None:
    made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    made.pulse(made.walker(1.48, 0.5, radius=0.05), 10.0, (1.51, 0.5))
    assert (only(made).hardly_moved, only(made).progress) == (0, 1.0)
    assert only(made).directness == pytest.approx(1.0, abs=1e-6)


def test_progress_is_the_share_of_the_way_gained() -> None:
    """By hand: goals' edge at x = 1.5 m; starts, ends and what they gain of the straight way."""
    for start, end, gained in ((0.5, 1.0, 0.5), (0.5, 0.25, -0.25), (1.3, 0.2, -1.0), (1.0, 1.0, 0.0)):
        made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
        walker = made.walker(start, 0.5)
        if end != start:
            made.pulse(walker, 10.0, (end, 0.5))
        assert only(made).progress == pytest.approx(gained, abs=1e-6)
    within = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    within.walker(1.7, 0.5)
    assert (only(within).reached, only(within).progress) == (1, None)
    assert only(Fabricator()).progress is None


def test_progress_is_kept_once_the_goal_was_reached() -> None:
    made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    walker = made.walker(1.0, 0.5)
    made.pulse(walker, 10.0, (1.6, 0.5))
    made.pulse(walker, 20.0, (0.5, 0.5))
    assert only(made).progress == 1.0


def test_the_turn_of_the_median_pulse_counts_whole_turns() -> None:
    made = Fabricator(seconds=100.0)
    walker = made.walker(0.5, 0.5)
    for number, degrees in enumerate((30.0, 713.0, -713.0)):
        heading = made._now[walker][2] + math.radians(degrees)
        made.pulse(walker, 10.0 * (number + 1), (0.5, 0.5), heading=heading)
    # one that the end of the run cut off has not done turning
    made.pulse(walker, 99.0, (0.5, 0.5), heading=0.0, ended=CUT_OFF)
    assert only(made).median_turn_deg == pytest.approx(713.0, abs=1e-3)


def test_falling_silent_is_stuck_but_waiting_is_not() -> None:
    made = Fabricator(seconds=100.0)
    walk_east(made, made.walker(0.2, 0.5), 0.5, [10.0, 15.5, 36.0])
    assert only(made).stuck_share == pytest.approx((100.0 - 36.5) / 100.0), "63.5 s against six waits of 10 s"
    made = Fabricator(seconds=90.0)
    walk_east(made, made.walker(0.2, 0.5), 0.5, [10.0, 15.5, 36.0])
    assert only(made).stuck_share == 0.0, "53.5 s against six waits of 10 s"


def test_the_typical_wait_is_the_median_of_an_even_number_too() -> None:
    # Waits of 2 and 18 s, so 10 s; silent from 21 s on, for 61 s or for 59 s.
    for seconds, stuck_s in ((82.0, 61.0), (80.0, 0.0)):
        made = Fabricator(seconds=seconds)
        walk_east(made, made.walker(0.2, 0.5), 0.5, [2.0, 20.5])
        assert only(made).stuck_share == pytest.approx(stuck_s / seconds)


def test_who_never_finishes_a_pulse_is_stuck_throughout() -> None:
    made = Fabricator(seconds=100.0)
    made.walker(0.2, 0.5)
    locked = made.walker(0.2, 0.7)
    made.pulse(locked, 10.0, (0.3, 0.7), lasts_s=90.0, ended=CUT_OFF)
    assert only(made).stuck_share == 1.0


def test_time_after_the_goal_is_not_part_of_the_walk() -> None:
    made = Fabricator(seconds=200.0, arena=UNDER_THE_LAMP)
    walker = made.walker(1.4, 0.5)
    made.pulse(walker, 10.0, (1.6, 0.5))
    idle = made.walker(0.2, 0.5)
    walk_east(made, idle, 0.5, [40.0, 80.0, 120.0, 160.0])
    assert only(made).stuck_share == 0.0


def test_several_replays_are_thrown_together_by_design() -> None:
    first = Fabricator(seconds=100.0, designs=("cress", "borage"), arena=UNDER_THE_LAMP)
    first.pulse(first.walker(1.4, 0.5), 10.0, (1.6, 0.5))
    first.walker(0.2, 0.5, design=1)
    second = Fabricator(seconds=50.0, designs=("borage", "cress"), arena=UNDER_THE_LAMP)
    second.pulse(second.walker(1.4, 0.5), 20.0, (1.6, 0.5))
    second.walker(0.2, 0.5, design=1)
    cress, borage = score_many([first.replay(), second.replay()])
    assert (cress.design, cress.walkers, cress.reached) == ("cress", 2, 1)
    assert (borage.design, borage.walkers, borage.reached) == ("borage", 2, 1)
    assert cress.median_reach_s == pytest.approx(10.25, abs=0.0251)
    assert borage.median_reach_s == pytest.approx(20.25, abs=0.0251)
    assert score_many([]) == []


def test_one_name_for_two_designs_is_refused() -> None:
    made = Fabricator().replay()
    header = made.header | {"designs": [made.header["designs"][0] | {"yaml": "name: cress\nabout: other\n"}]}
    with pytest.raises(ReplayError, match="different designs by the name of cress"):
        score_many([made, replace(made, header=header)])


def test_scores_go_through_json_and_every_one_is_explained() -> None:
    made = Fabricator(arena=UNDER_THE_LAMP)
    made.pulse(made.walker(1.4, 0.5), 10.0, (1.6, 0.5))
    as_dict = only(made).as_dict()
    again = json.loads(json.dumps(as_dict, allow_nan=False))
    assert again == as_dict
    assert set(EXPLANATIONS) == set(as_dict) - {"design"}
    assert again["reach_interval"] == pytest.approx([0.2065, 1.0], abs=5e-5)
