"""The latch: a PNP and an NPN that keep each other on through the latch resistor.

Reduced from the node equations with exponential transistors by taking the latch as settled at every moment
and the NPN as saturated while it holds. What is kept: base-emitter voltages that follow the current, gain
that falls at high current, and the PNP running out of voltage as the rail comes down to the NPN's base.

    PNP base:       I_Bp = (V - V_BEp - V_CE) / R_latch + I_c
                    V_BEp = V_T ln(beta_p I_Bp / (I_S (1 + rho b I)))
    PNP collector:  I + I^2 (1 / I_K + rho b) = beta_p I_Bp (1 - b I (1 + 1 / beta_r))
                    b = beta_n / I_S exp(-V / V_T),   rho = beta_p / beta_r
    NPN:            I_C (1 + I_C / I_K) = beta_n I_Bn,   I_Bn = I, the PNP's collector current

I_c is the current through the coupling capacitor, V_CE the drop of the saturated NPN. b I = exp(-V_EC / V_T),
since V_EC = V - V_BEn, is how far the PNP is in saturation; the collector's equation is its transport form,
and a quadratic once the product of knee and saturation, which are never at work together, is left out.

Source: the charge-control and transport equations of Gummel and Poon, Bell System Technical Journal 49
(1970), of which gain beta / (1 + I_C / I_K) is the forward active case.
"""

import math
from typing import Any

from agents.compiled import kernel


@kernel
def falling_gain_current(base: float, gain: float, knee: float) -> float:
    """Collector current [A] of a transistor out of saturation: I (1 + I / ``knee``) = ``gain`` ``base``."""
    ideal = gain * base
    if ideal <= 0.0:
        return 0.0
    # the root of the quadratic in the form that loses no digits at small current
    return 2.0 * ideal / (1.0 + math.sqrt(1.0 + 4.0 * ideal / knee))


@kernel
def emitter_base_current(
    drive: float, resistance: float, small: float, thermal: float, guess: float
) -> float:
    """Solve ``resistance`` I + ``thermal`` ln(I / ``small``) = ``drive`` for y = ln(I / small).

    ``drive`` [V] is what is left for resistor and junction together. Newton's method on y; the left side
    rises and is convex in y, so that it converges from anywhere. ``guess`` is a y from the step before.
    """
    scale = resistance * small
    y = min(guess, math.log(max(drive, thermal) / scale))
    for _ in range(40):
        grown = scale * math.exp(y)
        change = (drive - grown - thermal * y) / (grown + thermal)
        y += min(max(change, -10.0), 10.0)
        if abs(change) < 1e-7:
            break
    return y


@kernel
def base_drive(
    rail: float, collector: float, coupling_current: float, thermal: float, side: Any, guess: float
) -> tuple[float, float, float, float]:
    """Base currents of the latch with the NPN's ``collector`` [V] held down.

    ``rail`` [V], ``coupling_current`` [A] out of the PNP's base into the coupling capacitor, ``side`` a SIDE
    record. Returns (PNP base current [A], NPN base current [A], PNP emitter-base voltage [V], next guess).
    """
    pnp = side["pnp"]
    npn = side["npn"]
    small = pnp["saturation_current"] / pnp["gain"]
    ratio = pnp["gain"] / pnp["reverse_gain"]
    room = npn["gain"] / npn["saturation_current"] * math.exp(-rail / thermal)
    drive = rail - collector + side["latch"] * coupling_current
    square = 1.0 / pnp["knee"] + room * ratio
    relief = 0.0
    base = 0.0
    given = 0.0
    for _ in range(8):
        guess = emitter_base_current(drive + relief, side["latch"], small, thermal, guess)
        base = small * math.exp(guess)
        ideal = pnp["gain"] * base
        linear = 1.0 + ideal * room * (1.0 + 1.0 / pnp["reverse_gain"])
        given = 2.0 * ideal / (linear + math.sqrt(linear * linear + 4.0 * square * ideal))
        # a saturated PNP needs less emitter-base voltage for the same base current
        saturation = thermal * math.log1p(ratio * room * given)
        if abs(saturation - relief) < 1e-3 * thermal:
            break
        relief = 0.5 * (relief + saturation) if relief > 0.0 else saturation
    return base, given, thermal * guess - relief, guess


@kernel
def collector_voltage(load: float, base: float, thermal: float, transistor: Any) -> float:
    """Collector-emitter voltage [V] of a transistor that carries ``load`` [A] on a ``base`` current [A].

    inf where the base current cannot carry the load even out of saturation.
    """
    if load <= 0.0:
        return thermal * math.log1p(1.0 / transistor["reverse_gain"])
    overdrive = transistor["gain"] * base / (load * (1.0 + load / transistor["knee"]))
    if overdrive <= 1.0:
        return math.inf
    ratio = transistor["gain"] / transistor["reverse_gain"]
    spread = ratio + overdrive * (1.0 + 1.0 / transistor["reverse_gain"])
    return thermal * math.log(spread / (overdrive - 1.0))


@kernel
def settle_latch(
    rail: float,
    back: float,
    coupling_current: float,
    thermal: float,
    side: Any,
    collector: float,
    guess: float,
) -> tuple[bool, float, float, float, float, float, float]:
    """Where the latch settles with ``back`` [V] of back-EMF in the motor, starting from ``collector`` [V].

    A risen collector weakens the latch's drive, and that lets the collector rise further. While there is a
    level at which both agree the latch holds; the iteration climbs to the lowest such level. Where there is
    none any more it climbs on until the NPN cannot carry the motor, and the latch lets go.

    Returns (holds, motor current [A], PNP base current [A], NPN base current [A], PNP emitter-base voltage
    [V], collector voltage [V], next guess).
    """
    motor = 0.0
    base = 0.0
    given = 0.0
    junction = 0.0
    for _ in range(200):
        motor = max((rail - collector - back) / side["motor_resistance"], 0.0)
        base, given, junction, guess = base_drive(rail, collector, coupling_current, thermal, side, guess)
        load = motor + base - coupling_current
        settled = collector_voltage(load, given, thermal, side["npn"])
        change = settled - collector
        if change > 1.0:
            return False, motor, base, given, junction, collector, guess
        collector = settled
        if abs(change) < 2e-4:
            break
    return True, motor, base, given, junction, collector, guess


@kernel
def ignites(on_voltage: float, side: Any, thermal: float) -> bool:
    """Whether the flash turns the latch on.

    Before the flash the collector stands at the rail, so the latch resistor holds the PNP off; the flash has
    to draw more through the coupling capacitor than that resistor gives back at one emitter-base voltage.
    ``on_voltage`` [V] is the voltage at the eye when it flashes.
    """
    pnp = side["pnp"]
    # a base current of a microampere is far more than the loop needs to run away
    junction = thermal * math.log(1e-6 * pnp["gain"] / pnp["saturation_current"])
    kick = (on_voltage - side["lit_voltage"] - junction) / side["flash_resistance"]
    return bool(kick > junction / side["latch"] + 1e-6)
