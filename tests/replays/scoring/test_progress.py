"""Who leads is told by the way that is left, as shapely has it, or by light where there is no goal."""

import numpy as np
import pytest
import shapely

from replays.scoring.progress import Progress
from tests.helpers.fabricate import Fabricator, arena, potting_bench


def test_the_way_left_is_that_to_the_nearest_edge_of_a_goal() -> None:
    replay = potting_bench().replay()
    progress = Progress(replay)
    goals = [shapely.Polygon(goal) for goal in replay.goals]
    assert progress.has_goal
    for time_s in (0.0, 100.0, 500.0, 900.0):
        standing = progress.at(time_s)
        for walker in range(len(replay.walkers)):
            rows = replay.poses[(replay.poses["walker"] == walker) & (replay.poses["time_s"] <= time_s)]
            row, ahead = rows[-1], float(replay.walkers["body_ahead"][walker])
            heading = float(row["heading"])
            body = shapely.Point(row["x"] + ahead * np.cos(heading), row["y"] + ahead * np.sin(heading))
            arrived = np.isfinite(standing.arrived_s[walker])
            expected = 0.0 if arrived else min(goal.distance(body) for goal in goals)
            # a walker in the middle of a move is told where it came from
            assert standing.value[walker] == pytest.approx(expected, abs=0.15 if len(rows) > 1 else 1e-6)


def test_who_has_arrived_leads_and_those_alike_share_a_place() -> None:
    made = Fabricator(seconds=100.0, arena=potting_bench().replay().arena)
    first, second, third = made.walker(0.2, 0.5), made.walker(0.2, 0.5), made.walker(0.4, 0.5)
    goal = np.array(potting_bench().replay().goals[0]).mean(axis=0)
    made.pulse(second, 30.0, (float(goal[0]), float(goal[1])))
    progress = Progress(made.replay())
    start, end = progress.at(0.0), progress.at(100.0)
    assert start.order[0] == third
    assert start.rank[first] == start.rank[second] == 2
    assert end.order.tolist() == [second, third, first]
    assert end.rank[second] == 1
    assert end.gone[second] == 1.0
    assert (end.gone[[first, third]] < 1.0).all()
    assert progress.decisive_moment() is not None
    assert progress.decisive_moment()[1] == second  # type: ignore[index]


def test_without_a_goal_it_is_the_light_against_the_start() -> None:
    made = Fabricator(seconds=50.0, arena=arena(goals=[]))
    walkers = [made.walker(0.2 + 0.2 * number, 0.5) for number in range(3)]
    replay = made.replay()
    progress = Progress(replay)
    assert not progress.has_goal
    panel = replay.lights["panel_lx"][np.searchsorted(replay.lights["walker"], walkers)]
    assert (panel > 0).all()
    np.testing.assert_allclose(progress.at(50.0).value, 1.0)
    assert (progress.at(50.0).rank == 1).all()


def test_a_run_without_walkers_has_no_leader() -> None:
    progress = Progress(Fabricator(seconds=10.0).replay())
    assert len(progress.at(5.0).order) == 0
    assert progress.decisive_moment() is None
