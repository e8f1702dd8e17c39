"""Statistics of waits that the end of a run cuts off, of shares, and of directions.

Small and of our own, because importing a statistics library takes longer than scoring a run.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# 97.5 % point of the standard normal distribution, so that an interval holds 95 %.
_Z = 1.959963984540054


@dataclass(frozen=True)
class WaitCurve:
    """Share that is still waiting after each of ``times`` [s or a number of pulses], at which it falls."""

    times: NDArray[np.float64]
    waiting: NDArray[np.float64]

    @property
    def median(self) -> float | None:
        """First time by which at least half have stopped waiting; None when the curve never falls so far."""
        # The product of the shares may miss one half by the last few digits.
        half = np.flatnonzero(self.waiting <= 0.5 + 1e-12)
        return float(self.times[half[0]]) if half.size else None


def wait_curve(waits: NDArray[np.float64], ended: NDArray[np.bool_]) -> WaitCurve:
    """Share still waiting, from ``waits`` (n,) of which only those ``ended`` (n,) were seen to their end.

    S(t) = product over the times t_i <= t at which waits ended of (1 - d_i / n_i), with d_i the number that
    ended at t_i and n_i the number still under watch then; a wait cut off at t_i was under watch at t_i.

    Kaplan and Meier, "Nonparametric estimation from incomplete observations", J. Am. Stat. Assoc. 53 (1958).
    """
    times, counts = np.unique(waits[ended], return_counts=True)
    watched = len(waits) - np.searchsorted(np.sort(waits), times, side="left")
    waiting = np.cumprod(1.0 - counts / watched, dtype=np.float64)
    return WaitCurve(times.astype(np.float64), waiting)


def share_interval(hits: int, trials: int) -> tuple[float, float] | None:
    """Interval (low, high) that holds the true share with 95 % confidence; None without a trial.

    (p + z²/2n ± z sqrt(p(1 − p)/n + z²/4n²)) / (1 + z²/n) with p = hits / trials, n = trials.

    Wilson, "Probable inference, the law of succession, and statistical inference", J. Am. Stat. Assoc. 22
    (1927).
    """
    if trials == 0:
        return None
    share = hits / trials
    spread = _Z * math.sqrt(share * (1 - share) / trials + _Z**2 / (4 * trials**2))
    middle = share + _Z**2 / (2 * trials)
    scale = 1 + _Z**2 / trials
    low, high = (middle - spread) / scale, (middle + spread) / scale
    # At none and at all the formula meets 0 and 1 but for rounding.
    return (0.0 if hits == 0 else low, 1.0 if hits == trials else high)


def resultant_length(angles: NDArray[np.float64]) -> float | None:
    """Length of the mean of unit vectors at ``angles`` [rad]: 1 all alike, 0 evenly spread; None without any.

    R = sqrt(mean(cos)² + mean(sin)²). Mardia and Jupp, Directional Statistics (2000), section 2.3.
    """
    if angles.size == 0:
        return None
    return math.hypot(float(np.cos(angles).mean()), float(np.sin(angles).mean()))
