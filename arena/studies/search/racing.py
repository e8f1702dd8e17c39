"""A search for the best setting within a budget of trials, among the levels of several factors.

Settings race: all have the same luck in the same repeat, so that their differences show early. After every
round those drop out that are told worse than the leader, and those that the budget does not reach; the
repeats of the others are doubled. Part of the budget goes to the leaders' neighbours, one level up or down in
one factor, which catch up on the same repeats. The finalists then meet on repeats that nobody has seen, so
that the winner's figure is not flattered by having been picked.

The doubling follows the successive halving of Karnin, Koren and Somekh, "Almost optimal exploration in
multi-armed bandits", ICML (2013), the dropping the races of Maron and Moore, "Hoeffding races", NIPS 6
(1994), with paired tests in place of bounds. Both from memory; the mixture is this program's own.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray, IntArray
from agents.errors import InputError
from arena.studies.plans.sampling import drawn_shares
from arena.studies.search.heats import Evaluate, Heats, Neighbours, Place, Step
from arena.studies.statistics.comparison import LEVEL, Comparison, compare
from arena.studies.statistics.estimates import FEWEST
from arena.studies.trial_scores import Score

LEAST_BUDGET = 40
"""Trials below which there is nothing to search with."""

_EACH = 8

# Of the budget: for the finalists' fresh repeats. Of what that leaves: for all settings at once, or else for
# a pool of them. Of what is left then: for the first look round the leaders; and of every later round.
_FINAL_SHARE = 0.25
_ALL_SHARE, _POOL_SHARE = 0.6, 0.25
_FIRST_NEAR_SHARE, _NEAR_SHARE = 0.5, 0.3
# So many stay in however little they promise, so that there is somebody to be told apart, or not, at the end.
_LEAST_ALIVE = 4
_MOST_FINALISTS = 8
_LEAST_FINAL, _MOST_FINAL = 30, 1000


@dataclass(frozen=True)
class RacingResult:
    """What a search found.

    Attributes:
        winner: the best setting; None where no setting tried has a figure.
        finalists: settings that met on fresh repeats, the winner among them.
        comparison: of the finalists on these repeats against the winner; None without one.
        values, weights: (finalists, fresh repeats) that were compared.
        fresh: these repeats.
        overturned: the search had led with another finalist, which the fresh repeats told worse, or in which
            it has no figure; the winner is then the best of these same repeats, which flatter it a little.
        tried: settings tried.
        told_worse: of these, told worse than the leader at the time: in 19 of 20 races the best of those that
            once caught up is not among them.
        set_aside: of these, let go because the budget did not reach, without being told worse.
        without_figure: of these, impossible, or with nothing to count in their first repeats.
        trials: trials used, at most the budget.
        pool: (settings, factors) the first settings tried: all, or evenly spread.
        pool_values, pool_weights: (settings, repeats) of the first repeats, for saying which factor mattered.
        history: step by step.
    """

    winner: Place | None
    finalists: tuple[Place, ...]
    comparison: Comparison | None
    values: FloatArray
    weights: FloatArray | None
    fresh: range
    overturned: bool
    tried: int
    told_worse: int
    set_aside: int
    without_figure: int
    trials: int
    pool: IntArray
    pool_values: FloatArray
    pool_weights: FloatArray | None
    history: tuple[Step, ...]


def least_budget(conditions: int = 1) -> int:
    """Trials below which :func:`race` does not begin."""
    return max(LEAST_BUDGET, _EACH * conditions)


def race(
    levels: Sequence[int],
    evaluate: Evaluate,
    budget: int,
    score: Score,
    seed: int = 0,
    ordered: Sequence[bool] | None = None,
    conditions: int = 1,
) -> RacingResult:
    """Search for the best setting by ``score`` within ``budget`` trials.

    ``levels`` counts those of each factor, from 1; ``ordered`` tells which factors are (all, if left out): of
    another every level is next to every one. ``evaluate`` runs trials; each repeat of each setting counts as
    one, possible or not. ``seed`` is of the pool and of resampling. The search ends early when
    only the leader is left. Repeats run in turn in so many ``conditions``, from 1: settings are only ever
    judged by repeats of all of them, equally often.

    Raises InputError for a budget below LEAST_BUDGET or eight a condition, ValueError for a factor without
    levels.
    """
    if budget < LEAST_BUDGET:
        raise InputError(f"a search takes {LEAST_BUDGET} trials at the least, not {budget}")
    if budget < _EACH * conditions:
        raise InputError(
            f"a search in {conditions:,} conditions takes {_EACH * conditions:,} trials at the least, "
            f"not {budget:,}; spend more, or vary less of the arena"
        )
    if not levels or min(levels) < 1:
        raise ValueError("each factor needs a level")
    heats = Heats(evaluate, score, budget, round((1.0 - _FINAL_SHARE) * budget), seed, conditions)
    near = Neighbours(levels, [True] * len(levels) if ordered is None else ordered)
    count = math.prod(levels)
    is_whole = count * heats.first <= _ALL_SHARE * heats.limit
    size = count if is_whole else max(2, int(_POOL_SHARE * heats.limit / heats.first))
    pool = _pool(levels, min(size, count), seed)
    heats.enter(pool, min(heats.first, heats.whole(heats.limit // len(pool))))
    pool_values, pool_weights = heats.columns(pool)
    _search(heats, near)
    return _final(heats, pool, pool_values, pool_weights)


def _pool(levels: Sequence[int], size: int, seed: int) -> list[Place]:
    """All settings, or ``size`` different ones spread evenly by a scrambled Sobol' sequence."""
    if size == math.prod(levels):
        return [tuple(int(level) for level in place) for place in np.ndindex(*levels)]
    found: dict[Place, None] = {}
    drawn = 2 * size
    while len(found) < size:
        # More points of the same sequence begin with the same points.
        shares = drawn_shares("sobol", drawn, len(levels), seed)
        for place in (shares * np.array(levels)).astype(np.int64):
            found.setdefault(tuple(int(level) for level in place))
        drawn *= 4
    return list(found)[:size]


