"""Neighbours on the floor: a uniform grid of squares, each with a linked list of the bodies in it."""

from typing import Any

from agents.arrays import IndexArray, RecordArray
from agents.compiled import kernel
from arena.engine.world_arrays import FOUND


@kernel
def _cell_at(settings: Any, x: float, y: float) -> int:
    column = int((x - settings["west"]) / settings["cell"])
    row = int((y - settings["south"]) / settings["cell"])
    column = min(max(column, 0), settings["columns"] - 1)
    row = min(max(row, 0), settings["rows"] - 1)
    return int(row * settings["columns"] + column)


@kernel
def place_in_grid(settings: Any, heads: IndexArray, bodies: RecordArray, number: int) -> None:
    """Put body ``number`` into the cell in which its middle now is.

    ``heads`` holds the first body of every cell or -1; the bodies themselves hold who comes next and before.
    """
    body = bodies[number]
    cell = _cell_at(settings, body["disc_x"], body["disc_y"])
    if body["cell"] == cell:
        return
    if body["cell"] >= 0:
        follower, leader = body["follower"], body["leader"]
        if leader >= 0:
            bodies[leader]["follower"] = follower
        else:
            heads[body["cell"]] = follower
        if follower >= 0:
            bodies[follower]["leader"] = leader
    head = heads[cell]
    body["follower"] = head
    body["leader"] = -1
    body["cell"] = cell
    if head >= 0:
        bodies[head]["leader"] = number
    heads[cell] = number


@kernel
def gather(
    settings: Any, heads: IndexArray, bodies: RecordArray, lists: IndexArray, x: float, y: float, reach: float
) -> int:
    """List every body in a cell within ``reach`` [m] of (x, y) in the list FOUND; returns how many.

    Bodies a little farther off may be among them, nearer ones are never left out. Their order follows the
    history of the world, which is the same in every run.
    """
    west = max(int((x - reach - settings["west"]) / settings["cell"]), 0)
    east = min(int((x + reach - settings["west"]) / settings["cell"]), settings["columns"] - 1)
    south = max(int((y - reach - settings["south"]) / settings["cell"]), 0)
    north = min(int((y + reach - settings["south"]) / settings["cell"]), settings["rows"] - 1)
    count = 0
    for row in range(south, north + 1):
        for column in range(west, east + 1):
            number = heads[row * settings["columns"] + column]
            while number >= 0:
                lists[count, FOUND] = number
                count += 1
                number = bodies[number]["follower"]
    return count
