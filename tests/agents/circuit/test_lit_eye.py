"""How long an eye stays lit, against a root that scipy finds, and how far it is from that at a point."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from agents.circuit.flow import CircuitPoint, Flow
from agents.circuit.lit_eye import TURNING_ON, above_lit, time_to_dark
from agents.design.as_built import build
from agents.design.spec import Design

DESIGN = Design(name="marigold").with_values({"storage.series_resistance": 3.0})


def test_how_far_an_eye_is_from_dark() -> None:
    """By Kirchhoff's law from the storage over ESR, junction and coupling capacitor to the eye."""
    walker = build(DESIGN)[0]
    side = DESIGN.left
    point = CircuitPoint(3.1, 0.4, 150.0, 0.1)
    y, collector, drain = 26.0, 0.05, 2e-3
    source = 3.1 - 3.0 * drain
    motor = (source - collector - side.motor.constant * 150.0) / (side.motor.resistance + 3.0)
    expected = source - 3.0 * motor - 0.4 - y * float(walker["thermal"]) - side.eye.lit_voltage
    found = above_lit(walker, walker["side"][0], drain, point, y, collector)
    assert found == pytest.approx(expected, rel=1e-9)
    # a motor that runs faster than the rail drives it draws nothing
    fast = point._replace(rotor=5.0 / side.motor.constant)
    still = source - 0.4 - y * float(walker["thermal"]) - side.eye.lit_voltage
    assert above_lit(walker, walker["side"][0], drain, fast, y, collector) == pytest.approx(still, rel=1e-9)
    # and before the latch is on none runs
    expected = source - 0.4 - TURNING_ON - side.eye.lit_voltage
    assert above_lit(walker, walker["side"][0], drain, point, math.inf, 0.0) == pytest.approx(expected)


@pytest.mark.parametrize("slope", [-200.0, -5000.0])
@pytest.mark.parametrize("falls", [1.0, 60.0])
@pytest.mark.parametrize("share", [0.1, 0.9, 1.1])
def test_when_an_eye_goes_dark(slope: float, falls: float, share: float) -> None:
    """``share`` of it is taken up by the capacitor in the end, the rest by the storage."""
    above = 0.8
    rate = -slope * share * above

    def left(time: float) -> float:
        return above - falls * time - rate * (math.exp(slope * time) - 1.0) / slope

    expected = brentq(left, 0.0, above / falls)
    one = Flow(-falls, rate, *np.zeros(8))
    found = time_to_dark(above, one, slope)
    assert found <= expected * (1.0 + 1e-12)
    assert found == pytest.approx(expected, rel=0.02)


def test_an_eye_that_gains_stays_lit() -> None:
    assert time_to_dark(0.5, Flow(3.0, 1.0, *np.zeros(8)), -4.0) == math.inf
