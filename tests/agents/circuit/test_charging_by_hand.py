"""Charging with a source of constant current, where all currents are straight between the eyes' kinks."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from agents.circuit import charging as kernels
from agents.circuit.charging import charge_to, charging_current, wait, waiting_currents
from agents.circuit.panel import LitPanel, lit_panel
from agents.circuit.records import STATE
from agents.circuit.status import CHARGE_UNFINISHED, PANEL_UNSETTLED, SETTLED, WAIT_UNFINISHED
from agents.design.as_built import build
from agents.design.spec import Design

SOURCE, LEAK, CAPACITANCE = 1e-2, 1e3, 0.2
KINKS, DRAWS = (1.9, 2.6), (8e-4, 5e-4)
WALKER = build(
    Design(name="pansy", spread={}).with_values(
        {
            "left.eye.dark_trigger": KINKS[0],
            "right.eye.dark_trigger": KINKS[1],
            "left.eye.quiet_current": DRAWS[0],
            "right.eye.quiet_current": DRAWS[1],
            "storage.capacitance": CAPACITANCE,
            "storage.leak": LEAK,
            "panel.saturation_current": 1e-30,
            "panel.shunt_resistance": 1e12,
            "panel.series_resistance": 0.0,
        }
    )
)[0]
LIT = lit_panel(WALKER, SOURCE, 0.0)
# Where the source gives what leak and both eyes take [V].
REST = (SOURCE - sum(DRAWS)) * LEAK


def piece(rail: float, rises: bool) -> tuple[float, float, float]:
    """Rest voltage and time constant of the piece on which a rail is, and the rail at its end."""
    beyond = [rail > kink or (rail == kink and rises) for kink in KINKS]
    fed = SOURCE - sum(draw for draw, is_beyond in zip(DRAWS, beyond, strict=True) if is_beyond)
    slope = 1.0 / LEAK
    slope += sum(
        draw / kink for draw, kink, is_beyond in zip(DRAWS, KINKS, beyond, strict=True) if not is_beyond
    )
    ahead = [kink for kink, is_beyond in zip(KINKS, beyond, strict=True) if is_beyond != rises]
    if rises:
        return fed / slope, CAPACITANCE / slope, min(ahead, default=math.inf)
    return fed / slope, CAPACITANCE / slope, max(ahead, default=-math.inf)


def time_between(start: float, goal: float) -> float:
    """Time [s] from a rail to another on its way to rest: tau ln((V_r - V_0) / (V_r - V)) by pieces."""
    time, rail, rises = 0.0, start, goal > start
    while rail != goal:
        rest, constant, ahead = piece(rail, rises)
        end = min(ahead, goal) if rises else max(ahead, goal)
        time += constant * math.log((rest - rail) / (rest - end))
        rail = end
    return time


def waited(start: float, duration: float) -> tuple[float, float, float, float]:
    """Where the rail stands then [V], and energies [J] of panel, eyes and leak."""
    rail, left, panel, leak = start, duration, 0.0, 0.0
    while left > 0.0 and rail != REST:
        rest, constant, ahead = piece(rail, rail < REST)
        off = rail - rest
        passes = left
        if (ahead - rest) * off > 0.0 and math.isfinite(ahead):
            passes = min(left, constant * math.log(off / (ahead - rest)))
        fallen = math.exp(-passes / constant)
        lasts, squared = constant * (1.0 - fallen), 0.5 * constant * (1.0 - fallen * fallen)
        panel += SOURCE * (rest * passes + off * lasts)
        leak += (rest * rest * passes + 2.0 * rest * off * lasts + off * off * squared) / LEAK
        rail = ahead if passes < left else rest + off * fallen
        left -= passes
    panel += left * SOURCE * REST
    leak += left * REST * REST / LEAK
    return rail, panel, panel - leak - 0.5 * CAPACITANCE * (rail**2 - start**2), leak


def counted(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The voltages at which currents are looked at from now on."""
    looked_at: list[float] = []

    def noted(walker: Any, lit: LitPanel, rail: float) -> Any:
        looked_at.append(rail)
        return waiting_currents(walker, lit, rail)

    def noted_current(walker: Any, lit: LitPanel, rail: float) -> Any:
        panel, eyes, leak, status = noted(walker, lit, rail)
        return panel - eyes - leak, status

    monkeypatch.setattr(kernels, "waiting_currents", noted)
    monkeypatch.setattr(kernels, "charging_current", noted_current)
    return looked_at


