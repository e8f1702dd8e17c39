"""What stands between a source of light and a point of the arena.

The world has two and a half dimensions: a wall is a vertical sheet without thickness from the floor to its
height, a shade a horizontal polygon at its height, a body an upright cylinder from the floor to its height.
All lengths are in metres.

How the borderline cases are decided:

* A ray that runs along a wall, or meets it at the receiver or at the source itself, is not stopped: a wall
  has no thickness, and a receiver on a wall sees to both sides.
* A ray through the end of a wall is stopped, so no light leaks between two walls that share a corner.
* A ray at exactly the height of a wall or body passes over it; a receiver at exactly the height of a shade
  is not under it.
* A ray through the outline of a shade counts as through one side of it, by the even-odd rule with half-open
  edges, so that of two shades that share an edge exactly one is pierced.
"""

import math
from typing import NamedTuple

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.compiled import kernel, kernel_part
from arena.scene.records import ROUND

DISC_SAMPLES = 32

_GOLDEN_ANGLE = math.pi * (3.0 - math.sqrt(5.0))


class Ray(NamedTuple):
    """The way from a point P [m] along d [m], to the source or to a part of it."""

    px: float
    py: float
    pz: float
    dx: float
    dy: float
    dz: float


class Standing(NamedTuple):
    """What stands in the light's way, and how a disc is looked at.

    ``walls`` as from :func:`arena.scene.records.wall_table`, SHADE records with the points of their outlines,
    and :func:`disc_points`.
    """

    walls: FloatArray
    shades: RecordArray
    shade_points: FloatArray
    disc_samples: FloatArray


class Cylinder(NamedTuple):
    """A body as others are shaded by it: upright about its middle from the floor to its top, all in [m]."""

    x: float
    y: float
    radius: float
    top: float


def disc_points(count: int = DISC_SAMPLES) -> FloatArray:
    """Return ``count`` points [-], shape (count, 2), that share out the area of the unit disc evenly.

    Point k lies at radius √((k + ½)/count) and at k golden angles (H. Vogel, Mathematical Biosciences 44,
    1979, on the sunflower's head), so every ring holds its share and no direction is preferred. The share
    of 32 points beyond a straight edge is off that of area by 0.02 (root mean square), 0.09 at worst.
    """
    steps = np.arange(count) + 0.5
    radius = np.sqrt(steps / count)
    angle = steps * _GOLDEN_ANGLE
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


@kernel
def _ends_by(ray: Ray, walls: FloatArray, i: int) -> tuple[float, float, float, float, float, float]:
    """Both ends of wall ``i`` from P on [m], and on which side of the ray each lies.

    Walls that share an end compute the same figure for it.
    """
    ax, ay = walls[0, i] - ray.px, walls[1, i] - ray.py
    bx, by = walls[2, i] - ray.px, walls[3, i] - ray.py
    return ax, ay, bx, by, ray.dx * ay - ray.dy * ax, ray.dx * by - ray.dy * bx


@kernel
def _walls_stop(ray: Ray, walls: FloatArray, first: int, last: int) -> bool:
    """Tell whether one of ``walls`` first .. last − 1 stops the ray from P to P + d.

    ``walls`` is the table of :func:`arena.scene.records.wall_table`, in which one figure of all walls lies
    side by side: reading the records instead takes twice as long.
    """
    pz, dz = ray.pz, ray.dz
    stopped = False
    # No early exit, no branch and no division, so that the compiler can take several walls at once.
    for i in range(first, last):
        ax, ay, bx, by, side_a, side_b = _ends_by(ray, walls, i)
        # The ray meets the wall's line at fraction across / turn; multiplied by turn² it needs no division
        # and no regard to the sign of turn.
        turn = side_b - side_a
        along = (ax * by - ay * bx) * turn
        square = turn * turn
        stopped |= (
            (side_a * side_b <= 0.0)
            & (along > 0.0)
            & (along < square)
            & ((pz - walls[4, i]) * square + along * dz < 0.0)
        )
    return stopped


@kernel
def _inside(x: float, y: float, points: FloatArray, first: int, count: int) -> bool:
    """Tell whether (x, y) lies inside the outline ``points`` first .. first + count − 1, even-odd rule."""
    inside = False
    j = first + count - 1
    for i in range(first, first + count):
        if (points[i, 1] > y) != (points[j, 1] > y):
            # Taken from its lower end, an edge gives the same figure to the shades on both its sides.
            low, high = (i, j) if points[i, 1] < points[j, 1] else (j, i)
            run = points[high, 0] - points[low, 0]
            rise = points[high, 1] - points[low, 1]
            if (x - points[low, 0]) * rise < (y - points[low, 1]) * run:
                inside = not inside
        j = i
    return inside


