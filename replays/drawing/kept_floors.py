"""Pictures of a floor with the ways on it: one is shown while the next is made little by little.

Another view, another light, other things on the floor, or an earlier time need the picture made anew. Until
it is ready the old one is shown, shifted and scaled into place. So no frame waits, and nothing blinks.
"""

import math
import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from replays.drawing.label_placing import Label
from replays.drawing.laid_ground import LaidGround
from replays.drawing.metres_to_points import Bounds, View
from replays.drawing.sheet import pygame
from replays.drawing.trails import Trails

Key = tuple[tuple[object, ...], tuple[object, ...]]
"""What a picture shows: its ground, and its ways."""

# A frame may spend so long [s] on the first ground of all.
_OPENING = 0.06

Over = Callable[[], pygame.Surface | None]


class KeptFloor:
    """A ground with the ways on it, as far as both are made.

    ``key`` tells what is shown, other than the time ``until_s`` [s] for which it was begun. ``make_trails``
    makes the ways once the ground is there, and ``draw_over`` what lies over them, premultiplied.
    """

    def __init__(
        self,
        key: Key,
        ground: LaidGround,
        until_s: float,
        make_trails: Callable[[], Trails | None],
        draw_over: Over | None = None,
    ) -> None:
        self.key, self.ground, self.until_s = key, ground, until_s
        self._make_trails, self._draw_over = make_trails, draw_over or _nothing
        self.trails: Trails | None = None
        self.over: pygame.Surface | None = None
        self._composed: NDArray[np.int64] | None = None
        self._has_trails = False
        self.surface = ground.surface

    @property
    def view(self) -> View:
        """The view that is shown."""
        return self.ground.view

    @property
    def scale(self) -> float:
        """Pixels a point."""
        return self.ground.scale

    def advance(self, time_s: float, until: float, *, is_shown: bool = True) -> bool:
        """Go on with it until the clock of ``time.perf_counter`` says ``until`` [s].

        The ways go until ``time_s`` [s]. Returns whether all is there. What is not shown yet is put together
        once it is complete.
        """
        if not self.ground.advance(until):
            return False
        if not self._has_trails:
            self._has_trails = True
            self.trails, self.over = self._make_trails(), self._draw_over()
            # both may hold the former picture, and that one its own
            self._make_trails, self._draw_over = _nothing, _nothing
            if self.trails is not None:
                self.surface = pygame.Surface(self.ground.surface.get_size(), 0, 32)
                self._composed = self.trails.nothing_composed()
        if self.trails is None:
            return True
        done = self.trails.advance(time_s, until)
        if is_shown or done:
            done &= self._compose(math.inf if is_shown else until)
        return done

    def lay_anew(self, ground: LaidGround) -> None:
        """Take another ``ground`` of the same view, which is laid; the ways are put on it when next drawn."""
        self.ground, self.surface = ground, ground.surface
        if self.trails is not None:
            self.surface = pygame.Surface(self.ground.surface.get_size(), 0, 32)
            self._composed = self.trails.nothing_composed()

    def work_ahead(self, time_s: float, until: float) -> None:
        """Draw the ways on without showing them."""
        if self.trails is not None:
            self.trails.advance(time_s, until)

    def _compose(self, until: float) -> bool:
        assert self.trails is not None
        assert self._composed is not None
        return self.trails.compose(self.ground.surface, self.surface, self._composed, self.over, until)


