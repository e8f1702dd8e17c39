"""Which part of the floor is seen: the whole, or what the viewer has come closer to."""

import math
from dataclasses import dataclass, field

from replays.layout import Box, Point
from replays.view import View

STEP = 1.25
"""By how much one step comes closer."""

CLOSEST = 80.0
"""How many times closer than the whole floor it goes."""

# How long after its last change a view counts as moving [s of the viewer].
_REST = 0.14
# Time in which a glide comes closer to its end by a factor of e [s of the viewer].
_GLIDE = 0.13
# A walker that is followed may go this far from the middle before the view glides after it.
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
    goal: Point | None = None

    def __post_init__(self) -> None:
        west, south, east, north = self.bounds
        self.centre = (0.5 * (west + east), 0.5 * (south + north))

    def view(self, box: Box) -> View:
        """The view into ``box`` [points]."""
        west, south, east, north = self.bounds
        margin = 1.06 * max(east - west, north - south) - max(east - west, north - south)
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
        """Whether it changed a moment ago, or glides, at ``now_s`` [s of the viewer]."""
        return self.goal is not None or now_s - self.changed_s < _REST

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
        self.goal = None
        self._change(box, now_s)

    def see_all(self, box: Box, now_s: float) -> None:
        """Look at the whole floor."""
        self.closer = 1.0
        self.goal = None
        self._change(box, now_s)

    def follow(self, box: Box, x: float, y: float) -> None:
        """Begin to glide after a walker at ``x``, ``y`` [m] if it is about to leave the middle."""
        if self.closer <= 1.0:
            return
        across, down = self.view(box)(x, y)
        away = (abs(across - box.middle[0]) / box.width, abs(down - box.middle[1]) / box.height)
        if max(away) > _LEASH:
            self.goal = (x, y)

    def advance(self, box: Box, elapsed_s: float, now_s: float) -> None:
        """Glide on for ``elapsed_s`` [s of the viewer]."""
        if self.goal is None:
            return
        share = 1.0 - math.exp(-elapsed_s / _GLIDE)
        to_x, to_y = self.goal[0] - self.centre[0], self.goal[1] - self.centre[1]
        before = self.centre
        if math.hypot(to_x, to_y) * self.view(box).zoom < 1.0:
            share, self.goal = 1.0, None
        self.centre = (before[0] + share * to_x, before[1] + share * to_y)
        self._change(box, now_s)
        if self.centre == before:
            self.goal = None

    def _change(self, box: Box, now_s: float) -> None:
        """Keep the floor in view, and note when it moved."""
        west, south, east, north = self.bounds
        if self.closer <= 1.0:
            self.centre = (0.5 * (west + east), 0.5 * (south + north))
        self.centre = (min(max(self.centre[0], west), east), min(max(self.centre[1], south), north))
        self.changed_s = now_s
