"""Who is better than whom, and how sure that is: exact tests round by round, and strengths from all rounds.

*Better* means: ahead in more than half of the rounds that are not tied. Whether that is more than luck
tells the sign test of every pair (exact, two-sided; Dixon and Mood, The statistical sign test, J. Amer. Stat.
Assoc. 41, 1946), all pairs together held to 5 % by Holm's procedure (A simple sequentially rejective multiple
test procedure, Scand. J. Stat. 6, 1979). It supposes nothing of how times are spread. Where start places
favour somebody in one round and somebody else in another the count of wins is less scattered than the test
supposes (Hoeffding, Ann. Math. Stat. 27, 1956), so it errs to the safe side.

Strengths are those of the model of Plackett (Applied Statistics 24, 1975) and Luce (1959): of those still to
come in, each is next with a chance in proportion to its strength. They are found by the minorise-maximise
algorithm of Hunter (Annals of Statistics 32, 2004), a tie counting as if each of the tied had come first of
them, as Breslow (Biometrics 30, 1974) does for survival times.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray

# The share of races in which anything that is called sure may be wrong.
LEVEL = 0.05
# Chance with which the rounds that are advised tell a pair apart, if it is as unlike as it has been so far.
POWER = 0.8
# More rounds than this nobody runs; who needs them is as good as alike.
MOST_ROUNDS = 1000
# Scores of a round that differ by less are a tie.
_SAME = 1e-9
_MOST_STEPS = 20_000

Ranking = Sequence[Sequence[int]]
"""Groups of those who tie, by number, the best first."""


@dataclass(frozen=True)
class Tally:
    """Pairs of N entries: ``wins[i, j]`` rounds in which i was ahead of j; both are in ``met`` rounds."""

    wins: IntArray
    met: IntArray


def tally(scores: FloatArray) -> Tally:
    """Count, pair by pair, who was ahead; ``scores`` (rounds, N), more is better, nan for who was away."""
    count = scores.shape[1]
    wins, met = np.zeros((count, count), np.int64), np.zeros((count, count), np.int64)
    for row in scores:
        with np.errstate(invalid="ignore"):
            wins += row[:, None] > row[None, :] + _SAME
        there = np.isfinite(row)
        met += there[:, None] & there[None, :]
    return Tally(wins, met)


def surely_ahead(pairs: Tally) -> BoolArray:
    """Which entry is better than which other, (N, N); all that is said holds at once with 95 %."""
    from scipy.stats import binom

    count = len(pairs.wins)
    first, second = np.triu_indices(count, 1)
    if not len(first):
        return np.zeros((count, count), np.bool_)
    ahead, behind = pairs.wins[first, second], pairs.wins[second, first]
    more = np.maximum(ahead, behind)
    chance = np.minimum(1.0, 2.0 * binom.sf(more - 1, ahead + behind, 0.5))
    order = np.argsort(chance, kind="stable")
    limits = LEVEL / (len(order) - np.arange(len(order)))
    failed = np.flatnonzero(chance[order] > limits)
    told = order[: failed[0]] if len(failed) else order
    sure = np.zeros((count, count), np.bool_)
    for number in told.tolist():
        better, worse = first[number], second[number]
        if behind[number] > ahead[number]:
            better, worse = worse, better
        sure[better, worse] = True
    return sure


def place_ranges(sure: BoolArray, order: Sequence[int]) -> tuple[IntArray, IntArray]:
    """The places, from 1, between which each entry surely lies: (N,) and (N,).

    ``sure`` tells who is surely better than whom, ``order`` the entries by strength. What follows from two
    others is true as well: who is better than one who is better than a third is better than that one. What
    goes against the order is left out, so two who are not told apart always share a place.
    """
    count = len(sure)
    rank = np.empty(count, np.int64)
    rank[list(order)] = np.arange(count)
    better = sure & (rank[:, None] < rank[None, :])
    for through in order:
        better |= better[:, through, None] & better[None, through, :]
    return 1 + better.sum(axis=0), count - better.sum(axis=1)


def strengths(rankings: Sequence[Ranking], count: int) -> FloatArray:
    """Strengths of ``count`` entries, (count,), that add up to 1.

    Each entry has, beside its races, half a win and half a loss against one of middling strength, so that one
    that always won has a strength too.
    """
    members: list[BoolArray] = []
    chosen: list[int] = []
    won = np.full(count, 0.5)
    for ranking in rankings:
        left = np.zeros(count, np.bool_)
        left[[one for group in ranking for one in group]] = True
        for group in ranking:
            if np.count_nonzero(left) > 1:
                won[list(group)] += 1.0
                members.append(left.copy())
                chosen.append(len(group))
            left[list(group)] = False
    if not members:
        return np.full(count, 1.0 / max(count, 1))
    stages, times = np.array(members, np.float64), np.array(chosen, np.float64)
    strength = np.ones(count)
    for _ in range(_MOST_STEPS):
        new = won / (stages.T @ (times / (stages @ strength)) + 1.0 / (strength + 1.0))
        change = np.max(np.abs(np.log(new / strength)))
        strength = new
        if change < 1e-10:
            break
    return np.asarray(strength / strength.sum(), np.float64)


def rounds_to_tell(wins: int, losses: int, met: int, pairs: int) -> int | None:
    """How many rounds, in all, would tell a pair apart, with a chance of about 80 %; None where too many.

    ``wins`` and ``losses`` of one against the other in ``met`` rounds; ``pairs`` are tested at once. From
    the normal approximation of the sign test's power; the share of wins is drawn a little to a half, as
    one draw more on either side would.
    """
    from scipy.stats import norm

    if met == 0:
        return None
    share = (max(wins, losses) + 1.0) / (wins + losses + 2.0)
    untied = (wins + losses) / met
    if share <= 0.5 or untied <= 0.0:
        return None
    needed = norm.isf(0.5 * LEVEL / max(pairs, 1)) * 0.5 + norm.isf(1.0 - POWER) * math.sqrt(
        share * (1.0 - share)
    )
    # no fewer than an unbroken row of wins takes
    least = 1.0 + math.log2(max(pairs, 1) / LEVEL)
    rounds = math.ceil(max((needed / (share - 0.5)) ** 2, least) / untied)
    return rounds if rounds <= MOST_ROUNDS else None
