"""Which factors mattered: the share of what settings differ by that each of them explains.

The *first-order* index of a factor is the variance of the score's mean at its levels over the variance of the
score from setting to setting, the *total-order* index what is left of it when all other factors are known:

    S = V[E(y | x)] / V(y),        T = E[V(y | all but x)] / V(y).

Both are of the true figures of the settings, 0 to 1: luck, which the repeats tell, is taken off. S is T where
a factor acts by itself; in T alone is what it does together with others.

Sobol, "Sensitivity estimates for nonlinear mathematical models", Math. Model. Comput. Exp. 1 (1993); Saltelli
et al., Sensitivity Analysis in Practice (2004).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray, IntArray
from arena.studies.statistics.estimates import sums_of
from arena.studies.statistics.factors import Table
from arena.studies.statistics.resampling import bundled, influence, midranks, ratios, resample_counts
from arena.studies.trial_scores import Score

_RESAMPLES = 400
# Bundles of repeats, and drawn settings evenly picked, that a study of very many comes down to.
_MOST_REPEATS, _MOST_DRAWN = 1000, 5000
# Products (rows, resamples) that are held at once: 16 MB.
_AT_A_TIME = 2_000_000
# A factor with more levels than this in drawn settings is thrown together into bins.
_MOST_BINS = 30


@dataclass(frozen=True)
class Effect:
    """How much one factor mattered.

    Attributes:
        factor: its name.
        first: first-order index with the ends of its 95 % interval, 0 to 1.
        first_low, first_high: likewise.
        total: total-order index, 0 to 1; nan unless the settings are a full grid.
        total_low, total_high: likewise.
        rank: correlation of ranks (Spearman 1904) between its value and the figure of the setting, −1 to 1:
            the sign says which way the figure goes. nan for a factor without an order.
    """

    factor: str
    first: float
    first_low: float
    first_high: float
    total: float
    total_low: float
    total_high: float
    rank: float


@dataclass(frozen=True)
class Sensitivity:
    """The effects of all factors, in the order of the table.

    ``spread`` is the standard deviation of the true figures from setting to setting, in the unit of the
    score, or of ranks from 0 to 1 for a median; ``tells`` whether it is more than luck, at 5 %: otherwise all
    indices are nan. ``settings`` counts those with a figure.
    """

    effects: tuple[Effect, ...]
    spread: float
    tells: bool
    settings: int
    is_grid: bool

    def __iter__(self) -> Iterator[Effect]:
        """The effects."""
        return iter(self.effects)


def sensitivity(
    score: Score, values: FloatArray, weights: FloatArray | None, table: Table, seed: int = 0
) -> Sensitivity:
    """Say which factors of ``table`` mattered for a score.

    ``values`` and ``weights`` are (settings, repeats) as for :func:`estimates.estimate_all`, in the order of
    the table. Settings without a figure are left out. For a median the ranks of all trials are taken in place
    of their values, since "not within the run" has a rank but no size.

    In a grid the variances come from products of different repeats, in which luck cancels however settings
    share it, and the intervals from resampling repeats. Of drawn settings the other factors scatter at every
    level of one, and the squares are corrected for that after Kelley, "An unbiased correlation ratio
    measure", PNAS 21 (1935); the intervals come from resampling settings. Of more than 5,000 drawn settings
    as many are picked evenly, and more than 1,000 repeats are taken in bundles.
    """
    if not table.is_grid and len(table) > _MOST_DRAWN:
        some = np.linspace(0, len(table) - 1, _MOST_DRAWN).astype(np.int64)
        table, values = table.of(some), values[some]
        weights = None if weights is None else weights[some]
    trials = _trial_figures(score, values, weights)
    has_figure = np.asarray(~np.isnan(trials).any(axis=1))
    trials = trials[has_figure]
    table = table.of(has_figure)
    repeats = trials.shape[1]
    is_grid = table.is_grid
    if len(trials) < 2:
        nothing = tuple(Effect(factor.name, *[np.nan] * 7) for factor in table.factors)
        return Sensitivity(nothing, np.nan, False, len(trials), is_grid)
    counts = np.concatenate([np.ones((1, repeats)), resample_counts(repeats, _RESAMPLES, seed)])
    # A resample of one and the same repeat says nothing of luck.
    counts = counts[(counts > 0.0).sum(axis=1) > 1] if repeats > 1 else counts[:1]
    total = _squares(trials, counts)
    if not is_grid:
        total = total[:1]
    tells = bool(total[0] > 0.0 and (repeats == 1 or _exceeds_luck(trials, seed)))
    if is_grid:
        first, whole = _grid_indices(trials, table, counts, total)
    else:
        first = _drawn_indices(trials.mean(axis=1), table, float(total[0]), seed)
        whole = np.full((len(table.factors), 1), np.nan)
    figures = trials.mean(axis=1)
    effects = tuple(
        Effect(
            factor.name,
            *(_with_interval(first[number]) if tells else (np.nan,) * 3),
            *(_with_interval(whole[number]) if tells else (np.nan,) * 3),
            _rank_correlation(table.places[:, number], figures) if factor.is_ordered else np.nan,
        )
        for number, factor in enumerate(table.factors)
    )
    spread = float(np.sqrt(max(total[0], 0.0) / len(trials)))
    return Sensitivity(effects, spread, tells, len(trials), is_grid)


def _trial_figures(score: Score, values: FloatArray, weights: FloatArray | None) -> FloatArray:
    """What each trial adds to its setting's figure (settings, repeats), which is their mean; nan without."""
    if score.summary == "median":
        defined = ~np.isnan(values)
        ranks = np.zeros(values.shape)
        if defined.any():
            found = midranks(values[defined])
            ranks[defined] = (found - 0.5) / found.size
        above, below = ranks, defined.astype(np.float64)
    else:
        above, below = sums_of(score, values, weights)
    above, below = bundled(above, _MOST_REPEATS), bundled(below, _MOST_REPEATS)
    return ratios(above, below)[:, None] + influence(above, below)


