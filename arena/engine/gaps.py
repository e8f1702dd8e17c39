"""Gaps between bodies, walls and whiskers, in the plan.

A body is a rounded convex polygon: up to eight core points in counter-clockwise order, and a radius about
their hull. One point makes a disc, two a capsule. A wall is a segment without thickness. All lengths are in
metres.

A gap is the signed clearance: positive apart, 0 touching, negative by the shortest move that frees the two
from one another. It comes with the unit direction in which the (first) body moves away most quickly, so that
a move by −gap along it leads from overlap to touch. Hulls that overlap are parted along the normal of one of
their edges (the separating axis theorem; C. Ericson, Real-Time Collision Detection, 2005, section 5.2.1);
the radii only add to it.
"""

import math

from agents.arrays import FloatArray
from agents.compiled import kernel

# Closer than this [m] the way between two nearest points is all rounding, so an edge's normal is used. A
# code constant: it is the distance at which floats of arenas some metres wide lose the direction.
_TOUCH = 1e-9


@kernel
def _from_segment(
    px: float, py: float, ax: float, ay: float, bx: float, by: float
) -> tuple[float, float, float]:
    """Return the way from the nearest point of the segment a–b to P, and that point's place 0 .. 1."""
    ex = bx - ax
    ey = by - ay
    wx = px - ax
    wy = py - ay
    square = ex * ex + ey * ey
    place = 0.0
    if square > 0.0:
        place = min(max((wx * ex + wy * ey) / square, 0.0), 1.0)
    return wx - place * ex, wy - place * ey, place


@kernel
def disc_wall_gap(
    x: float, y: float, radius: float, ax: float, ay: float, bx: float, by: float
) -> tuple[float, float, float]:
    """Return gap [m] and direction (x, y) between a disc about (x, y) and the wall a–b.

    A centre on the wall itself is parted to the left of the way from a to b.
    """
    vx, vy, _ = _from_segment(x, y, ax, ay, bx, by)
    distance = math.sqrt(vx * vx + vy * vy)
    if distance > _TOUCH:
        return distance - radius, vx / distance, vy / distance
    length = math.sqrt((bx - ax) * (bx - ax) + (by - ay) * (by - ay))
    if length > 0.0:
        return distance - radius, (ay - by) / length, (bx - ax) / length
    return distance - radius, 1.0, 0.0


@kernel
def disc_disc_gap(
    x: float, y: float, radius: float, other_x: float, other_y: float, other_radius: float
) -> tuple[float, float, float]:
    """Return gap [m] and direction (x, y) between two discs; the first one moves.

    Discs with one centre are parted along the x axis.
    """
    vx = x - other_x
    vy = y - other_y
    distance = math.sqrt(vx * vx + vy * vy)
    if distance > _TOUCH:
        return distance - radius - other_radius, vx / distance, vy / distance
    return distance - radius - other_radius, 1.0, 0.0


@kernel
def _edge_separation(
    points: FloatArray, count: int, others: FloatArray, other_count: int
) -> tuple[float, float, float]:
    """Return how far outside the first hull the second lies by the edge that tells most, and its normal.

    −inf where the first hull has no edge.
    """
    most = -math.inf
    most_x = 1.0
    most_y = 0.0
    if count < 2:
        return most, most_x, most_y
    j = count - 1
    for i in range(count):
        # outward of a counter-clockwise outline; a capsule's two edges give both sides of its core
        nx = points[i, 1] - points[j, 1]
        ny = points[j, 0] - points[i, 0]
        length = math.sqrt(nx * nx + ny * ny)
        if length > 0.0:
            nx /= length
            ny /= length
            least = math.inf
            for k in range(other_count):
                least = min(least, nx * (others[k, 0] - points[j, 0]) + ny * (others[k, 1] - points[j, 1]))
            if least > most:
                most = least
                most_x = nx
                most_y = ny
        j = i
    return most, most_x, most_y


