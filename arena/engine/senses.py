"""What a walker meets where it stands: light at its eyes and panel, and what touches it."""

import math
from typing import Any

from agents.circuit.eye import on_voltage, trigger_voltage
from agents.circuit.ignition import ignites
from agents.circuit.panel import LitPanel, lit_panel, photocurrent_in
from agents.compiled import kernel, kernel_part
from arena.engine.gaps import body_body_gap, body_wall_gap
from arena.engine.grid import gather
from arena.engine.light import Receiver, ambient_share, open_light
from arena.engine.shadow import Cylinder, Ray, Standing, body_hides, visible_fraction
from arena.engine.walls import FEW_WALLS, Walls, choose_along, low_way, square_at, square_to
from arena.engine.whiskers import whisker_body_bend, whisker_wall_bend
from arena.engine.world_arrays import (
    AT_WALKER,
    AT_WALL,
    FIRST_PANEL_POINT,
    FOUND,
    FREE,
    HIDING,
    PANEL_POINTS,
    RECEPTORS,
    UNMOVED,
    Crowd,
    Scene,
)
from replays.format.tables import LEFT

# A body this near to something touches it [m].
TOUCH_GAP = 5e-4
# Who comes within this of a body or a whisker may have begun, or ceased, to touch it [m].
TOUCH_ROOM = 2e-3


@kernel
def receptor(walker: Any, body: Any, place: int) -> Receiver:
    """One receptor of a walker.

    ``place`` 0 is the left eye, 1 the right eye, the others are points spread over the panel so that each
    stands for a like share of it.
    """
    cosine, sine = body["cosine"], body["sine"]
    if place < FIRST_PANEL_POINT:
        side = walker["side"][place]
        ahead, aside, height = side["eye_ahead"], side["eye_aside"], side["eye_height"]
        look_x = cosine * side["aim_x"] - sine * side["aim_y"]
        look_y = sine * side["aim_x"] + cosine * side["aim_y"]
        look_z, power = side["aim_z"], side["lobe"]
    else:
        spot = place - FIRST_PANEL_POINT
        ahead = walker["panel_ahead"] + walker["panel_length"] * (0.25 if spot % 2 == 0 else -0.25)
        aside = walker["panel_width"] * (0.25 if spot < 2 else -0.25)
        height = walker["panel_height"]
        look_x, look_y, look_z, power = 0.0, 0.0, 1.0, 1.0
    x = body["x"] + cosine * ahead - sine * aside
    y = body["y"] + sine * ahead + cosine * aside
    return Receiver(x, y, height, look_x, look_y, look_z, power)


