"""The walker of the last run whose causes are looked at."""

from dataclasses import dataclass

import numpy as np

from replays.drawing.metres_to_points import Point
from replays.drawing.poses import Poses
from replays.format.tables import Replay


@dataclass
class WalkerChoice:
    """Number of the ``chosen`` walker in the run on show, or None."""

    chosen: int | None = None

    def step(self, count: int, step: int) -> None:
        """Choose the next of ``count`` walkers, or the previous one."""
        first = 0 if step > 0 else count - 1
        self.chosen = first if self.chosen is None else (self.chosen + step) % count

    def among(self, count: int) -> int | None:
        """The chosen one, if it is among ``count`` walkers."""
        return self.chosen if self.chosen is not None and self.chosen < count else None


def walker_at(replay: Replay, time_s: float, place: Point, reach: float) -> int | None:
    """The walker nearest to a ``place`` [m] at ``time_s`` [s], no farther than ``reach`` [m]; or None."""
    x, y, _ = Poses(replay).at(time_s)
    away = np.hypot(x - place[0], y - place[1])
    nearest = int(np.argmin(away))
    return nearest if away[nearest] <= reach else None
