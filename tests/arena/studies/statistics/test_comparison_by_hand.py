"""Tests in pairs, the choice of the best and its flattery, and repeats needed, by formulae written out."""

import math
from collections.abc import Iterator
from dataclasses import replace
from statistics import NormalDist, median

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from arena.studies.statistics import comparison
from arena.studies.statistics.comparison import compare, corrected, pair_tests, repeats_needed
from arena.studies.trial_scores import SCORES, Score

REACHED, REACH_TIME, AIM = SCORES["reached"], SCORES["reach time"], SCORES["aim"]
CONTACTS, ESCAPE, DIRECTNESS = SCORES["contacts"], SCORES["escape"], SCORES["directness"]
GAIN = SCORES["light gain"]
FEWER = replace(ESCAPE, more_is_better=False)

Floats = NDArray[np.float64]


@pytest.fixture(autouse=True)
def _nothing_is_divided_by_nought() -> Iterator[None]:
    """Where it is not asked for, and in plain Python too, where such warnings are no errors."""
    with np.errstate(divide="raise", invalid="raise"):
        yield


def scattered(settings: int, repeats: int, seed: int = 3) -> Floats:
    draw = np.random.default_rng(seed)
    return draw.normal(size=repeats) + draw.normal(size=(settings, repeats))


def test_corrected_probabilities_are_at_most_one() -> None:
    assert corrected(np.array([0.8, 1.0, 0.9]), 1, is_chosen=False).tolist() == [1.0, 1.0, 1.0]
    assert corrected(np.array([1.0, 0.3]), 0, is_chosen=True).tolist() == [1.0, 0.3]


def test_ones_and_noughts_of_which_some_say_nothing() -> None:
    one = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.0, 0.0, np.nan, np.nan])
    other = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0, np.nan, 0.0, np.nan])
    values = np.stack([one, other, np.full(11, np.nan), one])
    found = pair_tests(REACHED, values, None, 0)
    # of 8 pairs 6 are for the one and 1 for the other: 2 (1 + 7) / 2^7
    assert found.p_value[:2].tolist() == [1.0, 0.125]
    assert math.isnan(found.p_value[2])
    assert found.p_value[3] == 1.0
    assert found.is_worse.tolist() == [False, True, False, False]
    # of the differences 6 are 1, 1 is -1 and 1 is 0
    assert found.spread[1] == pytest.approx(math.sqrt(7 / 8 - (5 / 8) ** 2))
    assert found.spread[2] == 0.0
    fewer = pair_tests(replace(REACHED, more_is_better=False), values, None, 0)
    assert fewer.is_worse.tolist() == [False] * 4
    assert pair_tests(replace(REACHED, more_is_better=False), values, None, 1).is_worse[0]
    # of a single pair
    single = pair_tests(REACHED, np.array([[1.0, np.nan], [0.0, 1.0]]), None, 0)
    assert single.p_value.tolist() == [1.0, 1.0]
    assert single.spread.tolist() == [0.0, 0.0]
    # where the one says nothing no pair does
    assert pair_tests(REACHED, values, None, 2).spread.tolist() == [0.0] * 4


def test_whether_ones_and_noughts_or_parts_are_compared() -> None:
    values = np.array([[1.0, 0.5, 1.0, 0.0, 1.0, 0.0], [0.0, 0.5, 0.0, 0.0, 1.0, 0.0]])
    assert pair_tests(REACHED, values, None, 0).test == "Student"
    assert pair_tests(REACHED, np.round(values), None, 0).test == "McNemar"
    assert pair_tests(CONTACTS, np.round(values), None, 0).test == "Student"
    assert pair_tests(REACH_TIME, values, None, 0).test == "signed ranks"