@kernel
def take_light(scene: Scene, crowd: Crowd, number: int) -> None:
    """Take the light of a walker anew where it stands: past walls and shades, then past bodies."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    sources = scene.sources
    count = 0
    if len(crowd.bodies) > 1:
        reach = crowd.settings[0]["influence"]
        count = gather(crowd.settings[0], crowd.heads, crowd.bodies, crowd.lists, body["x"], body["y"], reach)
    unhindered = 0.0
    receptors = crowd.settings[0]["receptors"]
    lowest = min(
        min(walker["side"][0]["eye_height"], walker["side"][1]["eye_height"]), walker["panel_height"]
    )
    for lamp in range(len(sources)):
        source = sources[lamp]
        standing = standing_toward(scene, body["x"], body["y"], receptors, lowest, source)
        found = 0
        for index in range(count):
            which = crowd.lists[index, FOUND]
            if which != number and _may_hide(crowd.bodies[which], body, source, receptors, lowest):
                crowd.lists[found, HIDING] = which
                found += 1
        for place in range(RECEPTORS):
            receiver = receptor(walker, body, place)
            light = open_light(receiver, source)
            if place >= FIRST_PANEL_POINT:
                unhindered += light
            if light > 0.0:
                light *= visible_fraction(receiver.px, receiver.py, receiver.pz, source, standing)
            hidden = 0
            # where there is no light nobody asks who stands in its way
            for index in range(found if light > 0.0 else 0):
                if _hides(crowd.bodies[crowd.lists[index, HIDING]], receiver, source):
                    hidden += 1
            crowd.lit[number, place, lamp] = light
            crowd.hidden[number, place, lamp] = hidden
    ambient = 0.0
    for kind in range(len(scene.ambient)):
        ambient += scene.ambient[kind]
    body["open_light"] = unhindered / PANEL_POINTS + ambient
    body["moved"] = UNMOVED
    sum_light(scene, walker, body, crowd.lit[number], crowd.hidden[number])


@kernel
def _may_hide(other: Any, body: Any, source: Any, receptors: float, lowest: float) -> bool:
    """Whether another's body, where it was last told to be, may stand in the way of a source.

    Tells it of all ways that begin within ``receptors`` [m] of the middle of a walker's axle, at the height
    ``lowest`` [m] or above. Only where a ray runs lower than the body's top can that be.
    """
    x, y = body["x"], body["y"]
    climb = source["z"] - lowest
    low = other["disc_height"] - lowest
    share = min(max(low / climb, 0.0), 1.0) if climb > low else 1.0
    dx, dy = share * (source["x"] - x), share * (source["y"] - y)
    room = other["disc_radius"] + receptors
    return bool(square_to(x, y, x + dx, y + dy, other["shade_x"], other["shade_y"]) <= room * room)


@kernel_part
def standing_toward(scene: Scene, x: float, y: float, around: float, lowest: float, source: Any) -> Standing:
    """What may stop light of ``source`` on its way to within ``around`` [m] of (x, y), and perhaps some more.

    The receivers are no lower than ``lowest`` [m].
    """
    walls = scene.walls
    table = walls.table
    squares = walls.squares[0]
    share, spread = low_way(squares, lowest, source)
    dx, dy = share * (source["x"] - x), share * (source["y"] - y)
    room = around + spread
    if dx * dx + dy * dy < max(squares["reach"] - room, 0.0) ** 2:
        square = square_at(squares, x, y)
        first, last = walls.firsts[square], walls.firsts[square + 1]
        table = walls.near_tables[5 * first : 5 * last].reshape((5, last - first))
    elif table.shape[1] > FEW_WALLS and room < squares["reach"]:
        count = choose_along(walls, x, y, dx, dy, room)
        if count >= 0:
            table = walls.chosen_table[: 5 * count].reshape((5, count))
    return Standing(table, scene.shades, scene.shade_points, scene.disc_samples)


@kernel_part
def _way_to(receiver: Receiver, source: Any) -> Ray:
    """The ray from a receptor to the middle of a source."""
    px, py, pz = receiver.px, receiver.py, receiver.pz
    return Ray(px, py, pz, source["x"] - px, source["y"] - py, source["z"] - pz)


@kernel
def _hides(other: Any, receiver: Receiver, source: Any) -> bool:
    """Whether another's body, where it was last told to be, hides ``source`` from a receptor."""
    shade = Cylinder(other["shade_x"], other["shade_y"], other["disc_radius"], other["disc_height"])
    return body_hides(_way_to(receiver, source), shade)


@kernel
def sum_light(scene: Scene, walker: Any, body: Any, lit: Any, hidden: Any) -> None:
    """Add up what lamps and surroundings give to a walker's eyes and panel."""
    ambient = 0.0
    current_light = 0.0
    warmth = 0.0
    for kind in range(len(scene.ambient)):
        ambient += scene.ambient[kind]
        current_light += walker["response"][kind] * scene.ambient[kind]
        warmth += walker["warming"][kind] * scene.ambient[kind]
    body["left_light"] = ambient * ambient_share(walker["side"][0]["lobe"])
    body["right_light"] = ambient * ambient_share(walker["side"][1]["lobe"])
    panel = 0.0
    clear = 0.0
    for lamp in range(len(scene.sources)):
        kind = scene.sources[lamp]["kind"]
        weight = walker["response"][kind] / PANEL_POINTS
        warming = walker["warming"][kind] / PANEL_POINTS
        if hidden[0, lamp] == 0:
            body["left_light"] += lit[0, lamp]
        if hidden[1, lamp] == 0:
            body["right_light"] += lit[1, lamp]
        for place in range(FIRST_PANEL_POINT, RECEPTORS):
            clear += lit[place, lamp]
            if hidden[place, lamp] == 0:
                panel += lit[place, lamp]
                current_light += weight * lit[place, lamp]
                warmth += warming * lit[place, lamp]
    body["panel_light"] = ambient + panel / PANEL_POINTS
    body["clear_light"] = ambient + clear / PANEL_POINTS
    current, saturation, thermal = lit_panel(walker, photocurrent_in(walker, current_light), warmth)
    body["photocurrent"] = current
    body["panel_saturation"] = saturation
    body["panel_thermal"] = thermal


@kernel
def panel_of(body: Any) -> LitPanel:
    """A walker's panel in the light that it has."""
    return LitPanel(body["photocurrent"], body["panel_saturation"], body["panel_thermal"])


