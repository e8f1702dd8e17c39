"""Pulses of held walkers that are told against pulses that are stepped."""

from typing import Any

import numpy as np
import pytest

from agents.circuit.air import set_air
from agents.circuit.held_pulse import (
    AIR_ROOM,
    BOUND,
    CURRENT_SHARE,
    LEARNED,
    RAIL_ROOM,
    TELLS,
    TELLS_NOTHING,
    step_held,
    tell_held,
)
from agents.circuit.panel import LitPanel, panel_under
from agents.circuit.pulse_table import CHARGE, LENGTH, LET_GO, OUTCOMES, PEAK, ROTOR, SPEED, WAY, end_by
from agents.circuit.records import STATE
from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.light_kinds import kind_index

MEASURED = [LENGTH, LET_GO, CHARGE]
DESIGNS = {
    "as usual": {},
    "a weak motor": {"both.motor.resistance": 40.0},
    "a large storage": {"storage.capacitance": 0.01},
    "a latch of 100k": {"both.latch": 1e5},
}


def walker_of(values: dict[str, float]) -> Any:
    return build(Design(name="lovage").with_values(values))[0]


def sunlit(walker: Any, light: float) -> LitPanel:
    return panel_under(walker, light, kind_index("sun"))


def stepped_finely(walker: Any, number: int, lit: LitPanel, touched: bool, rail: float) -> Any:
    """What a held pulse comes to that is stepped with a hundredth of the usual tolerance."""
    fine = walker.copy()
    fine["tolerance"] *= 0.01
    state, outcome = np.zeros(1, STATE)[0], np.zeros(OUTCOMES)
    state["rail"] = rail
    assert step_held(fine, number, lit, touched, state, outcome)
    return outcome


@pytest.mark.parametrize("name", DESIGNS)
@pytest.mark.parametrize("touched", [False, True])
def test_what_is_told_is_as_near_as_what_is_stepped(name: str, touched: bool) -> None:
    """All about the place where it was learned; nothing is learned twice there."""
    walker, draws = walker_of(DESIGNS[name]), np.random.default_rng(5)
    known, state, told = np.zeros(1, LEARNED)[0], np.zeros(1, STATE)[0], np.zeros(OUTCOMES)
    state["rail"] = 2.8
    assert tell_held(walker, 1, sunlit(walker, 3e4), touched, state, known, told)
    assert known["tells"] == TELLS
    before = known.tobytes()
    for _ in range(12):
        rail = 2.8 + float(known["rail_room"]) * draws.uniform(-0.99, 0.99)
        share = float(known["current_room"] / known["current"])
        lit = sunlit(walker, 3e4 * (1.0 + share * draws.uniform(-0.99, 0.9)))
        state["rail"] = rail
        assert tell_held(walker, 1, lit, touched, state, known, told)
        assert known.tobytes() == before
        true = stepped_finely(walker, 1, lit, touched, rail)
        assert told[MEASURED] == pytest.approx(true[MEASURED], rel=1.5 * BOUND)
        assert told[PEAK] == pytest.approx(true[PEAK], rel=1e-3)
        assert told[ROTOR] == pytest.approx(true[ROTOR], rel=0.02)
        assert told[WAY] == told[SPEED] == 0.0


def test_it_learns_anew_elsewhere() -> None:
    walker, known = walker_of({}), np.zeros(1, LEARNED)[0]
    state, told = np.zeros(1, STATE)[0], np.zeros(OUTCOMES)

    def learned_at(rail: float, light: float) -> tuple[float, float, float]:
        state["rail"] = rail
        assert tell_held(walker, 0, sunlit(walker, light), False, state, known, told)
        return float(known["rail"]), float(known["current"]), float(known["air"])

    first = learned_at(2.8, 3e4)
    assert learned_at(2.8 + 0.9 * RAIL_ROOM, 3e4) == first
    assert learned_at(2.8 + 1.1 * RAIL_ROOM, 3e4) != first
    first = learned_at(2.5, 3e4)
    assert learned_at(2.5, 3e4 * (1.0 + 0.9 * CURRENT_SHARE)) == first
    assert learned_at(2.5, 3e4 * (1.0 + 1.2 * CURRENT_SHARE)) != first
    first = learned_at(2.5, 1e4)
    air = float(walker["air"])
    set_air(walker, air + 0.9 * AIR_ROOM)
    assert learned_at(2.5, 1e4) == first
    set_air(walker, air + 1.1 * AIR_ROOM)
    assert learned_at(2.5, 1e4) != first


def test_learning_leaves_no_trace() -> None:
    """The walker and its circuit are as at any flash, and what is told can be gone on with."""
    walker, known = walker_of({}), np.zeros(1, LEARNED)[0]
    state, told = np.zeros(1, STATE)[0], np.zeros(OUTCOMES)
    before = walker.tobytes()
    state["rail"], state["panel_energy"], state["esr_energy"] = 2.8, 0.75, 0.01
    assert tell_held(walker, 0, sunlit(walker, 3e4), False, state, known, told)
    assert walker.tobytes() == before
    assert (state["rail"], state["panel_energy"], state["esr_energy"]) == (2.8, 0.75, 0.01)
    assert (state["elapsed"], state["leans"], state["status"]) == (0.0, 1.0, 0)
    end_by(walker, told, state)
    assert (state["rail"], state["charge"], state["speed"]) == (told[LET_GO], told[CHARGE], 0.0)


def test_a_pulse_that_never_ends_is_told_nothing_of() -> None:
    """A motor that the panel alone can keep on, in the sun."""
    walker = walker_of({"both.motor.resistance": 200.0, "both.latch": 1e3})
    known, state, told = np.zeros(1, LEARNED)[0], np.zeros(1, STATE)[0], np.zeros(OUTCOMES)
    state["rail"] = 3.0
    lit = sunlit(walker, 1e5)
    assert not tell_held(walker, 0, lit, False, state, known, told)
    assert known["tells"] == TELLS_NOTHING
    assert (state["rail"], state["elapsed"]) == (3.0, 0.0)
    before = known.tobytes()
    assert not tell_held(walker, 0, lit, False, state, known, told)
    assert known.tobytes() == before
