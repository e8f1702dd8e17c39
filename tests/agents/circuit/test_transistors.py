"""The PNP's currents against the quadratic they solve, and slopes of PNP and NPN against differences."""

import math
from itertools import pairwise
from typing import Any

import pytest
from scipy.optimize import brentq

from agents.circuit.transistors import OVERDRIVEN, Around, collector_voltage, driver_currents
from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.formulae import thermal_voltage
from tests.helpers.reference_circuit import transistor_currents

THERMAL = thermal_voltage(298.15)
VALUES = {
    "left.pnp.gain": 110.0,
    "left.pnp.reverse_gain": 3.0,
    "left.pnp.knee_current": 0.03,
    "left.pnp.low_knee_current": 2e-5,
    "left.npn.gain": 140.0,
    "left.npn.reverse_gain": 4.0,
    "left.npn.knee_current": 0.06,
}
SIDE = build(Design(name="borage").with_values(VALUES))[0]["side"][0]

# forward current [A], and what stands around the PNP: far from saturation, next to it, within, deep in it
STATES = [
    (1e-5, Around(1e-9, 1e-6, 1.12, 3e-8, -2e-5, -0.04)),
    (4e-3, Around(1e-4, 2e-4, 1.1, 4e-3, -3e-3, -0.05)),
    (2e-3, Around(40.0, 1e-4, 1.05, 1e3, -2e-3, -0.05)),
    (8e-3, Around(500.0, 3e-4, 0.98, 2e4, -3e-3, 0.04)),
    (8e-3, Around(3e4, -1e-4, 0.97, -9e5, 3e-3, 0.04)),
    (5e-3, Around(30.0, 5e-2, 0.97, -9e2, 3e-3, 0.04)),
]


def by_equations(forward: float, around: Around) -> tuple[float, float]:
    """Base and collector current [A], t + t^2 / I_K = f - x by a root finder."""
    pnp: Any = SIDE["pnp"]

    def parts(collector: float) -> tuple[float, float]:
        fed_back = forward * around.room * (collector + around.spare)
        return fed_back, (collector + fed_back / pnp["reverse_gain"]) / around.early

    def off(collector: float) -> float:
        fed_back, through = parts(collector)
        return float(through + through * through / pnp["knee"] - (forward - fed_back))

    collector = brentq(off, -0.05 * forward, 2.0 * forward, xtol=1e-19, rtol=1e-14)
    base = (forward + math.sqrt(forward * pnp["low_knee"])) / pnp["gain"]
    return float(base + parts(collector)[0] / pnp["reverse_gain"]), float(collector)


def moved(around: Around, by: float) -> Around:
    """What stands around the PNP ``by`` [V] further on, along its slopes."""
    return Around(
        around.room + by * around.room_slope,
        around.spare + by * around.spare_slope,
        around.early + by * around.early_slope,
        *around[3:],
    )


@pytest.mark.parametrize(("forward", "around"), STATES[:-1])
def test_currents_of_a_pnp_solve_their_equations(forward: float, around: Around) -> None:
    base, collector = by_equations(forward, around)
    found = driver_currents(forward, around, 0.0, SIDE["pnp"])
    assert found.base == pytest.approx(base, rel=1e-6)
    assert found.collector == pytest.approx(collector, rel=1e-6)


@pytest.mark.parametrize("leaning", [0.0, -0.002])
@pytest.mark.parametrize(("forward", "around"), STATES[:-1])
def test_slopes_of_a_pnp_are_differences(forward: float, around: Around, leaning: float) -> None:
    found = driver_currents(forward, around, leaning, SIDE["pnp"])
    ends = []
    for off in (-1e-5, 1e-5):
        there = around._replace(early=around.early + leaning * off)
        ends.append(by_equations(forward * math.exp(off), there))
    assert found.base_slope == pytest.approx((ends[1][0] - ends[0][0]) / 2e-5, rel=1e-4)
    assert found.collector_slope == pytest.approx((ends[1][1] - ends[0][1]) / 2e-5, rel=1e-4)
    low, high = (by_equations(forward, moved(around, off)) for off in (-1e-7, 1e-7))
    assert found.base_across == pytest.approx((high[0] - low[0]) / 2e-7, rel=1e-4, abs=1e-9)
    assert found.collector_across == pytest.approx((high[1] - low[1]) / 2e-7, rel=1e-4, abs=1e-9)


