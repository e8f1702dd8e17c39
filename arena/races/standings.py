"""From the rounds of a race to the places of its entries, with how sure they are."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from agents.arrays import FloatArray
from arena.races.race_form import FINAL, RELAY
from arena.races.ranking import (
    Ranking,
    place_ranges,
    rounds_to_tell,
    strengths,
    surely_ahead,
    tally,
)
from arena.races.results import ARRIVED, Entry, Heat, MoreRounds, Placing, Round

FINAL_PHASE = "final"


def placings_of(
    entries: Sequence[Entry], rounds: Sequence[Round], format: str, points: Sequence[float], finalists: int
) -> tuple[tuple[Placing, ...], MoreRounds]:
    """The placings of all entries in the order of the ranking, and how many more rounds would tell more.

    Those who race out of competition have no place, and nobody is placed behind them for it.
    """
    competing = [one.number for one in entries if one.competes]
    heats = [one for one in rounds if one.phase != FINAL_PHASE]
    finals = [one for one in rounds if one.phase == FINAL_PHASE]
    if format == FINAL and finals:
        chosen = finalists_of(entries, heats, finalists)
        others = [one for one in competing if one not in chosen]
        table = _table(chosen, finals, rounds, points if format == RELAY else None, 0, True)
        behind = _table(others, heats, rounds, None, len(chosen), False)
        placings, more = [*table[0], *behind[0]], table[1]
    else:
        placings, more = _table(competing, rounds, rounds, points if format == RELAY else None, 0, False)
    for one in entries:
        if not one.competes:
            arrived, starts, median = _times(rounds, one.number)
            placings.append(Placing(one.number, None, None, 0.0, 0.0, None, arrived, starts, median, False))
    return tuple(placings), more


def finalists_of(entries: Sequence[Entry], rounds: Sequence[Round], count: int) -> list[int]:
    """Who goes on to the final: who beat most in the heats; of those alike, who stands first in the list."""
    competing = [one.number for one in entries if one.competes]
    scores = np.nan_to_num(round_scores(competing, rounds)).mean(axis=0)
    order = sorted(range(len(competing)), key=lambda one: (-round(float(scores[one]), 9), one))
    return sorted(competing[one] for one in order[:count])


def round_scores(
    among: Sequence[int], rounds: Sequence[Round], points: Sequence[float] | None = None
) -> FloatArray:
    """What each of ``among`` came to in each round, (rounds, among); nan for one that was not there.

    The share of the others whom it beat, a tie counting as half, the mean over its heats; or the sum of its
    ``points`` by place.
    """
    scores = np.full((len(rounds), len(among)), np.nan)
    for row, one in zip(scores, rounds, strict=True):
        for number, entry in enumerate(among):
            found = [value for heat in one.heats for value in _scored(heat, entry, among, points)]
            if found:
                row[number] = sum(found) if points is not None else sum(found) / len(found)
    return scores


def _scored(heat: Heat, entry: int, among: Sequence[int], points: Sequence[float] | None) -> list[float]:
    places = {one.entry: one.place for one in heat.finishes if one.entry in among}
    if entry not in places or len(places) < 2:
        return []
    own = places.pop(entry)
    behind = sum(place > own for place in places.values())
    level = sum(place == own for place in places.values())
    if points is not None:
        ahead = len(places) - behind - level
        return [float(points[ahead]) if ahead < len(points) else 0.0]
    return [(behind + 0.5 * level) / len(places)]


def _rankings(among: Sequence[int], rounds: Sequence[Round]) -> list[Ranking]:
    number = {entry: place for place, entry in enumerate(among)}
    rankings: list[Ranking] = []
    for one in rounds:
        for heat in one.heats:
            groups: dict[int, list[int]] = {}
            for finish in heat.finishes:
                if finish.entry in number:
                    groups.setdefault(finish.place, []).append(number[finish.entry])
            rankings.append([groups[place] for place in sorted(groups)])
    return rankings


def _table(
    among: Sequence[int],
    rounds: Sequence[Round],
    every: Sequence[Round],
    points: Sequence[float] | None,
    ahead: int,
    in_final: bool,
) -> tuple[list[Placing], MoreRounds]:
    """The placings of ``among``, who stand behind ``ahead`` others, by ``rounds``."""
    count = len(among)
    if not count:
        return [], MoreRounds(0, 0)
    scores = round_scores(among, rounds, points)
    there = np.isfinite(scores)
    sums = np.where(there, scores, 0.0).sum(axis=0)
    means = sums / np.maximum(there.sum(axis=0), 1)
    strength = strengths(_rankings(among, rounds), count)
    order = sorted(
        range(count),
        key=lambda one: (-round(float(means[one]), 9), -round(float(strength[one]), 9), one),
    )
    pairs = tally(scores)
    first, last = place_ranges(surely_ahead(pairs), order)
    placings = []
    beaten = means if points is None else round_scores(among, rounds).mean(axis=0)
    for one in order:
        arrived, starts, median = _times(every, among[one])
        placings.append(
            Placing(
                among[one],
                ahead + int(first[one]),
                ahead + int(last[one]),
                float(beaten[one]),
                float(strength[one]),
                float(sums[one]) if points is not None else None,
                arrived,
                starts,
                median,
                in_final,
            )
        )
    needed: list[int | None] = []
    for one, other in pairwise(order):
        if (pairs.met[one, other] > 0) and pairs.wins[one, other] == pairs.wins[other, one] == 0:
            # the same walker twice: no number of rounds would do
            continue
        if last[one] < first[other]:
            needed.append(0)
            continue
        wins, losses = int(pairs.wins[one, other]), int(pairs.wins[other, one])
        met = int(pairs.met[one, other])
        total = rounds_to_tell(wins, losses, met, count * (count - 1) // 2)
        needed.append(None if total is None else max(1, total - met))
    if not needed:
        return placings, MoreRounds(0, 0)
    known = [one for one in needed if one is not None]
    return placings, MoreRounds(needed[0], max(known) if len(known) == len(needed) else None)


def _times(rounds: Sequence[Round], entry: int) -> tuple[int, int, float | None]:
    """How often an entry arrived, how often it started, and the median of its times [s], or None."""
    times = [
        np.inf if finish.time_s is None else finish.time_s
        for one in rounds
        for heat in one.heats
        for finish in heat.finishes
        if finish.entry == entry
    ]
    arrived = sum(
        finish.status == ARRIVED
        for one in rounds
        for heat in one.heats
        for finish in heat.finishes
        if finish.entry == entry
    )
    # the lower of the two in the middle, so that none of them is infinite unless most are
    median = sorted(times)[(len(times) - 1) // 2] if times else np.inf
    return arrived, len(times), float(median) if np.isfinite(median) else None