@kernel
def _nearest_way(
    points: FloatArray, count: int, others: FloatArray, other_count: int
) -> tuple[float, float, float]:
    """Return the shortest way from the outline of ``others`` to a corner of ``points``, its square first."""
    least = math.inf
    least_x = 0.0
    least_y = 0.0
    for k in range(count):
        j = other_count - 1
        for i in range(other_count):
            vx, vy, _ = _from_segment(
                points[k, 0], points[k, 1], others[j, 0], others[j, 1], others[i, 0], others[i, 1]
            )
            square = vx * vx + vy * vy
            if square < least:
                least = square
                least_x = vx
                least_y = vy
            j = i
    return least, least_x, least_y


@kernel
def body_body_gap(
    points: FloatArray, count: int, radius: float, others: FloatArray, other_count: int, other_radius: float
) -> tuple[float, float, float]:
    """Return gap [m] and direction (x, y) between two bodies; the first one moves.

    Tables of points, of shape (at least count, 2) [m].
    """
    if count == 1 and other_count == 1:
        return disc_disc_gap(points[0, 0], points[0, 1], radius, others[0, 0], others[0, 1], other_radius)
    apart, nx, ny = _edge_separation(points, count, others, other_count)
    way_x = -nx
    way_y = -ny
    other_apart, nx, ny = _edge_separation(others, other_count, points, count)
    if other_apart > apart:
        apart = other_apart
        way_x = nx
        way_y = ny
    if apart >= 0.0:
        square, vx, vy = _nearest_way(points, count, others, other_count)
        other_square, other_vx, other_vy = _nearest_way(others, other_count, points, count)
        if other_square < square:
            square = other_square
            vx = -other_vx
            vy = -other_vy
        distance = math.sqrt(square)
        if distance > _TOUCH:
            return distance - radius - other_radius, vx / distance, vy / distance
        apart = distance
    return apart - radius - other_radius, way_x, way_y


@kernel
def body_wall_gap(
    points: FloatArray, count: int, radius: float, ax: float, ay: float, bx: float, by: float
) -> tuple[float, float, float]:
    """Return gap [m] and direction (x, y) between a body and the wall a–b; the body moves.

    Right also where the wall runs through the body's core: the body is then parted from the whole wall by
    the shortest move, past its end if that is nearest.
    """
    if count == 1:
        return disc_wall_gap(points[0, 0], points[0, 1], radius, ax, ay, bx, by)
    apart = -math.inf
    way_x = 1.0
    way_y = 0.0
    length = math.sqrt((bx - ax) * (bx - ax) + (by - ay) * (by - ay))
    if length > 0.0:
        nx = (ay - by) / length
        ny = (bx - ax) / length
        least = math.inf
        most = -math.inf
        for k in range(count):
            off = nx * (points[k, 0] - ax) + ny * (points[k, 1] - ay)
            least = min(least, off)
            most = max(most, off)
        side = 1.0 if least >= -most else -1.0
        apart = max(least, -most)
        way_x = side * nx
        way_y = side * ny
    j = count - 1
    for i in range(count):
        nx = points[i, 1] - points[j, 1]
        ny = points[j, 0] - points[i, 0]
        edge = math.sqrt(nx * nx + ny * ny)
        if edge > 0.0:
            off = min(
                nx * (ax - points[j, 0]) + ny * (ay - points[j, 1]),
                nx * (bx - points[j, 0]) + ny * (by - points[j, 1]),
            )
            if off > apart * edge:
                apart = off / edge
                way_x = -nx / edge
                way_y = -ny / edge
        j = i
    if apart >= 0.0:
        square = math.inf
        gap_x = 0.0
        gap_y = 0.0
        j = count - 1
        for i in range(count):
            vx, vy, _ = _from_segment(points[i, 0], points[i, 1], ax, ay, bx, by)
            if vx * vx + vy * vy < square:
                square = vx * vx + vy * vy
                gap_x = vx
                gap_y = vy
            for end in range(2):
                ex = ax if end == 0 else bx
                ey = ay if end == 0 else by
                vx, vy, _ = _from_segment(ex, ey, points[j, 0], points[j, 1], points[i, 0], points[i, 1])
                if vx * vx + vy * vy < square:
                    square = vx * vx + vy * vy
                    gap_x = -vx
                    gap_y = -vy
            j = i
        distance = math.sqrt(square)
        if distance > _TOUCH:
            return distance - radius, gap_x / distance, gap_y / distance
        apart = distance
    return apart - radius, way_x, way_y
