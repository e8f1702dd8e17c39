"""What a world writes down: rows of pulses, poses, touches and light, in the replay's own columns."""

import math
from typing import Any

from agents.arrays import IntArray, RecordArray
from agents.compiled import kernel
from arena.engine.world_arrays import (
    AT_WALL,
    FREE,
    LIGHT_ROWS,
    POSE_ROWS,
    PULSE_ROWS,
    PULSING,
    TOUCH_ROWS,
    Output,
)
from replays.format.tables import LEFT, LET_GO, TOUCHED_BODY, TOUCHED_LEFT, TOUCHED_RIGHT, WALL

# Rows that one event writes at the most: so many for each walker, and so many more.
PULSES_AT_ONCE = (0, 2)
POSES_AT_ONCE = (4, 8)
TOUCHES_AT_ONCE = (6, 12)
LIGHTS_AT_ONCE = (2, 8)
# A pose is written when the walker has moved [m] or turned [rad] this much since the last one.
POSE_MOVE = 0.002
POSE_TURN = 0.09
# A walker of which nothing was written for so long was standing [s].
STANDING_AFTER = 0.1
# Of a pulse that lasts longer than this, poses are written this seldom [s].
LOCKED_AFTER = 5.0
LOCKED_PACE = 0.2


@kernel
def room_left(out: Output) -> bool:
    """Whether the output tables hold what one event can write at most."""
    walkers = len(out.under_way)
    return bool(
        out.counts[PULSE_ROWS] + PULSES_AT_ONCE[0] * walkers + PULSES_AT_ONCE[1] <= len(out.pulses)
        and out.counts[POSE_ROWS] + POSES_AT_ONCE[0] * walkers + POSES_AT_ONCE[1] <= len(out.poses)
        and out.counts[TOUCH_ROWS] + TOUCHES_AT_ONCE[0] * walkers + TOUCHES_AT_ONCE[1] <= len(out.touches)
        and out.counts[LIGHT_ROWS] + LIGHTS_AT_ONCE[0] * walkers + LIGHTS_AT_ONCE[1] <= len(out.lights)
    )


@kernel
def write_pose(poses: RecordArray, counts: IntArray, body: Any, time: float) -> None:
    """Write where a walker stands at ``time`` [s]."""
    body["written"] = time
    body["written_x"] = body["x"]
    body["written_y"] = body["y"]
    body["written_heading"] = body["heading"]
    _pose_row(poses, counts, body, time)


@kernel
def _pose_row(poses: RecordArray, counts: IntArray, body: Any, time: float) -> None:
    pose = poses[counts[POSE_ROWS]]
    pose["walker"] = body["number"]
    pose["time_s"] = time
    pose["x"] = body["written_x"]
    pose["y"] = body["written_y"]
    pose["heading"] = body["written_heading"]
    counts[POSE_ROWS] += 1


@kernel
def write_standing(poses: RecordArray, counts: IntArray, body: Any, time: float) -> None:
    """Write that a walker that is about to move still stood where it was last written, at ``time`` [s]."""
    if time - body["written"] >= STANDING_AFTER:
        _pose_row(poses, counts, body, time)
        body["written"] = time


@kernel
def write_motion(poses: RecordArray, counts: IntArray, body: Any, time: float) -> None:
    """Write the pose of a moving walker if it has changed enough to be seen."""
    far = abs(body["x"] - body["written_x"]) + abs(body["y"] - body["written_y"]) > POSE_MOVE
    if not far and abs(body["heading"] - body["written_heading"]) < POSE_TURN:
        return
    locked = body["phase"] == PULSING and time - body["start"] > LOCKED_AFTER
    if not locked or time - body["written"] >= LOCKED_PACE:
        write_pose(poses, counts, body, time)


@kernel
def write_light(lights: RecordArray, counts: IntArray, body: Any, time: float) -> None:
    """Write the light that a walker has from ``time`` [s] on."""
    light = lights[counts[LIGHT_ROWS]]
    light["walker"] = body["number"]
    light["time_s"] = time
    light["left_lx"] = body["left_light"]
    light["right_lx"] = body["right_light"]
    light["panel_lx"] = body["panel_light"]
    light["open_panel_lx"] = body["open_light"]
    counts[LIGHT_ROWS] += 1


@kernel
def write_touch(
    touches: RecordArray, counts: IntArray, body: Any, time: float, part: int, before: int, now: int
) -> None:
    """Write that a ``part``, a whisker or the body, met or left something.

    ``before`` and ``now``: FREE, AT_WALL or AT_WALKER.
    """
    for closed in range(2):
        against = before if closed == 0 else now
        if against != FREE and before != now:
            touch = touches[counts[TOUCH_ROWS]]
            touch["walker"] = body["number"]
            touch["time_s"] = time
            touch["part"] = part
            touch["closed"] = closed
            touch["against"] = against - AT_WALL + WALL
            counts[TOUCH_ROWS] += 1


@kernel
def open_pulse(pulse: Any, body: Any, time: float) -> None:
    """Begin the row of a pulse that has just been fired; :func:`write_pulse` writes it."""
    touched = 0
    if body["left_touch"] != FREE:
        touched |= TOUCHED_LEFT
    if body["right_touch"] != FREE:
        touched |= TOUCHED_RIGHT
    if body["body_touch"] != FREE:
        touched |= TOUCHED_BODY
    rail = body["state"]["rail"]
    pulse["walker"] = body["number"]
    pulse["side"] = body["side"]
    pulse["touched"] = touched
    pulse["ended"] = LET_GO
    pulse["start_s"] = time
    pulse["trigger_V"] = rail
    pulse["other_trigger_V"] = body["right_trigger"] if body["side"] == LEFT else body["left_trigger"]
    pulse["let_go_V"] = rail
    pulse["light_left_lx"] = body["left_light"]
    pulse["light_right_lx"] = body["right_light"]
    pulse["light_panel_lx"] = body["panel_light"]
    pulse["open_panel_lx"] = body["open_light"]
    pulse["x0"] = body["x"]
    pulse["y0"] = body["y"]
    pulse["heading0"] = body["heading"]


@kernel
def write_pulse(pulses: RecordArray, counts: IntArray, pulse: Any, body: Any, time: float) -> None:
    """Write the row of a pulse that came to rest, or was cut off by the run's end, at ``time`` [s]."""
    pulse["let_go_s"] = min(body["let_go"], time)
    pulse["rest_s"] = time
    pulse["x1"] = body["x"]
    pulse["y1"] = body["y"]
    pulse["heading1"] = body["heading"]
    pulse["path_m"] = body["path"]
    pulse["peak_A"] = body["state"]["peak"]
    pulse["charge_C"] = body["state"]["charge"]
    if body["let_go"] == math.inf:
        pulse["let_go_V"] = body["state"]["rail"]
    pulses[counts[PULSE_ROWS]] = pulse
    counts[PULSE_ROWS] += 1
