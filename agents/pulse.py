"""One pulse of one side: storage, latch, motor, tyre and body, in small steps.

    C dV/dt     = I_panel - I_m - I_Bn - I_Bp - I_eyes - V / R_leak
    I_m         = (V - V_CE - K omega) / R_m,  V_CE from the settled latch
    C_c du/dt   = I_c,   u = V_base - V_eye
    J domega/dt = K I_m - friction - r F,      F = mu N tanh((r omega - v) / epsilon)
    m_eff dv/dt = F - drag

The pulse holds while the NPN's capability covers the motor's demand, and ends by nothing else. Then the
wheel coasts to rest. The other side stays off all the while.

Stepped with the midpoint rule. The coupling capacitor, whose time constant can be far shorter than a step,
follows its own exponential within the step. Motor inductance (tens of microseconds) is left out.
"""

import math
from typing import Any

from agents.compiled import kernel
from agents.eye import feed_resistance, quiet_draw
from agents.latch import settle_latch
from agents.panel import panel_current


@kernel
def begin_pulse(walker: Any, number: int, touched: bool, state: Any) -> None:
    """Set ``state`` to the moment at which side ``number`` (0 left, 1 right) has just flashed."""
    side = walker["side"][number]
    state["coupling"] = side["quiet_current"] * feed_resistance(touched, side)
    state["rotor"] = 0.0
    state["speed"] = 0.0
    state["junction"] = 0.65
    state["collector"] = 0.03
    state["guess"] = 60.0
    state["drain"] = 0.0
    state["peak"] = 0.0
    state["charge"] = 0.0


@kernel
def pulse_step_length(side: Any, state: Any, longest: float) -> float:
    """Step [s] for the state at hand: short while the lit eye pulls the coupling capacitor."""
    eye = state["rail"] - state["junction"] - state["coupling"]
    if eye > side["lit_voltage"] + 0.02:
        return min(longest, 0.5 * side["flash_resistance"] * side["coupling"])
    return longest


@kernel
def coupling_current(rail: float, touched: bool, side: Any, state: Any, step: float) -> float:
    """Advance the coupling capacitor by ``step`` [s]; returns its mean current [A] out of the PNP's base.

    The eye's node sends current through the eye while that is lit, through the series resistor into the
    collector (which is down while the latch holds), and through the feeler resistor to the rail while the
    whisker is pressed.
    """
    base = rail - state["junction"]
    conductance = 1.0 / side["series"]
    pull = state["collector"] / side["series"]
    if touched:
        conductance += 1.0 / side["feeler"]
        pull += rail / side["feeler"]
    if base - state["coupling"] > side["lit_voltage"]:
        conductance += 1.0 / side["flash_resistance"]
        pull += side["lit_voltage"] / side["flash_resistance"]
    end = base - pull / conductance
    change = (end - state["coupling"]) * -math.expm1(-step * conductance / side["coupling"])
    state["coupling"] += change
    return side["coupling"] * change / step


@kernel
def tyre_force(side: Any, rotor: float, speed: float) -> float:
    """Force [N] of the driven tyre on the floor, forward positive."""
    return side["tyre_grip"] * math.tanh((side["tyre_radius"] * rotor - speed) / side["slip_speed"])


@kernel
def against(drive: float, friction: float, moving: bool) -> float:
    """What a ``drive`` leaves after a dry ``friction`` that never moves anything by itself."""
    if moving or drive > friction:
        return drive - friction
    return min(drive, 0.0)


