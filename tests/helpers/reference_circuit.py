"""The walker's circuit as full node equations, for scipy's stiff integrators: a reference for the kernels.

It shares nothing with the program's own kernels but the values of the parts. Transistors are exponential in
both junctions, after H. K. Gummel and H. C. Poon, An Integral Charge Control Model of Bipolar Transistors,
Bell System Technical Journal 49 (1970), with the forward knee, the forward Early voltage, and a base current
that recombines in the emitter junction as exp(V / 2 V_T); nothing is assumed saturated, settled or cut off.
The panel's explicit form goes by Wright's omega function, which is Lambert's W
of an exponential; A. Jain and A. Kapoor, Solar Energy Materials and Solar Cells 81 (2004).

    collector:  C_n dc/dt = (V - c - K omega) / R_m + (b - c) / R_latch - (c - e) / R_series - I_Cn
    NPN base:   C_n dn/dt = I_Cp - I_Bn
    PNP base:   C_n db/dt = I_Bp - (b - c) / R_latch + I_c
    eye:        C_n de/dt = (c - e) / R_series + (V - e) / R_feeler - I_eye - I_c
    coupling:   C_c d(e - b)/dt = I_c
    storage:    C dV/dt   = I_panel - I_m - I_Ep - (V - e) / R_feeler - I_eye,other - V / R_leak

Voltages are against ground [V], C_n is a small capacitance that every node has [F].
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from pvlib.pvsystem import calcparams_desoto
from scipy.integrate import solve_ivp
from scipy.special import wrightomega

from agents.design.parts import Transistor
from agents.design.spec import Design

# A collector below this [V] has not risen, however little of the rail the back-EMF leaves.
RISEN = 0.15
NODE_CAPACITANCE = 1e-9  # [F]; about what junctions and wires of such a circuit have
ROOM_THERMAL_VOLTAGE = 0.0256926  # k T / q at 298.15 K [V], CODATA


@dataclass(frozen=True)
class Pulse:
    """What one pulse of the reference came to.

    ``length`` [s] until the NPN lets go, ``let_go`` the storage's voltage then [V], ``charge`` through the
    motor [C], ``way`` of the driven tyre until then [m], ``holds`` whether it never let go in the time given.
    """

    length: float
    let_go: float
    charge: float
    way: float
    holds: bool


def with_warm_panel(design: Design, temperature: float) -> Design:
    """The design with the diode of its panel as it is at ``temperature`` [degC]: De Soto's equations."""
    panel = design.panel
    _, saturation, _, _, thermal = calcparams_desoto(
        effective_irradiance=1000.0,
        temp_cell=temperature,
        alpha_sc=0.0,
        a_ref=panel.junction_voltage,
        I_L_ref=1.0,
        I_o_ref=panel.saturation_current,
        R_sh_ref=panel.shunt_resistance,
        R_s=panel.series_resistance,
        EgRef=1.121,
        dEgdT=-0.0002677,
    )
    return design.with_values(
        {"panel.saturation_current": float(saturation), "panel.junction_voltage": float(thermal)}
    )


def panel_current_explicit(design: Design, photocurrent: float, rail: Any) -> Any:
    """Current [A] of the panel at ``rail`` [V], explicit by Wright's omega function."""
    panel = design.panel
    thermal, series, shunt = panel.junction_voltage, panel.series_resistance, panel.shunt_resistance
    if series == 0.0:
        diode = panel.saturation_current * np.expm1(rail / thermal)
        return photocurrent - diode - rail / shunt
    both = series + shunt
    sources = photocurrent + panel.saturation_current
    argument = np.log(series * panel.saturation_current * shunt / (thermal * both)) + shunt * (
        series * sources + rail
    ) / (thermal * both)
    return (shunt * sources - rail) / both - thermal / series * wrightomega(argument).real


def in_air(design: Design, temperature: float) -> tuple[Design, float]:
    """The design's parts but the panel as they are at ``temperature`` [degC], and the thermal voltage [V].

    Saturation currents go as T^3 exp(-1.11 V / V_T), gains as T^1.5, copper by 0.393 % of 20 degC, the flux
    of neodymium magnets by -0.11 % a kelvin.
    """
    ratio = (temperature + 273.15) / 298.15
    thermal = ROOM_THERMAL_VOLTAGE * ratio
    growth = ratio**3 * np.exp((ratio - 1.0) * 1.11 / thermal)
    values = {}
    for name, side in (("left", design.left), ("right", design.right)):
        for kind, part in (("npn", side.npn), ("pnp", side.pnp)):
            values[f"{name}.{kind}.saturation_current"] = part.saturation_current * float(growth)
            values[f"{name}.{kind}.gain"] = part.gain * ratio**1.5
            values[f"{name}.{kind}.reverse_gain"] = part.reverse_gain * ratio**1.5
        copper = (1.0 + 0.00393 * (temperature - 20.0)) / (1.0 + 0.00393 * 5.0)
        values[f"{name}.motor.resistance"] = side.motor.resistance * copper
        values[f"{name}.motor.constant"] = side.motor.constant * (1.0 - 0.0011 * (temperature - 25.0))
    return design.with_values(values), thermal