@pytest.mark.parametrize("one", [0, 1, 2])
def test_ratios_have_students_test_of_how_far_each_trial_pulls(one: int) -> None:
    draw = np.random.default_rng(12)
    weights = draw.poisson(1.5, (3, 30)).astype(np.float64)
    values = draw.binomial(weights.astype(int), 0.6).astype(np.float64)
    weights[2, ::3] = values[2, ::3] = 0.0
    found, turned = pair_tests(ESCAPE, values, weights, one), pair_tests(FEWER, values, weights, one)
    ratio = values.sum(axis=1) / weights.sum(axis=1)
    says = (weights > 0.0).sum(axis=1)
    for setting in {0, 1, 2} - {one}:
        pulls = [
            (values[which] - ratio[which] * weights[which]) / weights[which].mean()
            for which in (one, setting)
        ]
        count = min(says[one], says[setting])
        variance = np.mean((pulls[0] - pulls[1]) ** 2) * count / (count - 1)
        student = abs(ratio[one] - ratio[setting]) / math.sqrt(variance / 30)
        assert found.p_value[setting] == pytest.approx(2.0 * scipy.stats.t.sf(student, count - 1), rel=1e-9)
        assert found.spread[setting] == pytest.approx(math.sqrt(variance), rel=1e-9)
        assert found.is_worse[setting] == (ratio[one] > ratio[setting]) != turned.is_worse[setting]
    assert found.p_value[one] == 1.0
    assert not found.is_worse[one]
    assert not turned.is_worse[one]


def test_no_probability_is_less_than_the_pairs_that_differ_allow() -> None:
    """2 / 2^m: of pairs with one difference, of five pairs by ranks, and of pairs whose weights differ."""
    values = np.zeros((4, 12))
    values[1, :3] = 5.0
    values[2] = 1.0
    values[3, :6] = np.nan
    assert pair_tests(CONTACTS, values, None, 0).p_value.tolist() == [1.0, 0.25, 2.0**-11, 1.0]
    later = np.stack([np.arange(5.0), 100.0 + np.arange(5.0)])
    assert pair_tests(REACH_TIME, later, None, 0).p_value.tolist() == [1.0, 2.0**-4]
    weights = np.array([[1.0, 2.0, 1.0, 2.0, 3.0, 1.0], [1.0, 2.0, 1.0, 2.0, 9.0, 1.0]])
    assert pair_tests(AIM, weights * [[1.0], [0.0]], weights, 0).p_value[1] == 2.0**-5
    assert pair_tests(AIM, np.ones((2, 6)), weights, 0).p_value[1] == 1.0


def test_fewer_than_five_tell_nothing() -> None:
    values = np.array([[0.0, 0.1, 0.0, 0.2, 0.1], [9.0, 9.0, 9.1, 9.0, 9.2]])
    assert pair_tests(CONTACTS, values, None, 0).p_value[1] == 2.0**-4
    assert pair_tests(CONTACTS, values[:, :4], None, 0).p_value.tolist() == [1.0, 1.0]
    values[0, 0] = np.nan
    assert pair_tests(CONTACTS, values, None, 0).p_value.tolist() == [1.0, 1.0]
    one, two = (pair_tests(CONTACTS, values[:, 1:more], None, 0) for more in (2, 3))
    assert one.p_value.tolist() == two.p_value.tolist() == [1.0, 1.0]
    assert one.spread.tolist() == [0.0, 0.0]
    assert two.spread[1] == pytest.approx(np.std([8.9, 9.1], ddof=1))
    nothing = pair_tests(CONTACTS, np.append(values, np.full((1, 5), np.nan), axis=0), None, 0)
    assert math.isnan(nothing.p_value[2])
    assert not nothing.is_worse[2]


def signed_ranks(one: Floats, other: Floats) -> float:
    """Wilcoxon's p-value, normal with correction for continuity; ties share ranks, pairs alike have none."""
    ahead = np.array([a - b for a, b in zip(one, other, strict=True) if a != b and not math.isnan(a - b)])
    ranks = scipy.stats.rankdata(np.abs(ahead))
    lean = abs(float((np.sign(ahead) * ranks).sum()))
    deviate = max(lean - 1.0, 0.0) / math.sqrt(float((ranks**2).sum()))
    return max(2.0 * (1.0 - NormalDist().cdf(deviate)), 2.0 ** (1 - len(ahead)))


