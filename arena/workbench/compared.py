"""What rounds tell: figures with their intervals, and which of two is before the other."""

import math
from dataclasses import dataclass

import numpy as np

from agents.arrays import BoolArray, FloatArray
from arena.studies.statistics.estimates import FEWEST, estimate_all
from arena.studies.statistics.head_to_head import head_to_head
from arena.studies.trial_scores import SCORES, Score
from arena.workbench.rounds import RoundFigures, RoundsResult, arrived
from replays.scoring.confidence_intervals import share_interval

ROUNDS = 8
"""Rounds that are run, and that are added at a time."""

_PAIRS = Score(
    "pairs",
    "pairs won",
    "",
    True,
    "mean",
    "pairs",
    None,
    "share of the pairs in which it is before the other",
)


@dataclass(frozen=True)
class PairCount:
    """One against another: how many ``pairs`` there were, who was before in how many, who is told better.

    A pair are copies with the same luck in the same round; in the rest of the pairs neither was before.
    ``better`` is 1 for the one, -1 for the other, 0 where they are not told apart, None with too few rounds
    to tell.
    """

    won: int
    lost: int
    pairs: int
    better: int | None

    @property
    def verdict(self) -> str:
        """In words."""
        if self.better is None:
            return f"fewer than {FEWEST} rounds tell nothing"
        return "told apart" if self.better else "not told apart"


def pair_count(
    one: tuple[RoundFigures, ...], first: int, other: tuple[RoundFigures, ...], second: int
) -> PairCount | None:
    """Design ``first`` of one's rounds against ``second`` of the other's; None where they cannot be paired.

    Walkers of a round share the floor, so that rounds are what is independent: tested is whether the share of
    pairs won, from round to round, differs from a half. Rounds come in lots of :data:`ROUNDS`, and who looks
    after each lot has so many chances to be taken in by luck: the level is divided by their number.
    """
    if not one or not other or one[0].has_goal != other[0].has_goal:
        return None
    if one[0].reach_s.shape[1] != other[0].reach_s.shape[1]:
        return None
    here = np.array([figures.order()[first] for figures in one])
    there = np.array([figures.order()[second] for figures in other])
    rounds = min(len(here), len(there))
    here, there = here[:rounds], there[:rounds]
    won, lost = here > there, here < there
    shares = 0.5 + 0.5 * (won.mean(axis=1) - lost.mean(axis=1))
    better: int | None = None
    if rounds >= FEWEST:
        better = _better(shares, max(1, math.ceil(rounds / ROUNDS)))
    return PairCount(int(won.sum()), int(lost.sum()), won.size, better)


def _better(shares: FloatArray, looks: int) -> int:
    for sign, values in ((1, [shares, 1.0 - shares]), (-1, [1.0 - shares, shares])):
        if head_to_head(_PAIRS, np.array(values), picked=looks).is_better:
            return sign
    return 0


def figure_words(rounds: tuple[RoundFigures, ...], design: int) -> str:
    """What all rounds of a design come to, with the 95 % interval.

    >>> figure_words((), 0)
    ''
    """
    if not rounds:
        return ""
    if rounds[0].has_goal:
        there = arrived(rounds, design)
        return f"{there.sum()} of {there.size} arrived, {_share_words(there)}"
    gains = np.array([one.light_gain[design] for one in rounds])
    with np.errstate(all="ignore"):
        known = np.nanmean(gains, axis=1) if not np.isnan(gains).all() else np.full(len(gains), np.nan)
    gain = estimate_all(SCORES["progress"], known[None, :])[0]
    if math.isnan(gain.value):
        return "no light gained or lost"
    ends = f" ({gain.low:.2f} to {gain.high:.2f})" if gain.has_interval else ""
    return f"{gain.value:.2f}{ends} times the light of its start"


def _share_words(there: BoolArray) -> str:
    """The share that arrived, with the wider of two intervals.

    Walkers of a round share the floor, so that what counts may be rounds, of which the bootstrap tells; but
    where few rounds happen to be alike it tells less than as many single walkers would, after Wilson.
    """
    shares = estimate_all(SCORES["reached"], there.mean(axis=1)[None, :])[0]
    single = share_interval(int(there.sum()), there.size)
    if not shares.has_interval or single is None:
        return f"{100 * shares.value:.0f} %"
    low, high = min(shares.low, single[0]), max(shares.high, single[1])
    return f"{100 * shares.value:.0f} % ({100 * low:.0f} to {100 * high:.0f} %)"


def against_pinned(result: RoundsResult, design: int) -> str:
    """How a design on the bench fares against the pinned one, in a line; empty where nothing is pinned."""
    if not result.pinned:
        return ""
    if is_as_pinned(result):
        return "the same as the pinned one"
    count = pair_count(result.now, design, result.pinned, design)
    if count is None:
        return "not to be paired with the pinned one"
    words = {1: "better, told apart", -1: "worse, told apart"}.get(count.better or 0, count.verdict)
    return f"{words}: {count.won} to {count.lost} of {count.pairs} pairs"


def side_by_side(result: RoundsResult) -> list[str]:
    """Every two designs on the bench against each other, a line each, the better one first."""
    told = []
    for first in range(len(result.names)):
        for second in range(first + 1, len(result.names)):
            count = pair_count(result.now, first, result.now, second)
            if count is None:
                continue
            ahead, behind, won = first, second, count.won
            if count.lost > count.won:
                ahead, behind, won = second, first, count.lost
            names = f"{result.names[ahead]} before {result.names[behind]}"
            told.append(f"{names} in {won} of {count.pairs} pairs, {count.verdict}")
    return told


def is_as_pinned(result: RoundsResult) -> bool:
    """Whether what lies on the bench is what was pinned."""
    return all(one is other for one, other in zip(result.now, result.pinned, strict=True))
