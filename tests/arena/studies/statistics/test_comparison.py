"""Settings against the best: against general statistics libraries, and by how often the whole errs."""

import math

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from arena.studies.statistics.comparison import (
    LEVEL,
    compare,
    corrected,
    pair_tests,
    repeats_needed,
)
from arena.studies.statistics.estimates import estimate_all
from arena.studies.statistics.resampling import bundled, midranks, widened
from arena.studies.trial_scores import SCORES, Score
from tests.helpers.paired import difference

REACHED, REACH_TIME, AIM = SCORES["reached"], SCORES["reach time"], SCORES["aim"]
CONTACTS, ESCAPE, DIRECTNESS = SCORES["contacts"], SCORES["escape"], SCORES["directness"]

Floats = NDArray[np.float64]


def lucky(draw: np.random.Generator, settings: int, repeats: int, shared: float = 0.5) -> Floats:
    """Normal figures of settings that are all alike, with luck of which part is shared between them."""
    common = draw.normal(size=repeats)
    own = draw.normal(size=(settings, repeats))
    return math.sqrt(shared) * common + math.sqrt(1.0 - shared) * own


@pytest.mark.parametrize("seed", range(8))
def test_midranks_against_a_library(seed: int) -> None:
    values = np.random.default_rng(seed).integers(0, 5, (4, 30)).astype(np.float64)
    values[0, :3] = math.inf
    np.testing.assert_array_equal(midranks(values), scipy.stats.rankdata(values, axis=1))


@pytest.mark.parametrize("seed", range(10))
def test_shares_against_the_exact_test_of_a_library(seed: int) -> None:
    values = (lucky(np.random.default_rng(seed), 6, 80) > np.linspace(-1.0, 0.5, 6)[:, None]) * 1.0
    values[3, :10] = np.nan
    pairs = pair_tests(REACHED, values, None, 0)
    assert pairs.test == "McNemar"
    for setting in range(1, 6):
        ahead = values[0] - values[setting]
        for_one, for_other = int((ahead == 1).sum()), int((ahead == -1).sum())
        expected = scipy.stats.binomtest(for_one, for_one + for_other, 0.5).pvalue
        assert pairs.p_value[setting] == pytest.approx(expected, abs=1e-12)
        assert pairs.is_worse[setting] == (for_one > for_other)


@pytest.mark.parametrize("seed", range(10))
def test_means_against_the_paired_test_of_a_library(seed: int) -> None:
    values = lucky(np.random.default_rng(seed), 5, 40) + np.linspace(0.0, 0.6, 5)[:, None]
    pairs = pair_tests(CONTACTS, values, None, 0)
    for setting in range(1, 5):
        expected = scipy.stats.ttest_rel(values[setting], values[0])
        assert pairs.p_value[setting] == pytest.approx(float(expected.pvalue), rel=1e-9)
        # Fewer contacts are better, so that a setting with more is worse.
        assert pairs.is_worse[setting] == (expected.statistic > 0.0)


@pytest.mark.parametrize("seed", range(10))
def test_medians_against_the_signed_ranks_of_a_library(seed: int) -> None:
    values = np.exp(lucky(np.random.default_rng(seed), 5, 50) + np.linspace(0.0, 0.5, 5)[:, None])
    values[:, :6] = np.round(values[:, :6])
    pairs = pair_tests(REACH_TIME, values, None, 0)
    for setting in range(1, 5):
        expected = scipy.stats.wilcoxon(values[setting], values[0], correction=True, method="asymptotic")
        assert pairs.p_value[setting] == pytest.approx(float(expected.pvalue), rel=1e-9)


def test_a_pair_of_which_one_says_nothing_takes_no_part_in_the_ranks() -> None:
    values = np.exp(lucky(np.random.default_rng(1), 2, 40) + np.array([[0.0], [0.4]]))
    values[0, :5] = values[1, 3:9] = np.nan
    expected = scipy.stats.wilcoxon(values[1, 9:], values[0, 9:], correction=True, method="asymptotic")
    found = pair_tests(REACH_TIME, values, None, 0)
    assert found.p_value[1] == pytest.approx(float(expected.pvalue), rel=1e-9)


@pytest.mark.parametrize(("score", "name"), [(REACHED, "McNemar"), (CONTACTS, "Student")])
def test_the_spread_of_pairs_is_that_of_their_differences(score: Score, name: str) -> None:
    values = (lucky(np.random.default_rng(4), 3, 70) > np.array([[-1.0], [0.0], [0.6]])) * 1.0
    found = pair_tests(score, values, None, 0)
    assert found.test == name
    free = 0 if name == "McNemar" else 1
    for setting in (1, 2):
        assert found.spread[setting] == pytest.approx(np.std(values[0] - values[setting], ddof=free))