def test_signed_ranks_of_few_with_ties_and_times_without_end() -> None:
    inf = math.inf
    one = np.array([3.0, 5.0, 4.0, inf, 7.0, 2.0, inf, 9.0, np.nan])
    other = np.array([2.0, 3.0, 5.0, 6.0, 7.0, 1.0, inf, inf, 3.0])
    values = np.stack([one, other, one + 1.0, np.full(9, np.nan)])
    found = pair_tests(REACH_TIME, values, None, 0)
    assert found.p_value[0] == 1.0
    assert found.p_value[1] == pytest.approx(signed_ranks(one[:8], other[:8]), rel=1e-9)
    assert found.p_value[2] == pytest.approx(max(signed_ranks(one[:8], one[:8] + 1.0), 2.0**-5), rel=1e-9)
    assert math.isnan(found.p_value[3])
    # a later time is the worse; more light gained the better
    assert found.is_worse.tolist() == [False, False, True, False]
    assert pair_tests(GAIN, values, None, 0).is_worse.tolist() == [False, True, False, False]
    assert np.isnan(found.spread).all()
    # of a single pair, and of two that are as far to either side
    single, even = np.array([[1.0, 5.0], [2.0, 5.0]]), np.array([[1.0, 5.0], [2.0, 4.0]])
    for score in (REACH_TIME, GAIN):
        assert pair_tests(score, single, None, 0).is_worse.tolist() == [False, score is REACH_TIME]
        assert pair_tests(score, single[::-1], None, 0).is_worse.tolist() == [False, score is GAIN]
        assert pair_tests(score, single, None, 0).p_value.tolist() == [1.0, 1.0]
        assert pair_tests(score, even, None, 0).p_value.tolist() == [1.0, 1.0]
    longer = np.stack([np.arange(8.0), np.arange(8.0) + np.array([1, -2, 3, -4, 5, -6, 7, -4])])
    assert pair_tests(REACH_TIME, longer, None, 0).p_value[1] == 1.0


def test_the_best_has_a_say() -> None:
    """From five trials that say something on, and a tenth of what another has."""
    values = np.full((3, 50), 1.0)
    values[0, 5:], values[0, :5] = np.nan, 2.0
    values[1] = np.where(np.arange(50) % 2 == 0, 0.9, 1.0)
    assert compare(DIRECTNESS, values).best == 0
    values[0, 4] = np.nan
    assert compare(DIRECTNESS, values).best == 2
    assert compare(DIRECTNESS, np.append(values, np.ones((3, 1)), axis=1)).best == 2
    values[0, 4] = 2.0
    wider = np.append(values, np.full((3, 1), [[np.nan], [1.0], [1.0]]), axis=1)
    assert compare(DIRECTNESS, wider).best == 2
    # where nobody has a say the best is the best all the same
    assert compare(DIRECTNESS, values[:, :3]).best == 0


def test_of_several_as_good_the_first_is_the_best_but_for_medians_the_one_of_better_ranks() -> None:
    values = np.array([[1.0, 1.0, 13.0], [5.0, 5.0, 5.0], [4.0, 5.0, 6.0]])
    assert compare(DIRECTNESS, values.repeat(2, axis=1)).best == 0
    inf = math.inf
    times = np.array([[3.0, inf, inf, inf, inf], [4.0, 2.0, inf, inf, inf], [9.0, 9.0, np.nan, inf, inf]])
    # by ranks of all: 3 and four of 10.5, 4, 2 and three of 10.5, and so on, nan as inf
    assert compare(REACH_TIME, times).best == 1
    gains = np.array([[1.0, 2.0, 2.0, 2.0, 2.5], [1.0, 1.0, 2.0, 4.0, 5.0], [0.5, 1.9, 2.0, 2.1, 9.0]])
    ranks = scipy.stats.rankdata(gains).reshape(3, 5).mean(axis=1)
    assert compare(GAIN, gains).best == int(ranks.argmax())
    assert compare(REACH_TIME, gains).best == int(ranks.argmin())


