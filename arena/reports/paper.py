"""The paper of all reports: its colours, and which of them are written on which.

A printer leaves the ground of a page away, so that each ink must be read on white as well.
"""

from typing import NamedTuple

from replays.drawing.colours import WHITE, Colour, luminance
from replays.drawing.theme import LIGHT

# Least contrast of text: WCAG 2.2, 1.4.3.
TEXT_CONTRAST = 4.5

COLOURS: dict[str, Colour] = {
    "paper": LIGHT.card,
    "ink": LIGHT.ink,
    "faded": (96, 87, 74),
    "wood": LIGHT.wood,
    "rule": (203, 190, 166),
    "tint": LIGHT.paper,
    "left": LIGHT.left,
    "right": LIGHT.right,
    "works": (34, 98, 62),
    "warns": (150, 62, 10),
    "fails": (158, 32, 40),
}
"""Every colour that a page may have, by the name that its style sheet and its plots call it."""


class Pair(NamedTuple):
    """One colour on another, and the least contrast that it needs there."""

    mark: str
    ground: str
    least: float


_TEXTS = ("ink", "faded", "wood", "left", "right", "works", "warns", "fails")
PAIRS = tuple(Pair(text, ground, TEXT_CONTRAST) for text in _TEXTS for ground in ("paper", "tint", "white"))
"""Every pair of text and ground on a page; ``white`` is the bare paper of a printer."""


def contrast(one: Colour, other: Colour) -> float:
    """Contrast ratio of two colours, 1 to 21, as WCAG 2.2 defines it.

    >>> round(contrast((0, 0, 0), (255, 255, 255)), 6)
    21.0
    """
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def ground_colour(name: str) -> Colour:
    """The colour of a ground of :data:`PAIRS`."""
    return WHITE if name == "white" else COLOURS[name]


def hex_of(name: str) -> str:
    """A colour as style sheets and drawings write it, like ``#2b2620``."""
    return "#{:02x}{:02x}{:02x}".format(*COLOURS[name])
