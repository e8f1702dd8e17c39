"""Estimates of a setting against general statistics libraries, exact formulae, and their own promise."""

import math

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from arena.studies.statistics.estimates import Estimate, estimate, estimate_all, tell, values_of
from arena.studies.statistics.resampling import median_rank, widened
from arena.studies.trial_scores import SCORES

REACHED, REACH_TIME, AIM = SCORES["reached"], SCORES["reach time"], SCORES["aim"]
CONTACTS, ESCAPE, STUCK = SCORES["contacts"], SCORES["escape"], SCORES["stuck"]

Floats = NDArray[np.float64]


def library_interval(
    data: tuple[Floats, ...], statistic, method: str, seed: int = 1, paired: bool = False
) -> tuple[float, float]:
    """scipy.stats.bootstrap at the level that is widened for few trials."""
    tail = float(scipy.stats.norm.sf(widened(np.array([len(data[0])]))[0]))
    result = scipy.stats.bootstrap(
        data,
        statistic,
        confidence_level=1 - 2 * tail,
        n_resamples=9999,
        method=method,
        paired=paired,
        rng=np.random.default_rng(seed),
    )
    return float(result.confidence_interval.low), float(result.confidence_interval.high)


@pytest.mark.parametrize("trials", [1, 2, 5, 30, 101])
def test_a_share_against_a_library(trials: int) -> None:
    for hits in range(trials + 1):
        values = (np.arange(trials) < hits).astype(np.float64)
        figure = estimate(REACHED, np.random.default_rng(hits).permutation(values))
        expected = scipy.stats.binomtest(hits, trials).proportion_ci(0.95, method="wilson")
        assert figure.value == pytest.approx(hits / trials)
        assert (figure.low, figure.high) == pytest.approx((expected.low, expected.high), abs=1e-12)
        assert (figure.count, figure.method) == (trials, "Wilson")


@pytest.mark.parametrize("count", [12, 40, 200])
@pytest.mark.parametrize("shape", [0.7, 4.0])
def test_a_mean_against_a_library(count: int, shape: float) -> None:
    values = np.random.default_rng(count).gamma(shape, 2.0, count)
    figure = estimate(CONTACTS, values)
    low, high = library_interval((values,), np.mean, "BCa")
    assert figure.value == pytest.approx(values.mean())
    # Both draw their resamples: ends agree to a tenth of the interval, which is several times their scatter.
    assert (figure.low, figure.high) == pytest.approx((low, high), abs=0.1 * (high - low))
    assert figure.low < figure.value < figure.high


def test_a_share_of_several_walkers_against_a_library() -> None:
    values = np.random.default_rng(5).binomial(4, 0.8, 60) / 4.0
    figure = estimate(REACHED, values)
    low, high = library_interval((values,), np.mean, "BCa")
    assert figure.method == "bootstrap"
    assert (figure.low, figure.high) == pytest.approx((low, high), abs=0.1 * (high - low))


@pytest.mark.parametrize("count", [15, 60, 300])
def test_a_ratio_against_a_library(count: int) -> None:
    draw = np.random.default_rng(count)
    weights = draw.poisson(3.0, count).astype(np.float64)
    values = draw.binomial(weights.astype(np.int64), 0.7).astype(np.float64)
    figure = estimate(ESCAPE, values, weights)
    low, high = library_interval(
        (values, weights), lambda v, w, axis: v.sum(axis=axis) / w.sum(axis=axis), "BCa", paired=True
    )
    assert figure.value == pytest.approx(values.sum() / weights.sum())
    assert figure.count == (weights > 0).sum()
    assert (figure.low, figure.high) == pytest.approx((low, high), abs=0.1 * (high - low))


