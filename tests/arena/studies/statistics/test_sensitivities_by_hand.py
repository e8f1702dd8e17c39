"""Indices of a study and their intervals, resample by resample and pair by pair of repeats."""

import math
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from arena.studies.statistics import sensitivities
from arena.studies.statistics.factors import Factor, Table
from arena.studies.statistics.sensitivities import Effect, Sensitivity, sensitivity
from arena.studies.trial_scores import SCORES

DIRECTNESS, REACH_TIME, AIM = SCORES["directness"], SCORES["reach time"], SCORES["aim"]
Floats = NDArray[np.float64]


@pytest.fixture(autouse=True)
def _nothing_is_divided_by_nought() -> Iterator[None]:
    """Where it is not asked for, and in plain Python too, where such warnings are no errors."""
    with np.errstate(divide="raise", invalid="raise"):
        yield


Places = NDArray[np.int64]

# Two factors of a grid of three levels by four.
GRID = np.array([(one, other) for one in range(3) for other in range(4)])


def table_of_places(places: Places) -> Table:
    factors = []
    for number, column in enumerate(places.T):
        levels = tuple(range(int(column.max()) + 1))
        factors.append(Factor(f"x{number}", levels, tuple(map(str, levels)), is_ordered=True))
    return Table(tuple(factors), places)


def square(trials: Floats, drawn: Places) -> float:
    """The sum over rows of the mean product of the distances from the mean in two different repeats."""
    apart = trials - trials.mean(axis=0)
    products, pairs = 0.0, 0
    for one, other in combinations(drawn.tolist(), 2):
        if one != other:
            products += float(apart[:, one] @ apart[:, other])
            pairs += 1
    return products / pairs


def ends(resampled: list[float]) -> tuple[float, float]:
    low, high = np.quantile([one for one in resampled if math.isfinite(one)], [0.025, 0.975])
    return min(max(float(low), 0.0), 1.0), min(max(float(high), 0.0), 1.0)


def triple(resampled: list[float]) -> list[float]:
    return [min(max(resampled[0], 0.0), 1.0), *ends(resampled[1:])]


def in_a_grid(trials: Floats, seed: int) -> tuple[float, list[list[float]]]:
    """The spread, and of each factor the first index and the total one, each with its ends."""
    repeats = trials.shape[1]
    everybody = np.arange(repeats)
    drawn = np.random.default_rng(seed).integers(0, repeats, (400, repeats))
    resamples = [everybody, *(one for one in drawn if len(set(one.tolist())) > 1)]
    grid = trials.reshape(3, 4, repeats)
    first_factor, second_factor = grid.mean(axis=1), grid.mean(axis=0)
    whole = [square(trials, one) for one in resamples]
    rows = [4.0 * square(first_factor, one) / total for one, total in zip(resamples, whole, strict=True)]
    columns = [3.0 * square(second_factor, one) / total for one, total in zip(resamples, whole, strict=True)]
    return math.sqrt(max(whole[0], 0.0) / len(trials)), [
        [*triple(rows), *triple([1.0 - one for one in columns])],
        [*triple(columns), *triple([1.0 - one for one in rows])],
    ]


def figures_of(effect: Effect) -> list[float]:
    return [
        *(effect.first, effect.first_low, effect.first_high),
        *(effect.total, effect.total_low, effect.total_high),
    ]


def close(found: Sensitivity, spread: float, expected: list[list[float]]) -> None:
    assert found.tells
    assert found.spread == pytest.approx(spread, rel=1e-9)
    for effect, figures in zip(found, expected, strict=True):
        assert figures_of(effect) == pytest.approx(figures, rel=1e-6, abs=1e-9, nan_ok=True)


@pytest.mark.parametrize("repeats", [3, 7])
def test_a_grid_by_hand(repeats: int) -> None:
    draw = np.random.default_rng(repeats)
    values = GRID @ np.array([[0.6], [0.9]]) + 0.4 * (GRID[:, :1] == GRID[:, 1:])
    values = values + 0.5 * draw.normal(size=repeats) + 0.9 * draw.normal(size=(12, repeats))
    order = draw.permutation(12)
    found = sensitivity(DIRECTNESS, values[order], None, table_of_places(GRID[order]), seed=5)
    assert found.is_grid
    assert found.settings == 12
    close(found, *in_a_grid(values, 5))


def test_a_ratio_adds_what_each_trial_pulls() -> None:
    draw = np.random.default_rng(6)
    weights = draw.poisson(3.0, (12, 6)).astype(np.float64)
    values = weights * (0.2 * GRID[:, :1] + 0.1 * GRID[:, 1:]) + 0.1 * draw.normal(size=(12, 6)) * weights
    ratio = values.sum(axis=1, keepdims=True) / weights.sum(axis=1, keepdims=True)
    trials = ratio + (values - ratio * weights) / weights.mean(axis=1, keepdims=True)
    close(sensitivity(AIM, values, weights, table_of_places(GRID)), *in_a_grid(trials, 0))


