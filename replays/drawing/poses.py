"""Where every walker of a replay is at any time."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray, RecordArray
from replays.format.tables import POSES, Replay

LONGEST_STEP = 0.1
"""Rows farther apart than this are a rest, not a move [s]."""


@dataclass(frozen=True)
class Pose:
    """Where a walker stands [m] and heads [rad]."""

    x: float
    y: float
    heading: float


class Poses:
    """All poses of a replay, ready to be asked for any time; who has no row yet stands where it started."""

    def __init__(self, replay: Replay) -> None:
        self.walkers = replay.walkers
        self.rows = _with_starts(replay)
        everyone = np.arange(len(replay.walkers) + 1)
        self.edges: NDArray[np.intp] = np.searchsorted(self.rows["walker"], everyone)
        # one sorted key for walker and time together, so that one search finds all walkers
        self._span = 2.0 * replay.seconds + 1.0
        self._keys = self.key(self.rows["walker"], self.rows["time_s"])
        self._latest: tuple[float, tuple[FloatArray, FloatArray, FloatArray]] | None = None

    def key(self, walker: NDArray[np.integer], time_s: FloatArray) -> FloatArray:
        """One number for ``walker`` and ``time_s`` [s], in the order of the rows."""
        keys: FloatArray = walker.astype(np.float64) * self._span + time_s
        return keys

    def at(self, time_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """x, y [m] and heading [rad] of all walkers: between rows of a move in proportion, else at rest.

        The arrays are kept for the next who asks for the same time, so they are not to be written to.
        """
        if self._latest is None or self._latest[0] != time_s:
            self._latest = (time_s, self._look_up(time_s))
        return self._latest[1]

    def _look_up(self, time_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        everyone = np.arange(len(self.walkers))
        after = np.searchsorted(self._keys, self.key(everyone, np.full(len(everyone), time_s)), side="right")
        before = np.maximum(after - 1, self.edges[:-1])
        after = np.where(after < self.edges[1:], after, before)
        rows, following = self.rows[before], self.rows[after]
        span = following["time_s"] - rows["time_s"]
        moves = (span > 0.0) & (span <= LONGEST_STEP)
        share = np.where(moves, (time_s - rows["time_s"]) / np.where(moves, span, 1.0), 0.0)
        x = rows["x"] + share * (following["x"].astype(np.float64) - rows["x"])
        y = rows["y"] + share * (following["y"].astype(np.float64) - rows["y"])
        heading = rows["heading"].astype(np.float64)
        # the short way round, should the heading have been kept within one turn
        turn = following["heading"].astype(np.float64) - heading
        turn = np.remainder(turn + math.pi, 2.0 * math.pi) - math.pi
        return x, y, heading + share * turn

    def pose(self, walker: int, time_s: float) -> Pose:
        """Where one ``walker`` is at ``time_s`` [s]."""
        x, y, heading = self.at(time_s)
        return Pose(float(x[walker]), float(y[walker]), float(heading[walker]))

    def path(self, walker: int, time_s: float) -> FloatArray:
        """Places (n, 2) [m] of the rows of ``walker`` until ``time_s`` [s], and of where it is then."""
        rows = self.rows[self.edges[walker] : self.edges[walker + 1]]
        rows = rows[: int(np.searchsorted(rows["time_s"], time_s, side="right"))]
        here = self.pose(walker, time_s)
        return np.append(
            np.column_stack([rows["x"], rows["y"]]).astype(np.float64), [[here.x, here.y]], axis=0
        )


def _with_starts(replay: Replay) -> RecordArray:
    """The rows of poses, and one at time 0 for every walker that has none, as before a run has begun."""
    rows, walkers = replay.poses, replay.walkers
    missing = np.setdiff1d(np.arange(len(walkers)), rows["walker"])
    if len(missing) == 0:
        return rows
    starts = np.zeros(len(missing), POSES)
    starts["walker"] = missing
    for column in ("x", "y", "heading"):
        starts[column] = walkers[column][missing]
    return np.insert(rows, np.searchsorted(rows["walker"], missing), starts)
