"""How far from one another things stand, and how far they would stand if chance had scattered them.

The floor's own random scatter: bodies are thrown on the floor one after another, every place alike; one that
would meet a wall, the rim or a body that lies there already is thrown anew. That is simple sequential
inhibition (Diggle, Besag and Gleaves, "Statistical analysis of spatial point patterns by means of distance
methods", Biometrics 32, 1976). It needs no correction for edges, whatever the floor's outline, because the
edges do to it what they do to the walkers. For points on a rectangle it agrees with the formula of Donnelly
(1978) for what the edge adds to the expectation of Clark and Evans (1954).
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray
from replays.scoring.outline import inside

# Bodies in all that are thrown for one expectation: its own error is below half a percent.
_THROWN = 20_000
# Bodies thrown at random never cover more than 0.547 of a large floor (Feder, "Random sequential adsorption",
# J. Theor. Biol. 87, 1980), and come near that ever more slowly. A floor of which they would cover more than
# this, or that is not filled after so many rounds of throwing, counts as too full.
_MOST_COVERED = 0.5
_ROUNDS = 60
# Pairs of a point and a wall that are looked at in one go.
_AT_ONCE = 4_000_000

_Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Standable:
    """The floor to stand on: its ``outline``, what is ``solid`` on it, and thin walls, ``lines`` [m]."""

    outline: _Points
    solid: tuple[_Points, ...] = ()
    lines: tuple[_Points, ...] = ()


def nearest_others(points: FloatArray, group: IntArray) -> tuple[FloatArray, IntArray]:
    """Distance [m] from each of ``points`` (n, 2) [m] to the nearest other of its ``group`` (n,), and which.

    inf and -1 for one that has none.

    >>> away, other = nearest_others(np.array([[0.0, 0.0], [0.3, 0.4], [9.0, 0.0]]), np.array([1, 1, 2]))
    >>> away.tolist(), other.tolist()
    ([0.5, 0.5, inf], [1, 0, -1])
    """
    order, x, y, of = _in_rows(points, group)
    count = len(order)
    square, nearest = np.full(count, np.inf), np.full(count, -1)
    # whoever is further off along the row than the nearest so far ends the search on that side
    for side in (1, -1):
        row, off = np.arange(count), 0
        while len(row):
            off += side
            row = row[row + off < count] if side > 0 else row[row + off >= 0]
            other = row + off
            along = (x[other] - x[row]) ** 2
            goes_on = (of[other] == of[row]) & (along < square[row])
            row, other = row[goes_on], other[goes_on]
            away = along[goes_on] + (y[other] - y[row]) ** 2
            nearer = away < square[row]
            square[row[nearer]], nearest[row[nearer]] = away[nearer], other[nearer]
    distance, found = np.empty(count), np.full(count, -1)
    distance[order] = np.sqrt(square)
    found[order] = np.where(nearest >= 0, order[nearest], -1)
    return distance, found


def _near_pairs(points: FloatArray, group: IntArray, reach: float) -> IntArray:
    """All pairs (n, 2) of ``points`` (n, 2) [m] of one ``group`` (n,) that are nearer than ``reach`` [m]."""
    order, x, y, of = _in_rows(points, group)
    count = len(order)
    pairs = [np.zeros((0, 2), np.int64)]
    row, off = np.arange(count), 0
    while len(row):
        off += 1
        row = row[row + off < count]
        other = row + off
        along = x[other] - x[row]
        goes_on = (of[other] == of[row]) & (along < reach)
        row, other = row[goes_on], other[goes_on]
        near = along[goes_on] ** 2 + (y[other] - y[row]) ** 2 < reach**2
        pairs.append(np.column_stack((order[row[near]], order[other[near]])))
    return np.concatenate(pairs)


def _in_rows(points: FloatArray, group: IntArray) -> tuple[IntArray, FloatArray, FloatArray, IntArray]:
    """Lay ``points`` in a row for each ``group``: their order, then along and across the row [m], and group.

    Rows run the longer way of all points, so that as few as can be are abreast.
    """
    if not len(points):
        return np.zeros(0, np.int64), np.zeros(0), np.zeros(0), np.zeros(0, np.int64)
    along, across = (0, 1) if np.ptp(points[:, 0]) >= np.ptp(points[:, 1]) else (1, 0)
    order = np.lexsort((points[:, along], group))
    return order, points[order, along], points[order, across], group[order]


@lru_cache(maxsize=512)
def scattered_distance(floor: Standable, count: int, radius: float) -> float | None:
    """Mean distance [m] to the nearest other of ``count`` bodies of ``radius`` [m] that chance has scattered.

    None for fewer than two, and on a floor that is too full for them to be scattered. The same for the same
    arguments.

    >>> bench = Standable(((0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)))
    >>> print(f"{scattered_distance(bench, 50, 0.0):.2f} m")
    0.11 m
    """
    if count < 2:
        return None
    copies = math.ceil(_THROWN / count)
    thrown = _scatter(floor, count, radius, copies, np.random.default_rng(1954))
    if thrown is None:
        return None
    points, copy = thrown
    return float(nearest_others(points, copy)[0].mean())


def _scatter(
    floor: Standable, count: int, radius: float, copies: int, draw: np.random.Generator
) -> tuple[FloatArray, IntArray] | None:
    """Throw ``count`` bodies on each of ``copies`` of a floor; None where it is too full.

    Returns their places (n, 2) [m] and on which copy each lies (n,).
    """
    outline = np.array(floor.outline)
    room = _area(floor.outline) - sum(map(_area, floor.solid))
    if count * math.pi * radius**2 > _MOST_COVERED * room:
        return None
    low, high = outline.min(axis=0), outline.max(axis=0)
    placed, owner = np.zeros((0, 2)), np.zeros(0, np.int64)
    for _ in range(_ROUNDS):
        missing = count - np.bincount(owner, minlength=copies)
        if not missing.any():
            order = np.argsort(owner, kind="stable")
            return placed[order], owner[order]
        copy = np.repeat(np.arange(copies), np.where(missing > 0, missing + missing // 2 + 1, 0))
        points = low + draw.random((len(copy), 2)) * (high - low)
        free = _is_free(floor, points, radius)
        points, copy = points[free], copy[free]
        if radius > 0.0:
            # those that lie are before those that are thrown, and clear of one another
            both, whose = np.concatenate([placed, points]), np.concatenate([owner, copy])
            stays = _first_come(_near_pairs(both, whose, 2.0 * radius), len(both))[len(placed) :]
            points, copy = points[stays], copy[stays]
        # no more of a copy than it lacks, the first ones thrown
        rank = np.arange(len(copy)) - np.searchsorted(copy, copy)
        wanted = rank < missing[copy]
        placed, owner = np.concatenate([placed, points[wanted]]), np.concatenate([owner, copy[wanted]])
    return None


def _area(outline: _Points) -> float:
    """Area [m2] within an outline, by the shoelace formula."""
    pairs = zip(outline, (*outline[1:], outline[0]), strict=True)
    return 0.5 * abs(sum(ax * by - bx * ay for (ax, ay), (bx, by) in pairs))


def _first_come(pairs: IntArray, count: int) -> BoolArray:
    """Who of ``count`` that are thrown in turn stays, where each pair (n, 2) of them is too near another."""
    stays = np.ones(count, bool)
    ordered = np.sort(pairs, axis=1)
    for earlier, later in ordered[np.lexsort((ordered[:, 0], ordered[:, 1]))].tolist():
        if stays[earlier]:
            stays[later] = False
    return stays


def _is_free(floor: Standable, points: FloatArray, radius: float) -> BoolArray:
    """Whether a body of ``radius`` [m] about each of ``points`` (n, 2) is on the floor and clear of walls."""
    x, y = points[:, 0], points[:, 1]
    free = inside(x, y, np.array(floor.outline))
    for one in floor.solid:
        free &= ~inside(x, y, np.array(one))
    if radius <= 0.0:
        return free
    closed = [(*one, one[0]) for one in (floor.outline, *floor.solid)]
    pieces = np.array([(*a, *b) for line in (*closed, *floor.lines) for a, b in pairwise(line)])
    step = max(1, _AT_ONCE // max(len(points), 1))
    for first in range(0, len(pieces), step):
        ax, ay, bx, by = pieces[first : first + step].T
        along_x, along_y = bx - ax, by - ay
        square = np.maximum(along_x**2 + along_y**2, 1e-300)
        to_x, to_y = x[:, None] - ax, y[:, None] - ay
        share = np.clip((to_x * along_x + to_y * along_y) / square, 0.0, 1.0)
        free &= ((to_x - share * along_x) ** 2 + (to_y - share * along_y) ** 2).min(axis=1) >= radius**2
    return free
