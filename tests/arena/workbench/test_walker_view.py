"""Where a pulse leaves the walker in the picture."""

import math

import numpy as np
import pytest

from agents.design.spec import read_design
from agents.testbench.bench_figures import bench_point
from arena.workbench.walker_view import stand_after


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_pulse_turns_the_picture_about_the_standing_tyre(side: str) -> None:
    design = read_design("poppy")
    measured = bench_point(design, 3000.0).measured
    point = measured.left if side == "left" else measured.right
    stand = stand_after(design, point)
    assert stand is not None
    assert point.turn is not None
    # ahead + i left; the standing tyre is on the other side
    outward = 1.0 if side == "left" else -1.0
    pivot = -outward * 0.5j * design.body.track
    turned = pivot + (0.0 - pivot) * np.exp(-1j * outward * point.turn)
    assert (stand.x, stand.y) == pytest.approx((turned.real, turned.imag), abs=1e-12)
    assert stand.at(0.0, pivot.imag) == pytest.approx((0.0, pivot.imag), abs=1e-12)
    assert math.copysign(1.0, stand.heading) == -outward, "the left side turns the nose to the right"
