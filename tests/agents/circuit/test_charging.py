"""Charging between pulses against scipy's stiff integrators and against closed forms."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from agents.circuit.charging import charge_to, charging_current, time_to_reach, wait, waiting_currents
from agents.circuit.panel import lit_panel
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED
from agents.design.as_built import build
from agents.design.spec import Design
from tests.helpers.reference_circuit import waiting_rate

PANSY = Design(name="pansy", spread={})
# two eyes with kinks of their own, a panel with drops on the way, a leak that counts
UNEVEN = PANSY.with_values(
    {
        "left.eye.dark_trigger": 1.9,
        "right.eye.dark_trigger": 2.6,
        "both.eye.quiet_current": 8e-6,
        "panel.series_resistance": 300.0,
        "panel.shunt_resistance": 1e6,
        "storage.leak": 2e5,
    }
)


def photocurrent_at(design: Design, light: float) -> float:
    return design.panel.current_per_light * light


def reach(walker: Any, photocurrent: float, start: float, goal: float) -> float:
    """The kernel's time [s], which it must have found."""
    time, status = time_to_reach(walker, lit_panel(walker, photocurrent, 0.0), start, goal)
    assert status == SETTLED
    return time


def rest_voltage(design: Design, photocurrent: float) -> float:
    rate = waiting_rate(design, photocurrent)
    return float(brentq(lambda rail: rate(0.0, [rail])[0], 0.0, 20.0, xtol=1e-13))


def reference_time(design: Design, photocurrent: float, start: float, goal: float) -> float:
    """Time [s] by an integrator of high order that stops at the goal."""

    def arrives(_: float, state: Any) -> float:
        return float(state[0]) - goal

    arrives.terminal = True  # type: ignore[attr-defined]
    solution = solve_ivp(
        waiting_rate(design, photocurrent),
        (0.0, 1e8),
        [start],
        method="Radau",
        rtol=1e-10,
        atol=1e-12,
        events=arrives,
    )
    assert solution.status == 1
    return float(solution.t_events[0][0])


def waited(design: Design, photocurrent: float, start: float, duration: float) -> Any:
    state = np.zeros(1, STATE)[0]
    state["rail"] = start
    walker = build(design)[0]
    wait(walker, lit_panel(walker, photocurrent, 0.0), state, duration)
    return state


@pytest.mark.parametrize("design", [PANSY, UNEVEN], ids=["default", "uneven"])
@pytest.mark.parametrize("light", [600.0, 3000.0, 30_000.0])
@pytest.mark.parametrize(("start", "share"), [(0.0, 0.6), (0.8, 0.95), (1.5, 0.9999)])
def test_time_to_reach_a_goal(design: Design, light: float, start: float, share: float) -> None:
    photocurrent = photocurrent_at(design, light)
    goal = share * rest_voltage(design, photocurrent)
    expected = reference_time(design, photocurrent, start, goal)
    assert reach(build(design)[0], photocurrent, start, goal) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("design", [PANSY, UNEVEN], ids=["default", "uneven"])
@pytest.mark.parametrize("light", [0.0, 20.0, 600.0, 30_000.0])
@pytest.mark.parametrize("start", [0.0, 0.8, 3.5])
@pytest.mark.parametrize("duration", [0.05, 7.0, 400.0, 20_000.0])
def test_wait_ends_where_the_integrator_does(
    design: Design, light: float, start: float, duration: float
) -> None:
    photocurrent = photocurrent_at(design, light)
    solution = solve_ivp(
        waiting_rate(design, photocurrent),
        (0.0, duration),
        [start],
        method="Radau",
        rtol=1e-10,
        atol=1e-12,
    )
    state = waited(design, photocurrent, start, duration)
    assert state["rail"] == pytest.approx(float(solution.y[0, -1]), rel=1e-4, abs=1e-6)


def test_the_two_ways_of_counting_time_agree() -> None:
    walker = build(UNEVEN)[0]
    photocurrent = photocurrent_at(UNEVEN, 2000.0)
    state = np.zeros(1, STATE)[0]
    state["rail"] = 0.7
    wait(walker, lit_panel(walker, photocurrent, 0.0), state, reach(walker, photocurrent, 0.7, 2.9))
    assert state["rail"] == pytest.approx(2.9, rel=1e-5)


@pytest.mark.parametrize(("start", "goal"), [(0.7, 1.8), (0.7, 2.9), (2.0, 2.5)])
def test_energies_of_a_charging_are_told_alike_in_both_ways_and_add_up(start: float, goal: float) -> None:
    """Panel less eyes and leak is what the storage gained, C (goal^2 - start^2) / 2."""
    walker = build(UNEVEN)[0]
    panel = lit_panel(walker, photocurrent_at(UNEVEN, 2000.0), 0.0)
    charging = charge_to(walker, panel, start, goal)
    stored = 0.5 * UNEVEN.storage.capacitance * (goal**2 - start**2)
    assert charging.panel - charging.eyes - charging.leak == pytest.approx(stored, rel=1e-6)
    state = waited(UNEVEN, photocurrent_at(UNEVEN, 2000.0), start, charging.time)
    for name in ("panel", "eyes", "leak"):
        counted = float(state["eye_energy" if name == "eyes" else f"{name}_energy"])
        assert counted == pytest.approx(getattr(charging, name), rel=1e-4), name
    assert charging.time == reach(walker, photocurrent_at(UNEVEN, 2000.0), start, goal)


