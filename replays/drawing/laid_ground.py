"""The ground of an arena in one view, laid piece by piece, so that no frame has to wait for it."""

import time
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, field
from typing import Any

from replays.drawing.ground import EVERYTHING, draw_ground, names_of_things
from replays.drawing.label_placing import Label, LabelPlacement
from replays.drawing.light_map import LightMap, cut_out
from replays.drawing.marks import crowding, take_room
from replays.drawing.metres_to_points import Bounds, View
from replays.drawing.poses import Poses
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import Theme

PIECE = 1 << 18
"""Pixels that are painted in one go, before a look at the clock."""


@dataclass(frozen=True)
class GroundPlan:
    """What a ground shows: an ``arena`` in its ``light``, which may not be known yet.

    Names of the ``kinds`` of things keep off what is ``covered`` [points], and off starts, ends and ways of
    the walkers of ``poses``. ``drawn_first`` draws what lies below all that stands. A ``coarse`` one has
    light without lines and is there sooner.
    """

    arena: dict[str, Any]
    light: LightMap | None
    poses: Poses | None = None
    seconds: float = 0.0
    kinds: tuple[str, ...] = EVERYTHING
    covered: tuple[Bounds, ...] = ()
    drawn_first: Callable[[Sheet, View], None] | None = None
    coarse: bool = False


@dataclass
class LaidGround:
    """A ground of ``plan`` in ``view``, at ``scale`` pixels a point, on the paper of ``theme``.

    What stands on it is drawn ``fine`` times finer and averaged down. ``surface``, ``names``, and where lines
    of equal light bear theirs (``line_names`` [points]) can be used once :meth:`advance` has told that all
    is there; ``pieces`` are the sizes [pixels] of what was painted.
    """

    plan: GroundPlan
    view: View
    scale: float
    theme: Theme
    fine: int = 1
    names: list[Label] = field(default_factory=list)
    line_names: list[Bounds] = field(default_factory=list)
    pieces: list[int] = field(default_factory=list)
    is_laid: bool = False

    def __post_init__(self) -> None:
        view = self.view
        size = (max(1, round(view.width * self.scale)), max(1, round(view.height * self.scale)))
        self.surface = pygame.Surface(size, 0, 32)
        # drawn at the corner of a surface of its own
        self._own = View(0.0, 0.0, view.width, view.height, view.west, view.south, view.zoom)
        self._room = LabelPlacement(self._own)
        self._steps = self._lay()

    def advance(self, until: float) -> bool:
        """Lay on, a piece at the least, until the clock of ``time.perf_counter`` says ``until`` [s].

        Returns whether all is there.
        """
        while not self.is_laid:
            if next(self._steps, None) is None:
                self.is_laid = True
            elif time.perf_counter() > until:
                break
        return self.is_laid

    def give_up(self) -> None:
        """Let go of what is half done; nothing is laid on after that."""
        self._steps.close()

    def _bands(self, pixels_a_row: int) -> Iterator[tuple[int, int]]:
        """First and last row of pieces of the surface."""
        rows, high = max(1, PIECE // pixels_a_row), self.surface.get_height()
        for first in range(0, high, rows):
            last = min(first + rows, high)
            self.pieces.append((last - first) * pixels_a_row)
            yield first, last

    def _lay(self) -> Generator[bool, None, None]:
        """Do a piece of work after the other."""
        plan, fine, own = self.plan, self.fine, self._own
        width, height = self.surface.get_size()
        large = self.surface
        if fine > 1:
            large = pygame.Surface((width * fine, height * fine), 0, 32)
        sheet, small = (
            Sheet(large, self.scale * fine, self.theme),
            Sheet(self.surface, self.scale, self.theme),
        )
        if plan.light is None:
            large.fill(self.theme.paper)
        elif plan.coarse:
            large.fill(self.theme.paper)
            plan.light.paint_coarsely(sheet, own, plan.arena["floor"])
        else:
            yield from self._paint_light(large, plan.light)
        if plan.drawn_first is not None:
            plan.drawn_first(sheet, own)
        draw_ground(sheet, own, plan.arena, self._room)
        yield True
        if fine > 1:
            for first, last in self._bands(width * fine * fine):
                band = large.subsurface((0, first * fine, width * fine, (last - first) * fine))
                averaged = pygame.transform.smoothscale(band, (width, last - first))
                self.surface.blit(averaged, (0, first))
                yield True
        yield from self._place_names(small)

    def _paint_light(self, large: pygame.Surface, light: LightMap) -> Iterator[bool]:
        fine, (width, _) = self.fine, self.surface.get_size()
        view, scale = self.view, self.scale * self.fine
        outline = [
            ((x - view.left) * scale, (y - view.top) * scale) for x, y in view.line(self.plan.arena["floor"])
        ]
        for first, last in self._bands(width):
            light.paint_rows(self.surface, self._own, self.scale, first, last)
            part = pygame.Rect(0, first * fine, width * fine, (last - first) * fine)
            band = large.subsurface(part)
            if fine > 1:
                pygame.transform.scale(
                    self.surface.subsurface(0, first, width, last - first), part.size, band
                )
            cut_out(band, [(x, y - part.top) for x, y in outline], self.theme.paper)
            yield True

    def _place_names(self, small: Sheet) -> Iterator[bool]:
        """Place names, measured as large as they will be drawn: letters twice as fine have other widths."""
        plan, view, own, room = self.plan, self.view, self._own, self._room
        for west, north, east, south in plan.covered:
            room.take(west - view.left, north - view.top, east - view.left, south - view.top)
        if plan.poses is not None:
            # placed once with the whole run in mind, so that names do not wander while it is watched
            take_room(room, plan.poses, own, plan.seconds)
            yield True
        names = names_of_things(small, own, plan.arena, room, plan.kinds)
        yield True
        if plan.poses is not None and plan.light is not None:
            crowded = crowding(plan.poses, own)
            for boxes in plan.light.name_lines(small, own, room, plan.arena["floor"], crowded):
                self.line_names += [
                    (west + view.left, north + view.top, east + view.left, south + view.top)
                    for west, north, east, south in boxes
                ]
                yield True
        self.names = [label.moved(view.left, view.top) for label in names]
