"""Motor, tyre and body: coasting against closed forms, and slopes against differences."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from agents.circuit.records import STATE
from agents.circuit.tyre import (
    GRIPPING,
    LEFT_OVER,
    Gripping,
    Rolling,
    TyreEase,
    at_rest,
    begin_coasting,
    coast_step,
    grip_used,
    gripping,
    implicit,
    rolling,
    slow_down,
    solved,
    stiffness_of,
    time_to_stop,
    tyre_ease,
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


def left_ease(walker: Any, leans: float = 0.0, rubs: float = 0.0) -> TyreEase:
    """What does not change in a step of the left side of a walker that leans on something so."""
    state = np.zeros(1, STATE)[0]
    state["leans"], state["rubs"] = leans, rubs
    return tyre_ease(walker, walker["side"][0], state)


def rates_of(
    walker: Any, rotor: float, speed: float, torque: float, leans: float = 0.0, rubs: float = 0.0
) -> Rolling:
    """Accelerations of the left side of a walker, its tyre giving what its slip tells."""
    side = walker["side"][0]
    part = math.tanh((float(side["tyre_radius"]) * rotor - speed) / float(side["slip_speed"]))
    return rolling(side, left_ease(walker, leans, rubs), Rolling(rotor, speed), torque, part)


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


@pytest.mark.parametrize("leans", [0.0, 0.4])
@pytest.mark.parametrize("slip", [-0.05, 0.0, 0.01, 0.3])
def test_slopes_are_those_of_the_rates(slip: float, leans: float) -> None:
    walker = build(TANSY)[0]
    side = walker["side"][0]
    speed = 0.2
    rotor = (speed + slip) / TANSY.left.tyre.radius
    part = math.tanh(slip / TANSY.left.tyre.slip_speed)
    slopes = stiffness_of(side, left_ease(walker, leans), part, 1e-5)

    def rates(rotor: float, speed: float) -> Any:
        return np.array(rates_of(walker, rotor, speed, 1e-4 - 1e-5 * rotor, leans))

    against_rotor = (rates(rotor + 1e-4, speed) - rates(rotor - 1e-4, speed)) / 2e-4
    against_speed = (rates(rotor, speed + 1e-7) - rates(rotor, speed - 1e-7)) / 2e-7
    found = np.array(slopes).reshape(2, 2)
    assert found[:, 0] == pytest.approx(against_rotor, rel=1e-4, abs=1e-6)
    assert found[:, 1] == pytest.approx(against_speed, rel=1e-4, abs=1e-4)
    rolled = rates_of(walker, rotor, speed, 1e-4, leans)
    inverse = implicit(slopes, 1e-3)
    assert np.array(inverse).reshape(2, 2) @ (np.eye(2) - 1e-3 * found) == pytest.approx(np.eye(2), abs=1e-9)
    assert np.array(solved(rolled, inverse)) == pytest.approx(
        np.array(inverse).reshape(2, 2) @ np.array(rolled), rel=1e-12
    )


@pytest.mark.parametrize("slip", [-60.0, -3.0, -0.2, -1e-9, 0.0, 1e-9, 0.2, 3.0, 60.0])
def test_a_tyre_gives_the_tanh_of_its_slip(slip: float) -> None:
    """To the last digits of 1; and nothing at all where it does not slip."""
    walker = build(TANSY)[0]
    side = walker["side"][0]
    rotor = (0.2 + slip * TANSY.left.tyre.slip_speed) / TANSY.left.tyre.radius
    asked = (float(side["tyre_radius"]) * rotor - 0.2) / float(side["slip_speed"])
    found = grip_used(side, left_ease(walker), rotor, 0.2)
    assert found == pytest.approx(math.tanh(asked), rel=0.0, abs=4e-16)
    assert grip_used(side, left_ease(walker), 0.0, 0.0) == 0.0


def test_dry_friction_and_drag_move_nothing_by_themselves() -> None:
    """They hold what stands until more than they are pushes it, and slow down what goes, however slowly."""
    walker = build(TANSY.with_values({"body.drag": 0.012}))[0]
    side = walker["side"][0]
    friction, inertia = TANSY.left.motor.friction, TANSY.left.motor.inertia
    assert rates_of(walker, 0.0, 0.0, 0.0) == (0.0, 0.0)
    assert rates_of(walker, 0.0, 0.0, 0.9 * friction) == (0.0, 0.0)
    assert rates_of(walker, 0.0, 0.0, 1.5 * friction).rotor == pytest.approx(0.5 * friction / inertia)
    assert rates_of(walker, 0.5, 0.0, 0.0).rotor < -0.9 * friction / inertia
    # the rim fast enough that the tyre gives all its grip
    fast = 3.0 / TANSY.left.tyre.radius
    pushed = (float(side["tyre_grip"]) - 0.012) / float(walker["pivot_mass"])
    assert rates_of(walker, fast, 0.0, 0.0).speed == pytest.approx(pushed)
    level = 0.5 / TANSY.left.tyre.radius
    assert rates_of(walker, level, 0.5, 0.0).speed == pytest.approx(-0.012 / float(walker["pivot_mass"]))


def test_who_leans_loses_a_part_of_its_pull() -> None:
    """The tyre pulls the rotor back as much as ever, and the body by what the other end of it leaves."""
    walker = build(TANSY.with_values({"body.drag": 0.005}))[0]
    grip, mass = float(walker["side"][0]["tyre_grip"]), float(walker["pivot_mass"])
    fast = 3.0 / TANSY.left.tyre.radius
    leaning = rates_of(walker, fast, 0.1, 1e-4, 0.5, 0.002)
    assert leaning.speed == pytest.approx((0.5 * grip - 0.005 - 0.002) / mass)
    assert leaning.rotor == rates_of(walker, fast, 0.1, 1e-4).rotor
    # more than its pull holds it, but drives it nowhere
    assert rates_of(walker, fast, 0.0, 1e-4, 1.0, 0.002).speed == 0.0
    state = coasting_state(1.0, 0.1)
    assert state["leans"] == state["rubs"] == 0.0


def test_at_rest_is_who_neither_turns_nor_moves() -> None:
    assert at_rest(coasting_state(0.0, 0.0))
    assert not at_rest(coasting_state(0.0, 1.0))
    assert not at_rest(coasting_state(1.0, 0.0))


@pytest.mark.parametrize(("drag", "friction", "is_rim"), [(0.012, 2e-6, False), (0.001, 2e-5, True)])
def test_the_slower_of_rim_and_body_is_told(drag: float, friction: float, is_rim: bool) -> None:
    """Drag makes the body the slower one, and friction the rim, by the slip to which the tyre settles."""
    walker = build(TANSY.with_values({"body.drag": drag, "both.motor.friction": friction}))[0]
    found = gripping(walker, walker["side"][0], 0.003, 0.2)
    assert (found.slip < 0.0) == is_rim
    rim = TANSY.left.motor.inertia / TANSY.left.tyre.radius**2
    mass = float(walker["pivot_mass"])
    # momentum is kept while the slip settles
    body = 0.2 + rim / (mass + rim) * (0.003 - found.slip)
    assert found.common == pytest.approx(body, rel=1e-12)
    assert found.slowest == pytest.approx(body + found.slip if is_rim else body, rel=1e-12)


def slowed(longest: float, slip: float = 0.004, slow: float = 0.5) -> tuple[float, float, float, float]:
    """Step [s], way [m], and speeds [m/s] of body and rim after slowing down from 0.2 m/s."""
    side = build(TANSY)[0]["side"][0]
    state = coasting_state(0.2, 0.0)
    grips = Gripping(slow, slip, 60.0, 0.01, 0.3, 0.2, 0.2 + min(slip, 0.0))
    step, way = slow_down(side, state, grips, longest)
    return step, way, float(state["speed"]), float(state["rotor"]) * TANSY.left.tyre.radius


@pytest.mark.parametrize("longest", [0.01, 0.3, 0.5, 0.7])
def test_slowing_down_is_the_integral_of_an_even_fall_and_a_dying_slip(longest: float) -> None:
    """Speed c - a t - p s exp(-r t) for a falling a, a part p of the slip s that dies out at a rate r."""

    def body(time: float) -> float:
        return 0.2 - 0.5 * time - 0.3 * 0.01 * math.exp(-60.0 * time)

    step, way, speed, rim = slowed(longest)
    # 0.2 m/s are gone after 0.4 s
    assert step == pytest.approx(min(longest, 0.4), rel=1e-12)
    assert way == pytest.approx(quad(body, 0.0, step)[0], rel=1e-9)
    assert speed == pytest.approx(max(body(step), 0.0), abs=1e-5)
    assert rim == pytest.approx(body(step) + 0.004 + 0.01 * math.exp(-60.0 * step), abs=1e-5)


@pytest.mark.parametrize("slow", [0.5, 2.0])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_what_would_pass_next_to_nothing_after_a_stop_stops_too(slow: float, sign: float) -> None:
    """At a slip s against an even fall a that is s^2 / (2 a) of way."""
    assert LEFT_OVER == 1e-6
    for way, stands in ((0.8e-6, True), (1.5e-6, False)):
        _, _, speed, rim = slowed(1.0, sign * math.sqrt(2.0 * way * slow), slow)
        assert ((speed, rim) == (0.0, 0.0)) == stands
    # after a slip that would go on for long one of the two goes on
    _, _, speed, rim = slowed(1.0, sign * 0.05, slow)
    assert min(speed, rim) < 1e-4
    assert max(speed, rim) == pytest.approx(0.05, rel=0.01)


@pytest.mark.parametrize("speed", [7e-4, 0.3])
def test_a_tyre_that_grips_coasts_in_a_step_or_two(speed: float) -> None:
    """Also one that turns by less than a radian a second."""
    walker = build(TANSY)[0]
    state = coasting_state(speed, 1.01 * speed / TANSY.left.tyre.radius)
    step, _ = coast_step(walker, 0, state, 1.0)
    assert state["speed"] < 0.05 * speed + 5e-4
    assert step > 1e-3 * speed


def test_friction_and_drag_hold_what_stands_while_the_other_goes() -> None:
    """The tyre pulls by less than they hold, and by more than it does once both go along."""
    mass = float(build(TANSY)[0]["pivot_mass"])
    radius = TANSY.left.tyre.radius
    grip = float(build(TANSY)[0]["side"][0]["tyre_grip"])
    pull = 0.15 * grip
    slip = TANSY.left.tyre.slip_speed * math.atanh(0.15)
    held = build(TANSY.with_values({"both.motor.friction": pull * radius / 0.75, "body.drag": 1e-6}))[0]
    state = coasting_state(slip, 0.0)
    step, _ = coast_step(held, 0, state, 1e-3)
    assert state["rotor"] == 0.0
    assert state["speed"] == pytest.approx(slip - pull / mass * step, rel=0.02)
    held = build(TANSY.with_values({"both.motor.friction": 1e-8, "body.drag": pull / 0.75}))[0]
    state = coasting_state(0.0, slip / radius)
    step, _ = coast_step(held, 0, state, 1e-3)
    assert state["speed"] == 0.0
    rim = TANSY.left.motor.inertia / radius**2
    assert radius * state["rotor"] == pytest.approx(slip - pull / rim * step, rel=0.02)


def test_a_stiff_slip_takes_few_steps() -> None:
    """Its method damps what decays far within a step, as scipy's Radau does; else it would take a hundred."""
    design = TANSY.with_values({"body.drag": 0.0346, "both.tyre.slip_speed": 1e-3})
    walker = build(design)[0]
    radius = TANSY.left.tyre.radius
    state = coasting_state(0.1, 0.12 / radius)
    left, steps = 0.01, 0
    while left > 1e-12:
        left -= coast_step(walker, 0, state, left)[0]
        steps += 1
    assert steps < 20

    def rates(_: float, now: Any) -> tuple[float, float]:
        return rates_of(walker, now[0], now[1], 0.0)

    exact = solve_ivp(rates, (0.0, 0.01), [0.12 / radius, 0.1], method="Radau", rtol=1e-9, atol=1e-12)
    assert state["speed"] == pytest.approx(exact.y[1, -1], rel=1e-4)
    assert state["rotor"] == pytest.approx(exact.y[0, -1], rel=1e-4)