@kernel
def shift_shadow(scene: Scene, crowd: Crowd, number: int, mover: int) -> bool:
    """Move the shadow of ``mover`` to where it now stands; returns whether ``number``'s light changes."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    other = crowd.bodies[mover]
    # eyes and panel lie within this of the axle, and so does the edge of the shadow from its middle
    width = other["disc_radius"] + crowd.settings[0]["receptors"]
    there = Cylinder(other["shade_x"], other["shade_y"], other["disc_radius"], other["disc_height"])
    here = Cylinder(other["disc_x"], other["disc_y"], other["disc_radius"], other["disc_height"])
    changed = False
    for lamp in range(len(scene.sources)):
        source = scene.sources[lamp]
        dx, dy = source["x"] - body["x"], source["y"] - body["y"]
        span = dx * dx + dy * dy
        now = dx * (other["disc_y"] - body["y"]) - dy * (other["disc_x"] - body["x"])
        before = dx * (other["shade_y"] - body["y"]) - dy * (other["shade_x"] - body["x"])
        room = width * width * span
        near = (
            span < 4.0 * width * width
            or (now > 0.0) != (before > 0.0)
            or now * now < room
            or before * before < room
        )
        if not near:
            continue
        for place in range(RECEPTORS):
            if crowd.lit[number, place, lamp] <= 0.0:
                continue
            ray = _way_to(receptor(walker, body, place), source)
            hid = body_hides(ray, there)
            hides = body_hides(ray, here)
            if hid != hides:
                crowd.hidden[number, place, lamp] += 1 if hides else -1
                changed = True
    return changed


@kernel
def list_walls(walls: Walls, crowd: Crowd, number: int) -> None:
    """List the walls that a walker, or its whiskers, can meet before it has gone a long way.

    Squares list theirs that far beyond a walker's farthest part at least: see arena.engine.assembly.
    """
    walker = crowd.walkers[crowd.bodies[number]["built"]]
    body = crowd.bodies[number]
    longest = body["span"]
    square = square_at(walls.squares[0], body["x"], body["y"])
    first, last = walls.firsts[square], walls.firsts[square + 1]
    nearest = math.inf
    for index in range(first, last):
        wall = walls.records[walls.near[index]]
        nearest = min(
            nearest, square_to(wall["ax"], wall["ay"], wall["bx"], wall["by"], body["x"], body["y"])
        )
    nearest = math.sqrt(nearest)
    body["near_first"] = first
    body["near_count"] = last - first
    body["near_x"] = body["x"]
    body["near_y"] = body["y"]
    body["whisker_room"] = max(nearest - longest - TOUCH_ROOM, 0.0)
    body["body_room"] = max(nearest - abs(walker["body_ahead"]) - walker["body_reach"] - TOUCH_ROOM, 0.0)


@kernel
def walls_within(body: Any, room: float) -> int:
    """How many of its listed walls a walker has to look at: none while it has not gone as far as ``room``."""
    gone_x, gone_y = body["x"] - body["near_x"], body["y"] - body["near_y"]
    return 0 if gone_x * gone_x + gone_y * gone_y < room * room else body["near_count"]


@kernel
def take_touch(walls: Walls, crowd: Crowd, number: int) -> tuple[int, int, int]:
    """What touches a walker: (left whisker, right whisker, body), each FREE, AT_WALL or AT_WALKER."""
    body = crowd.bodies[number]
    count = 0
    if len(crowd.bodies) > 1:
        reach = body["span"] + 2.0 * crowd.settings[0]["reach"]
        count = gather(crowd.settings[0], crowd.heads, crowd.bodies, crowd.lists, body["x"], body["y"], reach)
    near = walls_within(body, body["whisker_room"])
    if near == 0 and count <= 1:
        return FREE, FREE, FREE
    left, right = FREE, FREE
    for which in range(2):
        pressed = whisker_touch(walls, crowd, number, which, near, count)
        if which == LEFT:
            left = pressed
        else:
            right = pressed
    return left, right, body_touch(walls, crowd, number, near, count)


@kernel_part
def whisker_touch(walls: Walls, crowd: Crowd, number: int, which: int, near: int, count: int) -> int:
    """What presses the whisker of side ``which``, of ``near`` walls and ``count`` bodies found."""
    body = crowd.bodies[number]
    side = crowd.walkers[crowd.bodies[number]["built"]]["side"][which]
    if side["whisker"] == 0:
        return FREE
    cosine, sine = body["cosine"], body["sine"]
    rx = body["x"] + cosine * side["root_ahead"] - sine * side["root_aside"]
    ry = body["y"] + sine * side["root_ahead"] + cosine * side["root_aside"]
    tx = body["x"] + cosine * side["tip_ahead"] - sine * side["tip_aside"]
    ty = body["y"] + sine * side["tip_ahead"] + cosine * side["tip_aside"]
    limit, height = side["bend_to_close"], side["whisker_height"]
    if near > 0:
        numbers = walls.near[body["near_first"] : body["near_first"] + near]
        bend = whisker_wall_bend(rx, ry, tx, ty, height, walls.records, numbers, near)
        if bend > 0.0 and bend >= limit:
            return AT_WALL
    for place in range(count):
        other = crowd.lists[place, FOUND]
        if other == number:
            continue
        built = crowd.walkers[crowd.bodies[other]["built"]]
        disc_x, disc_y = crowd.bodies[other]["disc_x"], crowd.bodies[other]["disc_y"]
        if square_to(rx, ry, tx, ty, disc_x, disc_y) > built["body_reach"] * built["body_reach"]:
            continue
        points, corners = crowd.bodies[other]["points"], built["core_count"]
        bend = whisker_body_bend(
            rx, ry, tx, ty, height, points, corners, built["body_radius"], built["body_height"]
        )
        if bend > 0.0 and bend >= limit:
            return AT_WALKER
    return FREE


@kernel
def out_of_reach(wall: Any, walker: Any, body: Any) -> bool:
    """Whether a wall is too far from a body's middle to be touched."""
    apart = walker["body_reach"] + TOUCH_ROOM
    square = square_to(wall["ax"], wall["ay"], wall["bx"], wall["by"], body["disc_x"], body["disc_y"])
    return bool(square > apart * apart)


