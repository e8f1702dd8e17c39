"""The arena as a moving picture: what stays is kept, what is new is added, what moves is drawn.

What stays is the ground with the ways gone so far. Another view, or an earlier time, needs it made anew; that
is done little by little, and until it is ready the old one is shown, shifted and scaled into place. So no
frame waits, and nothing blinks.
"""

import math

import numpy as np
from numpy.typing import NDArray

from replays.drawing.figures import CHOSEN_WAY, NO_WAYS, Figures, Moment
from replays.drawing.ground import EVERYTHING, draw_ground, names_of_things
from replays.drawing.label_placing import Label, LabelPlacement, draw_labels
from replays.drawing.light_map import LightMap
from replays.drawing.marks import crowding, take_room
from replays.drawing.metres_to_points import Bounds, View
from replays.drawing.poses import Poses
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import LIGHT, Theme
from replays.drawing.trails import Trails
from replays.format.tables import Replay

# A picture with so many pixels a point or more needs no finer drawing underneath.
_FINE_ENOUGH = 2.0
# Time that a frame may spend on what is made anew [s].
BUDGET = 0.006


class _Floor:
    """Ground and ways in one view."""

    def __init__(self, stage: "Stage", view: View, moment: Moment, ground: "_Floor | None" = None) -> None:
        """``ground`` is a floor of the same view to take the ground from."""
        self.view, self.moment = view, moment
        scale, replay = stage.scale, stage.replay
        self.fine = 2 if scale < _FINE_ENOUGH else 1
        if ground is None:
            self.ground, self.names = stage.draw_ground(view, self.fine)
            self.starts = stage.draw_starts(view)
        else:
            self.ground, self.names, self.starts = ground.ground, ground.names, ground.starts
        everyone = np.arange(len(replay.walkers))
        walkers: NDArray[np.intp] = everyone
        if moment.ways == NO_WAYS or (moment.ways == CHOSEN_WAY and moment.chosen is None):
            walkers = everyone[:0]
        elif moment.ways == CHOSEN_WAY:
            walkers = np.array([moment.chosen])
        known = ground.trails if ground is not None and ground.fits(view, moment) else None
        self.trails: Trails = Trails(replay, stage.poses, view, scale, self.fine, walkers, known)
        self._changed: list[pygame.Rect] = []
        self.picture = self.ground.copy()
        self.picture.blit(self.starts, (0, 0), special_flags=pygame.BLEND_PREMULTIPLIED)

    def fits(self, view: View, moment: Moment) -> bool:
        """Whether it shows this view and these ways."""
        chosen = moment.chosen if moment.ways == CHOSEN_WAY else None
        mine = self.moment.chosen if self.moment.ways == CHOSEN_WAY else None
        return self.view == view and self.moment.ways == moment.ways and chosen == mine

    def advance(self, time_s: float, budget_s: float, *, is_shown: bool = True) -> bool:
        """Add the ways until ``time_s`` [s]; returns whether ``budget_s`` [s] was enough.

        What is not shown yet is put together only once it is complete.
        """
        done, changed = self.trails.advance(time_s, budget_s)
        self._changed += changed
        if self._changed and is_shown:
            self.trails.compose(self.ground, self.picture, self._changed, self.starts)
            self._changed = []
        return done