@pytest.mark.parametrize(("speed", "slip"), [(0.1, 0.03), (0.1, -0.03), (0.02, 0.08)])
def test_a_slipping_tyre_is_followed_to_second_order(speed: float, slip: float) -> None:
    """Steps of 0.1 ms while it slips, against scipy's Radau; what is left goes with their square."""
    walker = build(TANSY)[0]
    radius = TANSY.left.tyre.radius

    def rates(_: float, now: Any) -> tuple[float, float]:
        return rates_of(walker, now[0], now[1], 0.0)

    begun = [(speed + slip) / radius, speed]
    exact = solve_ivp(rates, (0.0, 4e-4), begun, method="Radau", rtol=1e-11, atol=1e-13).y[:, -1]
    off = []
    for count in (4, 8):
        state = coasting_state(speed, begun[0])
        for _ in range(count):
            assert coast_step(walker, 0, state, 4e-4 / count)[0] == pytest.approx(4e-4 / count)
        # all the time it has slipped by more than a tyre that grips
        assert abs(radius * state["rotor"] - state["speed"]) > GRIPPING * TANSY.left.tyre.slip_speed
        off.append([abs(float(state["rotor"]) * radius - exact[0] * radius), abs(state["speed"] - exact[1])])
    assert np.array(off[0]) == pytest.approx(4.0 * np.array(off[1]), rel=0.35)
    assert max(off[1]) < 2e-5


