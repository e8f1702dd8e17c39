"""The parts of a pulse's step, each against what it stands for; whole pulses are in ``test_pulse``."""

import math
from typing import Any

import numpy as np
import pytest

from agents.circuit import pulse as kernels
from agents.circuit.accounts import settle_accounts
from agents.circuit.charging import waiting_currents
from agents.circuit.flow import (
    CircuitPoint,
    Flow,
    Latched,
    Still,
    ease_of,
    flow_at,
    gone_along,
    kick_at,
    part_way,
    settled_at,
)
from agents.circuit.latch import Guess, settle_latch
from agents.circuit.level import Supply
from agents.circuit.panel import lit_panel
from agents.circuit.pulse import (
    begin_pulse,
    go_to_the_end,
    light_latch,
    look_at_panel,
    pulse_step,
    slopes_at,
)
from agents.circuit.records import STATE
from agents.circuit.stages import WEIGHTS
from agents.circuit.status import SETTLED
from agents.circuit.tyre import tyre_ease
from agents.design.as_built import build
from agents.design.spec import Design

VALUES = {"storage.series_resistance": 2.0, "panel.series_resistance": 400.0, "panel.shunt_resistance": 5e4}
DESIGN = Design(name="marigold").with_values(VALUES)
WALKER = build(DESIGN)[0]
THERMAL = float(WALKER["thermal"])
FREE_TYRE = tyre_ease(WALKER, WALKER["side"][0], np.zeros(1, STATE)[0])
DARK, LIT = (
    Still(9e-5, -2e-6, 3.0, 4e-4, 0, ease_of(WALKER, 0, False, lit), FREE_TYRE) for lit in (False, True)
)


def state_at(rail: float, **values: float) -> Any:
    state = np.zeros(1, STATE)[0]
    state["rail"] = rail
    begin_pulse(WALKER, 0, False, state)
    for name, value in values.items():
        state[name] = value
    return state


@pytest.mark.parametrize("touched", [False, True])
def test_a_pulse_begins_at_rest_with_what_the_feed_drops_on_the_capacitor(touched: bool) -> None:
    state = np.ones(1, STATE)[0]
    begin_pulse(WALKER, 0, touched, state)
    left = DESIGN.left
    feed = left.series + left.motor.resistance
    if touched and left.feeler is not None:
        feed = 1.0 / (1.0 / feed + 1.0 / left.feeler)
    assert state["coupling"] == pytest.approx(left.eye.quiet_current * feed)
    for name in (
        "rotor",
        "speed",
        "elapsed",
        "margin",
        "drift",
        "bend",
        "last_step",
        "drain",
        "peak",
        "charge",
    ):
        assert state[name] == 0.0, name
    for name in ("cover", "guess", "left", "off", "panel_slope"):
        assert state[name] == math.inf, name
    assert state["base"] == 0.0
    assert state["next_step"] == pytest.approx(left.eye.flash_resistance * left.coupling)


@pytest.mark.parametrize("rail", [1.0, 3.0, 3.6, 4.2])
def test_the_panel_is_known_with_its_slope(rail: float) -> None:
    lit = lit_panel(WALKER, 4e-4, 10.0)
    state = state_at(rail)
    look_at_panel(WALKER, lit, state, rail)
    low, here, high = (waiting_currents(WALKER, lit, rail + off).panel for off in (-1e-5, 0.0, 1e-5))
    assert state["panel"] == here
    assert state["panel_rail"] == rail
    assert state["panel_slope"] == pytest.approx((high - low) / 2e-5, rel=1e-4)


def test_a_latch_that_has_gone_on_lies_on_its_parabola() -> None:
    latch = Latched(26.0, 0.03, 1e-4, 2e-3, 8.0)
    found = gone_along(latch, 2e-3, 5.0, -300.0)
    assert found == pytest.approx((26.0, 0.03 + 5.0 * 2e-3 - 300.0 * 4e-6, 1e-4, 2e-3, 8.0), rel=1e-12)


