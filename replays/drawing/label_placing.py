"""Where names find room: near what they name, in view, and over nothing that matters.

Two pieces. :class:`LabelPlacement` is for names that stay where they are while a run is watched: it keeps on
a grid which parts of a view are taken, and finds free room near a place, or farther off, with a
leader. :func:`place_beside` is for names that go along with walkers: it places them all for one frame.

What must not be covered is *taken*; what had better not be, such as the ways that walkers will go, is
*shunned*.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import BoolArray, FloatArray, IntArray
from replays.drawing.colours import INK, PAPER
from replays.drawing.metres_to_points import Bounds, Point, View
from replays.drawing.sheet import Sheet

LABEL_SIZE = 14
"""Size of the letters of a name on the floor [points]."""

# Side of a cell of the grid [points]: a label is never nearer than that to what is taken.
_CELL = 3.0
# How far off a place a name is tried [points], and in how many directions.
_DISTANCES = (6.0, 14.0, 26.0, 42.0, 64.0, 92.0, 130.0, 180.0)
_DIRECTIONS = 16
# Then everywhere, so far apart [points].
_EVERYWHERE = 21.0
# A name that covers nothing but what is shunned goes so much farther [points] to get away from it.
_SHUNNED_COSTS = 80.0
_LEADER_FROM = 20.0
# A leader over what is taken counts so much longer.
_CROSSED_COSTS = 3.0


@dataclass(frozen=True)
class Label:
    """``words`` on a plate with the upper left ``corner`` [points]; a leader goes to a ``place`` far off."""

    words: str
    corner: Point
    place: Point | None = None

    def moved(self, across: float, down: float) -> "Label":
        """The same label, moved by so much [points]."""
        place = None if self.place is None else (self.place[0] + across, self.place[1] + down)
        return Label(self.words, (self.corner[0] + across, self.corner[1] + down), place)


class LabelPlacement:
    """Which parts of a view are taken.

    >>> room = LabelPlacement(View(0.0, 0.0, 300.0, 200.0, 0.0, 0.0, 100.0))
    >>> room.find((150.0, 100.0), 80.0, 20.0)
    (110.0, 74.0)
    >>> room.take(0.0, 0.0, 300.0, 200.0)
    >>> room.find((150.0, 100.0), 80.0, 20.0) is None
    True
    """

    def __init__(self, view: View) -> None:
        self._view = view
        shape = (max(1, math.ceil(view.height / _CELL)), max(1, math.ceil(view.width / _CELL)))
        self._taken: BoolArray = np.zeros(shape, dtype=bool)
        self._shunned: BoolArray = np.zeros(shape, dtype=bool)

    def _cells(self, west: float, north: float, east: float, south: float) -> tuple[slice, slice]:
        """The cells that a rectangle [points] touches."""
        rows, columns = self._taken.shape
        left, top = (west - self._view.left) / _CELL, (north - self._view.top) / _CELL
        right, bottom = (east - self._view.left) / _CELL, (south - self._view.top) / _CELL
        return (
            slice(int(min(max(top, 0), rows)), int(min(max(math.ceil(bottom), 0), rows))),
            slice(int(min(max(left, 0), columns)), int(min(max(math.ceil(right), 0), columns))),
        )

    def take(self, west: float, north: float, east: float, south: float) -> None:
        """Mark a rectangle [points] as taken."""
        self._taken[self._cells(west, north, east, south)] = True

    def take_line(self, points: Sequence[Point], margin: float) -> None:
        """Mark the surroundings of a line [points] as taken."""
        for x, y in self._along(np.asarray(points, np.float64), max(margin, _CELL)).tolist():
            self.take(x - margin, y - margin, x + margin, y + margin)

    def shun(self, x: NDArray[np.floating[Any]], y: NDArray[np.floating[Any]]) -> None:
        """Mark places ``x``, ``y`` [points], and what lies next to them, as better not covered."""
        rows, columns = self._shunned.shape
        column = np.floor((x - self._view.left) / _CELL)
        row = np.floor((y - self._view.top) / _CELL)
        seen = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
        column, row = column[seen].astype(np.intp), row[seen].astype(np.intp)
        for down in (-1, 0, 1):
            for across in (-1, 0, 1):
                self._shunned[np.clip(row + down, 0, rows - 1), np.clip(column + across, 0, columns - 1)] = (
                    True
                )

    def _along(self, points: FloatArray, apart: float) -> FloatArray:
        """Places (n, 2) ``apart`` [points] along a line, those in view."""
        if len(points) < 2:
            return points
        view = self._view
        low = np.array([view.left - 2 * apart, view.top - 2 * apart])
        high = np.array([view.left + view.width + 2 * apart, view.top + view.height + 2 * apart])
        found = [points[:1]]
        for start, end in pairwise(points):
            first, last = _shown(start, end, low, high)
            if first > last:
                continue
            pieces = max(1, math.ceil((last - first) * float(np.hypot(*(end - start))) / apart))
            shares = np.linspace(first, last, pieces + 1)[:, None]
            found.append(start + shares * (end - start))
        return np.concatenate(found)

    def claim(self, x: float, y: float, width: float, height: float) -> bool:
        """Take the rectangle [points] with the upper left corner ``x``, ``y`` if it is free and in view."""
        view = self._view
        if x < view.left or y < view.top:
            return False
        if x + width > view.left + view.width or y + height > view.top + view.height:
            return False
        cells = self._cells(x, y, x + width, y + height)
        if self._taken[cells].any():
            return False
        self.take(x - 2, y - 2, x + width + 2, y + height + 2)
        return True

    def find(self, near: Point, width: float, height: float) -> Point | None:
        """Upper left corner [points] of free room for a name, now taken: near ``near``, else farther off.

        None where there is no free room in view at all.
        """
        for corners, away in (self._ring(near, width, height), self._everywhere(near, width, height)):
            if not len(corners):
                continue
            taken, shunned = self._covered(corners, width, height)
            crossed = self._crossed(near, corners, width, height)
            cost = np.where(taken > 0, np.inf, away + _SHUNNED_COSTS * np.sqrt(shunned) + crossed)
            best = int(np.argmin(cost))
            if np.isfinite(cost[best]):
                x, y = (float(part) for part in corners[best])
                self.take(x - 2, y - 2, x + width + 2, y + height + 2)
                return x, y
        return None

    def place(
        self, words: str, near: Point, width: float, height: float, outline: Sequence[Point] = ()
    ) -> Label | None:
        """A label of that size [points] where :meth:`find` finds room, with a leader if that is far.

        The leader goes to the nearest point of the line ``outline`` [points], or to ``near``.
        """
        corner = self.find(near, width, height)
        if corner is None:
            return None
        near = _nearest(outline, (corner[0] + width / 2, corner[1] + height / 2)) if len(outline) else near
        away = math.hypot(
            max(corner[0] - near[0], near[0] - corner[0] - width, 0.0),
            max(corner[1] - near[1], near[1] - corner[1] - height, 0.0),
        )
        return Label(words, corner, near if away > _LEADER_FROM else None)

    def _ring(self, near: Point, width: float, height: float) -> tuple[FloatArray, FloatArray]:
        """Corners round ``near`` that leave the name in view, and how far they are off [points]."""
        away = np.repeat(np.array(_DISTANCES), len(_ROUND))
        ways = np.tile(_ROUND, (len(_DISTANCES), 1))
        x = near[0] - width / 2 + ways[:, 0] * (width / 2 + away)
        y = near[1] - height / 2 + ways[:, 1] * (height / 2 + away)
        # straight above, below and beside come before slanting
        return self._in_view(
            np.column_stack([x, y]), away + 3.0 * np.tile(_RANKS, len(_DISTANCES)), width, height
        )

    def _everywhere(self, near: Point, width: float, height: float) -> tuple[FloatArray, FloatArray]:
        view = self._view
        x = np.arange(view.left + 2, view.left + view.width - width - 2, _EVERYWHERE)
        y = np.arange(view.top + 2, view.top + view.height - height - 2, _EVERYWHERE)
        corners = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        away = np.hypot(corners[:, 0] + width / 2 - near[0], corners[:, 1] + height / 2 - near[1])
        return self._in_view(corners, away, width, height)

    def _in_view(
        self, corners: FloatArray, away: FloatArray, width: float, height: float
    ) -> tuple[FloatArray, FloatArray]:
        view = self._view
        inside = (
            (corners[:, 0] >= view.left + 1)
            & (corners[:, 1] >= view.top + 1)
            & (corners[:, 0] + width <= view.left + view.width - 1)
            & (corners[:, 1] + height <= view.top + view.height - 1)
        )
        return corners[inside], away[inside]

    def _crossed(self, near: Point, corners: FloatArray, width: float, height: float) -> FloatArray:
        """What leaders from ``near`` to names at ``corners`` cost [points], by what is taken on their way."""
        end_x = np.clip(near[0], corners[:, 0], corners[:, 0] + width)
        end_y = np.clip(near[1], corners[:, 1], corners[:, 1] + height)
        length = np.hypot(end_x - near[0], end_y - near[1])
        rows, columns = self._taken.shape
        hits = np.zeros(len(corners))
        for share in np.linspace(0.1, 1.0, 24):
            column = ((near[0] + share * (end_x - near[0]) - self._view.left) / _CELL).astype(np.intp)
            row = ((near[1] + share * (end_y - near[1]) - self._view.top) / _CELL).astype(np.intp)
            hits += self._taken[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)]
        return np.where(length > _LEADER_FROM, _CROSSED_COSTS * hits / 24 * length, 0.0)

    def _covered(self, corners: FloatArray, width: float, height: float) -> tuple[IntArray, FloatArray]:
        """How many taken cells a name at each of ``corners`` would cover, and which share of shunned ones."""
        left = np.floor((corners[:, 0] - self._view.left) / _CELL).astype(np.intp)
        top = np.floor((corners[:, 1] - self._view.top) / _CELL).astype(np.intp)
        right = np.ceil((corners[:, 0] + width - self._view.left) / _CELL).astype(np.intp)
        bottom = np.ceil((corners[:, 1] + height - self._view.top) / _CELL).astype(np.intp)
        rows, columns = self._taken.shape
        right, bottom = np.minimum(right, columns), np.minimum(bottom, rows)
        counts = []
        for cells in (self._taken, self._shunned):
            sums = np.zeros((rows + 1, columns + 1), dtype=np.int64)
            sums[1:, 1:] = np.cumsum(np.cumsum(cells, axis=0, dtype=np.int32), axis=1)
            counts.append(sums[bottom, right] - sums[top, right] - sums[bottom, left] + sums[top, left])
        area = np.maximum((right - left) * (bottom - top), 1)
        return counts[0], counts[1] / area


def _round() -> tuple[FloatArray, FloatArray]:
    """Directions on a square, and how far down the list each comes."""
    angles = 2.0 * math.pi * np.arange(_DIRECTIONS) / _DIRECTIONS - 0.5 * math.pi
    ways = np.column_stack([np.cos(angles), np.sin(angles)])
    ways /= np.abs(ways).max(axis=1, keepdims=True)
    ranks = np.where(
        np.arange(_DIRECTIONS) % 4 == 0, 0.0, np.where(np.arange(_DIRECTIONS) % 2 == 0, 1.0, 2.0)
    )
    return ways, ranks


_ROUND, _RANKS = _round()


def _shown(start: FloatArray, end: FloatArray, low: FloatArray, high: FloatArray) -> tuple[float, float]:
    """From which to which share of the way from ``start`` to ``end`` it lies in a box; (1, 0) if never."""
    first, last = 0.0, 1.0
    for a, b, least, most in zip(start.tolist(), end.tolist(), low.tolist(), high.tolist(), strict=True):
        if a == b:
            if not least <= a <= most:
                return 1.0, 0.0
            continue
        near, far = sorted(((least - a) / (b - a), (most - a) / (b - a)))
        first, last = max(first, near), min(last, far)
    return first, last


def _nearest(line: Sequence[Point], place: Point) -> Point:
    """The point of ``line`` that is the nearest to ``place``."""
    points = np.asarray(line, np.float64)
    starts, ways = points[:-1], np.diff(points, axis=0)
    if not len(ways):
        return line[0]
    lengths = np.maximum((ways**2).sum(axis=1), 1e-12)
    shares = np.clip(((np.array(place) - starts) * ways).sum(axis=1) / lengths, 0.0, 1.0)
    found = starts + shares[:, None] * ways
    best = found[int(np.argmin(np.hypot(*(found - np.array(place)).T)))]
    return float(best[0]), float(best[1])


def draw_labels(sheet: Sheet, labels: Sequence[Label], size: int = LABEL_SIZE) -> None:
    """Draw ``labels`` on plates, and first the leaders, so that none of them crosses a name."""
    boxes = [label_box(sheet, label, size) for label in labels]
    for label, box in zip(labels, boxes, strict=True):
        if label.place is not None:
            draw_leader(sheet, label.place, box)
    for label in labels:
        sheet.plate(label.words, label.corner, size)


def label_box(sheet: Sheet, label: Label, size: int = LABEL_SIZE) -> Bounds:
    """West, north, east, south [points] of the plate of ``label``."""
    width, height = plate_size(sheet, label.words, size)
    x, y = label.corner
    return x, y, x + width, y + height


def plate_size(sheet: Sheet, words: str, size: int = LABEL_SIZE) -> tuple[float, float]:
    """Width and height [points] of a plate with ``words``, as ``Sheet.plate`` draws it."""
    width, height = sheet.text_size(words, size)
    return width + 10, height + 6


def draw_leader(sheet: Sheet, place: Point, box: Bounds) -> None:
    """A line from ``place`` to the nearest edge of ``box`` [points], with a dot where it begins."""
    end = (min(max(place[0], box[0]), box[2]), min(max(place[1], box[1]), box[3]))
    sheet.cased_line([place, end], INK, PAPER, 1.4)
    sheet.disc(place, 3.2, INK, PAPER, 1.0)


# Directions in which a walker's name is tried, the best first, and how far off [points].
_BESIDE = np.array([(1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1)], dtype=np.float64)
_FAR = (3.0, 16.0, 34.0, 60.0)


def place_beside(
    anchors: FloatArray,
    radii: FloatArray,
    sizes: FloatArray,
    box: Bounds,
    taken: FloatArray,
    before: NDArray[np.intp] | None = None,
) -> tuple[FloatArray, NDArray[np.intp]]:
    """Places names beside walkers for one frame, the most important first.

    ``anchors`` (n, 2) are the middles of walkers of ``radii`` (n) [points], ``sizes`` (m, 2) those of the
    names of the first m. Nothing goes outside of ``box`` (west, north, east, south), onto any walker, onto
    ``taken`` (k, 4) or onto another name. ``before`` (m) are the choices of the frame before, which are kept
    while they are free, lest names jump.

    Returns the upper left corners (m, 2), nan where there is no room, and the choices (m), -1 for none.

    >>> anchors = np.array([[50.0, 50.0], [52.0, 80.0]])
    >>> radii, sizes, nothing = np.full(2, 8.0), np.full((2, 2), 20.0), np.zeros((0, 4))
    >>> corners, _ = place_beside(anchors, radii, sizes, (0, 0, 200, 200), nothing)
    >>> corners.tolist()
    [[61.0, 40.0], [63.0, 70.0]]
    """
    count = len(sizes)
    reach = radii[:, None]
    blocks = np.concatenate([np.hstack([anchors - reach, anchors + reach]), taken.reshape(-1, 4)])
    corners = np.full((count, 2), np.nan)
    choices = np.full(count, -1, dtype=np.intp)
    away = np.repeat(np.array(_FAR), len(_BESIDE))
    ways = np.tile(_BESIDE, (len(_FAR), 1))
    for number in range(count):
        half = 0.5 * sizes[number]
        middles = anchors[number] + ways * (half + radii[number] + away[:, None])
        low, high = middles - half, middles + half
        fits = (low >= (box[0], box[1])).all(axis=1) & (high <= (box[2], box[3])).all(axis=1)
        over = (
            (low[:, None, 0] < blocks[None, :, 2])
            & (high[:, None, 0] > blocks[None, :, 0])
            & (low[:, None, 1] < blocks[None, :, 3])
            & (high[:, None, 1] > blocks[None, :, 1])
        ).any(axis=1)
        free = np.flatnonzero(fits & ~over)
        if not len(free):
            continue
        kept = -1 if before is None or number >= len(before) else int(before[number])
        chosen = kept if kept in free else int(free[0])
        choices[number], corners[number] = chosen, low[chosen]
        blocks = np.concatenate([blocks, [[*low[chosen], *high[chosen]]]])
    return corners, choices
