"""The ways that walkers have gone, drawn as time goes on and kept.

Casings and colours lie on two layers, so that no casing ever covers a colour, however the ways cross. Both
are finer than the picture and are averaged down, piece by piece where something was added.
"""

import math
import time
from collections.abc import Generator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agents.arrays import BoolArray, FloatArray
from replays.drawing.colours import Look, look
from replays.drawing.marks import CROWD, draw_pulse_mark, marks_pulses
from replays.drawing.metres_to_points import View
from replays.drawing.poses import LONGEST_STEP, Poses
from replays.drawing.sheet import Point, Sheet, pygame
from replays.format.tables import Replay

# Points of a path are this far apart [points] in the picture, in a crowd and else.
_CROWD_STEP, _STEP = 2.0, 1.5
_WIDTH, _CASING = 2.6, 5.0
# Side of the squares in which the picture is put together anew [pixels].
_TILE = 48
# Ways of more walkers than this lie over one another, so that dashes would tell nothing.
_MOST_DASHED = 400
# What is drawn in one go, before a look at the clock.
_CHUNK = 400


@dataclass(frozen=True)
class _Ways:
    """Points of all ways in the picture, one walker after another.

    ``place`` (n, 2) [fine pixels], ``key`` of walker and time, ``pen`` whether there is a line from the point
    before, ``mark`` whether that is a mark of the dashes, ``edges`` first point of each walker.
    """

    place: NDArray[np.int32]
    key: FloatArray
    pen: BoolArray
    mark: BoolArray
    edges: NDArray[np.intp]


