"""The grid of neighbours against looking at all of them, the schedule against numpy's smallest."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arena.engine.grid import gather, place_in_grid
from arena.engine.schedule import first_walker, set_time, tree_size
from arena.engine.world_arrays import BODY, FOUND, LISTS, SETTINGS

places = st.tuples(st.floats(-1.0, 2.0), st.floats(0.5, 1.75))


def settings_of(cell: float) -> np.void:
    """A grid over a floor from (-1, 0.5) to (2, 1.75) [m]."""
    grid = np.zeros(1, SETTINGS)[0]
    grid["west"], grid["south"], grid["cell"] = -1.0, 0.5, cell
    grid["columns"], grid["rows"] = int(3.0 / cell) + 1, int(1.25 / cell) + 1
    return grid


@settings(deadline=None)
@given(
    st.floats(0.05, 4.0),
    st.lists(places, min_size=1, max_size=30),
    st.lists(st.tuples(st.integers(0, 29), places), max_size=60),
    st.lists(st.tuples(places, st.floats(0.0, 1.5)), min_size=1, max_size=8),
)
def test_nobody_within_reach_is_left_out(
    cell: float,
    starts: list[tuple[float, float]],
    moves: list[tuple[int, tuple[float, float]]],
    looks: list[tuple[tuple[float, float], float]],
) -> None:
    grid = settings_of(cell)
    heads = np.full(grid["columns"] * grid["rows"], -1)
    bodies = np.zeros(len(starts), BODY)
    bodies["cell"] = -1
    lists = np.zeros((len(starts), LISTS), np.int64)
    for number, (x, y) in [*enumerate(starts), *moves]:
        number %= len(starts)
        bodies[number]["disc_x"], bodies[number]["disc_y"] = x, y
        place_in_grid(grid, heads, bodies, number)
    for (x, y), reach in looks:
        count = gather(grid, heads, bodies, lists, x, y, reach)
        found = lists[:count, FOUND].tolist()
        assert len(found) == len(set(found))
        across, along = np.abs(bodies["disc_x"] - x), np.abs(bodies["disc_y"] - y)
        assert set(np.flatnonzero(np.hypot(across, along) <= reach)) <= set(found)
        # nor is anyone looked at who is more than a cell away from the square of that reach
        assert np.all(np.maximum(across, along)[found] <= reach + cell * (1.0 + 1e-9))


@pytest.mark.parametrize(("count", "size"), [(1, 1), (2, 2), (3, 4), (64, 64), (65, 128)])
def test_leaves_of_the_schedule(count: int, size: int) -> None:
    assert tree_size(count) == size


# few different times, so that many are equal
times = st.one_of(st.sampled_from([0.0, 0.5, 0.5 + 2**-53, math.inf]), st.floats(0.0, 1e6))


@settings(deadline=None)
@given(st.integers(1, 40), st.lists(st.tuples(st.integers(0, 39), times), min_size=1, max_size=80))
def test_the_schedule_finds_the_first_and_of_equals_the_lower(
    count: int, changes: list[tuple[int, float]]
) -> None:
    tree = np.full(2 * tree_size(count), math.inf)
    plain = np.full(count, math.inf)
    for number, time in changes:
        plain[number % count] = time
        set_time(tree, number % count, time)
        assert tree[1] == np.min(plain)
        # numpy.argmin gives the first of several equal ones
        assert first_walker(tree) == np.argmin(plain)
