"""How much of a floor a window draws in each frame, counted in pixels, whatever the machine."""

import itertools
import time
from collections.abc import Callable
from typing import Any

import pytest

from replays.drawing.laid_ground import LaidGround
from replays.drawing.trails import Trails

Count = Callable[[], int]


def count_pixels(monkeypatch: pytest.MonkeyPatch) -> Count:
    """A function that tells how many pixels of floors have been drawn since it was last asked.

    From now on the clock says that any budget is used up, so that each frame does as little as it may.
    """
    drawn = [0]
    lay: Any = LaidGround.advance
    compose: Any = Trails._compose_piece

    def laid(self: LaidGround, until: float) -> bool:
        before = len(self.pieces)
        is_laid: bool = lay(self, until)
        drawn[0] += sum(self.pieces[before:])
        return is_laid

    def composed(self: Trails, *given: Any) -> None:
        drawn[0] += given[-1].width * given[-1].height
        compose(self, *given)

    def asked() -> int:
        count, drawn[0] = drawn[0], 0
        return count

    seconds = itertools.count()
    monkeypatch.setattr(LaidGround, "advance", laid)
    monkeypatch.setattr(Trails, "_compose_piece", composed)
    monkeypatch.setattr(time, "perf_counter", lambda: float(next(seconds)))
    return asked
