"""What a score comes to at each level of one factor, whatever the others are."""

from dataclasses import replace

import numpy as np
from scipy import special

from agents.arrays import FloatArray, IntArray
from arena.studies.statistics.estimates import FEWEST, Estimates, estimate_all, sums_of
from arena.studies.statistics.factors import Factor, Table
from arena.studies.statistics.resampling import MOST_RESAMPLED, resample_counts, widened
from arena.studies.trial_scores import Score

MOST_LEVELS = 24
"""Levels of a factor beyond which those of drawn settings are thrown together into half as many."""

_RESAMPLES = 500
# Weights of resampled trials that are worked out at a time: 32 MB.
_AT_A_TIME = 4_000_000


def margin(
    score: Score, values: FloatArray, weights: FloatArray | None, table: Table, number: int, seed: int = 0
) -> tuple[Factor, Estimates]:
    """The factor ``number`` of the table, perhaps binned, and the estimate at each of its levels.

    ``values`` and ``weights`` are (settings, repeats) as for :func:`estimates.estimate_all`. All trials at a
    level are thrown together. The repeats are resampled, since the same repeat of several settings had the
    same luck. Drawn settings are resampled too, since they differ in the other factors; the distances of the
    ends of both intervals from the figure add up by their squares, as the errors of two causes do. There is
    no interval for fewer than FEWEST repeats, or drawn settings.

    Zou and Donner, "Construction of confidence limits about effect measures: a general approach", Statistics
    in Medicine 27 (2008), for the squares; from memory.
    """
    is_grid = table.is_grid
    if not is_grid and len(table.factors[number].levels) > MOST_LEVELS:
        table = table.binned(number, MOST_LEVELS // 2)
    factor, places = table.factors[number], table.places[:, number]
    if len(table) == len(factor.levels) and len(table.factors) == 1:
        order = np.argsort(places)
        return factor, estimate_all(score, values[order], None if weights is None else weights[order], seed)
    rows = [np.flatnonzero(places == level) for level in range(len(factor.levels))]
    if score.summary == "median":
        return factor, _medians(score, values, rows, is_grid, seed)
    above, below = sums_of(score, values, weights)
    pooled = replace(score, summary="ratio", weight="trials")
    by_repeat = [np.stack([array[row].sum(axis=0) for row in rows]) for array in (above, below)]
    found = estimate_all(pooled, by_repeat[0], by_repeat[1], seed)
    if not is_grid:
        by_setting = [_padded([array[row].sum(axis=1) for row in rows], 0.0) for array in (above, below)]
        found = _of_both(found, estimate_all(pooled, by_setting[0], by_setting[1], seed))
        found = replace(
            found,
            low=np.maximum(found.low, 0.0) if (above >= 0.0).all() else found.low,
            high=np.minimum(found.high, 1.0) if score.unit == "%" else found.high,
        )
    count = np.array([(below[row] > 0.0).sum() for row in rows])
    return factor, replace(found, count=count)


def _of_both(one: Estimates, other: Estimates) -> Estimates:
    """The same figures with the errors of two causes, either of which is known alone."""
    low = _farther(one.value, one.low, other.low, -1.0)
    high = _farther(one.value, one.high, other.high, 1.0)
    has_none = np.isnan(low) | np.isnan(high)
    method = []
    for words, others, lacks in zip(one.method, other.method, has_none, strict=True):
        lacking = "nothing" if "nothing" in (words, others) else "too few trials"
        method.append(lacking if lacks else words if words == others else "bootstrap")
    return replace(
        one,
        low=np.where(has_none, np.nan, low),
        high=np.where(has_none, np.nan, high),
        method=tuple(method),
    )


def _farther(value: FloatArray, one: FloatArray, other: FloatArray, side: float) -> FloatArray:
    """The end to one ``side``, -1 or 1, whose distance from the value is that of two ends by their squares.

    nan where either of them is.
    """
    with np.errstate(invalid="ignore"):
        reach = [np.maximum(side * (end - value), 0.0) for end in (one, other)]
        found = value + side * np.hypot(*reach)
    # From a time without end nothing has a distance.
    found = np.where(np.isinf(value), np.minimum(one, other), found)
    return np.asarray(np.where(np.isnan(one) | np.isnan(other), np.nan, found))


def _padded(arrays: list[FloatArray], filling: float) -> FloatArray:
    longest = max(len(array) for array in arrays)
    return np.stack([np.pad(array, (0, longest - len(array)), constant_values=filling) for array in arrays])


def _medians(score: Score, values: FloatArray, rows: list[IntArray], is_grid: bool, seed: int) -> Estimates:
    pooled = estimate_all(score, _padded([values[row].ravel() for row in rows], np.nan))
    by_repeat = _medians_of(pooled, values, rows, 1, seed)
    if is_grid:
        return by_repeat
    found = _of_both(by_repeat, _medians_of(pooled, values, rows, 0, seed))
    return replace(found, low=np.maximum(found.low, np.nanmin(values, initial=np.inf)))


def _medians_of(
    pooled: Estimates, values: FloatArray, rows: list[IntArray], axis: int, seed: int
) -> Estimates:
    """The medians of all trials at each level, by resampling settings (axis 0) or repeats (1)."""
    low, high = np.full_like(pooled.low, np.nan), np.full_like(pooled.high, np.nan)
    method = list(pooled.method)
    for level, row in enumerate(rows):
        mine = values[row]
        clusters = np.indices(mine.shape)[axis]
        defined = ~np.isnan(mine)
        count = len(np.unique(clusters[defined]))
        if count >= FEWEST:
            low[level], high[level] = _clustered(mine[defined], clusters[defined], count, seed)
        elif pooled.count[level]:
            method[level] = "too few trials"
    return replace(pooled, low=low, high=high, method=tuple(method))


def _clustered(values: FloatArray, clusters: IntArray, count: int, seed: int) -> tuple[float, float]:
    """Interval of the median of values of which whole clusters are resampled."""
    _, clusters = np.unique(clusters, return_inverse=True)
    # very many clusters are taken in bundles
    count = min(count, MOST_RESAMPLED)
    clusters = clusters % count
    order = np.argsort(values, kind="stable")
    ascending, clusters = values[order], clusters[order]
    counts = resample_counts(count, _RESAMPLES, seed)
    medians = []
    step = max(1, _AT_A_TIME // len(values))
    for first in range(0, _RESAMPLES, step):
        weight = np.cumsum(counts[first : first + step, :][:, clusters], axis=1)
        medians.append((weight < weight[:, -1:] / 2.0).sum(axis=1))
    places = np.sort(np.concatenate(medians))
    tail = float(special.ndtr(-widened(np.array([count]))[0]))
    # Ends are values that were seen, so that one of them may be "not within the run".
    left = int(places[int(np.floor(tail * (_RESAMPLES - 1)))])
    right = int(places[int(np.ceil((1.0 - tail) * (_RESAMPLES - 1)))])
    return float(ascending[left]), float(ascending[right])
