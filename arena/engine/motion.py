"""Bodies on the floor: turning about the standing tyre, sliding along walls, pushing one another.

A stride is tried, then every overlap that it made is undone by moving bodies apart: the driver along a wall's
normal, and of two bodies the one that resists less. A walker whose motors are off rolls along its heading
against their friction, and skids across it; one that drives slides back as its tyre slips. So a driver shoves
another out of its way that stands free and lengthwise, and gives way itself to one that stands across, to two
in a row, and to one with something behind it. Where that is easier, or nothing else goes, it turns where it
stands. Bodies never stay in each other nor in a wall.

What that takes of the tyre's pull, and of friction on the floor and on what it leans on, holds the driver
back within the steps of its pulse (``leans`` and ``rubs`` of its state), so that how far it gets hardly hangs
on the length of strides. What a stride has not paid so comes out of the driver's speed, and a stride that its
speed cannot pay is taken back. One that is held so altogether tries anew before long, as what it leans on may
have gone.
"""

import math
from typing import Any

from agents.circuit.tyre import be_free
from agents.compiled import kernel, kernel_part
from arena.engine.clearance import ROOM, end_room
from arena.engine.dragging import (
    FloorDrag,
    drag_of_driver,
    drag_of_idle,
    dragged,
    rim_passes,
    sliding_back,
    work_of,
)
from arena.engine.gaps import body_body_gap, body_wall_gap
from arena.engine.grid import gather, place_in_grid
from arena.engine.holding import stir
from arena.engine.senses import list_walls, out_of_reach, walls_within
from arena.engine.walls import Walls
from arena.engine.world_arrays import FOUND, GATHERED, PULSING, PUSHED, STANDING, WAITING, Crowd

# Overlap [m] below which bodies count as apart.
CLEAR = 2e-5
# What is left between bodies that were moved apart [m].
SLACK = 1e-6
# Sweeps over all that a driver overlaps before it turns where it stands.
SWEEPS = 6
# Whether one that is in a driver's way has been asked to give way, and what came of it.
UNASKED = 0
GIVES_WAY = 1
STANDS = 2
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
def turn_about(walker: Any, body: Any, way: float) -> float:
    """Roll the driven tyre of a walker by ``way`` [m], forward positive; the other tyre stands.

    Returns by how much that turns it [rad].
    """
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
    return float(turn)


@kernel
def roll_freely(crowd: Crowd, number: int, way: float) -> None:
    """Roll a walker by ``way`` [m] where it is known that it meets nothing."""
    body = crowd.bodies[number]
    turn_about(crowd.walkers[body["built"]], body, way)
    be_free(body["state"])
    if len(crowd.bodies) > 1:
        place_in_grid(crowd.settings[0], crowd.heads, crowd.bodies, number)
    # its axle's middle is half as far from the standing tyre as the driven one
    body["path"] += 0.5 * abs(way)


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
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    state = body["state"]
    middle_x, middle_y = body["disc_x"], body["disc_y"]
    _keep_pose(body)
    turn = turn_about(walker, body, way)
    free_x, free_y = body["disc_x"], body["disc_y"]
    if _listed_too_far(body):
        list_walls(walls, crowd, number)
    drag = drag_of_driver(walker, body)
    pace = state["speed"] / abs(way)
    count, pushing, clear = _part(walls, crowd, number, drag)
    dx, dy = body["disc_x"] - free_x, body["disc_y"] - free_y
    passes = rim_passes(walker, dx, dy, body["disc_x"] - middle_x, body["disc_y"] - middle_y, turn)
    slid = sliding_back(walker, body, drag, dx, dy, passes, pace)
    if not clear or count > 1 or slid.along > 0.0 or slid.rubs > 0.0:
        # it may be easier to turn on the spot
        dx, dy = middle_x - free_x, middle_y - free_y
        passes = rim_passes(walker, dx, dy, 0.0, 0.0, turn)
        spot = sliding_back(walker, body, drag, dx, dy, passes, pace)
        if not clear or work_of(slid, drag) + pushing > work_of(spot, drag):
            _take_back(crowd, count)
            _slide(walker, body, middle_x - body["disc_x"], middle_y - body["disc_y"])
            place_in_grid(crowd.settings[0], crowd.heads, crowd.bodies, number)
            if _is_clear(walls, crowd, number):
                slid, count, pushing, clear = spot, 1, 0.0, True
            elif clear:
                _put_back(crowd, number)
                turn_about(walker, body, way)
                count, pushing, clear = _part(walls, crowd, number, drag)
            else:
                count = 1
    had = 0.5 * walker["pivot_mass"] * state["speed"] * state["speed"]
    # what the stride has paid of it already
    paid = (state["leans"] * drag.pull + state["rubs"]) * abs(way)
    due = max(work_of(slid, drag) + pushing - paid, 0.0)
    if body["phase"] == PULSING and abs(way) > 4.0 * SLACK:
        # a way that is shorter tells more of the slack than of what it leans on
        most = walker["side"][body["side"]]["tyre_grip"]
        state["leans"] = min(slid.along / abs(way), 1.0) if clear else 1.0
        state["rubs"] = min((slid.rubs + pushing) / abs(way), most)
    if clear and due <= had:
        state["speed"] = math.sqrt(2.0 * (had - due) / walker["pivot_mass"])
    else:
        _take_back(crowd, count)
        _put_back(crowd, number)
        state["speed"] = 0.0
        clear = False
    dx, dy = body["x"] - body["kept_x"], body["y"] - body["kept_y"]
    body["path"] += math.sqrt(dx * dx + dy * dy)
    if clear and count > 1:
        body["pushes"] = True
        for place in range(1, count):
            pushed = crowd.bodies[crowd.lists[place, GATHERED]]
            pushed["moved"] = PUSHED
            gone = math.hypot(pushed["x"] - pushed["kept_x"], pushed["y"] - pushed["kept_y"])
            stir(pushed, gone, crowd.settings[0]["tolerances"]["stride"])
        end_rooms_about_pushed(crowd, count)
    return count if clear else 0


