"""The bench on what a replay holds: the light in which entries stood, by hand, and their faults there."""

import math

import pytest

from agents.design.spec import read_design
from agents.testbench.bench_figures import bench_point
from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.bench_faults import entries_on_bench, median_light, walk_ends
from tests.helpers.fabricate import Fabricator, arena, box, goal


def test_the_light_is_the_median_over_time_until_the_goal() -> None:
    made = Fabricator(seconds=100.0, arena=arena(goals=[goal(*box(1.5, 0.0, 2.0, 1.0))]))
    first, second = made.walker(0.2, 0.2, panel_lx=100.0), made.walker(1.4, 0.8, panel_lx=900.0)
    made.light(first, 60.0, 300.0)
    made.pulse(second, 30.0, (1.6, 0.8))
    made.light(second, 31.0, 9000.0)
    replay = made.replay()
    ends = walk_ends(replay)
    assert ends.tolist() == pytest.approx([100.0, 30.25], abs=0.03)
    assert median_light(replay, [first], ends) == 100.0
    # 60 s of 100 lx against 40 s of 300 lx and 30 s of 900 lx
    assert median_light(replay, [first, second], ends) == 300.0
    assert median_light(replay, [second], ends) == 900.0
    assert math.isnan(median_light(replay, [], ends))


def test_in_daylight_alone_it_is_the_bench_at_that_light() -> None:
    race = simulate(read_contest("south-sill", ["poppy", "thistle-spins"], walkers=1, seconds=300))
    for one, name in zip(entries_on_bench(race), ("poppy", "thistle-spins"), strict=True):
        assert one.weight == pytest.approx(1.0)
        assert one.point is not None
        straight = bench_point(read_design(name), one.light_lx)
        assert one.point.faults == straight.faults
        found, expected = one.point.as_dict()["left"], straight.as_dict()["left"]
        assert found == pytest.approx(expected)


def test_a_lamp_that_gives_more_current_a_lux_charges_faster_than_daylight() -> None:
    race = simulate(read_contest("open-bench", ["poppy"], walkers=4, seconds=600))
    [one] = entries_on_bench(race)
    assert one.point is not None
    daylight = bench_point(read_design("poppy"), one.light_lx)
    assert 1.2 < one.weight < 3.02
    assert one.point.measured.photocurrent == pytest.approx(one.weight * daylight.measured.photocurrent)
    assert one.point.first.trigger == daylight.first.trigger


def test_an_entry_without_walkers_stood_nowhere() -> None:
    [one] = entries_on_bench(Fabricator().replay())
    assert (math.isnan(one.light_lx), one.faults) == (True, None)
