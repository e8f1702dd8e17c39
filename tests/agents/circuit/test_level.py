"""One level of the latch against its equations by a root finder, and its slopes against differences."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from agents.circuit.level import (
    LEAST_FREE_LEVEL,
    STRAIGHT,
    Frame,
    Kick,
    Level,
    Supply,
    excess_of,
    frame_of,
    level_at,
)
from agents.circuit.transistors import collector_voltage
from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.formulae import thermal_voltage
from tests.helpers.levels import level_of
from tests.helpers.reference_circuit import RISEN

THERMAL = thermal_voltage(298.15)
MODEL = {
    "left.pnp.early_voltage": 20.0,
    "left.npn.early_voltage": 30.0,
    "left.pnp.low_knee_current": 2e-5,
    "left.npn.low_knee_current": 4e-5,
    "left.npn.knee_current": 0.09,
    "left.pnp.knee_current": 0.03,
    "left.npn.gain": 140.0,
    "left.pnp.gain": 110.0,
    "left.latch": 12e3,
    "left.motor.resistance": 25.0,
}
SIDE = build(Design(name="borage").with_values(MODEL))[0]["side"][0]
KICK = Kick(1.25e-3, 1.5e-3, 4e-4, 2.1)

# rail with the motor off [V], ESR [ohm], back-EMF [V], and how far y lies below that of a low collector
STATES = [
    (3.0, 0.0, 0.2, 0.02),
    (3.0, 1.0, 0.2, -0.15),
    (3.0, 4.0, 0.9, 0.2),
    (2.0, 2.0, 0.3, 0.5),
    (1.1, 1.0, 0.1, 0.1),
    (0.9, 0.0, 0.05, 0.3),
    (1.3, 3.0, 0.5, 0.1),
]


def frame_at(state: tuple[float, ...]) -> Frame:
    source, esr, back, _ = state
    return frame_of(Supply(source, esr, back), KICK, THERMAL, SIDE)


def by_equations(y: float, supply: Supply, collector: float) -> dict[str, float]:
    """Currents [A] at a collector [V] by the latch's equations; ``wrong`` is what the base lacks."""
    npn, pnp = SIDE["npn"], SIDE["pnp"]
    motor = max((supply.source - collector - supply.back) / (SIDE["motor_resistance"] + supply.esr), 0.0)
    rail = supply.source - supply.esr * motor
    junction = THERMAL * y
    forward = pnp["saturation_current"] * math.exp(y)
    charge = motor + motor * motor / npn["knee"]
    low = THERMAL * math.log(charge / npn["saturation_current"])
    recombines = math.sqrt(charge * npn["low_knee"])
    early = 1.0 + (rail - low - junction) * pnp["early"]

    def fed_back(given: float) -> float:
        # g of the NPN's base equation, with D and what recombines taken at the motor's load
        part = 1.0 / (npn["reverse_gain"] + 1.0)
        g = (given + part * charge - recombines / npn["gain"]) / (1.0 / npn["gain"] + part)
        return float(forward * math.exp(-rail / THERMAL) * g / npn["saturation_current"])

    def off(given: float) -> float:
        x = fed_back(given)
        through = (given + x / pnp["reverse_gain"]) / early
        return float(through + through * through / pnp["knee"] - (forward - x))

    given = brentq(off, 1e-15, 2.0 * forward, xtol=1e-18, rtol=1e-14)
    base = (forward + math.sqrt(forward * pnp["low_knee"])) / pnp["gain"] + fed_back(given) / pnp[
        "reverse_gain"
    ]
    pushed = KICK.current - KICK.answer * junction - KICK.feed * collector
    resistor = (rail - junction - collector) / SIDE["latch"]
    load = motor + resistor + KICK.feed * (KICK.top - junction - collector)
    load /= 1.0 + (max(collector, 0.0) - low) * npn["early"]
    return {
        "given": given,
        "demand": load + load * load / npn["knee"],
        "capability": npn["gain"] * given - recombines,
        "wrong": base - pushed - resistor,
    }


def settled(y: float, frame: Frame) -> Level:
    """The level of this side, found whatever its collector stands at."""
    return level_of(y, 0.05, frame, SIDE)


