"""The arena of a replay as a moving picture: what stays is kept, what is new is added, what moves is drawn.

What stays is the ground with the ways gone so far (:mod:`replays.drawing.kept_floors`).
"""

import math
import time

import numpy as np
from numpy.typing import NDArray

from replays.drawing.figures import CHOSEN_WAY, NO_WAYS, Figures, Moment
from replays.drawing.ground import EVERYTHING
from replays.drawing.kept_floors import KeptFloor, KeptFloors, Key
from replays.drawing.label_placing import Label, draw_labels
from replays.drawing.laid_ground import GroundPlan, LaidGround
from replays.drawing.light_map import LightMap
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

        ``known`` is a stage of the same replay: its light and poses need not be worked out again, and what it
        showed is shown until this one has drawn its own.
        """
        self.replay, self.theme, self.scale = replay, theme, scale
        self._kinds = names
        # rectangles [points] that something else lies over, where no name is put
        self.covered: tuple[Bounds, ...] = ()
        self.poses: Poses = Poses(replay) if known is None else known.poses
        self.light: LightMap = LightMap.of(replay) if known is None else known.light
        self.floors: KeptFloors = KeptFloors(None if known is None else known.floors.front)
        self._figures: tuple[View, Figures] | None = None
        if known is not None and known.scale == scale:
            # bodies have the same colours on any paper
            self._figures = known._figures

    def begin_ground(self, view: View, fine: int) -> LaidGround:
        """The ground in ``view`` with its names, not laid yet, to be drawn ``fine`` times finer."""
        plan = GroundPlan(
            self.replay.arena, self.light, self.poses, self.replay.seconds, self._kinds, self.covered
        )
        return LaidGround(plan, view, self.scale, self.theme, fine)

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
        return self.floors.names(view, self.scale)

    @property
    def is_settled(self) -> bool:
        """Whether all that was to be drawn last has been drawn: nothing is being made anew or added."""
        return self.floors.is_settled

    def drawn_share(self, time_s: float) -> float:
        """Share of the ways until ``time_s`` [s] that the picture shows, 0 to 1."""
        front = self.floors.front
        return 0.0 if front is None or front.trails is None else front.trails.drawn_share(time_s)

    def work_ahead(self, view: View, moment: Moment, budget_s: float) -> None:
        """Add to the ways for about ``budget_s`` [s] without showing them, for a picture that comes later."""
        front = self.floors.front
        if front is None or front.key != self._key(view, moment) or front.trails is None:
            return
        if moment.time_s >= front.trails.time_s:
            front.work_ahead(moment.time_s, time.perf_counter() + budget_s)

    def draw(
        self, surface: pygame.Surface, view: View, moment: Moment, *, moving: bool = False,
        budget_s: float = math.inf,
    ) -> None:  # fmt: skip
        """Draw ``moment`` in ``view`` onto ``surface``.

        While the view is ``moving`` nothing is made anew for it. ``budget_s`` [s] is the viewer's time for
        what has to be; without a limit the picture is finished at once.
        """

        def make(former: KeptFloor | None) -> KeptFloor:
            return self._begin(view, moment, former)

        def paint_beyond() -> None:
            surface.fill(self.theme.paper, window)
            self.light.paint_coarsely(sheet, view, self.replay.arena["floor"])

        key = self._key(view, moment)
        self.floors.prepare(key, view, moment.time_s, make, budget_s, waits=moving)
        corner = (round(view.left * self.scale), round(view.top * self.scale))
        window = pygame.Rect(corner, (round(view.width * self.scale), round(view.height * self.scale)))
        before = surface.get_clip()
        surface.set_clip(window)
        sheet = Sheet(surface, self.scale, self.theme)
        self.floors.draw(surface, view, self.scale, paint_beyond)
        # below the walkers: wherever one goes, no name ever covers it
        draw_labels(sheet, self.names(view))
        self.figures(view).draw(sheet, moment, quickly=moving)
        surface.set_clip(before)

    def _key(self, view: View, moment: Moment) -> Key:
        """What tells one picture of the floor from another: its ground, and whose ways are on it."""
        chosen = moment.chosen if moment.ways == CHOSEN_WAY else None
        return (view, self.scale, self.theme.name, self.covered), (view, self.scale, moment.ways, chosen)

    def _begin(self, view: View, moment: Moment, former: KeptFloor | None) -> KeptFloor:
        """A picture of what is asked for, with all of a ``former`` one that serves again."""
        key, fine = self._key(view, moment), 2 if self.scale < _FINE_ENOUGH else 1
        old_ground, old_ways = former.key if former is not None else (None, None)
        ground = former.ground if former is not None and old_ground == key[0] else None
        ways = former.trails if former is not None and old_ways == key[1] else None

        def make_trails() -> Trails:
            if ways is not None and ways.time_s <= moment.time_s:
                return ways
            walkers = self._whose_ways(moment)
            return Trails(self.replay, self.poses, view, self.scale, fine, walkers, ways)

        def draw_over() -> pygame.Surface | None:
            known = former.over if former is not None and former.ground is ground else None
            return known or self.draw_starts(view)

        return KeptFloor(key, ground or self.begin_ground(view, fine), moment.time_s, make_trails, draw_over)

    def _whose_ways(self, moment: Moment) -> NDArray[np.intp]:
        everyone = np.arange(len(self.replay.walkers))
        if moment.ways == NO_WAYS or (moment.ways == CHOSEN_WAY and moment.chosen is None):
            return everyone[:0]
        return np.array([moment.chosen]) if moment.ways == CHOSEN_WAY else everyone
