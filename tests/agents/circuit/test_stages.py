"""The method that steps a pulse: its order, its error, and its stages against the matrices they stand for."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from agents.circuit.flow import CircuitPoint, Flow
from agents.circuit.stages import (
    ALONG_31,
    ALONG_32,
    DIAGONAL,
    ERRORS,
    MIX_21,
    MIX_31,
    MIX_32,
    MIX_41,
    MIX_42,
    MIX_43,
    PLACE_2,
    PLACE_3,
    WEIGHTS,
    Slopes,
    add_stages,
    blend,
    gone_on,
    stage_rates,
    weigh_way,
)
from agents.circuit.tyre import Stiffness

NOTHING = CircuitPoint(0.0, 0.0, 0.0, 0.0)
STILL = Stiffness(0.0, 0.0, 0.0, 0.0)


def flow_of(*rates: float) -> Flow:
    return Flow(*rates, 0.0, 0.0, 0.0, 0.0, 0.0)


def stepped(
    begun: CircuitPoint, step: float, rates: Callable[[CircuitPoint], Flow], slopes: Slopes
) -> tuple[CircuitPoint, CircuitPoint]:
    """One step, and by how much its two results differ, put together as in a pulse."""
    k1 = stage_rates(rates(begun), slopes, step, NOTHING)
    second = gone_on(begun, step * PLACE_2, k1)
    k2 = stage_rates(rates(second), slopes, step, blend(MIX_21, k1, 0.0, k1, 0.0, k1))
    assert pytest.approx(ALONG_31 + ALONG_32, rel=1e-12) == PLACE_3
    third = gone_on(begun, step, blend(ALONG_31, k1, ALONG_32, k2, 0.0, k2))
    k3 = stage_rates(rates(third), slopes, step, blend(MIX_31, k1, MIX_32, k2, 0.0, k2))
    fourth = gone_on(begun, step, k3)
    k4 = stage_rates(rates(fourth), slopes, step, blend(MIX_41, k1, MIX_42, k2, MIX_43, k3))
    wrong = add_stages(ERRORS, k1, k2, k3, k4)
    return gone_on(begun, step, add_stages(WEIGHTS, k1, k2, k3, k4)), wrong


def logistic(point: CircuitPoint) -> Flow:
    """All four grow as y' = y (1 - y)."""
    return flow_of(*(y * (1.0 - y) for y in point))


@pytest.mark.parametrize("slope", [0.0, 0.3, -0.8, -2.0])
def test_it_is_of_third_order_whatever_slopes_it_is_given(slope: float) -> None:
    """What a step halved is off by, over that of the whole one, from y = 0.2 to a time of 1.

    The exact y is 1 / (1 + 4 exp(-t)). What the embedded method differs by in a step is of third order too.
    """
    slopes = Slopes(slope, Stiffness(slope, 0.3 * slope, -0.2 * slope, slope))
    exact = 1.0 / (1.0 + 4.0 * math.exp(-1.0))
    off, wrong = [], []
    for count in (20, 40):
        point, told = CircuitPoint(0.2, 0.2, 0.2, 0.2), NOTHING
        for number in range(count):
            point, difference = stepped(point, 1.0 / count, logistic, slopes)
            if number == 0:
                told = difference
        off.append(np.abs(np.array(point) - exact))
        wrong.append(np.abs(np.array(told)) / count)
    assert off[1].max() < 1e-5
    assert off[0] / off[1] == pytest.approx(np.full(4, 8.0), rel=0.2)
    assert wrong[0] / wrong[1] == pytest.approx(np.full(4, 8.0), rel=0.2)
    # the error of the method of second order, which is the larger one
    assert (wrong[0] > 0.3 * off[0] / 20.0).all()


def test_a_fast_decay_is_gone_after_one_step() -> None:
    """L-stable: with the slope right, of what decays within a thousandth of a step a hundredth is left."""
    slopes = Slopes(-1e3, STILL)
    end, _ = stepped(
        CircuitPoint(0.0, 1.0, 0.0, 0.0), 1.0, lambda at: flow_of(0.0, -1e3 * at.coupling, 0.0, 0.0), slopes
    )
    assert abs(end.coupling) < 1e-2


def test_stages_solve_the_matrix_that_they_stand_for() -> None:
    """(1 - gamma h J) k = f + h J m, J with the slopes of the wheel in a block and nought for the storage."""
    slopes = Slopes(-300.0, Stiffness(-700.0, 250.0, 90.0, -40.0))
    matrix = np.zeros((4, 4))
    matrix[1, 1] = -300.0
    matrix[2:, 2:] = [[-700.0, 250.0], [90.0, -40.0]]
    rates, mixed, step = np.array([3.0, -5.0, 700.0, 11.0]), np.array([0.7, -1.5, 30.0, 4.0]), 2e-3
    found = stage_rates(flow_of(*rates), slopes, step, CircuitPoint(*mixed))
    expected = np.linalg.solve(np.eye(4) - DIAGONAL * step * matrix, rates + step * matrix @ mixed)
    assert np.array(found) == pytest.approx(expected, rel=1e-12)


def test_sums_of_stages() -> None:
    random = np.random.default_rng(3)
    stages = random.normal(size=(4, 4))
    points = [CircuitPoint(*one) for one in stages]
    shares: Any = tuple(random.normal(size=4))
    assert np.array(add_stages(shares, *points)) == pytest.approx(shares @ stages, rel=1e-12)
    three = blend(shares[0], points[0], shares[1], points[1], shares[2], points[2])
    assert np.array(three) == pytest.approx(shares[:3] @ stages[:3], rel=1e-12)
    way = weigh_way(0.3, *(one._replace(speed=abs(one.speed)) for one in points))
    assert way == pytest.approx(max(0.3 * float(np.dot(WEIGHTS, np.abs(stages[:, 3]))), 0.0), rel=1e-12)
    assert weigh_way(0.3, *(one._replace(speed=-1.0) for one in points)) == 0.0
    assert weigh_way(2.0, *(one._replace(speed=0.25) for one in points)) == pytest.approx(0.5, rel=1e-12)


def test_neither_rotor_nor_body_goes_backwards() -> None:
    begun = CircuitPoint(3.0, 1.0, 100.0, 0.2)
    assert gone_on(begun, 0.5, CircuitPoint(2.0, -4.0, -199.0, -0.3)) == pytest.approx((4.0, -1.0, 0.5, 0.05))
    assert gone_on(begun, 0.5, CircuitPoint(-8.0, 0.0, -202.0, -0.5)) == pytest.approx((-1.0, 1.0, 0.0, 0.0))
    assert gone_on(begun, 0.5, CircuitPoint(0.0, 0.0, 2.0, 0.1)) == pytest.approx((3.0, 1.0, 101.0, 0.25))
