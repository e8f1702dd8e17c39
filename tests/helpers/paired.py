"""A paired bootstrap of the difference of two settings, for the lessons of the shipped studies."""

import math

import numpy as np
from scipy import special

from agents.arrays import FloatArray
from arena.studies.statistics.estimates import FEWEST, Estimate, sums_of, values_of
from arena.studies.statistics.resampling import RESAMPLES, bundled, resample_counts, resampled_ratios, widened
from arena.studies.trial_scores import Score


def _medians(score: Score, values: FloatArray, seed: int) -> FloatArray:
    """Medians (settings, resamples); all settings draw the same repeats."""
    draws = np.random.default_rng(seed).integers(0, values.shape[1], (RESAMPLES, values.shape[1]))
    return np.stack([values_of(score, values[:, draw]) for draw in draws], axis=1)


def difference(
    score: Score, values: FloatArray, weights: FloatArray | None = None, seed: int = 0
) -> Estimate:
    """The figure of the first of two settings less that of the second, with its interval.

    ``values`` and ``weights`` are (2, repeats). A paired bootstrap: both draw the same repeats; percentiles,
    at levels widened for few trials. Nothing corrects it for other comparisons. No interval where times that
    are not within the run leave none.
    """
    figure = values_of(score, values, weights)
    with np.errstate(invalid="ignore"):
        value = float(figure[0] - figure[1])
    defined = ~np.isnan(values) if weights is None else ~np.isnan(values) & (weights > 0.0)
    count = int(defined.sum(axis=1).min())
    if count < FEWEST or math.isnan(value):
        return Estimate(value, math.nan, math.nan, count, "nothing" if count == 0 else "too few trials")
    if score.summary == "median":
        resampled = _medians(score, values, seed)
    else:
        above, below = (bundled(one) for one in sums_of(score, values, weights))
        resampled = resampled_ratios(above, below, resample_counts(above.shape[1], RESAMPLES, seed))
    with np.errstate(invalid="ignore"):
        differences = resampled[0] - resampled[1]
    tail = float(special.ndtr(-widened(np.array([count]))[0]))
    if np.isfinite(differences).all():
        low, high = np.quantile(differences, [tail, 1.0 - tail])
    else:
        low = high = math.nan
    return Estimate(value, float(low), float(high), count, "bootstrap")
