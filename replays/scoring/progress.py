"""Who leads at any time of a run: by the way left to the nearest goal, or by light where there is none."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agents.arrays import BoolArray, FloatArray, IntArray
from replays.format.tables import Replay
from replays.scoring.measures import goal_distances, reach_times

# Rows of poses farther apart than this [s] have a rest between them.
_REST = 0.1


@dataclass(frozen=True)
class RaceStanding:
    """How all walkers stand at one time.

    ``gone`` (walkers,) is 0 at the start and 1 at the goal, never less than 0; of a run without a goal it is
    the light on the panel as a share of the most that anyone has had. ``value`` is what is told: the way left
    [m], or by how many times the light at the start has grown. ``arrived_s`` [s] is nan for who is not there
    yet. ``order`` are numbers of walkers, the leader first, ``rank`` (walkers,) counts from 1 and is shared
    by who stands alike.
    """

    gone: FloatArray
    value: FloatArray
    arrived_s: FloatArray
    order: IntArray
    rank: IntArray


class Progress:
    """The standing of all walkers of a replay at any time.

    Who has arrived leads, in the order of arrivals; after that counts the shortest way left, walls
    notwithstanding. Without a goal it is the light at the panel against that at the start.
    """

    def __init__(self, replay: Replay) -> None:
        self.has_goal = bool(replay.goals)
        self._count = len(replay.walkers)
        self._span = 2.0 * replay.seconds + 1.0
        self.reach_s: FloatArray = reach_times(replay, replay.goals)
        rows = self._ways(replay) if self.has_goal else self._lights(replay)
        walker, time_s, self._value = rows
        self._key: FloatArray = walker.astype(np.float64) * self._span + time_s
        self._time_s = time_s
        first = np.searchsorted(walker, np.arange(self._count))
        self._first: FloatArray = self._value[first] if self._count else np.zeros(0)
        self._most = float(self._value.max(initial=1e-12)) if not self.has_goal else 1.0
        self._latest: tuple[float, RaceStanding] | None = None

    def _ways(self, replay: Replay) -> tuple[NDArray[np.integer], FloatArray, FloatArray]:
        """Walker, time [s] and way left [m] at the start and wherever a walker comes to rest."""
        poses = replay.poses
        rests = np.ones(len(poses), dtype=bool)
        rests[:-1] = (np.diff(poses["time_s"]) > _REST) | (np.diff(poses["walker"]) != 0)
        rows = poses[rests]
        everyone = np.arange(self._count)
        walker = np.concatenate([everyone, rows["walker"]])
        time_s = np.concatenate([np.zeros(self._count), rows["time_s"].astype(np.float64)])
        left = np.concatenate(
            [
                goal_distances(replay, replay.goals, everyone, replay.walkers),
                goal_distances(replay, replay.goals, rows["walker"].astype(np.int64), rows),
            ]
        )
        order = np.lexsort((time_s, walker))
        return walker[order], time_s[order], left[order]

    def _lights(self, replay: Replay) -> tuple[NDArray[np.integer], FloatArray, FloatArray]:
        """Walker, time [s], and light at the panel against that at the start."""
        lights = replay.lights
        first = np.searchsorted(lights["walker"], np.arange(self._count))
        panel = lights["panel_lx"].astype(np.float64)
        at_start = np.maximum(panel[first], 1e-9)
        return lights["walker"], lights["time_s"].astype(np.float64), panel / at_start[lights["walker"]]

    def values(self, time_s: float) -> FloatArray:
        """Way left [m], or how many times the light at the start, of every walker at ``time_s`` [s]."""
        key = np.arange(self._count) * self._span + time_s
        found: FloatArray = self._value[np.searchsorted(self._key, key, side="right") - 1]
        return found

    def at(self, time_s: float) -> RaceStanding:
        """How all stand at ``time_s`` [s]; kept for the next who asks for the same time."""
        if self._latest is None or self._latest[0] != time_s:
            self._latest = (time_s, self._work_out(time_s))
        return self._latest[1]

    def _work_out(self, time_s: float) -> RaceStanding:
        value = self.values(time_s)
        there: BoolArray = self.reach_s <= time_s
        arrived = np.where(there, self.reach_s, np.nan)
        if self.has_goal:
            value = np.where(there, 0.0, value)
            gone = np.where(there, 1.0, np.clip(1.0 - value / np.maximum(self._first, 1e-9), 0.0, 0.999))
            by = (np.where(there, 0.0, value), np.where(there, self.reach_s, np.inf))
        else:
            gone = np.clip(value / self._most, 0.0, 1.0)
            by = (-value, np.zeros(len(value)))
        order = np.lexsort((np.arange(len(value)), *by))
        rank = np.ones(len(value), dtype=np.int64)
        alike = np.ones(len(order), dtype=bool)
        for part in by:
            # the same value counts as a tie, and so do two that never come
            alike[1:] &= part[order][1:] == part[order][:-1]
        alike[:1] = False
        places = np.arange(1, len(order) + 1)
        rank[order] = np.maximum.accumulate(np.where(alike, 0, places)) if len(order) else places
        return RaceStanding(gone, value, arrived, order, rank)

    def lead_changes(self) -> list[tuple[float, int]]:
        """When [s] which walker took the lead, from the first moment at which anyone had moved."""
        changes: list[tuple[float, int]] = []
        # a look wherever anyone's value changes, some hundreds of them at the most
        times = np.unique(self._time_s)
        times = times[times > 0.0]
        for time_s in times[:: max(1, len(times) // 600)].tolist():
            standing = self.at(time_s)
            leader = int(standing.order[0])
            if not changes or changes[-1][1] != leader:
                changes.append((time_s, leader))
        return changes

    def decisive_moment(self) -> tuple[float, int] | None:
        """When [s] who took the lead that nobody took away any more; None where nobody has moved."""
        changes = self.lead_changes()
        return changes[-1] if changes else None
