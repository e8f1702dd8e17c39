"""From which flash on the latch takes, against full node equations, and for any allowed part."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from agents.circuit.ignition import ignites, ignition_voltage
from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.formulae import thermal_voltage
from tests.helpers.drawn_pulses import SMALL_NODE, drawn_cases
from tests.helpers.whole_circuit import WholeCircuit

MARIGOLD = Design(name="marigold")


def left_side(values: dict[str, float]) -> Any:
    return build(MARIGOLD.with_values(values))[0]["side"][0]


def takes(values: dict[str, float], touched: bool, on_voltage: float) -> bool:
    """Whether a flash at ``on_voltage`` [V] brings the collector half-way down, by the full equations."""
    circuit = WholeCircuit(MARIGOLD.with_values(values), 100.0, touched, node=SMALL_NODE, tolerance=1e-5)
    return circuit.takes(circuit.trigger(on_voltage))[0]


@pytest.mark.parametrize("touched", [False, True])
@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, 2.318),
        ({"both.latch": 1e3}, 2.362),
        ({"both.latch": 100e3}, 2.321),
        ({"both.latch": 220e3, "both.motor.resistance": 8.0}, 2.396),
        ({"both.npn.gain": 60.0, "both.pnp.gain": 60.0}, 2.347),
        ({"both.eye.lit_voltage": 1.5}, 2.115),
    ],
    ids=str,
)
def test_ignition_against_full_equations(values: dict[str, float], expected: float, touched: bool) -> None:
    """To 5 mV, half of what eyes jitter by; the whisker pressed it takes a little more."""
    needed = float(left_side(values)["ignition"][1 if touched else 0])
    assert needed == pytest.approx(expected, abs=0.004 if not touched else 0.025)
    assert not takes(values, touched, needed - 0.005)
    assert takes(values, touched, needed + 0.005)


def test_ignition_of_drawn_designs() -> None:
    """To 12 mV, also where a strong feeler makes the threshold soft."""
    for case in drawn_cases(6):
        needed = float(left_side(case.values)["ignition"][1 if case.touched else 0])
        assert not takes(case.values, case.touched, needed - 0.012), case.name
        assert takes(case.values, case.touched, needed + 0.012), case.name


def test_a_flash_from_too_low_does_not_ignite() -> None:
    """The kick has to lift the PNP's base over one emitter-base voltage before anything flows."""
    side = left_side({})
    for touched in (False, True):
        assert not ignites(1.7, touched, side)
        assert not ignites(2.2, touched, side)
        assert ignites(2.6, touched, side)
    least, more = (float(one) for one in side["ignition"])
    between = 0.5 * (least + more)
    assert least < more
    assert ignites(between, False, side)
    # just as much is enough
    assert ignites(least, False, side)
    assert not ignites(between, True, side)
    # a small latch resistor holds the PNP off all the harder
    assert not ignites(2.6, False, left_side({"both.latch": 200.0}))


def most_that_a_flash_has_to_give(values: dict[str, float], touched: bool) -> float:
    """The greatest V_on over the PNP's forward current, by a fine grid over the module's equations.

    Up to where the latch holds itself, or the collector is half-way down.
    """
    side = MARIGOLD.with_values(values).left
    eye, motor, pnp = side.eye, side.motor, side.pnp
    feeler = side.feeler if touched and side.feeler else math.inf
    waiting = 1.0 / (1.0 / (side.series + motor.resistance) + 1.0 / feeler)
    rail = eye.lit_voltage + 0.65 + eye.quiet_current * waiting
    thermal = thermal_voltage(298.15)
    x = np.linspace(math.log(1e-9 / pnp.saturation_current), math.log(1.0 / pnp.saturation_current), 20_000)
    forward = pnp.saturation_current * np.exp(x)
    drop = motor.resistance * motor_current(values, rail, forward)
    junction = thermal * x
    taken = (junction - drop) / side.latch + (forward + np.sqrt(forward * pnp.low_knee_current)) / pnp.gain
    taken += (rail - drop - eye.lit_voltage) / side.series + (rail - eye.lit_voltage) / feeler
    taken -= eye.quiet_current * eye.lit_voltage / eye.dark_trigger
    until = int(np.argmax((taken < 0.0) | (drop > 0.5 * rail)))
    needed = eye.lit_voltage + junction + eye.flash_resistance * np.maximum(taken, 0.0)
    return float(needed[:until].max())


def motor_current(values: dict[str, float], rail: float, forward: Any) -> Any:
    """From f to the motor's current [A]: high injection, Early and what recombines, of each transistor."""
    side = MARIGOLD.with_values(values).left
    npn, pnp = side.npn, side.pnp
    given = carried(forward, pnp.knee_current) * (1.0 + max(rail - 1.4, 0.0) / pnp.early_voltage)
    low = math.sqrt(npn.low_knee_current)
    ideal = (0.5 * (np.sqrt(low * low + 4.0 * npn.gain * given) - low)) ** 2
    return carried(ideal, npn.knee_current) * (1.0 + max(rail - 1.1, 0.0) / npn.early_voltage)


def carried(ideal: Any, knee: float) -> Any:
    """The current t [A] of which t + t^2 / knee is ``ideal`` [A]."""
    return 0.5 * knee * (np.sqrt(1.0 + 4.0 * ideal / knee) - 1.0)


