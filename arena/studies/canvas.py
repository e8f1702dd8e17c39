"""The sheet that pictures of studies are drawn on: letters, lines, scales and their ticks, and the file."""

import contextlib
import io
import logging
import math
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from agents.units import DIMENSIONS, format_quantity, plain_text
from replays.colours import WHITE, Colour, Look
from replays.theme import LIGHT
from replays.writing import write_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "HEADING",
    "LETTERS",
    "SMALL",
    "WIDTH",
    "Page",
    "Scale",
    "apart",
    "cased_line",
    "even_ticks",
    "factor_ticks",
    "mark_of",
    "page",
    "paint",
    "scale_for",
]

Floats = NDArray[np.float64]

WIDTH = 1200
"""Width of every picture [pixels]."""
LETTERS = 12.0
SMALL = 10.5
HEADING = 16.0

_DPI = 100
_POINT = _DPI / 72.0
_EDGE = 28.0
_BREAKS = " ._-/,;:"
# Share of an axis that is set apart for figures without end.
_END = 0.09


def paint(colour: Colour) -> tuple[float, float, float]:
    """A colour as matplotlib takes it."""
    red, green, blue = colour
    return red / 255.0, green / 255.0, blue / 255.0


class Page:
    """A sheet with a heading at the top and a note at the bottom; places are in pixels from the lower left.

    ``top`` and ``bottom`` bound the height that is left for the plot.
    """

    def __init__(self, height: float, title: str, about: str, note: str) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        # Heading and note come on top of the height asked for.
        self._figure = Figure((WIDTH / _DPI, 1.0), dpi=_DPI, facecolor=paint(LIGHT.paper))
        # Parts of it have no types.
        self._canvas: Any = FigureCanvasAgg(self._figure)
        self._renderer = self._canvas.get_renderer()
        self._overlay: Axes | None = None
        room = WIDTH - 2 * _EDGE
        titles = self.wrap(title, HEADING, room, 2)
        abouts = self.wrap(about, LETTERS, room, 2)
        notes = self.wrap(note, SMALL, room, 3)
        head = 22.0 + 27.0 * len(titles) + 22.0 * len(abouts) + 12.0
        self.bottom = 18.0 + 19.0 * len(notes)
        self.height = round(head + height + self.bottom)
        self._figure.set_size_inches(WIDTH / _DPI, self.height / _DPI)
        self.top = self.height - head
        y = self.height - 22.0
        for line in titles:
            self.text(_EDGE, y, line, HEADING, down="top")
            y -= 27.0
        for line in abouts:
            self.text(_EDGE, y, line, LETTERS, LIGHT.faded, down="top")
            y -= 22.0
        for number, line in enumerate(reversed(notes)):
            self.text(_EDGE, 16.0 + 19.0 * number, line, SMALL, LIGHT.faded, down="baseline")

    def width(self, words: str, letters: float) -> float:
        """Width of words in a line [pixels], of ``letters`` points."""
        from matplotlib.font_manager import FontProperties

        font = FontProperties(family="DejaVu Sans", size=letters)
        return float(self._renderer.get_text_width_height_descent(words, font, ismath=False)[0])

    def wrap(self, words: str, letters: float, width: float, most: int) -> list[str]:
        """Words in at most so many lines, each at most ``width`` [pixels]; what has no room becomes dots."""
        rest = " ".join("".join(c if c.isprintable() else " " for c in words).split())
        lines: list[str] = []
        while rest:
            if self.width(rest, letters) <= width:
                return [*lines, rest]
            is_last = len(lines) == most - 1
            tail = "…" if is_last else ""
            fitting = len(rest)
            while fitting > 1 and self.width(rest[:fitting].rstrip() + tail, letters) > width:
                fitting -= 1
            if is_last:
                return [*lines, rest[:fitting].rstrip() + tail]
            cuts = [cut for cut in range(1, fitting + 1) if rest[cut - 1] in _BREAKS or rest[cut] == " "]
            # A break near the front would leave a line with a letter or two.
            cut = max((cut for cut in cuts if cut > 0.4 * fitting), default=fitting)
            lines.append(rest[:cut].rstrip())
            rest = rest[cut:].lstrip()
        return lines

    def text(
        self,
        x: float,
        y: float,
        words: str,
        letters: float = LETTERS,
        colour: Colour = LIGHT.ink,
        across: str = "left",
        down: str = "center",
        turned: bool = False,
    ) -> None:
        """Write words at a place [pixels]; ``turned`` ones run upwards."""
        more: dict[str, Any] = {"ha": across, "va": down, "rotation": 90.0 if turned else 0.0}
        more |= {"rotation_mode": "anchor", "linespacing": 1.15, "color": paint(colour), "fontsize": letters}
        self._figure.text(x / WIDTH, y / self.height, words, **more)

    def overlay(self) -> "Axes":
        """Axes over the whole page whose coordinates are pixels."""
        if self._overlay is None:
            axes = self.axes(0.0, 0.0, WIDTH, self.height)
            axes.patch.set_visible(False)
            axes.set_xlim(0.0, WIDTH)
            axes.set_ylim(0.0, self.height)
            axes.set_zorder(10)
            self._overlay = axes
        return self._overlay

    def axes(self, left: float, bottom: float, width: float, height: float) -> "Axes":
        """Bare axes on a card at a place [pixels], without ticks, words or frame."""
        place = (left / WIDTH, bottom / self.height, width / WIDTH, height / self.height)
        axes = self._figure.add_axes(place, facecolor=paint(LIGHT.card))
        axes.set_xticks([])
        axes.set_yticks([])
        for spine in axes.spines.values():
            spine.set_visible(False)
        return axes

    def png(self) -> bytes:
        """The picture as PNG; the same page gives the same bytes."""
        stream = io.BytesIO()
        self._canvas.print_png(stream, metadata={"Software": None})
        return stream.getvalue()


