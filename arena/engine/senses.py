"""What a walker meets where it stands: light at its eyes and panel, and what touches it."""

import math
from typing import Any

from agents.circuit.eye import on_voltage, trigger_voltage
from agents.circuit.latch import ignites
from agents.compiled import kernel
from arena.engine.contact import body_body_gap, body_wall_gap
from arena.engine.grid import gather
from arena.engine.light import ambient_share, direct_illuminance, open_light
from arena.engine.memory import PANEL_POINTS, RECEPTORS, Crowd, Records, Scene
from arena.engine.shadow import body_hides
from arena.engine.whiskers import whisker_body_bend, whisker_wall_bend

# A body this near to something touches it [m].
TOUCH_GAP = 5e-4
# Who comes within this of a body or a whisker may have begun, or ceased, to touch it [m].
TOUCH_ROOM = 2e-3


@kernel
def receptor(walker: Any, body: Any, place: int) -> tuple[float, float, float, float, float, float, float]:
    """Place (x, y, z) [m], direction (x, y, z) and lobe exponent of one receptor of a walker.

    ``place`` 0 is the left eye, 1 the right eye, the others are points spread over the panel so that each
    stands for a like share of it.
    """
    cosine, sine = body["cosine"], body["sine"]
    if place < 2:
        side = walker["side"][place]
        ahead, aside, height = side["eye_ahead"], side["eye_aside"], side["eye_height"]
        look_x = cosine * side["aim_x"] - sine * side["aim_y"]
        look_y = sine * side["aim_x"] + cosine * side["aim_y"]
        look_z, power = side["aim_z"], side["lobe"]
    else:
        spot = place - 2
        ahead = walker["panel_ahead"] + walker["panel_length"] * (0.25 if spot % 2 == 0 else -0.25)
        aside = walker["panel_width"] * (0.25 if spot < 2 else -0.25)
        height = walker["panel_height"]
        look_x, look_y, look_z, power = 0.0, 0.0, 1.0, 1.0
    x = body["x"] + cosine * ahead - sine * aside
    y = body["y"] + sine * ahead + cosine * aside
    return x, y, height, look_x, look_y, look_z, power


@kernel
def take_light(scene: Scene, crowd: Crowd, number: int) -> None:
    """Take the light of a walker anew where it stands: past walls and shades, then past bodies."""
    walker, body = crowd.walkers[number], crowd.bodies[number]
    sources = scene.sources
    count = 0
    if len(crowd.bodies) > 1:
        reach = crowd.settings[0]["influence"]
        count = gather(crowd.settings[0], crowd.heads, crowd.bodies, body["x"], body["y"], reach)
    unhindered = 0.0
    for place in range(RECEPTORS):
        x, y, z, look_x, look_y, look_z, power = receptor(walker, body, place)
        for lamp in range(len(sources)):
            source = sources[lamp]
            light = direct_illuminance(
                x,
                y,
                z,
                look_x,
                look_y,
                look_z,
                power,
                source,
                scene.wall_table,
                scene.shades,
                scene.shade_points,
                scene.disc_samples,
            )
            if place >= 2:
                unhindered += open_light(x, y, z, look_x, look_y, look_z, power, source)
            hidden = 0
            for index in range(count):
                which = crowd.bodies[index]["found"]
                if which != number and _hides(crowd.bodies[which], x, y, z, source):
                    hidden += 1
            crowd.lit[number, place, lamp] = light
            crowd.hidden[number, place, lamp] = hidden
    ambient = 0.0
    for kind in range(len(scene.ambient)):
        ambient += scene.ambient[kind]
    body["open_light"] = unhindered / PANEL_POINTS + ambient
    body["moved"] = 0
    sum_light(scene, walker, body, crowd.lit[number], crowd.hidden[number])


@kernel
def _hides(other: Any, x: float, y: float, z: float, source: Any) -> bool:
    """Whether another's body, where it was last told to be, hides ``source`` from a place [m]."""
    return body_hides(
        x,
        y,
        z,
        source["x"],
        source["y"],
        source["z"],
        other["shade_x"],
        other["shade_y"],
        other["disc_radius"],
        other["disc_height"],
    )


@kernel
def sum_light(scene: Scene, walker: Any, body: Any, lit: Any, hidden: Any) -> None:
    """Add up what lamps and surroundings give to a walker's eyes and panel."""
    ambient = 0.0
    current_light = 0.0
    for kind in range(len(scene.ambient)):
        ambient += scene.ambient[kind]
        current_light += walker["response"][kind] * scene.ambient[kind]
    body["left_light"] = ambient * ambient_share(walker["side"][0]["lobe"])
    body["right_light"] = ambient * ambient_share(walker["side"][1]["lobe"])
    panel = 0.0
    for lamp in range(len(scene.sources)):
        weight = walker["response"][scene.sources[lamp]["kind"]] / PANEL_POINTS
        if hidden[0, lamp] == 0:
            body["left_light"] += lit[0, lamp]
        if hidden[1, lamp] == 0:
            body["right_light"] += lit[1, lamp]
        for place in range(2, RECEPTORS):
            if hidden[place, lamp] == 0:
                panel += lit[place, lamp]
                current_light += weight * lit[place, lamp]
    body["panel_light"] = ambient + panel / PANEL_POINTS
    body["photocurrent"] = walker["photo_per_lux"] * current_light


