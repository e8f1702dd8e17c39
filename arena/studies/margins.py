"""What a score comes to at each level of one factor, whatever the others are."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from arena.studies.estimates import FEWEST, Estimates, estimate_all, sums_of
from arena.studies.factors import Factor, Table
from arena.studies.resampling import resample_counts, widened
from arena.studies.scores import Score

__all__ = ["MOST_LEVELS", "margin"]

Floats = NDArray[np.float64]

MOST_LEVELS = 24
"""Levels of a factor beyond which those of drawn settings are thrown together into half as many."""

_RESAMPLES = 500
# Weights of resampled trials that are worked out at a time: 32 MB.
_AT_A_TIME = 4_000_000


def margin(
    score: Score, values: Floats, weights: Floats | None, table: Table, number: int, seed: int = 0
) -> tuple[Factor, Estimates]:
    """The factor ``number`` of the table, perhaps binned, and the estimate at each of its levels.

    ``values`` and ``weights`` are (settings, repeats) as for :func:`estimates.estimate_all`. All trials at a
    level are thrown together. In a grid the repeats are resampled, since the same repeat of several settings
    had the same luck; of drawn settings the settings are, since they differ in the other factors.
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
    if is_grid:
        grouped = [np.stack([array[row].sum(axis=0) for row in rows]) for array in (above, below)]
    else:
        grouped = [_padded([array[row].sum(axis=1) for row in rows]) for array in (above, below)]
    found = estimate_all(replace(score, summary="ratio", weight="trials"), grouped[0], grouped[1], seed)
    count = np.array([(below[row] > 0.0).sum() for row in rows])
    return factor, replace(found, count=count)


def _padded(arrays: list[Floats]) -> Floats:
    longest = max(len(array) for array in arrays)
    return np.stack([np.pad(array, (0, longest - len(array))) for array in arrays])


def _medians(
    score: Score, values: Floats, rows: list[NDArray[np.int64]], is_grid: bool, seed: int
) -> Estimates:
    pooled = estimate_all(score, _padded_with_nan([values[row].ravel() for row in rows]))
    low, high = np.full_like(pooled.low, np.nan), np.full_like(pooled.high, np.nan)
    method = list(pooled.method)
    for level, row in enumerate(rows):
        mine = values[row]
        clusters = np.indices(mine.shape)[1 if is_grid else 0]
        defined = ~np.isnan(mine)
        count = len(np.unique(clusters[defined]))
        if count >= FEWEST:
            low[level], high[level] = _clustered(mine[defined], clusters[defined], count, seed)
        elif pooled.count[level]:
            method[level] = "too few trials"
    return replace(pooled, low=low, high=high, method=tuple(method))


def _padded_with_nan(arrays: list[Floats]) -> Floats:
    longest = max(len(array) for array in arrays)
    return np.stack([np.pad(array, (0, longest - len(array)), constant_values=np.nan) for array in arrays])


def _clustered(values: Floats, clusters: NDArray[np.int64], count: int, seed: int) -> tuple[float, float]:
    """Interval of the median of values of which whole clusters are resampled."""
    _, clusters = np.unique(clusters, return_inverse=True)
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
