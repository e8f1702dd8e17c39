"""The event loop of a world.

Nothing moves between pulses, so the clock jumps from event to event: a waiting walker's event is its next
trigger, worked out ahead from its charging; a moving walker's event is its next stride. A walker that moves
tells those whose light it crosses or whose whiskers it meets, and only they are worked out anew.

Events come in the order (time, number of the walker). Every world keeps its own clock and writes to its own
tables alone, so the same world gives the same bits whatever runs beside it.
"""

import math
from typing import Any

from agents.circuit.charging import wait
from agents.circuit.eye import recovery_time
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.tyre import at_rest, begin_coasting, coast_step
from agents.compiled import kernel, kernel_part
from arena.engine.motion import drive, publish_shadow, settle_place
from arena.engine.neighbours import look_at_touch, update_neighbours
from arena.engine.output import (
    open_pulse,
    room_left,
    write_light,
    write_motion,
    write_pose,
    write_pulse,
    write_standing,
)
from arena.engine.schedule import first_walker, set_time
from arena.engine.senses import (
    list_walls,
    panel_of,
    take_light,
)
from arena.engine.triggers import draw_jitter, note_lost, plan_trigger
from arena.engine.world_arrays import (
    ARRIVING,
    COASTING,
    DONE,
    FREE,
    FULL,
    GATHERED,
    LOST,
    LOST_PLACE,
    PULSING,
    STOPPED,
    WAITING,
    Crowd,
    Output,
    Scene,
)
from replays.format.tables import CUT_OFF, LEFT, RIGHT

# A moving walker is put in its new place, and freed of contacts, after this way [m] or time [s] at the most.
STRIDE = 1.5e-3
STRIDE_TIME = 0.012
# A moving walker's shadow and touch are passed on, and its own touch is taken, no more often than this [s],
# and only once its nose has gone on by this way [m].
LOOK_EVERY = 0.02
LOOK_AFTER = 0.0015
# After how long its own light is taken while it moves [s]; a healthy pulse is over before.
LIGHT_AFTER = 0.25
# What is left of a run when it counts as over [s].
OVER = 1e-9


@kernel_part
def settle_world(crowd: Crowd) -> None:
    """Put every walker in its start place; each is to arrive there at time 0."""
    for number in range(len(crowd.bodies)):
        settle_place(crowd, number)
        publish_shadow(crowd.bodies[number])
        crowd.bodies[number]["phase"] = ARRIVING
        crowd.bodies[number]["state"]["rail"] = crowd.walkers[crowd.bodies[number]["built"]]["start_rail"]
        set_time(crowd.tree, number, 0.0)


@kernel_part
def advance(scene: Scene, crowd: Crowd, out: Output, until: float) -> int:
    """Run a world up to ``until`` [s]; returns one of the codes of :mod:`arena.engine.world_arrays`.

    FULL asks to empty the output and to call again, STOPPED that ``stop`` was set; both leave the world
    ready to go on.
    """
    while True:
        time = crowd.tree[1]
        if out.counts[LOST_PLACE] != 0:
            return LOST
        if time > until:
            return DONE
        if out.stop[0] != 0:
            return STOPPED
        if not room_left(out):
            return FULL
        number = first_walker(crowd.tree)
        phase = crowd.bodies[number]["phase"]
        notifies = False
        if phase == WAITING:
            fire(crowd, out, number, time)
        elif phase == ARRIVING or (phase == COASTING and at_rest(crowd.bodies[number]["state"])):
            come_to_rest(scene, crowd, out, number, time)
            notifies = phase == COASTING
        else:
            time, notifies = move_on(scene, crowd, out, number, time, until)
        if notifies and len(crowd.bodies) > 1:
            update_neighbours(scene, crowd, out, number, time)


@kernel_part
def move_on(
    scene: Scene, crowd: Crowd, out: Output, number: int, time: float, until: float
) -> tuple[float, bool]:
    """Let a moving walker make strides from ``time`` [s] until it rests or something else is due.

    Returns the time it has come to, and whether those near it are to be told.
    """
    state = crowd.bodies[number]["state"]
    set_time(crowd.tree, number, math.inf)
    next_other = crowd.tree[1]
    end = crowd.settings[0]["until"]
    notifies = False
    while True:
        way, time = stride(crowd, out, number, time)
        notifies = after_stride(scene, crowd, out, number, time, way)
        if end - time <= OVER:
            return time, notifies
        resting = crowd.bodies[number]["phase"] == COASTING and at_rest(state)
        asked = out.stop[0] != 0 or out.counts[LOST_PLACE] != 0
        if asked or notifies or resting or time >= next_other or time > until or not room_left(out):
            set_time(crowd.tree, number, time)
            return time, notifies


