"""Charging between pulses: how long until the rail reaches a voltage, and where it stands after a time.

    C dV/dt = I_panel(V) - I_eyes(V) - V / R_leak

The current on the right falls as V rises, so the rail nears one resting voltage and never passes it.
"""

import math
from typing import Any, NamedTuple

from agents.circuit.eye import quiet_draw
from agents.circuit.panel import LitPanel, open_circuit_voltage, panel_current
from agents.circuit.status import CHARGE_UNFINISHED, NO_NUMBER, SETTLED, WAIT_UNFINISHED
from agents.compiled import kernel, kernel_part

# Intervals of a charging, halvings of one, and steps of a wait at the most; healthy ones take far less.
INTERVALS = 400
HALVINGS = 100
STEPS = 100_000


class Currents(NamedTuple):
    """Currents [A] of panel, both eyes and leak while a walker waits, and a status."""

    panel: float
    eyes: float
    leak: float
    status: int


@kernel
def waiting_currents(walker: Any, lit: LitPanel, rail: float) -> Currents:
    """Currents at ``rail`` [V] while the walker waits."""
    panel, status = panel_current(
        rail,
        lit.photocurrent,
        lit.saturation,
        lit.thermal,
        walker["panel_series"],
        walker["panel_shunt"],
    )
    eyes = quiet_draw(rail, walker["side"][0]) + quiet_draw(rail, walker["side"][1])
    return Currents(panel, eyes, rail / walker["leak"], status)


@kernel
def open_circuit(walker: Any, lit: LitPanel) -> tuple[float, int]:
    """Voltage [V] up to which the walker's panel charges with nothing else connected, and a status."""
    return open_circuit_voltage(lit.photocurrent, lit.saturation, lit.thermal, walker["panel_shunt"])


@kernel
def charging_current(walker: Any, lit: LitPanel, rail: float) -> tuple[float, int]:
    """Current [A] into the storage at ``rail`` [V], and a status.

    The storage's series resistance hardly matters here.
    """
    panel, eyes, leak, status = waiting_currents(walker, lit, rail)
    return panel - eyes - leak, status


@kernel
def time_to_reach(walker: Any, lit: LitPanel, start: float, goal: float) -> tuple[float, int]:
    """Time [s] until the rail climbs from ``start`` to ``goal`` [V], and a status.

    0 if the rail is there, inf if it never is.
    """
    charging = charge_to(walker, lit, start, goal)
    return charging.time, charging.status


class Charging(NamedTuple):
    """A charging: its time [s], energy [J] of the panel, to the eyes and to the leak, and a status."""

    time: float
    panel: float
    eyes: float
    leak: float
    status: int


@kernel
def charge_to(walker: Any, lit: LitPanel, start: float, goal: float) -> Charging:
    """Charging from ``start`` to ``goal`` [V].

    All 0 if the rail is there; the time is inf, and the rest 0, if it never is, which the current at the goal
    tells, since it falls as the rail rises. The time is C times the integral of dV / I, over four-point Gauss
    intervals. They end at the kinks of the eyes' draw and are halved while the current falls to less than 0.7
    of itself along one.

    The current is concave between kinks, so that two intervals on end take it below 0.7 of itself or reach
    the next kink or the goal; and no interval that ends there is shorter than 1e-7 V. From 1 A down to the
    current that is left 1e-7 V before rest that is a hundred and some of ``INTERVALS``.
    """
    time, panel_energy, eye_energy, leak_energy = 0.0, 0.0, 0.0, 0.0
    if start >= goal:
        return Charging(time, panel_energy, eye_energy, leak_energy, SETTLED)
    current, status = charging_current(walker, lit, goal)
    if status != SETTLED:
        return Charging(math.inf, 0.0, 0.0, 0.0, status)
    if current <= 0.0:
        return Charging(math.inf, 0.0, 0.0, 0.0, SETTLED)
    kink0 = walker["side"][0]["dark_trigger"]
    kink1 = walker["side"][1]["dark_trigger"]
    rail = start
    here, status = charging_current(walker, lit, rail)
    for _ in range(INTERVALS):
        if rail >= goal:
            break
        end = goal
        if rail < kink0 < end:
            end = kink0
        if rail < kink1 < end:
            end = kink1
        there, beside = charging_current(walker, lit, end)
        status |= beside
        halvings = 0
        while there < 0.7 * here and end - rail > 1e-7 and halvings < HALVINGS:
            halvings += 1
            end = rail + 0.5 * (end - rail)
            there, beside = charging_current(walker, lit, end)
            status |= beside
        middle = 0.5 * (rail + end)
        half = 0.5 * (end - rail)
        for node in range(4):
            place = 0.3399810435848563 if node < 2 else 0.8611363115940526
            weight = 0.6521451548625461 if node < 2 else 0.3478548451374538
            voltage = middle + half * (place if node % 2 == 0 else -place)
            panel, eyes, leak, beside = waiting_currents(walker, lit, voltage)
            status |= beside
            taken = walker["capacitance"] * half * weight / (panel - eyes - leak)
            time += taken
            panel_energy += taken * panel * voltage
            eye_energy += taken * eyes * voltage
            leak_energy += taken * leak * voltage
        rail = end
        here = there
    if rail < goal:
        status |= CHARGE_UNFINISHED
    if math.isnan(time):
        status |= NO_NUMBER
    if status != SETTLED:
        return Charging(math.inf, 0.0, 0.0, 0.0, status)
    return Charging(time, panel_energy, eye_energy, leak_energy, SETTLED)