@pytest.mark.parametrize("seed", range(6))
def test_ratios_against_a_paired_bootstrap(seed: int) -> None:
    draw = np.random.default_rng(seed)
    weights = draw.poisson(4.0, (2, 90)).astype(np.float64)
    values = draw.binomial(weights.astype(int), np.array([[0.8], [0.72]])).astype(np.float64)
    pairs = pair_tests(ESCAPE, values, weights, 0)
    rows = draw.integers(0, 90, (20_000, 90))
    resampled = values[:, rows].sum(axis=2) / weights[:, rows].sum(axis=2)
    ahead = resampled[0] - resampled[1]
    gap = values[0].sum() / weights[0].sum() - values[1].sum() / weights[1].sum()
    expected = np.mean(np.abs(ahead - ahead.mean()) >= abs(gap))
    assert pairs.p_value[1] == pytest.approx(expected, abs=0.02)
    figure = difference(ESCAPE, values, weights)
    tail = scipy.stats.norm.sf(widened(np.array([90]))[0])
    low, high = np.quantile(ahead, [tail, 1.0 - tail])
    assert (figure.low, figure.high) == pytest.approx((low, high), abs=0.1 * (high - low))
    assert figure.value == pytest.approx(gap)


@pytest.mark.parametrize(("score", "function"), [(CONTACTS, np.mean), (REACH_TIME, np.median)])
def test_a_difference_against_a_library(score, function) -> None:
    values = np.exp(lucky(np.random.default_rng(3), 2, 60)) + np.array([[0.5], [0.0]])
    figure = difference(score, values)
    tail = scipy.stats.norm.sf(widened(np.array([60]))[0])
    library = scipy.stats.bootstrap(
        (values[0], values[1]),
        lambda a, b, axis: function(a, axis=axis) - function(b, axis=axis),
        paired=True,
        confidence_level=1.0 - 2.0 * tail,
        n_resamples=9999,
        method="percentile",
        rng=np.random.default_rng(1),
    ).confidence_interval
    assert (figure.low, figure.high) == pytest.approx(
        (library.low, library.high), abs=0.1 * (library.high - library.low)
    )


def test_a_difference_says_when_it_cannot_be_told() -> None:
    values = np.array([[1.0, 2.0, 3.0, 4.0, 5.0, math.inf], [math.inf] * 6])
    figure = difference(REACH_TIME, values)
    assert figure.value == -math.inf
    assert not figure.has_interval
    assert difference(CONTACTS, values[:1, :3].repeat(2, axis=0)).method == "too few trials"


def test_the_correction_of_holm_by_hand() -> None:
    """Holm (1979): the least p times their number, the next times one less, never less than one before."""
    p_value = np.array([1.0, 0.01, 0.04, 0.03, np.nan])
    np.testing.assert_allclose(corrected(p_value, 0, is_chosen=False), [1.0, 0.03, 0.06, 0.06, np.nan])
    # Four settings make 6 pairs, twice as many as there are settings to compare with the best.
    np.testing.assert_allclose(corrected(p_value, 0, is_chosen=True), [1.0, 0.06, 0.12, 0.12, np.nan])


def errors_of(kind: str, settings: int, repeats: int, studies: int, shared: float) -> tuple[int, int]:
    """Studies of settings all alike in which one is told worse than the best: by us, and by Holm alone."""
    mine = holm = 0
    for study in range(studies):
        draw = np.random.default_rng([study, settings])
        luck = lucky(draw, settings, repeats, shared)
        weights = None
        if kind == "share":
            score, values = REACHED, (luck > -1.0) * 1.0
        elif kind == "mean":
            score, values = CONTACTS, np.exp(luck)
        elif kind == "normal":
            score, values = DIRECTNESS, luck
        elif kind == "median":
            score, values = REACH_TIME, np.where(luck > 0.5, math.inf, np.exp(luck))
        else:
            weights = draw.poisson(2.0, luck.shape).astype(np.float64)
            score, values = AIM, weights * np.tanh(luck)
        result = compare(score, values, weights)
        mine += bool(result.worse.any())
        plain = corrected(result.p_value, result.best or 0, is_chosen=False)
        holm += bool((plain <= LEVEL).any())
    return mine, holm