def test_a_pnp_that_is_fed_back_more_than_it_carries_carries_nothing() -> None:
    forward, around = STATES[-1]
    found = driver_currents(forward, around, 0.0, SIDE["pnp"])
    # what its collector gives then is what the junction to its base feeds back, times the base's share
    fed = forward * around.room
    assert found.collector == pytest.approx(-(found.base - base_of(forward)), rel=1e-12)
    assert found.base - base_of(forward) == pytest.approx(fed * around.spare / (3.0 + fed), rel=1e-9)


def base_of(forward: float) -> float:
    return (forward + math.sqrt(forward * 2e-5)) / 110.0


@pytest.mark.parametrize("overdrive", [1.02, 1.4, 1.99, 2.01, 3.0, 12.0, 60.0])
@pytest.mark.parametrize("demand", [1e-4, 0.02, 0.3])
def test_slope_of_the_collector_is_a_difference(overdrive: float, demand: float) -> None:
    _, slope = collector_voltage(overdrive * demand, demand, THERMAL, SIDE["npn"])
    low, high = (
        collector_voltage(overdrive * math.exp(off) * demand, demand, THERMAL, SIDE["npn"])[0]
        for off in (-1e-6, 1e-6)
    )
    # an overdriven base takes its charge in two rounds, of which the slope has the first
    assert slope == pytest.approx((high - low) / 2e-6, rel=1e-6 if overdrive < OVERDRIVEN else 2e-2)


@pytest.mark.parametrize("overdrive", [1.02, 1.4, 1.99])
@pytest.mark.parametrize("demand", [1e-4, 0.02, 0.3])
def test_collector_of_an_npn_that_is_not_overdriven_has_its_closed_form(
    overdrive: float, demand: float
) -> None:
    """V_T ln((beta / beta_r + s (1 + q / beta_r)) / (s - 1)), q the charge in the base by the load.

    Ebers and Moll's saturation voltage, Proceedings of the IRE 42 (1954), where q is 1.
    """
    npn = SIDE["npn"]
    load = brentq(lambda t: t + t * t / npn["knee"] - demand, 0.0, demand, xtol=1e-18)
    charge = 1.0 + load / npn["knee"]
    ratio = npn["gain"] / npn["reverse_gain"]
    inside = (ratio + overdrive * (1.0 + charge / npn["reverse_gain"])) / (overdrive - 1.0)
    found, _ = collector_voltage(overdrive * demand, demand, THERMAL, npn)
    assert found == pytest.approx(THERMAL * math.log(inside), abs=1e-12)


@pytest.mark.parametrize("overdrive", [2.5, 20.0, 60.0])
@pytest.mark.parametrize("load", [0.03, 0.1])
def test_an_overdriven_npn_settles_as_by_the_full_equations(load: float, overdrive: float) -> None:
    """To 2 mV; with the charge in its base taken as that of its load it would be 13 mV off."""
    part = Design(name="borage").with_values({**VALUES, "left.npn.early_voltage": 1e6}).left.npn
    demand = load + load * load / part.knee_current
    base = (overdrive * demand + math.sqrt(demand * part.low_knee_current)) / part.gain

    def excess(collector: float) -> float:
        emitter = brentq(
            lambda trial: transistor_currents(part, trial, trial - collector)[1] - base, 0.1, 1.4, xtol=1e-13
        )
        return transistor_currents(part, emitter, emitter - collector)[0] - load

    found, _ = collector_voltage(overdrive * demand, demand, THERMAL, SIDE["npn"])
    assert found == pytest.approx(brentq(excess, 1e-4, 1.5, xtol=1e-9), abs=2e-3)


@pytest.mark.parametrize("demand", [1e-4, 0.02, 0.3])
def test_collector_is_the_higher_the_less_the_npn_is_driven(demand: float) -> None:
    """And passes from the one form to the other by less than 2 mV."""
    volts = [
        collector_voltage(overdrive * demand, demand, THERMAL, SIDE["npn"])[0]
        for overdrive in (1.01, 1.1, 1.5, 1.99, 1.9999, 2.0001, 2.2, 3.0, 10.0, 100.0)
    ]
    assert all(a > b for a, b in pairwise(volts[:5]))
    assert all(a > b for a, b in pairwise(volts[5:]))
    assert abs(volts[5] - volts[4]) < 2e-3
