"""Two settings on the same repeats, against scipy's paired tests and intervals."""

import math

import numpy as np
import pytest
from scipy import stats

from arena.studies.statistics.head_to_head import head_to_head
from arena.studies.trial_scores import SCORES


def test_difference_of_means_has_students_paired_test_and_interval() -> None:
    chance = np.random.default_rng(4)
    luck = chance.normal(size=60)
    values = np.stack([luck + chance.normal(0.3, 0.5, 60), luck + chance.normal(0.0, 0.5, 60)])
    found = head_to_head(SCORES["pulses"], values)
    test = stats.ttest_rel(*values)
    assert found.difference == pytest.approx(float(values[0].mean() - values[1].mean()))
    assert found.p_value == pytest.approx(float(test.pvalue), rel=1e-6)
    interval = test.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-6)
    assert found.is_better == (test.pvalue < 0.05)
    assert found.repeats == 60
    assert (found.one.value, found.other.value) == pytest.approx(tuple(values.mean(axis=1)))


def test_shares_have_mcnemars_test_and_a_choice_makes_it_stricter() -> None:
    one = np.array([1.0] * 14 + [0.0] * 26)
    other = np.array([0.0] * 8 + [1.0] * 6 + [0.0] * 26)
    found = head_to_head(SCORES["reached"], np.stack([one, other]))
    assert found.p_value == pytest.approx(float(stats.binomtest(0, 8).pvalue))
    assert found.is_better
    assert found.difference == pytest.approx(0.2)
    assert found.low < 0.1 < 0.3 < found.high
    picked = head_to_head(SCORES["reached"], np.stack([one, other]), picked=8)
    assert picked.p_value == pytest.approx(8 * found.p_value)
    assert not picked.is_better
    turned = head_to_head(SCORES["reached"], np.stack([other, one]))
    assert turned.difference == pytest.approx(-0.2)
    assert not turned.is_better


def test_of_two_alike_none_is_better_more_than_once_in_twenty() -> None:
    chance = np.random.default_rng(11)
    better = 0
    for _ in range(400):
        values = (chance.random((2, 40)) < 0.6) * 1.0
        better += head_to_head(SCORES["reached"], values).is_better
    # one-sided, so half of 5 % at most, and less for the exact test
    assert better <= 16


def test_median_that_is_not_reached_has_no_interval() -> None:
    arrive = np.linspace(100.0, 500.0, 30)
    late = arrive.copy()
    late[:20] = math.inf
    found = head_to_head(SCORES["reach time"], np.stack([arrive, late]))
    assert math.isnan(found.low)
    assert found.is_better
    both = head_to_head(SCORES["reach time"], np.stack([arrive, arrive + 60.0]))
    assert both.difference == pytest.approx(-60.0)
    assert both.low < -30.0


def test_five_repeats_have_an_interval_and_four_have_none() -> None:
    values = np.array([[3.0, 5.0, 4.0, 7.0, 6.0], [1.0, 2.0, 5.0, 3.0, 2.0]])
    found = head_to_head(SCORES["pulses"], values)
    assert found.low < found.difference < found.high
    assert math.isnan(head_to_head(SCORES["pulses"], values[:, :4]).low)


def test_a_choice_among_very_many_leaves_a_probability() -> None:
    values = np.array([[3.0, 5.0, 4.0, 7.0, 6.0], [1.0, 2.0, 5.0, 3.0, 2.0]])
    assert head_to_head(SCORES["pulses"], values, picked=10**6).p_value == 1.0


@pytest.mark.parametrize(("count", "rank"), [(7, 2), (9, 2), (21, 7)])
def test_interval_of_medians_has_the_ends_of_the_exact_bootstrap(count: int, rank: int) -> None:
    """Against one that always comes at nought the resampled difference is a resampled median.

    It is at most the k-th smallest of n with the probability that more than half of n draws are among k: the
    ends are the first of both sides for which that is 2.5 %.
    """
    at_most = [float(stats.binom.sf(count // 2, count, k / count)) for k in (rank - 1, rank)]
    assert at_most[0] < 0.025 < at_most[1]
    arrive = np.stack([10.0 * np.arange(1, count + 1), np.zeros(count)])
    ends = []
    for seed in range(30):
        found = head_to_head(SCORES["reach time"], arrive, seed=seed)
        ends.append((found.low == 10.0 * rank, found.high == 10.0 * (count + 1 - rank)))
    # two hundred resamples scatter about that
    assert np.mean(ends, axis=0).min() > 0.55
