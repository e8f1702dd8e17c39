"""One pulse of one side: storage, latch, motor, tyre and body, in small steps.

    C dV/dt     = I_panel - I_m - I_Bn - I_Bp - I_eyes - V / R_leak
    I_m         = (V - V_CE - K omega) / R_m,  V_CE from the settled latch
    C_c du/dt   = I_c,   u = V_base - V_eye
    J domega/dt = K I_m - friction - r F,      F = mu N tanh((r omega - v) / epsilon)
    m_eff dv/dt = F - drag

The pulse holds while the NPN's capability covers the motor's demand, and ends by nothing else. Then the
wheel coasts to rest. The other side stays off all the while.

The latch is settled once a step, at its middle. The coupling capacitor, whose time constant can be far
shorter than a step, follows its own exponential within the step. Motor inductance (tens of microseconds) is
left out, and so is what base charge and wiring store: the latch follows at once and lets go at once.

Against full node equations the charge, the length and the let-go voltage of a pulse are within 3 %, mostly
within 1 %, for latch resistors of 1 to 100 kilohm, or to 47 kilohm with the whisker pressed. The model is
worse where the latch hardly holds and lets go by a hair, high up on the rail: by up to 5 % at 220 kilohm,
12 % at 470 kilohm, 15 % at 100 kilohm with the whisker pressed; and the length of a twitch, a millisecond or
less, is right in its order only.
"""

import math
from typing import Any, NamedTuple

from agents.circuit.charging import Currents, waiting_currents
from agents.circuit.eye import feed_resistance
from agents.circuit.latch import Kick, Settled, Supply, settle_latch
from agents.circuit.panel import LitPanel
from agents.circuit.status import NO_NUMBER
from agents.compiled import kernel, kernel_part


@kernel
def begin_pulse(walker: Any, number: int, touched: bool, state: Any) -> None:
    """Set ``state`` to the moment at which side ``number`` (0 left, 1 right) has just flashed."""
    side = walker["side"][number]
    state["coupling"] = side["quiet_current"] * feed_resistance(touched, side)
    state["rotor"] = 0.0
    state["speed"] = 0.0
    state["junction"] = 0.65
    state["collector"] = 0.03
    state["elapsed"] = 0.0
    state["cover"] = math.inf
    state["guess"] = math.inf
    state["drift"] = 0.0
    state["drain"] = 0.0
    state["peak"] = 0.0
    state["charge"] = 0.0


@kernel
def pulse_step_length(side: Any, state: Any, longest: float) -> float:
    """Step [s] for the state at hand: short while the lit eye pulls the coupling capacitor.

    An eighth of ``longest`` while the tyre takes hold of the floor. Towards the end of the pulse a quarter,
    then an eighth: as little is left across the latch resistor, or as the NPN's cover comes near to what its
    load needs, the collector runs off ever faster.
    """
    base = state["rail"] - state["junction"]
    if base - state["coupling"] > side["lit_voltage"] + 0.02:
        # longer from step to step, since a feeler resistor may keep the eye lit for as long as the pulse
        kick = side["flash_resistance"] * side["coupling"]
        return min(longest, 0.5 * kick + 0.15 * state["elapsed"])
    takes_hold = side["tyre_radius"] * state["rotor"] < side["slip_speed"]
    left = base - state["collector"]
    if takes_hold or state["cover"] < 4.0 or left < 0.12:
        return 0.125 * longest
    if state["cover"] < 8.0 or left < 0.17:
        return 0.25 * longest
    return longest


@kernel
def coupling_current(
    rail: float, rise: float, touched: bool, side: Any, state: Any, step: float
) -> tuple[float, float]:
    """Advance the coupling capacitor by ``step`` [s], its PNP's emitter-base voltage standing still.

    Returns its mean current [A] out of the PNP's base, and by how much [A/V] that is less where the
    emitter-base voltage is higher all step long.

    ``rail`` [V] at the start, and its ``rise`` [V/s], negative in a pulse. The eye's node sends current
    through the eye, through the series resistor into the collector (which is down while the latch holds), and
    through the feeler resistor to the rail while the whisker is pressed. So it nears a level of its own; the
    eye goes dark where it passes the lit voltage on the way. There are three stretches at the most, since an
    eye that goes dark in the step is not lit again in it.
    """
    lit = side["lit_voltage"]
    top = rail - state["junction"] - state["coupling"]
    is_lit = top > lit
    left = step
    phase = 0
    kept = 1.0
    change = rise * step + top
    while left > 0.0:
        conductance = 1.0 / side["series"]
        pull = state["collector"] / side["series"]
        if touched:
            conductance += 1.0 / side["feeler"]
            pull += rail / side["feeler"]
        if is_lit:
            conductance += 1.0 / side["flash_resistance"]
            pull += lit / side["flash_resistance"]
        elif top > 0.0:
            conductance += side["quiet_current"] / side["dark_trigger"]
        lag = side["coupling"] / conductance
        level = pull / conductance + rise * lag
        span = left
        if is_lit and level < lit:
            span = min(left, lag * math.log((top - level) / (lit - level)))
        elif not is_lit and level > lit and phase == 0:
            span = min(left, lag * math.log((level - top) / (level - lit)))
        fall = math.exp(-span / lag)
        top = level + (top - level) * fall
        kept *= fall
        left -= span
        is_lit = not is_lit
        phase += 1
    change -= top
    state["coupling"] += change
    return side["coupling"] * change / step, side["coupling"] * (1.0 - kept) / step