@kernel
def pulse_step(
    walker: Any, number: int, photocurrent: float, touched: bool, state: Any, step: float
) -> tuple[bool, float]:
    """Advance a pulse by ``step`` [s]; returns (the latch still holds, floor passed under the tyre [m]).

    ``photocurrent`` [A] of the panel. Where the latch lets go at the start of the step, nothing is advanced
    and the way is 0.
    """
    side = walker["side"][number]
    stored = state["rail"]
    rotor = state["rotor"]
    speed = state["speed"]
    constant = side["motor_constant"]
    share = walker["esr"] / side["motor_resistance"]

    pushed = coupling_current(stored, touched, side, state, step)
    motor = 0.0
    middle_stored = stored
    middle_rotor = rotor
    middle_speed = speed
    for stage in range(2):
        # the storage's series resistance divides with the motor's; other currents lag by one stage
        rail = middle_stored - walker["esr"] * state["drain"]
        back = constant * middle_rotor
        if rail > state["collector"] + back:
            rail = (rail + share * (state["collector"] + back)) / (1.0 + share)
        holds, motor, base, given, junction, collector, guess = settle_latch(
            rail, back, pushed, walker["thermal"], side, state["collector"], state["guess"]
        )
        if stage == 0 and not holds:
            return False, 0.0
        state["collector"] = collector
        panel = panel_current(
            rail,
            photocurrent,
            walker["panel_saturation"],
            walker["panel_thermal"],
            walker["panel_series"],
            walker["panel_shunt"],
        )
        eyes = quiet_draw(rail, walker["side"][0]) + quiet_draw(rail, walker["side"][1])
        leak = middle_stored / walker["leak"]
        state["guess"] = guess
        state["junction"] = junction
        state["drain"] = base + given + eyes - panel
        stored_rate = -(state["drain"] + motor + leak) / walker["capacitance"]
        force = tyre_force(side, middle_rotor, middle_speed)
        rotor_rate = (
            against(constant * motor - side["tyre_radius"] * force, side["motor_friction"], rotor > 0.0)
            / side["rotor_inertia"]
        )
        speed_rate = against(force, walker["drag"], speed > 0.0) / walker["pivot_mass"]
        ahead = 0.5 * step if stage == 0 else step
        middle_stored = stored + ahead * stored_rate
        middle_rotor = max(rotor + ahead * rotor_rate, 0.0)
        middle_speed = max(speed + ahead * speed_rate, 0.0)

    state["rail"] = middle_stored
    state["rotor"] = middle_rotor
    state["speed"] = middle_speed
    state["peak"] = max(state["peak"], motor)
    state["charge"] += step * motor
    # the second stage stands at the middle of the step, so its powers are those of the midpoint rule
    internal = rail + walker["esr"] * (state["drain"] + motor)
    state["panel_energy"] += step * panel * rail
    state["motor_energy"] += step * motor * rail
    state["base_energy"] += step * (base + given) * rail
    state["eye_energy"] += step * eyes * rail
    state["leak_energy"] += step * leak * internal
    state["esr_energy"] += step * walker["esr"] * (state["drain"] + motor) ** 2
    return True, 0.5 * step * (speed + middle_speed)


@kernel
def coast_step(walker: Any, number: int, photocurrent: float, state: Any, step: float) -> float:
    """Advance the coasting of a side that has let go by ``step`` [s]; returns the floor passed [m].

    The wheel is at rest when both ``rotor`` and ``speed`` are exactly 0. The storage charges meanwhile.
    """
    side = walker["side"][number]
    rotor = state["rotor"]
    speed = state["speed"]
    middle_rotor = rotor
    middle_speed = speed
    for stage in range(2):
        force = tyre_force(side, middle_rotor, middle_speed)
        rotor_rate = against(-side["tyre_radius"] * force, side["motor_friction"], rotor > 0.0)
        speed_rate = against(force, walker["drag"], speed > 0.0)
        ahead = 0.5 * step if stage == 0 else step
        middle_rotor = max(rotor + ahead * rotor_rate / side["rotor_inertia"], 0.0)
        middle_speed = max(speed + ahead * speed_rate / walker["pivot_mass"], 0.0)
    state["rotor"] = middle_rotor
    state["speed"] = middle_speed
    return 0.5 * step * (speed + middle_speed)


@kernel
def at_rest(state: Any) -> bool:
    """Whether wheel and body have stopped."""
    return bool(state["rotor"] == 0.0 and state["speed"] == 0.0)
