"""Plots for pages: drawn by matplotlib as SVG, and laid into the page as data, so that nothing is fetched."""

import base64
import contextlib
import io
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from arena.reports.paper import hex_of
from arena.studies.telling.canvas import drawing_settings

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# What a plot's letters are set in by whoever shows it; widths of the first were reckoned with.
_LETTERS = ("DejaVu Sans", "Verdana", "sans-serif")
SMALL = 8.0
LETTERS = 9.0


class Drawing(NamedTuple):
    """A picture of a page: where its data lie, what it shows in words, and its size [pixels of CSS]."""

    source: str
    words: str
    width: int
    height: int


class PlotSheet:
    """A figure that becomes a :class:`Drawing` once it is drawn; sizes in inches."""

    def __init__(self, width: float, height: float) -> None:
        from matplotlib.figure import Figure

        self.width, self.height = width, height
        self.figure = Figure((width, height), dpi=96)
        self.figure.patch.set_visible(False)

    def axes(self, left: float, bottom: float, width: float, height: float) -> "Axes":
        """Axes at a place [inches from the lower left] with hairlines for frame."""
        place = (left / self.width, bottom / self.height, width / self.width, height / self.height)
        axes = self.figure.add_axes(place)
        axes.patch.set_visible(False)
        for side, spine in axes.spines.items():
            spine.set_visible(side in ("left", "bottom"))
            spine.set_color(hex_of("ink"))
            spine.set_linewidth(0.8)
        axes.tick_params(colors=hex_of("ink"), labelsize=SMALL, width=0.8, length=3.5, which="major")
        axes.tick_params(width=0.5, length=2.0, which="minor", colors=hex_of("faded"))
        axes.grid(True, color=hex_of("rule"), alpha=0.6, linewidth=0.5, which="major")
        axes.set_axisbelow(True)
        return axes

    def drawing(self, words: str) -> Drawing:
        """The figure as a picture of a page; ``words`` say what it shows."""
        stream = io.StringIO()
        self.figure.savefig(stream, format="svg", metadata={"Date": None}, transparent=True)
        source = data_url(_lean(stream.getvalue()).encode("utf-8"), "image/svg+xml")
        return Drawing(source, words, round(96 * self.width), round(96 * self.height))


def data_url(content: bytes, kind: str) -> str:
    """The content of a file of a ``kind``, like image/png, as an address that holds it."""
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"


def _lean(svg: str) -> str:
    """An SVG without what only says who drew it."""
    svg = re.sub(r"\s*<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    return re.sub(r"<!--.*?-->\s*|<!DOCTYPE.*?>\s*|<\?xml.*?\?>\s*", "", svg, flags=re.DOTALL)


@contextlib.contextmanager
def plot_sheet(width: float, height: float) -> Iterator[PlotSheet]:
    """A sheet of a size [inches]; the same plot gives the same bytes on every machine."""
    settings = {
        "font.family": "sans-serif",
        "font.sans-serif": list(_LETTERS),
        "svg.fonttype": "none",
        "svg.hashsalt": "photodrome",
        "axes.labelsize": LETTERS,
        "font.size": LETTERS,
        "text.color": hex_of("ink"),
        "axes.labelcolor": hex_of("ink"),
    }
    with drawing_settings(settings):
        yield PlotSheet(width, height)