def _search(heats: Heats, near: Neighbours) -> None:
    """Rounds until one is left, nothing more can be told, or the search's part of the budget is used."""
    looks = max(1, math.ceil(math.log2(max(heats.limit / (2 * heats.first), 2.0))) + 1)
    is_first = True
    while True:
        heats.rank()
        heats.drop_worse(looks)
        heats.tell()
        purse = heats.left // _rounds(heats)
        heats.explore(near, int(_FIRST_NEAR_SHARE * heats.left if is_first else _NEAR_SHARE * purse))
        near.draw_in()
        is_first = False
        if len(heats.alive) < 2:
            return
        fewest = min(_LEAST_ALIVE, len(heats.alive))
        purse = heats.left // _rounds(heats)
        block = heats.whole(min(heats.repeats, heats.left // fewest))
        if block < FEWEST:
            return
        heats.keep(max(fewest, purse // block))
        heats.go_on(block)


def _rounds(heats: Heats) -> int:
    """Rounds that are still to come if every one halves those alive."""
    return max(1, math.ceil(math.log2(max(len(heats.alive), 2))))


def _final(
    heats: Heats, pool: list[Place], pool_values: FloatArray, pool_weights: FloatArray | None
) -> RacingResult:
    """Let the finalists meet on fresh repeats."""
    score = heats.score
    heats.rank()
    left = heats.budget - heats.used
    winner: Place | None = None
    comparison, values, weights, overturned = None, np.empty((0, 0)), None, False
    fresh = range(0)
    if heats.alive:
        most = max(1, min(_MOST_FINALISTS, left // max(_LEAST_FINAL, heats.conditions)))
        heats.keep(most)
        # runners-up are of use too, where the repeats do for them
        heats.recall(min(most, _LEAST_ALIVE))
        repeats = heats.whole(min(left // len(heats.alive), max(_MOST_FINAL, heats.conditions)))
        fresh = range(heats.repeats, heats.repeats + repeats)
        values, weights = heats.run(heats.alive, fresh)
        comparison = compare(score, values, weights, heats.seed, against=0)
        better = comparison.alike & (comparison.corrected <= LEVEL)
        better[0] = False
        # who led may have nothing to show in the fresh repeats
        overturned = bool(better.any() or math.isnan(comparison.estimates.value[0]))
        if overturned:
            comparison = compare(score, values, weights, heats.seed)
        best = 0 if comparison.best is None else comparison.best
        winner = heats.alive[best]
        figure = comparison.estimates[best]
        heats.note(winner, len(heats.alive), repeats, figure.value, figure.low, figure.high, is_final=True)
    return RacingResult(
        winner=winner,
        finalists=tuple(heats.alive),
        comparison=comparison,
        values=values,
        weights=weights,
        fresh=fresh,
        overturned=overturned,
        tried=len(heats.shown),
        told_worse=heats.told_worse,
        set_aside=heats.set_aside,
        without_figure=heats.without_figure,
        trials=heats.used,
        pool=np.array(pool, dtype=np.int64),
        pool_values=pool_values,
        pool_weights=pool_weights,
        history=tuple(heats.history),
    )