@kernel
def _shades_pass(ray: Ray, shades: RecordArray, shade_points: FloatArray) -> float:
    """Return what the shades let through of the ray from P to P + d, 0 to 1."""
    px, py, pz, dx, dy, dz = ray
    passes = 1.0
    for i in range(len(shades)):
        rise = shades[i]["height"] - pz
        # strictly between the ends of the ray
        if rise * (dz - rise) > 0.0:
            fraction = rise / dz
            x = px + fraction * dx
            y = py + fraction * dy
            if (
                shades[i]["west"] <= x <= shades[i]["east"]
                and shades[i]["south"] <= y <= shades[i]["north"]
                and _inside(x, y, shade_points, shades[i]["first"], shades[i]["count"])
            ):
                passes *= shades[i]["passes"]
    return passes


@kernel
def _walls_near_cone(ray: Ray, radius: float, walls: FloatArray) -> tuple[bool, int, int]:
    """Sort the walls against the cone from P to the disc of ``radius`` about P + d, square to d.

    Returns whether one wall hides the whole disc, and the range first .. last − 1 of walls that may hide a
    part of it. Errs only to the safe side: a wall in the range may turn out to hide nothing.

    A ray to a point of the disc runs along d + radius · u with |u| ≤ 1, so the figures of
    :func:`_walls_stop` move by bounded amounts: a side by at most radius · (distance of that end), the turn
    by at most radius · (length of the wall), the ray's rise by at most radius.
    """
    pz, dz = ray.pz, ray.dz
    hidden = False
    count = walls.shape[1]
    first = count
    last = 0
    square = radius * radius
    # The least and the greatest climb of a ray; a ray is lowest where it meets the wall soonest if it
    # climbs, and at its far end if it sinks.
    climb = max(dz - radius, 0.0)
    sink = min(dz - radius, 0.0)
    high = max(dz + radius, 0.0)
    for i in range(count):
        ax, ay, bx, by, side_a, side_b = _ends_by(ray, walls, i)
        turn = side_b - side_a
        across = ax * by - ay * bx
        distance = abs(across)
        # the sum of both components is never less than the length, and costs no root
        shift = radius * (abs(bx - ax) + abs(by - ay))
        most = abs(turn) + shift
        least = abs(turn) - shift
        below = pz - walls[4, i]
        steady = (side_a * side_a > square * (ax * ax + ay * ay)) & (
            side_b * side_b > square * (bx * bx + by * by)
        )
        clear = (
            (steady & (side_a * side_b > 0.0))
            | ((below + sink) * most + distance * climb >= 0.0)
            | (distance >= most)
        )
        hidden |= (
            steady
            & (side_a * side_b < 0.0)
            & (across * turn > 0.0)
            & (distance < least)
            & (below * least + distance * high < 0.0)
        )
        first = min(first, count if clear else i)
        last = max(last, 0 if clear else i + 1)
    return hidden, first, last


@kernel
def _outline_square(x: float, y: float, points: FloatArray, first: int, count: int) -> float:
    """Return the square [m²] of the distance from (x, y) to the outline ``points`` first .. + count − 1."""
    nearest = math.inf
    j = first + count - 1
    for i in range(first, first + count):
        ex = points[i, 0] - points[j, 0]
        ey = points[i, 1] - points[j, 1]
        wx = x - points[j, 0]
        wy = y - points[j, 1]
        length_square = ex * ex + ey * ey
        place = 0.0
        if length_square > 0.0:
            place = min(max((wx * ex + wy * ey) / length_square, 0.0), 1.0)
        wx -= place * ex
        wy -= place * ey
        nearest = min(nearest, wx * wx + wy * wy)
        j = i
    return nearest


@kernel
def _shades_near_cone(
    ray: Ray, radius: float, shades: RecordArray, shade_points: FloatArray
) -> tuple[bool, float]:
    """Sort the shades against the cone from P to the disc of ``radius`` about P + d, square to d.

    Returns whether the outline of a shade may cut the cone, and what the shades that hold the whole of it
    let through. Errs only to the safe side, as :func:`_walls_near_cone` does.
    """
    px, py, pz, dx, dy, dz = ray
    cut = False
    passes = 1.0
    span = math.sqrt(dx * dx + dy * dy)
    for i in range(len(shades)):
        rise = shades[i]["height"] - pz
        toward = dz if rise > 0.0 else -dz
        gap = abs(rise)
        if gap == 0.0 or toward + radius <= gap:
            continue
        if toward - radius <= gap:
            cut = True
            continue
        x = px + rise / dz * dx
        y = py + rise / dz * dy
        # Where a ray pierces the shade's plane moves by its own shift, and by its slope's.
        reach = gap * radius / (toward - radius) * (1.0 + span / toward)
        if (
            x + reach < shades[i]["west"]
            or x - reach > shades[i]["east"]
            or y + reach < shades[i]["south"]
            or y - reach > shades[i]["north"]
        ):
            continue
        begin = shades[i]["first"]
        count = shades[i]["count"]
        if _outline_square(x, y, shade_points, begin, count) <= reach * reach:
            cut = True
        elif _inside(x, y, shade_points, begin, count):
            passes *= shades[i]["passes"]
    return cut, passes


