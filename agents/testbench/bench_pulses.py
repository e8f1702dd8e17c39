"""A pulse on the bench, with the whisker free or pressed, from the flash until the wheel stands.

The bench holds the walker by nothing: a pulse drives one wheel, the walker turns about the standing tyre and
coasts to rest.
"""

import math
from typing import Any

import numpy as np

from agents.circuit.charging import time_to_reach
from agents.circuit.eye import recovery_time
from agents.circuit.panel import LitPanel
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.status import COAST_UNENDED, SETTLED
from agents.circuit.tyre import at_rest, begin_coasting, coast_step
from agents.compiled import kernel, kernel_part

# A pulse that outlasts this [s] with an ordinary storage is taken as locked; larger storages get longer.
LONGEST_PULSE = 20.0
ORDINARY_STORAGE = 10e-3  # [F]

# What the kernels write of one pulse, in SI units; nan where there is nothing to tell.
PULSE_POINT = np.dtype(
    [
        ("reaches", np.bool_),
        ("locked", np.bool_),
        ("trigger", np.float64),
        ("charge", np.float64),
        ("pulse", np.float64),
        ("let_go", np.float64),
        ("turn", np.float64),
        ("advance", np.float64),
        ("path", np.float64),
        ("peak", np.float64),
        ("base_share", np.float64),
        ("coast", np.float64),
        ("held_rail", np.float64),
        ("held_motor", np.float64),
    ],
    align=True,
)


def time_between(pulse: Any) -> float:
    """Time from one pulse's start to the next [s] of a PULSE_POINT record; nan where none follows.

    Charging begins where the latch releases; a wheel that still coasts then comes to rest first.
    """
    return float(pulse["pulse"] + np.fmax(pulse["charge"], pulse["coast"]))


@kernel
def bench_pulse(
    walker: Any, number: int, lit: LitPanel, touched: bool, state: Any, longest: float
) -> tuple[float, float, float, bool]:
    """Run one free pulse of side ``number`` from the rail in ``state``, and let the wheel coast to rest.

    ``lit`` is the panel in its light, ``longest`` [s] a limit for pulse and coasting each. Returns (time
    that the latch held [s], time of coasting [s], floor passed under the tyre [m], locked). A pulse is
    locked when it outlasts the limit, or before that when all but nothing of the panel's current goes into
    or comes out of the storage and neither rotor nor coupling capacitor changes; such a pulse does not coast.
    The status of ``state`` tells whether it could be followed.
    """
    window = 0.25
    still = 1e-3
    quiet = still * lit.photocurrent * window / walker["capacitance"]
    begin_pulse(walker, number, touched, state)
    passed = 0.0
    looked = 0.0
    rail = state["rail"]
    coupling = state["coupling"]
    rotor = state["rotor"]
    while True:
        holds, way = pulse_step(walker, number, lit, touched, state, window)
        held = state["elapsed"]
        passed += way
        if not holds:
            break
        if held - looked >= window:
            if (
                abs(state["rail"] - rail) < quiet
                and abs(state["coupling"] - coupling) < still
                and abs(state["rotor"] - rotor) <= still * rotor
            ) or held >= longest:
                return held, 0.0, passed, True
            looked = held
            rail = state["rail"]
            coupling = state["coupling"]
            rotor = state["rotor"]
    coasted = 0.0
    begin_coasting(state)
    while not at_rest(state) and coasted < longest:
        step, way = coast_step(walker, number, state, longest)
        passed += way
        coasted += step
    if not at_rest(state):
        state["status"] |= COAST_UNENDED
    return held, coasted, passed, False


@kernel_part
def tell_nothing(point: Any) -> None:
    """Write into a PULSE_POINT record that there is no pulse to tell of."""
    point["reaches"] = False
    point["locked"] = False
    point["trigger"] = math.nan
    point["charge"] = math.nan
    point["pulse"] = math.nan
    point["let_go"] = math.nan
    point["turn"] = math.nan
    point["advance"] = math.nan
    point["path"] = math.nan
    point["peak"] = math.nan
    point["base_share"] = math.nan
    point["coast"] = math.nan
    point["held_rail"] = math.nan
    point["held_motor"] = math.nan


@kernel_part
def copy_pulse(point: Any, other: Any) -> None:
    """Copy one PULSE_POINT record into an ``other`` one."""
    other["reaches"] = point["reaches"]
    other["locked"] = point["locked"]
    other["trigger"] = point["trigger"]
    other["charge"] = point["charge"]
    other["pulse"] = point["pulse"]
    other["let_go"] = point["let_go"]
    other["turn"] = point["turn"]
    other["advance"] = point["advance"]
    other["path"] = point["path"]
    other["peak"] = point["peak"]
    other["base_share"] = point["base_share"]
    other["coast"] = point["coast"]
    other["held_rail"] = point["held_rail"]
    other["held_motor"] = point["held_motor"]


@kernel
def measure_pulse(
    walker: Any,
    number: int,
    trigger: float,
    lit: LitPanel,
    touched: bool,
    ignites: bool,
    state: Any,
    point: Any,
) -> int:
    """Write what side ``number`` does from a ``trigger`` [V] on into ``point``, a PULSE_POINT record.

    ``lit`` is the panel in its light; ``touched`` tells whether the whisker is pressed all the while and
    ``ignites`` whether the flash turns the latch on; ``state`` is a STATE record to work in. Returns a
    status.
    """
    side = walker["side"][number]
    state["status"] = SETTLED
    state["rail"] = trigger
    time, status = time_to_reach(walker, lit, 0.0, trigger)
    tell_nothing(point)
    point["trigger"] = trigger
    point["reaches"] = time < math.inf
    if not point["reaches"]:
        return status
    if not ignites:
        # the eye flashes and nothing follows, until its coupling capacitor has recovered
        point["charge"] = recovery_time(side)
        point["pulse"] = 0.0
        point["let_go"] = trigger
        point["turn"] = 0.0
        point["advance"] = 0.0
        point["path"] = 0.0
        point["peak"] = 0.0
        point["coast"] = 0.0
        return status
    state["motor_energy"] = 0.0
    state["base_energy"] = 0.0
    longest = LONGEST_PULSE * max(1.0, walker["capacitance"] / ORDINARY_STORAGE)
    held, coasted, passed, locked = bench_pulse(walker, number, lit, touched, state, longest)
    point["peak"] = state["peak"]
    if locked:
        point["locked"] = True
        point["held_rail"] = state["rail"]
        # nothing flows into the storage any more, so what the other currents leave goes to the motor
        point["held_motor"] = -state["drain"] - state["rail"] / walker["leak"]
        return state["status"]
    turn = passed / walker["track"]
    arm = math.hypot(walker["body_ahead"], 0.5 * walker["track"])
    spent = state["motor_energy"] + state["base_energy"]
    time, status = time_to_reach(walker, lit, state["rail"], trigger)
    point["charge"] = max(time, recovery_time(side))
    point["pulse"] = held
    point["let_go"] = state["rail"]
    point["turn"] = side["turns"] * turn
    point["advance"] = 2.0 * arm * abs(math.sin(0.5 * turn))
    point["path"] = arm * turn
    if spent > 0.0:
        point["base_share"] = state["base_energy"] / spent
    point["coast"] = coasted
    return state["status"] | status