@pytest.mark.parametrize("count", [9, 10, 25, 100, 101])
def test_a_median_against_a_library(count: int) -> None:
    values = np.random.default_rng(count).lognormal(5.0, 0.8, count)
    figure = estimate(REACH_TIME, values)
    low, high = library_interval((values,), np.median, "percentile")
    ascending = np.sort(values)
    assert figure.value == pytest.approx(np.median(values))
    # Ends are values that were seen; of an even number the library's may lie between two of them.
    for mine, theirs in ((figure.low, low), (figure.high, high)):
        place = int(np.searchsorted(ascending, mine))
        assert ascending[place] == mine
        assert ascending[max(place - 1, 0)] <= theirs <= ascending[min(place + 1, count - 1)]


@pytest.mark.parametrize("count", range(5, 200))
def test_a_medians_interval_holds_it_as_often_as_an_exact_one(count: int) -> None:
    """The interval from the l-th smallest to the l-th largest of n values holds the median of any continuous
    distribution with probability P(l <= B <= n - l), B binomial with n and 1/2.

    Hahn and Meeker, Statistical Intervals (1991), chapter 5, from memory.
    """
    rank = median_rank(count)
    binomial = scipy.stats.binom(count, 0.5)
    holds = binomial.cdf(count - rank) - binomial.cdf(rank - 1)
    narrower = binomial.cdf(count - rank - 1) - binomial.cdf(rank)
    assert 0.93 <= holds <= 1.0
    # One value further in on either side would be too narrow.
    assert narrower < 0.955


