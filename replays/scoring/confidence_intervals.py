"""Confidence intervals of shares and means.

Small and of our own, because importing a statistics library takes longer than scoring a run.
"""

import math

from agents.arrays import FloatArray

# 97.5 % point of the standard normal distribution, so that an interval holds 95 %.
_Z = 1.959963984540054


# Fewer values than this say next to nothing about how much they differ.
_FEWEST = 3


def mean_interval(values: FloatArray) -> tuple[float, float] | None:
    """Interval (low, high) that holds the true mean of ``values`` (n,) with 95 % confidence; None of under 3.

    mean ± t s / sqrt(n), with t the 97.5 % point of Student's distribution with n - 1 degrees of freedom.

    Student, "The probable error of a mean", Biometrika 6 (1908).
    """
    count = len(values)
    if count < _FEWEST:
        return None
    from scipy.special import stdtrit

    middle = float(values.mean())
    reach = float(stdtrit(count - 1, 0.975)) * float(values.std(ddof=1)) / math.sqrt(count)
    return middle - reach, middle + reach


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
