"""Colours of everything round the arena: paper and ink by day, and the same by lamplight.

What stands on the floor keeps its colours in both, for the floor is as bright as its light says.
"""

from dataclasses import dataclass

from replays.drawing.colours import FADED_INK, INK, PAPER, STRAW, WOOD, Colour


@dataclass(frozen=True)
class Theme:
    """Colours of one theme.

    ``paper`` lies behind everything, ``card`` under what lies on top of it; ``ink`` and ``faded`` are for
    words and lines, ``wood`` for frames, ``accent`` fills what is switched on, with ``on_accent`` for words
    on it. ``left`` and ``right`` are the two sides of a walker where curves of both are drawn.
    """

    name: str
    paper: Colour
    card: Colour
    ink: Colour
    faded: Colour
    wood: Colour
    accent: Colour
    on_accent: Colour
    left: Colour
    right: Colour


LIGHT = Theme(
    name="light",
    paper=PAPER,
    card=(253, 249, 240),
    ink=INK,
    faded=FADED_INK,
    wood=WOOD,
    accent=STRAW,
    on_accent=INK,
    left=(24, 84, 176),
    right=(176, 78, 8),
)
DARK = Theme(
    name="dark",
    paper=(29, 26, 30),
    card=(43, 39, 45),
    ink=(241, 233, 216),
    faded=(184, 172, 152),
    wood=(150, 116, 84),
    accent=STRAW,
    on_accent=INK,
    left=(122, 184, 255),
    right=(255, 168, 84),
)
THEMES = {theme.name: theme for theme in (LIGHT, DARK)}
"""The themes by name."""