@kernel_part
def end_rooms_about_pushed(crowd: Crowd, count: int) -> None:
    """End the room of those that move near the ``count`` - 1 pushed ones in the list GATHERED."""
    settings = crowd.settings[0]
    for place in range(1, count):
        pushed = crowd.bodies[crowd.lists[place, GATHERED]]
        reach = settings["touch"] + ROOM
        found = gather(
            settings, crowd.heads, crowd.bodies, crowd.lists, pushed["disc_x"], pushed["disc_y"], reach
        )
        for index in range(found):
            other = crowd.bodies[crowd.lists[index, FOUND]]
            if other["phase"] > WAITING:
                end_room(other, settings["tolerances"]["look_way"])


@kernel
def _keep_pose(body: Any) -> None:
    body["kept_x"] = body["x"]
    body["kept_y"] = body["y"]
    body["kept_heading"] = body["heading"]


@kernel
def _put_back(crowd: Crowd, number: int) -> None:
    """Put a body back where its pose was kept."""
    body = crowd.bodies[number]
    body["x"] = body["kept_x"]
    body["y"] = body["kept_y"]
    body["heading"] = body["kept_heading"]
    settle_place(crowd, number)


@kernel_part
def _take_back(crowd: Crowd, count: int) -> None:
    """Put those that were pushed, ``count`` with their driver in the list GATHERED, back where they were."""
    for place in range(1, count):
        _put_back(crowd, crowd.lists[place, GATHERED])


@kernel
def _leave_walls(walls: Walls, walker: Any, body: Any) -> float:
    """Move a body out of the walls ``near`` it; returns the deepest overlap that there was [m]."""
    deepest, first = 0.0, body["near_first"]
    for _ in range(SWEEPS):
        worst = 0.0
        for index in range(first, first + walls_within(body, body["body_room"])):
            gap, normal_x, normal_y = wall_gap(walls.records[walls.near[index]], walker, body)
            if gap < 0.0:
                worst = max(worst, -gap)
                _slide(walker, body, normal_x * (SLACK - gap), normal_y * (SLACK - gap))
        deepest = max(deepest, worst)
        if worst < CLEAR:
            break
    return deepest


@kernel
def wall_gap(wall: Any, walker: Any, body: Any) -> tuple[float, float, float]:
    """Gap [m] and direction between a body and a wall, 0 where that is out of reach."""
    if out_of_reach(wall, walker, body):
        return 0.0, 1.0, 0.0
    ax, ay, bx, by = wall["ax"], wall["ay"], wall["bx"], wall["by"]
    return body_wall_gap(body["points"], walker["core_count"], walker["body_radius"], ax, ay, bx, by)


@kernel
def gap_between(walker: Any, body: Any, other: Any, others_body: Any) -> tuple[float, float, float]:
    """Gap [m] and direction between two bodies, 0 where they are out of each other's reach."""
    apart = walker["body_reach"] + other["body_reach"]
    dx = body["disc_x"] - others_body["disc_x"]
    dy = body["disc_y"] - others_body["disc_y"]
    if dx * dx + dy * dy >= apart * apart:
        return 0.0, 1.0, 0.0
    return body_body_gap(
        body["points"],
        walker["core_count"],
        walker["body_radius"],
        others_body["points"],
        other["core_count"],
        other["body_radius"],
    )


