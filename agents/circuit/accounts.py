"""Where the charge and the energy of a step of a pulse went, and where the step has come to."""

import math
from typing import Any

from agents.circuit.flow import CircuitPoint, Flow
from agents.circuit.stages import WEIGHTS
from agents.compiled import kernel_part


@kernel_part
def arrive(state: Any, step: float, end: CircuitPoint) -> None:
    """Write into ``state`` where a ``step`` [s] has come to."""
    state["rail"] = end.stored
    state["coupling"] = end.coupling
    state["rotor"] = end.rotor
    state["speed"] = end.speed
    state["elapsed"] += step


@kernel_part
def settle_accounts(
    walker: Any, side: Any, state: Any, step: float, end: float, one: Flow, two: Flow, three: Flow, four: Flow
) -> None:
    """Write down where in a ``step`` [s] what left the storage went; it stands at ``end`` [V] then.

    At the mean voltage of the storage, with which the energies of a step add up.
    """
    w1, w2, w3, w4 = WEIGHTS
    motor = step * (w1 * one.motor + w2 * two.motor + w3 * three.motor + w4 * four.motor)
    bases = step * (w1 * one.bases + w2 * two.bases + w3 * three.bases + w4 * four.bases)
    eyes = step * (w1 * one.eyes + w2 * two.eyes + w3 * three.eyes + w4 * four.eyes)
    leak = step * (w1 * one.leak + w2 * two.leak + w3 * three.leak + w4 * four.leak)
    panel = step * (w1 * one.panel + w2 * two.panel + w3 * three.panel + w4 * four.panel)
    mean = 0.5 * (state["rail"] + end)
    drop = walker["esr"] * (motor + bases + eyes - panel) / step
    state["charge"] += motor
    # behind a series resistance of the storage it follows no faster than the kick, or it would swing
    follows = 1.0 - math.exp(-step / (side["flash_resistance"] * side["coupling"]))
    state["drain"] += follows * (four.bases + four.eyes - four.panel - state["drain"])
    state["panel_energy"] += panel * (mean - drop)
    state["motor_energy"] += motor * (mean - drop)
    state["base_energy"] += bases * (mean - drop)
    state["eye_energy"] += eyes * (mean - drop)
    state["leak_energy"] += leak * mean
    state["esr_energy"] += (motor + bases + eyes - panel) * drop
