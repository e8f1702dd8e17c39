"""What it takes to drag a walker, by hand: Coulomb's friction times the way, tyre by tyre."""

import cmath
import math
from typing import Any

import numpy as np
import pytest

from agents.design.as_built import build
from arena.engine.dragging import (
    FloorDrag,
    Slid,
    drag_of_driver,
    drag_of_idle,
    dragged,
    rim_passes,
    sliding_back,
    work_of,
)
from arena.engine.world_arrays import BODY
from tests.helpers.worlds import design


def walker_of() -> Any:
    """Tyres that differ from side to side."""
    walker = build(design("salsify"))[0]
    walker["side"]["tyre_radius"] = 0.004, 0.005
    walker["side"]["slip_speed"] = 0.01, 0.02
    walker["side"]["tyre_grip"] = 0.05, 0.07
    walker["side"]["idle_roll"] = 0.011, 0.013
    walker["tow"], walker["skid"], walker["body_reach"] = 0.03, 0.12, 0.025
    walker["rim_friction"] = 0.2
    return walker


def heading(angle: float, **values: float) -> Any:
    body = np.zeros(1, BODY)[0]
    body["cosine"], body["sine"] = math.cos(angle), math.sin(angle)
    for name, value in values.items():
        body[name] = value
    return body


def test_an_idle_walker_rolls_lengthwise_and_skids_across() -> None:
    drag = drag_of_idle(walker_of())
    assert drag == FloorDrag(0.03, 0.12, 0.0)
    body = heading(0.5 * math.pi)
    # it looks up: what goes up goes along it, whichever way round
    assert dragged(body, drag, 0.0, 2e-3) == pytest.approx(6e-5)
    assert dragged(body, drag, 0.0, -2e-3) == pytest.approx(6e-5)
    assert dragged(body, drag, 2e-3, 0.0) == pytest.approx(2.4e-4)
    # at the most: as if one were done after the other
    way = cmath.rect(2e-3, 2.2)
    work = 2e-3 * (0.03 * abs(math.cos(1.9)) + 0.12 * math.sin(1.9))
    assert dragged(heading(0.3), drag, way.real, way.imag) == pytest.approx(work)


@pytest.mark.parametrize(("side", "grip", "roll", "across"), [(0, 0.05, 0.013, 0.07), (1, 0.07, 0.011, 0.05)])
def test_one_that_drives_pulls_on_as_it_slips(side: int, grip: float, roll: float, across: float) -> None:
    """Its own tyre by the tanh of its slip; the other one rolls, and alone holds across."""
    walker, body = walker_of(), heading(0.0, side=side)
    radius, slip_speed = ((0.004, 0.01), (0.005, 0.02))[side]
    body["state"]["speed"] = 0.03
    body["state"]["rotor"] = (0.03 + 0.5 * slip_speed) / radius
    pull = grip * math.tanh(0.5)
    assert drag_of_driver(walker, body) == pytest.approx((pull + roll, across, pull))
    # one that is held pulls with all that its tyre gives
    body["is_held"] = True
    assert drag_of_driver(walker, body) == pytest.approx((grip + roll, across, grip))
    body["is_held"] = False
    # one that is faster than its wheel is not braked by its motor
    body["state"]["rotor"] = 0.01 / radius
    assert drag_of_driver(walker, body) == pytest.approx((roll, across, 0.0))


def test_a_rim_passes_what_it_slides_off_as_it_goes_by_and_turns() -> None:
    walker = walker_of()
    # pushed 1 mm off a wall to the right of it while it goes 3 mm along that
    assert rim_passes(walker, -1e-3, 0.0, 0.0, 3e-3, 0.0) == pytest.approx(3.0)
    assert rim_passes(walker, -1e-3, 0.0, 0.0, -3e-3, 0.0) == pytest.approx(3.0)
    # what it goes straight away passes nothing
    assert rim_passes(walker, -1e-3, 0.0, 5e-3, 0.0, 0.0) == 0.0
    # as it turns to the left its rim, to the right of its middle, goes up with it
    assert rim_passes(walker, -1e-3, 0.0, 0.0, 3e-3, 0.04) == pytest.approx(4.0)
    # or rolls along the wall
    assert rim_passes(walker, -1e-3, 0.0, 0.0, 3e-3, -0.12) == pytest.approx(0.0, abs=1e-12)
    assert rim_passes(walker, 0.0, 0.0, 1e-3, 1e-3, 0.1) == 0.0
    # and the same whichever way the wall runs
    for angle in (0.4, 2.0, 3.9):
        off, gone = cmath.rect(-1e-3, angle), cmath.rect(1.0, angle) * complex(1e-3, 3e-3)
        assert rim_passes(walker, off.real, off.imag, gone.real, gone.imag, 0.04) == pytest.approx(4.0)


@pytest.mark.parametrize("side", [0, 1])
def test_sliding_back_takes_friction_times_way(side: int) -> None:
    """Along what drags it, across the other tyre by the tanh of how fast, and a share of both at the rim."""
    walker, body = walker_of(), heading(2.5, side=side)
    drag = FloorDrag(0.045, 0.07, 0.032)
    grip, slip_speed = ((0.07, 0.02), (0.05, 0.01))[side]
    # back and to the left of where it looks
    off = cmath.rect(1.0, 2.5) * complex(-2e-3, 1e-3)
    slid = sliding_back(walker, body, drag, off.real, off.imag, 0.0, 8.0)
    held = grip * math.tanh(8.0 * 1e-3 / slip_speed)
    assert slid.along == pytest.approx(2e-3)
    # what its own tyre pulls is kept apart
    assert slid.rubs == pytest.approx(0.045 * 2e-3 + held * 1e-3 - 0.032 * 2e-3)
    assert work_of(slid, drag) == pytest.approx(0.045 * 2e-3 + held * 1e-3)
    rubbed = sliding_back(walker, body, drag, off.real, off.imag, 2.0, 8.0)
    assert work_of(rubbed, drag) == pytest.approx((1.0 + 2.0 * 0.2) * work_of(slid, drag))
    assert sliding_back(walker, body, drag, 0.0, 0.0, 2.0, 8.0) == Slid(0.0, 0.0)
