"""From metres on the floor to points of the picture, and where names find room there."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray

Point = tuple[float, float]
Bounds = tuple[float, float, float, float]


def bounds(arena: dict[str, Any]) -> Bounds:
    """West, south, east, north [m] of all that lies on the floor or near it.

    A lamp farther off than half the floor's longer side is not worth the room.
    """
    floor = np.array(arena["floor"], dtype=np.float64)
    low, high = floor.min(axis=0), floor.max(axis=0)
    reach = 0.5 * float((high - low).max())
    outlines = [wall["points"] for wall in arena["walls"]] + [shade["outline"] for shade in arena["shades"]]
    near = [
        [lamp["x"], lamp["y"]]
        for lamp in arena["lamps"]
        if low[0] - reach <= lamp["x"] <= high[0] + reach and low[1] - reach <= lamp["y"] <= high[1] + reach
    ]
    points = np.concatenate(
        [floor, *(np.array(outline, dtype=np.float64) for outline in [*outlines, near] if outline)]
    )
    inside = np.clip(points, low - reach, high + reach)
    (west, south), (east, north) = inside.min(axis=0), inside.max(axis=0)
    return float(west), float(south), float(east), float(north)


@dataclass(frozen=True)
class View:
    """A window ``left``, ``top``, ``width``, ``height`` [points] onto the floor, north up."""

    left: float
    top: float
    width: float
    height: float
    # corner of the floor that lies at the window's lower left [m], and points per metre
    west: float
    south: float
    zoom: float

    @overload
    def __call__(self, x: float, y: float) -> Point: ...

    @overload
    def __call__(
        self, x: NDArray[np.floating[Any]], y: NDArray[np.floating[Any]]
    ) -> tuple[NDArray[np.floating[Any]], NDArray[np.floating[Any]]]: ...

    def __call__(self, x: Any, y: Any) -> Any:
        """Where in the picture the place or the places ``x``, ``y`` [m] lie [points]."""
        return (
            self.left + (x - self.west) * self.zoom,
            self.top + self.height - (y - self.south) * self.zoom,
        )

    def place(self, point: Point) -> Point:
        """Which place x, y [m] lies at ``point`` [points] of the picture."""
        return (
            self.west + (point[0] - self.left) / self.zoom,
            self.south + (self.top + self.height - point[1]) / self.zoom,
        )

    def line(self, points: Iterable[Sequence[float]]) -> list[Point]:
        """Where ``points`` [m] lie [points]."""
        west, south, zoom, left, bottom = self.west, self.south, self.zoom, self.left, self.top + self.height
        return [(left + (point[0] - west) * zoom, bottom - (point[1] - south) * zoom) for point in points]

    def columns(self) -> FloatArray:
        """x [m] of the middle of each column of points."""
        return self.west + (np.arange(round(self.width), dtype=np.float64) + 0.5) / self.zoom

    def rows(self) -> FloatArray:
        """y [m] of the middle of each row of points, from the top."""
        return self.south + (self.height - np.arange(round(self.height), dtype=np.float64) - 0.5) / self.zoom


def fit(arena: dict[str, Any], left: float, top: float, width: float, height: float) -> View:
    """The view that shows all of ``arena`` as large as it goes into the given room [points].

    At the top of the room, and in the middle across.
    """
    west, south, east, north = bounds(arena)
    margin = 0.03 * max(east - west, north - south)
    west, south, east, north = west - margin, south - margin, east + margin, north + margin
    zoom = min(width / (east - west), height / (north - south))
    used_width, used_height = zoom * (east - west), zoom * (north - south)
    return View(
        left + (width - used_width) / 2,
        top,
        used_width,
        used_height,
        west,
        south,
        zoom,
    )


class LabelPlacement:
    """Keeps track of which parts of a view are taken, and finds a free place for a name."""

    def __init__(self, view: View) -> None:
        self._view = view
        self._taken: list[Bounds] = []

    def take(self, west: float, north: float, east: float, south: float) -> None:
        """Mark a rectangle [points] as taken."""
        self._taken.append((west, north, east, south))

    def take_line(self, points: Sequence[Point], margin: float) -> None:
        """Mark the surroundings of a line [points] as taken."""
        for start, end in pairwise(points):
            from_share, to_share = self._shown(start, end)
            if from_share > to_share:
                continue
            pieces = max(1, math.ceil((to_share - from_share) * math.dist(start, end) / 20.0))
            for piece in range(pieces + 1):
                share = from_share + (to_share - from_share) * piece / pieces
                x = start[0] + share * (end[0] - start[0])
                y = start[1] + share * (end[1] - start[1])
                self.take(x - margin, y - margin, x + margin, y + margin)

    def _shown(self, start: Point, end: Point) -> tuple[float, float]:
        """From which to which share of the way from ``start`` to ``end`` it is in view; (1, 0) if never."""
        view = self._view
        low, high = 0.0, 1.0
        for a, b, least, most in (
            (start[0], end[0], view.left, view.left + view.width),
            (start[1], end[1], view.top, view.top + view.height),
        ):
            if a == b:
                if not least <= a <= most:
                    return 1.0, 0.0
                continue
            near, far = sorted(((least - a) / (b - a), (most - a) / (b - a)))
            low, high = max(low, near), min(high, far)
        return low, high

    def claim(self, x: float, y: float, width: float, height: float) -> bool:
        """Take the rectangle [points] with the upper left corner ``x``, ``y`` if it is free and in view."""
        view = self._view
        if x < view.left or y < view.top:
            return False
        if x + width > view.left + view.width or y + height > view.top + view.height:
            return False
        if any(x < e and x + width > w and y < s and y + height > n for w, n, e, s in self._taken):
            return False
        self.take(x - 2, y - 2, x + width + 2, y + height + 2)
        return True

    def find(self, near: Point, width: float, height: float) -> Point | None:
        """Upper left corner [points] of free room near ``near`` for a name, now taken; None if none."""
        for distance in (6.0, 14.0, 26.0, 42.0, 64.0):
            for across, down in _SIDES:
                x = near[0] - width / 2 + across * (width / 2 + distance)
                y = near[1] - height / 2 + down * (height / 2 + distance)
                if self.claim(x, y, width, height):
                    return x, y
        return None


_SIDES = ((0, -1), (0, 1), (1, 0), (-1, 0), (1, -1), (-1, -1), (1, 1), (-1, 1))
