"""Survival curves: statistics of waits that the end of a run cuts off.

Small and of our own, because importing a statistics library takes longer than scoring a run.
"""

from dataclasses import dataclass

import numpy as np

from agents.arrays import BoolArray, FloatArray


@dataclass(frozen=True)
class WaitCurve:
    """Share that is still waiting after each of ``times`` [s or a number of pulses], at which it falls."""

    times: FloatArray
    waiting: FloatArray

    @property
    def median(self) -> float | None:
        """First time by which at least half have stopped waiting; None when the curve never falls so far."""
        # The product of the shares may miss one half by the last few digits.
        half = np.flatnonzero(self.waiting <= 0.5 + 1e-12)
        return float(self.times[half[0]]) if half.size else None


def wait_curve(waits: FloatArray, ended: BoolArray) -> WaitCurve:
    """Share still waiting, from ``waits`` (n,) of which only those ``ended`` (n,) were seen to their end.

    S(t) = product over the times t_i <= t at which waits ended of (1 - d_i / n_i), with d_i the number that
    ended at t_i and n_i the number still under watch then; a wait cut off at t_i was under watch at t_i.

    Kaplan and Meier, "Nonparametric estimation from incomplete observations", J. Am. Stat. Assoc. 53 (1958).
    """
    times, counts = np.unique(waits[ended], return_counts=True)
    watched = len(waits) - np.searchsorted(np.sort(waits), times, side="left")
    waiting = np.cumprod(1.0 - counts / watched, dtype=np.float64)
    return WaitCurve(times.astype(np.float64), waiting)
