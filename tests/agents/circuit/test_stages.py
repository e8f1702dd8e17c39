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
    decayed,
    gone_on,
    stage_rates,
    stages_of,
    times,
    weigh_way,
)
from agents.circuit.tyre import Stiffness

NOTHING = CircuitPoint(0.0, 0.0, 0.0, 0.0)
STILL = Stiffness(0.0, 0.0, 0.0, 0.0)


def flow_of(*rates: float) -> Flow:
    return Flow(*rates, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def stepped(
    begun: CircuitPoint,
    step: float,
    rates: Callable[[CircuitPoint], Flow],
    slopes: Slopes,
    beside: bool = True,
) -> tuple[CircuitPoint, CircuitPoint]:
    """One step, and by how much its two results differ, put together as in a pulse.

    The coupling capacitor goes ``beside`` its own decay, as there, or by the stages alone.
    """
    one = rates(begun)
    (at_2, known_2), (at_3, known_3), (at_4, known_4) = (
        decayed(begun, one.coupling, slopes.coupling, step * place) if beside else (begun, 0.0)
        for place in (PLACE_2, PLACE_3, 1.0)
    )
    stages = stages_of(slopes, step)
    k1 = stage_rates(one, stages, NOTHING, one.coupling if beside else 0.0)
    second = gone_on(at_2, step * PLACE_2, k1)
    k2 = stage_rates(rates(second), stages, times(MIX_21, k1), known_2)
    assert pytest.approx(ALONG_31 + ALONG_32, rel=1e-12) == PLACE_3
    third = gone_on(at_3, step, blend(ALONG_31, k1, ALONG_32, k2))
    k3 = stage_rates(rates(third), stages, blend(MIX_31, k1, MIX_32, k2), known_3)
    fourth = gone_on(at_4, step, k3)
    k4 = stage_rates(rates(fourth), stages, blend(1.0, blend(MIX_41, k1, MIX_42, k2), MIX_43, k3), known_4)
    wrong = add_stages(ERRORS, k1, k2, k3, k4)
    return gone_on(at_4, step, add_stages(WEIGHTS, k1, k2, k3, k4)), wrong


def logistic(point: CircuitPoint) -> Flow:
    """All four grow as y' = y (1 - y)."""
    return flow_of(*(y * (1.0 - y) for y in point))


@pytest.mark.parametrize(
    ("slope", "beside"), [(0.0, False), (0.3, True), (-0.8, True), (-0.8, False), (-2.0, True)]
)
def test_it_is_of_third_order_whatever_slopes_it_is_given(slope: float, beside: bool) -> None:
    """What a step halved is off by, over that of the whole one, from y = 0.2 to a time of 1.

    The exact y is 1 / (1 + 4 exp(-t)). What the embedded method differs by in a step is of third order too.
    """
    slopes = Slopes(slope, 1.0, Stiffness(slope, 0.3 * slope, -0.2 * slope, slope))
    exact = 1.0 / (1.0 + 4.0 * math.exp(-1.0))
    off, wrong = [], []
    for count in (20, 40):
        point, told = CircuitPoint(0.2, 0.2, 0.2, 0.2), NOTHING
        for number in range(count):
            point, difference = stepped(point, 1.0 / count, logistic, slopes, beside)
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
    slopes = Slopes(-1e3, 1.0, STILL)
    end, _ = stepped(
        CircuitPoint(0.0, 1.0, 0.0, 0.0),
        1.0,
        lambda at: flow_of(0.0, -1e3 * at.coupling, 0.0, 0.0),
        slopes,
        beside=False,
    )
    assert abs(end.coupling) < 1e-2


@pytest.mark.parametrize("step", [1e-3, 0.3, 5.0])
def test_a_capacitor_that_goes_by_its_slope_alone_is_stepped_exactly(step: float) -> None:
    """Towards 0.7 V along a slope of -4 a second, in one step of any length, and without error."""
    end, wrong = stepped(
        CircuitPoint(0.0, 0.2, 0.0, 0.0),
        step,
        lambda at: flow_of(0.0, -4.0 * (at.coupling - 0.7), 0.0, 0.0),
        Slopes(-4.0, 1.0, STILL),
    )
    assert end.coupling == pytest.approx(0.7 - 0.5 * math.exp(-4.0 * step), rel=1e-12)
    assert abs(wrong.coupling) < 1e-12


def test_stages_solve_the_matrix_that_they_stand_for() -> None:
    """(1 - gamma h J) k = f + h J m, J with the slopes of the wheel in a block and nought for the storage."""
    slopes = Slopes(-300.0, 1.0, Stiffness(-700.0, 250.0, 90.0, -40.0))
    matrix = np.zeros((4, 4))
    matrix[1, 1] = -300.0
    matrix[2:, 2:] = [[-700.0, 250.0], [90.0, -40.0]]
    rates, mixed, step = np.array([3.0, -5.0, 700.0, 11.0]), np.array([0.7, -1.5, 30.0, 4.0]), 2e-3
    found = stage_rates(flow_of(*rates), stages_of(slopes, step), CircuitPoint(*mixed), 0.0)
    expected = np.linalg.solve(np.eye(4) - DIAGONAL * step * matrix, rates + step * matrix @ mixed)
    assert np.array(found) == pytest.approx(expected, rel=1e-12)


def test_sums_of_stages() -> None:
    random = np.random.default_rng(3)
    stages = random.normal(size=(4, 4))
    points = [CircuitPoint(*one) for one in stages]
    shares: Any = tuple(random.normal(size=4))
    assert np.array(add_stages(shares, *points)) == pytest.approx(shares @ stages, rel=1e-12)
    two = blend(shares[0], points[0], shares[1], points[1])
    assert np.array(two) == pytest.approx(shares[:2] @ stages[:2], rel=1e-12)
    assert np.array(times(shares[0], points[0])) == pytest.approx(shares[0] * stages[0], rel=1e-12)
    way = weigh_way(0.3, *(one._replace(speed=abs(one.speed)) for one in points))
    assert way == pytest.approx(max(0.3 * float(np.dot(WEIGHTS, np.abs(stages[:, 3]))), 0.0), rel=1e-12)
    assert weigh_way(0.3, *(one._replace(speed=-1.0) for one in points)) == 0.0
    assert weigh_way(2.0, *(one._replace(speed=0.25) for one in points)) == pytest.approx(0.5, rel=1e-12)


def test_neither_rotor_nor_body_goes_backwards() -> None:
    begun = CircuitPoint(3.0, 1.0, 100.0, 0.2)
    assert gone_on(begun, 0.5, CircuitPoint(2.0, -4.0, -199.0, -0.3)) == pytest.approx((4.0, -1.0, 0.5, 0.05))
    assert gone_on(begun, 0.5, CircuitPoint(-8.0, 0.0, -202.0, -0.5)) == pytest.approx((-1.0, 1.0, 0.0, 0.0))
    assert gone_on(begun, 0.5, CircuitPoint(0.0, 0.0, 2.0, 0.1)) == pytest.approx((3.0, 1.0, 101.0, 0.25))
