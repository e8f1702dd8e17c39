"""A first look at a walker, which sorts out most of those that will not do long before all is measured.

It tells for certain that a walker has a fault that it may not have, from whether it fires and from its free
pulse alone, and gives a pulse up as soon as it has turned the walker further than a healthy one does: that
one will come to spin it, or never end. Of a walker that it lets pass nothing is known yet.
"""

import math
from typing import Any

from agents.circuit.charging import charging_current
from agents.circuit.eye import on_voltage, trigger_voltage
from agents.circuit.ignition import ignites
from agents.circuit.panel import LitPanel
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.status import SETTLED
from agents.compiled import kernel
from agents.testbench.faults import (
    BLIND_BIT,
    DIM_BIT,
    LOCKED_BIT,
    SPIN_BIT,
    SPIN_TURN,
    TWITCH_BIT,
    lets_go_at_once,
)

# With one of these a walker never fires; a pulse that turns it too far makes for one of those.
SILENT = DIM_BIT | BLIND_BIT
ENDLESS = SPIN_BIT | LOCKED_BIT

# Where a pulse lasts longer than this [s] without turning the walker much, no more is told of it.
LONGEST_LOOK = 1.0


@kernel
def has_other_than(walker: Any, light: float, lit: LitPanel, twins: bool, allowed: int, state: Any) -> bool:
    """Whether a WALKER record is sure to have a fault in ``light`` [lx] that is none of the ``allowed`` bits.

    ``lit`` is the panel in that light; ``twins`` tells whether its sides are mirror images; ``state`` is a
    STATE record to work in.
    """
    left = walker["side"][0]
    right = walker["side"][1]
    free = False
    lower = min(trigger_voltage(light, free, left), trigger_voltage(light, free, right))
    current, status = charging_current(walker, lit, lower)
    if status != SETTLED:
        return False
    if current <= 0.0:
        return allowed & SILENT == 0
    if allowed & ENDLESS != 0 and allowed & TWITCH_BIT != 0:
        return False
    furthest = SPIN_TURN * walker["track"]
    for number in range(1 if twins else 2):
        side = walker["side"][number]
        trigger = trigger_voltage(light, free, side)
        current, status = charging_current(walker, lit, trigger)
        if status != SETTLED or not current > 0.0 or not ignites(on_voltage(light, side), free, side):
            continue
        state["status"] = SETTLED
        state["rail"] = trigger
        begin_pulse(walker, number, free, state)
        passed = 0.0
        holds = True
        while passed <= furthest and state["elapsed"] < LONGEST_LOOK:
            holds, way = pulse_step(walker, number, lit, free, state, LONGEST_LOOK)
            passed += way
            if not holds:
                break
        if state["status"] != SETTLED or math.isnan(passed):
            return False
        if passed > furthest and allowed & ENDLESS == 0:
            return True
        if not holds and allowed & TWITCH_BIT == 0 and lets_go_at_once(state["rail"], trigger):
            return True
    return False
