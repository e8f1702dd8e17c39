"""Random scatters body by body, and their parts against plain distances and shapely's geometry."""

import math
from itertools import combinations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from replays.scoring import scatter
from replays.scoring.scatter import (
    Standable,
    _area,
    _first_come,
    _is_free,
    _near_pairs,
    _scatter,
    nearest_others,
    scattered_distance,
)

SQUARE = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
HOUSE = ((0.5, -1.0), (2.5, -1.0), (2.5, 0.4), (1.5, 1.2), (0.5, 0.4))
STONE = ((1.2, -0.4), (1.8, -0.4), (1.5, 0.1))
PLANK = ((0.5, 0.0), (0.9, 0.2), (0.9, 0.3))
FLOORS = (Standable(SQUARE), Standable(HOUSE, (STONE,), (PLANK,)))


def may_stand(floor: Standable, x: float, y: float, radius: float) -> bool:
    point = shapely.Point(x, y)
    solid = [shapely.Polygon(one) for one in floor.solid]
    if not shapely.Polygon(floor.outline).contains(point) or any(one.contains(point) for one in solid):
        return False
    walls = [shapely.LinearRing(floor.outline), *(one.exterior for one in solid)]
    walls += [shapely.LineString(one) for one in floor.lines]
    return radius == 0.0 or min(one.distance(point) for one in walls) >= radius


