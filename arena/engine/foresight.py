"""A pulse that is looked up at its flash, and goes as told while nothing meddles with it.

What it comes to is read from a table (:mod:`agents.circuit.pulse_table`), and the body goes along as it does.
Where the body meets something, the whisker is pressed or the light changes, the pulse is stepped from its
flash up to that moment, and goes on step by step.
"""

from typing import Any

from agents.arrays import RecordArray
from agents.circuit.held_pulse import tell_held
from agents.circuit.panel import panel_temperature
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.pulse_table import LENGTH, PulseTable, end_by, gone_after, look_up, time_of_way
from agents.circuit.tyre import lean_fully
from agents.compiled import kernel, kernel_part
from arena.engine.senses import own_touch, panel_of
from arena.engine.world_arrays import FREE, Crowd

# What is left of a time when a pulse has been stepped up to it [s].
CAUGHT_UP = 1e-12


@kernel_part
def foresee(crowd: Crowd, pulses: PulseTable, held: RecordArray, number: int, time: float) -> None:
    """Look up what the pulse that a walker has just begun comes to, where that can be told.

    Not one in which its light is taken anew or which the run cuts off. ``held`` is what sides have learned of
    pulses in which others hold them.
    """
    body, settings = crowd.bodies[number], crowd.settings[0]
    walker = crowd.walkers[body["built"]]
    body["foreseen"] = 0
    body["flash_current"], body["told_speed"] = body["photocurrent"], 0.0
    touched, side = own_touch(body) != FREE, body["side"]
    body["flash_touched"], body["flash_held"] = touched, body["is_held"]
    root, learns = body["tables"][side], body["learns"]
    panel, state, outcome = panel_of(body), body["state"], body["outcome"]
    is_told = False
    if body["is_held"]:
        if learns >= 0:
            known = held[learns + 2 * side + touched]
            is_told = tell_held(walker, side, panel, touched, state, known, outcome)
    elif root >= 0 and not touched:
        warmth = panel_temperature(walker, panel)
        is_told = look_up(pulses, root, state["rail"], panel.photocurrent, warmth, outcome)
    lasts = outcome[LENGTH]
    if is_told and lasts < settings["tolerances"]["light_after"] and time + lasts < settings["until"]:
        body["foreseen"] = 1
        body["rolled"] = 0.0


@kernel
def is_undisturbed(body: Any) -> bool:
    """Whether a pulse has gone as told: in touch and light as at its flash, not slowed down, nor freed."""
    is_lit = body["photocurrent"] == body["flash_current"] and body["is_held"] == body["flash_held"]
    is_touched = own_touch(body) != FREE
    is_same = is_touched == (body["flash_touched"] == 1)
    return bool(is_same and is_lit and body["state"]["speed"] == body["told_speed"])


@kernel
def follow(walker: Any, body: Any, longest: float, farthest: float) -> tuple[bool, float]:
    """Go on with a pulse as told, for ``longest`` [s] and a way of the tyre of ``farthest`` [m] at the most.

    Returns (the latch still holds, floor passed under the tyre [m]).
    """
    state, outcome = body["state"], body["outcome"]
    begun, rolled, lasts = state["elapsed"], body["rolled"], outcome[LENGTH]
    end = min(begun + longest, lasts)
    if gone_after(outcome, end)[0] > rolled + farthest:
        end = min(max(time_of_way(outcome, rolled + farthest), begun), end)
    body["rolled"], state["speed"] = gone_after(outcome, end)
    body["told_speed"] = state["speed"]
    holds = end < lasts
    state["elapsed"] = end
    if not holds:
        end_by(walker, outcome, state)
    return bool(holds), max(body["rolled"] - rolled, 0.0)


@kernel
def step_up_to_now(walker: Any, body: Any) -> bool:
    """Step a pulse from its flash up to where it has come to as told; returns whether the latch still holds.

    The body stays where it is, and is no faster than what slowed it down has left it. From now on the pulse
    is stepped.
    """
    state, panel = body["state"], panel_of(body)
    elapsed, speed = state["elapsed"], state["speed"]
    leans, rubs = state["leans"], state["rubs"]
    body["foreseen"] = 0
    touched = body["flash_touched"] == 1
    begin_pulse(walker, body["side"], touched, state)
    if body["flash_held"]:
        lean_fully(state)
    holds = True
    while holds and elapsed - state["elapsed"] > CAUGHT_UP:
        holds, _ = pulse_step(walker, body["side"], panel, touched, state, elapsed - state["elapsed"])
    state["leans"], state["rubs"] = leans, rubs
    if speed != body["told_speed"]:
        state["speed"] = min(state["speed"], speed)
    return holds
