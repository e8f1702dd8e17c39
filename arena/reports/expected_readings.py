"""What meter, clock and protractor should read of a build, step by step, and how far a good one may be off.

Tolerances come from built copies: of :data:`COPIES` that are drawn from the design's ``spread``, nine in
ten lie within the range told.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.design.as_built import build
from agents.design.built_copies import draw_copies
from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from agents.errors import ModelError
from agents.testbench.bench_pulses import time_between
from agents.testbench.measuring import measure_record
from agents.text.units import format_quantity

COPIES = 60
SEED = 1
# Of the copies, this share lies below the range, and as many above it.
_TAIL = 0.05


@dataclass(frozen=True)
class Expected:
    """A reading of a build: what is ``drawn`` by the design, and the range of nine copies in ten, all [unit].

    ``firing`` is the share of copies that show it at all.
    """

    drawn: float
    low: float
    high: float
    unit: str
    firing: float

    @property
    def words(self) -> str:
        """The reading and its range in words."""
        if not np.isfinite(self.drawn):
            return "nothing: it does not fire in this light"
        shown = format_quantity(self.drawn, self.unit)
        if not np.isfinite(self.low):
            return shown
        low, high = (format_quantity(one, self.unit) for one in (self.low, self.high))
        if low == high:
            return shown
        # the unit once is enough where it is one
        if low.split(" ")[1:] == high.split(" ")[1:] == shown.split(" ")[1:]:
            low, high = low.split(" ")[0], high.split(" ")[0]
        return f"{shown} ({low} to {high})"


@dataclass(frozen=True)
class SideReadings:
    """What one side shows on the breadboard; ``pressed`` is None where it has no whisker or no feeler."""

    side: str
    trigger: Expected
    pressed: Expected | None
    let_go: Expected
    between: Expected
    turn: Expected


@dataclass(frozen=True)
class BuildReadings:
    """All readings in ``light`` [lx] of a ``kind``; ``apart`` is how far the two triggers may lie apart."""

    light: float
    kind: str
    open_circuit: Expected
    short_circuit: Expected
    sides: tuple[SideReadings, SideReadings]
    apart: Expected


def build_readings(design: Design, light: float, kind: str) -> BuildReadings:
    """Measure a design and copies of it in ``light`` [lx] of a ``kind``.

    Raises :class:`~agents.errors.OptionError` for a light or a kind that cannot be.
    """
    walkers = [build(design)[0], *draw_copies(design, SEED, range(COPIES))]
    measured = [measure_record(walkers[0], light, kind)]
    for walker in walkers[1:]:
        try:
            measured.append(measure_record(walker, light, kind))
        except ModelError:
            # a copy that the model cannot follow is none to go by
            continue
    has_spread = bool(design.spreads)

    def expected(value: Callable[[Any], float], unit: str) -> Expected:
        values = np.array([value(one) for one in measured])
        copies = values[1:][np.isfinite(values[1:])] if has_spread else values[:0]
        low, high = np.quantile(copies, [_TAIL, 1.0 - _TAIL]) if copies.size else (np.nan, np.nan)
        firing = float(np.mean(np.isfinite(values[1:]))) if has_spread else float(np.isfinite(values[0]))
        return Expected(float(values[0]), float(low), float(high), unit, firing)

    sides = []
    for number, name in enumerate(SIDES):

        def of(key: str, unit: str, how: str = "free", number: int = number) -> Expected:
            return expected(lambda one: float(one["side"][number][how][key]), unit)

        def between(one: Any, number: int = number) -> float:
            return time_between(one["side"][number]["free"])

        pressed = of("trigger", "V", "pressed")
        sides.append(
            SideReadings(
                name,
                of("trigger", "V"),
                pressed if np.isfinite(pressed.drawn) else None,
                of("let_go", "V"),
                expected(between, "s"),
                of("turn", "rad"),
            )
        )
    left, right = sides

    def apart(one: Any) -> float:
        return abs(float(one["side"][0]["free"]["trigger"] - one["side"][1]["free"]["trigger"]))

    return BuildReadings(
        light,
        kind,
        expected(lambda one: float(one["open_circuit"]), "V"),
        expected(lambda one: float(one["photocurrent"]), "A"),
        (left, right),
        expected(apart, "V"),
    )