@pytest.mark.parametrize(
    ("start", "goal", "most"),
    [
        (0.7, 1.5, 7),
        (0.0, 1.9, 13),
        (0.7, 2.2, 12),
        (1.9, 2.6, 7),
        (1.2, 3.4, 17),
        (2.6, 7.0, 33),
        (0.0, 8.69, 182),
    ],
)
def test_time_and_energies_of_a_charging(
    start: float, goal: float, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To 5e-9, and to 10 mV below rest to 2e-6, with as few looks at the currents as intervals ask for."""
    looked_at = counted(monkeypatch)
    found = getattr(charge_to, "py_func", charge_to)(WALKER, LIT, start, goal)
    assert found.status == SETTLED
    time = time_between(start, goal)
    end, *energies = waited(start, time)
    assert end == pytest.approx(goal, rel=1e-12)
    assert found[:4] == pytest.approx((time, *energies), rel=5e-9 if goal < 8.0 else 2e-6)
    assert len(looked_at) <= most


@pytest.mark.parametrize(
    ("start", "duration", "most"),
    [
        (0.7, 10.0, 20),
        (0.0, 60.0, 124),
        (1.8, 300.0, 328),
        (9.5, 40.0, 28),
        (9.5, 900.0, 272),
        (0.0, 1e5, 835),
        (REST, 1e4, 7),
        (3.0, 1e-3, 4),
        (3.0, 1e-7, 1),
    ],
)
def test_rail_and_energies_of_a_wait(
    start: float, duration: float, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To 5 uV and 5e-6, and 2e-5 where steps pass a kink, with no more looks at currents than it takes."""
    looked_at = counted(monkeypatch)
    state = np.zeros(1, STATE)[0]
    state["rail"] = start
    getattr(wait, "py_func", wait)(WALKER, LIT, state, duration)
    assert state["status"] == SETTLED
    end, *energies = waited(start, duration)
    found = [float(state[name]) for name in ("panel_energy", "eye_energy", "leak_energy")]
    assert state["rail"] == pytest.approx(end, abs=5e-6)
    assert found == pytest.approx(energies, rel=2e-5 if (start, duration) == (0.0, 60.0) else 5e-6)
    assert len(looked_at) <= most


def test_who_is_there_has_not_to_charge() -> None:
    assert charge_to(WALKER, LIT, 2.0, 2.0) == (0.0, 0.0, 0.0, 0.0, SETTLED)
    # nor above the voltage of rest
    assert charge_to(WALKER, LIT, 9.0, 9.0) == (0.0, 0.0, 0.0, 0.0, SETTLED)
    assert charge_to(WALKER, LIT, 9.0, 2.0) == (0.0, 0.0, 0.0, 0.0, SETTLED)
    assert charge_to(WALKER, LIT, 2.0, 9.0) == (math.inf, 0.0, 0.0, 0.0, SETTLED)


def resting(walker: Any, lit: LitPanel) -> float:
    """The voltage of rest by a root finder."""
    return float(brentq(lambda rail: charging_current(walker, lit, rail)[0], 0.1, 10.0, xtol=1e-14))


def test_a_charging_next_to_rest_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    """The last interval is a tenth of a microvolt, however the current falls along it."""
    rest = resting(WALKER, LIT)
    looked_at = counted(monkeypatch)
    found = getattr(charge_to, "py_func", charge_to)(WALKER, LIT, 8.0, rest - 1e-10)
    assert found.status == SETTLED
    # that near to it only the time up to the last interval is known
    assert time_between(8.0, REST - 1e-7) < found.time < time_between(8.0, REST - 1e-10)
    assert len(looked_at) <= 384


def test_bounds_of_intervals_halvings_and_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    looked_at = counted(monkeypatch)
    charging, waiting = (getattr(one, "py_func", one) for one in (charge_to, wait))
    monkeypatch.setattr(kernels, "HALVINGS", 2)
    charging(WALKER, LIT, 2.6, 8.69)
    # the goal, the start, the goal as an end, and two halvings of the way there
    assert looked_at[:5] == pytest.approx([8.69, 2.6, 8.69, 5.645, 4.1225])
    assert 2.6 < min(looked_at[5:9]) < max(looked_at[5:9]) < 4.1225
    monkeypatch.setattr(kernels, "HALVINGS", 1)
    looked_at.clear()
    charging(WALKER, LIT, 2.6, 8.69)
    assert looked_at[:4] == pytest.approx([8.69, 2.6, 8.69, 5.645])
    assert 2.6 < min(looked_at[4:8]) < 4.1225 < max(looked_at[4:8]) < 5.645
    monkeypatch.setattr(kernels, "INTERVALS", 3)
    assert charging(WALKER, LIT, 0.0, 8.69) == (math.inf, 0.0, 0.0, 0.0, CHARGE_UNFINISHED)
    # of the first piece two intervals, of the second one
    assert charging(WALKER, LIT, 1.7, 2.2).status == SETTLED
    monkeypatch.setattr(kernels, "STEPS", 3)
    state = np.zeros(1, STATE)[0]
    looked_at.clear()
    waiting(WALKER, LIT, state, 900.0)
    assert state["status"] == WAIT_UNFINISHED
    assert looked_at.count(0.0) == 1
    assert len(looked_at) == 12


def test_a_charging_of_which_the_current_at_its_goal_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernels, "charging_current", lambda *_: (1.0, PANEL_UNSETTLED))
    found = getattr(charge_to, "py_func", charge_to)(WALKER, LIT, 1.0, 2.0)
    assert found == (math.inf, 0.0, 0.0, 0.0, PANEL_UNSETTLED)


def test_a_wait_at_the_knee_of_a_panel_steps_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the second stage of a step lies far up the panel's exponential."""
    walker = build(Design(name="pansy", spread={}).with_values({"panel.junction_voltage": 0.03}))[0]
    lit = lit_panel(walker, 4e-3, 0.0)
    top = resting(walker, lit)
    state = np.zeros(1, STATE)[0]
    state["rail"] = top - 1e-4
    looked_at = counted(monkeypatch)
    getattr(wait, "py_func", wait)(walker, lit, state, 1e4)
    assert state["status"] == SETTLED
    assert state["rail"] == pytest.approx(top, abs=1e-9)
    assert len(looked_at) <= 103
    # what is left of less than a second is left too
    monkeypatch.setattr(kernels, "STEPS", 3)
    state["rail"] = top - 1e-4
    getattr(wait, "py_func", wait)(walker, lit, state, 0.9)
    assert state["status"] == WAIT_UNFINISHED