class KeptFloors:
    """The picture that is shown, and the next one as long as it is being made."""

    def __init__(self, former: KeptFloor | None = None) -> None:
        """``former`` is a picture from before, to be shown until the first is ready."""
        self.front: KeptFloor | None = former
        self._back: KeptFloor | None = None
        self._is_complete = False

    @property
    def is_settled(self) -> bool:
        """Whether all that was asked for last has been drawn."""
        return self._back is None and self._is_complete

    def prepare(
        self,
        key: Key,
        view: View,
        time_s: float,
        make: Callable[[KeptFloor | None], KeptFloor],
        budget_s: float,
        *,
        waits: bool = False,
    ) -> None:
        """Work for about ``budget_s`` [s] on a picture of ``key`` in ``view`` at ``time_s`` [s].

        ``make`` begins one; it is given the picture on show, to take from it what serves again. While the
        view ``waits`` nothing is begun.
        """
        front = self.front
        if front is None:
            front = self.front = make(None)
        if not front.ground.is_laid:
            # with nothing but coarse light to show meanwhile it may take longer than usual
            budget_s = max(budget_s, _OPENING)
        until = time.perf_counter() + budget_s
        if front.key == key and not _is_past(front, time_s):
            self._give_up()
        elif not waits:
            if self._back is not None and self._back.view != view:
                self._give_up()
            # one that shows what was asked for a moment ago comes to its end, lest none ever does
            self._back = self._back or make(front)
        if self._back is None:
            is_shown = front.key == key and front.advance(time_s, until)
            self._is_complete = is_shown
            return
        self._is_complete = False
        # the viewer may have gone elsewhere meanwhile; it keeps to the time for which it was begun
        if self._back.advance(self._back.until_s, until, is_shown=False):
            self.front, self._back = self._back, None

    def _give_up(self) -> None:
        """Let go of the next picture; its ground too, unless it is the one that is shown."""
        back, self._back = self._back, None
        if back is not None and self.front is not None and back.ground is not self.front.ground:
            back.ground.give_up()

    def draw(
        self,
        surface: pygame.Surface,
        view: View,
        scale: float,
        paint_beyond: Callable[[], None],
        alpha: int | None = None,
    ) -> None:
        """Draw the picture in ``view``, at ``scale`` pixels a point.

        Where ``alpha`` (0 to 255) is given it is the ground alone, as a veil. Where the picture of another
        view does not reach, and where there is none yet, ``paint_beyond`` paints first.
        """
        front = self.front
        assert front is not None
        if not front.ground.is_laid:
            if alpha is None:
                paint_beyond()
            return
        picture = front.surface if alpha is None else front.ground.surface
        corner = (round(view.left * scale), round(view.top * scale))
        if front.view == view and front.scale == scale:
            _blit(surface, picture, corner, alpha)
            return
        window = pygame.Rect(corner, (round(view.width * scale), round(view.height * scale)))
        old, ratio = front.view, view.zoom * scale / (front.view.zoom * front.scale)
        # corner of the old picture in the new view [pixels]
        left, top = (part * scale for part in view(old.west, old.south + old.height / old.zoom))
        # only that part which is seen is scaled
        seen = pygame.Rect(
            math.floor((window.left - left) / ratio), math.floor((window.top - top) / ratio),
            math.ceil(window.width / ratio) + 2, math.ceil(window.height / ratio) + 2,
        )  # fmt: skip
        part = seen.clip(picture.get_rect())
        if alpha is None and part.size != seen.size:
            paint_beyond()
        if part.width <= 0 or part.height <= 0:
            return
        size = (max(1, round(part.width * ratio)), max(1, round(part.height * ratio)))
        piece = picture.subsurface(part)
        if size != part.size:
            piece = pygame.transform.scale(piece, size)
        _blit(surface, piece, (round(left + part.left * ratio), round(top + part.top * ratio)), alpha)

    def names(self, view: View, scale: float) -> list[Label]:
        """The names in the picture, where it shows ``view``."""
        ground = self._ground_in(view, scale)
        return [] if ground is None else ground.names

    def line_names(self, view: View, scale: float) -> list[Bounds]:
        """Where lines of equal light bear names in the picture [points], where it shows ``view``."""
        ground = self._ground_in(view, scale)
        return [] if ground is None else ground.line_names

    def _ground_in(self, view: View, scale: float) -> LaidGround | None:
        front = self.front
        return front.ground if front is not None and (front.view, front.scale) == (view, scale) else None


def _nothing() -> None:
    return None


def _is_past(picture: KeptFloor, time_s: float) -> bool:
    return picture.trails is not None and time_s < picture.trails.time_s


def _blit(
    surface: pygame.Surface, picture: pygame.Surface, corner: tuple[int, int], alpha: int | None
) -> None:
    if alpha is None:
        surface.blit(picture, corner)
        return
    picture.set_alpha(alpha)
    surface.blit(picture, corner)
    picture.set_alpha(None)
