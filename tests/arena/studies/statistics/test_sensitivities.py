"""Which factors mattered: against a published function, two general libraries, and luck alone."""

import math

import numpy as np
import pytest
import SALib.analyze.rbd_fast
import scipy.stats
from numpy.typing import NDArray

from arena.studies.statistics.factors import Factor, Table
from arena.studies.statistics.sensitivities import Sensitivity, sensitivity
from arena.studies.trial_scores import SCORES

DIRECTNESS, REACH_TIME, AIM = SCORES["directness"], SCORES["reach time"], SCORES["aim"]
Floats = NDArray[np.float64]

FIRST = (0.3139, 0.4424, 0.0)
TOTAL = (0.5576, 0.4424, 0.2437)
"""Indices of the function of Ishigami and Homma (1990) for a = 7, b = 0.1, as published by Saltelli et al.,
Sensitivity Analysis in Practice (2004); they follow from its variances in closed form."""


def ishigami(x: Floats) -> Floats:
    """sin x1 + 7 sin² x2 + 0.1 x3⁴ sin x1, each x even from −π to π."""
    return np.sin(x[..., 0]) + 7.0 * np.sin(x[..., 1]) ** 2 + 0.1 * x[..., 2] ** 4 * np.sin(x[..., 0])


def table_of_numbers(x: Floats, is_ordered: bool = True) -> Table:
    factors, places = [], []
    for column in x.T:
        levels, place = np.unique(column, return_inverse=True)
        shown = tuple(f"{level:.3g}" for level in levels)
        factors.append(Factor(f"x{len(factors) + 1}", tuple(levels), shown, is_ordered))
        places.append(place)
    return Table(tuple(factors), np.array(places, dtype=np.int64).T.copy())


def grid_of(*levels: Floats) -> Floats:
    return np.stack(np.meshgrid(*levels, indexing="ij"), axis=-1).reshape(-1, len(levels))


def ishigami_grid(levels: int) -> Floats:
    return grid_of(*[(np.arange(levels) + 0.5) / levels * 2.0 * np.pi - np.pi] * 3)


def test_the_published_indices_are_those_of_the_variances() -> None:
    a, b = 7.0, 0.1
    first = 0.5 * (1.0 + b * np.pi**4 / 5.0) ** 2
    second = a**2 / 8.0
    both = b**2 * np.pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
    whole = first + second + both
    assert (first / whole, second / whole, 0.0) == pytest.approx(FIRST, abs=5e-5)
    assert ((first + both) / whole, second / whole, both / whole) == pytest.approx(TOTAL, abs=6e-5)


@pytest.mark.parametrize("noise", [0.0, 4.0])
def test_drawn_settings_against_the_published_indices(noise: float) -> None:
    x = scipy.stats.qmc.LatinHypercube(3, rng=3).random(3000) * 2.0 * np.pi - np.pi
    draw = np.random.default_rng(1)
    values = ishigami(x)[:, None] + noise * draw.normal(size=(3000, 8)) + noise * draw.normal(size=8)
    found = sensitivity(DIRECTNESS, values, None, table_of_numbers(x))
    for effect, expected in zip(found, FIRST, strict=True):
        assert effect.first == pytest.approx(expected, abs=0.04)
        assert effect.first_low - 0.01 <= expected <= effect.first_high + 0.01
        assert math.isnan(effect.total)
    assert found.spread == pytest.approx(math.sqrt(13.8446), rel=0.03)
    assert not found.is_grid


def test_drawn_settings_against_two_libraries() -> None:
    x = scipy.stats.qmc.LatinHypercube(3, rng=5).random(2000) * 2.0 * np.pi - np.pi
    mine = [
        effect.first for effect in sensitivity(DIRECTNESS, ishigami(x)[:, None], None, table_of_numbers(x))
    ]
    problem = {"num_vars": 3, "names": ["x1", "x2", "x3"], "bounds": [[-np.pi, np.pi]] * 3}
    theirs = SALib.analyze.rbd_fast.analyze(problem, x, ishigami(x), seed=1)
    np.testing.assert_allclose(mine, theirs["S1"], atol=0.06)
    even = scipy.stats.uniform(-np.pi, 2.0 * np.pi)
    library = scipy.stats.sobol_indices(
        func=lambda points: ishigami(points.T), n=2048, dists=[even] * 3, rng=np.random.default_rng(2)
    )
    np.testing.assert_allclose(mine, library.first_order, atol=0.06)


