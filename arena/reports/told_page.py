"""The page of what a command has told: its tables, lines and pictures, as it printed and drew them."""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from arena.reports.html_page import rendered
from arena.reports.plot_sheet import Drawing, data_url

Column = tuple[str, Sequence[str]]
"""A heading, which may have several lines, and the cells below it."""

# Pixels of CSS that the type area of a page is wide.
_WIDTH = 672


class ToldTable(NamedTuple):
    """A table: the heading and cells of its first column, the others, and which of these hold words."""

    labels: Column
    columns: list[Column]
    words: tuple[str, ...]


class ToldLine(NamedTuple):
    """A line; a ``faint`` one explains what stands above it."""

    words: str
    faint: bool


Told = ToldTable | ToldLine


def told_page(
    sort: str, name: str, about: str | None, told: Sequence[Told], pictures: Sequence[Path], design: str = ""
) -> str:
    """The page of a ``sort`` of work, like *kits of*, on what is called ``name``.

    ``pictures`` are PNG files; ``design`` is the text of a design's file that came of it, or empty.
    """
    blocks = [
        {"table": one, "line": None} if isinstance(one, ToldTable) else {"table": None, "line": one}
        for one in told
    ]
    drawings = [_drawing(path, name) for path in pictures]
    return rendered(
        "told.html",
        sort=sort,
        name=name,
        about=about,
        blocks=blocks,
        drawings=drawings,
        design=design,
    )


def _drawing(path: Path, name: str) -> tuple[Drawing, str]:
    """A picture of a file with what it shows: its own title says it, and so does its name."""
    from PIL import Image

    content = path.read_bytes()
    with Image.open(path) as picture:
        width, height = picture.size
    shown = path.stem.replace("-", " ").replace("_", " ")
    words = f"Plot of {name}: {shown}, each figure with its 95 % interval; the tables above have the figures."
    drawing = Drawing(data_url(content, "image/png"), words, _WIDTH, round(height * _WIDTH / width))
    return drawing, f"{shown[:1].upper()}{shown[1:]}."
