"""Currents of the latch's PNP, and the voltage to which its NPN settles, each with the slopes of both.

The equations, their source, and what they leave out stand in :mod:`agents.circuit.latch`.
"""

import math
from typing import Any, NamedTuple

from agents.compiled import kernel

# A PNP that feeds back less than this share of its transport current counts as one that feeds back nothing.
UNSATURATED = 1e-8

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
    across = 1.0 / early
    fed_back = forward * around.room
    linear = 1.0 + fed_back * (early + back)
    taken = 1.0 + back * across
    free = forward * max(1.0 - around.room * around.spare * taken, 0.0)
    # the root of the quadratic in the form that loses no digits at small current
    root = math.sqrt(linear * linear + 4.0 * free / pnp["knee"])
    carried = 2.0 * free / (linear + root)
    inverse = 1.0 / root
    carried_slope = (free - fed_back * (early + back) * carried) * inverse
    collector = early * carried
    collector_slope = early * carried_slope + leaning * carried
    base = straight + back * fed_back * (collector + around.spare)
    base_slope = base - 0.5 * lost + back * fed_back * collector_slope
    fed_across = forward * around.room_slope
    free_across = 0.0
    if free > 0.0:
        free_across = -taken * (fed_across * around.spare + fed_back * around.spare_slope)
        free_across += fed_back * around.spare * back * around.early_slope * across * across
    linear_across = fed_across * (early + back) + fed_back * around.early_slope
    carried_across = (free_across - linear_across * carried) * inverse
    collector_across = around.early_slope * carried + early * carried_across
    base_across = back * (
        fed_across * (collector + around.spare) + fed_back * (collector_across + around.spare_slope)
    )
    return DriverCurrents(base, collector, base_slope, collector_slope, base_across, collector_across)


@kernel
def collector_voltage(
    capability: float, demand: float, thermal: float, transistor: Any
) -> tuple[float, float]:
    """Collector-emitter voltage [V] of a transistor, and its slope against ln(``capability``).

    ``capability`` [A] is its ideal collector current, gain times base current, less what of that recombines;
    ``demand`` [A], which is less, the T (1 + T / I_K) that the load asks for.
    """
    back = 1.0 / transistor["reverse_gain"]
    share = (1.0 + back) * capability
    spread = transistor["gain"] * back * demand + share
    over = 1.0 / (capability - demand)
    return thermal * math.log(spread * over), thermal * (share / spread - capability * over)
