"""Whom a walker concerns that has moved: those whose light it crosses or whose whiskers it meets."""

import math
from typing import Any, NamedTuple

from agents.arrays import IntArray, RecordArray
from agents.circuit.charging import wait
from agents.circuit.panel import LitPanel
from agents.compiled import kernel, kernel_part
from arena.engine.grid import gather
from arena.engine.holding import NEXT_TO, stir
from arena.engine.motion import publish_shadow
from arena.engine.output import write_light, write_touch
from arena.engine.senses import TOUCH_ROOM, may_touch, shift_shadow, sum_light, take_light, take_touch
from arena.engine.triggers import plan_trigger
from arena.engine.walls import Walls
from arena.engine.world_arrays import (
    FOUND,
    GATHERED,
    HEARD_LIGHT,
    HEARD_NOTHING,
    HEARD_TOUCH,
    HEARING,
    LISTED,
    MOVING,
    PUSHED,
    WAITING,
    Crowd,
    Output,
    Scene,
)
from replays.format.tables import BODY, LEFT_WHISKER, RIGHT_WHISKER

# Light of one that is pushed about that changes by less than this share is the same [-]: half of what replays
# tell apart. A trigger moves with it by 0.15 mV at 0.7 V a decade.
SAME_LIGHT = 5e-4


class OwnLight(NamedTuple):
    """Light [lx] of a walker, and what its panel makes of it: see BODY."""

    left: float
    right: float
    panel: float
    open: float
    clear: float
    current: float
    saturation: float
    thermal: float


@kernel
def look_at_touch(
    walls: Walls, crowd: Crowd, touches: RecordArray, counts: IntArray, number: int, time: float
) -> bool:
    """Take what touches a walker and write down what has changed; returns whether a whisker has."""
    body = crowd.bodies[number]
    before = body["left_touch"], body["right_touch"], body["body_touch"]
    now = take_touch(walls, crowd, number)
    for part in (LEFT_WHISKER, RIGHT_WHISKER, BODY):
        write_touch(touches, counts, body, time, part, before[part], now[part])
    body["left_touch"], body["right_touch"], body["body_touch"] = now
    return bool(now[0] != before[0] or now[1] != before[1])


@kernel
def update_neighbours(scene: Scene, crowd: Crowd, out: Output, number: int, time: float) -> None:
    """A walker has moved and may have pushed others: work out anew those whom that concerns.

    Each is worked out once, however many have moved about it, and looks once at what touches it: all are
    already where they are going to be. One that has been pushed by less than ``look_after`` waits until it
    has gone so far, or its pusher rests.
    """
    lists = crowd.lists
    settings, bodies = crowd.settings[0], crowd.bodies
    settings["rounds"] += 1
    heard, owes = 0, 0
    moves_on = bodies[number]["phase"] > WAITING
    for place in range(list_moved(crowd, number, moves_on)):
        mover = lists[place, MOVING]
        if place > 0:
            if moves_on and way_untold(bodies[mover]) < settings["tolerances"]["look_after"]:
                bodies[mover]["moved"], bodies[mover]["pusher"] = PUSHED, number
                owes += 1
                continue
            # it was pushed, so its own light and touch may be others too
            heard = take_pushed_light(scene, crowd, mover, heard)
            if bodies[mover]["asked"] != settings["rounds"]:
                bodies[mover]["asked"] = settings["rounds"]
                if look_at_touch(scene.walls, crowd, out.touches, out.counts, mover, time):
                    heard = note(crowd, mover, heard, False)
        heard = note_affected(scene, crowd, out, mover, time, heard)
    bodies[number]["owes"] = owes
    for place in range(heard):
        adapt(crowd, out, lists[place, HEARING], time)


@kernel
def way_untold(body: Any) -> float:
    """How far a body is from where others were last told that it is [m]."""
    return math.hypot(body["disc_x"] - body["shade_x"], body["disc_y"] - body["shade_y"])


@kernel_part
def take_pushed_light(scene: Scene, crowd: Crowd, number: int, heard: int) -> int:
    """Take the light of one that was pushed, and put it on the list if that has changed: see :func:`note`.

    A change below :data:`SAME_LIGHT` waits until it has grown to that.
    """
    body = crowd.bodies[number]
    before = light_of(body)
    take_light(scene, crowd, number)
    now = light_of(body)
    set_light(body, before)
    if not (
        hardly_differs(now.left, before.left)
        and hardly_differs(now.right, before.right)
        and hardly_differs(now.panel, before.panel)
        and hardly_differs(now.current, before.current)
    ):
        heard = note(crowd, number, heard, True)
        set_light(body, now)
    return heard


@kernel
def hardly_differs(light: float, other: float) -> bool:
    """Whether light, or what it makes, is another by no more than :data:`SAME_LIGHT`."""
    return abs(light - other) <= SAME_LIGHT * other


@kernel
def light_of(body: Any) -> OwnLight:
    """The light of a walker."""
    return OwnLight(
        body["left_light"],
        body["right_light"],
        body["panel_light"],
        body["open_light"],
        body["clear_light"],
        body["photocurrent"],
        body["panel_saturation"],
        body["panel_thermal"],
    )


@kernel
def set_light(body: Any, light: OwnLight) -> None:
    """Let a walker have this light."""
    body["left_light"], body["right_light"], body["panel_light"] = light.left, light.right, light.panel
    body["open_light"], body["clear_light"] = light.open, light.clear
    body["photocurrent"] = light.current
    body["panel_saturation"], body["panel_thermal"] = light.saturation, light.thermal


