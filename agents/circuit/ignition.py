"""Whether the flash of an eye turns the latch on, and from which voltage at the eye on.

The flash draws the PNP's base down until the top of the eye stands a little above its lit voltage. Before the
latch holds itself, the flash has to give what the latch resistor takes, which is the less the further the
motor's current has brought the collector down, and what the PNP's base and the feed of the eye take:

    V_on  = V_lit + V_EB + R_flash max(I, 0)
    I     = (V_EB - R_m I_C) / R_latch + I_B + I_feed
    V_EB  = V_T ln(f / I_S),   I_B = (f + sqrt(f I_L)) / beta_p
    I_C   from f by the gains of both transistors, as in :mod:`agents.circuit.latch`, far from saturation

at the f for which that is most. It rises with f until the current of the motor grows faster than V_EB,

    dI_C / d ln f = V_T (R_latch + R_flash) / (R_flash R_m)

or the latch holds itself, I = 0, or the collector is half-way down. Against full node equations the voltage
is within 4 mV for nine of ten designs, and within 10 mV for all of two hundred, free and pressed; eyes jitter
by that.
"""

import math
from typing import Any

from agents.compiled import kernel

# Rounds of the search at the most; four do as a rule.
ROUNDS = 12


def ignition_voltage(touched: bool, side: Any, thermal: float) -> float:
    """Voltage at the eye [V] from which on its flash turns the latch on, the whisker pressed or not.

    ``side``, a SIDE record, and ``thermal`` [V] of its transistors. The f at which the flash has to give most
    is sought by steps along ln(I_C) against ln(f), which is all but straight. Not a kernel of its own:
    designs are built without compiling.
    """
    lit, flash = float(side["lit_voltage"]), float(side["flash_resistance"])
    latch, series = float(side["latch"]), float(side["series"])
    resistance = float(side["motor_resistance"])
    quiet = float(side["quiet_current"])
    npn, pnp = side["npn"], side["pnp"]
    npn_gain, npn_knee, npn_lost = float(npn["gain"]), float(npn["knee"]), 0.5 * math.sqrt(npn["low_knee"])
    pnp_gain, pnp_knee, pnp_low = float(pnp["gain"]), float(pnp["knee"]), float(pnp["low_knee"])
    saturation = float(pnp["saturation_current"])
    feed = series + resistance
    touch = 1.0 / float(side["feeler"]) if touched else 0.0
    rail = lit + 0.65 + quiet * feed / (1.0 + touch * feed)
    # far from saturation: a rail less one and less two junctions stands across the collectors
    pnp_early = 1.0 + max(rail - 1.4, 0.0) * float(pnp["early"])
    npn_early = 1.0 + max(rail - 1.1, 0.0) * float(npn["early"])
    # what feeds the top of the eye beyond its own draw, were the collector still at the rail
    fed = (rail - lit) * (touch + 1.0 / series) - quiet * lit / float(side["dark_trigger"])
    # a collector that comes down holds the base, and feeds the eye less
    relief = 1.0 / latch + 1.0 / series
    steepest = thermal * (latch + flash) / flash
    x = math.log(1e-4 / saturation)
    junction, base, drop = 0.0, 0.0, 0.0
    for _ in range(ROUNDS):
        forward = saturation * math.exp(x)
        drop, further = 0.0, 0.0
        for factor in (1.01, 1.0):
            some = factor * forward
            given = pnp_early * 2.0 * some / (1.0 + math.sqrt(1.0 + 4.0 * some / pnp_knee))
            root = math.sqrt(npn_gain * given + npn_lost * npn_lost) - npn_lost
            carried = npn_early * 2.0 * root * root / (1.0 + math.sqrt(1.0 + 4.0 * root * root / npn_knee))
            further, drop = drop, resistance * carried
        steep = math.log(further / drop) / math.log(1.01)
        junction = thermal * x
        base = (forward + math.sqrt(forward * pnp_low)) / pnp_gain
        holding = (junction / latch + base + fed) / relief
        goal = max(min(0.5 * rail, holding, steepest / steep), 1e-3 * rail)
        change = min(max(math.log(goal / drop) / steep, -6.0), 6.0)
        x += change
        if abs(change) < 1e-6:
            break
    taken = junction / latch + base + fed - relief * drop
    return float(lit + max(junction, 0.0) + flash * max(taken, 0.0))


@kernel
def ignites(on_voltage: float, touched: bool, side: Any) -> bool:
    """Whether a flash at ``on_voltage`` [V] across the eye turns the latch on, the whisker pressed or not."""
    return bool(on_voltage >= side["ignition"][1 if touched else 0])
