"""Bodies on the floor: turning about the standing tyre, sliding along walls, pushing one another.

A stride is tried, then every overlap that it made is undone by moving bodies apart: along a wall's normal, or
half each between two bodies. Dragging a body over the floor takes the force that its tyres' grip gives, so
the way that bodies were dragged comes out of the speed of the one that drives. Where the overlaps cannot be
undone the stride is taken back and the driver stands: bodies never stay in each other nor in a wall.
"""

import math
from typing import Any

from agents.compiled import kernel, kernel_part
from arena.engine.gaps import body_body_gap, body_wall_gap
from arena.engine.grid import gather, place_in_grid
from arena.engine.senses import list_walls, walls_within
from arena.engine.walls import Walls
from arena.engine.world_arrays import FOUND, GATHERED, PUSHED, Crowd

# Overlap [m] below which bodies count as apart.
CLEAR = 2e-5
# What is left between bodies that were moved apart [m].
SLACK = 1e-6
# Sweeps over all bodies of a contact before it is given up.
SWEEPS = 60
# How far a walker may go before its walls are listed anew [m].
WALL_MARGIN = 0.06


@kernel
def settle_place(crowd: Crowd, number: int) -> None:
    """Bring a body's outline and its place in the grid in line with its pose."""
    body = crowd.bodies[number]
    body["cosine"] = math.cos(body["heading"])
    body["sine"] = math.sin(body["heading"])
    _place_outline(crowd.walkers[crowd.bodies[number]["built"]], body)
    place_in_grid(crowd.settings[0], crowd.heads, crowd.bodies, number)


@kernel
def publish_shadow(body: Any) -> None:
    """Take note that everyone now knows where a body's shadow is."""
    body["shade_x"] = body["disc_x"]
    body["shade_y"] = body["disc_y"]


@kernel
def _place_outline(walker: Any, body: Any) -> None:
    """Work out where the corners and the middle of a body are."""
    x, y, cosine, sine = body["x"], body["y"], body["cosine"], body["sine"]
    body["disc_x"] = x + cosine * walker["body_ahead"]
    body["disc_y"] = y + sine * walker["body_ahead"]
    core = walker["core"]
    points = body["points"]
    for corner in range(walker["core_count"]):
        points[corner, 0] = x + cosine * core[corner, 0] - sine * core[corner, 1]
        points[corner, 1] = y + sine * core[corner, 0] + cosine * core[corner, 1]


@kernel
def _slide(walker: Any, body: Any, dx: float, dy: float) -> None:
    """Move a body without turning it."""
    body["x"] += dx
    body["y"] += dy
    body["disc_x"] += dx
    body["disc_y"] += dy
    points = body["points"]
    for corner in range(walker["core_count"]):
        points[corner, 0] += dx
        points[corner, 1] += dy


@kernel
def turn_about(walker: Any, body: Any, way: float) -> None:
    """Roll the driven tyre of a walker by ``way`` [m], forward positive; the other tyre stands."""
    outward = 0.5 * walker["track"] if body["side"] == 0 else -0.5 * walker["track"]
    # the standing tyre lies on the other side of the axle's middle
    pivot_x = body["x"] + body["sine"] * outward
    pivot_y = body["y"] - body["cosine"] * outward
    turn = -way / walker["track"] if body["side"] == 0 else way / walker["track"]
    heading = body["heading"] + turn
    if heading > math.pi:
        heading -= 2.0 * math.pi
    elif heading < -math.pi:
        heading += 2.0 * math.pi
    body["heading"] = heading
    body["cosine"] = math.cos(heading)
    body["sine"] = math.sin(heading)
    body["x"] = pivot_x - body["sine"] * outward
    body["y"] = pivot_y + body["cosine"] * outward
    _place_outline(walker, body)


@kernel
def _listed_too_far(body: Any) -> bool:
    """Whether a walker has gone so far that its list of walls is stale."""
    gone = (body["x"] - body["near_x"]) ** 2 + (body["y"] - body["near_y"]) ** 2
    return bool(gone > (0.8 * WALL_MARGIN) ** 2)


@kernel
def drive(walls: Walls, crowd: Crowd, number: int, way: float) -> int:
    """Roll a walker by ``way`` [m] as far as walls and others let it; returns how many bodies have moved.

    Takes what dragging cost out of the walker's speed. Pushed walkers are marked ``moved``, and listed in
    the list GATHERED after the walker itself. Where nobody can move, it returns 0.
    """
    walker = crowd.walkers[crowd.bodies[number]["built"]]
    body = crowd.bodies[number]
    _keep_pose(body)
    turn_about(walker, body, way)
    if _listed_too_far(body):
        list_walls(walls, crowd, number)
    if len(crowd.bodies) == 1:
        dragging, clear = _leave_walls(walls, walker, body)
        count = 1
    else:
        count, dragging, clear = _part(walls, crowd, number)
    if not clear:
        _take_back(crowd, number, count)
        body["state"]["speed"] = 0.0
    elif dragging > 0.0:
        speed = body["state"]["speed"]
        lost = 2.0 * dragging / walker["pivot_mass"]
        body["state"]["speed"] = math.sqrt(max(speed * speed - lost, 0.0))
    body["path"] += math.hypot(body["x"] - body["kept_x"], body["y"] - body["kept_y"])
    return count if clear else 0


@kernel
def _keep_pose(body: Any) -> None:
    body["kept_x"] = body["x"]
    body["kept_y"] = body["y"]
    body["kept_heading"] = body["heading"]