@pytest.mark.parametrize("touched", [False, True])
@pytest.mark.parametrize(
    "values",
    [
        {},
        {"both.latch": 1e3},
        {"both.latch": 220e3, "both.motor.resistance": 8.0},
        {"both.npn.gain": 60.0, "both.pnp.gain": 60.0, "both.eye.flash_resistance": 900.0},
        {"both.eye.lit_voltage": 1.5, "both.eye.quiet_current": 2e-5, "both.feeler": 15e3},
        {"both.npn.knee_current": 5e-3, "both.pnp.knee_current": 2e-5, "both.motor.resistance": 80.0},
        {"both.npn.early_voltage": 5.0, "both.pnp.early_voltage": 4.0, "both.npn.low_knee_current": 1e-3},
        {"both.pnp.low_knee_current": 1e-3, "both.series": 8e3, "both.eye.dark_trigger": 2.0},
        {"both.npn.gain": 8.0, "both.motor.resistance": 200.0, "both.latch": 400.0},
        {"both.eye.lit_voltage": 1.0, "both.pnp.early_voltage": 3.0, "both.npn.early_voltage": 3.0},
        {"both.eye.lit_voltage": 0.2, "both.pnp.early_voltage": 3.0, "both.npn.early_voltage": 3.0},
        {"both.motor.resistance": 5e3, "both.eye.quiet_current": 2e-5, "both.series": 1e4},
    ],
    ids=str,
)
def test_ignition_is_the_most_that_a_flash_has_to_give(values: dict[str, float], touched: bool) -> None:
    """To 1 mV, since the search leaves out how the base's own current grows, where V_on is flat."""
    side = left_side(values)
    found = ignition_voltage(touched, side, thermal_voltage(298.15))
    assert found == pytest.approx(most_that_a_flash_has_to_give(values, touched), abs=1e-3)
    assert float(side["ignition"][int(touched)]) == pytest.approx(found, abs=1e-9)


STRONG = {"both.npn.gain": 2000.0, "both.pnp.gain": 2000.0, "both.pnp.saturation_current": 1e-9}


@pytest.mark.parametrize(
    "values",
    [
        {"both.eye.quiet_current": 1e-3},
        {"both.eye.quiet_current": 1e-4, **STRONG},
        {
            "both.eye.quiet_current": 1e-4,
            "both.motor.resistance": 1e4,
            "both.npn.low_knee_current": 1e-8,
            **STRONG,
        },
    ],
    ids=str,
)
def test_a_flash_has_nothing_to_give_where_the_dark_eye_would_draw_more_than_it_is_fed(
    values: dict[str, float],
) -> None:
    """V_on is the lit voltage and V_EB, from nought, with the collector a thousandth of the rail down."""
    values = {"both.eye.dark_trigger": 0.9, "both.latch": 100e3, "storage.capacitance": 10.0, **values}
    side, thermal = left_side(values), thermal_voltage(298.15)
    parts = MARIGOLD.with_values(values).left
    rail = parts.eye.lit_voltage + 0.65
    rail += parts.eye.quiet_current * (parts.series + parts.motor.resistance)

    def beyond(x: float) -> float:
        forward = parts.pnp.saturation_current * math.exp(x)
        return float(math.log(parts.motor.resistance * motor_current(values, rail, forward) / (1e-3 * rail)))

    x = float(brentq(beyond, *np.log(np.array([1e-12, 1e-2]) / parts.pnp.saturation_current), xtol=1e-9))
    expected = parts.eye.lit_voltage + max(thermal * x, 0.0)
    assert ignition_voltage(False, side, thermal) == pytest.approx(expected, abs=1e-5)
    assert (x < 0.0) == ("both.motor.resistance" in values)


PARTS = {
    "both.latch": st.sampled_from([10.0, 1e3, 1e8]),
    "both.series": st.sampled_from([10.0, 47e3, 1e8]),
    "both.feeler": st.sampled_from([10.0, 33e3, 1e8]),
    "both.motor.resistance": st.sampled_from([0.5, 28.0, 1e4]),
    "both.eye.flash_resistance": st.sampled_from([1.0, 200.0, 1e5]),
    "both.eye.lit_voltage": st.sampled_from([0.1, 1.7, 20.0]),
    "both.eye.quiet_current": st.sampled_from([1e-9, 4e-6, 1e-2]),
    "both.npn.gain": st.sampled_from([5.0, 2000.0]),
    "both.pnp.gain": st.sampled_from([5.0, 2000.0]),
    "both.npn.knee_current": st.sampled_from([1e-4, 100.0]),
    "both.pnp.knee_current": st.sampled_from([1e-4, 100.0]),
    "both.npn.low_knee_current": st.sampled_from([0.0, 1e-3]),
    "both.pnp.low_knee_current": st.sampled_from([0.0, 1e-3]),
    "both.pnp.saturation_current": st.sampled_from([1e-18, 1e-9]),
}


@settings(deadline=None, derandomize=True, max_examples=100)
@given(values=st.fixed_dictionaries({}, optional=PARTS), touched=st.booleans())
def test_any_allowed_part_has_an_answer(values: dict[str, float], touched: bool) -> None:
    """Never below the lit eye, and never without an end."""
    # a storage that no part empties too soon
    walker = build(MARIGOLD.with_values({"storage.capacitance": 10.0, **values}))[0]
    side, thermal = walker["side"][0], float(walker["thermal"])
    needed = ignition_voltage(touched, side, thermal)
    assert math.isfinite(needed)
    assert needed >= side["lit_voltage"]
