"""All walkers of a moment, drawn from small pictures that are made once for each look and heading."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import BoolArray, FloatArray
from replays.drawing.colours import INK, PAPER, STRAW, WHITE, Colour, look
from replays.drawing.marks import CROWD, draw_mark, draw_walker, shown_radii
from replays.drawing.metres_to_points import View
from replays.drawing.poses import Pose, Poses
from replays.drawing.sheet import Sheet, pygame
from replays.format.tables import Replay

NUMBER_SIZE = 14
"""Size of the number on a body [points]."""

_LEAST_NUMBERED = 5.5

# Headings for which a walker is drawn; the next one is 2.5 degrees off.
_HEADINGS = 144
# A walker larger than this [pixels] is drawn afresh each time: few are in view then.
_LARGEST_STAMP = 64.0
# Stamps are drawn so much larger and averaged down; where points are large, less is enough.
_FINER, _FINER_ENLARGED, _ENLARGED = 3, 2, 2.0
_MOST_STAMPS = 4000
# How much of the mark of a start shows, of 255.
_FAINT = 120

ALL_WAYS, CHOSEN_WAY, NO_WAYS = "all ways", "the chosen one's way", "no ways"
WAYS = (ALL_WAYS, CHOSEN_WAY, NO_WAYS)
"""Whose ways are drawn."""


@dataclass(frozen=True)
class Moment:
    """What a stage shows: ``time_s`` [s] of the run, how far sides are lit, who is chosen, whose ways.

    ``leader`` gets a ring; bodies bear the numbers of copies where they are ``numbered``.
    """

    time_s: float
    levels: FloatArray | None = None
    chosen: int | None = None
    ways: str = ALL_WAYS
    leader: int | None = None
    numbered: bool = False


# surface, corner, area (all of it) and how it is blended; pygame's own types know no area of None
Stamp = Any


class Figures:
    """The walkers of a replay in one view."""

    def __init__(
        self, replay: Replay, poses: Poses, view: View, scale: float, known: "Figures | None" = None
    ) -> None:
        """``known`` are figures of the same replay at the same scale, whose stamps may serve again."""
        self._walkers, self._poses, self._view, self._scale = replay.walkers, poses, view, scale
        self._marks = replay.marks
        self.opacity = 0.4 if len(replay.walkers) > CROWD else 0.85
        shape = ["design", "radius", "body_ahead", "track", "eye_ahead", "eye_aside"]
        if known is None:
            _, self._kinds = np.unique(replay.walkers[shape], return_inverse=True)
        else:
            self._kinds = known._kinds
        same = known is not None and known._view.zoom == view.zoom
        self._stamps: dict[tuple[int, int], pygame.Surface] = known._stamps if known and same else {}
        self._glow_stamps: dict[tuple[int, int], pygame.Surface] = (
            known._glow_stamps if known and same else {}
        )
        # on bodies far smaller than they are drawn, numbers would cover one another
        sizes = replay.walkers["radius"] * view.zoom
        self._has_room_for_numbers = bool(len(sizes)) and float(np.median(sizes)) >= _LEAST_NUMBERED
        self._copies = copy_numbers(replay.walkers["design"])
        self.radii: FloatArray = shown_radii(replay.walkers["radius"], view)
        self._asides: FloatArray = 0.5 * replay.walkers["track"] * self.radii / replay.walkers["radius"]

    def draw_starts(self, sheet: Sheet) -> None:
        """Draw the marks of the places where walkers started."""
        size = 4.0 if len(self._walkers) > CROWD else 6.5
        stamps: dict[int, pygame.Surface] = {}
        for number in np.unique(self._walkers["design"]).tolist():
            stamps[number] = self._averaged(
                2 * size + 8, partial(_draw_start, size=size, mark=self._marks[number])
            )
            # where they were counts less than where they are
            stamps[number].fill((_FAINT,) * 4, special_flags=pygame.BLEND_RGBA_MULT)
        across, down = self._view(self._walkers["x"], self._walkers["y"])
        rows = zip(self._walkers["design"].tolist(), across.tolist(), down.tolist(), strict=True)
        sheet.surface.blits([self._placed(stamps[design], x, y) for design, x, y in rows], doreturn=False)

    def _placed(self, stamp: pygame.Surface, x: float, y: float) -> Stamp:
        """``stamp`` with its middle at ``x``, ``y`` [points]."""
        width, height = stamp.get_size()
        corner = (x * self._scale - width / 2, y * self._scale - height / 2)
        return stamp, corner, None, pygame.BLEND_PREMULTIPLIED

    def _averaged(self, size: float, draw: Callable[[Sheet, float], None]) -> pygame.Surface:
        """A stamp of ``size`` points on which ``draw`` (sheet, middle) drew."""
        pixels = max(1, math.ceil(size * self._scale))
        finer = _FINER if self._scale < _ENLARGED else _FINER_ENLARGED
        large = pygame.Surface((pixels * finer, pixels * finer), pygame.SRCALPHA)
        sheet = Sheet(large, self._scale * finer)
        draw(sheet, 0.5 * pixels / self._scale)
        return pygame.transform.smoothscale(large.premul_alpha(), (pixels, pixels))

    def _stamp(self, walker: int, heading: int) -> pygame.Surface:
        key = (int(self._kinds[walker]), heading)
        if key not in self._stamps:
            if len(self._stamps) >= _MOST_STAMPS:
                self._stamps.clear()
            record, zoom = self._walkers[walker], self._view.zoom
            reach = self.radii[walker] * (1.6 + abs(float(record["body_ahead"])) / float(record["radius"]))

            def draw(sheet: Sheet, middle: float) -> None:
                own = View(middle, middle, 0.0, 0.0, 0.0, 0.0, zoom)
                pose = Pose(0.0, 0.0, 2.0 * math.pi * heading / _HEADINGS)
                draw_walker(sheet, own, record, pose, self.opacity, look(self._marks[int(record["design"])]))

            self._stamps[key] = self._averaged(2.0 * reach + 6.0, draw)
        return self._stamps[key]

    def places(self, time_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """x, y [points] of the middle of every body at ``time_s`` [s], and its heading [rad]."""
        x, y, heading = self._poses.at(time_s)
        ahead = self._walkers["body_ahead"]
        across, down = self._view(x + ahead * np.cos(heading), y + ahead * np.sin(heading))
        return across, down, heading

    def draw(self, sheet: Sheet, moment: Moment, *, quickly: bool = False) -> None:
        """Draw walkers, and what fired.

        ``moment.levels`` (walkers, 2) tells how far each side is lit; the chosen walker and the leader are
        told apart. ``quickly`` draws rings in place of bodies, while the view changes from frame to frame.
        """
        time_s, levels = moment.time_s, moment.levels
        x, y, heading = self._poses.at(time_s)
        across, down = self._view(x, y)
        shown = self._in_view(across, down)
        numbers = np.flatnonzero(shown)
        middles = self.places(time_s)
        # on top of all others
        for walker in (moment.leader, moment.chosen):
            if walker is not None and shown[walker]:
                numbers = np.append(numbers[numbers != walker], walker)
        if moment.leader is not None and shown[moment.leader]:
            self._ring(sheet, middles, moment.leader, 4.5, STRAW)
        if moment.chosen is not None and shown[moment.chosen]:
            self._ring(sheet, middles, moment.chosen, 9.5 if moment.chosen == moment.leader else 7.0, WHITE)
        if quickly:
            self._draw_rings(sheet, time_s, numbers)
        else:
            self._draw_bodies(sheet, (x, y, heading), (across, down), numbers)
            if levels is not None:
                self._draw_glows(sheet, across, down, heading, np.where(shown[:, None], levels, 0.0))
        if moment.numbered and self._has_room_for_numbers:
            self._draw_numbers(sheet, middles, numbers)

    def _ring(
        self, sheet: Sheet, middles: tuple[FloatArray, ...], walker: int, away: float, colour: Colour
    ) -> None:
        """A ring round the body of ``walker``, ``away`` [points] from it, in ink and ``colour``."""
        place = (float(middles[0][walker]), float(middles[1][walker]))
        radius = float(self.radii[walker]) + away
        sheet.disc(place, radius + 1.8, None, INK, 5.6)
        sheet.disc(place, radius, None, colour, 2.4)

    def _draw_numbers(self, sheet: Sheet, middles: tuple[FloatArray, ...], numbers: NDArray[np.intp]) -> None:
        """The number of each one's copy on a patch of paper on its body."""
        for number in numbers.tolist():
            place = (float(middles[0][number]), float(middles[1][number]))
            size = NUMBER_SIZE if self.radii[number] < 26.0 else 22
            words = str(self._copies[number])
            width, height = sheet.text_size(words, size)
            corner = (place[0] - width / 2 - 2, place[1] - 0.42 * height)
            sheet.card(corner, (width + 4, 0.84 * height), PAPER, None, 4)
            sheet.text(words, place, size, INK, across=0.5, down=0.47)

    def _in_view(self, across: Any, down: Any) -> BoolArray:
        view, margin = self._view, 2.0 * self.radii
        shown: BoolArray = (
            (across > view.left - margin)
            & (across < view.left + view.width + margin)
            & (down > view.top - margin)
            & (down < view.top + view.height + margin)
        )
        return shown

    def _draw_bodies(
        self,
        sheet: Sheet,
        poses: tuple[FloatArray, FloatArray, FloatArray],
        points: tuple[Any, Any],
        numbers: NDArray[np.intp],
    ) -> None:
        turns = np.round(poses[2] * _HEADINGS / (2.0 * math.pi)).astype(np.intp) % _HEADINGS
        stamps: list[Stamp] = []
        rows = (numbers, turns[numbers], points[0][numbers], points[1][numbers], self.radii[numbers])
        for number, turn, x, y, radius in zip(*(row.tolist() for row in rows), strict=True):
            if radius * self._scale > _LARGEST_STAMP:
                sheet.surface.blits(stamps, doreturn=False)
                stamps = []
                pose = Pose(*(float(part[number]) for part in poses))
                mine = look(self._marks[int(self._walkers["design"][number])])
                draw_walker(sheet, self._view, self._walkers[number], pose, self.opacity, mine)
            else:
                stamps.append(self._placed(self._stamp(number, turn), x, y))
        sheet.surface.blits(stamps, doreturn=False)

    def _draw_rings(self, sheet: Sheet, time_s: float, numbers: NDArray[np.intp]) -> None:
        x, y, _ = self.places(time_s)
        for number in numbers.tolist():
            mine = look(self._marks[int(self._walkers["design"][number])])
            radius, place = float(self.radii[number]), (float(x[number]), float(y[number]))
            rim = max(2.0, 0.14 * radius)
            sheet.disc(place, radius + 1.2, None, mine.casing, rim + 2.4)
            sheet.disc(place, radius, None, mine.colour, rim)

    def _draw_glows(
        self, sheet: Sheet, across: Any, down: Any, heading: FloatArray, levels: FloatArray
    ) -> None:
        """Light up the driven wheel of each side that fired."""
        number, side = np.nonzero(levels > 0.02)
        turn = heading[number] + np.where(side == 0, math.pi / 2, -math.pi / 2)
        x = across[number] + self._asides[number] * np.cos(turn)
        y = down[number] - self._asides[number] * np.sin(turn)
        rows = (self.radii[number], levels[number, side], x, y)
        stamps = [
            self._placed(self._glow_stamp(radius, level), at_x, at_y)
            for radius, level, at_x, at_y in zip(*(row.tolist() for row in rows), strict=True)
        ]
        sheet.surface.blits(stamps, doreturn=False)

    def _glow_stamp(self, radius: float, level: float) -> pygame.Surface:
        """A lit wheel: a drop of light with a rim of ink, so that it shows on any ground."""
        key = (round(radius), round(12 * level))
        if key not in self._glow_stamps:
            size = max(3.6, 0.34 * radius)

            def draw(sheet: Sheet, middle: float) -> None:
                sheet.disc((middle, middle), size, STRAW, INK, max(1.2, 0.22 * size))

            stamp = self._averaged(2.0 * size + 4.0, draw)
            share = round(255 * key[1] / 12)
            stamp.fill((share, share, share, share), special_flags=pygame.BLEND_RGBA_MULT)
            self._glow_stamps[key] = stamp
        return self._glow_stamps[key]

    def at(self, place: tuple[float, float], time_s: float) -> int | None:
        """The walker at ``place`` [points], or None; the nearest of several."""
        x, y, _ = self.places(time_s)
        if not len(x):
            return None
        away = np.hypot(x - place[0], y - place[1]) - self.radii
        nearest = int(np.argmin(away))
        return nearest if away[nearest] <= 6.0 else None


def _draw_start(sheet: Sheet, middle: float, size: float, mark: int) -> None:
    draw_mark(sheet, (middle, middle), size, look(mark))


def copy_numbers(designs: NDArray[np.int32]) -> NDArray[np.intp]:
    """Which copy of its design each walker is, (walkers,), counted from 1."""
    copies = np.zeros(len(designs), dtype=np.intp)
    for number in np.unique(designs):
        mine = designs == number
        copies[mine] = np.arange(1, np.count_nonzero(mine) + 1)
    return copies


def walker_name(replay: Replay, walker: int) -> str:
    """What a walker is called: its design, and which copy of it, counted from 1.

    In a race of entries, of which each has one walker, it is the entry's name alone.
    """
    designs: NDArray[np.int32] = replay.walkers["design"]
    number = int(designs[walker])
    if "mark" in replay.header["designs"][number]:
        return replay.design_names[number]
    copy = int(np.count_nonzero(designs[: walker + 1] == number))
    return f"{replay.design_names[number]} {copy}"
