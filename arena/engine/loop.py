"""The event loop of a world.

Nothing moves between pulses, so the clock jumps from event to event: a waiting walker's event is its next
trigger, worked out ahead from its charging; a moving walker's event is its next stride; where light changes,
the next step of the sky is an event too (:mod:`arena.engine.sky`). A walker that moves tells those whose
light it crosses or whose whiskers it meets, and only they are worked out anew.

Events come in the order (time, number of the walker), the sky's after those of all walkers. Every world keeps
its own clock and writes to its own tables alone, so the same world gives the same bits whatever runs beside
it.
"""

import math

from agents.arrays import RecordArray
from agents.circuit.charging import wait
from agents.circuit.eye import recovery_time
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.pulse_table import PulseTable
from agents.circuit.tyre import at_rest, be_free, begin_coasting, coast_step, lean_fully
from agents.compiled import kernel, kernel_part
from arena.engine.clearance import farthest_of_body, look_about
from arena.engine.foresight import follow, foresee, is_undisturbed, step_up_to_now
from arena.engine.holding import begin_held, note_hold
from arena.engine.motion import drive, publish_shadow, roll_freely, settle_place
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
    own_touch,
    panel_of,
    take_light,
)
from arena.engine.sky import change_sky, keep_air
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
    Weather,
)
from replays.format.tables import CUT_OFF, LEFT, RIGHT

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
def advance(
    scene: Scene,
    crowd: Crowd,
    out: Output,
    weather: Weather,
    pulses: PulseTable,
    held: RecordArray,
    until: float,
) -> int:
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
        if number == len(crowd.bodies):
            change_sky(scene, crowd, out, weather, time)
            continue
        phase = crowd.bodies[number]["phase"]
        was_held = crowd.bodies[number]["is_held"]
        notifies = False
        if phase == WAITING:
            fire(scene, crowd, out, pulses, held, number, time)
        elif phase == ARRIVING or (phase == COASTING and at_rest(crowd.bodies[number]["state"])):
            come_to_rest(scene, crowd, out, number, time)
            notifies = phase == COASTING and not was_held
        else:
            time, notifies = move_on(scene, crowd, out, number, time, until)
        if notifies:
            if len(crowd.bodies) > 1:
                update_neighbours(scene, crowd, out, number, time)
            if crowd.bodies[number]["phase"] > WAITING:
                look_about(scene, crowd, number, time)


@kernel_part
def move_on(
    scene: Scene, crowd: Crowd, out: Output, number: int, time: float, until: float
) -> tuple[float, bool]:
    """Let a moving walker make strides from ``time`` [s] until it rests or something else is due.

    Returns the time it has come to, and whether those near it are to be told.
    """
    body = crowd.bodies[number]
    state = body["state"]
    set_time(crowd.tree, number, math.inf)
    next_other = crowd.tree[1]
    end, look_time = crowd.settings[0]["until"], crowd.settings[0]["tolerances"]["look_time"]
    notifies = False
    if body["left"] < 0.0:
        look_about(scene, crowd, number, time)
    while True:
        if state["speed"] == 0.0 and not body["is_held"] and time - body["leant"] > look_time - OVER:
            # what it leans on may have gone
            be_free(state)
            body["leant"] = time
        longest, farthest = next_stride(crowd, number)
        way, time = stride(crowd, out, number, time, longest, farthest)
        notifies = after_stride(scene, crowd, out, number, time, way)
        if end - time <= OVER:
            return time, notifies
        resting = crowd.bodies[number]["phase"] == COASTING and at_rest(state)
        asked = out.stop[0] != 0 or out.counts[LOST_PLACE] != 0
        if asked or notifies or resting or time >= next_other or time > until or not room_left(out):
            set_time(crowd.tree, number, time)
            return time, notifies


@kernel_part
def fire(
    scene: Scene,
    crowd: Crowd,
    out: Output,
    pulses: PulseTable,
    held: RecordArray,
    number: int,
    time: float,
) -> None:
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
    begin_pulse(walker, body["side"], own_touch(body) != FREE, state)
    body["phase"] = PULSING
    body["pulses"] += 1
    body["start"] = time
    body["let_go"] = math.inf
    body["path"] = 0.0
    body["lit_at"], body["lit_x"], body["lit_y"] = time, body["x"], body["y"]
    write_pose(out.poses, out.counts, body, time)
    open_pulse(out.under_way[number], body, time)
    body["stopped"] = False
    if body["held"][body["side"]] > 0:
        begin_held(body)
    else:
        look_about(scene, crowd, number, time)
    foresee(crowd, pulses, held, number, time)
    set_time(crowd.tree, number, time)


@kernel
def next_stride(crowd: Crowd, number: int) -> tuple[float, float]:
    """How long a moving walker's next stride may take [s], and how far its tyre may roll in it [m]."""
    body, tolerances = crowd.bodies[number], crowd.settings[0]["tolerances"]
    if body["is_held"]:
        return tolerances["pace"], tolerances["stride"]
    if body["near"] or body["left"] < tolerances["stride"]:
        return tolerances["stride_time"], tolerances["stride"]
    track = crowd.walkers[body["built"]]["track"]
    # its axle's middle goes along an arc of a radius of half the track
    arc = min(tolerances["arc"], 4.0 * math.sqrt(tolerances["sag"] / track))
    longest = tolerances["look_time"] if body["close"] else tolerances["pace"]
    return longest, min(arc * track, body["left"])


