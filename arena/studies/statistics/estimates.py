"""What the repeats of a setting come to, with the interval that holds the true figure with 95 % confidence.

An interval needs no distribution of the values. Fewer than :data:`FEWEST` trials that say something give a
figure but no interval, except for a share of ones and noughts, which has one from the first trial on.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from agents.arrays import FloatArray, IntArray
from agents.text.units import plain_text
from arena.studies.statistics.resampling import bca_interval, influence, median_rank, normal_interval, ratios
from arena.studies.trial_scores import Score
from replays.scoring.confidence_intervals import share_interval
from replays.words import light_words, time_words

FEWEST = 5
"""Trials below which values other than ones and noughts give no interval."""

# Trials of one setting from which the bootstrap has nothing to add to the normal distribution.
_MOST_RESAMPLED = 5000

NOT_WITHIN = "not within the run"
"""What a time without end is called."""


@dataclass(frozen=True)
class Estimate:
    """A figure, and the ends of the interval that holds the true one with 95 % confidence.

    ``value`` is nan where no trial says anything, inf for a time that half of the trials do not keep within
    the run; ``low`` and ``high`` are nan where there is no interval. ``count`` is the number of trials that
    say something: those whose value is not nan and, for a ratio, whose weight is not 0. ``method`` is one of

    * ``Wilson``: share of ones and noughts, Wilson (1927); also a ratio of parts of a whole, or a share of
      several walkers, all of which came to the same end of its range, counted by trials;
    * ``bootstrap``: means and ratios (BCa, Efron 1987); medians (exact percentiles, Efron 1979);
    * ``normal``: what the bootstrap comes to for thousands of trials;
    * ``all alike``: every trial says the same;
    * ``too few trials``: figure without interval;
    * ``nothing``: no figure.
    """

    value: float
    low: float
    high: float
    count: int
    method: str

    @property
    def has_interval(self) -> bool:
        """Whether an interval is known."""
        return not (np.isnan(self.low) or np.isnan(self.high))


@dataclass(frozen=True)
class Estimates:
    """The estimates of many settings: ``value``, ``low``, ``high``, ``count`` (settings,), ``method``."""

    value: FloatArray
    low: FloatArray
    high: FloatArray
    count: IntArray
    method: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.value)

    def __getitem__(self, setting: int) -> Estimate:
        """The estimate of one setting. Raises IndexError where there is none."""
        return Estimate(
            float(self.value[setting]),
            float(self.low[setting]),
            float(self.high[setting]),
            int(self.count[setting]),
            self.method[setting],
        )

    def __iter__(self) -> Iterator[Estimate]:
        """One setting's estimate after the other."""
        return (self[setting] for setting in range(len(self)))


def estimate(score: Score, values: FloatArray, weights: FloatArray | None = None, seed: int = 0) -> Estimate:
    """The estimate of one setting from its ``values`` (repeats,) and, for a ratio, ``weights`` (repeats,)."""
    return estimate_all(score, values[None, :], None if weights is None else weights[None, :], seed)[0]


def estimate_all(
    score: Score, values: FloatArray, weights: FloatArray | None = None, seed: int = 0
) -> Estimates:
    """The estimates of all settings.

    ``values`` (settings, repeats), in the unit of the score's column, are the trials' values; nan is left
    out. ``weights``, of the same shape, from 0, are those of the column ``score.weight``; None unless the
    score is a ratio. ``seed`` is of the resampling, which is the same for all settings.

    Raises ValueError when weights are there for no ratio or lacking for one, when shapes differ, when a mean,
    share or ratio meets an infinite value, or a weight is negative.
    """
    if score.summary == "median":
        _check(score, values, weights)
        return _medians(np.asarray(values, dtype=np.float64))
    above, below = sums_of(score, values, weights)
    return _ratio_estimates(above, below, seed, score)


def values_of(score: Score, values: FloatArray, weights: FloatArray | None = None) -> FloatArray:
    """The figures alone (settings,), of the same arguments as those of :func:`estimate_all`."""
    if score.summary == "median":
        _check(score, values, weights)
        ascending = np.sort(values, axis=1)
        return _medians_of(ascending, (~np.isnan(values)).sum(axis=1))
    return ratios(*sums_of(score, values, weights))