@kernel_part
def gather_about(crowd: Crowd, number: int) -> int:
    """List who may overlap a walker's body in the list FOUND; returns how many."""
    body, settings = crowd.bodies[number], crowd.settings[0]
    reach = crowd.walkers[body["built"]]["body_reach"] + settings["reach"]
    return int(
        gather(settings, crowd.heads, crowd.bodies, crowd.lists, body["disc_x"], body["disc_y"], reach)
    )


@kernel
def _is_clear(walls: Walls, crowd: Crowd, number: int) -> bool:
    """Whether a body overlaps neither walls nor others."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    if _listed_too_far(body):
        list_walls(walls, crowd, number)
    first = body["near_first"]
    for index in range(first, first + walls_within(body, body["body_room"])):
        if wall_gap(walls.records[walls.near[index]], walker, body)[0] <= -CLEAR:
            return False
    for place in range(gather_about(crowd, number) if len(crowd.bodies) > 1 else 0):
        which = crowd.lists[place, FOUND]
        others_body = crowd.bodies[which]
        other = crowd.walkers[others_body["built"]]
        if which != number and gap_between(walker, body, other, others_body)[0] <= -CLEAR:
            return False
    return True


@kernel_part
def _push(walls: Walls, crowd: Crowd, driver: int, own: FloorDrag, which: int, dx: float, dy: float) -> float:
    """Push another by (dx, dy) [m] out of the driver's way; returns the work of dragging it [J], or -1.

    It gives way only if that is easier than for the driver to slide back, and if it meets nothing else: one
    driven tyre has no force to push two, or one along a wall.
    """
    bodies = crowd.bodies
    other, others_body = crowd.walkers[bodies[which]["built"]], bodies[which]
    drives = others_body["phase"] > WAITING
    drag = drag_of_driver(other, others_body) if drives else drag_of_idle(other)
    work = dragged(others_body, drag, dx, dy)
    if work >= dragged(bodies[driver], own, dx, dy):
        return -1.0
    _slide(other, others_body, dx, dy)
    place_in_grid(crowd.settings[0], crowd.heads, bodies, which)
    if _is_clear(walls, crowd, which):
        return work
    _slide(other, others_body, -dx, -dy)
    place_in_grid(crowd.settings[0], crowd.heads, bodies, which)
    return -1.0


@kernel
def _part(walls: Walls, crowd: Crowd, driver: int, drag: FloorDrag) -> tuple[int, float, bool]:
    """Part the driver, which ``drag`` holds, from all that it overlaps: whoever resists less gives way.

    Lists those that moved in the list GATHERED. Returns (how many they are, work of pushing others [J],
    whether the driver is clear).
    """
    bodies, lists = crowd.bodies, crowd.lists
    walker, body = crowd.walkers[bodies[driver]["built"]], bodies[driver]
    lists[0, GATHERED] = driver
    count, stand, pushing, clear = 1, 0, 0.0, False
    for _ in range(SWEEPS):
        worst = 0.0
        place = 0
        found = gather_about(crowd, driver) if len(bodies) > 1 else 0
        while place < found:
            which = lists[place, FOUND]
            place += 1
            if which == driver:
                continue
            others_body = bodies[which]
            gap, normal_x, normal_y = gap_between(
                walker, body, crowd.walkers[others_body["built"]], others_body
            )
            if gap >= 0.0:
                continue
            worst = max(worst, -gap)
            dx, dy = normal_x * (SLACK - gap), normal_y * (SLACK - gap)
            if others_body["active"] == STANDS:
                _slide(walker, body, dx, dy)
                continue
            if others_body["active"] == UNASKED:
                _keep_pose(others_body)
            work = _push(walls, crowd, driver, drag, which, -dx, -dy)
            if work >= 0.0:
                pushing += work
                if others_body["active"] == UNASKED:
                    lists[count, GATHERED] = which
                    count += 1
                others_body["active"] = GIVES_WAY
            else:
                if others_body["active"] == UNASKED:
                    lists[stand, STANDING] = which
                    stand += 1
                others_body["active"] = STANDS
                body["stopped"] = True
            # whether it found room was looked for about itself
            found = gather_about(crowd, driver)
            place = 0
        if _listed_too_far(body):
            list_walls(walls, crowd, driver)
        worst = max(worst, _leave_walls(walls, walker, body))
        place_in_grid(crowd.settings[0], crowd.heads, bodies, driver)
        if worst < CLEAR:
            clear = True
            break
    for place in range(1, count):
        bodies[lists[place, GATHERED]]["active"] = UNASKED
    for place in range(stand):
        bodies[lists[place, STANDING]]["active"] = UNASKED
    return count, pushing, clear
