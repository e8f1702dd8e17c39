"""The LED of an eye that flashes: how far it is from going dark or lighting up, and how long it stays lit.

The model's LED is dark below ``lit_voltage`` and a resistor above it. That kink would spoil a long step, so a
step goes by one law, and ends about where the other sets in.
"""

import math
from typing import Any

from agents.circuit.flow import CircuitPoint, Flow
from agents.compiled import kernel

# About the emitter-base voltage [V] of a PNP that turns on; from memory, and a guess to begin with.
TURNING_ON = 0.65
# Rounds of Newton's method for the time up to where the eye goes dark.
DARK_ROUNDS = 5


@kernel
def above_lit(walker: Any, side: Any, drain: float, point: CircuitPoint, y: float, collector: float) -> float:
    """By how much [V] the eye of a side that fires stands above where its LED lights, at a ``point``.

    ``y`` and ``collector`` [V] are where the latch is, inf and of no use before a flash has turned it on;
    ``drain`` [A] flows besides the motor's current.
    """
    rail = point.stored - walker["esr"] * drain
    if y == math.inf:
        return rail - point.coupling - TURNING_ON - side["lit_voltage"]
    across = max(rail - collector - side["motor_constant"] * point.rotor, 0.0)
    rail -= across * walker["esr"] / (side["motor_resistance"] + walker["esr"])
    return rail - point.coupling - walker["thermal"] * y - side["lit_voltage"]


@kernel
def time_to_dark(above: float, one: Flow, slope: float) -> float:
    """How long [s] a lit eye stays lit; inf if it does.

    It stands ``above`` [V] where it lights, as far as that goes with the coupling capacitor, which decays
    along its ``slope`` [1/s], and with the storage, which falls evenly, both from the rates of ``one`` on.
    What is left above is convex in time, so that Newton's method comes up to that moment from before.
    """
    time = 0.0
    for _ in range(DARK_ROUNDS):
        left = math.exp(slope * time)
        falls = one.coupling * left - one.stored
        if falls <= 0.0:
            return math.inf
        time += (above + one.stored * time - one.coupling * (left - 1.0) / slope) / falls
    return time