@kernel
def shift_shadow(scene: Scene, crowd: Crowd, number: int, mover: int) -> bool:
    """Move the shadow of ``mover`` to where it now stands; returns whether ``number``'s light changes."""
    walker, body = crowd.walkers[number], crowd.bodies[number]
    other = crowd.bodies[mover]
    # eyes and panel lie within this of the axle, and so does the edge of the shadow from its middle
    width = other["disc_radius"] + crowd.settings[0]["receptors"]
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
            x, y, z, _, _, _, _ = receptor(walker, body, place)
            hid = _hides(other, x, y, z, source)
            hides = body_hides(
                x,
                y,
                z,
                source["x"],
                source["y"],
                source["z"],
                other["disc_x"],
                other["disc_y"],
                other["disc_radius"],
                other["disc_height"],
            )
            if hid != hides:
                crowd.hidden[number, place, lamp] += 1 if hides else -1
                changed = True
    return changed


@kernel
def list_walls(walls: Records, crowd: Crowd, number: int, margin: float) -> None:
    """List the walls that a walker, or its whiskers, can meet before it has moved by ``margin`` [m]."""
    walker = crowd.walkers[number]
    body = crowd.bodies[number]
    longest = whisker_reach(walker)
    reach = longest + margin
    nearest = math.inf
    count = 0
    for index in range(len(walls)):
        ax, ay = walls[index]["ax"], walls[index]["ay"]
        ex, ey = walls[index]["bx"] - ax, walls[index]["by"] - ay
        wx, wy = body["x"] - ax, body["y"] - ay
        along = min(max((wx * ex + wy * ey) / (ex * ex + ey * ey), 0.0), 1.0)
        wx -= along * ex
        wy -= along * ey
        square = wx * wx + wy * wy
        if square < reach * reach:
            crowd.near_walls[number, count] = index
            count += 1
            nearest = min(nearest, square)
    nearest = math.sqrt(nearest)
    body["near_count"] = count
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
def whisker_reach(walker: Any) -> float:
    """Distance [m] from the middle of the axle to the farthest part of a walker."""
    reach = abs(walker["body_ahead"]) + walker["body_reach"]
    for number in range(2):
        side = walker["side"][number]
        if side["whisker"] == 1:
            reach = max(reach, math.hypot(side["tip_ahead"], side["tip_aside"]))
    return reach


@kernel
def take_touch(walls: Records, crowd: Crowd, number: int) -> tuple[int, int, int]:
    """What touches a walker: (left whisker, right whisker, body), each 0 nothing, 1 a wall, 2 a walker."""
    walker = crowd.walkers[number]
    body = crowd.bodies[number]
    cosine, sine = body["cosine"], body["sine"]
    count = 0
    if len(crowd.bodies) > 1:
        reach = whisker_reach(walker) + 2.0 * crowd.settings[0]["reach"]
        count = gather(crowd.settings[0], crowd.heads, crowd.bodies, body["x"], body["y"], reach)
    near = walls_within(body, body["whisker_room"])
    if near == 0 and count <= 1:
        return 0, 0, 0
    left, right, touched = 0, 0, 0
    for which in range(2):
        side = walker["side"][which]
        if side["whisker"] == 0:
            continue
        rx = body["x"] + cosine * side["root_ahead"] - sine * side["root_aside"]
        ry = body["y"] + sine * side["root_ahead"] + cosine * side["root_aside"]
        tx = body["x"] + cosine * side["tip_ahead"] - sine * side["tip_aside"]
        ty = body["y"] + sine * side["tip_ahead"] + cosine * side["tip_aside"]
        limit = side["bend_to_close"]
        pressed = 0
        if near > 0:
            bend = whisker_wall_bend(
                rx,
                ry,
                tx,
                ty,
                side["whisker_height"],
                walls,
                crowd.near_walls[number],
                near,
            )
            if bend > 0.0 and bend >= limit:
                pressed = 1
        if pressed == 0:
            for place in range(count):
                other = crowd.bodies[place]["found"]
                if other == number:
                    continue
                bend = whisker_body_bend(
                    rx,
                    ry,
                    tx,
                    ty,
                    side["whisker_height"],
                    crowd.bodies[other]["points"],
                    crowd.walkers[other]["core_count"],
                    crowd.walkers[other]["body_radius"],
                    crowd.walkers[other]["body_height"],
                )
                if bend > 0.0 and bend >= limit:
                    pressed = 2
                    break
        if which == 0:
            left = pressed
        else:
            right = pressed
    points = body["points"]
    corners = walker["core_count"]
    radius = walker["body_radius"]
    for place in range(near):
        wall = walls[crowd.near_walls[number, place]]
        gap, _, _ = body_wall_gap(points, corners, radius, wall["ax"], wall["ay"], wall["bx"], wall["by"])
        if gap < TOUCH_GAP:
            touched = 1
            break
    if touched == 0:
        for place in range(count):
            other = crowd.bodies[place]["found"]
            if other == number:
                continue
            gap, _, _ = body_body_gap(
                points,
                corners,
                radius,
                crowd.bodies[other]["points"],
                crowd.walkers[other]["core_count"],
                crowd.walkers[other]["body_radius"],
            )
            if gap < TOUCH_GAP:
                touched = 2
                break
    return left, right, touched


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
def set_triggers(walker: Any, body: Any) -> None:
    """Work out at which rail each side fires, from its light, its whisker and this pulse's jitter."""
    left, right = walker["side"][0], walker["side"][1]
    body["left_trigger"] = math.inf
    body["right_trigger"] = math.inf
    # a flash that does not turn the latch on is no trigger
    if ignites(on_voltage(body["left_light"], left), left, walker["thermal"]):
        body["left_trigger"] = (
            trigger_voltage(body["left_light"], body["left_touch"] > 0, left) + body["left_noise"]
        )
    if ignites(on_voltage(body["right_light"], right), right, walker["thermal"]):
        body["right_trigger"] = (
            trigger_voltage(body["right_light"], body["right_touch"] > 0, right) + body["right_noise"]
        )