@kernel
def rolling(
    walker: Any, side: Any, rotor: float, speed: float, torque: float, braking: float, step: float
) -> tuple[float, float, float, float, float]:
    """Mean accelerations of motor and body over ``step`` [s], by one linearly implicit stage.

    ``torque`` [N m] of the motor at ``rotor`` [rad/s], ``braking`` [N m s] by which it falls with the speed,
    ``speed`` [m/s] of the floor under the tyre. Dry friction and drag never move anything by themselves.

    The tyre's force is taken along its tangent over the share theta of the step. That is the midpoint, of
    second order, where the step is short against tyre and motor, and goes towards the whole step where it is
    not, so that no tyre is too stiff and no rotor too light (a Rosenbrock method of one stage; Hairer and
    Wanner, Solving Ordinary Differential Equations II, chapter IV.7).

    Returns (rotor [rad/s2], body [m/s2], what a further torque adds to each [1/(kg m2)] and [1/(kg m)], and
    the share theta of the step [s]).
    """
    radius = side["tyre_radius"]
    inertia = side["rotor_inertia"]
    mass = walker["pivot_mass"]
    slip = radius * rotor - speed
    part = math.tanh(slip / side["slip_speed"])
    force = side["tyre_grip"] * part
    stiffness = side["tyre_grip"] * (1.0 - part * part) / side["slip_speed"]
    drive = torque - radius * force - side["motor_friction"]
    push = force - walker["drag"]
    turns = rotor > 0.0 or drive > 0.0
    moves = speed > 0.0 or push > 0.0
    if not turns:
        drive = 0.0
    if not moves:
        push = 0.0
    for tries in range(2):
        quickness = step * (stiffness * (radius * radius / inertia + 1.0 / mass) + braking / inertia)
        ahead = 0.5 * step if quickness < 2.0 else step * (1.0 - 1.0 / quickness)
        rotor_side = inertia + ahead * (braking + radius * radius * stiffness)
        body_side = mass + ahead * stiffness
        joint = ahead * radius * stiffness if turns and moves else 0.0
        scale = 1.0 / (rotor_side * body_side - joint * joint)
        gain = body_side * scale if turns else 0.0
        joint_gain = joint * scale
        rotor_rate = gain * drive + joint_gain * push
        speed_rate = joint_gain * drive + rotor_side * scale * push
        end = slip + step * (radius * rotor_rate - speed_rate)
        if tries == 1 or slip * end >= 0.0 or abs(end) < side["slip_speed"]:
            break
        # a full force all step long would throw the slip over to the other side: it gives way in proportion
        stiffness = force / slip
    return rotor_rate, speed_rate, gain, joint_gain, ahead


class Middle(NamedTuple):
    """A step's middle, before the latch is settled there.

    ``stored`` [V] in the storage; the coupling capacitor's mean current ``pushed`` [A] and its
    ``answer`` [A/V] as from :func:`coupling_current`; ``back`` [V] of back-EMF and the motor's current
    ``expected`` [A] if the collector stays; rates and gains of :func:`rolling`.
    """

    stored: float
    pushed: float
    answer: float
    back: float
    expected: float
    rotor_rate: float
    speed_rate: float
    rotor_gain: float
    speed_gain: float


@kernel_part
def middle_of(walker: Any, side: Any, touched: bool, state: Any, step: float) -> Middle:
    """Go to the middle of a ``step`` [s], with collector and other currents as they were a step ago.

    That is enough for second order. The coupling capacitor is advanced by the whole step.
    """
    stored = state["rail"]
    rotor = state["rotor"]
    constant = side["motor_constant"]
    conductance = 1.0 / (side["motor_resistance"] + walker["esr"])
    esr = walker["esr"]
    above = -esr * state["drain"] - state["collector"]
    motor = max(stored + above - constant * rotor, 0.0) * conductance
    leak = stored / walker["leak"]
    rise = -(state["drain"] + motor + leak) / walker["capacitance"]
    pushed, answer = coupling_current(
        stored - esr * (state["drain"] + motor), rise, touched, side, state, step
    )
    middle_stored = stored + 0.5 * step * rise
    motor = max(middle_stored + above - constant * rotor, 0.0) * conductance
    # braked also while it outruns the rail: within the step it may come back to drawing current
    braking = constant * constant * conductance
    rotor_rate, speed_rate, rotor_gain, speed_gain, ahead = rolling(
        walker, side, rotor, state["speed"], constant * motor, braking, step
    )
    back = constant * max(rotor + ahead * rotor_rate, 0.0)
    expected = max(middle_stored + above - back, 0.0) * conductance
    return Middle(
        middle_stored, pushed, answer, back, expected, rotor_rate, speed_rate, rotor_gain, speed_gain
    )


