"""A calm picture of a run that hurries by.

Played fast, every walker swings to and fro many times a second, and so does the brightness of every place
that its edges cross. Then the picture is not drawn anew frame by frame: one picture dissolves into the next,
a few times a second. Whatever the run does, the brightness of a place goes one way during each dissolve, so
that it turns round at most once from one to the next: no more than 1 / (2 ``PERIOD``) flashes a second.

The bound to keep is that of WCAG 2.2, success criterion 2.3.1: three flashes a second.
"""

import math

from replays.drawing.sheet import pygame

PERIOD = 0.25
"""How long one picture takes to dissolve into the next [s of the viewer]."""

HURRIED = 2.5
"""Pulses a second of the viewer's time, of one walker on average, from which on a run hurries."""


class Dissolve:
    """The picture that is going, and the one that is coming."""

    def __init__(self) -> None:
        self._going: pygame.Surface | None = None
        self._coming: pygame.Surface | None = None
        self._began_s = -math.inf

    def forget(self) -> None:
        """Begin anew with the next picture."""
        self._going = self._coming = None
        self._began_s = -math.inf

    def is_going(self, now_s: float) -> bool:
        """Whether one picture is dissolving into another at ``now_s`` [s of the viewer]."""
        return self._coming is not None and now_s - self._began_s < PERIOD

    def is_due(self, now_s: float, size: tuple[int, int]) -> bool:
        """Whether a new picture of ``size`` is to be given at ``now_s`` [s of the viewer]."""
        if self._coming is None or self._coming.get_size() != size:
            return True
        return now_s - self._began_s >= PERIOD

    def take(self, picture: pygame.Surface, now_s: float) -> None:
        """Let what is shown dissolve into ``picture`` from ``now_s`` [s of the viewer] on."""
        if self._coming is None or self._coming.get_size() != picture.get_size():
            self._going = picture
        else:
            self._going = self._coming
        self._coming, self._began_s = picture, now_s

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw how far it has come at ``now_s`` [s of the viewer]."""
        assert self._going is not None
        assert self._coming is not None
        self._going.set_alpha(None)
        surface.blit(self._going, (0, 0))
        self._coming.set_alpha(round(255 * min(max((now_s - self._began_s) / PERIOD, 0.0), 1.0)))
        surface.blit(self._coming, (0, 0))
        self._coming.set_alpha(None)
