"""Scales that pictures of studies are drawn to, and round ticks along them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray
from agents.text.units import DIMENSIONS, format_quantity, plain_text

# Share of an axis that is set apart for figures without end.
_END = 0.13


@dataclass(frozen=True)
class Scale:
    """An axis for figures of a score: ``low`` to ``high``, in the unit of the axis, with ``ticks`` on it.

    A figure times ``times`` is in the unit of the axis. ``has_end``: above ``high`` a strip is set apart for
    figures that are infinite.
    """

    low: float
    high: float
    ticks: tuple[float, ...]
    times: float
    unit: str
    has_end: bool

    @property
    def top(self) -> float:
        """The end of the axis, with the strip for infinite figures."""
        return self.high + (_END * (self.high - self.low) if self.has_end else 0.0)

    def at(self, figures: FloatArray) -> FloatArray:
        """Where figures stand along the axis; infinite ones in the middle of their strip."""
        end = (self.high + self.top) / 2.0 if self.has_end else self.high
        return np.where(np.isposinf(figures), end, np.clip(figures * self.times, self.low, self.top))

    def tick_words(self, tick: float) -> str:
        """A tick in figures; the last one has the unit."""
        unit = f" {self.unit}" if self.unit and tick == self.ticks[-1] else ""
        return f"{_plain(tick)}{unit}"


def scale_for(unit: str, figures: Sequence[FloatArray], is_whole: bool = True) -> Scale:
    """A scale that holds all finite ``figures``, of which nan are left out.

    ``unit`` is a score's. Shares have 0 to 100 % if the scale is to be whole; times and light begin at 0.
    """
    every = np.concatenate([np.ravel(one) for one in figures]) if figures else np.empty(0)
    finite = every[np.isfinite(every)]
    has_end = bool(np.isposinf(every).any())
    most = float(finite.max(initial=0.0))
    times = 1.0
    if unit == "%":
        times = 100.0
    elif unit == "s" and most >= 120.0:
        times, unit = (1.0 / 3600.0, "h") if most >= 7200.0 else (1.0 / 60.0, "min")
    elif unit == "lx" and most >= 2000.0:
        times, unit = 1e-3, "klx"
    if unit == "%" and (is_whole or finite.size == 0):
        return Scale(0.0, 100.0, (0.0, 20.0, 40.0, 60.0, 80.0, 100.0), times, unit, has_end)
    if finite.size == 0:
        return Scale(0.0, 1.0, (), times, unit, has_end)
    low, high = float(finite.min()) * times, float(finite.max()) * times
    if unit in ("s", "min", "h", "lx", "klx") or 0.0 < low < 0.4 * high:
        low = min(low, 0.0)
    if high - low <= 1e-9 * max(abs(high), abs(low)):
        reach = max(0.1 * abs(high), 1e-3) if high else 1.0
        low, high = low - reach, high + reach
    ticks = even_ticks(low, high, 6)
    step = ticks[1] - ticks[0] if len(ticks) > 1 else high - low
    low, high = step * math.floor(low / step + 1e-9), step * math.ceil(high / step - 1e-9)
    if unit == "%":
        low, high = max(low, 0.0), min(high, 100.0)
    return Scale(low, high, tuple(even_ticks(low, high, 8)), times, unit, has_end)


def even_ticks(low: float, high: float, most: int) -> list[float]:
    """At most so many round values from low to high, in steps of 1, 2 or 5 times a power of ten."""
    if not high > low:
        return [low]
    least = (high - low) / max(most - 1, 1)
    decade = 10.0 ** math.floor(math.log10(least))
    step = next(step * decade for step in (1.0, 2.0, 5.0, 10.0) if step * decade >= least * (1.0 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [number * step for number in range(first, last + 1)]


def factor_ticks(low: float, high: float, by_ratio: bool, unit: str, most: int) -> list[tuple[float, str]]:
    """Round values from low to high [``unit``, SI] with their words, prefix and unit; ``%`` for shares."""
    times = {"rad": math.pi / 180.0, "%": 0.01}.get(unit, 1.0)
    values: list[float] = []
    if by_ratio and high / low >= 8.0:
        decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
        for steps in ((1.0, 2.0, 5.0), (1.0,)):
            values = [step * times * 10.0**decade for decade in decades for step in steps]
            values = [one for one in values if low * (1 - 1e-9) <= one <= high * (1 + 1e-9)]
            if len(values) <= most:
                break
        values = values[:: math.ceil(len(values) / most)] if values else []
    if len(values) < 2:
        values = [tick * times for tick in even_ticks(low / times, high / times, most)]
    return [(value, with_unit(value, unit)) for value in values]


def with_unit(value: float, unit: str) -> str:
    """An SI value in words; ``unit`` of :data:`agents.text.units.DIMENSIONS`, ``%`` for a share, or empty."""
    if unit in DIMENSIONS:
        return format_quantity(value, unit)
    if unit == "%":
        return f"{_plain(100.0 * value)} %"
    return f"{_plain(value)} {unit}".rstrip()


def _plain(value: float) -> str:
    text = plain_text(value, 4)
    return "0" if text.strip("-0.") == "" else text