def test_a_median_goes_by_ranks_of_all_trials() -> None:
    draw = np.random.default_rng(8)
    values = np.round(np.exp(0.5 * GRID @ np.array([[1.0], [1.0]]) + draw.normal(size=(12, 6))), 1)
    values[values > 20.0] = math.inf
    ranks = (scipy.stats.rankdata(values).reshape(12, 6) - 0.5) / 72.0
    close(sensitivity(REACH_TIME, values, None, table_of_places(GRID)), *in_a_grid(ranks, 0))
    # what says nothing has no rank
    values[3, 2] = values[7, 0] = np.nan
    ranks[:] = 0.0
    said = ~np.isnan(values)
    ranks[said] = (scipy.stats.rankdata(values[said]) - 0.5) / 70.0
    ratio = ranks.sum(axis=1, keepdims=True) / said.sum(axis=1, keepdims=True)
    trials = ratio + (ranks - ratio * said) / said.mean(axis=1, keepdims=True)
    close(sensitivity(REACH_TIME, values, None, table_of_places(GRID)), *in_a_grid(trials, 0))
    nothing = sensitivity(REACH_TIME, np.full((12, 6), np.nan), None, table_of_places(GRID))
    assert (nothing.settings, nothing.tells) == (0, False)


def index_of(apart: Floats, groups: list[list[int]], luck: float) -> float:
    """Of one grouping of drawn settings: their distances from the mean of all, and who is in which group."""
    held = [apart[group] for group in groups if group]
    everything = np.concatenate(held)
    total = float(((everything - everything.mean()) ** 2).sum())
    between = sum(len(one) * float((one.mean() - everything.mean()) ** 2) for one in held)
    free = len(everything) - len(held)
    if free <= 0 or total <= luck:
        return math.nan
    return (between - (len(held) - 1) * (total - between) / free) / (total - luck)


def of_drawn(trials: Floats, bins: Places, seed: int) -> tuple[float, list[float]]:
    """The spread, and the first index with its ends, of settings of which ``bins`` tells the groups."""
    settings, repeats = trials.shape
    figures = trials.mean(axis=1)
    apart = figures - figures.mean()
    real = square(trials, np.arange(repeats)) if repeats > 1 else float((apart**2).sum())
    luck = float((apart**2).sum()) - real
    found = []
    drawn = np.random.default_rng(seed).integers(0, settings, (400, settings))
    for one in [np.arange(settings), *drawn]:
        found.append(index_of(apart, [[i for i in one if bins[i] == b] for b in range(bins.max() + 1)], luck))
    middle = np.nanmean(found[1:])
    resampled = [one + found[0] - middle for one in found[1:]]
    return math.sqrt(max(real, 0.0) / settings), triple([found[0], *resampled])


@pytest.mark.parametrize("repeats", [1, 4])
@pytest.mark.parametrize("settings", [7, 20])
def test_drawn_settings_by_hand(settings: int, repeats: int) -> None:
    """As many bins as the square root of their number: 2 of 7, 4 of 20."""
    draw = np.random.default_rng(settings + repeats)
    places = np.stack([draw.permutation(settings), draw.permutation(settings)], axis=1)
    values = 0.2 * places[:, :1] + 0.4 * draw.normal(size=(settings, 1))
    values = values + 0.3 * draw.normal(size=repeats) + 0.5 * draw.normal(size=(settings, repeats))
    table = table_of_places(places)
    found = sensitivity(DIRECTNESS, values, None, table, seed=2)
    expected = []
    for number in range(2):
        bins = table.binned(number, math.isqrt(settings)).places[:, number]
        spread, figures = of_drawn(values, bins, 2)
        expected.append([*figures, math.nan, math.nan, math.nan])
    assert not found.is_grid
    close(found, spread, expected)


def test_drawn_settings_of_two_and_more_than_thirty_groups() -> None:
    draw = np.random.default_rng(4)
    places = np.stack([np.arange(3), np.array([0, 2, 1])], axis=1)
    values = np.array([[0.0], [1.0], [5.0]])
    found = sensitivity(DIRECTNESS, values, None, table_of_places(places))
    bins = table_of_places(places).binned(0, 2).places[:, 0]
    assert figures_of(found.effects[0])[:3] == pytest.approx(of_drawn(values, bins, 0)[1])
    many = np.stack([draw.permutation(1200), draw.permutation(1200)], axis=1)
    figures = np.sin(many[:, :1] / 40.0) + draw.normal(size=(1200, 1))
    bins = table_of_places(many).binned(0, 30).places[:, 0]
    apart = figures[:, 0] - figures.mean()
    expected = index_of(apart, [np.flatnonzero(bins == one).tolist() for one in range(30)], 0.0)
    assert sensitivity(DIRECTNESS, figures, None, table_of_places(many)).effects[0].first == pytest.approx(
        expected
    )