@kernel
def pulse_step(
    walker: Any, number: int, lit: LitPanel, touched: bool, state: Any, step: float
) -> tuple[bool, float]:
    """Advance a pulse by ``step`` [s]; returns (the latch still holds, floor passed under the tyre [m]).

    ``lit`` is the panel in its light. The latch is settled once, at the middle of the step; where it has let
    go by then nothing is advanced and the way is 0, so the end of a pulse is met to half a step. So it is
    where it is not known whether it holds, which the status of ``state`` then tells.
    """
    side = walker["side"][number]
    middle = middle_of(walker, side, touched, state, step)
    source = middle.stored - walker["esr"] * state["drain"]
    # where the latch is likely to rest if it goes on as it went; a kick that has just ended misleads
    likely = state["guess"] + max(min(step * state["drift"], 0.3), -0.3)
    latch = settle_latch(
        Supply(source, walker["esr"], middle.back),
        Kick(middle.pushed, middle.answer, state["junction"]),
        walker["thermal"],
        side,
        state["collector"],
        likely,
    )
    if not latch.holds:
        state["status"] |= latch.status
        return False, 0.0
    rail = source - walker["esr"] * latch.motor
    currents = waiting_currents(walker, lit, rail)
    way = go_on(side, middle, latch, state, step)
    settle_accounts(walker, middle, latch, currents, rail, state, step)
    state["status"] |= currents.status
    if not state["rail"] > -math.inf:
        state["status"] |= NO_NUMBER
        return False, 0.0
    return True, way


@kernel_part
def go_on(side: Any, middle: Middle, latch: Settled, state: Any, step: float) -> float:
    """Advance motor, tyre and what the latch is kept by, by a ``step`` [s]; returns the floor passed [m]."""
    further = side["motor_constant"] * (latch.motor - middle.expected)
    rotor_rate = middle.rotor_rate + middle.rotor_gain * further
    speed_rate = middle.speed_rate + middle.speed_gain * further
    speed = state["speed"]
    end_speed = max(speed + step * speed_rate, 0.0)
    state["elapsed"] += step
    state["drift"] = (latch.guess - state["guess"]) / step if state["guess"] < math.inf else 0.0
    state["rotor"] = max(state["rotor"] + step * rotor_rate, 0.0)
    state["speed"] = end_speed
    state["guess"] = latch.guess
    state["collector"] = latch.collector
    state["coupling"] -= middle.answer * (latch.junction - state["junction"]) * step / side["coupling"]
    state["junction"] = latch.junction
    state["cover"] = latch.cover
    state["peak"] = max(state["peak"], latch.motor)
    return 0.5 * step * (speed + end_speed)


@kernel_part
def settle_accounts(
    walker: Any, middle: Middle, latch: Settled, currents: Currents, rail: float, state: Any, step: float
) -> None:
    """Take what flows in a ``step`` [s] out of the storage, and write down where it went."""
    stored = state["rail"]
    drain = latch.base + latch.given + currents.eyes - currents.panel
    leak = middle.stored / walker["leak"]
    taken = drain + latch.motor + leak
    # a tiny storage may be empty before the step is over
    flow = step if step * taken <= walker["capacitance"] * stored else walker["capacitance"] * stored / taken
    end_stored = stored - flow * taken / walker["capacitance"]
    state["rail"] = end_stored
    state["drain"] = drain
    state["charge"] += flow * latch.motor
    # at the mean voltage of the storage, with which the energies of a step add up
    mean_stored = 0.5 * (stored + end_stored)
    drop = middle.stored - rail
    state["panel_energy"] += flow * currents.panel * (mean_stored - drop)
    state["motor_energy"] += flow * latch.motor * (mean_stored - drop)
    state["base_energy"] += flow * (latch.base + latch.given) * (mean_stored - drop)
    state["eye_energy"] += flow * currents.eyes * (mean_stored - drop)
    state["leak_energy"] += flow * middle.stored / walker["leak"] * mean_stored
    state["esr_energy"] += flow * (drain + latch.motor) * drop


@kernel
def coast_step(walker: Any, number: int, state: Any, step: float) -> float:
    """Advance the coasting of a side that has let go by ``step`` [s]; returns the floor passed [m].

    The wheel is at rest when both ``rotor`` and ``speed`` are exactly 0. The storage is left as it is: it
    charges meanwhile as in any wait, so that the caller advances it by :func:`agents.circuit.charging.wait`.
    """
    side = walker["side"][number]
    speed = state["speed"]
    rotor_rate, speed_rate, _, _, _ = rolling(walker, side, state["rotor"], speed, 0.0, 0.0, step)
    end_speed = max(speed + step * speed_rate, 0.0)
    state["rotor"] = max(state["rotor"] + step * rotor_rate, 0.0)
    state["speed"] = end_speed
    return 0.5 * step * (speed + end_speed)


@kernel
def at_rest(state: Any) -> bool:
    """Whether wheel and body have stopped."""
    return bool(state["rotor"] == 0.0 and state["speed"] == 0.0)
