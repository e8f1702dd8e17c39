"""Walls by squares of the floor: whoever asks a square is told of every wall that matters to him."""

import math

import numpy as np
import pytest
import shapely

from arena.engine.assembly import WorldPlan, assemble
from arena.engine.batch import world_of
from arena.engine.senses import standing_toward
from arena.engine.shadow import visible_fraction
from arena.engine.walls import LEAST_REACH, MOST_CHOSEN, choose_along, square_at, walls_of
from arena.scene.records import WALL
from arena.simulation import run_plans
from tests.benchmarks.worlds import bench, many_arenas
from tests.helpers.scenes import make_lamp, make_sun

CORNERS = np.array([(-0.5, 0.2), (3.5, 0.2), (3.5, 2.9), (1.0, 2.9)])


def scattered(count: int, draws: np.random.Generator) -> np.ndarray:
    """So many walls anywhere on a floor with those corners, short ones and long ones."""
    walls = np.zeros(count, WALL)
    for number in range(count):
        x, y = draws.uniform(-0.5, 3.5), draws.uniform(0.2, 2.9)
        turn, length = draws.uniform(0.0, 2.0 * math.pi), draws.choice([0.05, 0.3, 2.0])
        height = draws.uniform(0.03, 0.1)
        walls[number] = (x, y, x + length * math.cos(turn), y + length * math.sin(turn), height)
    return walls


@pytest.mark.parametrize(("count", "reach"), [(3, 0.1), (40, 0.25), (400, 0.0)])
def test_a_square_lists_every_wall_near_it(count: int, reach: float) -> None:
    """By shapely's distances; and most of what is far away is left out."""
    draws = np.random.default_rng(count)
    walls = walls_of(scattered(count, draws), CORNERS, reach)
    lines = shapely.linestrings(
        np.stack([walls.table[[0, 2]].T, walls.table[[1, 3]].T], axis=2)  # ends, then x and y
    )
    reach = max(reach, LEAST_REACH)
    side = float(walls.squares["side"][0])
    told = 0
    for _ in range(200):
        x, y = draws.uniform(-0.5, 3.5), draws.uniform(0.2, 2.9)
        square = square_at(walls.squares[0], x, y)
        listed = walls.near[walls.firsts[square] : walls.firsts[square + 1]]
        apart = shapely.distance(lines, shapely.Point(x, y))
        assert set(np.flatnonzero(apart <= reach)) <= set(listed)
        assert np.all(np.diff(listed) > 0)
        assert np.all(apart[listed] <= reach + 1.42 * side)
        told += len(listed)
    assert told < 200 * count


def test_walls_along_a_way_are_all_those_near_it() -> None:
    """By shapely's distances; -1, all walls, where the way is too long or has too many beside it."""
    draws = np.random.default_rng(4)
    walls = walls_of(scattered(80, draws), CORNERS, 0.25)
    lines = shapely.linestrings(np.stack([walls.table[[0, 2]].T, walls.table[[1, 3]].T], axis=2))
    fewer = 0
    for _ in range(40):
        # from and to places on the floor
        x, y, to_x, to_y = draws.uniform((-0.5, 0.2, -0.5, 0.2), (3.5, 2.9, 3.5, 2.9))
        dx, dy = 0.4 * (to_x - x), 0.4 * (to_y - y)
        room = draws.uniform(0.0, 0.2)
        count = choose_along(walls, x, y, dx, dy, room)
        assert count >= 0
        near = shapely.distance(lines, shapely.LineString([(x, y), (x + dx, y + dy)])) <= room
        assert set(np.flatnonzero(near)) <= set(walls.chosen[:count])
        assert len(set(walls.chosen[:count])) == count
        table = walls.chosen_table[: 5 * count].reshape(5, count)
        assert np.array_equal(table, walls.table[:, walls.chosen[:count]])
        fewer += count < 40
    assert fewer > 10
    # steps of 20 mm, 32 of them at the most
    assert choose_along(walls, 0.0, 1.0, 0.63, 0.0, 0.24) >= 0
    assert choose_along(walls, 0.0, 1.0, 0.65, 0.0, 0.24) == -1
    crowded = walls_of(scattered(MOST_CHOSEN * 4, draws), CORNERS, 0.25)
    assert choose_along(crowded, 0.0, 1.0, 3.0, 0.5, 0.0) == -1


def test_the_table_of_a_square_holds_its_walls() -> None:
    walls = walls_of(scattered(60, np.random.default_rng(1)), CORNERS, 0.2)
    assert walls.firsts[-1] == len(walls.near) > 60
    for square in range(len(walls.firsts) - 1):
        first, last = walls.firsts[square], walls.firsts[square + 1]
        table = walls.near_tables[5 * first : 5 * last].reshape(5, last - first)
        assert np.array_equal(table, walls.table[:, walls.near[first:last]])


def test_light_is_the_same_as_with_all_walls() -> None:
    """To the last bit, for lamps high and low, points and discs, and the sun down to the horizon."""
    draws = np.random.default_rng(7)
    partly = 0
    for count in (20, 200, 1000):
        arena = bench(3.0, 2.0, count, 100.0, draws)
        plan = many_arenas(1)[0]
        numbers = np.array([0])
        batch, spans = assemble([WorldPlan(arena, plan.walkers, plan.poses, numbers, numbers, 1, 1.0)])
        scene, *_ = world_of(batch, spans, 0)
        for _ in range(400):
            x, y = draws.uniform(0.0, 3.0), draws.uniform(0.0, 2.0)
            place = draws.uniform(-1.0, 4.0), draws.uniform(-1.0, 3.0), 10.0 ** draws.uniform(-1.5, 0.5)
            lamp = make_lamp(*place, 100.0, draws.choice([0.0, 0.05, 0.2]))
            sun = make_sun(draws.uniform(0.0, 6.0), draws.choice([0.001, 0.1, 0.6]), 3e4)
            source = lamp if draws.uniform() < 0.7 else sun
            around = draws.uniform(0.0, 0.06)
            turn, lowest = draws.uniform(0.0, 2.0 * math.pi), draws.uniform(0.0, 0.04)
            receiver = x + around * math.cos(turn), y + around * math.sin(turn), lowest
            near = standing_toward(scene, x, y, around + 1e-9, lowest, source)
            everything = near._replace(walls=scene.walls.table)
            seen = visible_fraction(*receiver, source, everything)
            assert visible_fraction(*receiver, source, near) == seen
            partly += near.walls.shape[1] < scene.walls.table.shape[1] and seen < 1.0
    assert partly > 100


def test_worlds_on_one_floor_do_not_change_one_another() -> None:
    """Larger walkers on a floor have its squares tell of more walls, which is nothing to the small ones."""
    plans = many_arenas(2, 100.0)
    arena = plans[0].arena
    large = plans[1].walkers.copy()
    large["side"]["tip_ahead"] *= 4.0
    small = WorldPlan(arena, plans[0].walkers, plans[0].poses, np.array([0]), np.array([0]), 1, 100.0)
    other = WorldPlan(arena, large, plans[0].poses, np.array([1]), np.array([1]), 1, 100.0)
    alone, _ = run_plans([small], 1)
    both, _ = run_plans([small, other], 1)
    for name in ("pulses", "poses", "touches", "lights"):
        assert np.array_equal(both[name][both[name]["walker"] == 0], alone[name])
    assert len(alone["pulses"]) > 2
