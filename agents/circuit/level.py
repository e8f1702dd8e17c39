"""One level of the latch: where its PNP's base puts the collector, and what the NPN can do there.

The equations stand in :mod:`agents.circuit.latch`.
"""

import math
from typing import Any, NamedTuple

from agents.circuit.transistors import Around, collector_voltage, driver_currents
from agents.compiled import kernel_part

# A collector below this [V] has not risen, however little of the rail the back-EMF leaves.
LEAST_FREE_LEVEL = 0.15
# Thermal voltages of the rail beyond which a PNP is far from saturation.
FAR_ABOVE = 60.0
# As far [V] from where the collector is looked for the slopes against its voltage hold.
STRAIGHT = 0.05


class Supply(NamedTuple):
    """What drives a latch and its motor.

    ``source`` [V] of the rail with the motor off, ``esr`` [ohm] by which the motor's current lowers it,
    ``back`` [V] of back-EMF in the motor.
    """

    source: float
    esr: float
    back: float


class Kick(NamedTuple):
    """What the coupling capacitor draws out of the PNP's base.

    ``current`` [A] with emitter-base voltage and collector at nought, ``answer`` [A/V] by which it falls as
    the one rises and ``feed`` [A/V] as the other does; ``top`` [V] stands at the eye then.
    """

    current: float
    answer: float
    feed: float
    top: float


class Frame(NamedTuple):
    """What stays while a latch is settled, worked out from supply, kick and side."""

    supply: Supply
    kick: Kick
    thermal: float
    conductance: float
    share: float
    drive: float
    weight: float
    stiffness: float
    free_level: float


class Level(NamedTuple):
    """What goes with one y, each with its slope against it: currents [A] and the collector's voltage [V].

    ``shift`` [V] is how far the collector came to stand from where it was looked for.
    """

    given: float
    given_slope: float
    collector: float
    collector_slope: float
    demand: float
    demand_slope: float
    capability: float
    capability_slope: float
    shift: float


@kernel_part
def frame_of(supply: Supply, kick: Kick, thermal: float, side: Any) -> Frame:
    """Work out what stays while a latch is settled; arguments as for :func:`settle_latch`."""
    latch = 1.0 / side["latch"]
    conductance = 1.0 / (side["motor_resistance"] + supply.esr)
    # rail less collector is this part of source less collector, and the rest of the back-EMF
    part = side["motor_resistance"] * conductance
    return Frame(
        supply,
        kick,
        thermal,
        conductance,
        1.0 / (side["npn"]["reverse_gain"] + 1.0),
        latch * (part * supply.source + (1.0 - part) * supply.back) + kick.current,
        thermal * (latch + kick.answer),
        part * latch + kick.feed,
        max(0.5 * (supply.source - supply.back), LEAST_FREE_LEVEL),
    )


@kernel_part
def level_at(y: float, near: float, frame: Frame, side: Any) -> Level:
    """The level that goes with y = ln(f / I_S): the collector voltage by the PNP's base, and what it asks.

    The collector is looked for along the slopes from the voltage ``near`` [V], by which rail and NPN's base
    stand where they do.
    """
    npn = side["npn"]
    pnp = side["pnp"]
    supply = frame.supply
    kick = frame.kick
    thermal = frame.thermal
    motor = (supply.source - near - supply.back) * frame.conductance
    falls = frame.conductance
    if motor < 0.0:
        motor = 0.0
        falls = 0.0
    knee = 1.0 / npn["knee"]
    gain = 1.0 / npn["gain"]
    saturation = 1.0 / npn["saturation_current"]
    asked = max(motor * (1.0 + motor * knee), 1e-9)
    asked_across = -falls * (1.0 + 2.0 * motor * knee)
    relative = asked_across / asked
    lost = math.sqrt(asked * npn["low_knee"])
    lost_across = 0.5 * lost * relative
    rail = supply.source - supply.esr * motor
    rail_across = supply.esr * falls
    low = thermal * math.log(asked * saturation)
    low_across = thermal * relative
    steep = 1.0 / thermal
    # far above ground nothing of it is left that counts
    part = math.exp(-rail * steep) if rail * steep < FAR_ABOVE else 0.0
    room = part * saturation / (gain + frame.share)
    driver = driver_currents(
        pnp["saturation_current"] * math.exp(y),
        Around(
            room,
            frame.share * asked - lost * gain,
            1.0 + (rail - low - thermal * y) * pnp["early"],
            -room * rail_across * steep,
            frame.share * asked_across - lost_across * gain,
            (rail_across - low_across) * pnp["early"],
        ),
        -thermal * pnp["early"],
        pnp,
    )
    out_of_balance = frame.drive - driver.base - frame.weight * y - frame.stiffness * near
    base_across = driver.base_across
    given_across = driver.collector_across
    yields = 1.0 / max(frame.stiffness + base_across, 0.1 * frame.stiffness)
    shift = out_of_balance * yields
    if abs(shift) > STRAIGHT:
        # so far off the slopes across tell nothing
        base_across = given_across = lost_across = 0.0
        yields = 1.0 / frame.stiffness
        shift = out_of_balance * yields
    collector = near + shift
    collector_slope = -(driver.base_slope + frame.weight) * yields
    base = driver.base + base_across * shift
    base_slope = driver.base_slope + base_across * collector_slope
    given = driver.collector + given_across * shift
    given_slope = driver.collector_slope + given_across * collector_slope
    lost += lost_across * shift
    motor = (supply.source - collector - supply.back) * frame.conductance
    motor_slope = -collector_slope * frame.conductance
    if motor < 0.0:
        motor = 0.0
        motor_slope = 0.0
    junction = thermal * y
    pushed = kick.current - kick.answer * junction - kick.feed * collector
    fed = kick.feed * (kick.top - junction - collector)
    # a load of nothing would be covered without end
    ease = 1.0 / (1.0 + (max(collector, 0.0) - low) * npn["early"])
    load = ease * max(motor + base - pushed + fed, 1e-9)
    load_slope = ease * (motor_slope + base_slope + (kick.answer - kick.feed) * thermal)
    if collector > 0.0:
        load_slope -= ease * load * npn["early"] * collector_slope
    strain = load * knee
    return Level(
        given,
        given_slope,
        collector,
        collector_slope,
        load * (1.0 + strain),
        (1.0 + 2.0 * strain) * load_slope,
        npn["gain"] * given - lost,
        npn["gain"] * given_slope - lost_across * collector_slope,
        shift,
    )


@kernel_part
def excess_of(level: Level, thermal: float, npn: Any) -> tuple[float, float]:
    """By how much the NPN falls short, or can do more (negative), and its slope.

    Where it can carry the load, that is how far [V] above the level's collector it settles; where it cannot,
    what it lacks [A] and a little beyond.
    """
    if level.capability > level.demand:
        settled, settled_slope = collector_voltage(level.capability, level.demand, thermal, npn)
        relative = level.capability_slope / level.capability - level.demand_slope / level.demand
        return settled - level.collector, settled_slope * relative - level.collector_slope
    # the load may yet fall below the capability as the collector rises; go a little beyond
    excess = 1.02 * (level.demand - level.capability) + 1e-9
    return excess, level.demand_slope - level.capability_slope