def sums_of(
    score: Score, values: FloatArray, weights: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Two arrays (settings, repeats), the ratio of whose sums is the figure of a share, a mean or a ratio.

    A trial that says nothing is 0 in both; so is one where there are no trials at all. Raises ValueError as
    :func:`estimate_all` does, and for a median.
    """
    _check(score, values, weights)
    if score.summary == "median":
        raise ValueError("a median is no ratio of sums")
    if values.shape[1] == 0:
        # A trial that says nothing is as good as none, and has a mean.
        return np.zeros((len(values), 1)), np.zeros((len(values), 1))
    below = np.ones_like(values) if weights is None else weights
    defined = ~(np.isnan(values) | np.isnan(below))
    above, below = np.where(defined, values, 0.0), np.where(defined, below, 0.0)
    if not (np.isfinite(above).all() and np.isfinite(below).all()):
        raise ValueError(f"the score {score.name} has no use for an infinite value")
    if (below < 0.0).any():
        raise ValueError(f"the score {score.name} has a negative weight")
    return above, below


def _check(score: Score, values: FloatArray, weights: FloatArray | None) -> None:
    if (score.summary == "ratio") != (weights is not None):
        raise ValueError(f"weights and the score {score.name} do not go together")
    if values.ndim != 2 or (weights is not None and weights.shape != values.shape):
        raise ValueError("values and weights must be (settings, repeats)")


def _ratio_estimates(above: FloatArray, below: FloatArray, seed: int, score: Score) -> Estimates:
    value = ratios(above, below)
    count = (below > 0.0).sum(axis=1)
    low, high = np.full_like(value, np.nan), np.full_like(value, np.nan)
    # Of ones and noughts a trial counts as it is. Of other parts of a whole, where trials weigh alike, the
    # share of trials with any part is at least the mean part, so that its upper end bounds the mean's where
    # no trial has any; and likewise where all are whole. Counts are no parts, and have no such bound.
    is_share = ((above == 0.0) | (above == below)).all(axis=1) & (score.summary == "share")
    is_part = ((above >= 0.0) & (above <= below)).all(axis=1) & (score.unit == "%")
    by_wilson = (count > 0) & (is_share | (is_part & ((value == 0.0) | (value == 1.0))))
    for setting in np.flatnonzero(by_wilson):
        hits = round(value[setting] * count[setting])
        low[setting], high[setting] = _wilson(hits, int(count[setting]))
    pulls = influence(above, below)
    scale = np.maximum(np.abs(above).max(axis=1, initial=0.0), np.finfo(np.float64).tiny)
    is_alike = np.abs(pulls).max(axis=1, initial=0.0) <= 1e-12 * scale / np.maximum(
        below.mean(axis=1), 1e-300
    )
    enough = (count >= FEWEST) & ~by_wilson
    low[enough & is_alike] = high[enough & is_alike] = value[enough & is_alike]
    rest = np.flatnonzero(enough & ~is_alike)
    is_long = above.shape[1] > _MOST_RESAMPLED
    if rest.size and is_long:
        low[rest], high[rest] = normal_interval(value[rest], pulls[rest], count[rest])
        low[is_part], high[is_part] = np.maximum(low[is_part], 0.0), np.minimum(high[is_part], 1.0)
    elif rest.size:
        low[rest], high[rest] = bca_interval(above[rest], below[rest], count[rest], seed)
    words = np.select(
        [count == 0, by_wilson, ~enough, is_alike],
        ["nothing", "Wilson", "too few trials", "all alike"],
        "normal" if is_long else "bootstrap",
    )
    return Estimates(value, low, high, count, tuple(words.tolist()))


@lru_cache(maxsize=65536)
def _wilson(hits: int, trials: int) -> tuple[float, float]:
    interval = share_interval(hits, trials)
    assert interval is not None
    return interval


def _medians(values: FloatArray) -> Estimates:
    ascending = np.sort(values, axis=1)
    count = (~np.isnan(values)).sum(axis=1)
    value = _medians_of(ascending, count)
    low, high = np.full_like(value, np.nan), np.full_like(value, np.nan)
    for number in np.unique(count[count >= FEWEST]):
        rows = np.flatnonzero(count == number)
        rank = median_rank(int(number))
        low[rows] = ascending[rows, rank - 1]
        high[rows] = ascending[rows, number - rank]
    words = np.select([count == 0, count < FEWEST], ["nothing", "too few trials"], "bootstrap")
    return Estimates(value, low, high, count, tuple(words.tolist()))


def _medians_of(ascending: FloatArray, count: IntArray) -> FloatArray:
    """The medians of rows in which nan come last; of two middle values one of which is inf, the other.

    By the lower one half of the trials are done, which is what a time by which half are done asks.
    """
    if ascending.shape[1] == 0:
        return np.full(len(ascending), np.nan)
    rows = np.arange(len(ascending))
    left = ascending[rows, np.maximum((count - 1) // 2, 0)]
    right = ascending[rows, np.minimum(count // 2, ascending.shape[1] - 1)]
    with np.errstate(invalid="ignore"):
        middle = left + (right - left) / 2.0
    return np.where(np.isinf(right) | (count % 2 == 1), left, middle)


def tell_value(score: Score, value: float) -> str:
    """A figure of a score in words: ``94 %``, ``6 min 52 s``, ``2.31``, ``not within the run``."""
    if np.isnan(value):
        return "undefined"
    if np.isinf(value):
        return NOT_WITHIN
    if score.unit == "%":
        return f"{_percent(value)} %"
    if score.unit == "s":
        return time_words(value)
    if score.unit == "lx":
        return light_words(value)
    return plain_text(value, 3)


def tell(score: Score, figure: Estimate) -> str:
    """An estimate in words: ``94 % [89, 97]``, ``6 min 52 s [6 min 10 s, 7 min 31 s]``."""
    words = tell_value(score, figure.value)
    if not figure.has_interval or figure.low == figure.high:
        return words
    if score.unit == "%":
        return f"{words} [{_percent(figure.low)}, {_percent(figure.high)}]"
    return f"{words} [{tell_value(score, figure.low)}, {tell_value(score, figure.high)}]"


def _percent(share: float) -> str:
    """Whole percent, but for those next to none and all, which must not look like none and all."""
    percent = 100.0 * share
    is_near_end = 0.0 < percent < 1.0 or 99.0 < percent < 100.0
    text = f"{percent:.1f}" if is_near_end else f"{percent:.0f}"
    return {"0.0": "<0.1", "100.0": ">99.9", "-0": "0"}.get(text, text)