def test_a_latch_between_two_is_so_in_all() -> None:
    one, other = Latched(26.0, 0.03, 1e-4, 2e-3, 8.0), Latched(24.0, 0.05, 3e-4, 1e-3, 9.0)
    assert part_way(one, other, 0.25) == pytest.approx((25.5, 0.035, 1.5e-4, 1.75e-3, 8.25), rel=1e-12)
    assert part_way(one, other, 0.0) == one


@pytest.mark.parametrize("top", [2.2, 1.4])
def test_the_slope_of_the_coupling_capacitor_is_a_difference(top: float) -> None:
    """With the collector and the motor's current as they are, and the latch settled anew beside it.

    A junction that gives way by V_T for each e-fold of the base's current is what is left out; to 15 %.
    """
    side = WALKER["side"][0]
    still = LIT if top > DESIGN.left.eye.lit_voltage else DARK
    point = CircuitPoint(3.1, 3.1 - 0.66 - top, 200.0, 0.1)
    source = 3.1 - 2.0 * 4e-4
    drawn = []
    for off in (-1e-4, 0.0, 1e-4):
        beside = point._replace(coupling=point.coupling + off)
        junction = 0.66
        for _ in range(30):
            kick = kick_at(side, still.ease, source, beside.coupling, junction)
            supply = Supply(source, 0.0, float(side["motor_constant"]) * 200.0)
            settled = settle_latch(supply, kick, THERMAL, side, Guess(math.inf, 0.0, 0.0))
            junction = settled.junction
        assert settled.holds
        drawn.append((settled.pushed, settled))
    middle = drawn[1][1]
    latch = Latched(middle.guess, middle.collector, middle.base, middle.given, middle.gain)
    slopes = slopes_at(WALKER, still, point, latch, 0.5)
    expected = (drawn[2][0] - drawn[0][0]) / 2e-4 / DESIGN.left.coupling
    assert slopes.coupling == pytest.approx(expected, rel=0.15)


def test_slopes_of_the_wheel_are_those_of_the_whole_flow() -> None:
    point = CircuitPoint(3.1, 1.0, 200.0, 0.1)
    latch = Latched(26.0, 0.03, 1e-4, 2e-3, 8.0)
    slopes = slopes_at(WALKER, DARK, point, latch, flow_at(WALKER, DARK, point, latch).grip).wheel
    faster = [flow_at(WALKER, DARK, point._replace(rotor=200.0 + off), latch) for off in (-1e-3, 1e-3)]
    assert slopes.rotor_rotor == pytest.approx((faster[1].rotor - faster[0].rotor) / 2e-3, rel=1e-5)
    assert slopes.speed_rotor == pytest.approx((faster[1].speed - faster[0].speed) / 2e-3, rel=1e-5)
    further = [flow_at(WALKER, DARK, point._replace(speed=0.1 + off), latch) for off in (-1e-6, 1e-6)]
    assert slopes.rotor_speed == pytest.approx((further[1].rotor - further[0].rotor) / 2e-6, rel=1e-5)
    assert slopes.speed_speed == pytest.approx((further[1].speed - further[0].speed) / 2e-6, rel=1e-5)


def test_accounts_of_a_step() -> None:
    """Charges are rates by their weights; energies add up to what the storage lost and the panel gave."""
    random = np.random.default_rng(8)
    flows = [Flow(0.0, 0.0, 0.0, 0.0, *one, 0.0) for one in random.uniform(1e-4, 1e-2, size=(4, 5))]
    state = state_at(3.0, drain=2e-3)
    step, end = 4e-4, 2.999
    settle_accounts(WALKER, WALKER["side"][0], state, step, end, *flows)
    charges = {
        name: step * sum(w * getattr(one, name) for w, one in zip(WEIGHTS, flows, strict=True))
        for name in ("motor", "bases", "eyes", "leak", "panel")
    }
    assert state["charge"] == pytest.approx(charges["motor"], rel=1e-12)
    through = charges["motor"] + charges["bases"] + charges["eyes"] - charges["panel"]
    drop = 2.0 * through / step
    for name, charge in (("motor", "motor"), ("base", "bases"), ("eye", "eyes"), ("panel", "panel")):
        assert state[f"{name}_energy"] == pytest.approx(charges[charge] * (2.9995 - drop), rel=1e-9), name
    assert state["leak_energy"] == pytest.approx(charges["leak"] * 2.9995, rel=1e-12)
    assert state["esr_energy"] == pytest.approx(through * drop, rel=1e-9)
    # the drain follows with the time constant of the lit eye
    tau = DESIGN.left.eye.flash_resistance * DESIGN.left.coupling
    last = flows[3].bases + flows[3].eyes - flows[3].panel
    assert state["drain"] == pytest.approx(last + (2e-3 - last) * math.exp(-step / tau), rel=1e-9)


