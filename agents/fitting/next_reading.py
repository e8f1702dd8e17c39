"""Which reading to take next: the one after which least is left open.

A reading that is not yet taken has a known error and, by the fitted build, known slopes against every part;
so it is known beforehand how much it would narrow each of them. Source: Fedorov, Theory of Optimal
Experiments, 1972 (from memory): the sum of the variances left, each over what it was before any reading, is
made least.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from agents.design.values_by_path import SIDES
from agents.fitting.fit import ERRORS, NEVER, Fit, FitModel, errors_of
from agents.fitting.least_squares import slopes_of
from agents.fitting.readings import Reading
from agents.fitting.unknowns import unknowns_of

# Lights [lx] that a builder comes by: a desk, a window, the shade outdoors, the sun.
LIGHTS = (300.0, 1e3, 3e3, 10e3, 30e3)
STALL_VOLTAGE = 1.5  # a fresh cell [V]
# A reading that narrows no part by more than this share is not worth the time.
WORTHWHILE = 0.1


@dataclass(frozen=True)
class NextReading:
    """A reading worth taking: what it is, and the part that it narrows most, ``now`` and ``then`` (0 to 1).

    Both are standard deviations over that before any reading, as :class:`~agents.fitting.fit.PartEstimate`
    has them. ``reading`` holds the value that is to be expected.
    """

    reading: Reading
    path: str
    now: float
    then: float


def next_readings(
    fit: Fit, count: int = 3, errors: Mapping[str, tuple[float, float]] = ERRORS
) -> list[NextReading]:
    r"""Return at most ``count`` readings worth taking next, each chosen as if those before it were taken.

    >>> from agents.fitting.fit import fit_design
    >>> from agents.fitting.readings import parse_readings
    >>> table = "light,time between pulses\n3 klx,50 s\n"
    >>> fit = fit_design(read_design("poppy"), parse_readings(table, "mine.csv"))
    >>> [one.path for one in next_readings(fit, 1)]
    ['both.eye.slope']
    """
    every = {reading.key for reading in _candidates([""])}
    sides = SIDES if any(one.path.startswith(SIDES) for one in fit.unknowns) else ("",)
    candidates = _candidates(sides)
    unknowns = unknowns_of(fit.design, every, sides != ("",))
    places = {one.path: number for number, one in enumerate(unknowns)}
    # parts that no reading so far had to do with are as open as they were
    steps, covariance = np.zeros(len(unknowns)), np.eye(len(unknowns))
    own = [places[one.path] for one in fit.unknowns]
    steps[own] = fit.solution.unknowns
    covariance[np.ix_(own, own)] = fit.solution.covariance
    model = FitModel(fit.design, unknowns, candidates)
    shown, slopes = model(steps), slopes_of(model, steps)
    usable = [
        number
        for number, value in enumerate(shown)
        if 0.0 < abs(value) < NEVER and np.all(np.abs(slopes[number]) < NEVER)
    ]
    expected = [_with_value(candidates[number], float(shown[number])) for number in usable]
    widths = errors_of(expected, errors)
    found: list[NextReading] = []
    while len(found) < count and usable:
        gains = []
        for row, width in zip(slopes[usable], widths, strict=True):
            spread = covariance @ row
            gains.append(np.outer(spread, spread) / (width**2 + row @ spread))
        best = int(np.argmax([np.trace(gain) for gain in gains]))
        after = covariance - gains[best]
        now, then = np.sqrt(np.diag(covariance)), np.sqrt(np.maximum(np.diag(after), 0.0))
        most = int(np.argmax(now - then))
        if now[most] - then[most] < WORTHWHILE:
            break
        found.append(NextReading(expected[best], unknowns[most].path, float(now[most]), float(then[most])))
        covariance = after
    return found


def _candidates(sides: Sequence[str]) -> list[Reading]:
    readings = []
    for side in sides:
        for light in LIGHTS:
            for key in ("trigger", "between", "let_go", "turn"):
                readings.append(Reading(0, key, 0.0, light, side=side))
            readings.append(Reading(0, "trigger", 0.0, light, side=side, pressed=True))
        readings.append(Reading(0, "stall", 0.0, side=side, stall_voltage=STALL_VOLTAGE))
    return readings


def _with_value(reading: Reading, value: float) -> Reading:
    return Reading(
        reading.line,
        reading.key,
        value,
        reading.light,
        reading.kind,
        reading.side,
        reading.pressed,
        reading.stall_voltage,
    )