@kernel
def visible_fraction(px: float, py: float, pz: float, source: np.void, standing: Standing) -> float:
    """Return the share of a source's light [-] that walls and shades let through to the point P [m].

    A point source is seen by one ray. A round disc (and the sun) is square to the line of sight, a flat one
    lies as it faces. Its area is averaged over the points of :func:`disc_points`, but only where an edge may
    cut the cone from P to a ball about it: what is wholly visible or wholly hidden costs about as much as one
    ray. Soft edges then have the width of the closed form: D b / a at b behind an edge that is a before a
    disc of width D that is square to the ray, and less in the way in which a flat one is foreshortened.
    """
    walls, shades, shade_points, _ = standing
    ray = Ray(px, py, pz, source["x"] - px, source["y"] - py, source["z"] - pz)
    radius = source["radius"]
    if radius <= 0.0:
        if _walls_stop(ray, walls, 0, walls.shape[1]):
            return 0.0
        return _shades_pass(ray, shades, shade_points)
    hidden, first, last = _walls_near_cone(ray, radius, walls)
    if hidden:
        return 0.0
    cut, passes = _shades_near_cone(ray, radius, shades, shade_points)
    if first >= last and not cut:
        return passes
    return _disc_fraction(ray, source, standing, first, last, cut, passes)


@kernel_part
def _disc_fraction(
    ray: Ray, source: np.void, standing: Standing, first: int, last: int, cut: bool, passes: float
) -> float:
    """Return the share of a disc that can be seen past the walls ``first`` .. ``last`` − 1 and the shades.

    ``cut`` if the outline of a shade may cross it; otherwise the shades let ``passes`` of it through.
    """
    px, py, pz, dx, dy, dz = ray
    walls, shades, shade_points, disc_samples = standing
    radius = source["radius"]
    # Two directions along the disc, square to the line of sight or to its face: one level, one upward.
    face_x, face_y, face_z = dx, dy, dz
    if source["form"] != ROUND:
        face_x, face_y, face_z = source["face_x"], source["face_y"], source["face_z"]
    span = math.sqrt(face_x * face_x + face_y * face_y)
    length = math.sqrt(span * span + face_z * face_z)
    if length == 0.0:
        return passes
    level_x = 1.0
    level_y = 0.0
    if span > 0.0:
        level_x = -face_y / span
        level_y = face_x / span
    up_x = -level_y * face_z / length
    up_y = level_x * face_z / length
    up_z = span / length
    total = 0.0
    for k in range(len(disc_samples)):
        u = radius * disc_samples[k, 0]
        v = radius * disc_samples[k, 1]
        sample = Ray(px, py, pz, dx + u * level_x + v * up_x, dy + u * level_y + v * up_y, dz + v * up_z)
        if not _walls_stop(sample, walls, first, last):
            total += _shades_pass(sample, shades, shade_points) if cut else passes
    return total / len(disc_samples)


@kernel
def body_hides(ray: Ray, body: Cylinder) -> bool:
    """Tell whether another's body stops the ray from P to P + d [m].

    A receiver above the top of a body that it stands over in plan is not shaded by it unless its ray goes
    down into it. One below the top, inside the outline, can only be there because a cylinder is rounder
    than the body it stands for: it sits at the rim, so a ray that goes further in is stopped and one that
    goes out is not.
    """
    px, py, pz, dx, dy, dz = ray
    middle_x, middle_y, radius, top = body
    length_square = dx * dx + dy * dy
    cx = middle_x - px
    cy = middle_y - py
    toward = cx * dx + cy * dy
    excess = cx * cx + cy * cy - radius * radius
    if excess <= 0.0 and pz < top:
        return toward > 0.0
    reach_square = toward * toward - length_square * excess
    if reach_square <= 0.0 or (excess > 0.0 and toward <= 0.0):
        return False
    half = math.sqrt(reach_square)
    enters = max(toward - half, 0.0)
    leaves = min(toward + half, length_square)
    # lowest point of the ray over the body against its top, both times the ray's length squared
    lowest = min(enters * dz, leaves * dz)
    return enters < length_square and lowest < (top - pz) * length_square
