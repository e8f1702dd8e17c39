"""Volts over time for the strip: the rail, both triggers as moving steps, and who fired."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from replays.causes.traces import Trace, Wait
from replays.drawing.colours import Colour
from replays.drawing.layout import Box, Point
from replays.drawing.sheet import Sheet
from replays.window.buttons_and_cards import SMALL
from replays.words import clock_words

Waits = Sequence[tuple[int, Wait]]
"""Waits with their numbers."""

PATTERNS: tuple[tuple[float, ...], ...] = ((), (7.0, 5.0))
"""Dashes of the two sides' lines [points]: left unbroken, right broken."""

LETTERS = ("L", "R")
"""Left and right where there is room for a letter only."""

_SIDE_WORDS = ("left", "right")


@dataclass(frozen=True)
class StripView:
    """What of the run is in the strip, and where: ``plot`` for volts, ``lights`` below, ``inset`` beside."""

    from_s: float
    to_s: float
    plot: Box
    lights: Box
    inset: Box | None

    def x(self, time_s: float) -> float:
        """Where ``time_s`` [s] lies [points]."""
        return self.plot.left + self.plot.width * (time_s - self.from_s) / (self.to_s - self.from_s)

    def time(self, x: float) -> float:
        """Which time [s] lies at ``x`` [points]."""
        return self.from_s + (self.to_s - self.from_s) * (x - self.plot.left) / self.plot.width


@dataclass(frozen=True)
class Axis:
    """An axis of volts with two scales: from 0 to ``bend`` [V] small, from there to ``top`` [V] large.

    The triggers lie close together and far above where a pulse ends; one scale would not show both.
    """

    box: Box
    bend: float
    top: float

    def y(self, volts: float) -> float:
        """Where ``volts`` [V] lie [points]."""
        if volts < self.bend:
            return self.box.bottom - _LOWER * self.box.height * volts / self.bend
        share = _LOWER + (1.0 - _LOWER) * (volts - self.bend) / (self.top - self.bend)
        return self.box.bottom - self.box.height * share


# Letters of firings are so far apart [points], and a disc without one from the last that has one.
_LETTERS_APART, _DOTS_FROM = 22.0, 12.0
# Share of the height for the volts below the bend.
_LOWER = 0.3


def axis_for(waits: Waits, box: Box) -> Axis:
    """An axis that bends below the lowest trigger in view and ends above the highest voltage."""
    finite = [wait.triggers[np.isfinite(wait.triggers)] for _, wait in waits]
    triggers = np.concatenate([*finite, np.zeros(0)])
    peaks = [float(wait.rail.max()) for _, wait in waits]
    low, high = (float(triggers.min()), float(triggers.max())) if len(triggers) else (2.0, 3.0)
    bend = max(math.floor(5.0 * (low - 0.15)) / 5.0, 0.2)
    return Axis(box, bend, max(math.ceil(5.0 * (max(high, *peaks) + 0.05)) / 5.0, bend + 0.4))