@kernel_part
def note(crowd: Crowd, number: int, heard: int, shifted: bool) -> int:
    """Put a walker on the list of the ``heard`` that are to be worked out anew; returns how many they are.

    ``shifted`` if it is its light that changes, which then must not have happened yet.
    """
    body = crowd.bodies[number]
    if body["heard"] == HEARD_NOTHING:
        crowd.lists[heard, HEARING] = number
        heard += 1
        body["current_so_far"] = body["photocurrent"]
        body["saturation_so_far"] = body["panel_saturation"]
        body["thermal_so_far"] = body["panel_thermal"]
    body["heard"] = max(body["heard"], HEARD_LIGHT if shifted else HEARD_TOUCH)
    return heard


@kernel_part
def list_moved(crowd: Crowd, number: int, moves_on: bool) -> int:
    """List a walker and then those that were pushed, in the list MOVING; returns how many.

    Who was pushed touched the walker, or one that was pushed itself, a moment ago; so they are found from
    one to the next, however long the chain is. One that rests, that no longer ``moves_on``, may have left
    behind some that it pushed; so whoever of them is not found is looked for among all.
    """
    bodies, lists, settings = crowd.bodies, crowd.lists, crowd.settings[0]
    reach = 4.0 * settings["reach"]
    lists[0, MOVING] = number
    owes = bodies[number]["owes"]
    if not bodies[number]["pushes"] and owes == 0:
        return 1
    bodies[number]["pushes"] = False
    count = 1
    place = 0
    while place < count:
        one = bodies[lists[place, MOVING]]
        place += 1
        found = gather(settings, crowd.heads, bodies, lists, one["disc_x"], one["disc_y"], reach)
        for index in range(found):
            which = lists[index, FOUND]
            if which != number and bodies[which]["moved"] == PUSHED:
                owes -= bodies[which]["pusher"] == number
                bodies[which]["moved"] = LISTED
                lists[count, MOVING] = which
                count += 1
    if moves_on or owes <= 0:
        return count
    for which in range(len(bodies)):
        if bodies[which]["moved"] == PUSHED and bodies[which]["pusher"] == number:
            bodies[which]["moved"] = LISTED
            lists[count, MOVING] = which
            count += 1
    return count


@kernel_part
def note_affected(scene: Scene, crowd: Crowd, out: Output, mover: int, time: float, heard: int) -> int:
    """Tell those near ``mover`` where it now stands; returns how many have ``heard`` of any mover so far."""
    bodies, lists = crowd.bodies, crowd.lists
    body, settings = bodies[mover], crowd.settings[0]
    # those near its old place are to learn that it has gone
    dx, dy = body["disc_x"] - body["shade_x"], body["disc_y"] - body["shade_y"]
    gone = math.sqrt(dx * dx + dy * dy)
    reach = settings["influence"] + gone
    count = gather(settings, crowd.heads, bodies, lists, body["x"], body["y"], reach)
    # whoever is worked out anew looks for neighbours too
    for place in range(count):
        lists[place, GATHERED] = lists[place, FOUND]
    for place in range(count):
        which = lists[place, GATHERED]
        if which == mover:
            continue
        other = bodies[which]
        if gone > 0.0 and is_next_to(crowd, mover, which, gone):
            stir(other, gone, settings["tolerances"]["stride"])
        if other["phase"] > WAITING and body["phase"] == WAITING:
            # what its shadow may fall on has come to rest
            other["left"] = 0.0
        # one that moves itself takes its light when it has come to rest
        if other["phase"] == WAITING and shift_shadow(scene, crowd, which, mover):
            heard = note(crowd, which, heard, True)
            sum_light(
                scene,
                crowd.walkers[crowd.bodies[which]["built"]],
                other,
                crowd.lit[which],
                crowd.hidden[which],
            )
        if other["asked"] == settings["rounds"]:
            continue
        reach = gone + TOUCH_ROOM + crowd.walkers[crowd.bodies[mover]["built"]]["body_reach"]
        if may_touch(
            crowd.walkers[crowd.bodies[which]["built"]], other, body["disc_x"], body["disc_y"], reach
        ):
            other["asked"] = settings["rounds"]
            if look_at_touch(scene.walls, crowd, out.touches, out.counts, which, time):
                heard = note(crowd, which, heard, False)
    publish_shadow(body)
    return heard


@kernel
def is_next_to(crowd: Crowd, mover: int, which: int, gone: float) -> bool:
    """Whether a body is next to ``which`` that has ``gone`` [m] so far."""
    body, other = crowd.bodies[mover], crowd.bodies[which]
    reach = crowd.walkers[body["built"]]["body_reach"] + crowd.walkers[other["built"]]["body_reach"]
    reach += gone + NEXT_TO
    dx, dy = body["disc_x"] - other["disc_x"], body["disc_y"] - other["disc_y"]
    return bool(dx * dx + dy * dy < reach * reach)


@kernel_part
def adapt(crowd: Crowd, out: Output, number: int, time: float) -> None:
    """Work out anew a walker whose light or touch has changed: see :func:`note`."""
    body = crowd.bodies[number]
    if body["heard"] == HEARD_LIGHT:
        write_light(out.lights, out.counts, body, time)
    body["heard"] = HEARD_NOTHING
    if body["phase"] == WAITING:
        panel = LitPanel(body["current_so_far"], body["saturation_so_far"], body["thermal_so_far"])
        wait(crowd.walkers[crowd.bodies[number]["built"]], panel, body["state"], time - body["since"])
        plan_trigger(crowd, out.counts, number, time)
