"""Which part of the floor is seen: the whole, or what the viewer has come closer to."""

import math
from dataclasses import dataclass, field

from replays.drawing.layout import Box, Point
from replays.drawing.metres_to_points import View
from replays.window.window_layout import MARGIN

STEP = 1.25
"""By how much one step comes closer."""

CLOSEST = 80.0
"""How many times closer than the whole floor it goes."""

# How long after its last change a view counts as moving [s of the viewer].
_REST = 0.14
# A view jumps after a walker no more often than this [s of the viewer].
_BETWEEN_JUMPS = 0.8
# A walker that is followed may go this far from the middle before the view goes after it.
_LEASH = 0.28


@dataclass
class Camera:
    """A look at ``bounds`` (west, south, east, north [m]); ``centre`` [m] is in the middle, ``closer`` times
    as large as when all is in view.
    """

    bounds: tuple[float, float, float, float]
    closer: float = 1.0
    centre: Point = field(default=(0.0, 0.0))
    changed_s: float = -math.inf
    jumped_s: float = -math.inf

    def __post_init__(self) -> None:
        west, south, east, north = self.bounds
        self.centre = (0.5 * (west + east), 0.5 * (south + north))

    def view(self, box: Box) -> View:
        """The view into ``box`` [points]."""
        west, south, east, north = self.bounds
        margin = 2.0 * MARGIN * max(east - west, north - south)
        whole = min(box.width / (east - west + margin), box.height / (north - south + margin))
        zoom = whole * self.closer
        return View(
            box.left,
            box.top,
            box.width,
            box.height,
            self.centre[0] - 0.5 * box.width / zoom,
            self.centre[1] - 0.5 * box.height / zoom,
            zoom,
        )

    def is_moving(self, now_s: float) -> bool:
        """Whether the viewer changed it a moment ago, at ``now_s`` [s of the viewer]."""
        return now_s - self.changed_s < _REST

    def come_closer(self, box: Box, factor: float, now_s: float, at: Point | None = None) -> None:
        """Come closer by ``factor``, so that what is at the point ``at``, or in the middle, stays there."""
        view = self.view(box)
        at = at or box.middle
        x, y = view.place(at)
        self.closer = min(max(self.closer * factor, 1.0), CLOSEST)
        zoom = self.view(box).zoom
        self.centre = (
            x - (at[0] - box.left - 0.5 * box.width) / zoom,
            y + (at[1] - box.top - 0.5 * box.height) / zoom,
        )
        self._change(box, now_s)

    def shift(self, box: Box, across: float, down: float, now_s: float) -> None:
        """Move the floor by ``across`` and ``down`` [points] on the screen."""
        zoom = self.view(box).zoom
        self.centre = (self.centre[0] - across / zoom, self.centre[1] + down / zoom)
        self._change(box, now_s)

    def see_all(self, box: Box, now_s: float) -> None:
        """Look at the whole floor."""
        self.closer = 1.0
        self._change(box, now_s)

    def follow(self, box: Box, x: float, y: float, now_s: float) -> None:
        """Put a walker at ``x``, ``y`` [m] into the middle if it is about to leave it.

        At once, since a glide over paths and edges flickers, but not again too soon.
        """
        if self.closer <= 1.0 or now_s - self.jumped_s < _BETWEEN_JUMPS:
            return
        across, down = self.view(box)(x, y)
        away = (abs(across - box.middle[0]) / box.width, abs(down - box.middle[1]) / box.height)
        if max(away) > _LEASH:
            self.centre, self.jumped_s = (x, y), now_s

    def _change(self, box: Box, now_s: float) -> None:
        """Keep the floor in view, and note when it moved."""
        west, south, east, north = self.bounds
        if self.closer <= 1.0:
            self.centre = (0.5 * (west + east), 0.5 * (south + north))
        self.centre = (min(max(self.centre[0], west), east), min(max(self.centre[1], south), north))
        self.changed_s = now_s