def draw_axes(sheet: Sheet, view: StripView, axis: Axis, *, has_time: bool = True) -> None:
    """The scale of volts at the left, and of time below the lights where it ``has_time``."""
    theme, plot = sheet.theme, view.plot
    # the small scale lies on a ground of its own, so that nobody takes the bend for one of the rail
    bend = axis.y(axis.bend)
    sheet.fill((plot.left, bend), (plot.width, plot.bottom - bend), between(theme.card, theme.faded, 0.1))
    for box in (plot, view.lights):
        sheet.line([(box.left, box.top), (box.left, box.bottom)], theme.faded, 1)
        sheet.line([(box.left, box.bottom), (box.right, box.bottom)], theme.faded, 1)
    written = math.inf
    step = 0.2 if axis.top - axis.bend < 1.3 else 0.5
    upper = [axis.bend + step * number for number in range(40)]
    volts_to_tell = [
        0.0,
        *range(1, math.ceil(axis.bend)),
        *(volts for volts in upper if volts <= axis.top + 1e-6),
    ]
    for volts in volts_to_tell:
        y = axis.y(volts)
        sheet.line([(plot.left - 5, y), (plot.left, y)], theme.faded, 1)
        if written - y >= 17:
            words = f"{volts:.0f} V" if volts < axis.bend - 1e-6 else f"{volts:.1f} V"
            sheet.text(words, (plot.left - 8, y), SMALL, theme.faded, across=1.0, down=0.5)
            written = y
    time_step = _time_step(view.to_s - view.from_s, plot.width)
    for tick in range(math.ceil(view.from_s / time_step), math.floor(view.to_s / time_step) + 1):
        x = view.x(tick * time_step)
        sheet.line([(x, view.lights.bottom), (x, view.lights.bottom + 5)], theme.faded, 1)
        words = clock_words(tick * time_step) if time_step >= 1.0 else f"{tick * time_step:.1f} s"
        half = sheet.text_size(words, SMALL)[0] / 2
        if has_time and plot.left - 20 <= x - half and x + half <= plot.right + 20:
            sheet.text(words, (x, view.lights.bottom + 6), SMALL, theme.faded, across=0.5)


def _time_step(span_s: float, width: float) -> float:
    """A round time [s] between ticks that are at least 110 points apart."""
    least = span_s * 110.0 / width
    steps = (0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 21600, 86400)
    return next((float(step) for step in steps if step >= least), 864000.0)


def between(one: Colour, other: Colour, share: float) -> Colour:
    red, green, blue = (round(a + share * (b - a)) for a, b in zip(one, other, strict=True))
    return red, green, blue


def _clipped(points: list[Point], left: float, right: float) -> list[Point]:
    """The part of a line with rising x that lies between ``left`` and ``right``."""
    xs = np.array([x for x, _ in points])
    ys = np.array([y for _, y in points])
    inside = (xs > left) & (xs < right)
    ends = [x for x in (left, right) if xs[0] <= x <= xs[-1]]
    kept = list(zip(xs[inside].tolist(), ys[inside].tolist(), strict=True))
    for end in ends:
        kept.append((end, float(np.interp(end, xs, ys))))
    # steps have two points at one x, which stay in their order
    return sorted(kept, key=lambda point: point[0])


def draw_triggers(sheet: Sheet, view: StripView, waits: Waits, axis: Axis) -> None:
    """Both triggers as steps with their letters at the end, and whiskers that are pressed."""
    theme, plot = sheet.theme, view.plot
    colours = (theme.left, theme.right)
    last: dict[int, float] = {}
    for side in (0, 1):
        pressed_to, is_named = -math.inf, False
        for start, end, volts, down in _steps(waits, side):
            x0, x1 = max(view.x(start), plot.left), min(view.x(end), plot.right)
            if x1 <= x0 or not math.isfinite(volts):
                continue
            y = axis.y(volts)
            for piece in dash_marks(x0, x1, PATTERNS[side]):
                sheet.line([(piece[0], y), (piece[1], y)], colours[side], 2.4)
            if x1 > plot.right - 1:
                last[side] = y
            if not down:
                continue
            # pressed: little feet, above the line for the left side and below it for the right one
            way = -1.0 if side == 0 else 1.0
            for foot in np.arange(x0 + 2, x1 - 1, 7.0).tolist():
                sheet.line([(foot, y), (foot - 3, y + 6 * way)], colours[side], 1.6)
            words = f"{_SIDE_WORDS[side]} whisker pressed"
            width = sheet.text_size(words, SMALL)[0]
            # once for each time without a break
            is_named &= x0 - pressed_to < 12
            if not is_named and x1 - x0 > width + 8:
                sheet.text(words, (x0 + 4, y + 8 * way), SMALL, colours[side], down=1.0 if side == 0 else 0.0)
                is_named = True
            pressed_to = x1
    # beyond the discs of what fires at the right end
    _name_ends(sheet, plot.right + 11, [(y, side) for side, y in last.items()], colours)