@kernel_part
def fire(crowd: Crowd, out: Output, number: int, time: float) -> None:
    """The rail has reached a trigger: that side begins its pulse."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    state = body["state"]
    if time == body["due"] and state["rail"] < body["goal"]:
        state["rail"] = body["goal"]
        state["panel_energy"] += body["due_panel"]
        state["eye_energy"] += body["due_eyes"]
        state["leak_energy"] += body["due_leak"]
    else:
        wait(walker, panel_of(body), state, time - body["since"])
        note_lost(crowd, out.counts, number, time)
    body["since"] = time
    body["side"] = LEFT if body["left_trigger"] <= body["right_trigger"] else RIGHT
    touch = body["left_touch"] if body["side"] == LEFT else body["right_touch"]
    begin_pulse(walker, body["side"], touch != FREE, state)
    body["phase"] = PULSING
    body["pulses"] += 1
    body["start"] = time
    body["let_go"] = math.inf
    body["path"] = 0.0
    body["looked"] = time
    write_pose(out.poses, out.counts, body, time)
    open_pulse(out.under_way[number], body, time)
    set_time(crowd.tree, number, time)


@kernel_part
def stride(crowd: Crowd, out: Output, number: int, time: float) -> tuple[float, float]:
    """Step a moving walker's circuit and tyre from ``time`` [s]; returns the way passed [m] and the time."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    state = body["state"]
    which = body["side"]
    end = min(time + STRIDE_TIME, crowd.settings[0]["until"])
    way = 0.0
    if body["phase"] == COASTING:
        while way < STRIDE and end - time > OVER and not at_rest(state):
            step, passed = coast_step(walker, which, state, _short_of_wall(end - time, state["speed"]))
            time += step
            way += passed
        return way, time
    touch = body["left_touch"] if which == LEFT else body["right_touch"]
    panel = panel_of(body)
    while way < STRIDE and end - time > OVER:
        begun = state["elapsed"]
        longest = _short_of_wall(end - time, state["speed"])
        holds, passed = pulse_step(walker, which, panel, touch != FREE, state, longest)
        if not holds:
            body["phase"] = COASTING
            body["let_go"] = time
            out.under_way[number]["let_go_V"] = state["rail"]
            begin_coasting(state)
            break
        time += state["elapsed"] - begun
        way += passed
    body["since"] = time
    note_lost(crowd, out.counts, number, time)
    return way, time


@kernel
def _short_of_wall(longest: float, speed: float) -> float:
    """A step [s] of at most ``longest`` in which a tyre at ``speed`` [m/s] leaps no wall."""
    return min(longest, STRIDE / max(speed, 1e-3))


@kernel_part
def after_stride(scene: Scene, crowd: Crowd, out: Output, number: int, time: float, way: float) -> bool:
    """Move the body by the ``way`` [m] that its tyre has rolled up to ``time``.

    Returns whether it is time to tell those whom it concerns.
    """
    body = crowd.bodies[number]
    if way > 0.0:
        way *= crowd.walkers[crowd.bodies[number]["built"]]["side"][body["side"]]["turns"]
        write_pushed(crowd, out, drive(scene.walls, crowd, number, way), time)
        write_motion(out.poses, out.counts, body, time)
    looks = time - body["looked"] >= LOOK_EVERY and _has_gone_on(
        crowd.walkers[crowd.bodies[number]["built"]], body
    )
    if looks:
        body["looked"] = time
        body["looked_heading"] = body["heading"]
        look_at_touch(scene.walls, crowd, out.touches, out.counts, number, time)
        if time - body["start"] >= LIGHT_AFTER:
            take_light(scene, crowd, number)
    return bool(looks)


@kernel
def _has_gone_on(walker: Any, body: Any) -> bool:
    """Whether a moving walker has moved or turned enough since others were last told for them to care."""
    moved = abs(body["disc_x"] - body["shade_x"]) + abs(body["disc_y"] - body["shade_y"])
    turned = abs(body["heading"] - body["looked_heading"]) * walker["body_reach"]
    return bool(moved + turned > LOOK_AFTER)


@kernel_part
def come_to_rest(scene: Scene, crowd: Crowd, out: Output, number: int, time: float) -> None:
    """The wheel has stopped, or the run begins: take stock and work out the next trigger."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    list_walls(scene.walls, crowd, number)
    write_pose(out.poses, out.counts, body, time)
    if body["phase"] == COASTING:
        wait(walker, panel_of(body), body["state"], time - body["since"])
        body["hold"] = body["let_go"] + recovery_time(walker["side"][body["side"]])
        write_pulse(out.pulses, out.counts, out.under_way[number], body, time)
    body["phase"] = WAITING
    look_at_touch(scene.walls, crowd, out.touches, out.counts, number, time)
    take_light(scene, crowd, number)
    write_light(out.lights, out.counts, body, time)
    draw_jitter(crowd, number)
    plan_trigger(crowd, out.counts, number, time)


@kernel_part
def write_pushed(crowd: Crowd, out: Output, count: int, time: float) -> None:
    """Write where those whom a stride has pushed stood before, and stand after it.

    They are the entries 1 .. ``count`` - 1 of the list GATHERED; the first is the driver.
    """
    for place in range(1, count):
        pushed = crowd.bodies[crowd.lists[place, GATHERED]]
        write_standing(out.poses, out.counts, pushed, time - 1e-3)
        write_motion(out.poses, out.counts, pushed, time)


@kernel_part
def end_world(crowd: Crowd, out: Output) -> bool:
    """Bring every walker's rail to the end of the run and write the pulses that it cuts off.

    Returns whether all is written; if not, the output has to be emptied before the next call.
    """
    until = crowd.settings[0]["until"]
    for number in range(len(crowd.bodies)):
        body = crowd.bodies[number]
        if not room_left(out):
            return False
        if body["phase"] != PULSING:
            left = until - body["since"]
            wait(crowd.walkers[crowd.bodies[number]["built"]], panel_of(body), body["state"], left)
            body["since"] = until
            note_lost(crowd, out.counts, number, until)
        if body["phase"] != WAITING:
            write_pose(out.poses, out.counts, body, until)
            out.under_way[number]["ended"] = CUT_OFF
            write_pulse(out.pulses, out.counts, out.under_way[number], body, until)
            body["phase"] = WAITING
            body["since"] = until
    return True