def transistor_currents(
    part: Transistor, emitter: float, collector: float, thermal: float = ROOM_THERMAL_VOLTAGE
) -> tuple[float, float]:
    """Collector and base current [A] of a transistor at two voltages, base to emitter and base to collector.

    An NPN's signs; for a PNP give emitter-base and collector-base voltages.
    """
    # far beyond what any state of a pulse has, and near enough to keep a wild trial step finite
    forward = part.saturation_current * math.expm1(min(emitter / thermal, 60.0))
    backward = part.saturation_current * math.expm1(min(collector / thermal, 60.0))
    # base charge over that of no current and no voltage: Early's q1 over what high injection adds
    narrowing = 1.0 / max(1.0 - collector / part.early_voltage, 0.1)
    charge = 0.5 * narrowing * (1.0 + math.sqrt(1.0 + 4.0 * max(forward, 0.0) / part.knee_current))
    transport = (forward - backward) / charge
    back_base = backward / part.reverse_gain
    # it equals the ideal base current where the collector current is the lower knee's
    recombining = math.sqrt(part.saturation_current * part.low_knee_current) / part.gain
    recombining *= math.expm1(min(emitter / (2.0 * thermal), 30.0))
    return transport - back_base, forward / part.gain + recombining + back_base


def waiting_rate(design: Design, photocurrent: float) -> Callable[[float, Any], list[float]]:
    """Right-hand side dV/dt [V/s] of a walker that waits, for ``solve_ivp``."""
    storage = design.storage

    def rate(_: float, state: Any) -> list[float]:
        rail = float(state[0])
        eyes = 0.0
        for side in (design.left, design.right):
            dark = side.eye.table[0].trigger if side.eye.table else side.eye.dark_trigger
            eyes += side.eye.quiet_current * float(np.clip(rail / dark, 0.0, 1.0))
        current = float(panel_current_explicit(design, photocurrent, rail)) - eyes - rail / storage.leak
        return [current / storage.capacitance]

    return rate


