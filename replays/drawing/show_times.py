"""When a show of a run shows what: countdown, the run, slowly where it is decided, that moment again, places.

The show's clock runs in seconds of the viewer; the run is played along it, so that a film and a window show
the same.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from replays.drawing.calm_fast_play import HURRIED
from replays.drawing.moving_spans import Stretches
from replays.format.tables import Replay
from replays.scoring.progress import Progress

COUNTDOWN, RUN, SLOW, HOLD, AGAIN, FINAL = "countdown", "run", "slow", "hold", "again", "final"
"""What is going on: before the start, in the run, at its finish, at its end, once more, the places."""

COUNTS = 3
"""From which number is counted down, a second each."""

# How long [s] the run takes at the least and at the most, the finish, the moment again, and the places.
_SHORTEST, _LONGEST = 45.0, 150.0
_SLOW_LASTS, _AGAIN_LASTS, _HOLD_LASTS, _FINAL_LASTS = 5.0, 8.0, 1.5, 8.0
# By how much the finish is slower than the run.
_SLOWER = 8.0


@dataclass(frozen=True)
class Part:
    """From ``begins_s`` on for ``lasts_s`` [s of the show] ``what`` is shown.

    Meanwhile the run goes from ``from_s`` to ``to_s`` [s]; where it ``skips``, without the waits in which
    nobody moves.
    """

    what: str
    begins_s: float
    lasts_s: float
    from_s: float
    to_s: float
    skips: bool = False


class ShowTimes:
    """The parts of a show of ``replay``.

    ``lasts_s`` [s] is how long the run itself takes on the screen, None for as long as can be followed: no
    shorter than 45 s, and longer where walkers fire often.
    """

    def __init__(self, replay: Replay, progress: Progress, lasts_s: float | None = None) -> None:
        self._stretches = Stretches.of(replay)
        self.decisive = progress.decisive_moment()
        reached = progress.reach_s[np.isfinite(progress.reach_s)]
        self.finish_s = float(reached.min()) if len(reached) else None
        pulses = len(replay.pulses) / max(len(replay.walkers), 1)
        run_s = min(max(pulses / (0.9 * HURRIED), _SHORTEST), _LONGEST) if lasts_s is None else lasts_s
        self.parts: list[Part] = []
        self._add(COUNTDOWN, float(COUNTS), 0.0, 0.0)
        self._add_run(replay.seconds, run_s)
        if self.decisive is not None:
            middle = self.decisive[0]
            half = 0.5 * _AGAIN_LASTS * self._speed / _SLOWER
            first, last = max(middle - half, 0.0), min(middle + half, replay.seconds)
            self._add(AGAIN, _AGAIN_LASTS, first, last)
        self._add(FINAL, _FINAL_LASTS, replay.seconds, replay.seconds)
        self.seconds = self.parts[-1].begins_s + self.parts[-1].lasts_s

    def _add(self, what: str, lasts_s: float, from_s: float, to_s: float, skips: bool = False) -> None:
        begins = self.parts[-1].begins_s + self.parts[-1].lasts_s if self.parts else 0.0
        self.parts.append(Part(what, begins, lasts_s, from_s, to_s, skips))

    def _add_run(self, seconds: float, run_s: float) -> None:
        """The run in ``run_s`` [s of the show], without waits, and slowly round the first arrival."""
        busy = self._stretches.busy_s
        skips = 0.0 < busy < seconds
        self._speed = (busy if skips else seconds) / run_s

        def length(from_s: float, to_s: float) -> float:
            if skips:
                return (self._stretches.to_busy(to_s) - self._stretches.to_busy(from_s)) / self._speed
            return (to_s - from_s) / self._speed

        edges = [0.0, seconds]
        if self.finish_s is not None and self.finish_s > 0.0:
            wide = _SLOW_LASTS * self._speed / _SLOWER
            edges = [
                0.0,
                max(self.finish_s - 0.7 * wide, 0.0),
                min(self.finish_s + 0.3 * wide, seconds),
                seconds,
            ]
        for number, (from_s, to_s) in enumerate(pairwise(edges)):
            if number == 1:
                self._add(SLOW, _SLOW_LASTS, from_s, to_s)
            else:
                self._add(RUN, length(from_s, to_s), from_s, to_s, skips)
        self._add(HOLD, _HOLD_LASTS, seconds, seconds)

    def part_at(self, show_s: float) -> Part:
        """What is going on at ``show_s`` [s of the show]."""
        return next((part for part in reversed(self.parts) if part.begins_s <= show_s), self.parts[0])

    def run_time(self, show_s: float) -> float:
        """The time of the run [s] that is shown at ``show_s`` [s of the show]."""
        part = self.part_at(show_s)
        share = min(max((show_s - part.begins_s) / part.lasts_s, 0.0), 1.0) if part.lasts_s > 0.0 else 1.0
        if part.skips:
            first, last = (self._stretches.to_busy(time_s) for time_s in (part.from_s, part.to_s))
            if last <= first:
                return part.from_s if share < 1.0 else part.to_s
            return min(max(self._stretches.to_run(first + share * (last - first)), part.from_s), part.to_s)
        return part.from_s + share * (part.to_s - part.from_s)

    def begin_of(self, what: str) -> float | None:
        """When the first part of that sort begins [s of the show], or None."""
        return next((part.begins_s for part in self.parts if part.what == what), None)
