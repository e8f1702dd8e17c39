"""From metres on the floor to points of the picture."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
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
