"""The pulse that decided how a walker fared in a race, with what it did, taken from the replay alone.

What decided is, of who fell behind: that it never fired; that its pulses hardly moved it; else the sort of
time (:mod:`replays.scoring.time_shares`) that took the most of its walk, if that is at least a seventh; else
that it was slower than who came in first. The pulse is then the one with which that began, or of the pulses
that turned it past the light the one that lost the most way. Of who came in first it is the pulse from which
on nobody else had gained a larger share of the way. Where light is what counts it is the one that lost, or
gained, the most light, and where it counts who moves last, the last one that moved it. These choices are
this program's own.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from agents.arrays import FloatArray, IntArray
from replays.causes.sentences import volts_words
from replays.format.tables import CUT_OFF, WALL, Replay
from replays.scoring.episodes import Episodes
from replays.scoring.measures import LEAST_MOVE, goal_distances
from replays.scoring.time_shares import (
    IN_SHADE,
    LATCHED,
    ON_WALLS,
    SILENT,
    TURNING_PAST,
    TimeUse,
)
from replays.words import length_words, light_words, time_words

BY_WAY, BY_LIGHT, BY_MOVING = "way", "light", "moving"
"""What may count in a race."""

NEVER_FIRED, HARDLY_MOVES, BEHIND, AHEAD = "never fired", "hardly moves", "behind", "ahead"
CAUSES = (NEVER_FIRED, HARDLY_MOVES, LATCHED, SILENT, ON_WALLS, IN_SHADE, TURNING_PAST, BEHIND, AHEAD)
"""What can have decided."""

LOSSES = (LATCHED, SILENT, ON_WALLS, IN_SHADE, TURNING_PAST)
LEAST_LOSS = 1.0 / 7.0
"""A sort of time that took less than this share of a walk did not decide it."""

# Times of the same event that were summed up in different ways may differ by the last digits [s].
_SAME = 1e-6
# A way [m] that nobody sees.
_NO_MOVE = 1e-6


@dataclass(frozen=True)
class Decision:
    """What decided how ``walker`` fared: a ``cause`` of CAUSES, and its pulse ``number``, from 0.

    ``time_s`` [s] is when that fired; both are None where none did. ``words`` say in a clause what it did.
    """

    walker: int
    cause: str
    number: int | None
    time_s: float | None
    words: str


class Deciding:
    """Finds what decided in one replay.

    ``first`` (walkers,) is the number of the walker that came in first among those with whom each one raced,
    and ``groups`` (walkers,) says who raced with whom: those of like number. ``by`` is what counts: if left
    out the way to a goal, where there is any, else the light.
    """

    def __init__(
        self,
        replay: Replay,
        use: TimeUse,
        first: IntArray,
        groups: IntArray,
        names: Sequence[str],
        by: str | None = None,
    ) -> None:
        self._by = by or (BY_WAY if replay.goals else BY_LIGHT)
        self._replay, self._use, self._first, self._groups, self._names = replay, use, first, groups, names
        poses = replay.poses
        edges = np.searchsorted(poses["walker"], np.arange(len(first) + 1))
        self._rows = [slice(int(a), int(b)) for a, b in pairwise(edges)]
        # what is left of the way, 1 at the start; nan where there is none to go
        left = goal_distances(replay, replay.goals, poses["walker"], poses)
        at_start = left[edges[:-1]][poses["walker"]] if len(poses) else left
        with np.errstate(divide="ignore", invalid="ignore"):
            self._left = np.where((at_start > 0.0) & (at_start < np.inf), left / at_start, np.nan)

    def of(self, walker: int) -> Decision:
        """What decided how ``walker`` fared."""
        replay, use = self._replay, self._use
        rows = np.flatnonzero(replay.pulses["walker"] == walker)
        on_walk = rows[replay.pulses["start_s"][rows] < use.walk_s[walker]]
        if not len(on_walk):
            return Decision(walker, NEVER_FIRED, None, None, "it never fired")
        cause = self._cause(walker, on_walk)
        find = {
            HARDLY_MOVES: self._hardly_moving,
            LATCHED: self._latched,
            SILENT: self._silent,
            ON_WALLS: self._on_walls,
            IN_SHADE: self._in_shade,
            TURNING_PAST: self._turning_past,
            BEHIND: self._behind,
            AHEAD: self._ahead,
        }[cause]
        number, words = find(walker, on_walk)
        return Decision(walker, cause, number, float(replay.pulses["start_s"][rows[number]]), words)

    def _cause(self, walker: int, rows: IntArray) -> str:
        if self._first[walker] == walker:
            return AHEAD
        free = self._replay.pulses[rows][self._replay.pulses["touched"][rows] == 0]
        if 2 * np.count_nonzero(free["path_m"] < LEAST_MOVE) > len(free):
            return HARDLY_MOVES
        shares = self._use.of(walker)
        losses = LOSSES if self._by != BY_MOVING else (LATCHED, SILENT)
        worst = max(losses, key=lambda sort: shares[sort])
        return worst if shares[worst] >= LEAST_LOSS else BEHIND

    def _hardly_moving(self, walker: int, rows: IntArray) -> tuple[int, str]:
        pulse = self._replay.pulses[rows[0]]
        median = float(np.median(self._replay.pulses["path_m"][rows]))
        let_go, trigger, path = (float(pulse[name]) for name in ("let_go_V", "trigger_V", "path_m"))
        # one that empties its storage has not released early
        early = " already" if let_go > 0.5 * trigger else ""
        others = (
            f"as the others did (half of its pulses less than {length_words(median)})"
            if median >= _NO_MOVE
            else "and at least half of its pulses did not either"
        )
        moved = f"moved it {length_words(path)}" if path >= _NO_MOVE else "did not move it"
        return 0, (
            f"it released at {volts_words(let_go)}{early}, having fired at {volts_words(trigger)}, and "
            f"{moved}, {others}"
        )

    def _latched(self, walker: int, rows: IntArray) -> tuple[int, str]:
        pulses = self._replay.pulses[rows]
        number = int(np.argmax(pulses["let_go_s"] - pulses["start_s"]))
        lasted = time_words(float(pulses["let_go_s"][number] - pulses["start_s"][number]))
        if pulses["ended"][number] == CUT_OFF:
            return number, f"its latch did not release again ({lasted}, to the end)"
        return number, f"its latch released only after {lasted}"

    def _silent(self, walker: int, rows: IntArray) -> tuple[int, str]:
        rest = float(self._replay.pulses["rest_s"][rows[-1]])
        lights = self._replay.lights[self._replay.lights["walker"] == walker]
        light = light_words(float(lights["panel_lx"][-1]))
        silent = time_words(self._replay.seconds - rest)
        return len(rows) - 1, f"it was its last: in the {light} of the place it stayed silent for {silent}"

    def _on_walls(self, walker: int, rows: IntArray) -> tuple[int, str]:
        began, lasted, fired, free = self._longest(self._use.contacts, walker)
        touches = self._replay.touches
        met = touches[(touches["walker"] == walker) & (np.abs(touches["time_s"] - began) <= _SAME)]
        what = "a wall" if len(met) and bool((met["against"] == WALL).any()) else "another walker"
        number, was_moving = self._at(rows, began)
        how = f"it ran against {what}" if was_moving else f"after it {what} was in touch with it"
        spent = f"{time_words(lasted)} and {fired} pulse{'' if fired == 1 else 's'}"
        if free:
            return number, f"{how}, and it took {spent} before it was free"
        return number, f"{how}, and it was not free again, in {spent}"

    def _in_shade(self, walker: int, rows: IntArray) -> tuple[int, str]:
        began, lasted, _, free = self._longest(self._use.shades, walker)
        lights = self._replay.lights[self._replay.lights["walker"] == walker]
        row = lights[max(int(np.searchsorted(lights["time_s"], began + _SAME, side="right")) - 1, 0)]
        dim, bright = (light_words(float(row[name])) for name in ("panel_lx", "open_panel_lx"))
        number, _ = self._at(rows, began)
        until = "" if free else ", to the end"
        how = "it went into a shadow" if began > 0.0 else "it began in a shadow"
        return (
            number,
            f"{how} ({dim} against {bright} in the open) and stayed for {time_words(lasted)}{until}",
        )

    def _turning_past(self, walker: int, rows: IntArray) -> tuple[int, str]:
        use, pulses = self._use, self._replay.pulses
        away = np.abs(np.angle(np.exp(1j * (use.bearing[rows] - use.turn[rows]))))
        cost = away
        if self._replay.goals:
            cost = np.array([self._lost(walker, int(row)) for row in rows])
        number = int(np.argmax(np.where(use.past[rows], cost, -np.inf)))
        turn = math.degrees(float(use.turn[rows[number]]))
        side = "left" if turn > 0.0 else "right"
        lost = cost[number] if self._replay.goals else 0.0
        farther = f", {length_words(lost)} farther from the goal" if lost >= LEAST_MOVE else ""
        past = int(np.count_nonzero(use.past[rows]))
        assert pulses["walker"][rows[number]] == walker
        return number, (
            f"it turned {abs(turn):.0f}° to the {side}, past the light, and left the nose "
            f"{math.degrees(float(away[number])):.0f}° off it{farther}, one of {past} such of {len(rows)}"
        )

    def _behind(self, walker: int, rows: IntArray) -> tuple[int, str]:
        if self._by == BY_MOVING:
            return self._last_move(rows)
        if self._by == BY_LIGHT or self._lacks_way(walker):
            return self._most_light(walker, rows, -1.0)
        rival = int(self._first[walker])
        until = min(float(self._use.walk_s[walker]), float(self._use.walk_s[rival]))
        times = self._times([walker, rival], until)
        level = self._left_at(walker, times) <= self._left_at(rival, times)
        first = float(self._replay.pulses["start_s"][rows[0]])
        # before its first pulse it cannot have been level but by standing
        level &= times >= first
        fired = self._replay.pulses["walker"] == rival
        if not level.any():
            count = int(np.count_nonzero(fired & (self._replay.pulses["start_s"] <= first)))
            pulses = f"{count} pulse{'' if count == 1 else 's'}"
            return 0, f"{self._names[rival]} was ahead already, with {pulses} fired, and stayed so"
        number, _ = self._at(rows, float(times[np.flatnonzero(level)[-1]]))
        return number, f"after it {self._names[rival]} was ahead for good"

    def _ahead(self, walker: int, rows: IntArray) -> tuple[int, str]:
        if self._by == BY_MOVING:
            return self._last_move(rows)
        if self._by == BY_LIGHT or self._lacks_way(walker):
            return self._most_light(walker, rows, 1.0)
        rivals = np.flatnonzero(self._groups == self._groups[walker])
        rivals = rivals[(rivals != walker) & np.array([not self._lacks_way(one) for one in rivals.tolist()])]
        if not len(rivals):
            return 0, "nobody else raced with it"
        until = float(self._use.walk_s[walker])
        times = self._times([walker, *rivals.tolist()], until)
        nearest = np.min([self._left_at(int(one), times) for one in rivals], axis=0)
        behind = np.flatnonzero(self._left_at(walker, times) > nearest)
        if not len(behind):
            return 0, "from then on nobody was ahead of it"
        leads = float(times[min(int(behind[-1]) + 1, len(times) - 1)])
        number, _ = self._at(rows, leads)
        return number, "from then on nobody was ahead of it"

    def _last_move(self, rows: IntArray) -> tuple[int, str]:
        moved = np.flatnonzero(self._replay.pulses["path_m"][rows] >= LEAST_MOVE)
        number = int(moved[-1]) if len(moved) else len(rows) - 1
        way = length_words(float(self._replay.pulses["path_m"][rows[number]]))
        return number, f"it was the last that moved it ({way})"

    def _lacks_way(self, walker: int) -> bool:
        return bool(np.isnan(self._left[self._rows[walker]]).any())

    def _most_light(self, walker: int, rows: IntArray, sign: float) -> tuple[int, str]:
        """The pulse that gained (``sign`` 1) or lost (-1) the most light on the panel."""
        lights = self._replay.lights[self._replay.lights["walker"] == walker]
        pulses = self._replay.pulses[rows]

        def at(times: FloatArray) -> FloatArray:
            found: FloatArray = lights["panel_lx"][np.searchsorted(lights["time_s"], times + _SAME) - 1]
            return found.astype(np.float64)

        before, after = at(pulses["start_s"]), at(pulses["rest_s"])
        number = int(np.argmax(sign * (after - before)))
        words = f"it took its panel from {light_words(before[number])} to {light_words(after[number])}"
        if sign * (after[number] - before[number]) > 0.0:
            return number, words
        other = "more" if sign > 0.0 else "less"
        return number, f"{words}, and none of its pulses brought it to {other} light"

    def _longest(self, episodes: Episodes, walker: int) -> tuple[float, float, int, bool]:
        """When the longest episode on the walk began, its length on the walk [s], its pulses, if free."""
        end = float(self._use.walk_s[walker])
        mine = np.flatnonzero((episodes.walker == walker) & (episodes.began_s < end))
        lasted = np.minimum(episodes.lasted_s[mine], end - episodes.began_s[mine])
        one = int(mine[np.argmax(lasted)])
        return (
            float(episodes.began_s[one]),
            float(lasted.max()),
            int(episodes.pulses[one]),
            bool(episodes.free[one]),
        )

    def _at(self, rows: IntArray, time_s: float) -> tuple[int, bool]:
        """The pulse under way at ``time_s`` [s], or fired last before, by number; and if it is moving."""
        pulses = self._replay.pulses[rows]
        number = max(int(np.searchsorted(pulses["start_s"], time_s + _SAME, side="right")) - 1, 0)
        moving = pulses["start_s"][number] - _SAME <= time_s <= pulses["rest_s"][number] + _SAME
        return number, bool(moving)

    def _lost(self, walker: int, row: int) -> float:
        """How much farther from the goal [m] a pulse left its walker."""
        pulse = self._replay.pulses[row]
        poses = np.zeros(2, self._replay.poses.dtype)
        for place in (0, 1):
            for name in ("x", "y", "heading"):
                poses[name][place] = pulse[f"{name}{place}"]
        before, after = goal_distances(self._replay, self._replay.goals, np.full(2, walker), poses).tolist()
        return float(after - before)

    def _times(self, walkers: Sequence[int], until: float) -> FloatArray:
        times = np.unique(np.concatenate([self._replay.poses["time_s"][self._rows[one]] for one in walkers]))
        early: FloatArray = times[times <= until]
        return early

    def _left_at(self, walker: int, times: FloatArray) -> FloatArray:
        """What was left of the way of ``walker`` at ``times`` [s], as a share."""
        rows = self._rows[walker]
        place = np.searchsorted(self._replay.poses["time_s"][rows], times, side="right") - 1
        left: FloatArray = self._left[rows][np.maximum(place, 0)]
        return left
