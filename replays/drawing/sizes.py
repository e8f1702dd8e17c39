"""Sizes of pictures and films: for a slide, for a phone, or as asked for."""

import math
import re
from dataclasses import dataclass

from agents.errors import OptionError

NAMED = {"slide": (1920, 1080), "phone": (1080, 1920)}
"""Width and height [pixels] of the sizes with a name."""

LEAST, MOST = 320, 4096
"""Pixels across and down in which something can be read, and made."""

# Points that the shorter side has at the least, on its side and upright. An upright picture is looked at on
# a phone, from near, where letters of 14 points on 430 across are as large as a phone's own: from memory.
_LYING_POINTS, _UPRIGHT_POINTS = 640.0, 430.0


@dataclass(frozen=True)
class Size:
    """``width`` by ``height`` [pixels], drawn at ``scale`` pixels a point."""

    width: int
    height: int
    scale: float

    @property
    def points(self) -> tuple[int, int]:
        """Width and height [points]."""
        return round(self.width / self.scale), round(self.height / self.scale)


def size_of(text: str) -> Size:
    """The size that ``text`` asks for: slide, phone, or like 1280x720. Raises OptionError."""
    words = text.strip().lower()
    match = re.fullmatch(r"([0-9]{1,6})\s*x\s*([0-9]{1,6})", words)
    if words in NAMED:
        width, height = NAMED[words]
    elif match:
        width, height = int(match[1]), int(match[2])
    else:
        raise OptionError(f"a size of {text!r}: give slide, phone, or width x height, like 1280x720")
    if not (LEAST <= width <= MOST and LEAST <= height <= MOST):
        raise OptionError(f"a size of {width} x {height} pixels: give {LEAST} to {MOST} each way")
    points = _UPRIGHT_POINTS if height > 1.1 * width else _LYING_POINTS
    # in steps of a half, so that letters and lines stay sharp
    scale = max(1.0, math.floor(2.0 * min(width, height) / points) / 2.0)
    return Size(width, height, scale)
