"""The strip below the arena: why the chosen walker did what it did.

Rail and both triggers over time, which side fired, what was pressed, the light at both eyes, the current of
the latest pulse, and a sentence. Left and right differ in colour, in the dashes of their lines and by the
letters L and R.
"""

import math

import numpy as np

from agents.arrays import FloatArray
from agents.errors import ModelError, ReplayError
from replays.causes.sentences import pulse_cause, volts_words
from replays.causes.traces import Circuits, Trace, Wait
from replays.drawing.figures import walker_name
from replays.drawing.layout import Box, Point
from replays.drawing.sheet import Sheet
from replays.drawing.theme import Theme
from replays.format.tables import CUT_OFF, Replay
from replays.window.buttons_and_cards import SMALL, draw_card
from replays.window.voltage_plot import (
    LETTERS,
    PATTERNS,
    StripView,
    Waits,
    axis_for,
    between,
    dash_marks,
    draw_axes,
    draw_firing,
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
_INSET = 236.0
_INSET_FROM = 760.0


def strip_view(box: Box, trace: Trace, time_s: float) -> StripView:
    """What the strip in ``box`` shows at ``time_s`` [s]: a few waits, the present right of the middle."""
    starts = trace.pulses["start_s"]
    waits = np.diff(starts) if len(starts) > 1 else np.array([trace.seconds / _WAITS_IN_VIEW])
    span = min(max(_WAITS_IN_VIEW * float(np.median(waits)), _LEAST_SPAN), max(trace.seconds, _LEAST_SPAN))
    from_s = min(max(time_s - _PRESENT * span, 0.0), max(trace.seconds - span, 0.0))
    inner = box.inner(12.0)
    top = inner.top + 52.0
    inset = None
    # the letters of the sides stand behind the plot
    right = inner.right - 20.0
    if inner.width >= _INSET_FROM:
        inset = Box(inner.right - _INSET + 44.0, top, _INSET - 44.0, inner.bottom - top - 20.0)
        right = inner.right - _INSET - 20.0
    left = inner.left + 52.0
    lights_height = max(0.27 * (inner.bottom - top - 20.0), 30.0)
    lights = Box(left, inner.bottom - 20.0 - lights_height, right - left, lights_height)
    plot = Box(left, top, right - left, max(lights.top - 12.0 - top, 20.0))
    return StripView(from_s, from_s + span, plot, lights, inset)


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


def draw_strip(sheet: Sheet, box: Box, trace: Trace, name: str, time_s: float) -> StripView:
    """Draw the strip of a walker called ``name`` into ``box``; returns what is where."""
    draw_card(sheet, box)
    view = strip_view(box, trace, time_s)
    theme = sheet.theme
    words, outcome = sentence(trace, time_s)
    inner = box.inner(12.0)
    sheet.text(name, (inner.left, inner.top), _SENTENCE)
    left = inner.left + sheet.text_size(name, _SENTENCE)[0] + 14
    room = inner.right - left
    if sheet.text_size(words, _SENTENCE)[0] <= room:
        sheet.text(words, (left, inner.top), _SENTENCE)
        outcome = sheet.shorten(outcome, TEXT, inner.width)
        sheet.text(outcome, (inner.left, inner.top + 24), TEXT, theme.faded)
    else:
        # why it fired counts more than what came of it
        lines = sheet.wrapped(words, TEXT, room)
        sheet.text(lines[0], (left, inner.top + 1), TEXT)
        rest = sheet.shorten(" ".join(lines[1:]), TEXT, room)
        sheet.text(rest, (left, inner.top + 24), TEXT)
    waits = _waits_in(trace, view)
    axis = axis_for(waits, view.plot)
    draw_axes(sheet, view, axis)
    draw_triggers(sheet, view, waits, axis)
    draw_rail(sheet, view, trace, waits, axis)
    _draw_lights(sheet, view, waits)
    _draw_present(sheet, view, time_s)
    for number, _ in waits:
        if number < len(trace.pulses):
            draw_firing(sheet, view, trace, number, axis)
    latest = latest_pulse(trace, time_s)
    if view.inset is not None and latest is not None:
        _draw_pulse(sheet, view.inset, trace, latest)
    return view


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
    sheet.line([(box.left, box.top), (box.right, box.top)], between(theme.card, theme.faded, 0.6), 1)
    sheet.text("light", (box.left - 8, box.top + box.height / 2), SMALL, theme.faded, across=1.0, down=0.5)
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


def _draw_present(sheet: Sheet, view: StripView, time_s: float) -> None:
    x = view.x(time_s)
    top, bottom = view.plot.top - 4, view.lights.bottom + 3
    # what is to come is paler than what was
    if x < view.plot.right - 1:
        right = view.plot.right + 22
        sheet.polygon(
            [(x, top + 4), (right, top + 4), (right, bottom - 3), (x, bottom - 3)], sheet.theme.card, 0.5
        )
    sheet.line([(x, top), (x, bottom)], sheet.theme.wood, 2)
    sheet.polygon([(x - 6, top - 7), (x + 6, top - 7), (x, top + 1)], sheet.theme.wood)


def _draw_pulse(sheet: Sheet, box: Box, trace: Trace, number: int) -> None:
    """The motor's current during a pulse, and the light that the eyes had when it began."""
    theme: Theme = sheet.theme
    pulse = trace.pulses[number]
    curve = trace.pulse(number)
    side = int(pulse["side"])
    colour = (theme.left, theme.right)[side]
    lights = (float(pulse["light_left_lx"]), float(pulse["light_right_lx"]))
    y = box.top - 4
    for which in (0, 1):
        words = f"{LETTERS[which]} {light_words(lights[which])}"
        x = box.left if which == 0 else box.left + box.width / 2
        sheet.text(words, (x, y), TEXT, (theme.left, theme.right)[which])
    plot = Box(box.left, box.top + 22, box.width, max(box.height - 22, 20.0))
    milliamperes = 1e3 * curve.current
    most = max(float(milliamperes.max(initial=0.0)), 1e-3)
    top = _round_up(1.1 * most)
    milliseconds = 1e3 * (curve.times - curve.times[0])
    whole = max(float(milliseconds[-1]), 1e-3)
    quiet = between(theme.card, theme.faded, 0.35)
    for share in (0.0, 0.5, 1.0):
        at = plot.bottom - share * plot.height
        sheet.line([(plot.left, at), (plot.right, at)], quiet, 1)
        sheet.text(f"{share * top:g}", (plot.left - 6, at), SMALL, theme.faded, across=1.0, down=0.5)
    points = _thinned(
        plot.left + plot.width * milliseconds / whole, plot.bottom - plot.height * milliamperes / top
    )
    area = [(plot.left, plot.bottom), *points, (points[-1][0], plot.bottom)]
    sheet.polygon(area, colour, 0.18)
    sheet.line(points, colour, 2.4)
    sheet.text("0", (plot.left, plot.bottom + 5), SMALL, theme.faded)
    words = f"{whole:.0f} ms" if whole < 5e3 else f"{whole / 1e3:.0f} s"
    sheet.text(words, (plot.right, plot.bottom + 5), SMALL, theme.faded, across=1.0)
    sheet.text("motor, mA", (plot.left + plot.width / 2, plot.bottom + 5), SMALL, theme.faded, across=0.5)


def _thinned(x: FloatArray, y: FloatArray) -> list[Point]:
    step = max(1, len(x) // 160)
    chosen = np.unique(np.append(np.arange(0, len(x), step), len(x) - 1))
    return list(zip(x[chosen].tolist(), y[chosen].tolist(), strict=True))


def _round_up(value: float) -> float:
    decade = 10.0 ** math.floor(math.log10(value))
    return next(step * decade for step in (1, 2, 4, 5, 6, 8, 10) if step * decade >= value)


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

    def draw(self, sheet: Sheet, box: Box, walker: int, time_s: float) -> None:
        """Draw the strip of ``walker`` at ``time_s`` [s] into ``box``, or why there is none."""
        name = walker_name(self._replay, walker)
        try:
            trace = self._circuits.trace(walker)
            self.view = draw_strip(sheet, box, trace, name, time_s)
        except (ReplayError, ModelError) as error:
            self.view = None
            draw_card(sheet, box)
            for number, line in enumerate(sheet.wrapped(f"{name}: {error}", TEXT, box.width - 30)):
                sheet.text(line, (box.left + 14, box.top + 14 + 22 * number), TEXT)
