"""How far walls and bodies bend a whisker, in the plan.

A whisker is a straight wire from its root on the body to its tip. What it runs into bends it; its bend is
the shortest move of the tip [m] that takes the wire out of the obstacle again. Two moves count:

* the tip goes back through a face that it has pierced: by its distance from that face;
* the wire swings aside past the obstacle's end. Pushed by e at the distance c from its root, a wire of
  length L is a cantilever with a load at c: the deflection there is F c³ / (3 E I), the slope from there on
  F c² / (2 E I), so the tip moves by e (1 + 3 (L − c) / (2 c)) (W. C. Young and R. G. Budynas, Roark's
  Formulas for Stress and Strain, 7th edition, 2002, table of straight beams).

Both hold for bends that are small against the wire's length. A wire that meets a face head-on buckles
sideways and moves its tip further than told here; a bend is never more than the whisker is long. An obstacle
at exactly the height of the whisker is passed over.
"""

import math
from typing import Any, NamedTuple

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.compiled import kernel
from arena.engine.gaps import body_wall_gap
from arena.engine.walls import square_to


@kernel
def _tip_move(push: float, along: float, length: float) -> float:
    """Return the tip's move [m] of a wire that is pushed aside by ``push`` at ``along`` from its root."""
    if push <= 0.0:
        return 0.0
    if along <= 0.0:
        return math.inf
    return push * (1.0 + 1.5 * max(length - along, 0.0) / along)


class Wire(NamedTuple):
    """A whisker's wire: its root, the unit vector to its tip, its length and its height, in [m]."""

    rx: float
    ry: float
    ux: float
    uy: float
    length: float
    height: float


class Near(NamedTuple):
    """The walls ``indices`` 0 .. ``number`` − 1 of all ``walls``."""

    walls: RecordArray
    indices: IntArray
    number: int


@kernel
def _in_reach(wire: Wire, wall: Any) -> bool:
    """Whether some part of a wall is no farther from a wire's root than its tip."""
    square = square_to(wall["ax"], wall["ay"], wall["bx"], wall["by"], wire.rx, wire.ry)
    return bool(square <= wire.length * wire.length)


@kernel
def _move_past(wire: Wire, enough: float, wall: int, end_a: bool, side: float, near: Near) -> float:
    """Return the tip's move that takes the wire past one end of ``wall`` and all that goes on from there.

    ``side`` tells on which side of the wire the end lies: 1 for left, −1 for right. Walls that share an end
    are one obstacle, so that a joint between two pieces of a straight wall lets no whisker slip; but only
    those that the wire can reach. Stops early at a move of ``enough``.
    """
    rx, ry, ux, uy, length, height = wire
    walls, indices, count = near
    at_x = walls[wall]["ax"] if end_a else walls[wall]["bx"]
    at_y = walls[wall]["ay"] if end_a else walls[wall]["by"]
    next_x = at_x
    next_y = at_y
    move = 0.0
    current = wall
    for _ in range(count + 1):
        push = side * (ux * (at_y - ry) - uy * (at_x - rx))
        move = max(move, _tip_move(push, ux * (at_x - rx) + uy * (at_y - ry), length))
        if move >= enough:
            return enough
        follower = -1
        for k in range(count):
            i = indices[k]
            if i != current and walls[i]["height"] > height and _in_reach(wire, walls[i]):
                if walls[i]["ax"] == at_x and walls[i]["ay"] == at_y:
                    follower = i
                    next_x = walls[i]["bx"]
                    next_y = walls[i]["by"]
                    break
                if walls[i]["bx"] == at_x and walls[i]["by"] == at_y:
                    follower = i
                    next_x = walls[i]["ax"]
                    next_y = walls[i]["ay"]
                    break
        if follower < 0 or follower == wall:
            return move
        current = follower
        at_x = next_x
        at_y = next_y
    return move


@kernel
def whisker_wall_bend(
    rx: float,
    ry: float,
    tx: float,
    ty: float,
    height: float,
    walls: RecordArray,
    indices: IntArray,
    count: int,
) -> float:
    """Return the bend [m] that the walls ``indices[:count]`` give to the whisker from root R to tip T.

    The whisker is ``height`` [m] above the floor. Of several walls the one that bends it most counts; 0
    where none is in the way.
    """
    dx = tx - rx
    dy = ty - ry
    length = math.sqrt(dx * dx + dy * dy)
    bend = 0.0
    for k in range(count):
        i = indices[k]
        if walls[i]["height"] <= height:
            continue
        ax = walls[i]["ax"] - rx
        ay = walls[i]["ay"] - ry
        bx = walls[i]["bx"] - rx
        by = walls[i]["by"] - ry
        side_a = dx * ay - dy * ax
        side_b = dx * by - dy * bx
        turn = side_b - side_a
        across = ax * by - ay * bx
        # as the light's rays do, but a tip that lies on the wall touches it with bend 0
        if side_a * side_b > 0.0 or across * turn <= 0.0 or across * turn >= turn * turn:
            continue
        wall_length = math.sqrt((bx - ax) * (bx - ax) + (by - ay) * (by - ay))
        # The tip's distance from the wall's line: what is cut off, times the sine of the angle between.
        move = (abs(turn) - abs(across)) / wall_length
        if move > bend:
            ux = dx / length
            uy = dy / length
            side = 1.0 if turn < 0.0 else -1.0
            wire = Wire(rx, ry, ux, uy, length, height)
            least = move
            for end in range(2):
                hand = side if end == 0 else -side
                least = min(least, _move_past(wire, move, i, end == 0, hand, Near(walls, indices, count)))
            bend = max(bend, least)
    return min(bend, length)


@kernel
def whisker_body_bend(
    rx: float,
    ry: float,
    tx: float,
    ty: float,
    height: float,
    points: FloatArray,
    count: int,
    radius: float,
    body_height: float,
) -> float:
    """Return the bend [m] that another body gives to the whisker from root R to tip T.

    The body is a rounded polygon as in :mod:`arena.engine.gaps`, ``body_height`` [m] high. 0 where the
    wire does not touch it.
    """
    if body_height <= height:
        return 0.0
    gap, _, _ = body_wall_gap(points, count, radius, rx, ry, tx, ty)
    if gap >= 0.0:
        return 0.0
    dx = tx - rx
    dy = ty - ry
    length = math.sqrt(dx * dx + dy * dy)
    if length == 0.0:
        return 0.0
    ux = dx / length
    uy = dy / length
    bend = length
    # Aside, to either hand: past the corner that asks for most.
    for hand in range(2):
        side = 1.0 if hand == 0 else -1.0
        move = 0.0
        for i in range(count):
            wx = points[i, 0] - rx
            wy = points[i, 1] - ry
            move = max(move, _tip_move(side * (ux * wy - uy * wx) + radius, ux * wx + uy * wy, length))
        bend = min(bend, move)
    # Back through a face; one that the root is deeper behind than the tip is no way out.
    j = count - 1
    for i in range(count):
        nx = points[i, 1] - points[j, 1]
        ny = points[j, 0] - points[i, 0]
        edge = math.sqrt(nx * nx + ny * ny)
        if nx * dx + ny * dy < 0.0:
            off = nx * (tx - points[j, 0]) + ny * (ty - points[j, 1])
            bend = min(bend, max(radius - off / edge, 0.0))
        j = i
    # The tip in the rounded rim goes straight back.
    tip_gap, way_x, way_y = body_wall_gap(points, count, radius, tx, ty, tx, ty)
    if -radius < tip_gap < 0.0 and way_x * dx + way_y * dy > 0.0:
        bend = min(bend, -tip_gap)
    return bend