@kernel_part
def stride(
    crowd: Crowd, out: Output, number: int, time: float, longest: float, farthest: float
) -> tuple[float, float]:
    """Step a moving walker's circuit and tyre from ``time`` [s]; returns the way passed [m] and the time.

    It takes no longer than ``longest`` [s], and its last step passes ``farthest`` [m].
    """
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    state = body["state"]
    which = body["side"]
    end = min(time + longest, crowd.settings[0]["until"])
    way = 0.0
    if body["phase"] == COASTING:
        while way < farthest and end - time > OVER and not at_rest(state):
            most = _short_of_wall(end - time, state["speed"], farthest)
            step, passed = coast_step(walker, which, state, most)
            time += step
            way += passed
        return way, time
    touch = own_touch(body)
    holds = True
    if body["foreseen"] == 1 and not is_undisturbed(body):
        holds = step_up_to_now(walker, body)
    if body["foreseen"] == 1:
        begun = state["elapsed"]
        holds, way = follow(walker, body, end - time, farthest)
        time += state["elapsed"] - begun
    panel = panel_of(body)
    while holds and body["foreseen"] == 0 and way < farthest and end - time > OVER:
        begun = state["elapsed"]
        most = _short_of_wall(end - time, state["speed"], farthest)
        holds, passed = pulse_step(walker, which, panel, touch != FREE, state, most)
        time += state["elapsed"] - begun
        way += passed
    if not holds:
        body["phase"] = COASTING
        body["let_go"] = time
        out.under_way[number]["let_go_V"] = state["rail"]
        begin_coasting(state)
        if body["is_held"]:
            lean_fully(state)
    body["since"] = time
    note_lost(crowd, out.counts, number, time)
    return way, time


@kernel
def _short_of_wall(longest: float, speed: float, farthest: float) -> float:
    """A step [s] of at most ``longest`` in which a tyre at ``speed`` [m/s] passes ``farthest`` [m]."""
    return min(longest, farthest / max(speed, 1e-3))


@kernel_part
def after_stride(scene: Scene, crowd: Crowd, out: Output, number: int, time: float, way: float) -> bool:
    """Move the body by the ``way`` [m] that its tyre has rolled up to ``time``.

    Returns whether it is time to tell those whom it concerns.
    """
    body, tolerances = crowd.bodies[number], crowd.settings[0]["tolerances"]
    if way > 0.0:
        forward = way * crowd.walkers[body["built"]]["side"][body["side"]]["turns"]
        if body["near"] or way > body["left"]:
            write_pushed(crowd, out, drive(scene.walls, crowd, number, forward), time)
            body["leant"] = time
        else:
            roll_freely(crowd, number, forward)
        write_motion(out.poses, out.counts, body, time)
        body["left"] -= way
    if body["phase"] == PULSING and time - body["start"] >= tolerances["light_after"]:
        look_at_light(scene, crowd, number, time)
    looks = body["left"] <= 0.0
    if body["close"] or body["near"]:
        gone = tolerances["look_way"] - body["left"]
        is_time = time - body["looked"] > tolerances["look_time"] - OVER
        looks = looks or (is_time and gone > tolerances["look_after"])
    if looks:
        look_at_touch(scene.walls, crowd, out.touches, out.counts, number, time)
    return bool(looks)


@kernel_part
def look_at_light(scene: Scene, crowd: Crowd, number: int, time: float) -> None:
    """Take a moving walker's light anew if it has gone on, or some time has passed, since that was done."""
    body, tolerances = crowd.bodies[number], crowd.settings[0]["tolerances"]
    dx, dy = body["x"] - body["lit_x"], body["y"] - body["lit_y"]
    far = dx * dx + dy * dy > tolerances["light_way"] * tolerances["light_way"]
    if far or time - body["lit_at"] > tolerances["light_time"]:
        take_light(scene, crowd, number)
        body["lit_at"], body["lit_x"], body["lit_y"] = time, body["x"], body["y"]


@kernel_part
def come_to_rest(scene: Scene, crowd: Crowd, out: Output, number: int, time: float) -> None:
    """The wheel has stopped, or the run begins: take stock and work out the next trigger."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    list_walls(scene.walls, crowd, number)
    write_pose(out.poses, out.counts, body, time)
    if body["phase"] == COASTING:
        wait(walker, panel_of(body), body["state"], time - body["since"])
        body["hold"] = body["let_go"] + recovery_time(walker["side"][body["side"]])
        note_pulse(crowd, out, number)
        write_pulse(out.pulses, out.counts, out.under_way[number], body, time)
    body["phase"] = WAITING
    if body["is_held"]:
        # whoever moves tells it what touches it
        body["is_held"] = False
    else:
        look_at_touch(scene.walls, crowd, out.touches, out.counts, number, time)
    keep_air(crowd, number)
    take_light(scene, crowd, number)
    write_light(out.lights, out.counts, body, time)
    draw_jitter(crowd, number)
    plan_trigger(crowd, out.counts, number, time)


@kernel_part
def note_pulse(crowd: Crowd, out: Output, number: int) -> None:
    """Take stock of a pulse that was tried: whether others hold the walker."""
    body, begun = crowd.bodies[number], out.under_way[number]
    if body["is_held"]:
        return
    turn = abs(body["heading"] - begun["heading0"])
    turn = min(turn, 2.0 * math.pi - turn)
    moved = body["path"] + farthest_of_body(crowd.walkers[body["built"]]) * turn
    note_hold(body, moved, crowd.settings[0]["tolerances"]["stride"])


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
