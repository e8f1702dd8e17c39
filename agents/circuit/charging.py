"""Charging between pulses: how long until the rail reaches a voltage, and where it stands after a time.

    C dV/dt = I_panel(V) - I_eyes(V) - V / R_leak

The current on the right falls as V rises, so the rail nears one resting voltage and never passes it.
"""

import math
from typing import Any

from agents.circuit.eye import quiet_draw
from agents.circuit.panel import panel_current
from agents.compiled import kernel

# Bits that say what a walker's charging comes to.
REACHES = 0
DIM = 1
BLIND = 2


@kernel
def waiting_currents(walker: Any, photocurrent: float, rail: float) -> tuple[float, float, float]:
    """Currents [A] of panel, both eyes and leak at ``rail`` [V] while the walker waits."""
    panel = panel_current(
        rail,
        photocurrent,
        walker["panel_saturation"],
        walker["panel_thermal"],
        walker["panel_series"],
        walker["panel_shunt"],
    )
    eyes = quiet_draw(rail, walker["side"][0]) + quiet_draw(rail, walker["side"][1])
    return panel, eyes, rail / walker["leak"]


@kernel
def charging_current(walker: Any, photocurrent: float, rail: float) -> float:
    """Current [A] into the storage at ``rail`` [V]; the storage's series resistance hardly matters here."""
    panel, eyes, leak = waiting_currents(walker, photocurrent, rail)
    return panel - eyes - leak


@kernel
def time_to_reach(walker: Any, photocurrent: float, start: float, goal: float) -> float:
    """Time [s] until the rail climbs from ``start`` to ``goal`` [V]; 0 if it is there, inf if it never is."""
    time, _, _, _ = charge_to(walker, photocurrent, start, goal)
    return time


@kernel
def charge_to(
    walker: Any, photocurrent: float, start: float, goal: float
) -> tuple[float, float, float, float]:
    """Charging from ``start`` to ``goal`` [V]: time [s], energy [J] of the panel, to eyes, to the leak.

    All 0 if the rail is there; the time is inf, and the rest 0, if it never is. The time is C times the
    integral of dV / I, over four-point Gauss intervals. They end at the kinks of the eyes' draw and are
    halved while the current falls to less than 0.7 of itself along one.
    """
    time, panel_energy, eye_energy, leak_energy = 0.0, 0.0, 0.0, 0.0
    if start >= goal:
        return time, panel_energy, eye_energy, leak_energy
    if charging_current(walker, photocurrent, goal) <= 0.0:
        return math.inf, panel_energy, eye_energy, leak_energy
    kink0 = walker["side"][0]["dark_trigger"]
    kink1 = walker["side"][1]["dark_trigger"]
    rail = start
    here = charging_current(walker, photocurrent, rail)
    for _ in range(400):
        if rail >= goal:
            break
        end = goal
        if rail < kink0 < end:
            end = kink0
        if rail < kink1 < end:
            end = kink1
        there = charging_current(walker, photocurrent, end)
        while there < 0.7 * here and end - rail > 1e-7:
            end = rail + 0.5 * (end - rail)
            there = charging_current(walker, photocurrent, end)
        middle = 0.5 * (rail + end)
        half = 0.5 * (end - rail)
        for node in range(4):
            place = 0.3399810435848563 if node < 2 else 0.8611363115940526
            weight = 0.6521451548625461 if node < 2 else 0.3478548451374538
            voltage = middle + half * (place if node % 2 == 0 else -place)
            panel, eyes, leak = waiting_currents(walker, photocurrent, voltage)
            taken = walker["capacitance"] * half * weight / (panel - eyes - leak)
            time += taken
            panel_energy += taken * panel * voltage
            eye_energy += taken * eyes * voltage
            leak_energy += taken * leak * voltage
        rail = end
        here = there
    if rail < goal:
        return math.inf, 0.0, 0.0, 0.0
    return time, panel_energy, eye_energy, leak_energy


@kernel
def wait(walker: Any, photocurrent: float, state: Any, duration: float) -> None:
    """Let the storage charge (or run down) for ``duration`` [s]; updates rail and energies of ``state``.

    The third-order rule of Bogacki and Shampine (Applied Mathematics Letters 2, 1989) with its second-order
    error estimate, held under a microvolt a step. Where the rail has come to rest, what is left of the wait
    passes in one go.
    """
    rail = state["rail"]
    capacitance = walker["capacitance"]
    left = duration
    step = duration
    while left > 0.0:
        step = min(step, left)
        panel1, eyes1, leak1 = waiting_currents(walker, photocurrent, rail)
        net = panel1 - eyes1 - leak1
        rate1 = net / capacitance
        # at rest to within a tenth of a microvolt, or to what rounding leaves of the currents
        if abs(rate1) * left < 1e-7 or abs(net) < 1e-9 * (abs(panel1) + eyes1 + leak1):
            state["panel_energy"] += left * panel1 * rail
            state["eye_energy"] += left * eyes1 * rail
            state["leak_energy"] += left * leak1 * rail
            break
        # a longer reach would put an inner stage far up the panel's exponential, where it tells nothing
        step = min(step, 0.1 / max(abs(rate1), 1e-12))
        rail2 = rail + 0.5 * step * rate1
        panel2, eyes2, leak2 = waiting_currents(walker, photocurrent, rail2)
        rate2 = (panel2 - eyes2 - leak2) / capacitance
        if abs(rate2) * step > 1.0:
            step *= 0.1
            continue
        # near rest a step that is long against the rate's own fall would only swing about it, for ever
        fall = 2.0 * abs(1.0 - rate2 / rate1)
        if fall > 1.5:
            step *= 1.2 / fall
            continue
        rail3 = rail + 0.75 * step * rate2
        panel3, eyes3, leak3 = waiting_currents(walker, photocurrent, rail3)
        rate3 = (panel3 - eyes3 - leak3) / capacitance
        if abs(rate3) * step > 1.0:
            step *= 0.1
            continue
        end = rail + step * (2.0 * rate1 + 3.0 * rate2 + 4.0 * rate3) / 9.0
        rate4 = charging_current(walker, photocurrent, end) / capacitance
        error = abs(step * (-5.0 * rate1 / 72.0 + rate2 / 12.0 + rate3 / 9.0 - rate4 / 8.0))
        if error > 1e-6:
            step *= max(0.9 * (1e-6 / error) ** (1.0 / 3.0), 0.1)
            continue
        share1 = step * 2.0 / 9.0
        share2 = step / 3.0
        share3 = step * 4.0 / 9.0
        state["panel_energy"] += share1 * panel1 * rail + share2 * panel2 * rail2 + share3 * panel3 * rail3
        state["eye_energy"] += share1 * eyes1 * rail + share2 * eyes2 * rail2 + share3 * eyes3 * rail3
        state["leak_energy"] += share1 * leak1 * rail + share2 * leak2 * rail2 + share3 * leak3 * rail3
        rail = end
        left -= step
        if error > 0.0:
            step *= min(0.9 * (1e-6 / error) ** (1.0 / 3.0), 5.0)
        else:
            step *= 5.0
    state["rail"] = rail