class Trails:
    """The trails of ``walkers`` in one view, as far as they have been drawn."""

    def __init__(
        self,
        replay: Replay,
        poses: Poses,
        view: View,
        scale: float,
        fine: int,
        walkers: NDArray[np.intp],
        known: "Trails | None" = None,
    ) -> None:
        """``scale`` pixels a point, ``fine`` times finer while they are drawn.

        ``known`` are trails of the same walkers in the same view, which need not be laid out again.
        """
        self._replay, self._poses, self._view = replay, poses, view
        self._scale, self.fine = scale, fine
        self._marks = replay.marks
        size = (max(1, round(view.width * scale)) * fine, max(1, round(view.height * scale)) * fine)
        self.casing = pygame.Surface(size, pygame.SRCALPHA)
        self.colour = pygame.Surface(size, pygame.SRCALPHA)
        # when something in a square of the picture was last added
        across, down = (-(-pixels // (fine * _TILE)) for pixels in size)
        self._changes: NDArray[np.int64] = np.zeros((down, across), dtype=np.int64)
        self._change = 0
        self._everyone = walkers
        self._is_crowd = len(walkers) > CROWD
        self._ways: _Ways | None = None
        self._laying = self._lay_out(walkers)
        if known is not None and known._ways is not None:
            self._take_ways(known._ways)
        mine = np.isin(replay.pulses["walker"], walkers)
        self._pulses = replay.pulses[mine] if marks_pulses(int(mine.sum())) else replay.pulses[:0]
        self._marked = 0
        self._turn = 0
        self.time_s = 0.0

    def _look(self, walker: int) -> Look:
        return look(self._marks[int(self._replay.walkers["design"][walker])])

    def _take_ways(self, ways: _Ways) -> None:
        self._ways, self._drawn = ways, ways.edges[:-1].copy()
        # it holds these trails, which would then be freed only when cycles are looked for
        self._laying.close()

    def _lay_out(self, walkers: NDArray[np.intp]) -> Generator[_Ways | None, None, None]:
        """Lay out the ways walker by walker; the last that comes is all of them."""
        places, keys, pens, marks = [], [], [], []
        edges = [0]
        for walker in walkers.tolist():
            place, time_s, pen = self._way(walker)
            mine = self._look(walker)
            places.append(np.round(place * self._scale * self.fine).astype(np.int32))
            keys.append(self._poses.key(np.full(len(time_s), len(edges) - 1), time_s))
            pens.append(pen)
            marks.append(_dashed(place, mine, len(walkers) > _MOST_DASHED))
            edges.append(edges[-1] + len(time_s))
            yield None
        if not places:
            nothing = np.zeros(0, dtype=bool)
            yield _Ways(np.zeros((0, 2), np.int32), np.zeros(0), nothing, nothing, np.array(edges))
            return
        yield _Ways(
            np.concatenate(places), np.concatenate(keys), np.concatenate(pens), np.concatenate(marks),
            np.array(edges),
        )  # fmt: skip

    def _lay_on(self, until: float) -> bool:
        """Go on laying out, until the clock says ``until`` [s]; returns whether all is laid out."""
        while self._ways is None:
            ways = next(self._laying)
            if ways is not None:
                self._take_ways(ways)
            elif time.perf_counter() > until:
                return False
        return True

    def _way(self, walker: int) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Places [points from the view's corner], times [s], and whether a line leads to each."""
        view = self._view
        rows = self._poses.rows[self._poses.edges[walker] : self._poses.edges[walker + 1]]
        x, y = view(rows["x"].astype(np.float64), rows["y"].astype(np.float64))
        place = np.column_stack([x - view.left, y - view.top])
        time_s = rows["time_s"].astype(np.float64)
        margin = 12.0
        shown = (
            (place > -margin).all(axis=1)
            & (place[:, 0] < view.width + margin)
            & (place[:, 1] < view.height + margin)
        )
        # a row stays that is in view, or next to one that is
        near = shown.copy()
        near[:-1] |= shown[1:]
        near[1:] |= shown[:-1]
        near[0] = True
        pen = np.ones(len(near), dtype=bool)
        pen[1:] = near[:-1]
        pen[0] = False
        place, time_s, pen = np.clip(place[near], -1e4, 1e4), time_s[near], pen[near]
        step = _CROWD_STEP if self._is_crowd else _STEP
        cell = np.floor(place / step)
        kept = np.ones(len(place), dtype=bool)
        # the end of a rest stays, lest the way creeps on while its walker waits
        kept[1:] = (cell[1:] != cell[:-1]).any(axis=1) | ~pen[1:] | (np.diff(time_s) > LONGEST_STEP)
        place, time_s, pen = place[kept], time_s[kept], pen[kept]
        return (place, time_s, pen) if self._is_crowd else _finer(place, time_s, pen)

    def advance(self, time_s: float, until: float = math.inf) -> bool:
        """Draw on until ``time_s`` [s], or until the clock of ``time.perf_counter`` says ``until`` [s].

        Returns whether the first was reached. Time does not run backwards here; make new trails for that.
        """
        # noted at once, for part of the ways may be drawn as far as that even where time is short
        self.time_s = max(self.time_s, time_s)
        if not self._lay_on(until):
            return False
        changed: list[pygame.Rect] = []
        is_done = self._draw_on(time_s, until, changed)
        if changed:
            self._note_changes(changed)
        return is_done

    def _draw_on(self, time_s: float, until: float, changed: list[pygame.Rect]) -> bool:
        ways = self._ways
        assert ways is not None
        count = len(self._everyone)
        keys = self._poses.key(np.arange(count), np.full(count, time_s))
        ends = np.searchsorted(ways.key, keys, side="right") - 1
        pad = math.ceil(0.5 * _CASING * self._scale * self.fine) + 2
        behind = np.flatnonzero(ends > self._drawn)
        # by turns, so that nobody falls ever farther behind where time is short
        behind = np.roll(behind, -int(np.searchsorted(behind, self._turn)))
        for place in behind.tolist():
            self._turn = place
            mine = self._look(int(self._everyone[place]))
            while self._drawn[place] < ends[place]:
                first = int(self._drawn[place])
                last = min(int(ends[place]), first + _CHUNK)
                self._draw(first, last, mine)
                self._drawn[place] = last
                low, high = ways.place[first : last + 1].min(axis=0), ways.place[first : last + 1].max(axis=0)
                size = high - low + 2 * pad
                changed.append(pygame.Rect(*(low - pad).tolist(), *size.tolist()))
                if time.perf_counter() > until:
                    return False
        changed += self._mark_pulses(time_s)
        return True

    def drawn_share(self, time_s: float) -> float:
        """Share of the ways until ``time_s`` [s] that has been drawn, 0 to 1."""
        if self._ways is None:
            return 0.0
        count = len(self._everyone)
        keys = self._poses.key(np.arange(count), np.full(count, time_s))
        ends = np.searchsorted(self._ways.key, keys, side="right") - 1
        first = self._ways.edges[:-1]
        whole = float((ends - first).sum())
        return min(float((self._drawn - first).sum()) / whole, 1.0) if whole > 0.0 else 1.0

    def _draw(self, first: int, last: int, mine: Look) -> None:
        """Draw the lines that lead to the points after ``first`` up to ``last``."""
        ways, thick = self._ways, self._scale * self.fine
        assert ways is not None
        breaks = np.flatnonzero(~ways.pen[first + 1 : last + 1])
        for piece in np.split(np.arange(first, last + 1), breaks + 1):
            if len(piece) < 2:
                continue
            points = ways.place[piece].tolist()
            if self._is_crowd:
                pygame.draw.lines(self.casing, mine.casing, False, points, max(2, round(3 * thick)))
            else:
                Sheet(self.casing).line(points, mine.casing, _CASING * thick)
            sheet = Sheet(self.colour)
            marks = ways.mark[piece]
            for run in np.split(np.arange(len(piece)), np.flatnonzero(marks[1:] != marks[:-1]) + 1):
                stretch = points[max(run[0] - 1, 0) : run[-1] + 1]
                if not marks[run[0]] or len(stretch) < 2:
                    continue
                if self._is_crowd:
                    pygame.draw.lines(self.colour, mine.colour, False, stretch, max(1, round(1.4 * thick)))
                else:
                    sheet.line(stretch, mine.colour, _WIDTH * thick)

    def _mark_pulses(self, time_s: float) -> list[pygame.Rect]:
        """Draw the ticks of the pulses until ``time_s`` [s]."""
        changed = []
        scale = self._scale * self.fine
        sheets = Sheet(self.casing, scale), Sheet(self.colour, scale)
        while self._marked < len(self._pulses) and self._pulses["start_s"][self._marked] <= time_s:
            pulse = self._pulses[self._marked]
            self._marked += 1
            x, y = self._view(float(pulse["x0"]), float(pulse["y0"]))
            place: Point = (x - self._view.left, y - self._view.top)
            mine = self._look(int(pulse["walker"]))
            draw_pulse_mark(sheets, place, float(pulse["heading0"]), int(pulse["side"]), mine)
            reach = math.ceil(14 * scale)
            if -20 < place[0] < self._view.width + 20 and -20 < place[1] < self._view.height + 20:
                corner = (round(place[0] * scale) - reach, round(place[1] * scale) - reach)
                changed.append(pygame.Rect(corner, (2 * reach, 2 * reach)))
        return changed

    def compose(
        self,
        ground: pygame.Surface,
        onto: pygame.Surface,
        composed: NDArray[np.int64],
        over: pygame.Surface | None = None,
        until: float = math.inf,
    ) -> bool:
        """Lay the trails over ``ground`` onto ``onto`` in all squares that have changed since they were last.

        ``composed`` keeps when that was; begin with :meth:`nothing_composed`. ``over`` lies on top of the
        trails, premultiplied. Returns whether the clock of ``time.perf_counter`` left time for all by
        ``until`` [s]; one piece is done in any case.
        """
        stale = self._changes > composed
        for row in np.flatnonzero(stale.any(axis=1)).tolist():
            edges = np.flatnonzero(np.diff(np.concatenate([[False], stale[row], [False]])))
            for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
                tile = pygame.Rect(first * _TILE, row * _TILE, (last - first) * _TILE, _TILE)
                self._compose_piece(ground, onto, over, tile.clip(onto.get_rect()))
            composed[row] = self._change
            if time.perf_counter() > until:
                return not bool((self._changes > composed).any())
        return True

    def nothing_composed(self) -> NDArray[np.int64]:
        """What :meth:`compose` keeps of a picture with which nothing was done yet."""
        return np.full(self._changes.shape, -1, dtype=np.int64)

    def _compose_piece(
        self, ground: pygame.Surface, onto: pygame.Surface, over: pygame.Surface | None, small: pygame.Rect
    ) -> None:
        large = pygame.Rect(*(value * self.fine for value in small))
        piece = self.casing.subsurface(large).copy()
        piece.blit(self.colour, (0, 0), large)
        if self.fine > 1:
            piece = pygame.transform.smoothscale(piece, small.size)
        onto.blit(ground, small.topleft, small)
        # averages of opaque and empty pixels: premultiplied as they are
        onto.blit(piece, small.topleft, special_flags=pygame.BLEND_PREMULTIPLIED)
        if over is not None:
            onto.blit(over, small.topleft, small, special_flags=pygame.BLEND_PREMULTIPLIED)

    def _note_changes(self, changed: list[pygame.Rect]) -> None:
        """Note in which squares rectangles [fine pixels] lie."""
        self._change += 1
        side = self.fine * _TILE
        for rect in changed:
            left, top = max(rect.left, 0) // side, max(rect.top, 0) // side
            right, bottom = max(-(-rect.right // side), 0), max(-(-rect.bottom // side), 0)
            self._changes[top:bottom, left:right] = self._change


def _finer(place: FloatArray, time_s: FloatArray, pen: BoolArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """The same way with points no farther apart than dashes can be drawn by."""
    lengths = np.append(0.0, np.hypot(*np.diff(place, axis=0).T))
    pieces = np.where(pen, np.maximum(np.ceil(lengths / (2.0 * _STEP)), 1.0), 1.0).astype(np.intp)
    ends = np.cumsum(pieces)
    row = np.repeat(np.arange(len(place)), pieces)
    before = np.maximum(row - 1, 0)
    share = (np.arange(len(row)) - (ends - pieces)[row] + 1.0) / pieces[row]
    fine = place[before] + share[:, None] * (place[row] - place[before])
    return fine, time_s[before] + share * (time_s[row] - time_s[before]), pen[row]


def _dashed(place: FloatArray, mine: Look, is_whole: bool) -> BoolArray:
    """Whether the line to each of ``place`` [points] is a mark of its dashes; all if ``is_whole``."""
    if is_whole or not mine.pattern:
        return np.ones(len(place), dtype=bool)
    length = np.append(0.0, np.cumsum(np.hypot(*np.diff(place, axis=0).T)))
    ends = np.cumsum(mine.pattern)
    return np.asarray(np.searchsorted(ends, length % ends[-1], side="right") % 2 == 0)
