"""When a waiting walker fires next, worked out ahead; and that the model has lost one."""

import math

from agents.arrays import IntArray
from agents.circuit.charging import charge_to
from agents.circuit.status import NO_NUMBER, SETTLED
from agents.compiled import kernel
from agents.noise import TRIGGER, normal_pair
from arena.engine.schedule import set_time
from arena.engine.senses import panel_of, set_triggers
from arena.engine.world_arrays import LOST_PLACE, Crowd


@kernel
def draw_jitter(crowd: Crowd, number: int) -> None:
    """Draw the jitter of both eyes for the coming pulse."""
    body = crowd.bodies[number]
    side = crowd.walkers[crowd.bodies[number]["built"]]["side"]
    left, right = normal_pair(crowd.settings[0]["seed"], body["chance"], TRIGGER, body["pulses"])
    body["left_noise"] = left * side[0]["jitter"]
    body["right_noise"] = right * side[1]["jitter"]


@kernel
def plan_trigger(crowd: Crowd, counts: IntArray, number: int, now: float) -> None:
    """Work out when a waiting walker, whose rail holds for ``now`` [s], fires."""
    walker, body = crowd.walkers[crowd.bodies[number]["built"]], crowd.bodies[number]
    set_triggers(walker, body)
    body["since"] = now
    goal = min(body["left_trigger"], body["right_trigger"])
    time = math.inf
    if math.isnan(body["left_light"] + body["right_light"] + body["photocurrent"]):
        body["state"]["status"] |= NO_NUMBER
    elif goal < math.inf:
        charging = charge_to(walker, panel_of(body), body["state"]["rail"], goal)
        body["state"]["status"] |= charging.status
        body["due"] = now + charging.time
        body["goal"] = goal
        body["due_panel"], body["due_eyes"], body["due_leak"] = charging.panel, charging.eyes, charging.leak
        time = max(body["due"], body["hold"])
    note_lost(crowd, counts, number, now)
    set_time(crowd.tree, number, time)


@kernel
def note_lost(crowd: Crowd, counts: IntArray, number: int, time: float) -> None:
    """Write down that the model has lost a walker, if the status of its circuit says so."""
    body = crowd.bodies[number]
    if body["state"]["status"] != SETTLED and counts[LOST_PLACE] == 0:
        counts[LOST_PLACE] = number + 1
        body["lost_at"] = time