@pytest.mark.parametrize("groups", [3, 8])
def test_drawn_settings_without_luck_have_the_corrected_ratio_of_an_analysis_of_variance(groups: int) -> None:
    """Kelley (1935), by way of the F of a library: (F - 1)(k - 1) / ((k - 1) F + n - k)."""
    draw = np.random.default_rng(groups)
    x = np.stack([draw.integers(0, groups, 90), draw.random(90)], axis=1).astype(np.float64)
    figures = 0.3 * x[:, 0] + draw.normal(size=90)
    f = scipy.stats.f_oneway(*(figures[x[:, 0] == level] for level in range(groups))).statistic
    expected = (f - 1.0) * (groups - 1) / ((groups - 1) * f + 90 - groups)
    found = next(iter(sensitivity(DIRECTNESS, figures[:, None], None, table_of_numbers(x))))
    assert 0.0 < expected < 1.0
    assert found.first == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("noise", [0.0, 3.0])
def test_a_full_grid_against_the_published_indices(noise: float) -> None:
    x = ishigami_grid(16)
    draw = np.random.default_rng(7)
    luck = draw.normal(size=(len(x), 6)) + draw.normal(size=6)
    found = sensitivity(DIRECTNESS, ishigami(x)[:, None] + noise * luck, None, table_of_numbers(x))
    assert found.is_grid
    for effect, first, total in zip(found, FIRST, TOTAL, strict=True):
        # Sixteen levels of them reach less far than the whole range: the grid's own indices differ by that.
        assert effect.first == pytest.approx(first, abs=0.025)
        assert effect.total == pytest.approx(total, abs=0.025)
        assert effect.first_low - 0.02 <= effect.first <= effect.first_high + 0.02
    # Settings in any order are the same grid.
    order = draw.permutation(len(x))
    again = sensitivity(DIRECTNESS, ishigami(x[order])[:, None], None, table_of_numbers(x[order]))
    plain = sensitivity(DIRECTNESS, ishigami(x)[:, None], None, table_of_numbers(x))
    assert [effect.total for effect in again] == pytest.approx([effect.total for effect in plain])


@pytest.mark.parametrize("seed", range(5))
def test_a_grids_squares_against_the_sums_of_squares_by_hand(seed: int) -> None:
    draw = np.random.default_rng(seed)
    y = draw.normal(size=(4, 3))
    x = grid_of(np.arange(4.0), np.arange(3.0))
    found = sensitivity(DIRECTNESS, y.reshape(-1, 1), None, table_of_numbers(x))
    whole = ((y - y.mean()) ** 2).sum()
    rows = 3 * ((y.mean(axis=1) - y.mean()) ** 2).sum() / whole
    columns = 4 * ((y.mean(axis=0) - y.mean()) ** 2).sum() / whole
    assert [effect.first for effect in found] == pytest.approx([rows, columns])
    assert [effect.total for effect in found] == pytest.approx([1.0 - columns, 1.0 - rows])
    assert found.tells


def noisy_grid(draw: np.random.Generator, effect: float, repeats: int) -> Sensitivity:
    """Settings of which the first factor makes luck weigh more: luck is not alike from level to level."""
    x = grid_of(np.arange(5.0), np.arange(4.0))
    shared = draw.normal(size=repeats)
    own = draw.normal(size=(len(x), repeats))
    values = effect * x[:, 1:] + (0.5 + x[:, :1]) * shared + own
    return sensitivity(DIRECTNESS, values, None, table_of_numbers(x))


def test_luck_is_taken_off_however_settings_share_it() -> None:
    truth, first, total = 0.25 * np.var(np.arange(4.0)), [], []
    for seed in range(200):
        found = noisy_grid(np.random.default_rng(seed), 0.5, 12)
        first.append([effect.first * found.spread**2 for effect in found if found.tells])
        total.append(found.spread**2)
    # Luck leans on the first factor: without the correction its part would be var(0..4) / 12 = 0.17 more.
    assert np.mean(total) == pytest.approx(truth, abs=0.1)
    middle = np.median([row for row in first if row], axis=0)
    assert middle[0] < 0.08
    assert middle[1] == pytest.approx(truth, abs=0.08)