def _squares(trials: FloatArray, counts: FloatArray) -> FloatArray:
    """The sum over rows of the squared distance of their true figures from the mean of all, by resample.

    Each resample is a row of ``counts``. With c the distances in one repeat, the mean of c_r c_q over all
    pairs of different repeats r and q: ((sum c)² − sum c²) / (n² − n), whose luck has expectation 0.
    """
    apart = trials - trials.mean(axis=0)
    found = np.zeros(len(counts))
    step = max(1, _AT_A_TIME // len(counts))
    for first in range(0, len(apart), step):
        found += _products(apart[first : first + step], counts).sum(axis=0)
    return found


def _products(apart: FloatArray, counts: FloatArray) -> FloatArray:
    """Mean product of different repeats of each row, (rows, resamples); a lone repeat is squared."""
    drawn = counts.sum(axis=1)
    if apart.shape[1] == 1:
        return (apart**2) @ counts.T
    both = (apart @ counts.T) ** 2 - (apart**2) @ (counts**2).T
    return both / (drawn**2 - (counts**2).sum(axis=1))


def _exceeds_luck(trials: FloatArray, seed: int) -> bool:
    """Whether the settings' figures differ by more than luck, at 5 %: by exchanging them.

    With no difference between settings, which of a repeat's figures belongs to which of them is luck; they
    are exchanged within each repeat. Fisher, The Design of Experiments (1935), section 21, from memory.
    """
    draw = np.random.default_rng(seed)
    observed = ((trials.mean(axis=1) - trials.mean()) ** 2).sum()
    rounds = 199
    reached = sum(
        ((draw.permuted(trials, axis=0).mean(axis=1) - trials.mean()) ** 2).sum() >= observed * (1.0 - 1e-12)
        for _ in range(rounds)
    )
    return bool((reached + 1) / (rounds + 1) <= 0.05)


def _grid_indices(
    trials: FloatArray, table: Table, counts: FloatArray, total: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """First and total indices (factors, resamples) of a full grid."""
    levels = [len(factor.levels) for factor in table.factors]
    cells = np.empty(trials.shape)
    cells[np.ravel_multi_index(tuple(table.places.T), levels)] = trials
    grid = cells.reshape(*levels, -1)
    axes = set(range(len(levels)))
    first, whole = [], []
    for number in sorted(axes):
        means = grid.mean(axis=tuple(axes - {number}))
        others = grid.mean(axis=number).reshape(-1, trials.shape[1])
        with np.errstate(divide="ignore", invalid="ignore"):
            first.append(_squares(means, counts) * (len(trials) / levels[number]) / total)
            whole.append(1.0 - _squares(others, counts) * levels[number] / total)
    return np.stack(first), np.stack(whole)


def _drawn_indices(figures: FloatArray, table: Table, total: float, seed: int) -> FloatArray:
    """First indices (factors, resamples) of drawn settings; the first resample is all of them."""
    settings = len(figures)
    draws = np.concatenate([np.ones((1, settings)), resample_counts(settings, _RESAMPLES, seed)])
    most = int(np.clip(np.sqrt(settings), 2, _MOST_BINS))
    apart = figures - figures.mean()
    luck = float((apart**2).sum()) - total
    first = []
    for number in range(len(table.factors)):
        places = table.binned(number, most).places[:, number]
        found = _corrected_squares(apart, np.eye(places.max() + 1)[places], luck, draws)
        # Settings drawn twice look alike in every bin, which lifts the resampled indices as a whole.
        rest = found[1:][np.isfinite(found[1:])]
        found[1:] += found[0] - (rest.mean() if rest.size else 0.0)
        first.append(found)
    return np.stack(first)


def _corrected_squares(apart: FloatArray, member: FloatArray, luck: float, draws: FloatArray) -> FloatArray:
    """The index of one grouping in each of ``draws`` (resamples, settings), nan where it has none.

    ``member`` (settings, groups) is 1 where a setting belongs to a group. Of the squares between groups is
    taken off what the rest would bring about there, as many times as there are groups less one.
    """
    held, sums = draws @ member, (draws * apart) @ member
    settings = draws.sum(axis=1)
    middle = (sums.sum(axis=1) / settings)[:, None]
    total = draws @ apart**2 - settings * middle[:, 0] ** 2
    between = (np.where(held > 0.0, sums - held * middle, 0.0) ** 2 / np.maximum(held, 1.0)).sum(axis=1)
    levels = (held > 0.0).sum(axis=1)
    free = settings - levels
    is_good = (free > 0.0) & (total > luck)
    rest = (levels - 1) * (total - between) / np.maximum(free, 1.0)
    return np.divide(between - rest, total - luck, out=np.full(len(draws), np.nan), where=is_good)


def _with_interval(indices: FloatArray) -> tuple[float, float, float]:
    """The first of the indices, and percentiles of the rest, all from 0 to 1."""
    rest = indices[1:][np.isfinite(indices[1:])]
    value = float(np.clip(indices[0], 0.0, 1.0))
    if not rest.size or not np.isfinite(indices[0]):
        return value, np.nan, np.nan
    low, high = np.clip(np.quantile(rest, [0.025, 0.975]), 0.0, 1.0)
    return value, float(low), float(high)


def _rank_correlation(places: IntArray, figures: FloatArray) -> float:
    """Spearman's: the correlation of ranks, equal ones sharing theirs. nan where all of either are equal."""
    ranks = midranks(np.stack([places.astype(np.float64), figures]))
    ranks -= ranks.mean(axis=1, keepdims=True)
    size = np.sqrt((ranks**2).sum(axis=1)).prod()
    return float((ranks[0] * ranks[1]).sum() / size) if size > 0.0 else float("nan")
