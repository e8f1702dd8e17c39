"""Episodes: from meeting an obstacle or a shadow to being free of it, or to the end of the run.

A *spell* is a stretch of time without a break in which the walker is touched (either whisker closed, or the
body against something), or shaded (the panel has less than half the light that it would have, had nothing
stood in the way). Two spells of a kind belong to one *episode* unless the walker made at least two free
pulses between them: pulses that began after the first spell and came to rest before the second. So a walker
that lets go of a wall and swings back into it has one episode, not many.

An episode has ended *free* when two free pulses followed its last spell; else the end of the run cut it off.
It lasts from its first spell's start to its last spell's end, or to the end of the run. These definitions are
this program's own.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agents.arrays import BoolArray, FloatArray, IntArray, RecordArray
from replays.format.tables import LET_GO, WALKER, Tables

FREE_PULSES = 2
"""Free pulses that end an episode."""

SHADED_BELOW = 0.5
"""A panel is shaded below this share of the light in the open."""

# Times of the same event that were summed up in different ways may differ by the last digits [s].
_SAME = 1e-9


@dataclass(frozen=True)
class Episodes:
    """One kind of episode, all (n,): whose, from when [s], how long [s], pulses meanwhile, free after."""

    walker: IntArray
    began_s: FloatArray
    lasted_s: FloatArray
    pulses: IntArray
    free: BoolArray


@dataclass(frozen=True)
class _Spells:
    walker: IntArray
    began_s: FloatArray
    ended_s: FloatArray


def contact_episodes(tables: Tables, seconds: float) -> Episodes:
    """Episodes of touching a wall or another walker, in a run of ``seconds`` [s]."""
    return _episodes(tables, _touched(tables), seconds)


def meeting_episodes(tables: Tables, seconds: float) -> Episodes:
    """Episodes of touching another walker, whoever came upon whom, in a run of ``seconds`` [s]."""
    return _episodes(tables, _touched(tables, WALKER), seconds)


def meeting_times(tables: Tables, seconds: float) -> FloatArray:
    """How long [s] each walker was touched by another in a run of ``seconds`` [s], (walkers,)."""
    spells = _touched(tables, WALKER)
    lasted = np.minimum(spells.ended_s, seconds) - spells.began_s
    times: FloatArray = np.zeros(len(tables.walkers))
    times += np.bincount(spells.walker, weights=lasted, minlength=len(times))
    return times


def shade_episodes(tables: Tables, seconds: float) -> Episodes:
    """Episodes of standing in the shadow of something, in a run of ``seconds`` [s]."""
    return _episodes(tables, _shaded(tables), seconds)


def _touched(tables: Tables, against: int | None = None) -> _Spells:
    """Spells of touching anything, or what is told by ``against`` alone."""
    touches = tables.touches
    if against is not None:
        touches = touches[touches["against"] == against]
    ordered = touches[np.lexsort((touches["time_s"], touches["part"], touches["walker"]))]
    # A part has one switch: only a row that changes its state counts, and before its first row it is open.
    same_part = np.zeros(len(ordered), dtype=bool)
    same_part[1:] = (ordered["walker"][1:] == ordered["walker"][:-1]) & (
        ordered["part"][1:] == ordered["part"][:-1]
    )
    before = np.where(same_part, np.roll(ordered["closed"], 1), 0)
    changes = ordered[ordered["closed"] != before]
    step = 2 * changes["closed"].astype(np.int64) - 1
    order = np.lexsort((changes["time_s"], changes["walker"]))
    changes, step = changes[order], step[order]
    # A walker may end the run touching: what it has left over must not count for the next.
    left_over = np.bincount(changes["walker"], weights=step, minlength=len(tables.walkers))
    owed = np.concatenate(([0], np.cumsum(left_over)))[:-1].astype(np.int64)
    count = np.cumsum(step) - owed[changes["walker"]]
    begins = (count == 1) & (step == 1)
    ends = count == 0
    walker = changes["walker"][begins].astype(np.int64)
    began = changes["time_s"][begins]
    # Every spell but a walker's last has its end; pair them from the front, walker by walker.
    ended = np.full(walker.shape, np.inf)
    is_last = np.append(walker[1:] != walker[:-1], True) if walker.size else np.zeros(0, dtype=bool)
    unfinished = is_last & (left_over[walker] > 0)
    ended[~unfinished] = changes["time_s"][ends]
    return _Spells(walker, began, ended)


def _shaded(tables: Tables) -> _Spells:
    lights = tables.lights
    dark = lights["panel_lx"] < SHADED_BELOW * lights["open_panel_lx"]
    first = np.ones(len(lights), dtype=bool)
    first[1:] = lights["walker"][1:] != lights["walker"][:-1]
    last = np.append(first[1:], True)
    begins = np.flatnonzero(dark & (first | ~np.roll(dark, 1)))
    final = np.flatnonzero(dark & (last | ~np.roll(dark, -1)))
    ended = np.full(final.shape, np.inf)
    goes_on = ~last[final]
    ended[goes_on] = lights["time_s"][final[goes_on] + 1]
    return _Spells(lights["walker"][begins].astype(np.int64), lights["time_s"][begins], ended)


def _episodes(tables: Tables, spells: _Spells, seconds: float) -> Episodes:
    pulses = tables.pulses[np.argsort(tables.pulses["walker"], kind="stable")]
    edges = np.searchsorted(pulses["walker"], np.arange(len(tables.walkers) + 1))
    mine = np.searchsorted(spells.walker, np.arange(len(tables.walkers) + 1))
    found = [
        _of_one_walker(
            walker,
            spells.began_s[mine[walker] : mine[walker + 1]],
            spells.ended_s[mine[walker] : mine[walker + 1]],
            pulses[edges[walker] : edges[walker + 1]],
            seconds,
        )
        for walker in np.unique(spells.walker)
    ]
    columns = zip(*found, strict=True) if found else ([], [], [], [], [])
    types = (np.int64, np.float64, np.float64, np.int64, np.bool_)
    return Episodes(
        *(np.concatenate([np.zeros(0, kind), *column]) for column, kind in zip(columns, types, strict=True))
    )


def _of_one_walker(
    walker: np.int64,
    began: FloatArray,
    ended: FloatArray,
    pulses: RecordArray,
    seconds: float,
) -> tuple[NDArray[np.generic], ...]:
    starts, rests = pulses["start_s"], pulses["rest_s"]
    # A walker's pulses follow one another, so those within a gap are those at rest before it closes, less
    # those begun before it opened.
    begun_before_end = np.searchsorted(starts, ended - _SAME)
    free_between = np.searchsorted(rests, began[1:] - _SAME) - begun_before_end[:-1]
    splits = free_between >= FREE_PULSES
    first, last = np.append(True, splits), np.append(splits, True)
    from_s, to_s = began[first], ended[last]
    finished = int(np.count_nonzero(pulses["ended"] == LET_GO))
    free = finished - begun_before_end[last] >= FREE_PULSES
    to_s = np.where(free, to_s, seconds)
    fired = np.searchsorted(starts, to_s, side="right") - np.searchsorted(starts, from_s)
    return np.full(from_s.shape, walker), from_s, to_s - from_s, fired, free