def test_a_last_short_step_goes_along_the_rates() -> None:
    state = state_at(3.1, coupling=1.0, rotor=200.0, speed=0.1, elapsed=0.02)
    begun = CircuitPoint(3.1, 1.0, 200.0, 0.1)
    latch = Latched(26.0, 0.03, 1e-4, 2e-3, 8.0)
    one = flow_at(WALKER, DARK, begun, latch)
    slopes = slopes_at(WALKER, DARK, begun, latch, one.grip)
    way = go_to_the_end(WALKER, DARK, slopes, state, 1e-7, begun, one)
    assert state["elapsed"] == pytest.approx(0.02 + 1e-7, rel=1e-12)
    for name, rate in (("rail", one.stored), ("coupling", one.coupling), ("rotor", one.rotor)):
        value = float(getattr(begun, "stored" if name == "rail" else name))
        assert float(state[name]) - value == pytest.approx(1e-7 * rate, rel=0.02), name
    assert way == pytest.approx(0.1 * 1e-7, rel=1e-3)
    before = state.copy()
    state["status"] = 8
    assert go_to_the_end(WALKER, DARK, slopes, state, 1e-7, begun, one) == 0.0
    before["status"] = 8
    assert state.tobytes() == before.tobytes()


def test_a_latch_is_lit_from_ground() -> None:
    point = CircuitPoint(3.1, float(state_at(3.1)["coupling"]), 0.0, 0.0)
    state = state_at(3.1)
    assert light_latch(WALKER, LIT, point, state)
    kick = kick_at(WALKER["side"][0], LIT.ease, 3.1 - 2.0 * 4e-4, point.coupling, 0.65)
    found = settle_latch(
        Supply(3.1 - 2.0 * 4e-4, 2.0, 0.0), kick, THERMAL, WALKER["side"][0], Guess(math.inf, 0.0, 0.0)
    )
    for name in ("guess", "collector", "base", "given", "gain"):
        assert state[name] == getattr(found, name), name
    assert state["peak"] == found.motor


@pytest.mark.parametrize("light", [0.0, 2e-3])
def test_energy_of_a_pulse_adds_up(light: float) -> None:
    """What storage and panel gave is what motor, bases, eyes, leak and the ESR took, to 1e-4 of it."""
    state = state_at(3.1)
    lit = lit_panel(WALKER, light, 0.0)
    way, steps, holds = 0.0, 0, True
    while holds:
        holds, passed = pulse_step(WALKER, 0, lit, False, state, 3.0 - float(state["elapsed"]))
        way += passed
        steps += 1
    # which is what DEVELOPERS.md says that a pulse takes
    assert steps < 50
    spent = sum(float(state[f"{name}_energy"]) for name in ("motor", "base", "eye", "leak", "esr"))
    stored = 0.5 * DESIGN.storage.capacitance * (3.1**2 - float(state["rail"]) ** 2)
    assert float(state["panel_energy"]) + stored == pytest.approx(spent, rel=1e-4)
    # what rolls at the end has come by the way
    assert 0.0 < way < float(state["elapsed"]) * 3.1 / DESIGN.left.motor.constant * DESIGN.left.tyre.radius