def test_where_only_luck_is_at_work_nothing_is_told() -> None:
    told = 0
    for seed in range(200):
        draw = np.random.default_rng(seed)
        values = draw.normal(size=(24, 10)) + draw.normal(size=10)
        x = grid_of(np.arange(6.0), np.arange(4.0))
        found = sensitivity(DIRECTNESS, values, None, table_of_numbers(x))
        told += found.tells
        if not found.tells:
            assert all(math.isnan(effect.first) and math.isnan(effect.total) for effect in found)
    assert told <= scipy.stats.binom.ppf(0.999, 200, 0.05)


@pytest.mark.parametrize("is_grid", [True, False])
def test_intervals_hold_the_true_index(is_grid: bool) -> None:
    holds = []
    for seed in range(60):
        draw = np.random.default_rng(seed)
        x = grid_of(np.arange(5.0), np.arange(5.0)) if is_grid else draw.random((200, 2)) * 4.0
        truth = 2.0 * x[:, 0] + x[:, 1]
        values = truth[:, None] + 3.0 * draw.normal(size=(len(x), 20))
        found = sensitivity(DIRECTNESS, values, None, table_of_numbers(x))
        first = found.effects[0]
        holds.append(first.first_low <= 0.8 <= first.first_high)
    assert np.mean(holds) >= 0.85


def test_the_rank_correlation_against_a_library() -> None:
    draw = np.random.default_rng(4)
    x = np.round(draw.random((60, 2)) * 6.0)
    values = (x[:, :1] * 0.5 - x[:, 1:]) + draw.normal(size=(60, 5))
    found = sensitivity(DIRECTNESS, values, None, table_of_numbers(x))
    for number, effect in enumerate(found):
        expected = scipy.stats.spearmanr(x[:, number], values.mean(axis=1)).statistic
        assert effect.rank == pytest.approx(float(expected))
    assert found.effects[0].rank > 0.0 > found.effects[1].rank
    unordered = sensitivity(DIRECTNESS, values, None, table_of_numbers(x, is_ordered=False))
    assert all(math.isnan(effect.rank) for effect in unordered)


def test_times_that_are_not_within_the_run_have_ranks() -> None:
    draw = np.random.default_rng(9)
    x = grid_of(np.arange(6.0), np.arange(4.0))
    values = np.exp(0.4 * x[:, :1] + draw.normal(size=(24, 30)))
    values[values > 8.0] = math.inf
    found = sensitivity(REACH_TIME, values, None, table_of_numbers(x))
    assert found.tells
    assert found.effects[0].first > 0.8
    assert found.effects[1].first < 0.1
    assert found.effects[0].rank > 0.9


def test_ratios_count_by_their_weights() -> None:
    draw = np.random.default_rng(3)
    x = grid_of(np.arange(5.0), np.arange(4.0))
    weights = draw.poisson(3.0 + 4.0 * x[:, 1:], (20, 60)).astype(np.float64)
    values = weights * (0.1 + 0.15 * x[:, :1]) + draw.normal(size=(20, 60)) * np.sqrt(weights) * 0.3
    found = sensitivity(AIM, values, weights, table_of_numbers(x))
    assert found.effects[0].first > 0.95
    assert found.effects[1].first < 0.05
    assert found.spread == pytest.approx(0.15 * math.sqrt(2.0), rel=0.1)


def test_settings_without_a_figure_are_left_out() -> None:
    x = ishigami_grid(4)
    values = ishigami(x)[:, None] + np.zeros(6)
    values[5] = np.nan
    found = sensitivity(DIRECTNESS, values, None, table_of_numbers(x))
    assert found.settings == 63
    assert not found.is_grid
    nothing = sensitivity(DIRECTNESS, np.full(values.shape, np.nan), None, table_of_numbers(x))
    assert not nothing.tells
    assert nothing.settings == 0
    assert [effect.factor for effect in nothing] == ["x1", "x2", "x3"]


def test_a_single_factor_explains_everything() -> None:
    x = np.arange(6.0)[:, None]
    values = x + np.random.default_rng(2).normal(size=(6, 40))
    (effect,) = sensitivity(DIRECTNESS, values, None, table_of_numbers(x))
    assert (effect.first, effect.total) == pytest.approx((1.0, 1.0))