def test_grids_of_one_repeat_and_settings_too_few_to_tell() -> None:
    values = (GRID @ np.array([1.0, 0.5]))[:, None]
    found = sensitivity(DIRECTNESS, values, None, table_of_places(GRID))
    for effect in found:
        assert 0.0 < effect.first == pytest.approx(effect.total)
        assert all(
            map(math.isnan, (effect.first_low, effect.first_high, effect.total_low, effect.total_high))
        )
    assert found.spread == pytest.approx(np.std(values))
    two = sensitivity(DIRECTNESS, values[:2], None, table_of_places(GRID[:2]))
    assert two.tells
    assert two.effects[1].first == pytest.approx(1.0)
    one = sensitivity(DIRECTNESS, values[:1], None, table_of_places(GRID[:1]))
    assert (one.settings, one.tells, len(one.effects)) == (1, False, 2)
    assert math.isnan(one.spread)
    assert all(math.isnan(figure) for effect in one for figure in [*figures_of(effect), effect.rank])
    alike = sensitivity(DIRECTNESS, np.ones((12, 1)), None, table_of_places(GRID))
    assert not alike.tells
    assert alike.spread == 0.0
    assert all(math.isnan(figure) for effect in alike for figure in [*figures_of(effect), effect.rank])


def reached(trials: Floats, seed: int, rounds: int) -> int:
    """In how many rounds of exchanging the settings' figures differ as much as they do."""
    draw = np.random.default_rng(seed)
    observed = np.var(trials.mean(axis=1))
    return sum(np.var(draw.permuted(trials, axis=0).mean(axis=1)) >= observed - 1e-12 for _ in range(rounds))


@pytest.mark.parametrize(("seed", "tells"), [(275, True), (334, True), (18, False), (39, False)])
def test_settings_differ_by_more_than_luck_where_one_exchange_in_twenty_does_as_much(
    seed: int, tells: bool
) -> None:
    draw = np.random.default_rng(seed)
    trials = 0.35 * np.arange(6.0)[:, None] + draw.normal(size=(6, 5))
    assert reached(trials, 1, 199) == (9 if tells else 10)
    assert (
        sensitivity(DIRECTNESS, trials, None, table_of_places(np.arange(6)[:, None]), seed=1).tells == tells
    )


def test_settings_of_which_two_have_changed_places_are_as_far_apart() -> None:
    """Of two settings each exchange is the same or the reverse: in every round they differ as much."""
    trials = np.array([[0.1, 0.1, 0.1], [0.7, 0.7, 0.7]])[:, :1].repeat(2, axis=1)
    expected = reached(trials, 0, 199)
    assert 60 < expected < 140
    assert not sensitivity(DIRECTNESS, trials, None, table_of_places(np.arange(2)[:, None])).tells


def same(one: Sensitivity, other: Sensitivity) -> bool:
    return one.spread == pytest.approx(other.spread, rel=1e-9) and all(
        figures_of(a) == pytest.approx(figures_of(b), rel=1e-9, nan_ok=True)
        for a, b in zip(one, other, strict=True)
    )


