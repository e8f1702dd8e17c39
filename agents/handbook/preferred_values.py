"""Preferred values of parts: the series E6, E12 and E24 of IEC 60063."""

import math

# The published significands, rounded as the standard rounds them, which no formula gives.
SERIES: dict[str, tuple[int, ...]] = {
    "E6": (10, 15, 22, 33, 47, 68),
    "E12": (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82),
    "E24": (
        *(10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30),
        *(33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91),
    ),
}


def preferred_values(series: str, least: float, most: float) -> tuple[float, ...]:
    """Return the values of a series from ``least`` to ``most``, both included, ascending; any unit.

    Raises ValueError for bounds that are not positive and finite, KeyError for an unknown series.
    """
    if not (0.0 < least < math.inf and 0.0 < most < math.inf):
        raise ValueError(f"bounds {least} and {most} are not positive and finite")
    # A bound is met within rounding, so that 4.7 * 1e-6 still includes 4.7e-6.
    slack = 1e-9
    first, last = math.floor(math.log10(least)) - 2, math.floor(math.log10(most)) + 1
    values = (float(f"{step}e{power}") for power in range(first, last) for step in SERIES[series])
    return tuple(value for value in values if least * (1.0 - slack) <= value <= most * (1.0 + slack))


def nearest_preferred(value: float, series: str) -> float:
    """Return the value of a series that is nearest in ratio; the lower one of two that are equally near."""
    around = preferred_values(series, value / 10.0, value * 10.0)
    return min(around, key=lambda candidate: (abs(math.log(candidate / value)), candidate))