@pytest.mark.parametrize("count", [5, 8, 21, 60])
def test_a_resampled_median_is_known_without_drawing(count: int) -> None:
    draw = np.random.default_rng(count)
    middles = np.sort(draw.integers(1, count + 1, (200_000, count)), axis=1)[:, (count + 1) // 2 - 1]
    tail = scipy.stats.norm.sf(widened(np.array([count]))[0])
    rank = median_rank(count)
    scatter = 5.0 * math.sqrt(tail / len(middles))
    assert np.mean(middles < rank) <= tail + scatter
    assert np.mean(middles <= rank) >= tail - scatter


def drawn_values(kind: str, draw: np.random.Generator, settings: int, repeats: int) -> tuple[Floats, float]:
    if kind == "even":
        return draw.random((settings, repeats)), 0.5
    if kind == "skew":
        return draw.exponential(1.0, (settings, repeats)), 1.0
    return draw.poisson(2.0, (settings, repeats)).astype(np.float64), 2.0


# A plain normal interval (1.96 standard errors) holds the mean of 10 even values in 91.7 % of cases, and a
# bare percentile interval in 90 %; 4000 settings scatter by 0.35 %.
@pytest.mark.parametrize(
    ("kind", "repeats", "least"),
    [("even", 10, 0.935), ("even", 40, 0.94), ("skew", 40, 0.925), ("counts", 20, 0.93), ("skew", 200, 0.94)],
)
def test_intervals_of_means_hold_the_true_one_as_often_as_they_say(
    kind: str, repeats: int, least: float
) -> None:
    values, truth = drawn_values(kind, np.random.default_rng(repeats), 4000, repeats)
    figures = estimate_all(CONTACTS, values, seed=3)
    holds = np.mean((figures.low <= truth) & (truth <= figures.high))
    assert least <= holds <= 0.975
    too_high, too_low = np.mean(figures.low > truth), np.mean(figures.high < truth)
    assert max(too_high, too_low) < 0.06


def test_intervals_of_ratios_hold_the_true_one_as_often_as_they_say() -> None:
    # Trials differ in how often their contacts end free, so that contacts are no independent tries.
    draw = np.random.default_rng(8)
    ease = draw.beta(7.0, 3.0, (4000, 60))
    weights = draw.poisson(4.0, (4000, 60))
    values = draw.binomial(weights, ease).astype(np.float64)
    figures = estimate_all(ESCAPE, values, weights.astype(np.float64))
    holds = np.mean((figures.low <= 0.7) & (figures.high >= 0.7))
    assert 0.935 <= holds <= 0.965
    # Taking every contact for a try of its own would be wrong, and this data tells.
    hits, tries = values.sum(axis=1), weights.sum(axis=1)
    spread = 1.96 * np.sqrt(0.21 / tries)
    assert np.mean(np.abs(hits / tries - 0.7) <= spread) < 0.93


def test_intervals_of_medians_hold_the_true_one_as_often_as_they_say() -> None:
    values = np.random.default_rng(4).lognormal(0.0, 1.0, (4000, 41))
    figures = estimate_all(REACH_TIME, values)
    rank = median_rank(41)
    exact = scipy.stats.binom.cdf(41 - rank, 41, 0.5) - scipy.stats.binom.cdf(rank - 1, 41, 0.5)
    assert np.mean((figures.low <= 1.0) & (figures.high >= 1.0)) == pytest.approx(exact, abs=0.015)


def test_thousands_of_trials_need_no_resampling() -> None:
    values = np.random.default_rng(2).exponential(1.0, 20_000)
    figure = estimate(CONTACTS, values)
    expected = scipy.stats.t.interval(0.95, len(values) - 1, values.mean(), scipy.stats.sem(values))
    assert figure.method == "normal"
    assert (figure.low, figure.high) == pytest.approx(expected, rel=1e-3)
    part = estimate(CONTACTS, values[:5000])
    assert part.method == "bootstrap"
    expected = scipy.stats.t.interval(0.95, 4999, values[:5000].mean(), scipy.stats.sem(values[:5000]))
    assert (part.low, part.high) == pytest.approx(expected, abs=0.1 * (expected[1] - expected[0]))


@pytest.mark.parametrize("name", ["reached", "reach time", "contacts", "escape"])
def test_what_is_undefined_is_left_out(name: str) -> None:
    score = SCORES[name]
    draw = np.random.default_rng(6)
    values = draw.integers(0, 2, 40).astype(np.float64) if name == "reached" else draw.poisson(3.0, 40) * 1.0
    weights = values + 1.0 if score.weight else None
    bare = estimate(score, values, weights)
    # Undefined trials take part in the resampling without weight, so the ends scatter as its draws do.
    with_gaps = np.full(60, np.nan)
    places = draw.permutation(60)[:40]
    with_gaps[places] = values
    weights_with_gaps = None
    if weights is not None:
        weights_with_gaps = np.ones(60)
        weights_with_gaps[places] = weights
    figure = estimate(score, with_gaps, weights_with_gaps)
    assert (figure.value, figure.count, figure.method) == (pytest.approx(bare.value), 40, bare.method)
    width = bare.high - bare.low
    assert (figure.low, figure.high) == pytest.approx((bare.low, bare.high), abs=0.12 * width)


def test_who_does_not_arrive_within_the_run_counts_as_later_than_all() -> None:
    times = np.array([10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, math.inf, math.inf, math.inf])
    figure = estimate(REACH_TIME, times)
    assert figure.value == 60.0
    assert (figure.low, figure.high) == (30.0, math.inf)
    assert tell(REACH_TIME, figure) == "60.0 s [30.0 s, not within the run]"
    # By the sixth one half of twelve have arrived; the curve of waits says the same of waits cut off.
    assert estimate(REACH_TIME, np.append(times[:6], [math.inf] * 6)).value == 60.0
    assert estimate(REACH_TIME, np.append(times[:6], [math.inf] * 7)).value == math.inf
    nobody = estimate(REACH_TIME, np.full(9, math.inf))
    assert (nobody.value, nobody.low, nobody.high) == (math.inf, math.inf, math.inf)


def test_a_median_of_an_even_number_lies_between() -> None:
    assert estimate(REACH_TIME, np.array([1.0, 2.0, 4.0, 8.0])).value == 3.0


def test_figures_alone_are_those_of_each_setting() -> None:
    draw = np.random.default_rng(31)
    times = draw.lognormal(5.0, 0.8, (4, 9))
    assert values_of(REACH_TIME, times) == pytest.approx(np.median(times, axis=1))
    few = np.array([[1.0, 3.0], [5.0, np.nan]])
    assert values_of(REACH_TIME, few).tolist() == [2.0, 5.0]
    assert values_of(CONTACTS, times) == pytest.approx(times.mean(axis=1))


def test_an_interval_of_parts_of_a_whole_stays_among_them() -> None:
    """Of thousands of trials one of which has a part, the normal interval alone would begin below nought."""
    values = np.zeros((2, 6000))
    values[0, 17], values[1] = 0.25, 1.0
    values[1, 17] = 0.75
    few, most = estimate_all(REACHED, values)
    assert (few.low, most.high) == (0.0, 1.0)
    assert 0.0 < few.value < few.high < 3e-4
    assert 1.0 - 3e-4 < most.low < most.value < 1.0


def test_nothing_at_all_is_undefined() -> None:
    for score in (REACHED, REACH_TIME, CONTACTS):
        for values in (np.full(9, np.nan), np.empty(0)):
            figure = estimate(score, values)
            assert math.isnan(figure.value)
            assert not figure.has_interval
            assert (figure.count, figure.method) == (0, "nothing")
            assert tell(score, figure) == "undefined"
    assert estimate(ESCAPE, np.zeros(9), np.zeros(9)).method == "nothing"


def test_few_trials_give_a_figure_without_interval() -> None:
    for score, values in ((CONTACTS, [1.0, 2.0, 3.0, 6.0]), (REACH_TIME, [1.0, 2.0, 4.0, 9.0])):
        figure = estimate(score, np.array(values))
        assert figure.value == 3.0
        assert not figure.has_interval
        assert figure.method == "too few trials"
        assert estimate(score, np.array([*values, 2.5])).has_interval


def test_all_alike_and_all_or_none() -> None:
    figure = estimate(CONTACTS, np.full(9, 0.1))
    assert (figure.low, figure.high, figure.method) == (figure.value, figure.value, "all alike")
    # No trial was ever stuck: the share of trials that are bounds the share of the time.
    expected = scipy.stats.binomtest(0, 30).proportion_ci(0.95, method="wilson")
    never = estimate(STUCK, np.zeros(30), np.full(30, 600.0))
    assert (never.value, never.low, never.method) == (0.0, 0.0, "Wilson")
    assert never.high == pytest.approx(expected.high)
    always = estimate(ESCAPE, np.full(30, 2.0), np.full(30, 2.0))
    assert (always.low, always.high) == pytest.approx((1.0 - expected.high, 1.0))
    # One contact in every trial is no share of anything: the next trial may have three.
    for count in (0.0, 1.0):
        assert estimate(CONTACTS, np.full(30, count)).method == "all alike"
    # The aim can point away, so nothing bounds it.
    assert estimate(AIM, np.full(9, -3.0), np.full(9, 3.0)).method == "all alike"


def test_misuse_is_refused() -> None:
    with pytest.raises(ValueError, match="weights"):
        estimate(ESCAPE, np.ones(5))
    with pytest.raises(ValueError, match="weights"):
        estimate(CONTACTS, np.ones(5), np.ones(5))
    with pytest.raises(ValueError, match="infinite"):
        estimate(CONTACTS, np.array([1.0, math.inf]))
    with pytest.raises(ValueError, match="negative"):
        estimate(ESCAPE, np.ones(5), -np.ones(5))
    with pytest.raises(ValueError, match="settings"):
        estimate_all(ESCAPE, np.ones((2, 5)), np.ones((2, 4)))


def test_every_setting_alone_is_as_among_others() -> None:
    draw = np.random.default_rng(11)
    weights = draw.poisson(2.0, (700, 12)).astype(np.float64)
    values = weights * draw.random((700, 12))
    together = estimate_all(AIM, values, weights, seed=9)
    for number in (0, 1, 350, 699):
        alone = estimate(AIM, values[number], weights[number], seed=9)
        assert together[number] == Estimate(
            *(pytest.approx(figure) for figure in (alone.value, alone.low, alone.high)),
            alone.count,
            alone.method,
        )
    assert [figure.value for figure in together] == pytest.approx(values_of(AIM, values, weights))


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.sampled_from([0.0, 0.25, 0.5, 1.0, 3.0, math.nan]), min_size=1, max_size=12),
    st.sampled_from(["reached", "contacts", "reach time", "escape"]),
)
def test_an_interval_holds_its_own_figure_and_lies_among_the_values(values: list[float], name: str) -> None:
    score = SCORES[name]
    array = np.array(values)
    if name == "reached":
        array = np.minimum(array, 1.0)
    figure = estimate(score, array, np.full(len(values), 3.0) if score.weight else None)
    defined = array[~np.isnan(array)] / (3.0 if score.weight else 1.0)
    assert figure.count == defined.size
    if figure.has_interval:
        slack = 1e-12
        assert figure.low - slack <= figure.value <= figure.high + slack
        if figure.method != "Wilson":
            assert defined.min() - slack <= figure.low
            assert figure.high <= defined.max() + slack


