"""The parts of a run in which something moves, so that the waits between them can be skipped."""

import numpy as np

from agents.arrays import FloatArray
from replays.format.tables import Replay

# Shown before a pulse begins and after the walker has come to rest [s].
BEFORE, AFTER = 0.04, 0.08


class Stretches:
    """Busy stretches of a run of ``seconds`` [s], and the clock that runs during them alone."""

    def __init__(self, starts_s: FloatArray, rests_s: FloatArray, seconds: float) -> None:
        """``starts_s`` and ``rests_s`` [s] of the moves, sorted by start; they may overlap."""
        begins = np.clip(starts_s - BEFORE, 0.0, seconds)
        ends = np.maximum.accumulate(np.clip(rests_s + AFTER, 0.0, seconds)) if len(rests_s) else rests_s
        fresh = np.ones(len(begins), dtype=bool)
        fresh[1:] = begins[1:] > ends[:-1]
        self.begins: FloatArray = begins[fresh]
        self.ends: FloatArray = ends[np.append(fresh[1:], True)] if len(ends) else ends
        self._busy: FloatArray = np.append(0.0, np.cumsum(self.ends - self.begins))

    @classmethod
    def of(cls, replay: Replay, walker: int | None = None) -> "Stretches":
        """The stretches in which ``walker`` moves, or anyone if None."""
        pulses = replay.pulses
        if walker is not None:
            pulses = pulses[pulses["walker"] == walker]
        return cls(pulses["start_s"].astype(np.float64), pulses["rest_s"].astype(np.float64), replay.seconds)

    @property
    def busy_s(self) -> float:
        """Length of all stretches together [s]."""
        return float(self._busy[-1])

    def to_busy(self, time_s: float) -> float:
        """How much [s] of the stretches lies before ``time_s`` [s]."""
        number = int(np.searchsorted(self.begins, time_s, side="right")) - 1
        if number < 0:
            return 0.0
        return float(self._busy[number] + min(time_s, self.ends[number]) - self.begins[number])

    def to_run(self, busy_s: float) -> float:
        """The time [s] of the run at which ``busy_s`` [s] of the stretches have gone by."""
        if not len(self.begins):
            return 0.0
        number = int(np.searchsorted(self._busy, busy_s, side="right")) - 1
        number = min(max(number, 0), len(self.begins) - 1)
        return float(min(self.begins[number] + busy_s - self._busy[number], self.ends[number]))