class Stage:
    """The arena of a replay on a surface of ``scale`` pixels a point."""

    def __init__(
        self,
        replay: Replay,
        theme: Theme = LIGHT,
        scale: float = 1.0,
        names: tuple[str, ...] = EVERYTHING,
        known: "Stage | None" = None,
    ) -> None:
        """``names`` are the kinds of things that are named on the floor.

        ``known`` is a stage of the same replay, whose light and poses need not be worked out again.
        """
        self.replay, self.theme, self.scale = replay, theme, scale
        self._kinds = names
        # rectangles [points] that something else lies over, where no name is put
        self.covered: tuple[Bounds, ...] = ()
        self.poses: Poses = Poses(replay) if known is None else known.poses
        self.light: LightMap = LightMap.of(replay) if known is None else known.light
        self._front: _Floor | None = None
        self._back: _Floor | None = None
        self._is_complete = False
        self._figures: tuple[View, Figures] | None = None
        if known is not None and known.scale == scale:
            # bodies have the same colours on any paper
            self._figures = known._figures

    def draw_ground(self, view: View, fine: int) -> tuple[pygame.Surface, list[Label]]:
        """The ground in ``view``, drawn ``fine`` times finer, and the names on it."""
        size = (max(1, round(view.width * self.scale)), max(1, round(view.height * self.scale)))
        large = pygame.Surface((size[0] * fine, size[1] * fine))
        large.fill(self.theme.paper)
        sheet = Sheet(large, self.scale * fine, self.theme)
        # drawn at the corner of a surface of its own
        own = View(0.0, 0.0, view.width, view.height, view.west, view.south, view.zoom)
        arena, room = self.replay.arena, LabelPlacement(own)
        self.light.paint(sheet, own, arena["floor"])
        draw_ground(sheet, own, arena, room)
        for west, north, east, south in self.covered:
            room.take(west - view.left, north - view.top, east - view.left, south - view.top)
        # placed once with the whole run in mind, so that names do not wander while it is watched
        take_room(room, self.poses, own, self.replay.seconds)
        ground = pygame.transform.smoothscale(large, size) if fine > 1 else large
        # measured as large as they will be drawn, for letters twice as fine have other widths
        names = names_of_things(Sheet(ground, self.scale, self.theme), own, arena, room, self._kinds)
        crowded = crowding(self.poses, own)
        self.light.name_lines(Sheet(ground, self.scale, self.theme), own, room, arena["floor"], crowded)
        return ground, [label.moved(view.left, view.top) for label in names]

    def draw_starts(self, view: View) -> pygame.Surface:
        """The places where walkers started, in ``view``, premultiplied."""
        size = (max(1, round(view.width * self.scale)), max(1, round(view.height * self.scale)))
        surface = pygame.Surface(size, pygame.SRCALPHA)
        own = View(0.0, 0.0, view.width, view.height, view.west, view.south, view.zoom)
        Figures(self.replay, self.poses, own, self.scale).draw_starts(Sheet(surface, self.scale))
        return surface

    def figures(self, view: View) -> Figures:
        """The walkers in ``view``."""
        if self._figures is None or self._figures[0] != view:
            known = None if self._figures is None else self._figures[1]
            self._figures = (view, Figures(self.replay, self.poses, view, self.scale, known))
        return self._figures[1]

    def names(self, view: View) -> list[Label]:
        """The names that are shown in ``view``."""
        return [] if self._front is None or self._front.view != view else self._front.names

    @property
    def is_settled(self) -> bool:
        """Whether all that was to be drawn last has been drawn: nothing is being made anew or added."""
        return self._back is None and self._is_complete

    def drawn_share(self, time_s: float) -> float:
        """Share of the ways until ``time_s`` [s] that the picture shows, 0 to 1."""
        return 0.0 if self._front is None else self._front.trails.drawn_share(time_s)

    def work_ahead(self, view: View, moment: Moment, budget_s: float) -> None:
        """Add to the ways for about ``budget_s`` [s] without showing them, for a picture that comes later."""
        front = self._front
        if front is not None and front.fits(view, moment) and moment.time_s >= front.trails.time_s:
            front.advance(moment.time_s, budget_s, is_shown=False)

    def draw(
        self, surface: pygame.Surface, view: View, moment: Moment, *, moving: bool = False,
        budget_s: float = math.inf,
    ) -> None:  # fmt: skip
        """Draw ``moment`` in ``view`` onto ``surface``.

        While the view is ``moving`` nothing is made anew for it. ``budget_s`` [s] is the viewer's time for
        what has to be; without a limit the picture is finished at once.
        """
        self._prepare(view, moment, moving, budget_s)
        window = self._window(view)
        before = surface.get_clip()
        surface.set_clip(window)
        sheet = Sheet(surface, self.scale, self.theme)
        floor = self._front
        assert floor is not None
        if floor.view == view:
            surface.blit(floor.picture, window.topleft)
        else:
            self._draw_shifted(surface, window, view, floor)
        # below the walkers: wherever one goes, no name ever covers it
        if floor.view == view:
            draw_labels(sheet, floor.names)
        self.figures(view).draw(sheet, moment, quickly=moving)
        surface.set_clip(before)

    def _prepare(self, view: View, moment: Moment, moving: bool, budget_s: float) -> None:
        front = self._front
        if front is None:
            front = self._front = _Floor(self, view, moment)
        stale = not front.fits(view, moment) or moment.time_s < front.trails.time_s
        if stale and not moving:
            if self._back is not None and not self._back.fits(view, moment):
                self._back = None
            if self._back is None:
                known = front if front.view == view else None
                self._back = _Floor(self, view, moment, known)
        elif not stale:
            self._back = None
        if self._back is not None:
            # the viewer may have gone elsewhere meanwhile; it keeps to the time for which it was begun
            self._is_complete = False
            if self._back.advance(self._back.moment.time_s, budget_s, is_shown=False):
                self._front, self._back = self._back, None
                self._front.advance(self._front.moment.time_s, 0.0)
        else:
            self._is_complete = front.fits(view, moment) and front.advance(moment.time_s, budget_s)

    def _window(self, view: View) -> pygame.Rect:
        corner = (round(view.left * self.scale), round(view.top * self.scale))
        return pygame.Rect(corner, (round(view.width * self.scale), round(view.height * self.scale)))

    def _draw_shifted(self, surface: pygame.Surface, window: pygame.Rect, view: View, floor: _Floor) -> None:
        """The picture of another view, shifted and scaled into this one, and coarse light where it ends."""
        sheet = Sheet(surface, self.scale, self.theme)
        surface.fill(self.theme.paper, window)
        self.light.paint(sheet, view, self.replay.arena["floor"], coarse=True)
        ratio = view.zoom / floor.view.zoom
        old = floor.view
        # corner of the old picture in the new view [pixels]
        left, top = view(old.west, old.south + old.height / old.zoom)
        left, top = left * self.scale, top * self.scale
        whole = floor.picture.get_rect()
        # only that part which is seen is scaled
        seen = pygame.Rect(
            math.floor((window.left - left) / ratio), math.floor((window.top - top) / ratio),
            math.ceil(window.width / ratio) + 2, math.ceil(window.height / ratio) + 2,
        ).clip(whole)  # fmt: skip
        if seen.width <= 0 or seen.height <= 0:
            return
        size = (max(1, round(seen.width * ratio)), max(1, round(seen.height * ratio)))
        part = floor.picture.subsurface(seen)
        if size != seen.size:
            part = pygame.transform.scale(part, size)
        surface.blit(part, (round(left + seen.left * ratio), round(top + seen.top * ratio)))