def test_the_words_of_figures() -> None:
    def figure(value: float, low: float, high: float) -> Estimate:
        return Estimate(value, low, high, 100, "bootstrap")

    assert tell(REACHED, figure(0.94, 0.89, 0.97)) == "94 % [89, 97]"
    assert tell(REACHED, figure(0.9996, 0.98, 1.0)) == ">99.9 % [98, 100]"
    assert tell(REACHED, figure(0.004, 0.0, 0.02)) == "0.4 % [0, 2]"
    # a tenth of a percent only next to none and all
    ends = (
        (0.009, "0.9 %"),
        (0.01, "1 %"),
        (0.016, "2 %"),
        (0.984, "98 %"),
        (0.99, "99 %"),
        (0.991, "99.1 %"),
    )
    for value, words in ends:
        assert tell(REACHED, figure(value, math.nan, math.nan)) == words
    assert tell(REACH_TIME, figure(412.0, 370.0, 451.0)) == "6 min 52 s [6 min 10 s, 7 min 31 s]"
    assert tell(CONTACTS, figure(2.314, 2.1, math.nan)) == "2.31"
    assert tell(REACH_TIME, figure(math.inf, math.inf, math.inf)) == "not within the run"


@pytest.mark.parametrize("size", [1e-13, 1.0, 1e8])
def test_an_estimate_is_as_large_as_its_values_and_not_as_its_weights(size: float) -> None:
    draw = np.random.default_rng(9)
    values = draw.gamma(2.0, 1.0, 20)
    plain, scaled = estimate(CONTACTS, values), estimate(CONTACTS, size * values)
    assert (scaled.method, scaled.count) == ("bootstrap", 20)
    for name in ("value", "low", "high"):
        assert getattr(scaled, name) == pytest.approx(size * getattr(plain, name), rel=1e-9)
    weights = draw.poisson(3.0, 20) + 1.0
    parts = draw.binomial(weights.astype(int), 0.6).astype(np.float64)
    assert estimate(ESCAPE, size * parts, size * weights).method == "bootstrap"
    some, same = estimate(ESCAPE, parts, weights), estimate(ESCAPE, size * parts, size * weights)
    assert (same.low, same.value, same.high) == pytest.approx((some.low, some.value, some.high), rel=1e-9)
    # a third of each is not the same to the last digit
    assert estimate(ESCAPE, size * weights / 3.0, size * weights).method == "all alike"
    assert estimate(CONTACTS, size * np.full(7, 0.1)).method == "all alike"


def test_parts_below_nought_are_no_parts_of_a_whole() -> None:
    assert estimate(ESCAPE, np.array([0.5, -0.5, 0.0, 0.0, 0.0, 0.0]), np.ones(6)).method == "bootstrap"
    with np.errstate(divide="raise", invalid="raise"):
        assert estimate(ESCAPE, np.zeros(6), np.zeros(6)).method == "nothing"


def test_five_times_have_their_first_and_last_as_an_interval_of_the_median() -> None:
    found = estimate(REACH_TIME, np.array([4.0, 2.0, 5.0, 1.0, 3.0]))
    assert found == Estimate(3.0, 1.0, 5.0, 5, "bootstrap")
    assert estimate(REACH_TIME, np.array([4.0, 2.0, 5.0, 1.0])).method == "too few trials"
