"""Who has reached a goal by when, in which order, and how many have come through which gate."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray, IntArray
from replays.format.tables import Replay
from replays.scoring.crowd_measures import CrowdFloor, passage_times
from replays.scoring.measures import reach_times


@dataclass(frozen=True)
class Arrival:
    """One walker's reaching a goal at ``time_s`` [s]; ``rank`` counts from 1."""

    rank: int
    walker: int
    time_s: float


class Standings:
    """The arrivals of a replay in their order."""

    def __init__(self, replay: Replay) -> None:
        self.has_goal = bool(replay.goals)
        times = reach_times(replay, replay.goals)
        order = np.lexsort((np.arange(len(times)), times))
        order = order[: int(np.count_nonzero(~np.isnan(times)))]
        self.arrivals = [
            Arrival(rank, int(walker), float(times[walker])) for rank, walker in enumerate(order, start=1)
        ]
        self._times = times[order]
        self._passages: dict[str, FloatArray] = {
            gate: np.sort(passage_times(replay, line))
            for gate, line in CrowdFloor.of(replay.arena).gates.items()
        }
        self._designs: NDArray[np.int32] = replay.walkers["design"]
        self._count = len(replay.design_names)

    def count(self, time_s: float) -> int:
        """How many have arrived by ``time_s`` [s]."""
        return int(np.searchsorted(self._times, time_s, side="right"))

    def through(self, time_s: float) -> dict[str, int]:
        """How many have come through each gate by ``time_s`` [s]."""
        # who never comes stands at the end, as nan
        return {
            gate: int(np.searchsorted(times, time_s, side="right")) for gate, times in self._passages.items()
        }

    def by_design(self, time_s: float) -> IntArray:
        """How many of each design have arrived by ``time_s`` [s]."""
        there = [arrival.walker for arrival in self.arrivals[: self.count(time_s)]]
        return np.bincount(self._designs[there], minlength=self._count)
