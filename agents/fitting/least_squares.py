"""The most likely values behind noisy readings, given how far each may lie from where it is thought to be.

Unknowns are counted in standard deviations of what is known beforehand, so that each is normal about nought
with a variance of one; the readings have normal errors of known size. The most likely unknowns x then make

    sum over readings of ((y - f(x)) / sigma)²  +  sum over unknowns of x²

least, and where f is straight enough their covariance is (J' W J + 1)^-1, J the slopes of f and W = 1 /
sigma². Source: Gelman et al., Bayesian Data Analysis, 3rd edition 2013, section 14.8 (from memory).
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from agents.arrays import FloatArray

# Step by which slopes are taken, in standard deviations of an unknown: wide enough that the steps of a
# pulse do not show.
SLOPE_STEP = 0.2
# A misfit that is rarer than this by chance may be a hollow beside the true one; then it is sought from other
# places as well.
DOUBTFUL = 0.02
STARTS = 3

Predict = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Solution:
    """``unknowns`` (n,), their ``covariance`` (n, n), ``fitted`` readings (m,), their ``slopes`` (m, n)."""

    unknowns: FloatArray
    covariance: FloatArray
    fitted: FloatArray
    slopes: FloatArray


def slopes_of(predict: Predict, unknowns: FloatArray) -> FloatArray:
    """Return the slopes (m, n) of predicted readings against ``unknowns`` (n,), by central differences."""
    columns = []
    for number in range(len(unknowns)):
        step = np.zeros(len(unknowns))
        step[number] = SLOPE_STEP
        columns.append((predict(unknowns + step) - predict(unknowns - step)) / (2.0 * SLOPE_STEP))
    return np.stack(columns, axis=1)


def most_likely(predict: Predict, readings: FloatArray, errors: FloatArray, count: int) -> Solution:
    """Return the most likely of ``count`` unknowns for ``readings`` (m,) with standard ``errors`` (m,)."""

    def misfit(unknowns: FloatArray) -> FloatArray:
        return np.concatenate([(predict(unknowns) - readings) / errors, unknowns])

    def misfit_slopes(unknowns: FloatArray) -> FloatArray:
        return np.concatenate([slopes_of(predict, unknowns) / errors[:, None], np.eye(count)])

    best = None
    for start in _starts(count):
        found = optimize.least_squares(misfit, start, misfit_slopes, method="trf", xtol=1e-6, max_nfev=60)
        if best is None or found.cost < best.cost:
            best = found
        # twice the cost is chi-square with as many degrees of freedom as there are readings
        if stats.chi2.sf(2.0 * best.cost, len(readings)) > DOUBTFUL:
            break
    assert best is not None
    unknowns: FloatArray = best.x
    slopes = slopes_of(predict, unknowns)
    return Solution(unknowns, covariance_of(slopes, errors), predict(unknowns), slopes)


def _starts(count: int) -> Iterator[FloatArray]:
    """Nought, and then further places to begin from, the same ones each time."""
    yield np.zeros(count)
    for row in np.random.default_rng(0).normal(size=(STARTS, count)):
        yield 0.7 * row


def covariance_of(slopes: FloatArray, errors: FloatArray) -> FloatArray:
    """Return the covariance (n, n) of unknowns after readings with ``slopes`` (m, n), ``errors`` (m,)."""
    weighed = slopes / errors[:, None]
    return np.linalg.inv(weighed.T @ weighed + np.eye(slopes.shape[1])).astype(np.float64)
