"""The bench on what a replay holds: the light in which entries stood, by hand, and their faults there."""

import math

import pytest

from agents.design.spec import read_design
from agents.testbench.bench_figures import bench_point
from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.bench_faults import entries_on_bench, last_lights, median_lights, on_bench, walk_ends
from replays.causes.light_by_kind import weighed_light
from replays.causes.traces import Circuits
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
    assert median_lights(replay, [first], ends) == (100.0, 100.0)
    # 60 s of 100 lx against 40 s of 300 lx and 30 s of 900 lx
    assert median_lights(replay, [first, second], ends) == (300.0, 300.0)
    assert median_lights(replay, [second], ends) == (900.0, 900.0)
    assert math.isnan(median_lights(replay, [], ends)[0])
    replay.lights["left_lx"] *= 0.5
    replay.lights["right_lx"] *= 0.7
    assert median_lights(replay, [second], ends) == (900.0, 450.0)
    assert last_lights(replay, second) == (9000.0, 4500.0)


def test_in_the_same_light_for_all_it_is_the_bench_at_that_light() -> None:
    race = simulate(read_contest("south-sill", ["poppy", "thistle-spins"], walkers=1, seconds=60))
    for number, name in enumerate(("poppy", "thistle-spins")):
        one = on_bench(Circuits(race), number, 3e3, 3e3)
        assert one.point is not None
        straight = bench_point(
            read_design(name), weighed_light(race.arena, Circuits(race).drawn(number), 3e3)
        )
        assert one.point.faults == straight.faults
        assert one.point.measured.photocurrent == pytest.approx(straight.measured.photocurrent)


def test_eyes_and_panel_each_have_their_own_light() -> None:
    """The current is that of the panel in its own mixture, and the trigger that of the eye in its own."""
    race = simulate(read_contest("open-bench", ["poppy"], walkers=4, seconds=600))
    circuits = Circuits(race)
    one = on_bench(circuits, 0, 2e3, 8e3)
    assert one.point is not None
    assert one.point.first.trigger == bench_point(read_design("poppy"), 8e3).first.trigger
    weighed = weighed_light(race.arena, circuits.drawn(0), 2e3)
    # an incandescent lamp over dull daylight: more than twice the current of as much sun
    assert 3e3 < weighed < 5e3
    straight = bench_point(read_design("poppy"), weighed)
    assert one.point.measured.photocurrent == pytest.approx(straight.measured.photocurrent)
    [told] = entries_on_bench(race)
    assert (told.design, told.faults) == ("poppy", ())


def test_an_entry_without_walkers_stood_nowhere() -> None:
    [one] = entries_on_bench(Fabricator().replay())
    assert (math.isnan(one.light_lx), one.faults) == (True, None)