def coasted_to_rest(walker: Any, state: Any, longest: float) -> tuple[float, float]:
    """Time [s] and way [m] until a walker rests, in not many steps, each of ``longest`` [s] at the most."""
    time = way = 0.0
    steps = 0
    while not at_rest(state):
        step, passed = coast_step(walker, 0, state, longest)
        time, way, steps = time + step, way + passed, steps + 1
    assert steps < 60
    return time, way


@pytest.mark.parametrize("longest", [1.0, 2e-3])
def test_a_step_ends_where_the_rotor_stops(longest: float) -> None:
    """A body that drag holds, and a rim that slides to a stop: J / r^2 dv/dt = -(grip + friction / r)."""
    design = TANSY.with_values({"both.tyre.slip_speed": 1e-3, "both.motor.friction": 1e-4, "body.drag": 1.0})
    walker = build(design)[0]
    side, radius = walker["side"][0], design.left.tyre.radius
    state = coasting_state(0.0, 0.4 / radius)
    time, way = coasted_to_rest(walker, state, longest)
    falls = (float(side["tyre_grip"]) + 1e-4 / radius) / (design.left.motor.inertia / radius**2)
    # in the last slips the tyre gives less than its grip
    assert time == pytest.approx(0.4 / falls, rel=0.01)
    assert way < 1e-9