@pytest.mark.parametrize(
    ("values", "touched", "light"),
    [
        ({}, False, 3e-3),
        ({}, True, 1e-4),
        ({"both.latch": 47e3}, False, 1e-4),
        ({"storage.series_resistance": 5.0, "both.latch": 4.7e3}, False, 1e-4),
        ({"both.motor.resistance": 8.0}, False, 1e-4),
        ({"storage.capacitance": 1e-3}, True, 0.0),
    ],
)
def test_a_pulse_in_few_steps_is_that_of_many(values: dict[str, float], touched: bool, light: float) -> None:
    """A thousandth of the tolerance changes it by half a percent at the most; it takes thirty steps or so."""
    design = Design(name="marigold").with_values(values)
    pulses = []
    for finer in (1.0, 1000.0):
        walker = build(design)[0]
        walker["tolerance"] /= finer
        state = np.zeros(1, STATE)[0]
        state["rail"] = 3.1
        begin_pulse(walker, 0, touched, state)
        lit = lit_panel(walker, light, 0.0)
        way, steps, holds = 0.0, 0, True
        while holds:
            holds, passed = pulse_step(walker, 0, lit, touched, state, 3.0)
            way += passed
            steps += 1
        assert state["status"] == SETTLED
        pulses.append([float(state[name]) for name in ("elapsed", "rail", "charge")] + [way])
        assert steps < 45 * finer
    assert pulses[0][:3] == pytest.approx(pulses[1][:3], rel=6e-3)
    assert pulses[0][3] == pytest.approx(pulses[1][3], rel=0.015)


@pytest.mark.parametrize(
    ("values", "touched", "light", "most"),
    [
        ({}, False, 3e-3, (25, 41)),
        ({}, True, 1e-4, (21, 37)),
        ({"both.latch": 47e3}, False, 1e-4, (30, 53)),
        ({"storage.series_resistance": 5.0, "both.latch": 4.7e3}, False, 1e-4, (19, 39)),
        ({"both.motor.resistance": 8.0}, False, 1e-4, (34, 61)),
        ({"storage.capacitance": 1e-3}, True, 0.0, (22, 42)),
    ],
)
def test_a_pulse_takes_few_steps_and_settles_its_latch_less_than_three_times_in_each(
    values: dict[str, float],
    touched: bool,
    light: float,
    most: tuple[int, int],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Steps and settlings are what a pulse costs; a worse choice of steps comes to the same end later."""
    settled = 0

    def counted(*given: Any) -> Any:
        nonlocal settled
        settled += 1
        return settled_at(*given)

    monkeypatch.setattr(kernels, "settled_at", counted)
    plainly = getattr(pulse_step, "py_func", pulse_step)
    walker = build(Design(name="marigold").with_values(values))[0]
    state = np.zeros(1, STATE)[0]
    state["rail"] = 3.1
    begin_pulse(walker, 0, touched, state)
    lit = lit_panel(walker, light, 0.0)
    steps, holds = 0, True
    while holds:
        holds, _ = plainly(walker, 0, lit, touched, state, 3.0)
        steps += 1
    assert state["status"] == SETTLED
    assert steps <= most[0]
    assert steps < settled <= most[1]


def test_a_pressed_whisker_draws_through_its_feeler_where_there_is_one() -> None:
    """For a fiftieth of a second: over the feeler stands some 0.6 V, and the capacitor's voltage."""
    drawn = []
    for feeler in (30e3, None):
        walker = build(Design(name="marigold").with_values({"both.feeler": feeler}))[0]
        for touched in (False, True):
            state = np.zeros(1, STATE)[0]
            state["rail"] = 3.1
            begin_pulse(walker, 0, False, state)
            while state["elapsed"] < 0.02:
                pulse_step(
                    walker, 0, lit_panel(walker, 1e-4, 0.0), touched, state, 0.02 - float(state["elapsed"])
                )
            drawn.append(float(state["eye_energy"]))
    assert drawn[1] - drawn[0] == pytest.approx(0.02 * 3.0 * 1.2 / 30e3, rel=0.5)
    assert drawn[2] == drawn[3]