@kernel
def _take_back(crowd: Crowd, number: int, count: int) -> None:
    """Put the driver and the ``count`` - 1 bodies that it pushed back where they were."""
    for place in range(count):
        which = number if count == 1 else crowd.lists[place, GATHERED]
        body = crowd.bodies[which]
        body["x"] = body["kept_x"]
        body["y"] = body["kept_y"]
        body["heading"] = body["kept_heading"]
        settle_place(crowd, which)


@kernel
def _leave_walls(walls: Walls, walker: Any, body: Any) -> tuple[float, bool]:
    """Move a body out of the walls ``near`` it; returns (work of dragging it [J], whether it is clear)."""
    dragging = 0.0
    first = body["near_first"]
    for _ in range(SWEEPS):
        worst = 0.0
        for index in range(first, first + walls_within(body, body["body_room"])):
            wall = walls.records[walls.near[index]]
            gap, normal_x, normal_y = body_wall_gap(
                body["points"],
                walker["core_count"],
                walker["body_radius"],
                wall["ax"],
                wall["ay"],
                wall["bx"],
                wall["by"],
            )
            if gap < 0.0:
                worst = max(worst, -gap)
                _slide(walker, body, normal_x * (SLACK - gap), normal_y * (SLACK - gap))
                dragging += (SLACK - gap) * walker["skid"]
        if worst < CLEAR:
            return dragging, True
    return dragging, False


@kernel_part
def _part_two(crowd: Crowd, number: int, which: int) -> float:
    """Move two bodies apart, half the way each, if they overlap; returns their gap [m], at most 0 here.

    The pose of one that had no part in the contact so far is kept.
    """
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    other, others_body = crowd.walkers[crowd.bodies[which]["built"]], crowd.bodies[which]
    apart = walker["body_reach"] + other["body_reach"]
    dx = body["disc_x"] - others_body["disc_x"]
    dy = body["disc_y"] - others_body["disc_y"]
    if dx * dx + dy * dy >= apart * apart:
        return 0.0
    gap, normal_x, normal_y = body_body_gap(
        body["points"],
        walker["core_count"],
        walker["body_radius"],
        others_body["points"],
        other["core_count"],
        other["body_radius"],
    )
    if gap >= 0.0:
        return 0.0
    if others_body["active"] == 0:
        _keep_pose(others_body)
    share = 0.5 * (SLACK - gap)
    _slide(walker, body, normal_x * share, normal_y * share)
    _slide(other, others_body, -normal_x * share, -normal_y * share)
    place_in_grid(crowd.settings[0], crowd.heads, crowd.bodies, which)
    return gap


@kernel
def _part(walls: Walls, crowd: Crowd, driver: int) -> tuple[int, float, bool]:
    """Part all bodies that the driver overlaps, and those that they overlap in turn.

    Lists them in the list GATHERED. Returns (how many took part, work of dragging them [J], whether all
    are clear).
    """
    bodies, settings = crowd.bodies, crowd.settings[0]
    lists = crowd.lists
    lists[0, GATHERED] = driver
    bodies[driver]["active"] = 1
    count = 1
    dragging = 0.0
    clear = False
    for _ in range(SWEEPS):
        worst = 0.0
        place = 0
        while place < count:
            number = lists[place, GATHERED]
            place += 1
            walker, body = crowd.walkers[crowd.bodies[number]["built"]], bodies[number]
            # others first: what a wall says comes last and holds
            reach = walker["body_reach"] + settings["reach"]
            found = gather(settings, crowd.heads, bodies, lists, body["disc_x"], body["disc_y"], reach)
            for index in range(found):
                which = lists[index, FOUND]
                gap = 0.0 if which == number else _part_two(crowd, number, which)
                if gap >= 0.0:
                    continue
                worst = max(worst, -gap)
                if bodies[which]["active"] == 0:
                    bodies[which]["active"] = 1
                    lists[count, GATHERED] = which
                    count += 1
                dragging += (
                    0.5
                    * (SLACK - gap)
                    * (walker["skid"] + crowd.walkers[crowd.bodies[which]["built"]]["skid"])
                )
            if _listed_too_far(body):
                list_walls(walls, crowd, number)
            work, _ = _leave_walls(walls, walker, body)
            if work > 0.0:
                dragging += work
                worst = max(worst, work / walker["skid"])
            place_in_grid(settings, crowd.heads, bodies, number)
        if worst < CLEAR:
            clear = True
            break
    for place in range(count):
        which = lists[place, GATHERED]
        bodies[which]["active"] = 0
        if which != driver:
            bodies[which]["moved"] = PUSHED
    return count, dragging, clear


@kernel
def spacing(walls: Walls, crowd: Crowd, number: int) -> float:
    """Smallest gap [m] between a body and any wall or other body; negative where they overlap."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    corners, radius = walker["core_count"], walker["body_radius"]
    smallest = math.inf
    for index in range(len(walls.records)):
        wall = walls.records[index]
        gap, _, _ = body_wall_gap(
            body["points"], corners, radius, wall["ax"], wall["ay"], wall["bx"], wall["by"]
        )
        smallest = min(smallest, gap)
    for index in range(len(crowd.bodies)):
        if index != number:
            gap, _, _ = body_body_gap(
                body["points"],
                corners,
                radius,
                crowd.bodies[index]["points"],
                crowd.walkers[crowd.bodies[index]["built"]]["core_count"],
                crowd.walkers[crowd.bodies[index]["built"]]["body_radius"],
            )
            smallest = min(smallest, gap)
    return smallest
