"""Two settings that met on the same repeats: by how much one is better than the other, and whether it is.

The one must have been picked without these repeats, or ``picked`` tells from among how many it was picked by
them; then the test is made so much the stricter, after Bonferroni.
"""

import math
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray
from arena.studies.statistics.comparison import LEVEL, pair_tests
from arena.studies.statistics.estimates import FEWEST, Estimate, estimate_all, sums_of, values_of
from arena.studies.statistics.resampling import MOST_RESAMPLED, RESAMPLES, influence, widened
from arena.studies.trial_scores import Score


@dataclass(frozen=True)
class HeadToHead:
    """One setting against another.

    Attributes:
        one, other: the figure of each, on the repeats in which both ran.
        difference: of the figures, one minus other [unit of the score]; nan where either is not known.
        low, high: the 95 % interval of that difference; nan where there is none.
        p_value: of the paired test, two-sided, corrected for the choice of the one.
        test: name of that test.
        repeats: how many there were.
        is_better: whether the one is told better at 5 %.
    """

    one: Estimate
    other: Estimate
    difference: float
    low: float
    high: float
    p_value: float
    test: str
    repeats: int
    is_better: bool


def head_to_head(
    score: Score, values: FloatArray, weights: FloatArray | None = None, seed: int = 0, picked: int = 1
) -> HeadToHead:
    """Compare the first of two settings, ``values`` and ``weights`` (2, repeats), with the second.

    The interval is Student's of the paired differences, for a ratio of how far each repeat pulls it; for a
    median it is a bootstrap's that resamples pairs. Raises ValueError as
    :func:`arena.studies.statistics.estimates.estimate_all` does.
    """
    estimates = estimate_all(score, values, weights, seed)
    repeats = values.shape[1]
    pairs = pair_tests(score, values, weights, 1)
    p_value = min(float(pairs.p_value[0]) * picked, 1.0) if not math.isnan(pairs.p_value[0]) else math.nan
    with np.errstate(invalid="ignore"):
        difference = float(estimates.value[0] - estimates.value[1])
    low, high = math.nan, math.nan
    if math.isfinite(difference) and repeats >= FEWEST:
        if score.summary == "median":
            low, high = _median_interval(score, values, seed)
        else:
            low, high = _ratio_interval(score, values, weights, difference)
    is_better = p_value <= LEVEL and not bool(pairs.is_worse[0])
    return HeadToHead(
        estimates[0], estimates[1], difference, low, high, p_value, pairs.test, repeats, bool(is_better)
    )


def _ratio_interval(
    score: Score, values: FloatArray, weights: FloatArray | None, difference: float
) -> tuple[float, float]:
    pulls = influence(*sums_of(score, values, weights))
    repeats = values.shape[1]
    reach = math.sqrt(float(((pulls[0] - pulls[1]) ** 2).sum())) / repeats
    reach *= float(widened(np.array([repeats]))[0])
    return difference - reach, difference + reach


def _median_interval(score: Score, values: FloatArray, seed: int) -> tuple[float, float]:
    values = values[:, :MOST_RESAMPLED]
    draws = np.random.default_rng(seed).integers(0, values.shape[1], (RESAMPLES // 10, values.shape[1]))
    with np.errstate(invalid="ignore"):
        found = np.array([np.subtract(*values_of(score, values[:, draw])) for draw in draws])
    if not np.isfinite(found).all():
        return math.nan, math.nan
    low, high = np.percentile(found, [2.5, 97.5])
    return float(low), float(high)
