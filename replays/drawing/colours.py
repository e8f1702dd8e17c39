"""Colours of the pictures: light as from dusk to straw, and a look for each design.

Everything that carries meaning differs in lightness, or in shape, and not by hue alone.
"""

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray

Colour = tuple[int, int, int]

PAPER: Colour = (247, 241, 228)
INK: Colour = (43, 38, 32)
FADED_INK: Colour = (112, 102, 88)
WOOD: Colour = (126, 92, 62)
TRAY: Colour = (38, 48, 34)
LEAF_DARK: Colour = (40, 74, 44)
LEAF_PALE: Colour = (206, 224, 188)
STRAW: Colour = (244, 214, 120)
WHITE: Colour = (255, 255, 255)
BLACK: Colour = (0, 0, 0)

# Dusk, heather, clay, ochre, straw, milk: chosen so that the lightness L* of CIE 15 rises in even steps
# from 22 to 94; held by a test.
_DUSK_TO_STRAW = (
    (62, 48, 66),
    (104, 66, 78),
    (152, 87, 72),
    (190, 120, 70),
    (217, 163, 89),
    (235, 204, 128),
    (251, 240, 200),
)

LIGHT_STEPS = 256


@cache
def light_colours() -> NDArray[np.uint8]:
    """Colours (256, 3) from the dimmest light to the brightest."""
    anchors = np.array(_DUSK_TO_STRAW, dtype=np.float64)
    place = np.linspace(0.0, len(anchors) - 1.0, LIGHT_STEPS)
    columns = [np.interp(place, np.arange(len(anchors)), anchors[:, channel]) for channel in range(3)]
    colours = np.round(np.column_stack(columns)).astype(np.uint8)
    # kept for all who ask
    colours.setflags(write=False)
    return colours


def luminance(colour: Colour) -> float:
    """Relative luminance of ``colour``, 0 to 1, as WCAG 2.2 defines it."""
    parts = [part / 255.0 for part in colour]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def readable_on(ground: Colour) -> Colour:
    """White or black, whichever has the higher contrast ratio (WCAG 2.2) to ``ground``."""
    # (1.05 / (L + 0.05)) against ((L + 0.05) / 0.05)
    return WHITE if (luminance(ground) + 0.05) ** 2 < 1.05 * 0.05 else BLACK


def contrast_ratio(one: Colour, other: Colour) -> float:
    """Contrast ratio of two colours, 1 to 21, as WCAG 2.2 defines it.

    >>> contrast_ratio(WHITE, BLACK)
    21.0
    """
    dim, bright = sorted((luminance(one), luminance(other)))
    return (bright + 0.05) / (dim + 0.05)


# WCAG 2.2, success criterion 1.4.11, asks for 3 to 1; a little more, for colours are whole numbers.
_LINE_CONTRAST = 3.1


@cache
def line_colours() -> NDArray[np.uint8]:
    """Colours (256, 3) of a line on each of :func:`light_colours`, no farther from it than can be seen well.

    Ink on what is bright, paper on what is dim.
    """
    grounds = light_colours()
    lines = np.empty_like(grounds)
    for step, (red, green, blue) in enumerate(grounds.tolist()):
        ground = (red, green, blue)
        end = INK if contrast_ratio(INK, ground) > contrast_ratio(PAPER, ground) else PAPER
        share = next(
            (
                share
                for share in np.linspace(0.3, 1.0, 71)
                if contrast_ratio(_mixed(ground, end, share), ground) >= _LINE_CONTRAST
            ),
            1.0,
        )
        lines[step] = _mixed(ground, end, share)
    lines.setflags(write=False)
    return lines


def _mixed(one: Colour, other: Colour, share: float) -> Colour:
    red, green, blue = (round(a + share * (b - a)) for a, b in zip(one, other, strict=True))
    return red, green, blue


@dataclass(frozen=True)
class LightScale:
    """A scale in equal steps of log light, from ``low_lx`` to ``high_lx`` [lx]."""

    low_lx: float
    high_lx: float

    def share(self, light_lx: FloatArray) -> FloatArray:
        """Where on the scale ``light_lx`` [lx] stands, 0 to 1; what lies beyond goes to the nearer end."""
        inside = np.clip(light_lx, self.low_lx, self.high_lx)
        return np.log(inside / self.low_lx) / math.log(self.high_lx / self.low_lx)

    def ticks(self) -> list[float]:
        """Round values [lx] on the scale, at least two: 1, 2 and 5 a decade, or 1 alone on a long scale."""
        decades = range(math.floor(math.log10(self.low_lx)), math.ceil(math.log10(self.high_lx)) + 1)
        marks = (1,) if self.high_lx / self.low_lx >= 10**3.5 else (1, 2, 5)
        ticks = [mark * 10.0**decade for decade in decades for mark in marks]
        slack = 1 + 1e-9
        return [tick for tick in ticks if self.low_lx / slack <= tick <= self.high_lx * slack]


def light_scale(light_map_lx: NDArray[np.float32]) -> LightScale:
    """A scale from round numbers that holds ``light_map_lx`` [lx], or its brightest four decades."""
    high = float(light_map_lx.max(initial=0.0))
    if high <= 0.0:
        return LightScale(1.0, 10.0)
    lit = light_map_lx[light_map_lx > high * 1e-4]
    low_end, high_end = _round_down(float(lit.min())), _round_up(high)
    if high_end / low_end < 4.0:
        low_end, high_end = _round_down(low_end / 1.5), _round_up(high_end * 1.5)
    return LightScale(low_end, high_end)


def _round_down(value: float) -> float:
    decade = 10.0 ** math.floor(math.log10(value))
    return max(step * decade for step in (0.5, 1, 2, 5) if step * decade <= value * (1 + 1e-6))


def _round_up(value: float) -> float:
    decade = 10.0 ** math.floor(math.log10(value))
    return min(step * decade for step in (1, 2, 5, 10) if step * decade >= value * (1 - 1e-6))


@dataclass(frozen=True)
class Look:
    """How the walkers of a design are drawn: ``corners`` of its mark (0: round), dashes of its path."""

    colour: Colour
    casing: Colour
    corners: int
    turn: float
    pattern: tuple[float, ...]


_LOOKS = (
    Look((20, 58, 140), WHITE, 0, 0.0, ()),
    Look((255, 255, 255), INK, 4, math.pi / 4, ()),
    Look((0, 83, 40), WHITE, 3, math.pi / 2, (12.0, 5.0)),
    Look((120, 220, 244), INK, 4, 0.0, (12.0, 5.0)),
    Look((130, 30, 80), WHITE, 5, math.pi / 2, (3.0, 5.0)),
    Look((24, 22, 20), WHITE, 6, 0.0, (14.0, 4.0, 3.0, 4.0)),
    Look((178, 236, 120), INK, 3, -math.pi / 2, (3.0, 5.0)),
)


def look(design: int) -> Look:
    """The look of design number ``design``: from the eighth on with the mark and the dashes of another."""
    turns, number = divmod(design, len(_LOOKS))
    other = _LOOKS[(number + turns) % len(_LOOKS)]
    return replace(_LOOKS[number], corners=other.corners, turn=other.turn, pattern=other.pattern)
