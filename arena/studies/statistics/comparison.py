"""Settings compared with the best of them, repeat by repeat, for all had the same luck in the same repeat.

Each setting is tested against the best in pairs of trials, by the test that suits the score. Two corrections
keep the error of the whole in 5 %: that of Holm for testing many settings, and, as the best was chosen by
looking at the same trials, one for all the pairs that the choice could have brought together. When all
settings are alike, at most one study in twenty tells any of them worse than its best.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from agents.arrays import BoolArray, FloatArray, IntArray
from arena.studies.statistics.estimates import FEWEST, Estimates, estimate_all, sums_of, values_of
from arena.studies.statistics.resampling import (
    MOST_RESAMPLED,
    RESAMPLES,
    bundled,
    influence,
    midranks,
    resample_counts,
    resampled_ratios,
)
from arena.studies.trial_scores import Score

LEVEL = 0.05
"""Share of studies of settings that are all alike in which one or more is told worse than the best."""

# Settings among which a resample looks for its best: those behind hardly ever are.
_CONTENDERS = 100
_POWER = 0.8


@dataclass(frozen=True)
class Pairs:
    """Tests of every setting against one of them: arrays (settings,).

    ``p_value`` is two-sided, 1 for the one itself, nan for a setting without any figure. ``is_worse``: the
    pairs speak for the one rather than for the setting. ``spread`` is the standard deviation of the pairs'
    differences in the unit of the score; nan for a median.
    """

    p_value: FloatArray
    is_worse: BoolArray
    spread: FloatArray
    test: str


@dataclass(frozen=True)
class Comparison:
    """Which setting did best, and which cannot be told from it.

    Attributes:
        score: the score compared.
        estimates: of all settings, each for itself.
        best: number of the setting with the best figure; None where no setting has one. A setting of whose
            trials less than a tenth as many say something as of another's is passed over.
        p_value: (settings,) of the paired test against the best, two-sided; nan without any figure.
        corrected: (settings,) the same corrected for the number of settings and for the choice of the best.
        alike: (settings,) whether the setting cannot be told from the best at 5 %; so for the best itself.
        test: name of the paired test.
        optimism: by how much the best one's figure flatters it, in the unit of the score, from 0, because it
            was picked for that figure; nan where it cannot be said.
    """

    score: Score
    estimates: Estimates
    best: int | None
    p_value: FloatArray
    corrected: FloatArray
    alike: BoolArray
    test: str
    optimism: float

    @property
    def worse(self) -> BoolArray:
        """Whether each setting has a figure and is told worse than the best."""
        return ~self.alike & ~np.isnan(self.p_value)


def compare(
    score: Score,
    values: FloatArray,
    weights: FloatArray | None = None,
    seed: int = 0,
    against: int | None = None,
    estimates: Estimates | None = None,
) -> Comparison:
    """Compare all settings with the best, or with the one called ``against``, chosen without these trials.

    ``values`` and ``weights`` are (settings, repeats) as for :func:`estimates.estimate_all`; repeat r of one
    setting makes a pair with repeat r of another. ``estimates`` are what that gives of them, where it
    has been asked already. Raises ValueError as it does.
    """
    if estimates is None:
        estimates = estimate_all(score, values, weights, seed)
    settings = len(estimates)
    best = _best(score, estimates, values) if against is None else against
    if best is None:
        nothing = np.full(settings, np.nan)
        return Comparison(
            score, estimates, None, nothing, nothing, np.zeros(settings, dtype=np.bool_), "", math.nan
        )
    pairs = pair_tests(score, values, weights, best)
    adjusted = corrected(pairs.p_value, best, is_chosen=against is None)
    has_figure = ~np.isnan(pairs.p_value)
    alike = has_figure & ~(pairs.is_worse & (adjusted <= LEVEL))
    alike[best] = True
    flatters = 0.0 if against is not None else _optimism(score, values, weights, alike, seed)
    return Comparison(score, estimates, best, pairs.p_value, adjusted, alike, pairs.test, flatters)


def pair_tests(score: Score, values: FloatArray, weights: FloatArray | None, one: int) -> Pairs:
    """Test every setting against setting ``one`` in pairs of trials.

    * Shares of ones and noughts: McNemar's exact test, of which pairs that differ count. McNemar,
      Psychometrika 12 (1947).
    * Means, ratios and other shares: Student's test of the differences; for a ratio, of how far each trial
      pulls it. What a paired bootstrap comes to, but not bounded by the number of resamples, which many
      settings need.
    * Medians: the signed ranks of the differences, where "not within the run" is later than any time, and
      two of them are alike. Wilcoxon, Biometrics Bulletin 1 (1945).

    No p-value is less than 2 / 2^m with m the pairs that differ: the least that any test which leaves open
    what is distributed how can give.
    """
    if score.summary == "median":
        return _signed_ranks(score, values, one)
    above, below = sums_of(score, values, weights)
    is_plain = score.summary == "share" and bool(((above == 0.0) | (above == 1.0)).all())
    return _mcnemar(score, above, below, one) if is_plain else _student(score, above, below, one)


def corrected(p_value: FloatArray, best: int, is_chosen: bool) -> FloatArray:
    """P-values against ``best`` corrected for their number after Holm, and for the choice of the best.

    The best of S settings that are alike lies ahead of the others as the largest of S ahead of the least: the
    error must be kept for all S (S − 1) / 2 pairs, not for S − 1. So the factors of Holm are taken S / 2
    times where the best ``is_chosen`` by the same trials. nan stay nan.

    Holm, "A simple sequentially rejective multiple test procedure", Scand. J. Stat. 6 (1979).
    """
    others = np.flatnonzero(~np.isnan(p_value) & (np.arange(len(p_value)) != best))
    order = others[np.argsort(p_value[others], kind="stable")]
    pairs = (len(others) + 1) / 2.0 if is_chosen else 1.0
    factors = np.arange(len(others), 0, -1) * pairs
    adjusted = np.where(np.isnan(p_value), np.nan, 1.0)
    adjusted[order] = np.minimum(np.maximum.accumulate(p_value[order] * factors), 1.0)
    return adjusted


def _best(score: Score, estimates: Estimates, values: FloatArray) -> int | None:
    goodness = estimates.value if score.more_is_better else -estimates.value
    has_say = (estimates.count >= FEWEST) & (estimates.count >= 0.1 * estimates.count.max(initial=0))
    eligible = ~np.isnan(goodness) & has_say
    if not eligible.any():
        eligible = ~np.isnan(goodness)
    if not eligible.any():
        return None
    top = goodness == np.max(goodness[eligible])
    tied = np.flatnonzero(eligible & top)
    if score.summary == "median" and len(tied) > 1:
        # Where fewer than half arrive the median says nothing, but how many and when still does.
        ranks = midranks(np.where(np.isnan(values[tied]), np.inf, values[tied]).ravel())
        mean_rank = ranks.reshape(len(tied), -1).mean(axis=1)
        return int(tied[np.argmax(mean_rank if score.more_is_better else -mean_rank)])
    return int(tied[0])


def _floor(differing: IntArray) -> FloatArray:
    return np.minimum(2.0 ** (1.0 - differing), 1.0)


def _mcnemar(score: Score, above: FloatArray, below: FloatArray, one: int) -> Pairs:
    both = (below > 0.0) & (below[one] > 0.0)
    one_only = (both & (above[one] > above)).sum(axis=1)
    other_only = (both & (above[one] < above)).sum(axis=1)
    differing, pairs = one_only + other_only, both.sum(axis=1)
    p_value = np.minimum(2.0 * special.bdtr(np.minimum(one_only, other_only), differing, 0.5), 1.0)
    p_value = np.where(differing == 0, 1.0, p_value)
    p_value = np.where((below > 0.0).any(axis=1), p_value, np.nan)
    is_worse = one_only > other_only if score.more_is_better else one_only < other_only
    share = differing / np.maximum(pairs, 1)
    lean = (one_only - other_only) / np.maximum(pairs, 1)
    return Pairs(p_value, is_worse, np.sqrt(share - lean**2), "McNemar")


def _student(score: Score, above: FloatArray, below: FloatArray, one: int) -> Pairs:
    pulls = influence(above, below)
    totals = np.stack([above.sum(axis=1), below.sum(axis=1)])
    value = np.divide(totals[0], totals[1], out=np.full(len(above), np.nan), where=totals[1] > 0.0)
    ahead = value[one] - value
    count = np.minimum((below > 0.0).sum(axis=1), (below[one] > 0.0).sum())
    repeats = above.shape[1]
    variance = ((pulls[one] - pulls) ** 2).sum(axis=1) / repeats * count / np.maximum(count - 1, 1)
    error = np.sqrt(variance / repeats)
    deviate = np.divide(np.abs(ahead), error, out=np.where(ahead == 0.0, 0.0, np.inf), where=error > 0.0)
    free = np.maximum(count - 1, 1)
    p_value = 2.0 * special.stdtr(free, -deviate)
    differing = ((above != above[one]) | (below != below[one])).sum(axis=1)
    p_value = np.maximum(p_value, _floor(differing))
    p_value = np.where(np.isnan(ahead), np.nan, np.where(count < FEWEST, 1.0, p_value))
    p_value[one] = 1.0
    return Pairs(p_value, ahead > 0.0 if score.more_is_better else ahead < 0.0, np.sqrt(variance), "Student")


def _signed_ranks(score: Score, values: FloatArray, one: int) -> Pairs:
    with np.errstate(invalid="ignore"):
        ahead = values[one] - values
    # Two that do not arrive, inf - inf, are a tie; so is a pair of which one says nothing.
    ahead = np.where(np.isnan(ahead), 0.0, ahead)
    size = np.abs(ahead)
    differs = size > 0.0
    differing = differs.sum(axis=1)
    ranks = np.where(differs, midranks(size) - (size.shape[1] - differing)[:, None], 0.0)
    lean = (np.sign(ahead) * ranks).sum(axis=1)
    spread = np.sqrt((ranks**2).sum(axis=1))
    deviate = np.divide(
        np.maximum(np.abs(lean) - 1.0, 0.0), spread, out=np.zeros_like(lean), where=spread > 0.0
    )
    p_value = np.maximum(np.minimum(2.0 * special.ndtr(-deviate), 1.0), _floor(differing))
    p_value = np.where((~np.isnan(values)).any(axis=1), p_value, np.nan)
    is_worse = lean > 0.0 if score.more_is_better else lean < 0.0
    return Pairs(p_value, is_worse, np.full(len(values), np.nan), "signed ranks")


def _optimism(
    score: Score, values: FloatArray, weights: FloatArray | None, alike: BoolArray, seed: int
) -> float:
    """Mean over resamples of how far the best of a resample exceeds its figure from all the trials.

    Efron and Tibshirani, An Introduction to the Bootstrap (1993), chapter 17, from memory.
    """
    sign = 1.0 if score.more_is_better else -1.0
    chosen = np.flatnonzero(alike)
    figures = values_of(score, values[chosen], None if weights is None else weights[chosen])
    chosen = chosen[np.argsort(-sign * figures, kind="stable")][:_CONTENDERS]
    mine = values[chosen]
    if len(chosen) < 2 or mine.shape[1] < FEWEST:
        return 0.0 if len(chosen) < 2 else math.nan
    if score.summary == "median":
        if mine.shape[1] > MOST_RESAMPLED:
            return math.nan
        figure, resampled = values_of(score, mine), _resampled_medians(score, mine, RESAMPLES // 10, seed)
    else:
        sums = sums_of(score, mine, None if weights is None else weights[chosen])
        above, below = (bundled(one, RESAMPLES) for one in sums)
        figure = values_of(score, mine, None if weights is None else weights[chosen])
        resampled = resampled_ratios(above, below, resample_counts(above.shape[1], RESAMPLES, seed))
    goodness = np.where(np.isnan(resampled), -np.inf, sign * resampled)
    winner = goodness.argmax(axis=0)
    with np.errstate(invalid="ignore"):
        excess = goodness.max(axis=0) - sign * figure[winner]
    return float(max(excess.mean(), 0.0)) if np.isfinite(excess).all() else math.nan


def _resampled_medians(score: Score, values: FloatArray, resamples: int, seed: int) -> FloatArray:
    """Medians (settings, resamples); all settings draw the same repeats."""
    draws = np.random.default_rng(seed).integers(0, values.shape[1], (resamples, values.shape[1]))
    return np.stack([values_of(score, values[:, draw]) for draw in draws], axis=1)


def repeats_needed(
    score: Score, values: FloatArray, weights: FloatArray | None, comparison: Comparison, by: float
) -> int | None:
    """Repeats by which a setting worse by ``by`` [unit of the score] is told so, in four studies of five.

    Of settings that differ in their pairs as much as the middle one of those now alike does from the best.
    For ones and noughts, with d = ``by`` and w the share of pairs that differ, at least d,

    n d = sqrt(n) (z(1 − a/2) sqrt(w) + z(0.8) sqrt(w − d²)):

    Connor, "Sample size for testing differences in proportions for the paired-sample design", Biometrics 43
    (1987); with 1 added on the right, one pair, for the exact test asks for whole pairs. Otherwise
    n d = sqrt(n) (z(1 − a/2) + z(0.8)) s, with s the standard deviation of the differences. a is 5 % over the
    number of pairs of settings. None for a median, or where nothing can be said.
    """
    if comparison.best is None or not by > 0.0:
        return None
    pairs = pair_tests(score, values, weights, comparison.best)
    others = comparison.alike & (np.arange(len(values)) != comparison.best)
    spread = pairs.spread[others if others.any() else comparison.worse]
    settings = int((~np.isnan(pairs.p_value)).sum())
    spread = spread[~np.isnan(spread)]
    if not spread.size:
        return None
    level = LEVEL / max(settings * (settings - 1) / 2.0, 1.0)
    size, power = float(special.ndtri(1.0 - level / 2.0)), float(special.ndtri(_POWER))
    middle = float(np.median(spread))
    if pairs.test == "McNemar":
        differing = max(middle**2, by)
        slope, rest = size * math.sqrt(differing) + power * math.sqrt(max(differing - by**2, 0.0)), 1.0
    else:
        slope, rest = (size + power) * middle, 0.0
    root = (slope + math.sqrt(slope**2 + 4.0 * by * rest)) / (2.0 * by)
    return max(math.ceil(root**2), FEWEST)