@pytest.mark.parametrize("score", [CONTACTS, DIRECTNESS])
def test_flattery_is_what_the_best_of_resamples_exceeds_its_figure_by(score: Score) -> None:
    values = scattered(4, 24) + np.array([[0.0], [0.1], [-0.1], [0.05]])
    result = compare(score, values, seed=6)
    assert result.alike.all()
    sign = 1.0 if score is DIRECTNESS else -1.0
    excess = []
    for drawn in np.random.default_rng(6).integers(0, 24, (2000, 24)):
        means = sign * values[:, drawn].mean(axis=1)
        excess.append(means.max() - sign * values[means.argmax()].mean())
    assert result.optimism == pytest.approx(np.mean(excess), rel=1e-9)


@pytest.mark.parametrize("score", [REACH_TIME, GAIN])
def test_flattery_of_medians(score: Score) -> None:
    values = np.exp(scattered(3, 15, 4))
    result = compare(score, values, seed=2)
    assert result.alike.all()
    sign = 1.0 if score is GAIN else -1.0
    excess = []
    for drawn in np.random.default_rng(2).integers(0, 15, (200, 15)):
        medians = [sign * median(one[drawn]) for one in values]
        winner = int(np.argmax(medians))
        excess.append(medians[winner] - sign * median(values[winner]))
    assert result.optimism == pytest.approx(max(np.mean(excess), 0.0), rel=1e-9)
    assert result.optimism > 0.0


def test_flattery_of_ratios_counts_by_their_weights() -> None:
    draw = np.random.default_rng(2)
    weights = draw.poisson(2.0, (3, 40)) + 1.0
    values = draw.binomial(weights.astype(int), 0.5).astype(np.float64)
    values[1] = 0.0
    result = compare(ESCAPE, values, weights, seed=1)
    assert result.alike.tolist() == [True, False, True]
    kept = [0, 2]
    figures = values[kept].sum(axis=1) / weights[kept].sum(axis=1)
    excess = []
    for drawn in np.random.default_rng(1).integers(0, 40, (2000, 40)):
        ratios = values[kept][:, drawn].sum(axis=1) / weights[kept][:, drawn].sum(axis=1)
        excess.append(ratios.max() - figures[ratios.argmax()])
    assert result.optimism == pytest.approx(np.mean(excess), rel=1e-9)


def test_where_flattery_is_nought_and_where_nobody_can_tell(monkeypatch: pytest.MonkeyPatch) -> None:
    values = scattered(3, 5)
    assert compare(DIRECTNESS, values).optimism > 0.0
    assert math.isnan(compare(DIRECTNESS, values[:, :4]).optimism)
    assert math.isnan(compare(DIRECTNESS, values[:2, :4]).optimism)
    assert compare(DIRECTNESS, values[:1]).optimism == 0.0
    assert compare(DIRECTNESS, values[:1, :4]).optimism == 0.0
    # a resample in which nobody says anything
    sparse = np.where(np.arange(12) < 2, 1.0, np.nan) * np.array([[1.0], [1.5]])
    assert math.isnan(compare(DIRECTNESS, sparse).optimism)
    # times that resamples keep within the run or not
    times = np.where(np.arange(11) < 6, 3.0 + np.arange(11), math.inf) * np.ones((2, 1))
    assert math.isnan(compare(REACH_TIME, times).optimism)
    monkeypatch.setattr(comparison, "MOST_RESAMPLED", 5)
    assert compare(GAIN, values).optimism >= 0.0
    assert math.isnan(compare(GAIN, scattered(3, 6)).optimism)


def test_flattery_where_some_resamples_leave_one_without_a_figure() -> None:
    """The other is their best then."""
    values = scattered(2, 10) + np.array([[0.0], [0.3]])
    values[1, 3:] = np.nan
    result = compare(DIRECTNESS, values)
    assert result.alike.all()
    figures, excess = np.nanmean(values, axis=1), []
    for drawn in np.random.default_rng(0).integers(0, 10, (2000, 10)):
        first = values[0, drawn].mean()
        second = values[1, drawn][drawn < 3].mean() if (drawn < 3).any() else -math.inf
        excess.append(first - figures[0] if first >= second else second - figures[1])
    assert result.optimism == pytest.approx(np.mean(excess), rel=1e-9)