@pytest.mark.parametrize(
    ("kind", "settings", "repeats", "shared"),
    [
        ("share", 8, 60, 0.5),
        ("mean", 8, 12, 0.0),
        ("mean", 2, 40, 0.8),
        ("median", 8, 40, 0.5),
        ("ratio", 6, 40, 0.3),
    ],
)
def test_of_settings_that_are_alike_none_is_told_worse_in_19_of_20_studies(
    kind: str, settings: int, repeats: int, shared: float
) -> None:
    mine, _ = errors_of(kind, settings, repeats, 300, shared)
    # 300 studies with an error of 5 % go beyond 28 in 1 of 1000.
    assert mine <= scipy.stats.binom.ppf(0.999, 300, LEVEL)


def test_without_the_correction_for_the_choice_the_error_would_be_several_times_as_large() -> None:
    mine, holm = errors_of("normal", 24, 60, 300, 0.0)
    assert mine <= scipy.stats.binom.ppf(0.999, 300, LEVEL)
    assert holm > 300 * 2.0 * LEVEL


def test_the_truly_best_is_told_worse_in_at_most_1_of_20_studies() -> None:
    wrong = told = 0
    for study in range(300):
        draw = np.random.default_rng(study)
        values = (lucky(draw, 8, 80) > np.array([-1.1, -1.0, -1.0, -0.9, -0.4, 0.0, 0.4, 1.0])[:, None]) * 1.0
        result = compare(REACHED, values)
        wrong += not result.alike[0]
        told += int(result.worse.sum())
    assert wrong <= scipy.stats.binom.ppf(0.999, 300, LEVEL)
    # The last four lag by 20 points and more, and most of them are found.
    assert told > 300 * 3


def test_the_best_and_those_like_it() -> None:
    draw = np.random.default_rng(5)
    luck = lucky(draw, 5, 200)
    values = (luck > np.array([-1.5, -1.6, 0.2, -1.55, 5.0])[:, None]) * 1.0
    result = compare(REACHED, values)
    assert result.best in (0, 1, 3)
    assert result.alike.tolist() == [True, True, False, True, False]
    assert result.worse.tolist() == [False, False, True, False, True]
    assert 0.0 < result.optimism < 0.05
    fewest = compare(CONTACTS, values)
    assert fewest.best == 4
    assert fewest.alike.tolist() == [False, False, False, False, True]
    assert fewest.optimism == 0.0


def test_what_is_undefined_is_neither_alike_nor_worse() -> None:
    values = (lucky(np.random.default_rng(7), 4, 50) > 0.0) * 1.0
    values[1] = np.nan
    result = compare(REACHED, values)
    assert not result.alike[1]
    assert not result.worse[1]
    assert math.isnan(result.corrected[1])
    nothing = compare(REACHED, np.full((3, 20), np.nan))
    assert nothing.best is None
    assert not nothing.alike.any()
    assert not nothing.worse.any()
    assert repeats_needed(REACHED, values, None, nothing, 0.1) is None


def test_a_setting_with_hardly_any_say_is_not_the_best() -> None:
    draw = np.random.default_rng(1)
    weights = draw.poisson(3.0, (3, 100)).astype(np.float64)
    weights[1] = 0.0
    weights[1, :6] = 1.0
    values = draw.binomial(weights.astype(int), 0.8).astype(np.float64)
    values[1] = weights[1]
    result = compare(ESCAPE, values, weights)
    assert result.estimates.value[1] == 1.0
    assert result.best != 1
    assert result.alike[1]


def test_where_half_do_not_arrive_the_ranks_still_tell() -> None:
    draw = np.random.default_rng(2)
    values = np.exp(lucky(draw, 3, 100, 0.9) + 5.0)
    for setting, share in enumerate((0.55, 0.6, 0.95)):
        values[setting, : int(100 * share)] = math.inf
    result = compare(REACH_TIME, values)
    assert np.isinf(result.estimates.value).all()
    assert result.best == 0
    assert result.alike.tolist() == [True, True, False]
    assert math.isnan(result.optimism)


def test_five_repeats_tell_nothing_apart_and_eight_may() -> None:
    for score in (REACHED, CONTACTS, REACH_TIME):
        values = np.array([[1.0], [0.0]]) * np.ones(5)
        assert compare(score, values).alike.all()
        assert compare(score, values.repeat(2, axis=1)).alike.sum() == 1


