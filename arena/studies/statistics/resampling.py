"""The bootstrap, for the repeats of many settings at once.

A resample draws as many trials as there are, with replacement; how often it draws each of them is one row of
a table of counts, so that the resampled sums of all settings are a product of two matrices.
"""

import numpy as np
from scipy import special

from agents.arrays import FloatArray, IntArray

RESAMPLES = 2000
"""Resamples drawn for an interval."""

MOST_RESAMPLED = 5000
"""Trials that are resampled one by one; more are thrown together first, or have a limit that needs none."""

_SHARE = 0.975
# Resampled figures worked out at a time, so that a long sweep does not fill the memory: 8 MB.
_AT_A_TIME = 1_000_000


def resample_counts(trials: int, resamples: int, seed: int) -> FloatArray:
    """How often each of ``trials`` is drawn in each resample: whole numbers (resamples, trials)."""
    draws = np.random.default_rng(seed).integers(0, trials, (resamples, trials))
    draws += np.arange(resamples)[:, None] * trials
    counts = np.bincount(draws.ravel(), minlength=resamples * trials)
    return counts.reshape(resamples, trials).astype(np.float64)


def bundled(values: FloatArray, most: int = MOST_RESAMPLED) -> FloatArray:
    """Sums of neighbouring trials (..., trials), so that no more than ``most`` are left to be resampled.

    Sums of as many independent trials each are independent and alike, as the trials are.
    """
    trials = values.shape[-1]
    if trials <= most:
        return values
    size = -(-trials // most)
    padded = np.pad(values, [(0, 0)] * (values.ndim - 1) + [(0, -trials % size)])
    return padded.reshape(*values.shape[:-1], -1, size).sum(axis=-1)


def ratios(numerators: FloatArray, denominators: FloatArray) -> FloatArray:
    """The ratio of the sums over the last axis; nan where the lower one is 0."""
    above, below = numerators.sum(axis=-1), denominators.sum(axis=-1)
    return _divided(above, below)


def resampled_ratios(numerators: FloatArray, denominators: FloatArray, counts: FloatArray) -> FloatArray:
    """The ratios of the sums (settings, trials) in each resample: (settings, resamples), nan where 0 / 0."""
    return _divided(numerators @ counts.T, denominators @ counts.T)


def _divided(above: FloatArray, below: FloatArray) -> FloatArray:
    return np.divide(above, below, out=np.full_like(above, np.nan), where=below > 0.0)


def influence(numerators: FloatArray, denominators: FloatArray) -> FloatArray:
    """How far each trial pulls the ratio of its setting: (settings, trials), summing to 0 along the trials.

    u = (numerator − ratio · denominator) / mean of the denominators; with denominators of 1 the distance from
    the mean. The ratio's variance is sum(u²) / n² to first order. 0 where the ratio is undefined.

    Efron and Tibshirani, An Introduction to the Bootstrap (1993), chapter 21, from memory.
    """
    ratio = ratios(numerators, denominators)
    middle = denominators.mean(axis=-1)
    pull = numerators - np.nan_to_num(ratio)[..., None] * denominators
    return np.divide(pull, middle[..., None], out=np.zeros_like(pull), where=middle[..., None] > 0.0)


def widened(count: IntArray) -> FloatArray:
    """The normal deviate whose tails, of a bootstrap distribution, hold 95 % of ``count`` trials' means.

    sqrt(n / (n − 1)) · t, with t the 97.5 % point of Student's distribution with n − 1 degrees of freedom:
    the bootstrap alone gives intervals too narrow where trials are few.

    Hesterberg, "What teachers should know about the bootstrap", The American Statistician 69 (2015), the
    expanded percentile interval; from memory.
    """
    free = np.maximum(count - 1, 1)
    return np.asarray(np.sqrt(count / free) * special.stdtrit(free, _SHARE))


def normal_interval(value: FloatArray, pulls: FloatArray, count: IntArray) -> tuple[FloatArray, FloatArray]:
    """Interval (settings,) from the pulls (settings, trials) alone: what the bootstrap comes to for many."""
    spread = np.sqrt((pulls**2).sum(axis=1)) / pulls.shape[1] * widened(count)
    return value - spread, value + spread


def bca_interval(
    numerators: FloatArray, denominators: FloatArray, count: IntArray, seed: int
) -> tuple[FloatArray, FloatArray]:
    """The interval (settings,) that holds the ratio of the sums with 95 % confidence.

    ``numerators`` and ``denominators`` are (settings, trials), ``count`` (settings,) the trials of each that
    say something. Percentiles of the resampled ratios, corrected for their bias and for skewness (BCa), at
    levels widened for few trials. All settings are resampled alike.

    Efron, "Better bootstrap confidence intervals", J. Am. Stat. Assoc. 82 (1987).
    """
    counts = resample_counts(numerators.shape[1], RESAMPLES, seed)
    low, high = np.empty(len(numerators)), np.empty(len(numerators))
    step = max(1, _AT_A_TIME // RESAMPLES)
    for first in range(0, len(numerators), step):
        part = slice(first, first + step)
        low[part], high[part] = _bca(numerators[part], denominators[part], count[part], counts)
    return low, high


def _bca(
    numerators: FloatArray, denominators: FloatArray, count: IntArray, counts: FloatArray
) -> tuple[FloatArray, FloatArray]:
    value = ratios(numerators, denominators)[:, None]
    resampled = resampled_ratios(numerators, denominators, counts)
    # A resample that drew no trial that says something says nothing either way.
    resampled = np.where(np.isnan(resampled), value, resampled)
    resampled.sort(axis=1)
    # Sums in another order differ in their last digits, and what is the value must count as the value.
    slack = 1e-12 * np.maximum(np.abs(value), np.abs(resampled).max(axis=1, keepdims=True))
    below = (resampled < value - slack).mean(axis=1)
    alike = (np.abs(resampled - value) <= slack).mean(axis=1)
    margin = 0.5 / resampled.shape[1]
    bias = special.ndtri(np.clip(below + 0.5 * alike, margin, 1.0 - margin))
    pulls = influence(numerators, denominators)
    squares = (pulls**2).sum(axis=1)
    cubes = (pulls**3).sum(axis=1)
    skew = np.divide(cubes, 6.0 * squares**1.5, out=np.zeros_like(cubes), where=squares > 0.0)
    deviate = widened(count)
    low, high = (_at_level(resampled, _bca_level(bias, skew, side * deviate)) for side in (-1.0, 1.0))
    return low, high


def _bca_level(bias: FloatArray, skew: FloatArray, deviate: FloatArray) -> FloatArray:
    shifted = bias + deviate
    turned = 1.0 - skew * shifted
    # Where the correction runs away nothing but the end of the resampled range is left.
    level = special.ndtr(bias + shifted / np.where(turned > 0.0, turned, 1.0))
    return np.where(turned > 0.0, level, (shifted > 0.0).astype(np.float64))


def _at_level(ascending: FloatArray, level: FloatArray) -> FloatArray:
    """The percentile (settings,) of each row at its level, linear between neighbours."""
    place = level * (ascending.shape[1] - 1)
    left = np.floor(place).astype(np.int64)
    right = np.minimum(left + 1, ascending.shape[1] - 1)
    rows = np.arange(len(ascending))
    return ascending[rows, left] + (place - left) * (ascending[rows, right] - ascending[rows, left])


def median_rank(count: int) -> int:
    """Rank from 1 of the value that is the lower end of the median's 95 % interval; from 5 values on.

    The upper end is as many from the top. The distribution of a resampled median is known without drawing:
    the m-th smallest of n values drawn with replacement is at most the k-th smallest of the n when at least m
    of the draws are, P = P(Binomial(n, k / n) >= m). The level is widened for few values.

    Efron, "Bootstrap methods: another look at the jackknife", Ann. Stat. 7 (1979), section 3.
    """
    level = float(special.ndtr(-widened(np.array([count]))[0]))
    middle = (count + 1) // 2
    ranks = np.arange(1, count)
    at_most = special.bdtrc(middle - 1, count, ranks / count)
    return int(np.searchsorted(at_most, level)) + 1


def midranks(values: FloatArray) -> FloatArray:
    """Ranks from 1 along the last axis, ascending; equal values share the mean of theirs. No nan."""
    order = np.argsort(values, axis=-1, kind="stable")
    ascending = np.take_along_axis(values, order, axis=-1)
    places = np.broadcast_to(np.arange(values.shape[-1]), values.shape)
    is_new = np.ones(values.shape, dtype=np.bool_)
    is_new[..., 1:] = ascending[..., 1:] != ascending[..., :-1]
    first = np.maximum.accumulate(np.where(is_new, places, 0), axis=-1)
    is_last = np.ones(values.shape, dtype=np.bool_)
    is_last[..., :-1] = is_new[..., 1:]
    backwards = np.where(is_last, places, values.shape[-1])[..., ::-1]
    last = np.minimum.accumulate(backwards, axis=-1)[..., ::-1]
    ranks = np.empty(values.shape)
    np.put_along_axis(ranks, order, (first + last) / 2.0 + 1.0, axis=-1)
    return ranks