@pytest.mark.parametrize("longest", [1.0, 2e-3])
def test_a_step_ends_where_the_body_stops(longest: float) -> None:
    """A rotor that friction holds, and a body that slides to a stop: v^2 / 2 a of way, in v / a of time."""
    design = TANSY.with_values({"both.tyre.slip_speed": 1e-3, "both.motor.friction": 0.1, "body.drag": 0.03})
    walker = build(design)[0]
    state = coasting_state(0.4, 0.0)
    time, way = coasted_to_rest(walker, state, longest)
    falls = (float(walker["side"][0]["tyre_grip"]) + 0.03) / float(walker["pivot_mass"])
    assert time == pytest.approx(0.4 / falls, rel=0.01)
    assert way == pytest.approx(0.5 * 0.4**2 / falls, rel=0.01)


@pytest.mark.parametrize("rotor", [0.01, 3.0, 40.0, 400.0])
@pytest.mark.parametrize(("friction", "grip"), [(1.0, 1.0), (1.0, 0.3), (30.0, 1.0)])
def test_a_wheel_under_a_held_body_stops_when_friction_and_grip_say(
    rotor: float, friction: float, grip: float
) -> None:
    """Against the integral of its speed over what slows it down (scipy's quad)."""
    walker = build(TANSY)[0]
    side = walker["side"][0]
    side["motor_friction"] *= friction
    side["tyre_grip"] *= grip

    def slowness(speed: float) -> float:
        part = math.tanh(float(side["tyre_radius"]) * speed / float(side["slip_speed"]))
        torque = float(side["motor_friction"]) + float(side["tyre_radius"] * side["tyre_grip"]) * part
        return float(side["rotor_inertia"]) / torque

    whole, _ = quad(slowness, 0.0, rotor, limit=500)
    assert time_to_stop(side, rotor) == pytest.approx(whole, rel=1e-6)
    state = coasting_state(0.0, rotor)
    state["leans"] = 1.0
    assert coast_step(walker, 0, state, 1.0) == (pytest.approx(whole, rel=1e-6), 0.0)
    assert at_rest(state)


def test_a_held_wheel_without_friction_slows_down_in_steps() -> None:
    """There the closed form has no end; nor does it tell where it has come to before its end."""
    walker = build(TANSY)[0]
    side = walker["side"][0]
    whole = time_to_stop(side, 20.0)
    state = coasting_state(0.0, 20.0)
    state["leans"] = 1.0
    step, way = coast_step(walker, 0, state, 0.5 * whole)
    assert 0.0 < step <= 0.5 * whole
    assert way == 0.0 < state["rotor"] < 20.0
    # just as long as it takes, it stops
    state = coasting_state(0.0, 20.0)
    state["leans"] = 1.0
    assert coast_step(walker, 0, state, whole) == (whole, 0.0)
    assert at_rest(state)
    for friction in (0.0, float(side["tyre_radius"] * side["tyre_grip"])):
        side["motor_friction"] = friction
        assert time_to_stop(side, 20.0) == math.inf


@pytest.mark.parametrize(("leans", "speed"), [(0.0, 0.0), (0.9, 0.0), (1.0, 0.02)])
def test_only_who_stands_and_leans_with_all_its_pull_stays(leans: float, speed: float) -> None:
    """A wheel that spins on sets the body going, or a body that goes rolls on."""
    walker, state = build(TANSY)[0], coasting_state(speed, 60.0)
    walker["drag"] = 1e-4
    state["leans"] = leans
    # long enough for the wheel to stop in, if the body stood
    _, way = coast_step(walker, 0, state, 1.0)
    assert way > 0.0
