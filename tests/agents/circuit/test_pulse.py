"""A pulse against full node equations and closed forms, and the bounds that hold for any design."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from agents.circuit.flow import ease_of, kick_at
from agents.circuit.panel import lit_panel
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.records import STATE
from agents.design.as_built import build
from agents.design.spec import FASTEST_DISCHARGE, Design
from tests.helpers.reference_circuit import Pulse, reference_pulse

MARIGOLD = Design(name="marigold")


def run_pulse(
    design: Design,
    rail: float,
    photocurrent: float = 0.0,
    touched: bool = False,
    longest: float = 3.0,
    **options: Any,
) -> tuple[Pulse, Any]:
    """One pulse of the left side by the kernels; ``finer`` divides the tolerance, ``air`` is in degC."""
    walker = build(design, 273.15 + options.get("air", 25.0))[0]
    walker["tolerance"] /= options.get("finer", 1.0)
    state = np.zeros(1, STATE)[0]
    state["rail"] = rail
    begin_pulse(walker, 0, touched, state)
    # the panel stays at 25 degC
    panel = lit_panel(walker, photocurrent, 298.15 - float(walker["air"]))
    way = 0.0
    holds = True
    while holds and state["elapsed"] < longest:
        holds, passed = pulse_step(walker, 0, panel, touched, state, longest - state["elapsed"])
        way += passed
    length = float(state["elapsed"])
    return Pulse(length, float(state["rail"]), float(state["charge"]), way, holds), state


def compare(
    values: dict[str, Any],
    rail: float = 3.1,
    light: float = 3000.0,
    touched: bool = False,
    air: float = 25.0,
) -> tuple[Pulse, Pulse]:
    """A pulse by the kernels and by the full node equations, which must agree."""
    design = MARIGOLD.with_values(values)
    photocurrent = design.panel.current_per_light * light
    mass = float(build(design)[0]["pivot_mass"])
    expected = reference_pulse(design, rail, photocurrent, touched, pivot_mass=mass, air=air)
    got, _ = run_pulse(design, rail, photocurrent, touched, air=air)
    assert not expected.holds
    assert not got.holds
    assert got.charge == pytest.approx(expected.charge, rel=0.01)
    assert got.length == pytest.approx(expected.length, rel=0.015)
    assert got.let_go == pytest.approx(expected.let_go, rel=0.01)
    # a tyre's way grows with the square of the time and more, and the reference rounds off dry friction
    assert got.way == pytest.approx(expected.way, rel=0.035)
    return got, expected


@pytest.mark.parametrize("latch", [1e3, 2e3, 4.7e3, 10e3, 22e3, 47e3, 100e3])
def test_latch_resistor(latch: float) -> None:
    compare({"both.latch": latch})


@pytest.mark.parametrize("latch", [1e3, 4.7e3, 10e3, 22e3, 47e3])
def test_latch_resistor_with_the_whisker_pressed(latch: float) -> None:
    compare({"both.latch": latch}, touched=True)


@pytest.mark.parametrize("resistance", [8.0, 15.0, 80.0])
@pytest.mark.parametrize("latch", [2e3, 10e3, 22e3])
def test_motor(resistance: float, latch: float) -> None:
    compare({"both.motor.resistance": resistance, "both.latch": latch})


@pytest.mark.parametrize(
    "values",
    [
        {"storage.capacitance": 1000e-6},
        {"storage.capacitance": 4700e-6},
        {"storage.capacitance": 10e-3},
        {"storage.capacitance": 10e-3, "both.motor.resistance": 8.0},
        {"storage.series_resistance": 1.0},
        {"storage.series_resistance": 5.0},
        {"both.coupling": 0.1e-6},
        {"both.coupling": 0.22e-6},
        {"both.coupling": 4.7e-6},
        {"both.eye.flash_resistance": 1e3},
        {"both.eye.quiet_current": 12e-6},
        {"both.series": 22e3},
        {"both.series": 100e3, "both.eye.quiet_current": 1e-6},
    ],
    ids=str,
)
def test_storage_and_eye(values: dict[str, float]) -> None:
    compare(values)


@pytest.mark.parametrize("gains", [(60.0, 60.0), (60.0, 300.0), (400.0, 80.0), (400.0, 300.0)])
@pytest.mark.parametrize("reverse", [1.0, 20.0])
def test_transistors(gains: tuple[float, float], reverse: float) -> None:
    both = {"both.npn.reverse_gain": reverse, "both.pnp.reverse_gain": reverse}
    compare({"both.npn.gain": gains[0], "both.pnp.gain": gains[1], **both})


def test_temperature_of_transistors_and_copper() -> None:
    """Cold parts let go higher up and push harder: windings conduct better, junctions worse."""
    pulses = [compare({}, air=air)[0] for air in (-10.0, 25.0, 60.0)]
    assert [one.let_go for one in pulses] == pytest.approx([0.89, 0.82, 0.75], abs=0.01)
    speeds = [float(run_pulse(MARIGOLD, 3.1, 1.2e-4, air=air)[1]["speed"]) for air in (-10.0, 25.0, 60.0)]
    assert speeds[0] > 1.1 * speeds[1] > 1.2 * speeds[2]


@pytest.mark.parametrize("part", ["npn", "pnp"])
@pytest.mark.parametrize(
    "values",
    [{"early_voltage": 8.0}, {"early_voltage": 1e6}, {"low_knee_current": 0.0}, {"low_knee_current": 1e-4}],
    ids=str,
)
def test_early_effect_and_gain_at_low_current(part: str, values: dict[str, float]) -> None:
    compare({f"both.{part}.{key}": value for key, value in values.items()})


def test_what_early_effect_and_low_gain_are_worth() -> None:
    """Let-go moves up by under 5 % and the charge down by under 4 %; with 100k the way loses 6 %."""

    def plain(latch: float) -> Pulse:
        off = {"early_voltage": 1e6, "low_knee_current": 0.0}
        parts = {f"both.{part}.{key}": value for part in ("npn", "pnp") for key, value in off.items()}
        return run_pulse(MARIGOLD.with_values({"both.latch": latch, **parts}), 3.1, 1.2e-4)[0]

    def real(latch: float) -> Pulse:
        return run_pulse(MARIGOLD.with_values({"both.latch": latch}), 3.1, 1.2e-4)[0]

    for latch in (2e3, 10e3, 22e3, 100e3):
        assert 1.0 < real(latch).let_go / plain(latch).let_go < 1.05
        assert 0.96 < real(latch).charge / plain(latch).charge < 1.0
    assert real(10e3).way < 0.995 * plain(10e3).way
    assert real(100e3).way < 0.95 * plain(100e3).way


@pytest.mark.parametrize(("rail", "light"), [(2.65, 100.0), (2.8, 300.0), (3.7, 10_000.0), (4.0, 30_000.0)])
def test_rail_and_light(rail: float, light: float) -> None:
    compare({}, rail=rail, light=light)


@pytest.mark.parametrize(
    "values",
    [
        {"both.tyre.slip_speed": 2e-3},
        {"both.tyre.slip_speed": 0.2},
        {"both.motor.inertia": 2e-9},
        {"both.motor.inertia": 1e-7},
        {"body.mass": 0.1},
        {"both.tyre.radius": 0.004},
    ],
    ids=str,
)
def test_rotor_tyre_and_body(values: dict[str, float]) -> None:
    compare(values)


def test_feeler_resistor() -> None:
    for feeler in (1e3, 4.7e3, 22e3, 47e3):
        compare({"both.feeler": feeler}, touched=True)


@pytest.mark.parametrize(
    ("latch", "feeler", "twitches"),
    [
        (10e3, 100.0, True),
        (10e3, 330.0, False),
        (22e3, 330.0, False),
        (22e3, 4.7e3, False),
        (22e3, 10e3, False),
        (47e3, 4.7e3, True),
        (47e3, 10e3, True),
        (47e3, 22e3, False),
        (100e3, 22e3, True),
    ],
)
def test_a_feeler_that_keeps_its_eye_lit_may_hold_the_latch_off(
    latch: float, feeler: float, twitches: bool
) -> None:
    """Through a small feeler resistor the coupling capacitor works against the latch resistor."""
    design = MARIGOLD.with_values({"both.latch": latch, "both.feeler": feeler})
    for rail in (2.9, 3.1):
        expected = reference_pulse(design, rail, 120e-6, touched=True)
        got, _ = run_pulse(design, rail, 120e-6, touched=True)
        assert (expected.length < 0.02) == twitches
        assert (got.length < 0.02) == twitches


def test_twitch_of_a_hungry_motor_sets_in_at_the_same_latch_resistor() -> None:
    """Where the collector comes part of the way up and down again, both say that the latch holds."""
    for latch, twitches in ((15e3, False), (22e3, False), (33e3, False), (47e3, True), (100e3, True)):
        design = MARIGOLD.with_values({"both.motor.resistance": 8.0, "both.latch": latch})
        expected = reference_pulse(design, 3.1, 120e-6)
        got, _ = run_pulse(design, 3.1, 120e-6)
        assert (expected.length < 5e-3) == twitches
        assert (got.length < 5e-3) == twitches


def test_a_frugal_motor_stays_on_in_bright_light() -> None:
    values = {
        "both.motor.resistance": 80.0,
        "panel.current_per_light": 2e-6,
        "panel.saturation_current": 1e-11,
    }
    design = MARIGOLD.with_values(values)
    assert reference_pulse(design, 3.1, 60e-3).holds
    got, state = run_pulse(design, 3.1, 60e-3)
    assert got.holds
    # in balance the panel gives what motor and bases take
    assert state["rail"] > 2.0


@pytest.mark.parametrize(
    ("latch", "touched", "bound"),
    [(220e3, False, 0.05), (470e3, False, 0.12), (68e3, True, 0.06), (100e3, True, 0.15)],
)
def test_a_latch_that_hardly_holds_is_off_by_what_the_docstring_says(
    latch: float, touched: bool, bound: float
) -> None:
    design = MARIGOLD.with_values({"both.latch": latch})
    mass = float(build(design)[0]["pivot_mass"])
    expected = reference_pulse(design, 3.1, 120e-6, touched, pivot_mass=mass)
    got, _ = run_pulse(design, 3.1, 120e-6, touched)
    assert got.charge == pytest.approx(expected.charge, rel=bound)
    assert got.length == pytest.approx(expected.length, rel=bound)
    assert got.let_go == pytest.approx(expected.let_go, rel=bound)


def test_the_tolerance_is_small_enough() -> None:
    for values in ({}, {"both.latch": 47e3}, {"both.motor.resistance": 8.0}, {"storage.capacitance": 1e-3}):
        design = MARIGOLD.with_values(values)
        coarse, _ = run_pulse(design, 3.1, 120e-6)
        fine, _ = run_pulse(design, 3.1, 120e-6, finer=1000.0)
        assert coarse.charge == pytest.approx(fine.charge, rel=0.005)
        assert coarse.let_go == pytest.approx(fine.let_go, rel=0.005)
        assert coarse.length == pytest.approx(fine.length, rel=0.007)
        assert coarse.way == pytest.approx(fine.way, rel=0.015)


def test_motor_from_rest_against_its_closed_form() -> None:
    """omega_inf (1 - exp(-t / tau)), tau = J R / K^2, from rest at a held voltage (first-order step).

    A storage of 10 F holds the voltage; the tyre hardly grips and the bearings hardly rub.
    """
    design = MARIGOLD.with_values(
        {
            "storage.capacitance": 10.0,
            "both.latch": 2e3,
            "both.motor.friction": 1e-7,
            "both.tyre.grip": 0.01,
            "body.mass": 1e-4,
            "both.motor.inertia": 4e-8,
        }
    )
    walker = build(design)[0]
    state = np.zeros(1, STATE)[0]
    state["rail"] = 3.0
    begin_pulse(walker, 0, False, state)
    motor = design.left.motor
    tau = motor.inertia * motor.resistance / motor.constant**2
    for share in (0.1, 0.5, 1.0, 2.0, 4.0):
        while state["elapsed"] < share * tau:
            left = share * tau - float(state["elapsed"]) + 1e-15
            assert pulse_step(walker, 0, lit_panel(walker, 0.0, 0.0), False, state, left)[0]
        time = float(state["elapsed"])
        # the collector moves by a few millivolts as the load falls
        driving = state["rail"] - state["collector"]
        expected = driving / motor.constant * -math.expm1(-time / tau)
        assert state["rotor"] == pytest.approx(expected, rel=0.01)


def test_what_the_coupling_capacitor_draws() -> None:
    """Kirchhoff's law at the eye: what comes out of the PNP's base leaves through eye, series and feeler."""
    design = MARIGOLD.with_values({"both.feeler": 33e3})
    walker = build(design)[0]
    side = walker["side"][0]
    eye = design.left.eye
    for touched in (False, True):
        for top in (2.4, 1.9, 1.5, 0.3):
            junction, collector, rail = 0.65, 0.05, 3.0
            coupling = rail - junction - top
            ease = ease_of(walker, 0, touched, top > eye.lit_voltage)
            kick = kick_at(side, ease, rail, coupling, junction)
            drawn = kick.current - kick.answer * junction - kick.feed * collector
            expected = max(top - eye.lit_voltage, 0.0) / eye.flash_resistance + (top - collector) / 47e3
            expected += eye.quiet_current * min(top / eye.dark_trigger, 1.0)
            if touched:
                expected -= (rail - top) / 33e3
            assert drawn == pytest.approx(expected, rel=1e-9)
            assert kick.top == pytest.approx(top + junction)


# parts as far out as a design may have them
EXTREMES = {
    "both.motor.inertia": st.sampled_from([1e-10, 1.5e-8, 1e-4]),
    "both.motor.resistance": st.sampled_from([0.5, 8.0, 80.0, 1e4]),
    "both.motor.constant": st.sampled_from([1e-5, 2.2e-3, 0.3]),
    "both.motor.friction": st.sampled_from([1e-7, 2e-5, 0.1]),
    "both.tyre.slip_speed": st.sampled_from([1e-3, 0.05, 1.0]),
    "both.tyre.radius": st.sampled_from([2e-4, 1.6e-3, 0.05]),
    "both.tyre.grip": st.sampled_from([0.01, 0.7, 3.0]),
    "both.latch": st.sampled_from([10.0, 1e3, 10e3, 1e6]),
    "both.series": st.sampled_from([10.0, 47e3, 1e8]),
    "both.coupling": st.sampled_from([1e-9, 1e-6, 1e-3]),
    "both.eye.flash_resistance": st.sampled_from([1.0, 200.0, 1e5]),
    "both.npn.gain": st.sampled_from([5.0, 150.0, 2000.0]),
    "both.pnp.knee_current": st.sampled_from([1e-4, 0.02, 100.0]),
    "both.npn.reverse_gain": st.sampled_from([0.1, 5.0, 100.0]),
    "storage.capacitance": st.sampled_from([1e-5, 2200e-6, 1.0]),
    "storage.series_resistance": st.sampled_from([0.0, 1.0, 50.0]),
    "body.mass": st.sampled_from([1e-4, 0.014, 5.0]),
}


@settings(deadline=None, derandomize=True, max_examples=250)
@given(
    values=st.fixed_dictionaries({}, optional=EXTREMES),
    rail=st.floats(1.5, 6.0),
    photocurrent=st.floats(0.0, 5e-3),
    touched=st.booleans(),
)
def test_no_allowed_part_is_too_extreme(
    values: dict[str, float], rail: float, photocurrent: float, touched: bool
) -> None:
    """Nothing grows without end, and energy in is energy out within 1 % (or a microjoule)."""
    design = MARIGOLD.with_values(values)
    if design.discharge_rate > FASTEST_DISCHARGE:
        with pytest.raises(ValidationError, match="motor and latch empty in"):
            Design.model_validate(dict(design))
        return
    _, state = run_pulse(design, rail, photocurrent, touched, longest=0.2)
    for name in ("rail", "rotor", "speed", "coupling", "collector", "drain"):
        assert math.isfinite(state[name])
    motor = design.left.motor
    assert -1e-9 <= state["rail"] <= max(rail, 4.3) + 0.1
    assert 0.0 <= state["rotor"] <= 1.1 * max(rail, 4.3) / motor.constant
    assert 0.0 <= state["speed"] <= 1.1 * design.left.tyre.radius * max(rail, 4.3) / motor.constant
    spent = sum(
        state[name] for name in ("motor_energy", "base_energy", "eye_energy", "leak_energy", "esr_energy")
    )
    stored = 0.5 * design.storage.capacitance * (rail**2 - state["rail"] ** 2)
    assert state["panel_energy"] + stored == pytest.approx(spent, rel=0.01, abs=1e-6)
