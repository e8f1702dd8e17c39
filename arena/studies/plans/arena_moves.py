"""Where the things of an arena lie, as four numbers each, and moving and stretching them.

* ``x``, ``y``: the middle of the smallest upright rectangle round a thing [m]; setting it moves the thing;
* ``size_x``, ``size_y``: width and depth of that rectangle [m]; setting it stretches the thing about its
  middle.
"""

from collections.abc import Mapping
from typing import Any

from agents.text.quantities import Pair, Quantity

_MIDDLE = Quantity("m", least=-1000.0, most=1000.0)
_EXTENT = Quantity("m", above=0.0, most=2000.0)
MOVES: dict[str, Quantity] = {"x": _MIDDLE, "y": _MIDDLE, "size_x": _EXTENT, "size_y": _EXTENT}

# Fields in which a thing of an arena says where it lies, and those of them that hold several points.
PLACED = ("outline", "line", "place", "centre")
LISTED = ("outline", "line")


def points_of(thing: Any) -> tuple[str, tuple[Pair, ...]]:
    """Return the field in which a thing says where it lies, and its points; none where it lies nowhere."""
    for field in PLACED:
        value = getattr(thing, field, None)
        if value is not None:
            return field, value if field in LISTED else (value,)
    return "", ()


def extents_of(points: tuple[Pair, ...]) -> dict[str, float]:
    """Return middle and size [m] of the upright rectangle round points; nothing for no points."""
    if not points:
        return {}
    across, along = zip(*points, strict=True)
    return {
        "x": (min(across) + max(across)) / 2.0,
        "y": (min(along) + max(along)) / 2.0,
        "size_x": max(across) - min(across),
        "size_y": max(along) - min(along),
    }


def moves_of(thing: Any) -> list[str]:
    """Return which of :data:`MOVES` a thing has: none where it lies nowhere."""
    return list(extents_of(points_of(thing)[1]))


def possible_moves_of(thing: Any) -> list[str]:
    """Return those of :func:`moves_of` that can be set: what has no width cannot be stretched."""
    extents = extents_of(points_of(thing)[1])
    return [word for word, extent in extents.items() if extent > 0.0 or not word.startswith("size")]


def placed(points: tuple[Pair, ...], moves: Mapping[str, float]) -> tuple[Pair, ...]:
    """Return the points stretched about their middle, then moved so that the middle is where it is to be."""
    extents = extents_of(points)
    columns = []
    for axis, coordinates in zip("xy", zip(*points, strict=True), strict=True):
        middle, size = extents[axis], extents[f"size_{axis}"]
        factor = moves.get(f"size_{axis}", size) / size if size > 0.0 else 1.0
        target = moves.get(axis, middle)
        columns.append([target + (one - middle) * factor for one in coordinates])
    return tuple(zip(*columns, strict=True))