def reference_pulse(
    design: Design,
    rail: float,
    photocurrent: float = 0.0,
    touched: bool = False,
    longest: float = 3.0,
    pivot_mass: float = 6e-3,
    air: float = 25.0,
) -> Pulse:
    """Let the left side of ``design`` fire at ``rail`` [V] and follow it until the NPN lets go.

    ``pivot_mass`` [kg] is the body's inertia about the standing tyre over the track squared, ``air`` the
    temperature [degC] of all parts but the panel, which stays as it is.
    """
    design, thermal = in_air(design, air)
    side, storage = design.left, design.storage
    eye, motor, tyre = side.eye, side.motor, side.tyre
    grip = tyre.grip * design.body.tyre_load * design.body.mass * 9.80665
    feeler = 1.0 / side.feeler if touched and side.feeler is not None else 0.0
    coupled = NODE_CAPACITANCE + side.coupling
    # inverse of the capacitance matrix of the two nodes that the coupling capacitor joins
    determinant = coupled**2 - side.coupling**2
    direct, crossed = coupled / determinant, side.coupling / determinant
    esr = storage.series_resistance

    def rates(_: float, state: Any) -> list[float]:
        stored, line, collector, base, low, top, rotor, speed, _charge, _way = (float(x) for x in state)
        npn_collector, npn_base = transistor_currents(side.npn, low, low - collector, thermal)
        pnp_collector, pnp_base = transistor_currents(side.pnp, line - base, low - base, thermal)
        winding = (line - collector - motor.constant * rotor) / motor.resistance
        latch = (base - collector) / side.latch
        feed = (collector - top) / side.series
        touch = (line - top) * feeler
        lit = max(top - eye.lit_voltage, 0.0) / eye.flash_resistance
        quiet = eye.quiet_current * min(max(top, 0.0) / eye.dark_trigger, 1.0)
        other = eye.quiet_current * min(max(line, 0.0) / eye.dark_trigger, 1.0)
        into_base = pnp_base - latch
        into_eye = feed + touch - lit - quiet
        drawn = winding + pnp_collector + pnp_base + touch + other
        panel = float(panel_current_explicit(design, photocurrent, line))
        leak = stored / storage.leak
        if esr > 0.0:
            given = (stored - line) / esr
            stored_rate = -(given + leak) / storage.capacitance
            line_rate = (given + panel - drawn) / NODE_CAPACITANCE
        else:
            stored_rate = line_rate = (panel - drawn - leak) / storage.capacitance
        force = grip * np.tanh((tyre.radius * rotor - speed) / tyre.slip_speed)
        # dry friction with its step smoothed over a rate far below any that matters
        torque = motor.constant * winding - motor.friction * np.tanh(rotor) - tyre.radius * force
        push = force - design.body.drag * np.tanh(speed / 1e-3)
        return [
            stored_rate,
            line_rate,
            (winding + latch - feed - npn_collector) / NODE_CAPACITANCE,
            direct * into_base + crossed * into_eye,
            (pnp_collector - npn_base) / NODE_CAPACITANCE,
            direct * into_eye + crossed * into_base,
            torque / motor.inertia,
            push / pivot_mass,
            winding,
            speed,
        ]

    def lets_go(time: float, state: Any) -> float:
        """Pass nought when the collector is halfway to the motor's EMF, and has risen at all."""
        if time < 3.0 * eye.flash_resistance * side.coupling:
            return -1.0
        return float(state[2] - max(0.5 * (state[1] - motor.constant * state[6]), RISEN))

    lets_go.terminal = True  # type: ignore[attr-defined]
    lets_go.direction = 1.0  # type: ignore[attr-defined]
    # before the flash nothing flows but the quiet current, and the PNP's base floats up to the collector
    feed_resistance = side.series + motor.resistance
    if feeler:
        feed_resistance = 1.0 / (1.0 / feed_resistance + feeler)
    top = rail - eye.quiet_current * feed_resistance
    start = [rail, rail, rail, rail, 0.0, top, 0.0, 0.0, 0.0, 0.0]
    solution = solve_ivp(
        rates, (0.0, longest), start, method="BDF", rtol=1e-6, atol=1e-9, events=lets_go, max_step=0.02
    )
    assert solution.success, solution.message
    end = solution.y[:, -1]
    return Pulse(float(solution.t[-1]), float(end[0]), float(end[8]), float(end[9]), solution.status == 0)


@dataclass(frozen=True)
class Rest:
    """Where the latch rests: currents [A] of motor, PNP base and NPN base, and voltages [V]."""

    motor: float
    base: float
    given: float
    junction: float
    collector: float


def rest_of_latch(design: Design, rail: float, back: float, coupling: float, gain: float = 1.0) -> Rest:
    """Let the left latch, held down for a moment, come to rest with everything around it standing still.

    ``rail`` and ``back``-EMF [V], ``coupling`` current [A] out of the PNP's base, ``gain`` a factor on the
    NPN's. The three nodes' capacitances find the level that is stable.
    """
    side = design.left
    npn = side.npn.model_copy(update={"gain": gain * side.npn.gain})

    def currents(state: Any) -> tuple[float, ...]:
        collector, base, low = (float(x) for x in state)
        npn_collector, npn_base = transistor_currents(npn, low, low - collector)
        pnp_collector, pnp_base = transistor_currents(side.pnp, rail - base, low - base)
        winding = max((rail - collector - back) / side.motor.resistance, 0.0)
        return winding, (base - collector) / side.latch, npn_collector, npn_base, pnp_collector, pnp_base

    def rates(_: float, state: Any) -> list[float]:
        winding, latch, npn_collector, npn_base, pnp_collector, pnp_base = currents(state)
        # the coupling current returns to the collector, as it does through the series resistor
        return [
            (winding + latch - npn_collector) / NODE_CAPACITANCE,
            (pnp_base - latch - coupling) / NODE_CAPACITANCE,
            (pnp_collector - npn_base) / NODE_CAPACITANCE,
        ]

    def runs_off(_: float, state: Any) -> float:
        return float(state[0]) - rail

    runs_off.terminal = True  # type: ignore[attr-defined]
    # driven hard, so that it comes down to its level from above
    start = [0.0, rail - 0.8, 0.9]
    solution = solve_ivp(rates, (0.0, 0.1), start, method="BDF", rtol=1e-7, atol=1e-10, events=runs_off)
    assert solution.success, solution.message
    end = solution.y[:, -1]
    winding, _, _, npn_base, _, pnp_base = currents(end)
    return Rest(winding, pnp_base, npn_base, float(rail - end[1]), float(end[0]))
