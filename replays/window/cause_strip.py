"""Beside or below the floor: why the chosen walker did what it did, and others with it.

Rail and both triggers over time, which side fired, what was pressed, the light at both eyes, the latest
pulse, and a sentence with every share. Left and right differ in colour, in the dashes of their lines and by
the letters L and R.
"""

import math
from collections.abc import Sequence

import numpy as np

from agents.errors import ModelError, ReplayError
from replays.causes.sentences import pulse_cause, volts_words
from replays.causes.traces import Circuits, Trace, Wait
from replays.drawing.figures import walker_name
from replays.drawing.layout import Box
from replays.drawing.sheet import Sheet
from replays.format.tables import CUT_OFF, Replay
from replays.window.buttons_and_cards import SMALL, draw_card
from replays.window.pulse_plots import draw_pulse_plots
from replays.window.voltage_plot import (
    PATTERNS,
    StripView,
    Waits,
    axis_for,
    dash_marks,
    draw_axes,
    draw_firings,
    draw_rail,
    draw_triggers,
)
from replays.words import clock_words, light_words

TEXT = 15
_SENTENCE = 17

# So many waits are in view, and the present stands at this share of the width.
_WAITS_IN_VIEW = 5.0
_PRESENT = 0.76
_LEAST_SPAN = 4.0
# Of a run that hurries it is told anew this seldom [s of the viewer].
_TELL_EVERY = 1.5
# A row of one walker among several is at least so high, with so much for the sentence above it [points].
_LEAST_ROW, _ROW_HEAD = 90.0, 27.0
# Curves of a pulse are at least so high [points].
_LEAST_PULSE = 60.0
# From this width on [points] words, curves and the pulse stand side by side.
_WIDE_FROM = 760.0


def time_span(trace: Trace, time_s: float) -> tuple[float, float]:
    """From when to when [s] is shown at ``time_s`` [s]: a few waits, the present right of the middle."""
    starts = trace.pulses["start_s"]
    waits = np.diff(starts) if len(starts) > 1 else np.array([trace.seconds / _WAITS_IN_VIEW])
    span = min(max(_WAITS_IN_VIEW * float(np.median(waits)), _LEAST_SPAN), max(trace.seconds, _LEAST_SPAN))
    from_s = min(max(time_s - _PRESENT * span, 0.0), max(trace.seconds - span, 0.0))
    return from_s, from_s + span


def row_view(box: Box, span: tuple[float, float], below: float) -> StripView:
    """Volts and light of one walker over the time ``span`` [s] in ``box``, with so much room ``below``."""
    # the letters of the sides stand behind the plot
    left, right = box.left + 52.0, box.right - 20.0
    height = box.height - below
    # in a low row volts come first
    lights_height, gap = (max(0.27 * height, 26.0), 10.0) if height >= 76.0 else (0.22 * height, 0.1 * height)
    lights = Box(left, box.top + height - lights_height, right - left, lights_height)
    plot = Box(left, box.top, right - left, max(lights.top - gap - box.top, 1.0))
    return StripView(span[0], span[1], plot, lights, None)


def latest_pulse(trace: Trace, time_s: float) -> int | None:
    """Number of the pulse fired last at ``time_s`` [s], or None before the first."""
    number = int(np.searchsorted(trace.pulses["start_s"], time_s + 1e-9, side="right")) - 1
    return number if number >= 0 else None


def sentence(trace: Trace, time_s: float) -> tuple[str, str]:
    """Why the latest pulse at ``time_s`` [s] was fired, and what came of it."""
    number = latest_pulse(trace, time_s)
    if number is None:
        first = trace.pulses["start_s"][0] if len(trace.pulses) else None
        if first is None:
            return "never fires in this run", "the rail does not come up to either trigger"
        return "has not fired yet", f"its first pulse comes at {clock_words(float(first))}"
    pulse = trace.pulses[number]
    words = pulse_cause(trace, number).words
    lasted = 1e3 * (float(pulse["let_go_s"]) - float(pulse["start_s"]))
    turn = math.degrees(float(trace.turns[number]))
    way = 1e3 * math.dist((pulse["x0"], pulse["y0"]), (pulse["x1"], pulse["y1"]))
    ended = "cut off by the end of the run" if pulse["ended"] == CUT_OFF else (
        f"released at {volts_words(float(pulse['let_go_V']))}")  # fmt: skip
    side = "left" if turn > 0 else "right"
    done = f"pulse {number + 1} at {clock_words(float(pulse['start_s']))}: {lasted:.0f} ms, {ended}, "
    return words, f"{done}turned {abs(turn):.0f}° to the {side}, moved {way:.0f} mm"


