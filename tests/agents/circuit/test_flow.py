"""Currents and rates at a moment of a pulse against Kirchhoff's laws and Newton's, written out once more."""

import math
from typing import Any

import numpy as np
import pytest

from agents.circuit.flow import CircuitPoint, Latched, Still, ease_of, flow_at, kick_at, settled_at
from agents.circuit.latch import Guess, settle_latch
from agents.circuit.level import Supply
from agents.circuit.records import STATE
from agents.circuit.tyre import tyre_ease
from agents.design.as_built import build
from agents.design.spec import Design

DESIGN = Design(name="marigold").with_values(
    {
        "storage.series_resistance": 3.0,
        "storage.leak": 2e5,
        "both.feeler": 30e3,
        "both.latch": 15e3,
        "right.eye.quiet_current": 7e-6,
        "right.eye.dark_trigger": 2.5,
        "both.tyre.slip_speed": 0.02,
        "body.drag": 2e-3,
    }
)
WALKER = build(DESIGN)[0]
THERMAL = float(WALKER["thermal"])


def still_of(touched: bool, number: int = 0, lit: bool = False) -> Still:
    ease = ease_of(WALKER, number, touched, lit)
    free = np.zeros(1, STATE)[0]
    return Still(9e-5, -2e-6, 3.0, 4e-4, number, ease, tyre_ease(WALKER, WALKER["side"][number], free))


def point_with(top: float, junction: float) -> CircuitPoint:
    """A storage at 3.1 V, and a coupling capacitor that leaves ``top`` [V] at the eye."""
    return CircuitPoint(3.1, 3.06 - junction - top, 300.0, 0.2)


@pytest.mark.parametrize("touched", [False, True])
@pytest.mark.parametrize("top", [2.5, 1.8, 1.2, 0.5])
@pytest.mark.parametrize("number", [0, 1])
def test_currents_and_rates_of_a_point(touched: bool, top: float, number: int) -> None:
    side = (DESIGN.left, DESIGN.right)[number]
    other = (DESIGN.right, DESIGN.left)[number]
    latch = Latched(0.66 / THERMAL, 0.04, 1.4e-4, 2e-3, 9.0)
    point = point_with(top, 0.66)
    # what flows otherwise drops over the ESR too
    source = 3.1 - 3.0 * 4e-4
    motor = (source - 0.04 - side.motor.constant * 300.0) / (side.motor.resistance + 3.0)
    rail = source - 3.0 * motor
    top = rail - 0.66 - point.coupling
    is_lit = top > side.eye.lit_voltage
    flow = flow_at(WALKER, still_of(touched, number, is_lit), point, latch)
    assert flow.motor == pytest.approx(motor, rel=1e-12)
    lit = (top - side.eye.lit_voltage) / side.eye.flash_resistance if is_lit else 0.0
    quiet = side.eye.quiet_current * min(top / side.eye.dark_trigger, 1.0)
    feeler = (rail - top) / 30e3 if touched else 0.0
    through = lit + quiet + (top - 0.04) / side.series - feeler
    # the kick is laid down by the rail before the motor's part of the ESR is known
    assert flow.coupling * side.coupling == pytest.approx(through, rel=1e-9)
    base = (rail - 0.66 - 0.04) / 15e3 + through
    given = 2e-3 + 9.0 * (base - 1.4e-4)
    assert flow.bases == pytest.approx(base + given, rel=1e-9)
    eyes = other.eye.quiet_current * min(rail / other.eye.dark_trigger, 1.0) + feeler
    assert flow.eyes == pytest.approx(eyes, rel=1e-9)
    assert flow.leak == pytest.approx(3.1 / 2e5, rel=1e-12)
    assert flow.panel == pytest.approx(9e-5 - 2e-6 * (rail - 3.0), rel=1e-12)
    drawn = flow.motor + flow.bases + flow.eyes + flow.leak - flow.panel
    assert flow.stored == pytest.approx(-drawn / DESIGN.storage.capacitance, rel=1e-12)
    # motor, tyre and body by Newton
    grip = float(WALKER["side"][number]["tyre_grip"])
    force = grip * math.tanh((side.tyre.radius * 300.0 - 0.2) / 0.02)
    torque = side.motor.constant * motor - side.motor.friction - side.tyre.radius * force
    assert flow.rotor == pytest.approx(torque / side.motor.inertia, rel=1e-9)
    assert flow.speed == pytest.approx((force - 2e-3) / float(WALKER["pivot_mass"]), rel=1e-9)