@contextlib.contextmanager
def page(path: Path, height: float, title: str, about: str, note: str) -> Iterator[Page]:
    """A page with room of ``height`` [pixels] for a plot, which is written to ``path`` in the end.

    Raises OutputError when it cannot be written.
    """
    import matplotlib

    logger = logging.getLogger("matplotlib")
    level = logger.level
    # It tells of its cache of fonts, and of letters that the font lacks.
    logger.setLevel(logging.ERROR)
    try:
        with matplotlib.rc_context(), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message=".*Glyph.*", category=UserWarning)
            # Nothing of a user's own settings, so that a picture is the same on every machine.
            matplotlib.rcdefaults()
            settings: Any = {
                "font.family": "DejaVu Sans",
                "text.parse_math": False,
                "lines.scale_dashes": False,
            }
            matplotlib.rcParams.update(settings)
            sheet = Page(height, title, about, note)
            yield sheet
            content = sheet.png()
    finally:
        logger.setLevel(level)
    write_whole(path, content)


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

    def at(self, figures: Floats) -> Floats:
        """Where figures stand along the axis; infinite ones in the middle of their strip."""
        end = (self.high + self.top) / 2.0 if self.has_end else self.high
        return np.where(np.isposinf(figures), end, np.clip(figures * self.times, self.low, self.top))

    def tick_words(self, tick: float) -> str:
        """A tick in figures, without unit."""
        return _plain(tick)


def scale_for(unit: str, figures: Sequence[Floats], is_whole: bool = True) -> Scale:
    """A scale that holds all finite ``figures``, of which nan are left out.

    ``unit`` is a score's. Shares have 0 to 100 % if the scale is to be whole; times begin at 0.
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
    if unit == "%" and (is_whole or finite.size == 0):
        return Scale(0.0, 100.0, (0.0, 20.0, 40.0, 60.0, 80.0, 100.0), times, unit, has_end)
    if finite.size == 0:
        return Scale(0.0, 1.0, (), times, unit, has_end)
    low, high = float(finite.min()) * times, float(finite.max()) * times
    if unit in ("s", "min", "h") or 0.0 < low < 0.4 * high:
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
    return [(value, _with_unit(value, unit)) for value in values]


def _with_unit(value: float, unit: str) -> str:
    if unit in DIMENSIONS:
        return format_quantity(value, unit)
    if unit == "%":
        return f"{_plain(100.0 * value)} %"
    return f"{_plain(value)} {unit}".rstrip()


def _plain(value: float) -> str:
    text = plain_text(value, 4)
    return "0" if text.strip("-0.") == "" else text


def mark_of(look: Look) -> Any:
    """The mark of a look, as matplotlib takes it."""
    return "o" if look.corners == 0 else (look.corners, 0, math.degrees(look.turn) - 90.0)


def cased_line(
    axes: "Axes", xs: Any, ys: Any, look: Look, width: float, moved: Any, has_marks: bool, order: float
) -> None:
    """A line, or marks alone where ``width`` [pixels] is 0, in a look with its casing."""
    from matplotlib.lines import Line2D

    dashes = (0, tuple(part / _POINT for part in look.pattern)) if look.pattern else "solid"
    is_pale = look.casing != WHITE
    for colour, wider, style in ((look.casing, 2.4, "solid"), (look.colour, 0.0, dashes)):
        if width > 0.0:
            more: dict[str, Any] = {"color": paint(colour), "lw": (width + wider) / _POINT, "ls": style}
            axes.add_line(
                Line2D(
                    xs, ys, transform=moved, zorder=order, dash_capstyle="butt", solid_capstyle="butt", **more
                )
            )
    if has_marks:
        more = {"ls": "none", "marker": mark_of(look), "markersize": 9.5 / _POINT}
        more |= {"markerfacecolor": paint(look.colour), "markeredgecolor": paint(look.casing)}
        more |= {"markeredgewidth": (1.6 if is_pale else 1.0) / _POINT, "clip_on": False}
        axes.add_line(Line2D(xs, ys, transform=moved, zorder=order + 1, **more))


def apart(wanted: Sequence[float], sizes: Sequence[float], low: float, high: float) -> list[float]:
    """Places near the wanted ones, in their order, so that things of these sizes do not overlap.

    They are kept from ``low`` to ``high`` as far as there is room.
    """
    order = sorted(range(len(wanted)), key=lambda number: wanted[number])
    places = list(wanted)
    edge = low
    for number in order:
        places[number] = max(places[number], edge + sizes[number] / 2.0)
        edge = places[number] + sizes[number] / 2.0
    edge = high
    for number in reversed(order):
        places[number] = min(places[number], edge - sizes[number] / 2.0)
        edge = places[number] - sizes[number] / 2.0
    return places
