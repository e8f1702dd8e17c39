"""Settings of a grid and drawn ones, against numpy's counting and published properties of the samples."""

import math
import warnings
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chisquare, kstest, qmc

from arena.studies.plans.ranges import Levels
from arena.studies.plans.sampling import DRAWN, drawn_shares, grid_number, grid_place

COUNTS = st.lists(st.integers(1, 50), min_size=1, max_size=6)


@settings(deadline=None)
@given(COUNTS, st.data())
def test_a_grid_counts_like_numpy(counts: list[int], data: st.DataObject) -> None:
    total = int(np.prod(counts, dtype=object))
    number = data.draw(st.integers(0, total - 1))
    place = grid_place(number, counts)
    assert place == tuple(int(one) for one in np.unravel_index(number, counts))
    assert grid_number(place, counts) == number == int(np.ravel_multi_index(place, counts))


def test_a_grid_turns_its_last_axis_fastest() -> None:
    counts = (2, 1, 3)
    places = [grid_place(number, counts) for number in range(math.prod(counts))]
    assert places == list(product(*(range(count) for count in counts)))
    assert grid_place(0, ()) == ()
    assert grid_number((), ()) == 0


def test_a_grid_may_be_larger_than_any_list() -> None:
    counts = (10**6,) * 4
    assert grid_place(10**24 - 1, counts) == (10**6 - 1,) * 4
    assert grid_number((1, 2, 3, 4), counts) == 10**18 + 2 * 10**12 + 3 * 10**6 + 4


@pytest.mark.parametrize("number", [-1, 6, 10**30])
def test_no_setting_outside_of_the_grid(number: int) -> None:
    with pytest.raises(IndexError):
        grid_place(number, (2, 3))
    with pytest.raises(IndexError):
        grid_number((0, 3), (2, 3))


@pytest.mark.parametrize("sampling", DRAWN)
@pytest.mark.parametrize(("count", "axes"), [(1, 1), (7, 2), (64, 5), (100, 3), (1000, 8)])
def test_shares_are_shares_and_the_same_for_the_same_seed(sampling: str, count: int, axes: int) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        shares = drawn_shares(sampling, count, axes, seed=7)
    assert shares.shape == (count, axes)
    assert shares.dtype == np.float64
    assert ((shares >= 0.0) & (shares < 1.0)).all()
    assert (shares == drawn_shares(sampling, count, axes, seed=7)).all()
    assert (shares != drawn_shares(sampling, count, axes, seed=8)).any()


@pytest.mark.parametrize("sampling", DRAWN)
def test_nothing_to_draw(sampling: str) -> None:
    assert drawn_shares(sampling, 5, 0, seed=1).shape == (5, 0)


@pytest.mark.parametrize("sampling", ["random", "sobol"])
def test_fewer_settings_are_the_beginning_of_more(sampling: str) -> None:
    many = drawn_shares(sampling, 1000, 4, seed=3)
    for fewer in (1, 5, 64, 999):
        assert (drawn_shares(sampling, fewer, 4, seed=3) == many[:fewer]).all()


@settings(deadline=None)
@given(st.integers(1, 300), st.integers(1, 6), st.integers(0, 2**63 - 1))
def test_a_latin_hypercube_has_one_share_in_every_stratum(count: int, axes: int, seed: int) -> None:
    # McKay, Beckman and Conover, Technometrics 21 (1979): each of n equal parts of each axis holds one
    shares = drawn_shares("latin hypercube", count, axes, seed)
    for axis in range(axes):
        strata = np.floor(shares[:, axis] * count).astype(int)
        assert sorted(strata.tolist()) == list(range(count))


def test_sobol_points_are_balanced_in_powers_of_two() -> None:
    # Sobol', USSR Computational Mathematics and Mathematical Physics 7 (1967): of 2^m points of two axes each
    # box of 2^-a by 2^-(m - a) holds one, which scrambling (Owen, 1995) keeps
    for seed in range(5):
        shares = drawn_shares("sobol", 64, 2, seed)
        for power in range(7):
            boxes = np.floor(shares * [2**power, 2 ** (6 - power)]).astype(int)
            assert len(np.unique(boxes, axis=0)) == 64


@pytest.mark.parametrize("count", [64, 100, 256, 1000])
def test_sobol_and_latin_hypercube_fill_more_evenly_than_chance(count: int) -> None:
    for seed in range(10):
        uneven = {name: qmc.discrepancy(drawn_shares(name, count, 3, seed)) for name in DRAWN}
        assert uneven["sobol"] < 0.3 * uneven["random"]
        assert uneven["sobol"] < uneven["latin hypercube"] < uneven["random"]


@pytest.mark.parametrize("sampling", DRAWN)
def test_every_axis_is_drawn_evenly_and_for_itself(sampling: str) -> None:
    shares = drawn_shares(sampling, 4096, 4, seed=11)
    for axis in range(4):
        assert kstest(shares[:, axis], "uniform").pvalue > 1e-4
    correlations = np.corrcoef(shares.T)
    # of independent axes they scatter by 1 / sqrt(4096), 0.016
    assert np.abs(correlations - np.eye(4)).max() < 5 / 64


@pytest.mark.parametrize("sampling", DRAWN)
def test_single_values_are_drawn_equally_often(sampling: str) -> None:
    shares = drawn_shares(sampling, 1200, 2, seed=5)
    levels = Levels(tuple(range(12)))
    counts = np.bincount([levels.at(float(share)) for share in shares[:, 0]], minlength=12)
    assert chisquare(counts).pvalue > 1e-4
    if sampling == "latin hypercube":
        assert (counts == 100).all()


def test_a_random_draw_is_no_pattern() -> None:
    shares = drawn_shares("random", 4096, 1, seed=2)[:, 0]
    strata = np.bincount(np.floor(shares * 4096).astype(int), minlength=4096)
    # by chance a share 1/e of the strata stays empty; a pattern would fill them all
    assert np.mean(strata == 0) == pytest.approx(np.exp(-1.0), abs=0.03)
