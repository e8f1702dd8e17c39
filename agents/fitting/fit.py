"""The parts of a build that its readings tell of: values and intervals, what is open, what does not fit.

Before anything is read, each part lies about the design's value as far as its tolerance says
(:mod:`agents.fitting.unknowns`); each reading has the error of the meter, clock or protractor that it was
read from. The most likely parts, and how sure they are, follow from both
(:mod:`agents.fitting.least_squares`).
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy import stats

from agents.arrays import FloatArray
from agents.design.as_built import build
from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from agents.errors import ModelError, OptionError
from agents.fitting.least_squares import Solution, most_likely
from agents.fitting.readings import Reading
from agents.fitting.unknowns import Unknown, has_unlike_sides, unknowns_of, values_at
from agents.testbench.bench_pulses import time_between
from agents.testbench.measuring import measure_record

ERRORS = {
    "trigger": (0.010, 0.005),
    "let_go": (0.010, 0.010),
    "between": (0.2, 0.02),
    "turn": (math.radians(2.0), 0.02),
    "stall": (0.0, 0.02),
}
"""Standard error of a reading by its key: an amount [SI] and a share, added as squares.

Common practice, no source: a hand-held meter, a clock stopped by hand, a protractor on paper.
"""

# An interval of 95 % in standard deviations.
SURE = float(stats.norm.ppf(0.975))
# A reading further off than this, as its own error goes, is a slip rather than chance.
SLIP = 5.0
# Of all readings, at most this share can be slips; with more the readings are of another build.
MOST_SLIPS = 0.25
# Readings whose misfit is rarer than this by chance do not belong to this design.
RARE = 1e-3
# A part is learnt where its standard deviation has fallen below this share of what it was.
LEARNT = 0.8
# Two parts are told only together where their errors go together more closely than this, and each by itself
# is still this open.
TIED = 0.6
OPEN = 0.5
NEVER = 1e3
"""What the model shows in SI for a reading that there cannot be; far beyond any that there is."""


@dataclass(frozen=True)
class PartEstimate:
    """A part after the readings: ``value`` [SI] with the interval of 95 % from ``low`` to ``high``.

    ``before`` is the design's own value, ``narrowed`` the standard deviation after over that before, 0 to 1.
    """

    path: str
    before: float
    value: float
    low: float
    high: float
    narrowed: float

    @property
    def is_learnt(self) -> bool:
        """Whether the readings tell of it."""
        return self.narrowed < LEARNT


@dataclass(frozen=True)
class Misfit:
    """A reading and what the fitted build would show, in SI; ``errors`` says how many standard errors off.

    ``is_slip`` where it is so far off that it was left out; ``hint`` then says what may have been meant.
    """

    reading: Reading
    fitted: float
    errors: float
    is_slip: bool = False
    hint: str = ""


@dataclass(frozen=True)
class Fit:
    """What readings tell of a build.

    ``parts`` are all that could be learnt, those most narrowed first; ``tied`` pairs of paths that the
    readings tell only together. ``misfits`` has every reading, in the order of the table. ``chance`` is how
    often errors alone would make readings fit no better; below one in a thousand they are not of this
    design.
    """

    design: Design
    parts: tuple[PartEstimate, ...]
    tied: tuple[tuple[str, str], ...]
    misfits: tuple[Misfit, ...]
    chance: float
    solution: Solution
    unknowns: tuple[Unknown, ...]

    @property
    def suits(self) -> bool:
        """Whether the readings can be of a build of this design."""
        return self.chance >= RARE

    @property
    def learnt(self) -> tuple[PartEstimate, ...]:
        """The parts of which the readings tell."""
        return tuple(part for part in self.parts if part.is_learnt)

    @cached_property
    def fitted_values(self) -> dict[str, float]:
        """The learnt values [SI] by path, rounded to what their intervals bear."""
        return {part.path: _rounded(part) for part in self.learnt}

    @property
    def fitted_design(self) -> Design:
        """The design with the learnt values in place."""
        return self.design.with_values(dict(self.fitted_values))


class FitModel:
    """What a build would show at each of ``readings``, as its ``unknowns`` go."""

    def __init__(self, design: Design, unknowns: Sequence[Unknown], readings: Sequence[Reading]) -> None:
        self._design, self._unknowns, self._readings = design, unknowns, readings
        self._known: dict[bytes, FloatArray] = {}
        self._values: dict[str, float] = {}
        # one design that is filled anew each time: most of the time would go into making copies else
        self._filled = design.in_turn(self._coming())

    def _coming(self) -> Iterator[dict[str, float]]:
        while True:
            yield self._values

    def __call__(self, steps: FloatArray) -> FloatArray:
        """Return the readings (m,) [SI] at ``steps`` (n,) standard deviations of the unknowns."""
        key = steps.tobytes()
        if key not in self._known:
            self._known[key] = self._predicted(steps)
        return self._known[key]

    def _predicted(self, steps: FloatArray) -> FloatArray:
        self._values = values_at(self._unknowns, steps)
        walker = build(next(self._filled))[0]
        measured: dict[tuple[float, str], Any] = {}
        shown = np.empty(len(self._readings))
        for number, reading in enumerate(self._readings):
            if reading.key == "stall":
                side = walker["side"][SIDES.index(reading.side or SIDES[0])]
                shown[number] = reading.stall_voltage / side["motor_resistance"]
                continue
            place = (reading.light, reading.kind)
            if place not in measured:
                try:
                    measured[place] = measure_record(walker, *place)
                except ModelError:
                    measured[place] = None
            shown[number] = _shown(measured[place], reading)
        return shown


def _shown(measured: Any, reading: Reading) -> float:
    """What a MEASURED record shows of a reading."""
    if measured is None:
        return NEVER
    left, right = measured["side"]
    first = right if right["free"]["trigger"] < left["free"]["trigger"] else left
    side = measured["side"][SIDES.index(reading.side)] if reading.side else first
    pulse = side["pressed" if reading.pressed else "free"]
    value = time_between(pulse) if reading.key == "between" else pulse[reading.key]
    return float(value) if math.isfinite(value) else NEVER


def errors_of(readings: Sequence[Reading], errors: Mapping[str, tuple[float, float]]) -> FloatArray:
    """Return the standard error (m,) [SI] of each reading, from an amount and a share by key."""
    return np.array([math.hypot(errors[one.key][0], errors[one.key][1] * one.value) for one in readings])


def fit_design(
    design: Design,
    readings: Sequence[Reading],
    errors: Mapping[str, tuple[float, float]] = ERRORS,
) -> Fit:
    r"""Learn what ``readings`` tell of a build of ``design``; ``errors`` as in :data:`ERRORS`.

    Readings that no build of the design would show beside the others are told as slips and left out, one
    after the other, the worst first. Raises :class:`~agents.errors.OptionError` where there is nothing to
    learn from: no reading, or none that this design could ever show.

    >>> from agents.fitting.readings import parse_readings
    >>> table = "light,time between pulses,trigger\n3 klx,63 s,3.31 V\n1 klx,195 s,3.01 V\n"
    >>> fit = fit_design(read_design("poppy"), parse_readings(table, "mine.csv"))
    >>> fit.suits, "both.eye.slope" in {part.path for part in fit.learnt}
    (True, True)
    """
    if not readings:
        raise OptionError("no reading; expected at least one")
    has_sides = any(reading.side for reading in readings) or has_unlike_sides(design)
    unknowns = unknowns_of(design, {reading.key for reading in readings}, has_sides)
    if not unknowns:
        raise OptionError(
            "nothing can be learnt from these readings: every part they tell of is known exactly"
        )
    nominal = FitModel(design, unknowns, readings)(np.zeros(len(unknowns)))
    impossible = nominal >= NEVER
    if np.all(impossible):
        raise OptionError(
            f"{design.name}: would show none of these readings: "
            "it never fires in these lights, or lacks the side or whisker that was read"
        )
    kept = list(range(len(readings)))
    slips: list[int] = []
    while True:
        solution, chance, off = _solved(design, unknowns, [readings[number] for number in kept], errors)
        worst = int(np.argmax(np.abs(off)))
        if abs(off[worst]) < SLIP or len(slips) + 1 > MOST_SLIPS * len(readings):
            break
        slips.append(kept.pop(worst))
    everything = FitModel(design, unknowns, readings)(solution.unknowns)
    plain = (np.array([one.value for one in readings]) - everything) / errors_of(readings, errors)
    misfits = tuple(
        Misfit(
            reading,
            float(everything[number]),
            float(plain[number]),
            number in slips,
            _hint(reading, float(everything[number])) if number in slips else "",
        )
        for number, reading in enumerate(readings)
    )
    return Fit(
        design,
        tuple(sorted(_estimates(unknowns, solution), key=lambda part: part.narrowed)),
        tuple(_tied(unknowns, solution)),
        misfits,
        chance,
        solution,
        tuple(unknowns),
    )


def _solved(
    design: Design,
    unknowns: Sequence[Unknown],
    readings: Sequence[Reading],
    errors: Mapping[str, tuple[float, float]],
) -> tuple[Solution, float, FloatArray]:
    """The solution, the chance of a misfit like that, and how far off each reading is as the rest has it."""
    values, widths = np.array([one.value for one in readings]), errors_of(readings, errors)
    solution = most_likely(FitModel(design, unknowns, readings), values, widths, len(unknowns))
    plain = (values - solution.fitted) / widths
    weighed = solution.slopes / widths[:, None]
    # a reading pulls the fit to itself by its leverage; without it, it would be off by so much more
    leverage = np.einsum("ij,jk,ik->i", weighed, solution.covariance, weighed)
    off: FloatArray = plain / np.sqrt(np.maximum(1.0 - leverage, 1e-3))
    misfit = float(np.sum(plain**2) + np.sum(solution.unknowns**2))
    return solution, float(stats.chi2.sf(misfit, len(readings))), off


def _estimates(unknowns: Sequence[Unknown], solution: Solution) -> list[PartEstimate]:
    widths = np.sqrt(np.diag(solution.covariance))
    return [
        PartEstimate(
            one.path,
            one.value,
            one.at(float(step)),
            one.at(float(step - SURE * width)),
            one.at(float(step + SURE * width)),
            float(width),
        )
        for one, step, width in zip(unknowns, solution.unknowns, widths, strict=True)
    ]


def _tied(unknowns: Sequence[Unknown], solution: Solution) -> list[tuple[str, str]]:
    """Pairs of unknowns that readings move only together, neither of them told well by itself."""
    widths = np.sqrt(np.diag(solution.covariance))
    together = solution.covariance / np.outer(widths, widths)
    pairs = []
    for one in range(len(unknowns)):
        for other in range(one + 1, len(unknowns)):
            if abs(together[one, other]) > TIED and min(widths[one], widths[other]) > OPEN:
                pairs.append((unknowns[one].path, unknowns[other].path))
    return pairs


def _hint(reading: Reading, fitted: float) -> str:
    """What may have been meant by a slip."""
    if not 0.0 < fitted < NEVER or reading.value <= 0.0:
        return "no build of this design would show it"
    ratio = reading.value / fitted
    for factor, words in (
        (10.0, "a decimal point one place off"),
        (1000.0, "thousandths for whole units"),
        (60.0, "minutes for seconds"),
        (180.0 / math.pi, "degrees for radians"),
        (2.0, "two pulses counted as one, or one as two"),
    ):
        if min(abs(math.log(ratio * factor)), abs(math.log(ratio / factor))) < math.log(1.15):
            return words
    return ""


def _rounded(part: PartEstimate) -> float:
    """The value with as many digits as its interval bears."""
    width = part.high - part.low
    if width <= 0.0 or part.value == 0.0:
        return part.value
    digits = 2 - math.floor(math.log10(0.5 * width))
    return float(f"{part.value:.{max(1, digits + math.floor(math.log10(abs(part.value))))}g}")