_SHARE_WORDS = {"light": "light", "touch": "whisker", "chance": "chance", "parts": "parts"}


def share_words(trace: Trace, time_s: float) -> str:
    """By how much the side that fired last was ahead, and every part of that; empty where there are none.

    The parts are rounded such that they add up to the sum that is told.
    """
    number = latest_pulse(trace, time_s)
    cause = None if number is None else pulse_cause(trace, number)
    if cause is None or not cause.shares:
        return ""
    values = {name: 1e3 * value for name, value in cause.shares.items()}
    digits = 0 if abs(sum(values.values())) >= 10.0 else 1
    told = {name: round(value, digits) for name, value in values.items()}
    # what rounding leaves over goes to the largest part, which it changes least
    largest = max(told, key=lambda name: abs(told[name]))
    told[largest] = round(told[largest] + round(sum(values.values()), digits) - sum(told.values()), digits)
    parts = ", ".join(f"{_SHARE_WORDS[name]} {value:+.{digits}f}" for name, value in told.items())
    return f"ahead by {sum(told.values()):.{digits}f} mV = {parts}"


def draw_causes(sheet: Sheet, box: Box, told: Sequence[tuple[str, Trace]], time_s: float) -> StripView:
    """Draw why the first of ``told``, names with traces, fires as it does, and the others below it.

    Returns what is where in the first one's row.
    """
    draw_card(sheet, box)
    inner = box.inner(10.0)
    name, trace = told[0]
    span = time_span(trace, time_s)
    if inner.width >= _WIDE_FROM:
        words = Box(inner.left, inner.top, 0.3 * inner.width, inner.height)
        rows = Box(words.right + 12, inner.top + 8, 0.42 * inner.width, inner.height - 8)
        pulse = Box(rows.right + 10, inner.top, inner.right - rows.right - 10, inner.height)
        _draw_words(sheet, words, name, trace, time_s)
    else:
        end = _draw_words(sheet, inner, name, trace, time_s)
        left = inner.bottom - end
        # curves too low to be read make room for the rows
        share = 0.57 if len(told) == 1 and 0.43 * left - 4 >= _LEAST_PULSE else 1.0
        rows = Box(inner.left, end + 10, inner.width, max(share * left - 10, 60.0))
        pulse = Box(inner.left, rows.bottom + 4, inner.width, inner.bottom - rows.bottom - 4)
    # no more than can be read
    told = told[: max(1, int(rows.height // _LEAST_ROW))]
    height = rows.height / len(told)
    views = []
    for number, (other, other_trace) in enumerate(told):
        is_last = number + 1 == len(told)
        head = 0.0 if number == 0 else _ROW_HEAD
        part = Box(rows.left, rows.top + number * height + head, rows.width, max(height - head, 50.0))
        if number:
            why = f"{other}: {sentence(other_trace, time_s)[0]}"
            why = sheet.shorten(why, SMALL, part.width)
            sheet.text(why, (part.left, part.top - head + 1), SMALL)
        view = row_view(part, span, 22.0 if is_last else 10.0)
        _draw_row(sheet, view, other_trace, time_s, has_time=is_last, is_first=number == 0)
        views.append(view)
    latest = latest_pulse(trace, time_s)
    if latest is not None and (len(told) == 1 or inner.width >= _WIDE_FROM) and pulse.height >= _LEAST_PULSE:
        side = int(trace.pulses[latest]["side"])
        draw_pulse_plots(sheet, pulse, trace, latest, (sheet.theme.left, sheet.theme.right)[side])
    return views[0]


def _draw_words(sheet: Sheet, box: Box, name: str, trace: Trace, time_s: float) -> float:
    """Name, sentence, what came of it and its shares; returns where they end. Nothing goes below ``box``."""
    why, outcome = sentence(trace, time_s)
    y = box.top
    sheet.text(sheet.shorten(name, _SENTENCE, box.width), (box.left, y), _SENTENCE)
    y += 22
    for words, colour in ((why, sheet.theme.ink), (share_words(trace, time_s), sheet.theme.ink),
                          (outcome, sheet.theme.faded)):  # fmt: skip
        for line in sheet.wrapped(words, TEXT, box.width):
            if y + 16 > box.bottom:
                return y
            sheet.text(line, (box.left, y), TEXT, colour)
            y += 18
        y += 3
    return y


def _draw_row(
    sheet: Sheet, view: StripView, trace: Trace, time_s: float, *, has_time: bool, is_first: bool
) -> None:
    waits = _waits_in(trace, view)
    axis = axis_for(waits, view.plot)
    draw_axes(sheet, view, axis, has_time=has_time)
    draw_triggers(sheet, view, waits, axis)
    draw_rail(sheet, view, trace, waits, axis)
    _draw_lights(sheet, view, waits)
    _draw_present(sheet, view, time_s, has_tip=is_first)
    draw_firings(sheet, view, trace, [number for number, _ in waits if number < len(trace.pulses)], axis)


def _waits_in(trace: Trace, view: StripView) -> list[tuple[int, Wait]]:
    starts, rests = trace.pulses["start_s"], trace.pulses["let_go_s"]
    first = int(np.searchsorted(starts, view.from_s))
    last = min(int(np.searchsorted(rests, view.to_s)) + 1, trace.waits)
    return [(number, trace.wait(number)) for number in range(min(first, trace.waits), last)]


def _draw_lights(sheet: Sheet, view: StripView, waits: Waits) -> None:
    """Light at both eyes on a scale in decades."""
    theme, box = sheet.theme, view.lights
    values = [float(light) for _, wait in waits for light in wait.lights.ravel() if light > 0.0]
    low, high = (min(values), max(values)) if values else (1.0, 10.0)
    low, high = math.log10(low) - 0.12, math.log10(high) + 0.12
    if high - low < 0.6:
        low, high = 0.5 * (low + high) - 0.3, 0.5 * (low + high) + 0.3
    for decade, y, down in ((high, box.top, 0.2), (low, box.bottom, 0.8)):
        if box.height >= 30 or (decade == high and box.height >= 20):
            words = light_words(float(f"{10.0**decade:.2g}"))
            sheet.text(words, (box.left - 8, y), SMALL, theme.faded, across=1.0, down=down)
    colours = (theme.left, theme.right)
    for side in (0, 1):
        for _, wait in waits:
            ends = np.append(wait.changes[1:], wait.times[-1])
            for start, end, light in zip(wait.changes, ends, wait.lights[:, side], strict=True):
                x0, x1 = max(view.x(float(start)), box.left), min(view.x(float(end)), box.right)
                if x1 <= x0 or light <= 0.0:
                    continue
                y = box.bottom - box.height * (math.log10(float(light)) - low) / (high - low)
                for piece in dash_marks(x0, x1, PATTERNS[side]):
                    sheet.line([(piece[0], y), (piece[1], y)], colours[side], 2.0)


def _draw_present(sheet: Sheet, view: StripView, time_s: float, *, has_tip: bool) -> None:
    x = view.x(time_s)
    top, bottom = view.plot.top - 4, view.lights.bottom + 3
    # what is to come is paler than what was
    if x < view.plot.right - 1:
        right = view.plot.right + 22
        sheet.polygon(
            [(x, top + 4), (right, top + 4), (right, bottom - 3), (x, bottom - 3)], sheet.theme.card, 0.5
        )
    sheet.line([(x, top), (x, bottom)], sheet.theme.wood, 2)
    if has_tip:
        sheet.polygon([(x - 6, top - 7), (x + 6, top - 7), (x, top + 1)], sheet.theme.wood)


class CausePanel:
    """The strips of a replay's walkers; a circuit is worked out when its walker is first chosen.

    ``view`` tells what is where in the strip drawn last, None where there was nothing to draw.
    """

    def __init__(self, replay: Replay) -> None:
        self._replay = replay
        self._circuits = Circuits(replay)
        self.view: StripView | None = None
        self._told = (0.0, -math.inf)

    def time(self, time_s: float, now_s: float, *, holds: bool) -> float:
        """The time [s] to be told at ``now_s`` [s of the viewer]: where it ``holds``, one of a while ago.

        Words and curves that rush by could not be read.
        """
        if not holds or not 0.0 <= now_s - self._told[1] < _TELL_EVERY:
            self._told = (time_s, now_s)
        return self._told[0]

    def draw(self, sheet: Sheet, box: Box, walkers: Sequence[int], time_s: float) -> None:
        """Draw the causes of the first of ``walkers`` at ``time_s`` [s] into ``box``, the others below.

        Or why there are none.
        """
        name = walker_name(self._replay, walkers[0])
        try:
            told = [(walker_name(self._replay, walker), self._circuits.trace(walker)) for walker in walkers]
            self.view = draw_causes(sheet, box, told, time_s)
        except (ReplayError, ModelError) as error:
            self.view = None
            draw_card(sheet, box)
            for number, line in enumerate(sheet.wrapped(f"{name}: {error}", TEXT, box.width - 30)):
                sheet.text(line, (box.left + 14, box.top + 14 + 22 * number), TEXT)