@kernel_part
def body_touch(walls: Walls, crowd: Crowd, number: int, near: int, count: int) -> int:
    """What the body touches, of ``near`` walls and ``count`` bodies found."""
    walker = crowd.walkers[crowd.bodies[number]["built"]]
    body = crowd.bodies[number]
    points = body["points"]
    corners, radius = walker["core_count"], walker["body_radius"]
    for place in range(near):
        wall = walls.records[walls.near[body["near_first"] + place]]
        if out_of_reach(wall, walker, body):
            continue
        gap, _, _ = body_wall_gap(points, corners, radius, wall["ax"], wall["ay"], wall["bx"], wall["by"])
        if gap < TOUCH_GAP:
            return AT_WALL
    for place in range(count):
        other = crowd.lists[place, FOUND]
        if other == number:
            continue
        built = crowd.walkers[crowd.bodies[other]["built"]]
        others, more = crowd.bodies[other]["points"], built["core_count"]
        gap, _, _ = body_body_gap(points, corners, radius, others, more, built["body_radius"])
        if gap < TOUCH_GAP:
            return AT_WALKER
    return FREE


@kernel
def may_touch(walker: Any, body: Any, x: float, y: float, reach: float) -> bool:
    """Whether something within ``reach`` [m] of (x, y) may touch a walker's body or whiskers."""
    dx, dy = x - body["disc_x"], y - body["disc_y"]
    apart = walker["body_reach"] + reach
    if dx * dx + dy * dy < apart * apart:
        return True
    ahead = body["cosine"] * (x - body["x"]) + body["sine"] * (y - body["y"])
    aside = body["cosine"] * (y - body["y"]) - body["sine"] * (x - body["x"])
    for number in range(2):
        side = walker["side"][number]
        if side["whisker"] == 0:
            continue
        way_x, way_y = side["tip_ahead"] - side["root_ahead"], side["tip_aside"] - side["root_aside"]
        to_x, to_y = ahead - side["root_ahead"], aside - side["root_aside"]
        along = (to_x * way_x + to_y * way_y) / (way_x * way_x + way_y * way_y)
        along = min(max(along, 0.0), 1.0)
        to_x -= along * way_x
        to_y -= along * way_y
        if to_x * to_x + to_y * to_y < reach * reach:
            return True
    return False


@kernel
def own_touch(body: Any) -> int:
    """What presses the whisker of the side that fires or fired last: FREE, AT_WALL or AT_WALKER."""
    return int(body["left_touch"] if body["side"] == LEFT else body["right_touch"])


@kernel
def set_triggers(walker: Any, body: Any) -> None:
    """Work out at which rail each side fires, from its light, its whisker and this pulse's jitter."""
    left, right = walker["side"][0], walker["side"][1]
    body["left_trigger"] = math.inf
    body["right_trigger"] = math.inf
    # a flash that does not turn the latch on is no trigger
    touched = body["left_touch"] != FREE
    if ignites(on_voltage(body["left_light"], left), touched, left):
        body["left_trigger"] = trigger_voltage(body["left_light"], touched, left) + body["left_noise"]
    touched = body["right_touch"] != FREE
    if ignites(on_voltage(body["right_light"], right), touched, right):
        body["right_trigger"] = trigger_voltage(body["right_light"], touched, right) + body["right_noise"]
