"""One pulse in three plots on one axis of time: the motor's current, how fast it went, how far it turned."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from agents.arrays import FloatArray
from replays.causes.traces import Trace
from replays.drawing.colours import Colour
from replays.drawing.layout import Box, Point
from replays.drawing.sheet import Sheet
from replays.window.buttons_and_cards import SMALL

# Room for the figures at the left, and for the time below [points].
_LEFT, _BELOW, _GAP = 46.0, 20.0, 8.0
# Where plots one below another are higher than this [points], each has the time below it.
_TIME_FROM = 60.0


@dataclass(frozen=True)
class Curve:
    """``values`` at ``times`` [s after firing], and what they are called with their unit."""

    title: str
    times: FloatArray
    values: FloatArray


def pulse_curves(trace: Trace, number: int) -> list[Curve]:
    """Current [mA], speed [mm/s] and turn [degrees, left counts up] of pulse ``number``."""
    start = float(trace.pulses[number]["start_s"])
    current = trace.pulse(number)
    times, speed, turn = trace.motion(number)
    return [
        Curve("motor, mA", current.times - start, 1e3 * current.current),
        Curve("speed, mm/s", times - start, 1e3 * speed),
        Curve("turn, °", times - start, np.degrees(turn)),
    ]


def draw_pulse_plots(sheet: Sheet, box: Box, trace: Trace, number: int, colour: Colour) -> None:
    """Draw the curves of pulse ``number`` into ``box``, one below another, or side by side if that is low."""
    curves = pulse_curves(trace, number)
    whole = max(float(curve.times[-1]) for curve in curves if len(curve.times))
    plots, have_times = _plots(box, len(curves))
    for curve, plot, has_time in zip(curves, plots, have_times, strict=True):
        _draw_curve(sheet, plot, curve, max(whole, 1e-6), colour, has_time=has_time)


def _plots(box: Box, count: int) -> tuple[list[Box], list[bool]]:
    """Where the plots lie, and which of them have the time below."""
    is_high = box.height / count - _GAP - _BELOW > _TIME_FROM
    gap = _GAP + _BELOW if is_high else _GAP
    height = (box.height - _BELOW + gap - _GAP) / count - gap
    if height >= 34.0 or box.width < 3 * 150.0:
        plots = [
            Box(
                box.left + _LEFT,
                box.top + number * (height + gap) + _GAP,
                box.width - _LEFT - 4,
                max(height, 10.0),
            )
            for number in range(count)
        ]
        return plots, [is_high or number + 1 == count for number in range(count)]
    width = box.width / count
    plots = [
        Box(
            box.left + number * width + _LEFT,
            box.top + _GAP,
            width - _LEFT - 6,
            max(box.height - _BELOW - _GAP, 10.0),
        )
        for number in range(count)
    ]
    return plots, [True] * count


def _draw_curve(
    sheet: Sheet, plot: Box, curve: Curve, whole_s: float, colour: Colour, *, has_time: bool
) -> None:
    theme = sheet.theme
    low = min(float(curve.values.min(initial=0.0)), 0.0)
    high = max(float(curve.values.max(initial=0.0)), 0.0)
    low, high = 0.0 - round_up(-low), round_up(high)
    if high - low < 1e-9:
        high = 1.0

    def y(value: float) -> float:
        return plot.bottom - plot.height * (value - low) / (high - low)

    sheet.line([(plot.left, plot.top), (plot.left, plot.bottom)], theme.faded, 1)
    sheet.line([(plot.left, y(0.0)), (plot.right, y(0.0))], theme.faded, 1)
    written: list[float] = []
    for value in (high, low, 0.0):
        at = min(max(y(value), plot.top + 5), plot.bottom - 4)
        if all(abs(at - other) >= 14 for other in written):
            sheet.text(f"{value:g}", (plot.left - 5, at), SMALL, theme.faded, across=1.0, down=0.5)
            written.append(at)
    points = thinned(
        plot.left + plot.width * curve.times / whole_s,
        plot.bottom - plot.height * (curve.values - low) / (high - low),
    )
    if len(points) > 1:
        sheet.line(points, colour, 2.2)
    sheet.text(curve.title, _title_place(sheet, plot, curve.title, points, y(0.0)), SMALL, theme.faded)
    below = plot.bottom + 4
    words = f"{1e3 * whole_s:.0f} ms" if whole_s < 5.0 else f"{whole_s:.0f} s"
    sheet.line([(plot.right, plot.bottom - 3), (plot.right, plot.bottom + 3)], theme.faded, 1)
    if has_time:
        sheet.text(words, (plot.right, below), SMALL, theme.faded, across=1.0)
        sheet.text("0", (plot.left, below), SMALL, theme.faded, across=0.5)


def _title_place(sheet: Sheet, plot: Box, title: str, points: Sequence[Point], zero: float) -> Point:
    """Where in a plot the title crosses the curve through ``points`` and the line at ``zero`` least."""
    wide, high = sheet.text_size(title, SMALL)
    tops = (plot.top - 5, plot.top + 3, plot.bottom - high)
    lefts = tuple(plot.left + 6 + share * (plot.width - wide - 6) for share in (1.0, 0.0, 0.4, 0.5, 0.6))
    # evenly along the curve, be it steep or flat
    along = np.append(0.0, np.cumsum([math.dist(one, other) for one, other in pairwise(points)]))
    x, y = (
        np.interp(np.linspace(0.0, along[-1], 400), along, [point[axis] for point in points] or [np.inf])
        for axis in (0, 1)
    )

    def crossed(place: Point) -> int:
        left, top = place
        inside = (x > left - 1) & (x < left + wide + 1) & (y > top + 2) & (y < top + high - 1)
        return int(inside.sum()) + (len(x) if top + 2 < zero < top + high - 2 else 0)

    return min(((left, top) for top in tops for left in lefts), key=crossed)


def thinned(x: FloatArray, y: FloatArray) -> Sequence[Point]:
    """At most some 160 points of a line, its ends among them."""
    if not len(x):
        return []
    step = max(1, len(x) // 160)
    chosen = np.unique(np.append(np.arange(0, len(x), step), len(x) - 1))
    return list(zip(x[chosen].tolist(), y[chosen].tolist(), strict=True))


def round_up(value: float) -> float:
    """The next round number from ``value`` on, 0 for what is not above it."""
    if value <= 1e-9:
        return 0.0
    decade = 10.0 ** math.floor(math.log10(value))
    return next(
        step * decade for step in (1, 1.5, 2, 3, 4, 5, 6, 8, 10) if step * decade >= value * (1 - 1e-9)
    )