def _steps(waits: Waits, side: int) -> Iterator[tuple[float, float, float, bool]]:
    """From when to when [s] which trigger [V] holds, and whether that whisker is pressed."""
    for _, wait in waits:
        ends = np.append(wait.changes[1:], wait.times[-1])
        rows = zip(wait.changes, ends, wait.triggers[:, side], wait.pressed[:, side], strict=True)
        for start, end, volts, down in rows:
            yield float(start), float(end), float(volts), bool(down)


def _name_ends(sheet: Sheet, x: float, ends: list[tuple[float, int]], colours: tuple[Colour, Colour]) -> None:
    """The letters of both sides where their lines end, kept apart."""
    if len(ends) == 2 and abs(ends[0][0] - ends[1][0]) < 16:
        middle = 0.5 * (ends[0][0] + ends[1][0])
        up, down = sorted(ends)
        ends = [(middle - 8, up[1]), (middle + 8, down[1])]
    for y, side in ends:
        sheet.text(LETTERS[side], (x, y), SMALL, colours[side], down=0.5)


def dash_marks(x0: float, x1: float, pattern: tuple[float, ...]) -> list[tuple[float, float]]:
    """Marks between ``x0`` and ``x1``, in step with the strip and not with the piece."""
    if not pattern:
        return [(x0, x1)]
    whole = sum(pattern)
    first = math.floor(x0 / whole)
    marks = [
        (number * whole, number * whole + pattern[0]) for number in range(first, math.ceil(x1 / whole) + 1)
    ]
    return [(max(a, x0), min(b, x1)) for a, b in marks if min(b, x1) > max(a, x0)]


def draw_rail(sheet: Sheet, view: StripView, trace: Trace, waits: Waits, axis: Axis) -> None:
    theme, plot = sheet.theme, view.plot
    for number, wait in waits:
        times, volts = wait.times, wait.rail
        if number < len(trace.pulses):
            pulse = trace.pulses[number]
            times, volts = np.append(times, pulse["let_go_s"]), np.append(volts, pulse["let_go_V"])
        # a corner where the rail passes the bend of the axis
        place = np.searchsorted(volts, axis.bend) if volts[0] < axis.bend < volts[:-1].max(initial=0.0) else 0
        if place:
            share = (axis.bend - volts[place - 1]) / max(volts[place] - volts[place - 1], 1e-12)
            times = np.insert(times, place, times[place - 1] + share * (times[place] - times[place - 1]))
            volts = np.insert(volts, place, axis.bend)
        line = [(view.x(float(time)), axis.y(float(level))) for time, level in zip(times, volts, strict=True)]
        shown = _clipped(line, plot.left, plot.right)
        if len(shown) > 1:
            sheet.line(shown, theme.ink, 2.4)


def draw_firings(sheet: Sheet, view: StripView, trace: Trace, numbers: Sequence[int], axis: Axis) -> None:
    """A label at each moment of firing: L or R on a disc in the colour of the side.

    One that would cover the letter before it is a small disc for the left side and a ring for the right.
    """
    lettered = -math.inf
    for number in numbers:
        pulse = trace.pulses[number]
        x = view.x(float(pulse["start_s"]))
        if not view.plot.left <= x <= view.plot.right:
            continue
        side = int(pulse["side"])
        colour = (sheet.theme.left, sheet.theme.right)[side]
        y = max(axis.y(float(pulse["trigger_V"])), view.plot.top + 9)
        if x - lettered < _LETTERS_APART:
            if x - lettered > _DOTS_FROM:
                sheet.disc((x, y), 3.5, colour if side == 0 else sheet.theme.card, colour, 2.0)
            continue
        sheet.disc((x, y), 9, sheet.theme.card, colour, 2.4)
        sheet.text(LETTERS[side], (x, y + 1), SMALL, colour, across=0.5, down=0.5)
        lettered = x