def y_of(state: tuple[float, ...]) -> float:
    """The y of a collector that stands at 0.03 V, less what the state says."""
    supply = Supply(*state[:3])
    top = brentq(lambda y: by_equations(y, supply, 0.03)["wrong"], 15.0, 40.0, xtol=1e-12)
    return float(top) - state[3]


@pytest.mark.parametrize("state", STATES)
def test_level_is_where_the_equations_are_in_balance(state: tuple[float, ...]) -> None:
    supply, y = Supply(*state[:3]), y_of(state)
    expected = brentq(
        lambda place: by_equations(y, supply, place)["wrong"], -0.2, state[0] - state[2] - 1e-6, xtol=1e-14
    )
    found = settled(y, frame_at(state))
    assert found.collector == pytest.approx(expected, abs=1e-10)
    for name, value in by_equations(y, supply, expected).items():
        if name != "wrong":
            assert getattr(found, name) == pytest.approx(value, rel=1e-8), name


@pytest.mark.parametrize("state", STATES)
def test_slopes_of_a_level_are_differences(state: tuple[float, ...]) -> None:
    """But for how the load's Early factor hangs on its junction, a thousandth of the demand's slope."""
    frame, y = frame_at(state), y_of(state)
    low, here, high = (settled(y + off, frame) for off in (-1e-5, 0.0, 1e-5))
    for name in ("given", "collector", "demand", "capability"):
        slope = (getattr(high, name) - getattr(low, name)) / 2e-5
        assert getattr(here, f"{name}_slope") == pytest.approx(
            slope, rel=2e-3 if name == "demand" else 1e-7
        ), name


@pytest.mark.parametrize("state", STATES)
def test_a_level_is_found_from_nearby_along_the_slopes(state: tuple[float, ...]) -> None:
    """What is left of a distance goes with its square."""
    frame, y = frame_at(state), y_of(state)
    exact = settled(y, frame)
    for name in ("collector", "given", "capability"):
        left = []
        for off in (0.002, 0.001):
            near = level_at(y, exact.collector + off, frame, SIDE)
            assert near.shift == pytest.approx(near.collector - exact.collector - off, abs=1e-4)
            left.append(abs(getattr(near, name) - getattr(exact, name)))
        scale = abs(getattr(exact, f"{name}_slope")) * 0.002
        assert left[0] < 0.1 * scale
        assert left[1] < 0.3 * left[0] + 1e-6 * scale


def test_what_stays_of_a_latch() -> None:
    """With a collector at c and a junction at u the resistor draws (V - u - c) / R, V behind the ESR."""
    supply = Supply(2.9, 5.0, 0.4)
    frame = frame_of(supply, KICK, THERMAL, SIDE)
    resistance = float(SIDE["motor_resistance"])
    for y, collector in ((24.0, 0.02), (26.0, 0.7)):
        motor = (2.9 - collector - 0.4) / (resistance + 5.0)
        assert (2.9 - collector - 0.4) * frame.conductance == pytest.approx(motor)
        rail = 2.9 - 5.0 * motor
        drawn = (rail - THERMAL * y - collector) / float(SIDE["latch"])
        drawn += KICK.current - KICK.answer * THERMAL * y - KICK.feed * collector
        found = frame.drive - frame.weight * y - frame.stiffness * collector
        assert found == pytest.approx(drawn, rel=1e-10)
    assert frame.free_level == pytest.approx(1.25)
    assert frame_of(Supply(0.5, 0.0, 0.4), KICK, THERMAL, SIDE).free_level == LEAST_FREE_LEVEL
    # as the whole circuit's reference has it
    assert LEAST_FREE_LEVEL == RISEN
    assert frame.share == pytest.approx(1.0 / (float(SIDE["npn"]["reverse_gain"]) + 1.0))


def test_a_motor_that_drives_its_rail_is_as_good_as_none() -> None:
    without = SIDE.copy()
    without["motor_resistance"] = 1e13
    levels = []
    for side, back in ((SIDE, 1.7), (without, 0.0)):
        frame = frame_of(Supply(1.5, 0.0, back), KICK, THERMAL, side)
        levels.append(np.array(level_at(24.0, 0.1, frame, side)))
    assert levels[0] == pytest.approx(levels[1], rel=1e-5, abs=1e-12)


