"""Steering by a lamp: the balance of both sides against root finders on the formulae, and where it heads."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from agents.circuit.steering import balance, eye_light, heading_beside, lead, steering
from agents.design.as_built import build
from agents.design.spec import Design

ELEVATION = math.radians(32.0)


def walker_of(**values: float) -> Any:
    paths = {key.replace("__", "."): value for key, value in values.items()}
    return build(Design(name="fennel").with_values(paths))[0]


def lead_by_hand(design: Design, lamp: float, even: float, elevation: float, bearing: float) -> float:
    """Left trigger less right one [V], by the spherical law of cosines and a logarithm of the light."""
    triggers = []
    for side, sign in ((design.left, 1.0), (design.right, -1.0)):
        eye = side.eye
        apart = bearing - sign * eye.outward
        facing = math.sin(elevation) * math.sin(eye.up)
        facing += math.cos(elevation) * math.cos(eye.up) * math.cos(apart)
        lobe = math.log(0.5) / math.log(math.cos(eye.half_angle))
        seen = eye.tape * (even + lamp * max(facing, 0.0) ** lobe)
        waiting = eye.quiet_current * (side.series + side.motor.resistance)
        triggers.append(eye.dark_trigger + eye.slope * math.log10(1.0 + seen / eye.knee_light) + waiting)
    return triggers[0] - triggers[1]


UNEVEN = {
    "left.eye.dark_trigger": 2.36,
    "right.eye.tape": 0.8,
    "left.eye.outward": 0.6,
    "right.eye.up": 0.3,
    "right.series": 40e3,
}


def test_light_of_an_eye_that_faces_the_lamp_or_away_from_it() -> None:
    side = walker_of()["side"][0]
    aim = np.array([float(side[f"aim_{axis}"]) for axis in "xyz"])
    assert np.linalg.norm(aim) == pytest.approx(1.0)
    assert eye_light(side, 900.0, 70.0, *aim) == pytest.approx(970.0)
    assert eye_light(side, 900.0, 70.0, *-aim) == 70.0
    # by definition half as much at the half angle, 50 degrees off
    across = np.cross(aim, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    off = math.cos(math.radians(50.0)) * aim + math.sin(math.radians(50.0)) * across
    assert eye_light(side, 900.0, 70.0, *off) == pytest.approx(520.0)


@pytest.mark.parametrize("bearing", [-1.4, -0.5, 0.0, 0.2, 1.1])
@pytest.mark.parametrize("elevation", [0.1, 0.56, 1.3])
def test_lead_is_that_of_the_formulae(bearing: float, elevation: float) -> None:
    design = Design(name="fennel").with_values(UNEVEN)
    found = lead(build(design)[0], 2000.0, 400.0, elevation, bearing)
    assert found == pytest.approx(lead_by_hand(design, 2000.0, 400.0, elevation, bearing), abs=1e-12)


@pytest.mark.parametrize("offset", [-0.05, -0.03, -0.02, -0.01, 0.0])
def test_balance_is_where_the_lead_passes_nought(offset: float) -> None:
    """And the hold is half of what the lead changes between its least and greatest, by a fine grid."""
    design = Design(name="fennel").with_values({**UNEVEN, "left.eye.dark_trigger": 2.36 + offset})

    def ahead(bearing: float) -> float:
        return lead_by_hand(design, 2000.0, 1000.0, ELEVATION, bearing)

    place, hold = steering(build(design)[0], 2000.0, 1000.0, ELEVATION)
    assert abs(place) < 1.0
    assert place == pytest.approx(brentq(ahead, -1.0, 1.0, xtol=1e-13), abs=1e-8)
    assert balance(build(design)[0], 2000.0, 1000.0, ELEVATION) == place
    leads = [ahead(bearing) for bearing in np.linspace(-0.5 * math.pi, 0.5 * math.pi, 721)]
    assert hold == pytest.approx(0.5 * (max(leads) - min(leads)), rel=2e-3)


def test_twin_sides_are_in_balance_straight_ahead() -> None:
    assert balance(walker_of(), 2000.0, 1000.0, ELEVATION) == pytest.approx(0.0, abs=1e-8)


def test_no_balance_where_one_side_always_leads() -> None:
    for trigger in (1.0, 4.0):
        place, hold = steering(walker_of(left__eye__dark_trigger=trigger), 2000.0, 1000.0, ELEVATION)
        assert math.isnan(place)
        assert hold > 0.01


def test_eyes_that_look_inward_are_in_balance_nowhere() -> None:
    """There the lead goes down through nought straight ahead: it turns away from the lamp."""
    crossed = walker_of(left__eye__outward=-0.7, right__eye__outward=-0.7)
    assert (
        lead(crossed, 2000.0, 1000.0, ELEVATION, 0.3) < 0.0 < lead(crossed, 2000.0, 1000.0, ELEVATION, -0.3)
    )
    assert math.isnan(balance(crossed, 2000.0, 1000.0, ELEVATION))


def aimed(left: float, right: float) -> Any:
    """A walker whose eyes look along the floor, at these azimuths [rad]."""
    walker = walker_of()
    for number, azimuth in enumerate((left, right)):
        side = walker["side"][number]
        side["aim_x"], side["aim_y"], side["aim_z"] = math.cos(azimuth), math.sin(azimuth), 0.0
    return walker


@pytest.mark.parametrize(("degrees", "is_found"), [(83.0, True), (87.0, True), (89.0, True), (92.0, False)])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_balance_is_sought_up_to_where_the_lamp_is_aside(degrees: float, is_found: bool, sign: float) -> None:
    """Eyes that look back a little, and a left trigger that puts the balance where it is wanted."""
    walker = aimed(math.radians(120.0), -math.radians(120.0))
    place = sign * math.radians(degrees)
    walker["side"][0]["dark_trigger"] -= lead(walker, 2000.0, 1000.0, 0.0, place)
    found = balance(walker, 2000.0, 1000.0, 0.0)
    assert math.isnan(found) != is_found
    if is_found:
        assert found == pytest.approx(place, abs=1e-7)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_of_several_balances_the_nearest_to_the_nose_counts(sign: float) -> None:
    """A left eye that sees a wide part of the front, and a right one a narrow part in its middle."""
    walker = aimed(sign * math.radians(20.0), sign * math.radians(10.0))
    left, right = walker["side"][0], walker["side"][1]
    left["lobe"], right["lobe"] = 3.0, 60.0
    left["dark_trigger"] -= 0.15

    def ahead(bearing: float) -> float:
        return float(lead(walker, 4000.0, 300.0, 0.0, bearing))

    grid = np.linspace(-0.5 * math.pi, 0.5 * math.pi, 2001)
    leads = np.array([ahead(bearing) for bearing in grid])
    rises = np.flatnonzero((leads[:-1] < 0.0) & (leads[1:] > 0.0))
    assert len(rises) == 2
    places = [brentq(ahead, grid[at], grid[at + 1], xtol=1e-12) for at in rises]
    assert balance(walker, 4000.0, 300.0, 0.0) == pytest.approx(min(places, key=abs), abs=1e-7)
    assert abs(abs(places[0]) - abs(places[1])) > 0.05


def test_of_a_gap_in_which_neither_eye_sees_the_lamp_the_middle_counts() -> None:
    """Eyes that look aside and a little back."""
    narrow = {}
    for side in ("left", "right"):
        narrow |= {f"{side}__eye__outward": 0.5 * math.pi, f"{side}__eye__up": 0.0}
    walker = walker_of(**narrow)
    # turned back, so that they see nothing of a lamp next to straight ahead
    walker["side"]["aim_x"] -= 0.2
    gap = math.asin(0.2)
    left = walker["side"][0]
    for bearing in (0.9 * gap, 1.1 * gap):
        seen = eye_light(left, 2000.0, 0.0, math.cos(bearing), math.sin(bearing), 0.0)
        assert (seen > 0.0) == (bearing > gap)
    place, _ = steering(walker, 2000.0, 1000.0, 0.0)
    assert place == pytest.approx(0.0, abs=1e-6)


def test_heading_is_beside_the_balance_by_half_of_what_the_turns_differ_by() -> None:
    """The mean of bearings spread evenly from b - right to b + left, drawn by jumps from side to side."""
    balanced, left, right = 0.1, 0.5, 0.1 * math.pi
    bearing, bearings = 0.0, []
    for _ in range(20_000):
        # the ratio of turns is irrational, so that the bearings fill their range evenly
        bearing += left if bearing < balanced else -right
        bearings.append(bearing)
    found = heading_beside(balanced, left, right)
    assert found == pytest.approx(float(np.mean(bearings)), abs=2e-3)
    assert heading_beside(balanced, -left, right) == pytest.approx(found)
    assert heading_beside(balanced, left, -right) == pytest.approx(found)
    assert heading_beside(balanced, left, math.nan) == balanced
    assert heading_beside(balanced, math.nan, right) == balanced
