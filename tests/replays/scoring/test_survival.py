"""Waits, shares and directions against general statistics libraries and a published example."""

import math

import numpy as np
import pytest
import scipy.stats
from lifelines import KaplanMeierFitter
from numpy.typing import NDArray

from replays.scoring.confidence_intervals import share_interval
from replays.scoring.directions import resultant_length
from replays.scoring.survival import wait_curve


def cut_off_waits(seed: int) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    draw = np.random.default_rng(seed)
    count = int(draw.integers(1, 60))
    # Whole numbers, so that waits that end and waits that are cut off fall on the same time.
    waits = np.ceil(draw.exponential(20.0, count))
    limit = np.ceil(draw.uniform(5.0, 40.0, count))
    return np.minimum(waits, limit), waits <= limit


def test_the_curve_of_a_published_example() -> None:
    """Remission of leukaemia under 6-mercaptopurine: Freireich et al., Blood 21 (1963), 21 patients.

    The data and the estimates 0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482 are in every textbook of
    survival analysis; median 23 weeks. Both from memory.
    """
    waits = np.array(
        [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35], dtype=np.float64
    )
    curve = wait_curve(waits, np.arange(21) < 9)
    np.testing.assert_array_equal(curve.times, [6, 7, 10, 13, 16, 22, 23])
    expected = [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    np.testing.assert_allclose(curve.waiting, expected, atol=5e-5)
    assert curve.median == 23.0


@pytest.mark.parametrize("seed", range(40))
def test_the_curve_against_two_libraries(seed: int) -> None:
    waits, ended = cut_off_waits(seed)
    curve = wait_curve(waits, ended)
    fitted = KaplanMeierFitter().fit(waits, ended)
    if not ended.any():
        assert curve.times.size == 0
        assert curve.median is None
        return
    np.testing.assert_allclose(curve.waiting, np.ravel(fitted.predict(curve.times)), atol=1e-12)
    data = scipy.stats.CensoredData(uncensored=waits[ended], right=waits[~ended])
    np.testing.assert_allclose(
        curve.waiting, scipy.stats.ecdf(data).sf.evaluate(curve.times), rtol=0, atol=1e-12
    )
    # Where a product of shares is one half but for rounding the library decides by the last digit.
    if not np.isclose(curve.waiting, 0.5, atol=1e-9).any():
        assert (math.inf if curve.median is None else curve.median) == fitted.median_survival_time_


@pytest.mark.parametrize("count", range(1, 60))
def test_the_median_of_waits_all_seen_to_their_end_is_the_lower_median(count: int) -> None:
    waits = np.random.default_rng(count).permutation(count).astype(np.float64)
    assert wait_curve(waits, np.ones(count, dtype=bool)).median == np.sort(waits)[(count - 1) // 2]


def test_nothing_at_all_has_no_median() -> None:
    assert wait_curve(np.zeros(0), np.zeros(0, dtype=bool)).median is None
    assert wait_curve(np.array([3.0, 5.0]), np.array([False, False])).median is None


@pytest.mark.parametrize("trials", [1, 2, 3, 8, 20, 101])
def test_the_interval_against_a_library(trials: int) -> None:
    for hits in range(trials + 1):
        expected = scipy.stats.binomtest(hits, trials).proportion_ci(0.95, method="wilson")
        assert share_interval(hits, trials) == pytest.approx((expected.low, expected.high), abs=1e-12)


def test_none_and_all_are_ends_to_the_last_digit() -> None:
    """Where the formula is off by rounding, a share would be below 0 or above 1."""
    for trials in range(1, 400):
        nothing, everything = share_interval(0, trials), share_interval(trials, trials)
        assert nothing is not None
        assert everything is not None
        assert (nothing[0], everything[1]) == (0.0, 1.0)


def test_no_trial_has_no_interval() -> None:
    assert share_interval(0, 0) is None


@pytest.mark.parametrize("seed", range(20))
def test_the_resultant_against_a_library(seed: int) -> None:
    draw = np.random.default_rng(seed)
    angles = draw.vonmises(draw.uniform(-3, 3), draw.uniform(0, 3), 50)
    vectors = np.column_stack((np.cos(angles), np.sin(angles)))
    expected = scipy.stats.directional_stats(vectors).mean_resultant_length
    assert resultant_length(angles) == pytest.approx(expected, abs=1e-12)
    assert 1 - scipy.stats.circvar(angles) == pytest.approx(expected, abs=1e-12)


def test_no_angle_has_no_resultant() -> None:
    assert resultant_length(np.zeros(0)) is None