@kernel
def wait(walker: Any, lit: LitPanel, state: Any, duration: float) -> None:
    """Let the storage charge (or run down) for ``duration`` [s]; updates rail and energies of ``state``.

    The third-order rule of Bogacki and Shampine (Applied Mathematics Letters 2, 1989) with its second-order
    error estimate, held under a microvolt a step. Where the rail has come to rest, what is left of the wait
    passes in one go. Joins WAIT_UNFINISHED to the status of ``state`` where ``STEPS`` do not do.
    """
    rail = state["rail"]
    capacitance = walker["capacitance"]
    left = duration
    step = duration
    steps = 0
    status = SETTLED
    while left > 0.0 and steps < STEPS:
        steps += 1
        step = min(step, left)
        one = waiting_currents(walker, lit, rail)
        net = one.panel - one.eyes - one.leak
        rate1 = net / capacitance
        # at rest to within a tenth of a microvolt, or to what rounding leaves of the currents
        if abs(rate1) * left < 1e-7 or abs(net) < 1e-9 * (abs(one.panel) + one.eyes + one.leak):
            status |= one.status
            state["panel_energy"] += left * one.panel * rail
            state["eye_energy"] += left * one.eyes * rail
            state["leak_energy"] += left * one.leak * rail
            left = 0.0
            break
        # a longer reach would put an inner stage far up the panel's exponential, where it tells nothing
        step = min(step, 0.1 / max(abs(rate1), 1e-12))
        rail2 = rail + 0.5 * step * rate1
        two = waiting_currents(walker, lit, rail2)
        rate2 = (two.panel - two.eyes - two.leak) / capacitance
        if abs(rate2) * step > 1.0:
            step *= 0.1
            continue
        # near rest a step that is long against the rate's own fall would only swing about it, for ever
        fall = 2.0 * abs(1.0 - rate2 / rate1)
        if fall > 1.5:
            step *= 1.2 / fall
            continue
        rail3 = rail + 0.75 * step * rate2
        three = waiting_currents(walker, lit, rail3)
        rate3 = (three.panel - three.eyes - three.leak) / capacitance
        if abs(rate3) * step > 1.0:
            step *= 0.1
            continue
        end = rail + step * (2.0 * rate1 + 3.0 * rate2 + 4.0 * rate3) / 9.0
        current4, status4 = charging_current(walker, lit, end)
        rate4 = current4 / capacitance
        error = abs(step * (-5.0 * rate1 / 72.0 + rate2 / 12.0 + rate3 / 9.0 - rate4 / 8.0))
        if error > 1e-6:
            step *= max(0.9 * (1e-6 / error) ** (1.0 / 3.0), 0.1)
            continue
        # what a step that is taken back has met does not count
        status |= one.status | two.status | three.status | status4
        share_out(state, step, one, two, three, rail, rail2, rail3)
        rail = end
        left -= step
        if left > 0.0:
            step *= min(0.9 * (1e-6 / error) ** (1.0 / 3.0), 5.0) if error > 0.0 else 5.0
    if left > 0.0:
        status |= WAIT_UNFINISHED
    if not math.isfinite(rail):
        status |= NO_NUMBER
    state["rail"] = rail
    state["status"] |= status


@kernel_part
def share_out(
    state: Any,
    step: float,
    one: Currents,
    two: Currents,
    three: Currents,
    rail: float,
    rail2: float,
    rail3: float,
) -> None:
    """Add to ``state`` the energies of a ``step`` [s] of a wait with its three stages at their rails [V]."""
    share1 = step * 2.0 / 9.0
    share2 = step / 3.0
    share3 = step * 4.0 / 9.0
    state["panel_energy"] += (
        share1 * one.panel * rail + share2 * two.panel * rail2 + share3 * three.panel * rail3
    )
    state["eye_energy"] += share1 * one.eyes * rail + share2 * two.eyes * rail2 + share3 * three.eyes * rail3
    state["leak_energy"] += share1 * one.leak * rail + share2 * two.leak * rail2 + share3 * three.leak * rail3
