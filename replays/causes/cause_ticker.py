"""The causes of pulses in the order in which a film shows them, so calmly that they can be read."""

import numpy as np

from agents.errors import ReplayError
from replays.causes.sentences import pulse_cause
from replays.causes.traces import Circuits
from replays.format.tables import Replay
from replays.words import clock_words

HELD_S = 2.0
"""How long [s of the film] a sentence stands at the least."""


class CauseTicker:
    """Tells, from frame to frame, why a walker fired the side it did.

    ``names`` are what the walkers are called. ``walker`` is the one whose pulses are told; None for those of
    all of them. Of the pulses that a film has shown since the last sentence the latest is told, and how many
    there were. Raises ReplayError where a design in the file cannot be read.
    """

    def __init__(self, replay: Replay, names: list[str], walker: int | None = None) -> None:
        if len(names) != len(replay.walkers):
            raise ReplayError(f"{len(names)} names for {len(replay.walkers)} walkers")
        self._circuits, self._names = Circuits(replay), names
        pulses = replay.pulses
        starts, walkers = pulses["start_s"], pulses["walker"]
        # in the order of time; each with its number among those of its walker
        order = np.argsort(starts, kind="stable")
        numbers = np.zeros(len(starts), dtype=np.int64)
        for one in np.unique(walkers).tolist():
            mine = np.flatnonzero(walkers == one)
            numbers[mine] = np.arange(len(mine))
        if walker is not None:
            order = order[walkers[order] == walker]
        self._starts, self._walkers, self._numbers = starts[order], walkers[order], numbers[order]
        for one in np.unique(replay.walkers["design"][self._walkers]).tolist():
            self._circuits.design(int(one))
        self._words, self._since = "", -np.inf
        self._seen = 0
        self._last = 0.0

    def words(self, now_s: float, time_s: float) -> str:
        """What stands at ``now_s`` [s of the film], which shows the run at ``time_s`` [s].

        To be asked from frame to frame; where the run has gone back, its pulses are told once more.
        """
        if time_s < self._last:
            self._seen = int(np.searchsorted(self._starts, time_s, side="left"))
        self._last = time_s
        fired = int(np.searchsorted(self._starts, time_s, side="right"))
        if fired > self._seen and now_s - self._since >= HELD_S - 1e-9:
            self._words, self._since = self._told(fired - 1, fired - self._seen), now_s
            self._seen = fired
        return self._words

    def _told(self, number: int, count: int) -> str:
        walker = int(self._walkers[number])
        cause = pulse_cause(self._circuits.trace(walker), int(self._numbers[number]))
        passed = f" (the last of {count} pulses)" if count > 1 else ""
        return f"{clock_words(float(self._starts[number]))} {self._names[walker]}{passed}: {cause.words}"
