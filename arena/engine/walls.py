"""Walls by squares of the floor: which of them a walker can meet, and which can stand in its light.

Every square lists the walls that come within its floor's reach of it, in the order of their numbers. So one
look tells the walls about a place, however many there are; some of them may be farther off.
"""

import math
from typing import Any, NamedTuple

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.compiled import kernel
from arena.scene.records import wall_table

# How far from a square its walls are listed at least [m]; that is as far as most lamps let shadows reach.
LEAST_REACH = 0.2
# So many walls are gone through at once as quickly as some of them are picked.
FEW_WALLS = 48
# Squares that are looked up along the way to a lamp, and walls that are chosen from them, at the most; where
# there are more, all walls are gone through.
MOST_SQUARES = 32
MOST_CHOSEN = 128

SQUARES = np.dtype(
    [
        ("west", np.float64),
        ("south", np.float64),
        ("side", np.float64),  # of a square [m]
        ("columns", np.int64),
        ("rows", np.int64),
        ("reach", np.float64),  # how far from a square its walls are listed [m]
        ("tallest", np.float64),  # height of the tallest wall [m]
    ],
    align=True,
)


class Walls(NamedTuple):
    """The walls of a floor.

    WALL ``records``, and the same as :func:`arena.scene.records.wall_table` makes it, (5, walls); ``squares``
    (1,) the SQUARES; ``firsts`` (squares + 1,) where the walls of each square begin in ``near``, which holds
    their numbers, and in ``near_tables``, which holds five times as much: a table of them, square by square.
    ``chosen`` (MOST_CHOSEN,) and ``chosen_table`` (5 * MOST_CHOSEN,) are room for those along one way.
    """

    records: RecordArray
    table: FloatArray
    squares: RecordArray
    firsts: IntArray
    near: IntArray
    near_tables: FloatArray
    chosen: IntArray
    chosen_table: FloatArray


@kernel
def square_at(squares: Any, x: float, y: float) -> int:
    """Number of the square that holds (x, y) [m], of the nearest one where that is off the floor."""
    column = int((x - squares["west"]) / squares["side"])
    row = int((y - squares["south"]) / squares["side"])
    column = min(max(column, 0), squares["columns"] - 1)
    row = min(max(row, 0), squares["rows"] - 1)
    return int(row * squares["columns"] + column)


@kernel
def square_to(ax: float, ay: float, bx: float, by: float, x: float, y: float) -> float:
    """Square [m²] of the distance in the plan from the wall a–b to (x, y)."""
    ex, ey = bx - ax, by - ay
    wx, wy = x - ax, y - ay
    length = ex * ex + ey * ey
    along = min(max((wx * ex + wy * ey) / length, 0.0), 1.0) if length > 0.0 else 0.0
    wx -= along * ex
    wy -= along * ey
    return wx * wx + wy * wy


@kernel
def list_in_squares(
    squares: Any,
    table: FloatArray,
    counts: IntArray,
    firsts: IntArray,
    near: IntArray,
    near_tables: FloatArray,
) -> None:
    """List the walls of every square behind the ``counts`` that are listed, as :class:`Walls` says.

    With no ``near`` they are only counted.
    """
    side, reach = squares["side"], squares["reach"]
    most = (reach + 0.7072 * side) ** 2
    for number in range(table.shape[1]):
        ax, ay, bx, by = table[0, number], table[1, number], table[2, number], table[3, number]
        ax, ay, bx, by = (
            ax - squares["west"],
            ay - squares["south"],
            bx - squares["west"],
            by - squares["south"],
        )
        first_row = max(int((min(ay, by) - reach) / side), 0)
        last_row = min(int((max(ay, by) + reach) / side), squares["rows"] - 1)
        first_column = max(int((min(ax, bx) - reach) / side), 0)
        last_column = min(int((max(ax, bx) + reach) / side), squares["columns"] - 1)
        for row in range(first_row, last_row + 1):
            for column in range(first_column, last_column + 1):
                if square_to(ax, ay, bx, by, (column + 0.5) * side, (row + 0.5) * side) > most:
                    continue
                square = row * squares["columns"] + column
                place = counts[square]
                counts[square] += 1
                if len(near) == 0:
                    continue
                first = firsts[square]
                near[first + place] = number
                for line in range(5):
                    near_tables[5 * first + line * (firsts[square + 1] - first) + place] = table[line, number]


def walls_of(records: RecordArray, corners: FloatArray, reach: float) -> Walls:
    """The walls of a floor with these ``corners`` (points, 2), listed within ``reach`` [m] at least."""
    table = wall_table(records)
    west, south = corners.min(axis=0)
    width, depth = np.ptp(corners, axis=0)
    reach = max(reach, LEAST_REACH)
    # no more squares than there is to tell of
    side = max(reach, math.sqrt(width * depth / (4.0 * max(len(records), 4))))
    columns, rows = int(width / side) + 1, int(depth / side) + 1
    tallest = np.max(records["height"], initial=0.0)
    squares = np.array([(west, south, side, columns, rows, reach, tallest)], SQUARES)
    counts = np.zeros(columns * rows, np.int64)
    firsts = np.zeros(columns * rows + 1, np.int64)
    list_in_squares(squares[0], table, counts, firsts, np.zeros(0, np.int64), np.zeros(0))
    np.cumsum(counts, out=firsts[1:])
    near, near_tables = np.zeros(firsts[-1], np.int64), np.zeros(5 * firsts[-1])
    if len(near) > 0:
        counts[:] = 0
        list_in_squares(squares[0], table, counts, firsts, near, near_tables)
    chosen = np.zeros(MOST_CHOSEN, np.int64), np.zeros(5 * MOST_CHOSEN)
    return Walls(records, table, squares, firsts, near, near_tables, *chosen)


@kernel
def low_way(squares: Any, lowest: float, source: Any) -> tuple[float, float]:
    """How far the rays to a source run lower than the tallest wall.

    They begin at the height ``lowest`` [m] or above. Returns the share of their way, at most 1, and by how
    much [m] rays to different parts of the source lie apart there at the most.
    """
    radius = source["radius"]
    tallest = squares["tallest"]
    climb = source["z"] - radius - lowest
    share = min((tallest - lowest) / climb, 1.0) if climb > 0.0 else 1.0
    share = max(share, 0.0)
    return share, share * radius


@kernel
def choose_along(walls: Walls, x: float, y: float, dx: float, dy: float, room: float) -> int:
    """Choose the walls within ``room`` [m] of the way from (x, y) by (dx, dy) [m]; returns how many.

    Some of them may be farther off. Returns -1 where it is better to take all walls.
    """
    squares = walls.squares[0]
    step = 2.0 * (squares["reach"] - room)
    length = math.sqrt(dx * dx + dy * dy)
    if not length < step * MOST_SQUARES:
        return -1
    looks = int(length / step) + 1
    count = 0
    before = -1
    for look in range(looks):
        along = (look + 0.5) / looks
        square = square_at(squares, x + along * dx, y + along * dy)
        if square == before:
            continue
        before = square
        for index in range(walls.firsts[square], walls.firsts[square + 1]):
            number = walls.near[index]
            known = False
            for place in range(count):
                known |= walls.chosen[place] == number
            if known:
                continue
            if count == len(walls.chosen):
                return -1
            walls.chosen[count] = number
            count += 1
    for place in range(count):
        for row in range(5):
            walls.chosen_table[row * count + place] = walls.table[row, walls.chosen[place]]
    return count
