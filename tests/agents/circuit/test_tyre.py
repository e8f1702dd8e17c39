"""Motor, tyre and body: coasting against closed forms, and slopes against differences."""

import math
from typing import Any

import numpy as np
import pytest

from agents.circuit.records import STATE
from agents.circuit.tyre import (
    GRIPPING,
    at_rest,
    begin_coasting,
    coast_step,
    gripping,
    implicit,
    rolling,
    stiffness_of,
)
from agents.design.as_built import build
from agents.design.spec import Design, read_design

TANSY = Design(name="tansy")


def coasting_state(speed: float, rotor: float) -> Any:
    state = np.zeros(1, STATE)[0]
    state["speed"] = speed
    state["rotor"] = rotor
    begin_coasting(state)
    return state


def test_coasting_stops_where_energy_says() -> None:
    """A wheel that hardly slips rolls on for half its mass times its speed squared over what resists it."""
    design = TANSY.with_values({"both.tyre.slip_speed": 1e-3, "body.drag": 0.012})
    walker = build(design)[0]
    side = design.left
    state = coasting_state(0.2, 0.2 / side.tyre.radius)
    way = time = 0.0
    steps = 0
    while not at_rest(state):
        step, passed = coast_step(walker, 0, state, 1.0)
        time += step
        way += passed
        steps += 1
    assert steps < 30
    mass = float(walker["pivot_mass"]) + side.motor.inertia / side.tyre.radius**2
    resisting = design.body.drag + side.motor.friction / side.tyre.radius
    assert way == pytest.approx(0.5 * mass * 0.2**2 / resisting, rel=0.01)
    assert time == pytest.approx(mass * 0.2 / resisting, rel=0.01)


def test_slipping_tyre_gives_its_grip() -> None:
    """A locked rotor on a sliding body: the speed falls by grip and drag over the mass, evenly."""
    design = TANSY.with_values({"both.motor.friction": 0.1, "both.tyre.slip_speed": 1e-3})
    walker = build(design)[0]
    state = coasting_state(0.5, 0.0)
    left = 0.02
    while left > 1e-12:
        left -= coast_step(walker, 0, state, left)[0]
    slowed = (walker["side"][0]["tyre_grip"] + walker["drag"]) / walker["pivot_mass"] * 0.02
    assert state["speed"] == pytest.approx(0.5 - slowed, rel=1e-6)


@pytest.mark.parametrize("name", ["mustard", "poppy"])
def test_coasting_comes_to_an_end_from_anywhere_next_to_rest(name: str) -> None:
    """Also where the rotor is about to stop ahead of the body, or the body ahead of the rotor."""
    design = read_design(name)
    walker = build(design)[0]
    for speed in np.geomspace(1e-6, 0.3, 60):
        for rim in np.geomspace(1e-6, 0.3, 60):
            state = coasting_state(float(speed), float(rim) / design.left.tyre.radius)
            steps = 0
            while not at_rest(state):
                step, way = coast_step(walker, 0, state, 0.01)
                assert step > 0.0, (speed, rim, steps)
                assert way >= 0.0
                steps += 1
                assert steps < 2000, (speed, rim)


@pytest.mark.parametrize("speed", [0.05, 0.3])
@pytest.mark.parametrize("slip", [-0.03, 0.0, 0.004, 0.2])
def test_coasting_in_one_go_is_coasting_in_many(speed: float, slip: float) -> None:
    walker = build(TANSY)[0]
    radius = TANSY.left.tyre.radius
    ways = []
    for longest in (1.0, 2e-5):
        state = coasting_state(speed, (speed + slip) / radius)
        way = 0.0
        while not at_rest(state):
            way += coast_step(walker, 0, state, longest)[1]
        ways.append(way)
    assert ways[0] == pytest.approx(ways[1], rel=0.01)


def test_the_slip_of_a_tyre_that_grips_settles_where_its_forces_are_in_balance() -> None:
    """There body and rim slow down alike: the tyre gives what the body needs for that beyond its drag.

    With drag alone on the body, d, friction f at the rim, masses m and j: the tyre's force on the body is
    d - m (d + f) / (m + j), and its slip s_0 atanh(force / grip).
    """
    design = TANSY.with_values({"body.drag": 0.012, "both.motor.friction": 2e-6})
    walker = build(design)[0]
    side = walker["side"][0]
    radius, mass = design.left.tyre.radius, float(walker["pivot_mass"])
    rim = design.left.motor.inertia / radius**2
    friction, drag = design.left.motor.friction / radius, design.body.drag
    force = drag - mass * (drag + friction) / (mass + rim)
    share = force / float(side["tyre_grip"])
    assert 1e-3 < abs(share) < GRIPPING
    found = gripping(walker, side, 0.0, 0.2)
    assert found.slip == pytest.approx(design.left.tyre.slip_speed * math.atanh(share), rel=1e-3)
    # a difference from that dies out by the slope of the tyre's force over the masses that it parts
    rate = float(side["tyre_grip"]) / design.left.tyre.slip_speed * (1.0 / mass + 1.0 / rim)
    near = gripping(walker, side, found.slip, 0.2)
    assert near.decay == pytest.approx(rate * (1.0 - share**2), rel=1e-3)


@pytest.mark.parametrize(("share", "grips"), [(0.99, True), (1.01, False), (-0.99, True), (-1.01, False)])
def test_a_tyre_grips_up_to_a_share_of_its_grip(share: float, grips: bool) -> None:
    walker = build(TANSY)[0]
    slip = TANSY.left.tyre.slip_speed * math.atanh(share * GRIPPING)
    assert (gripping(walker, walker["side"][0], slip, 0.2).decay > 0.0) == grips


@pytest.mark.parametrize("slip", [-0.05, 0.0, 0.01, 0.3])
def test_slopes_are_those_of_the_rates(slip: float) -> None:
    walker = build(TANSY)[0]
    side = walker["side"][0]
    speed = 0.2
    rotor = (speed + slip) / TANSY.left.tyre.radius
    slopes = stiffness_of(walker, side, rotor, speed, 1e-5)

    def rates(rotor: float, speed: float) -> Any:
        found = rolling(walker, side, rotor, speed, 1e-4 - 1e-5 * rotor)
        return np.array(found)

    against_rotor = (rates(rotor + 1e-4, speed) - rates(rotor - 1e-4, speed)) / 2e-4
    against_speed = (rates(rotor, speed + 1e-7) - rates(rotor, speed - 1e-7)) / 2e-7
    found = np.array(slopes).reshape(2, 2)
    assert found[:, 0] == pytest.approx(against_rotor, rel=1e-4, abs=1e-6)
    assert found[:, 1] == pytest.approx(against_speed, rel=1e-4, abs=1e-4)
    rolled = rolling(walker, side, rotor, speed, 1e-4)
    solved = np.array(implicit(rolled, slopes, 1e-3))
    assert (np.eye(2) - 1e-3 * found) @ solved == pytest.approx(np.array(rolled), rel=1e-9)