def test_very_many_are_worked_out_in_parts_thinned_and_bundled(monkeypatch: pytest.MonkeyPatch) -> None:
    draw = np.random.default_rng(15)
    grid = table_of_places(GRID)
    values = GRID[:, :1] + 0.3 * draw.normal(size=(12, 8))
    whole = sensitivity(DIRECTNESS, values, None, grid)
    for held in (1, 5 * 401):
        monkeypatch.setattr(sensitivities, "_AT_A_TIME", held)
        assert same(sensitivity(DIRECTNESS, values, None, grid), whole)
    monkeypatch.setattr(sensitivities, "_MOST_REPEATS", 4)
    pairs = 0.5 * (values[:, ::2] + values[:, 1::2])
    assert same(sensitivity(DIRECTNESS, values, None, grid), sensitivity(DIRECTNESS, pairs, None, grid))
    weights = draw.poisson(2.0, (12, 8)) + 1.0
    sums = [one[:, ::2] + one[:, 1::2] for one in (values * weights, weights)]
    found = sensitivity(AIM, values * weights, weights, grid)
    assert same(found, sensitivity(AIM, *sums, grid))
    # of 25 drawn settings nine, evenly picked, from the first to the last
    places = np.stack([draw.permutation(25), draw.permutation(25)], axis=1)
    drawn = places[:, :1] + draw.normal(size=(25, 3))
    table, some = table_of_places(places), np.arange(0, 25, 3)
    monkeypatch.setattr(sensitivities, "_MOST_DRAWN", 25)
    everybody = sensitivity(DIRECTNESS, drawn, None, table)
    assert everybody.settings == 25
    monkeypatch.setattr(sensitivities, "_MOST_DRAWN", 9)
    few = sensitivity(DIRECTNESS, drawn, None, table)
    assert few.settings == 9
    assert same(few, sensitivity(DIRECTNESS, drawn[some], None, table.of(some)))
    by_weight = sensitivity(AIM, drawn, np.abs(drawn) + 1.0, table)
    assert same(by_weight, sensitivity(AIM, drawn[some], np.abs(drawn[some]) + 1.0, table.of(some)))
    # a grid is not thinned
    assert sensitivity(DIRECTNESS, values, None, grid).settings == 12


def test_ranks_go_with_figures_against_them_or_not_at_all() -> None:
    places = np.array([[0, 2, 0], [1, 1, 0], [2, 0, 0], [3, 0, 0]])
    values = np.array([[1.0], [2.0], [4.0], [9.0]])
    ranks = [effect.rank for effect in sensitivity(DIRECTNESS, values, None, table_of_places(places))]
    assert ranks[0] == pytest.approx(1.0)
    # ranks 4, 3, 1.5, 1.5 against 1, 2, 3, 4: -(1.5 * 1.5 + 0.5 * 0.5 + 0.5 + 1.5) / sqrt(4.5 * 5)
    assert ranks[1] == pytest.approx(-4.5 / math.sqrt(22.5))
    assert math.isnan(ranks[2])


def test_shares_above_one_are_one() -> None:
    trials = 0.5 * GRID[:, 1:] + 0.6 * np.random.default_rng(4).normal(size=(12, 3))
    columns = 3.0 * square(trials.reshape(3, 4, 3).mean(axis=0), np.arange(3))
    assert columns > 1.05 * square(trials, np.arange(3))
    found = sensitivity(DIRECTNESS, trials, None, table_of_places(GRID))
    assert found.effects[1].first == 1.0
    close(found, *in_a_grid(trials, 0))


def test_all_repeats_decide_whether_anything_is_told() -> None:
    """The last resample with this seed has the first two repeats only, which go against each other."""
    assert set(np.random.default_rng(1).integers(0, 3, (400, 3))[-1].tolist()) == {0, 1}
    trials = np.outer(GRID @ np.array([1.0, 0.3]), np.array([1.0, -0.2, 3.0]))
    assert sensitivity(DIRECTNESS, trials, None, table_of_places(GRID), seed=1).tells


def test_the_spread_is_nought_where_luck_explains_more_than_all() -> None:
    draws = (np.random.default_rng(seed).normal(size=(12, 3)) for seed in range(20))
    trials = next(one for one in draws if square(one, np.arange(3)) < 0.0)
    found = sensitivity(DIRECTNESS, trials, None, table_of_places(GRID))
    assert found.spread == 0.0
    assert not found.tells


def test_two_repeats_have_intervals() -> None:
    trials = GRID @ np.array([[1.0], [0.4]]) + 0.3 * np.random.default_rng(1).normal(size=(12, 2))
    close(sensitivity(DIRECTNESS, trials, None, table_of_places(GRID)), *in_a_grid(trials, 0))


def test_two_drawn_settings_tell_nothing_of_factors_and_three_may() -> None:
    both = sensitivity(
        DIRECTNESS, np.array([[0.0], [1.0]]), None, table_of_places(np.array([[0, 0], [1, 1]]))
    )
    assert both.tells
    assert [effect.rank for effect in both] == pytest.approx([1.0, 1.0])
    assert all(math.isnan(figure) for effect in both for figure in figures_of(effect))
    # the first resample with one seed and the last with the other have one setting three times
    places, values = np.array([[0, 0], [1, 2], [2, 1]]), np.array([[0.0], [1.0], [5.0]])
    for seed, which in ((4, 0), (3, -1)):
        assert len(set(np.random.default_rng(seed).integers(0, 3, (400, 3))[which].tolist())) == 1
        found = sensitivity(DIRECTNESS, values, None, table_of_places(places), seed=seed)
        bins = table_of_places(places).binned(0, 2).places[:, 0]
        assert figures_of(found.effects[0])[:3] == pytest.approx(of_drawn(values, bins, seed)[1])
