"""What a walker meets where it stands: light at its eyes and panel, and what touches it."""

import math
from typing import Any

from agents.compiled import kernel
from agents.eye import on_voltage, trigger_voltage
from agents.latch import ignites
from arena.contact import body_body_gap, body_wall_gap
from arena.grid import gather
from arena.layout import PANEL_POINTS, RECEPTORS, Crowd, Records, Scene
from arena.light import ambient_share, irradiation, open_light
from arena.shadow import bodies_transmission
from arena.whiskers import whisker_body_bend, whisker_wall_bend

# A body this near to something touches it [m].
TOUCH_GAP = 5e-4
# Light that changes by less than this share moves no trigger worth telling.
SAME_LIGHT = 1e-3


@kernel
def receptor(walker: Any, body: Any, place: int) -> tuple[float, float, float, float, float, float, float]:
    """Place (x, y, z) [m], direction (x, y, z) and lobe exponent of one receptor of a walker.

    ``place`` 0 is the left eye, 1 the right eye, the others are points spread over the panel so that each
    stands for a like share of it.
    """
    cosine, sine = body["cosine"], body["sine"]
    if place < 2:
        side = walker["side"][place]
        ahead, aside, height = side["eye_x"], side["eye_y"], side["eye_z"]
        look_x = cosine * side["aim_x"] - sine * side["aim_y"]
        look_y = sine * side["aim_x"] + cosine * side["aim_y"]
        look_z, power = side["aim_z"], side["lobe"]
    else:
        spot = place - 2
        ahead = walker["panel_x"] + walker["panel_length"] * (0.25 if spot % 2 == 0 else -0.25)
        aside = walker["panel_width"] * (0.25 if spot < 2 else -0.25)
        height = walker["panel_z"]
        look_x, look_y, look_z, power = 0.0, 0.0, 1.0, 1.0
    x = body["x"] + cosine * ahead - sine * aside
    y = body["y"] + sine * ahead + cosine * aside
    return x, y, height, look_x, look_y, look_z, power


@kernel
def take_light(scene: Scene, crowd: Crowd, number: int) -> None:
    """Take the light of a walker that has moved: past walls and shades into ``lit``, then past bodies."""
    body = crowd.bodies[number]
    sources = scene.sources
    unhindered = 0.0
    for place in range(RECEPTORS):
        x, y, z, look_x, look_y, look_z, power = receptor(crowd.walkers[number], body, place)
        for lamp in range(len(sources)):
            crowd.lit[number, place, lamp] = irradiation(
                x,
                y,
                z,
                look_x,
                look_y,
                look_z,
                power,
                sources[lamp],
                scene.walls,
                scene.shades,
                scene.shade_points,
                scene.disc_samples,
            )
            if place >= 2:
                unhindered += open_light(x, y, z, look_x, look_y, look_z, power, sources[lamp])
    ambient = 0.0
    for kind in range(len(scene.ambient)):
        ambient += scene.ambient[kind]
    body["open_light"] = unhindered / PANEL_POINTS + ambient
    body["moved"] = 0
    body["panel_light"] = -1.0
    pass_bodies(scene, crowd, number)


@kernel
def pass_bodies(scene: Scene, crowd: Crowd, number: int) -> bool:
    """Let ``lit`` past the bodies in the way; returns whether the walker's light has changed.

    A change too small to matter is not taken over, so that small ones add up until they do.
    """
    walker = crowd.walkers[number]
    body = crowd.bodies[number]
    sources = scene.sources
    count = 0
    if len(crowd.bodies) > 1:
        reach = crowd.settings[0]["influence"]
        count = gather(crowd.settings[0], crowd.heads, crowd.bodies, body["x"], body["y"], reach)
    ambient = 0.0
    current_light = 0.0
    for kind in range(len(scene.ambient)):
        ambient += scene.ambient[kind]
        current_light += walker["response"][kind] * scene.ambient[kind]
    left, right, panel = 0.0, 0.0, 0.0
    for place in range(RECEPTORS):
        if count > 1:
            x, y, z, _, _, _, _ = receptor(crowd.walkers[number], body, place)
        else:
            x, y, z = 0.0, 0.0, 0.0
        for lamp in range(len(sources)):
            light = crowd.lit[number, place, lamp]
            if light <= 0.0:
                continue
            if count > 1:
                light *= bodies_transmission(
                    x,
                    y,
                    z,
                    sources[lamp]["x"],
                    sources[lamp]["y"],
                    sources[lamp]["z"],
                    crowd.bodies,
                    number,
                    count,
                )
            if place == 0:
                left += light
            elif place == 1:
                right += light
            else:
                panel += light / PANEL_POINTS
                current_light += walker["response"][sources[lamp]["kind"]] * light / PANEL_POINTS
    left += ambient * ambient_share(walker["side"][0]["lobe"])
    right += ambient * ambient_share(walker["side"][1]["lobe"])
    panel += ambient
    changed = (
        _differs(left, body["left_light"])
        or _differs(right, body["right_light"])
        or _differs(panel, body["panel_light"])
    )
    if changed:
        body["left_light"] = left
        body["right_light"] = right
        body["panel_light"] = panel
        body["photocurrent"] = walker["photo_per_lux"] * current_light
    return changed


@kernel
def _differs(now: float, before: float) -> bool:
    return bool(abs(now - before) > SAME_LIGHT * (abs(before) + 1e-3))


@kernel
def list_walls(walls: Records, crowd: Crowd, number: int, margin: float) -> None:
    """List the walls that a walker, or its whiskers, can meet before it has moved by ``margin`` [m]."""
    walker = crowd.walkers[number]
    body = crowd.bodies[number]
    reach = whisker_reach(walker) + margin
    count = 0
    for index in range(len(walls)):
        ax, ay = walls[index]["ax"], walls[index]["ay"]
        ex, ey = walls[index]["bx"] - ax, walls[index]["by"] - ay
        wx, wy = body["x"] - ax, body["y"] - ay
        along = min(max((wx * ex + wy * ey) / (ex * ex + ey * ey), 0.0), 1.0)
        wx -= along * ex
        wy -= along * ey
        if wx * wx + wy * wy < reach * reach:
            crowd.near_walls[number, count] = index
            count += 1
    body["near_count"] = count
    body["near_x"] = body["x"]
    body["near_y"] = body["y"]


@kernel
def whisker_reach(walker: Any) -> float:
    """Distance [m] from the middle of the axle to the farthest part of a walker."""
    reach = abs(walker["body_x"]) + walker["body_reach"]
    for number in range(2):
        side = walker["side"][number]
        if side["whisker"] == 1:
            reach = max(reach, math.hypot(side["tip_x"], side["tip_y"]))
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
    left, right, touched = 0, 0, 0
    for which in range(2):
        side = walker["side"][which]
        if side["whisker"] == 0:
            continue
        rx = body["x"] + cosine * side["root_x"] - sine * side["root_y"]
        ry = body["y"] + sine * side["root_x"] + cosine * side["root_y"]
        tx = body["x"] + cosine * side["tip_x"] - sine * side["tip_y"]
        ty = body["y"] + sine * side["tip_x"] + cosine * side["tip_y"]
        limit = side["bend_to_close"]
        pressed = 0
        if body["near_count"] > 0:
            bend = whisker_wall_bend(
                rx,
                ry,
                tx,
                ty,
                side["whisker_z"],
                walls,
                crowd.near_walls[number],
                body["near_count"],
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
                    side["whisker_z"],
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
    for place in range(body["near_count"]):
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