@pytest.mark.parametrize("cover", [1.5, 3.0])
@pytest.mark.parametrize("state", STATES[:4])
def test_excess_is_the_way_to_where_the_npn_settles(state: tuple[float, ...], cover: float) -> None:
    frame, top = frame_at(state), y_of(state)

    def over(y: float) -> float:
        level = settled(y, frame)
        return level.capability / level.demand - cover

    y = float(brentq(over, top - 6.0, top, xtol=1e-9))
    level = settled(y, frame)
    excess, slope = excess_of(level, THERMAL, SIDE["npn"])
    settles, _ = collector_voltage(level.capability, level.demand, THERMAL, SIDE["npn"])
    assert excess == pytest.approx(settles - level.collector)
    low, high = (excess_of(settled(y + off, frame), THERMAL, SIDE["npn"])[0] for off in (-1e-6, 1e-6))
    assert slope == pytest.approx((high - low) / 2e-6, rel=3e-3)


def test_excess_of_an_npn_that_cannot_carry_its_load_is_what_it_lacks() -> None:
    level = Level(1e-4, 2e-4, 0.1, -0.2, 0.05, 0.01, 0.03, 0.04, 0.0)
    excess, slope = excess_of(level, THERMAL, SIDE["npn"])
    assert 0.02 < excess < 0.021
    assert slope == pytest.approx(0.01 - 0.04)
    # from just covered to just not covered it stays above nought
    assert excess_of(level._replace(capability=0.05), THERMAL, SIDE["npn"])[0] > 0.0


def test_far_from_where_it_was_looked_for_a_level_goes_by_the_resistor_alone() -> None:
    state = STATES[0]
    frame, y = frame_at(state), y_of(state)
    exact = settled(y, frame)
    far = level_at(y, exact.collector + 0.3, frame, SIDE)
    assert abs(far.shift) > STRAIGHT
    held = by_equations(y, Supply(*state[:3]), exact.collector + 0.3)
    assert far.shift == pytest.approx(-held["wrong"] / frame.stiffness, rel=1e-6)
    assert far.given == pytest.approx(held["given"], rel=1e-9)


# A motor that takes little more than the base, no Early effect of the NPN, and a feed that counts.
WEAK = {**MODEL, "left.npn.early_voltage": 1e9, "left.motor.resistance": 2e3, "left.npn.reverse_gain": 2.0}
WEAK_SIDE = build(Design(name="borage").with_values(WEAK))[0]["side"][0]


@pytest.mark.parametrize("source", [0.75, 0.8])
@pytest.mark.parametrize("collector", [0.02, 0.1])
def test_demand_where_base_and_feed_are_most_of_it(source: float, collector: float) -> None:
    """Its slope is a difference, and from nearby it is found along the slopes across."""
    frame = frame_of(Supply(source, 1.0, 0.0), Kick(6e-3, 8e-3, 6e-3, 0.75), THERMAL, WEAK_SIDE)
    y = float(brentq(lambda y: level_of(y, collector, frame, WEAK_SIDE).collector - collector, 15.0, 28.0))
    low, here, high = (level_of(y + off, collector, frame, WEAK_SIDE) for off in (-1e-5, 0.0, 1e-5))
    assert here.demand_slope == pytest.approx((high.demand - low.demand) / 2e-5, rel=1e-6)
    left = [level_at(y, here.collector + off, frame, WEAK_SIDE).demand - here.demand for off in (4e-4, 2e-4)]
    assert abs(left[1]) < 0.3 * abs(left[0]) + 1e-9 * here.demand


@pytest.mark.parametrize("esr", [0.0, 2.0])
def test_slopes_of_a_level_whose_motor_drives_its_rail_are_those_without_it(esr: float) -> None:
    without = SIDE.copy()
    without["motor_resistance"] = 1e13
    bare = frame_of(Supply(1.5, 0.0, 0.0), KICK, THERMAL, without)
    y = float(brentq(lambda y: level_of(y, 0.1, bare, without).collector - 0.1, 15.0, 30.0))
    level = level_of(y, 0.1, bare, without)
    driven = frame_of(Supply(1.5, esr, 1.45), KICK, THERMAL, SIDE)._replace(
        drive=bare.drive, stiffness=bare.stiffness
    )
    found, expected = (
        level_at(y, level.collector + 1e-3, frame, side) for frame, side in ((driven, SIDE), (bare, without))
    )
    assert np.array(found) == pytest.approx(np.array(expected), rel=1e-6, abs=1e-12)