@pytest.mark.parametrize("design", [PANSY, UNEVEN], ids=["default", "uneven"])
@pytest.mark.parametrize("light", [300.0, 30_000.0])
def test_nobody_charges_beyond_rest_and_a_long_wait_ends_there(design: Design, light: float) -> None:
    """Where panel, eyes and leak are in balance, by a root finder; and energy in is energy out."""
    photocurrent = photocurrent_at(design, light)
    rest, walker = rest_voltage(design, photocurrent), build(design)[0]
    panel = lit_panel(walker, photocurrent, 0.0)
    assert charge_to(walker, panel, 0.0, rest + 0.01) == (math.inf, 0.0, 0.0, 0.0, SETTLED)
    assert 0.0 < charge_to(walker, panel, 0.0, 0.9 * rest).time < math.inf
    for start in (0.0, 0.8, 3.5):
        state = waited(design, photocurrent, start, 1e6)
        assert state["status"] == SETTLED
        assert state["rail"] == pytest.approx(rest, rel=1e-5)
        stored = 0.5 * design.storage.capacitance * (rest**2 - start**2)
        spent = state["eye_energy"] + state["leak_energy"]
        # at rest for all but the beginning
        currents = waiting_currents(walker, panel, rest)
        assert state["leak_energy"] == pytest.approx(1e6 * currents.leak * rest, rel=0.05)
        assert state["eye_energy"] == pytest.approx(1e6 * currents.eyes * rest, rel=0.05)
        assert state["panel_energy"] - spent == pytest.approx(stored, abs=1e-3 * spent)


def test_discharge_of_a_capacitor_through_a_resistor() -> None:
    """V0 exp(-t / R C): 2200 uF through 1 kilohm fall from 5 to 1 V in 3.541 s."""
    dark = PANSY.with_values(
        {
            "both.eye.quiet_current": 1e-12,
            "storage.leak": 1e3,
            "panel.saturation_current": 1e-30,
            "panel.shunt_resistance": 1e12,
        }
    )
    assert 1e3 * 2200e-6 * math.log(5.0) == pytest.approx(3.541, abs=5e-4)
    assert waited(dark, 0.0, 5.0, 3.541)["rail"] == pytest.approx(1.0, abs=2e-4)
    assert waited(dark, 0.0, 5.0, 22.0)["rail"] == pytest.approx(5.0 * math.exp(-10.0), rel=0.02)


def test_charge_from_a_source_of_constant_current() -> None:
    """C V / I, with panel and leak that all but give nothing back."""
    plain = PANSY.with_values(
        {
            "both.eye.quiet_current": 1e-13,
            "storage.leak": 1e12,
            "panel.saturation_current": 1e-30,
            "panel.shunt_resistance": 1e12,
            "panel.series_resistance": 0.0,
        }
    )
    assert reach(build(plain)[0], 1e-3, 0.5, 3.0) == pytest.approx(2200e-6 * 2.5 / 1e-3, rel=1e-6)


@settings(deadline=None, derandomize=True, max_examples=200)
@given(
    light=st.floats(1.0, 1e5),
    start_share=st.floats(0.0, 0.99),
    offset=st.floats(1e-6, 0.3),
    leak=st.floats(1e4, 1e9),
    quiet=st.floats(1e-8, 1e-4),
)
def test_it_never_reaches_what_lies_above_its_rest(
    light: float, start_share: float, offset: float, leak: float, quiet: float
) -> None:
    design = PANSY.with_values({"storage.leak": leak, "both.eye.quiet_current": quiet})
    photocurrent = photocurrent_at(design, light)
    rest = rest_voltage(design, photocurrent)
    walker = build(design)[0]
    start = start_share * rest
    assert reach(walker, photocurrent, start, rest + offset) == math.inf
    below = rest - min(offset, 0.5 * (rest - start))
    assert 0.0 < reach(walker, photocurrent, start, below) < math.inf
    assert reach(walker, photocurrent, rest, start) == 0.0
    # and a wait neither passes the rest nor turns back from it
    ends = [float(waited(design, photocurrent, start, duration)["rail"]) for duration in (1.0, 1e3, 1e6)]
    assert start - 5e-6 <= ends[0] <= ends[1] + 5e-6
    assert ends[1] <= ends[2] + 5e-6 <= rest + 1e-5


@settings(deadline=None, derandomize=True, max_examples=100)
@given(
    light=st.floats(0.0, 1e5),
    start=st.floats(0.0, 4.0),
    duration=st.floats(1e-3, 1e5),
    esr=st.floats(0.0, 50.0),
)
def test_energy_in_is_energy_out(light: float, start: float, duration: float, esr: float) -> None:
    design = UNEVEN.with_values({"storage.series_resistance": esr})
    state = waited(design, photocurrent_at(design, light), start, duration)
    stored = 0.5 * design.storage.capacitance * (state["rail"] ** 2 - start**2)
    balance = state["panel_energy"] - state["eye_energy"] - state["leak_energy"] - stored
    scale = abs(state["panel_energy"]) + state["eye_energy"] + state["leak_energy"] + abs(stored)
    assert abs(balance) <= 1e-3 * scale + 1e-9


def test_current_at_the_kink_of_an_eye_is_continuous() -> None:
    walker = build(UNEVEN)[0]
    panel = lit_panel(walker, 1e-4, 0.0)
    below, above = (charging_current(walker, panel, 1.9 + shift)[0] for shift in (-1e-9, 1e-9))
    assert below == pytest.approx(above, rel=1e-6)
