"""The sheet that pictures of studies are drawn on: letters, lines, marks, and the file."""

import contextlib
import io
import logging
import math
import warnings
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from replays.drawing.colours import WHITE, Colour, Look
from replays.drawing.theme import LIGHT
from replays.format.whole_files import write_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes


WIDTH = 1200
"""Width of every picture [pixels]."""
LETTERS = 12.0
SMALL = 10.5
HEADING = 16.0

_DPI = 100
_POINT = _DPI / 72.0
_EDGE = 28.0
# Sizes of marks by their corners [pixels], so that they look alike in size.
_MARKS = {0: 9.5, 3: 12.5}
_BREAKS = " ._-/,;:"


def paint(colour: Colour) -> tuple[float, float, float]:
    """A colour as matplotlib takes it."""
    red, green, blue = colour
    return red / 255.0, green / 255.0, blue / 255.0


class Page:
    """A sheet with a heading at the top and a note at the bottom; places are in pixels from the lower left.

    ``top`` and ``bottom`` bound the height that is left for the plot.
    """

    def __init__(self, title: str, about: str) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self._figure = Figure((WIDTH / _DPI, 1.0), dpi=_DPI, facecolor=paint(LIGHT.paper))
        # Parts of it have no types.
        self._canvas = cast(Any, FigureCanvasAgg(self._figure))
        self._renderer = self._canvas.get_renderer()
        self._overlay: Axes | None = None
        room = WIDTH - 2 * _EDGE
        self._titles = self.wrap(title, HEADING, room, 3)
        self._abouts = self.wrap(about, LETTERS, room, 2)
        self.top = self.bottom = self.height = 0.0

    def open(self, height: float, note: str) -> None:
        """Make the page as high as a plot of ``height`` [pixels] needs, and write heading and note.

        Before, words can only be measured.
        """
        head = 22.0 + 27.0 * len(self._titles) + 22.0 * len(self._abouts) + 6.0
        notes = self.wrap(note, SMALL, WIDTH - 2 * _EDGE, 3)
        self.bottom = 18.0 + 19.0 * len(notes)
        self.height = float(round(head + height + self.bottom))
        self._figure.set_size_inches(WIDTH / _DPI, self.height / _DPI)
        self.top = self.height - head
        y = self.height - 22.0
        for line in self._titles:
            self.text(_EDGE, y, line, HEADING, down="top")
            y -= 27.0
        for line in self._abouts:
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
            # Of 1 to so many letters, the most that fit.
            fitting, beyond = 1, len(rest)
            while beyond - fitting > 1:
                middle = (fitting + beyond) // 2
                is_fitting = self.width(rest[:middle].rstrip() + tail, letters) <= width
                fitting, beyond = (middle, beyond) if is_fitting else (fitting, middle)
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
        is_on_paper: bool = False,
    ) -> None:
        """Write words at a place [pixels]; ``turned`` ones run upwards, those on paper cover lines."""
        more: dict[str, Any] = {"ha": across, "va": down, "rotation": 90.0 if turned else 0.0}
        more |= {"rotation_mode": "anchor", "linespacing": 1.15, "color": paint(colour), "fontsize": letters}
        more["zorder"] = 20
        if is_on_paper:
            more["bbox"] = {"facecolor": paint(LIGHT.paper), "edgecolor": "none", "pad": 1.5}
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
def drawing_settings(settings: dict[str, Any]) -> Iterator[None]:
    """Have matplotlib draw with these ``settings`` over its defaults, and nothing of a user's own.

    So a picture is the same on every machine. No text is read as mathematics.
    """
    logger = logging.getLogger("matplotlib")
    level = logger.level
    # It tells of its cache of fonts, of having no place for it, and of letters that the font lacks.
    logger.setLevel(logging.ERROR)
    try:
        import matplotlib

        with matplotlib.rc_context(), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message=".*Glyph.*", category=UserWarning)
            matplotlib.rcdefaults()
            own: Any = {"text.parse_math": False, **settings}
            matplotlib.rcParams.update(own)
            yield
    finally:
        logger.setLevel(level)


@contextlib.contextmanager
def page(path: Path, title: str, about: str) -> Iterator[Page]:
    """A page, to be opened by who draws on it, which is written to ``path`` in the end.

    Raises OutputError when it cannot be written.
    """
    with drawing_settings({"font.family": "DejaVu Sans", "lines.scale_dashes": False}):
        sheet = Page(title, about)
        yield sheet
        content = sheet.png()
    write_whole(path, content)


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
        more = {"ls": "none", "marker": mark_of(look), "markersize": _MARKS.get(look.corners, 11.0) / _POINT}
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
