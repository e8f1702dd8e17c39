"""How a firing side lights up, such that nothing flashes fast at any speed.

A fast replay crowds many pulses into a second. A side that has fired therefore stays lit for a while, in the
viewer's time, and then fades; firing again meanwhile only keeps it lit. So its light can rise again no sooner
than it has begun to fade: at most 1 / ``HOLD`` times a second, whatever happens in the run.

The bound is that of WCAG 2.2, success criterion 2.3.1: no more than three flashes within a second, a flash
being a pair of opposing changes in relative luminance of a tenth of its maximum or more.
"""

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray

HOLD = 0.42
"""How long a side stays lit after it fired [s of the viewer]."""

FADE = 0.5
"""How long it takes to go out [s of the viewer]."""


def glow(since_s: FloatArray) -> FloatArray:
    """How far a side is lit, 0 to 1, ``since_s`` [s of the viewer] after it last fired."""
    level: FloatArray = np.clip(1.0 - (since_s - HOLD) / FADE, 0.0, 1.0)
    return level


class Glows:
    """When each side of each walker last fired, in the viewer's time."""

    def __init__(
        self, start_s: FloatArray, walker: NDArray[np.integer], side: NDArray[np.integer], walkers: int
    ):
        """Pulses by ``start_s`` [s of the run], sorted, of ``walker`` and ``side``."""
        self._start_s, self._walker, self._side = start_s, walker, side
        self._fired = np.full((walkers, 2), -np.inf)
        self._next = 0

    def begin(self, time_s: float) -> None:
        """Begin at ``time_s`` [s of the run], without lighting what fired before."""
        self._next = int(np.searchsorted(self._start_s, time_s))

    def take(self, time_s: float, now_s: float) -> None:
        """The run has come to ``time_s`` [s] at ``now_s`` [s of the viewer].

        A step back lights nothing but a side that fired at that very time.
        """
        reached = int(np.searchsorted(self._start_s, time_s, side="right"))
        first = self._next if reached >= self._next else int(np.searchsorted(self._start_s, time_s))
        self._fired[self._walker[first:reached], self._side[first:reached]] = now_s
        self._next = reached

    def levels(self, now_s: float) -> FloatArray:
        """How far each side is lit (walkers, 2), 0 to 1, at ``now_s`` [s of the viewer]."""
        return glow(now_s - self._fired)