def test_flattery_is_never_below_nought() -> None:
    draw = np.random.default_rng(7)
    values = draw.normal(size=7) + 0.3 * draw.normal(size=(2, 7))
    values[1] -= 0.25 * draw.random()
    result = compare(GAIN, values)
    assert result.alike.all()
    excess = []
    for drawn in np.random.default_rng(0).integers(0, 7, (200, 7)):
        medians = [median(one[drawn]) for one in values]
        excess.append(max(medians) - median(values[int(np.argmax(medians))]))
    assert np.mean(excess) < 0.0
    assert result.optimism == 0.0


def test_of_many_the_best_that_are_alike_contend(monkeypatch: pytest.MonkeyPatch) -> None:
    values = scattered(6, 20)
    everybody = compare(CONTACTS, values)
    assert everybody.alike.sum() > 3
    monkeypatch.setattr(comparison, "_CONTENDERS", 2)
    best = np.sort(np.argsort(values.mean(axis=1), kind="stable")[:2])
    assert compare(CONTACTS, values).optimism == pytest.approx(compare(CONTACTS, values[best]).optimism)
    monkeypatch.setattr(comparison, "_CONTENDERS", 1)
    assert compare(CONTACTS, values).optimism == 0.0


def test_repeats_needed_of_means_by_hand() -> None:
    """((z(1 - a/2) + z(0.8)) s / d)^2, of the middle s of those that are alike; a shared by all pairs."""
    values = scattered(4, 60) * np.array([[1.0], [2.0], [1.0], [3.0]])
    result = compare(DIRECTNESS, values)
    assert result.best is not None
    assert result.alike.all()
    spreads = [np.std(values[result.best] - one, ddof=1) for one in np.delete(values, result.best, axis=0)]
    normal = NormalDist()
    reach = normal.inv_cdf(1.0 - 0.025 / 6.0) + normal.inv_cdf(0.8)
    for by in (0.3, 0.05):
        expected = math.ceil((reach * median(spreads) / by) ** 2)
        assert repeats_needed(DIRECTNESS, values, None, result, by) == expected
    assert repeats_needed(DIRECTNESS, values, None, result, 1e3) == 5
    assert repeats_needed(DIRECTNESS, values, None, result, 0.0) is None
    assert repeats_needed(DIRECTNESS, values, None, result, -1.0) is None


def test_repeats_needed_where_only_worse_ones_are_left_or_none() -> None:
    values = scattered(3, 40) + np.array([[5.0], [0.0], [np.nan]])
    result = compare(DIRECTNESS, values)
    assert result.alike.tolist() == [True, False, False]
    normal = NormalDist()
    reach = normal.inv_cdf(0.975) + normal.inv_cdf(0.8)
    spread = np.std(values[0] - values[1], ddof=1)
    expected = math.ceil((reach * spread / 0.5) ** 2)
    assert repeats_needed(DIRECTNESS, values, None, result, 0.5) == expected
    alone = compare(DIRECTNESS, values[:1])
    assert repeats_needed(DIRECTNESS, values[:1], None, alone, 0.5) is None


def test_repeats_needed_of_shares_that_hardly_differ() -> None:
    """At least as many pairs differ as the difference asks for: w = d.

    d = 0.3: (1.95996 sqrt(0.3) + 0.84162 sqrt(0.21) + sqrt((...)^2 + 1.2))^2 / 0.36.
    """
    values = np.zeros((2, 50))
    values[0, 0] = 1.0
    slope = 1.959964 * math.sqrt(0.3) + 0.841621 * math.sqrt(0.3 - 0.09)
    expected = ((slope + math.sqrt(slope**2 + 4.0 * 0.3)) / 0.6) ** 2
    assert repeats_needed(REACHED, values, None, compare(REACHED, values), 0.3) == math.ceil(expected)
    assert repeats_needed(REACHED, values, None, compare(REACHED, values), 2.0) == 5