def test_how_much_the_best_of_many_flatters_itself() -> None:
    """The largest of 20 standard normal figures has expectation 1.8675 (tables of order statistics)."""
    optimism = [
        compare(DIRECTNESS, lucky(np.random.default_rng(seed), 20, 100, 0.0)).optimism for seed in range(40)
    ]
    # A resample adds its scatter to figures that are already spread: less than all of it comes out.
    assert 0.4 * 0.18675 < np.mean(optimism) < 1.1 * 0.18675
    medians = compare(REACH_TIME, np.exp(lucky(np.random.default_rng(0), 20, 100, 0.0)))
    assert medians.optimism > 0.02


def test_against_one_chosen_beforehand() -> None:
    values = lucky(np.random.default_rng(3), 4, 60) - np.array([[0.0], [1.5], [0.0], [-1.5]])
    result = compare(CONTACTS, values, against=0)
    assert result.best == 0
    # One that is better than the one called is not told worse.
    assert result.alike.tolist() == [True, True, True, False]
    np.testing.assert_allclose(result.corrected, corrected(result.p_value, 0, is_chosen=False))
    assert result.optimism == 0.0


@pytest.mark.parametrize(("kind", "by"), [("share", 0.1), ("mean", 0.4)])
def test_the_repeats_asked_for_tell_the_difference_in_four_of_five(kind: str, by: float) -> None:
    threshold = scipy.stats.norm.ppf([0.8, 0.8, 0.8 - by])

    score = REACHED if kind == "share" else CONTACTS

    def study(seed: int, repeats: int) -> Floats:
        luck = lucky(np.random.default_rng(seed), 3, repeats)
        if kind == "share":
            return (luck < threshold[:, None]) * 1.0
        return luck + np.array([[0.0], [0.0], [by]])

    values = study(10_000, 4000)
    alike = values[[0, 1, 1]]
    needed = repeats_needed(score, alike, None, compare(score, alike), by)
    assert needed is not None
    p_value = [pair_tests(score, study(seed, needed), None, 0).p_value[2] for seed in range(300)]
    # Three settings make three pairs.
    share = np.mean(np.array(p_value) <= LEVEL / 3.0)
    assert 0.68 <= share <= 0.9


def test_repeats_needed_of_paired_shares_by_hand() -> None:
    """Connor (1987) for 20 % of pairs that differ, 10 points, 5 % two-sided, power 0.8.

    (1.95996 sqrt(0.2) + 0.84162 sqrt(0.19))² / 0.01 = 154.6; with the pair more of the exact test
    ((1.24338 + sqrt(1.24338² + 0.4)) / 0.2)² = 174.1.
    """
    values = np.zeros((2, 100))
    values[0, :10] = values[1, 10:20] = 1.0
    assert repeats_needed(REACHED, values, None, compare(REACHED, values), 0.1) == 175
    assert repeats_needed(REACH_TIME, values, None, compare(REACH_TIME, values), 0.1) is None


def test_very_many_repeats_are_resampled_in_bundles_and_come_to_the_same() -> None:
    draws = np.random.default_rng(4)
    values = (draws.random((4, 30_000)) < np.array([0.5, 0.5, 0.49, 0.4])[:, None]).astype(np.float64)
    bundles = bundled(values)
    assert bundles.shape == (4, 5000)
    assert np.array_equal(bundles.sum(axis=1), values.sum(axis=1))
    # the spread of a sum is that of its trials, however they are thrown together
    spread = math.sqrt(bundles.var(axis=1)[0] / 5000) / 6.0
    assert spread == pytest.approx(math.sqrt(0.25 / 30_000), rel=0.05)
    figure = difference(REACHED, values[[0, 3]])
    half = scipy.stats.norm.ppf(0.975) * (values[0] - values[3]).std() / math.sqrt(30_000)
    assert figure.high - figure.low == pytest.approx(2.0 * half, rel=0.08)
    assert np.array_equal(bundled(values[:, :10]), values[:, :10])
    assert bundled(values[:, :11], 5).shape == (4, 4)


def test_estimates_that_are_there_already_change_nothing() -> None:
    draws = np.random.default_rng(5)
    values = draws.normal(size=(5, 40)) + np.arange(5.0)[:, None] / 4.0
    found, given = compare(AIM, values, np.ones((5, 40))), estimate_all(AIM, values, np.ones((5, 40)))
    again = compare(AIM, values, np.ones((5, 40)), estimates=given)
    assert (again.best, again.optimism) == (found.best, found.optimism)
    for name in ("p_value", "corrected", "alike"):
        assert np.array_equal(getattr(again, name), getattr(found, name))
    assert np.array_equal(again.estimates.low, found.estimates.low)