def test_neither_motor_nor_bases_give_back() -> None:
    latch = Latched(0.66 / THERMAL, 0.04, 1.4e-4, 2e-3, 9.0)
    fast = point_with(1.8, 0.66)._replace(rotor=4.0 / DESIGN.left.motor.constant)
    assert flow_at(WALKER, still_of(False), fast, latch).motor == 0.0
    # a coupling capacitor that pushes into the base more than the latch resistor takes
    full = CircuitPoint(3.1, 40.0, 0.0, 0.0)
    assert flow_at(WALKER, still_of(False), full, latch).bases == pytest.approx(2e-3 - 9.0 * 1.4e-4, rel=1e-9)
    steep = latch._replace(gain=100.0)
    assert flow_at(WALKER, still_of(False), full, steep).bases == 0.0


@pytest.mark.parametrize("touched", [False, True])
@pytest.mark.parametrize("top", [2.6, 2.1, 1.2, -0.5])
def test_the_answer_of_a_kick_is_its_slope(touched: bool, top: float) -> None:
    """What the capacitor draws falls by it for each volt of the junction, and no knee is passed."""
    side: Any = WALKER["side"][0]
    coupling = 3.0 - 0.65 - top
    ease = ease_of(WALKER, 0, touched, top > DESIGN.left.eye.lit_voltage)
    drawn = []
    for junction in (0.649, 0.65, 0.651):
        kick = kick_at(side, ease, 3.0, coupling, junction)
        drawn.append(kick.current - kick.answer * junction)
    assert np.diff(drawn) == pytest.approx(np.full(2, -1e-3 * kick.answer), rel=1e-9)
    if top < 0.0:
        feed = 1.0 / DESIGN.left.series + (1.0 / 30e3 if touched else 0.0)
        assert kick.answer == pytest.approx(feed, rel=1e-9)


@pytest.mark.parametrize("top", [2.2, 1.4, 1.2])
def test_a_settled_latch_is_in_balance_with_its_point(top: float) -> None:
    """What leaves the base through latch resistor and capacitor is what the latch says that it draws."""
    still, point = still_of(False, lit=top > DESIGN.left.eye.lit_voltage), point_with(top, 0.66)
    side: Any = WALKER["side"][0]
    supply = Supply(3.1 - 3.0 * 4e-4, 3.0, float(side["motor_constant"]) * 300.0)
    kick = kick_at(side, still.ease, 3.0, point.coupling, 0.66)
    found = settle_latch(supply, kick, THERMAL, side, Guess(math.inf, 0.0, 0.0))
    start = Latched(found.guess, found.collector, found.base, found.given, found.gain)
    motor = flow_at(WALKER, still, point, start).motor
    latched, settled = settled_at(WALKER, still, point, start, motor)
    assert settled.holds
    assert latched == (settled.guess, settled.collector, settled.base, settled.given, settled.gain)
    again, same = latched, settled
    for _ in range(5):
        again, same = settled_at(WALKER, still, point, again, same.motor)
    assert again.collector == pytest.approx(latched.collector, abs=2e-3)
    flow = flow_at(WALKER, still, point, again)
    assert flow.motor == pytest.approx(same.motor, rel=1e-3)
    assert flow.bases == pytest.approx(again.base + again.given, rel=1e-2)
    assert flow.coupling * DESIGN.left.coupling == pytest.approx(same.pushed, rel=1e-2)
