"""Distances to the nearest against scipy.spatial.distance, random scatters against published formulae."""

import math

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree
from scipy.spatial.distance import cdist

from replays.scoring.scatter import Standable, _scatter, nearest_others, scattered_distance

BENCH = Standable(((0.0, 0.0), (2.0, 0.0), (2.0, 1.2), (0.0, 1.2)))
SQUARE = Standable(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)))
TRAY = ((0.8, 0.3), (1.2, 0.3), (1.2, 0.9), (0.8, 0.9))


def thrown(floor: Standable, count: int, radius: float, copies: int) -> NDArray[np.float64]:
    found = _scatter(floor, count, radius, copies, np.random.default_rng(3))
    assert found is not None
    places, copy = found
    assert np.bincount(copy).tolist() == [count] * copies
    return places.reshape(copies, count, 2)


def all_distances(places: NDArray[np.float64]) -> NDArray[np.float64]:
    away = cdist(places, places)
    np.fill_diagonal(away, np.inf)
    return away


@pytest.mark.parametrize("seed", range(5))
def test_the_nearest_of_each_group_against_all_distances(seed: int) -> None:
    draw = np.random.default_rng(seed)
    places, group = draw.uniform(-1.0, 1.0, (60, 2)), draw.integers(0, 9, 60)
    group[0] = 99
    away = all_distances(places)
    away[group[:, None] != group] = np.inf
    distance, other = nearest_others(places, group)
    np.testing.assert_allclose(distance, away.min(axis=1), rtol=1e-9)
    assert (distance[0], other[0]) == (math.inf, -1), "nobody else is of its group"
    np.testing.assert_array_equal(other[1:], away[1:].argmin(axis=1))


def test_two_in_one_place_are_nearest_to_each_other() -> None:
    distance, other = nearest_others(np.array([[0.3, 0.3], [0.3, 0.3], [0.9, 0.9]]), np.zeros(3, np.int64))
    assert distance[:2].tolist() == [0.0, 0.0]
    assert other[:2].tolist() == [1, 0]


def test_of_thousands_in_heaps_the_nearest_against_a_tree() -> None:
    draw = np.random.default_rng(5)
    places, group = draw.normal(draw.integers(0, 4, (6000, 1)), 0.02, (6000, 2)), draw.integers(0, 2, 6000)
    distance, _ = nearest_others(places, group)
    for one in range(2):
        mine = group == one
        away = KDTree(places[mine]).query(places[mine], k=2)[0][:, 1]
        np.testing.assert_allclose(distance[mine], away, rtol=1e-12)


@pytest.mark.parametrize("count", [8, 20, 50, 200, 2000])
def test_points_on_a_rectangle_against_the_formula_for_its_edge(count: int) -> None:
    """0.5 sqrt(A/N) + (0.0514 + 0.041/sqrt N) P/N: Donnelly, "Simulations to determine the variance and edge
    effect of total nearest-neighbour distance", in Hodder (ed.), Simulation Studies in Archaeology (1978).
    """
    area, edge = 2.4, 6.4
    expected = 0.5 * math.sqrt(area / count) + (0.0514 + 0.041 / math.sqrt(count)) * edge / count
    found = scattered_distance(BENCH, count, 0.0)
    assert found == pytest.approx(expected, rel=0.013)
    # without an edge it would be 1 / (2 sqrt(density)): Clark and Evans (1954)
    assert found is not None
    assert found > 0.5 * math.sqrt(area / count)


def test_two_points_in_a_square_against_the_known_mean_distance() -> None:
    """(2 + sqrt 2 + 5 ln(1 + sqrt 2)) / 15 for the unit square: from memory."""
    known = (2.0 + math.sqrt(2.0) + 5.0 * math.log(1.0 + math.sqrt(2.0))) / 15.0
    assert scattered_distance(SQUARE, 2, 0.0) == pytest.approx(known, rel=0.01)


def test_bodies_lie_apart_on_the_floor_and_clear_of_walls() -> None:
    plank = ((0.4, 0.0), (0.4, 0.7))
    floor = Standable(BENCH.outline, (TRAY,), (plank,))
    room = shapely.Polygon(BENCH.outline).difference(shapely.Polygon(TRAY))
    walls = shapely.unary_union([room.boundary, shapely.LineString(plank)])
    for places in thrown(floor, 60, 0.03, 20):
        points = shapely.points(places)
        assert shapely.contains(room, points).all()
        assert shapely.distance(walls, points).min() >= 0.03
        assert all_distances(places).min() >= 0.06
    # every place that is free is as likely: left of the plank, and below the tray, as often as they are large
    free = room.buffer(-0.03).difference(shapely.LineString(plank).buffer(0.03))
    everyone = thrown(floor, 10, 0.03, 2000).reshape(-1, 2)
    for west, south, east, north in ((0.0, 0.0, 0.37, 0.7), (0.83, 0.0, 1.17, 0.3)):
        share = free.intersection(shapely.box(west, south, east, north)).area / free.area
        x, y = everyone.T
        inside = float(((x >= west) & (x <= east) & (y >= south) & (y <= north)).mean())
        assert inside == pytest.approx(share, rel=0.06)


def test_bodies_thrown_in_turn_against_throwing_them_one_by_one() -> None:
    """The same process written the plain way: one body after the other, each until it is clear of all."""
    draw = np.random.default_rng(8)
    means = []
    for _ in range(150):
        placed: list[NDArray[np.float64]] = []
        while len(placed) < 30:
            one = draw.uniform((0.05, 0.05), (0.95, 0.95))
            if all(math.dist(one, other) >= 0.1 for other in placed):
                placed.append(one)
        means.append(all_distances(np.array(placed)).min(axis=1).mean())
    error = float(np.std(means)) / math.sqrt(len(means))
    assert scattered_distance(SQUARE, 30, 0.05) == pytest.approx(float(np.mean(means)), abs=4.0 * error)


def test_where_bodies_keep_apart_the_scatter_is_wider() -> None:
    points, bodies = scattered_distance(BENCH, 200, 0.0), scattered_distance(BENCH, 200, 0.03)
    assert points is not None
    assert bodies is not None
    assert bodies > 1.3 * points


def test_one_alone_and_a_floor_that_is_too_full_have_none() -> None:
    assert scattered_distance(BENCH, 1, 0.03) is None
    # 600 bodies of 60 mm would cover 0.71 of the bench
    assert scattered_distance(BENCH, 600, 0.03) is None
    # wide enough in all, but nowhere for a body of this size
    aisle = Standable(((0.0, 0.0), (9.0, 0.0), (9.0, 0.05), (0.0, 0.05)))
    assert scattered_distance(aisle, 2, 0.03) is None