@pytest.mark.parametrize("floor", FLOORS)
@pytest.mark.parametrize(("count", "radius"), [(2, 0.0), (9, 0.0), (9, 0.04), (25, 0.06)])
def test_bodies_are_thrown_in_rounds_and_stay_where_they_are_clear(
    floor: Standable, count: int, radius: float
) -> None:
    """Each round throws half as many again as are missing, and one more, on each floor that lacks some."""
    copies = 4
    found = _scatter(floor, count, radius, copies, np.random.default_rng(7))
    assert found is not None
    draw = np.random.default_rng(7)
    low, high = np.min(floor.outline, axis=0), np.max(floor.outline, axis=0)
    placed: list[list[NDArray[np.float64]]] = [[] for _ in range(copies)]
    while any(len(one) < count for one in placed):
        lacking = [count - len(one) for one in placed]
        thrown = [copy for copy, lacks in enumerate(lacking) for _ in range(lacks + lacks // 2 + 1) if lacks]
        places = low + draw.random((len(thrown), 2)) * (high - low)
        for copy, place in zip(thrown, places, strict=True):
            clear = all(math.dist(place, other) >= 2.0 * radius for other in placed[copy])
            if len(placed[copy]) < count and clear and may_stand(floor, *place, radius):
                placed[copy].append(place)
    assert found[1].tolist() == [copy for copy in range(copies) for _ in range(count)]
    np.testing.assert_allclose(found[0], np.concatenate(placed), rtol=1e-12)


def test_what_chance_expects_is_the_mean_over_twenty_thousand_bodies() -> None:
    floor = FLOORS[1]
    for count, copies in ((50, 400), (64, 313)):
        thrown = _scatter(floor, count, 0.0, copies, np.random.default_rng(1954))
        assert thrown is not None
        away = nearest_others(*thrown)[0]
        assert scattered_distance(floor, count, 0.0) == pytest.approx(away.mean(), rel=1e-12)
    # what lies alone has none, and two have
    assert scattered_distance(floor, 1, 0.0) is None
    assert scattered_distance(floor, 2, 0.0) is not None


@pytest.mark.parametrize(("covered", "is_tried"), [(0.4999, True), (0.5001, False)])
def test_a_floor_of_which_bodies_would_cover_more_than_half_is_too_full(
    covered: float, is_tried: bool
) -> None:
    """Of the room that solid bodies leave: 2 x 1.4 and a gable of 0.8, less a stone of 0.15 m2."""
    room = 2.0 * 1.4 + 0.5 * 2.0 * 0.8 - 0.5 * 0.6 * 0.5
    radius = math.sqrt(covered * room / (40 * math.pi))
    draw = np.random.default_rng(5)
    before = draw.bit_generator.state
    _scatter(FLOORS[1], 40, radius, 1, draw)
    assert (draw.bit_generator.state != before) == is_tried


def test_a_floor_that_is_not_filled_in_sixty_rounds_is_too_full(monkeypatch: pytest.MonkeyPatch) -> None:
    floor = FLOORS[0]
    few = next(rounds for rounds in range(1, 60) if _rounds_do(monkeypatch, rounds))
    # the last round only looks whether anybody is missing
    assert few > 3
    assert not _rounds_do(monkeypatch, few - 1)
    assert _rounds_do(monkeypatch, 60)
    assert _scatter(floor, 1, 0.0, 1, np.random.default_rng(1)) is not None


def _rounds_do(monkeypatch: pytest.MonkeyPatch, rounds: int) -> bool:
    monkeypatch.setattr(scatter, "_ROUNDS", rounds)
    return _scatter(FLOORS[0], 30, 0.05, 3, np.random.default_rng(2)) is not None


@pytest.mark.parametrize("stretched", [(1.0, 0.2), (0.2, 1.0)])
def test_pairs_that_are_near_are_those_of_all_pairs(stretched: tuple[float, float]) -> None:
    draw = np.random.default_rng(11)
    points, group = draw.random((80, 2)) * stretched, draw.integers(0, 3, 80)
    expected = {
        (one, other)
        for one, other in combinations(range(80), 2)
        if group[one] == group[other] and math.dist(points[one], points[other]) < 0.09
    }
    found = _near_pairs(points, group, 0.09)
    assert len(found) == len(expected) > 20
    assert {tuple(sorted(pair)) for pair in found.tolist()} == expected
    # just as near is not nearer
    assert len(_near_pairs(np.array([[0.0, 0.0], [0.5, 0.0]]), np.zeros(2, np.int64), 0.5)) == 0
    assert len(_near_pairs(np.array([[0.0, 0.0], [0.3, 0.4]]), np.zeros(2, np.int64), 0.5)) == 0
    assert _near_pairs(np.zeros((0, 2)), np.zeros(0, np.int64), 0.5).shape == (0, 2)


@pytest.mark.parametrize("stretched", [(1.0, 0.1), (0.1, 1.0)])
def test_the_nearest_and_how_far_it_is_along_either_side(stretched: tuple[float, float]) -> None:
    draw = np.random.default_rng(13)
    points, group = draw.random((70, 2)) * stretched, draw.integers(0, 4, 70)
    distance, other = nearest_others(points, group)
    for one in range(70):
        away = [
            (math.dist(points[one], points[two]), two)
            for two in range(70)
            if two != one and group[two] == group[one]
        ]
        assert (distance[one], other[one]) == pytest.approx(min(away), rel=1e-12)
    alone = nearest_others(np.array([[0.3, 0.4]]), np.zeros(1, np.int64))
    assert [one.tolist() for one in alone] == [[math.inf], [-1]]
    nothing = nearest_others(np.zeros((0, 2)), np.zeros(0, np.int64))
    assert [len(one) for one in nothing] == [0, 0]


def test_who_comes_first_stays_and_who_had_to_go_is_in_nobodys_way() -> None:
    # 1 is too near 0 and goes, so 2, too near 1 only, stays, and 3, too near 2, goes
    pairs = np.array([[2, 1], [3, 2], [1, 0]])
    assert _first_come(pairs, 5).tolist() == [True, False, True, False, True]
    # 4 is too near 3, which has gone, and 1, which has not
    more = np.array([[3, 4], [4, 1], [0, 3]])
    assert _first_come(more, 5).tolist() == [True, True, True, False, False]
    assert _first_come(np.zeros((0, 2), np.int64), 2).tolist() == [True, True]


def test_area_of_an_outline_whichever_way_round() -> None:
    for outline, area in ((SQUARE, 1.0), (HOUSE, 3.6), (STONE, 0.15)):
        assert _area(outline) == pytest.approx(area)
        assert _area(outline[::-1]) == pytest.approx(area)
        assert _area(outline) == pytest.approx(shapely.Polygon(outline).area)


@pytest.mark.parametrize("radius", [0.0, 0.03, 0.15])
def test_a_place_is_free_on_the_floor_and_clear_of_walls(
    radius: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    # a wall with a corner twice over, which has a piece of no length
    floor = Standable(HOUSE, (STONE,), (PLANK, ((2.0, -0.8), (2.0, -0.8), (2.2, -0.8))))
    points = np.random.default_rng(2).uniform((0.3, -1.2), (2.7, 1.4), (400, 2))
    expected = [may_stand(floor, x, y, radius) for x, y in points]
    assert 80 < sum(expected) < 350
    assert _is_free(floor, points, radius).tolist() == expected
    for held in (1, 4 * 400):
        monkeypatch.setattr(scatter, "_AT_ONCE", held)
        assert _is_free(floor, points, radius).tolist() == expected
    assert _is_free(floor, points[:0], radius).tolist() == []
    # just clear is clear
    assert _is_free(Standable(SQUARE), np.array([[0.25, 0.5]]), 0.25).tolist() == [True]
