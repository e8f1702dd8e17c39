"""Currents of the latch's PNP, and the voltage to which its NPN settles, each with the slopes of both.

The equations, their source, and what they leave out stand in :mod:`agents.circuit.latch`.
"""

import math
from typing import Any, NamedTuple

from agents.compiled import kernel

# A PNP that feeds back less than this share of its transport current counts as one that feeds back nothing.
UNSATURATED = 1e-8
# From when on [times what is asked] what is injected into a saturated base beyond its load counts, and how
# much further than in a first round it raises the charge there in the end.
OVERDRIVEN = 2.0
FURTHER = 1.3


class Around(NamedTuple):
    """What stands around the latch's PNP, and the slope of each against the collector's voltage.

    ``room`` [1/A]: the share exp(-V_EC / V_T) that a saturated PNP feeds back is by the NPN's base equation
    ``room`` times the sum of its collector current and ``spare`` [A]; ``early`` the factor by which its own
    collector's voltage raises that current.
    """

    room: float
    spare: float
    early: float
    room_slope: float
    spare_slope: float
    early_slope: float


class DriverCurrents(NamedTuple):
    """Base and collector current [A] of the PNP, their slopes against ln of its transport current and c."""

    base: float
    collector: float
    base_slope: float
    collector_slope: float
    base_across: float
    collector_across: float


@kernel
def driver_currents(forward: float, around: Around, leaning: float, pnp: Any) -> DriverCurrents:
    """Base and collector current of the latch's PNP that carries ``forward`` [A] of transport current.

    ``leaning`` is the slope of the Early factor against ln(``forward``). Slopes ``across`` are those against
    the voltage [V] on which ``around`` depends.
    """
    early = around.early
    gain = 1.0 / pnp["gain"]
    lost = math.sqrt(forward * pnp["low_knee"]) * gain
    straight = forward * gain + lost
    if forward * around.room < UNSATURATED:
        # far from saturation nothing is fed back
        root = math.sqrt(1.0 + 4.0 * forward / pnp["knee"])
        carried = 2.0 * forward / (1.0 + root)
        collector = early * carried
        return DriverCurrents(
            straight,
            collector,
            straight - 0.5 * lost,
            early * forward / root + leaning * carried,
            0.0,
            around.early_slope * carried,
        )
    back = 1.0 / pnp["reverse_gain"]
    knee = 1.0 / pnp["knee"]
    # transport through the base, t + t^2 / I_K = f - x with x a (early t + spare) f room / a, is a quadratic
    fed = forward * around.room
    a = 1.0 + fed * back
    linear = a + fed * early
    free = max(forward * a - fed * around.spare, 0.0)
    # its root in the form that loses no digits at small current
    root = math.sqrt(linear * linear + 4.0 * a * knee * free)
    carried = 2.0 * free / (linear + root)
    inverse = 1.0 / root
    share = 1.0 / a
    lasting = early * carried + around.spare
    fed_back = fed * lasting * share
    square = carried * carried * knee

    grown = fed * back
    free_slope = forward * (a + grown) - fed * around.spare
    linear_slope = grown + fed * (early + leaning)
    carried_slope = (free_slope - grown * square - linear_slope * carried) * inverse
    went = leaning * carried + early * carried_slope
    fed_back_slope = fed_back + (fed * went - fed_back * grown) * share

    fed_across = forward * around.room_slope
    grown = fed_across * back
    free_across = forward * grown - fed_across * around.spare - fed * around.spare_slope
    linear_across = grown + fed_across * early + fed * around.early_slope
    carried_across = (free_across - grown * square - linear_across * carried) * inverse
    came = around.early_slope * carried + early * carried_across
    fed_back_across = (fed_across * lasting + fed * (came + around.spare_slope) - fed_back * grown) * share
    return DriverCurrents(
        straight + back * fed_back,
        early * carried - back * fed_back,
        straight - 0.5 * lost + back * fed_back_slope,
        went - back * fed_back_slope,
        back * fed_back_across,
        came - back * fed_back_across,
    )


@kernel
def collector_voltage(
    capability: float, demand: float, thermal: float, transistor: Any
) -> tuple[float, float]:
    """Collector-emitter voltage [V] of a transistor, and its slope against ln(``capability``).

    ``capability`` [A] is its ideal collector current, gain times base current, less what of that recombines;
    ``demand`` [A], which is less, the T (1 + T / I_K) that the load asks for.
    """
    back = 1.0 / transistor["reverse_gain"]
    knee = 1.0 / transistor["knee"]
    gain = transistor["gain"] * back
    # by how much the charge in its base grows with what is injected, which is the load's at the edge
    charge = 0.5 + 0.5 * math.sqrt(1.0 + 4.0 * demand * knee)
    load = demand / charge
    rises = 1.0 + charge * back
    charge_slope = 0.0
    if capability > OVERDRIVEN * demand:
        part = rises / (gain + rises)
        root = math.sqrt(1.0 + 4.0 * (demand + part * (capability - demand)) * knee)
        charge += FURTHER * (0.5 + 0.5 * root - charge)
        charge_slope = FURTHER * knee * part * capability / root
        rises = 1.0 + charge * back
    asked = charge * load
    spread = gain * asked + rises * capability
    spread_slope = rises * capability + (gain * load + back * capability) * charge_slope
    over = 1.0 / (capability - asked)
    slope = spread_slope / spread - (capability - load * charge_slope) * over
    return thermal * math.log(spread * over), thermal * slope
