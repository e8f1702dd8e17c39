"""From a design to the record of the kernels: places, masses and steps, against hand calculation."""

import math
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import Polygon

from agents.circuit.records import CORE_POINTS, TABLE_POINTS, WALKER
from agents.design.as_built import build, outline_moments
from agents.design.parts import EyeRow
from agents.design.spec import Design

CHARD = Design(name="chard")


def test_sides_are_mirror_images() -> None:
    left, right = build(CHARD)[0]["side"]
    for name in WALKER["side"].base.names:
        if name in ("eye_aside", "aim_y", "root_aside", "tip_aside"):
            assert left[name] == -right[name] != 0.0
        else:
            np.testing.assert_array_equal(left[name], right[name])


def test_a_change_of_the_right_side_leaves_the_left_alone() -> None:
    plain = build(CHARD)[0]
    changed = build(CHARD.with_values({"right.latch": 22e3, "right.eye.aside": 0.05}))[0]
    assert changed["side"][0] == plain["side"][0]
    assert changed["side"][1]["latch"] == 22e3
    assert changed["side"][1]["eye_aside"] == -0.05


def test_parts_in_cold_and_heat() -> None:
    """Copper by 0.393 % a kelvin from 20 degC on (IEC 60028); values of the file are those at 25 degC."""
    cold, room, hot = (build(CHARD, 273.15 + celsius)[0] for celsius in (-10.0, 25.0, 60.0))
    assert room == build(CHARD)[0]
    motors = [record["side"][0]["motor_resistance"] for record in (cold, room, hot)]
    assert motors == pytest.approx([28.0 * (1 + 0.00393 * to) / 1.01965 for to in (-30.0, 5.0, 40.0)])
    assert motors[1] == 28.0
    weak = CHARD.with_values({"left.motor.magnet": "ferrite"})
    left, right = build(weak, 273.15 + 60.0)[0]["side"]
    assert left["motor_constant"] == pytest.approx(2.2e-3 * 0.93)
    assert right["motor_constant"] == pytest.approx(2.2e-3 * 0.9615)
    assert cold["thermal"] == pytest.approx(0.0256926 * 263.15 / 298.15, rel=1e-5)
    for part in ("npn", "pnp"):
        rising = [record["side"][0][part]["gain"] for record in (cold, room, hot)]
        assert rising[0] < rising[1] == 150.0 < rising[2]


def test_aim_of_an_eye() -> None:
    side = build(CHARD.with_values({"both.eye.outward": math.radians(40), "both.eye.up": math.radians(20)}))[
        0
    ]["side"]
    for sign, record in zip((1.0, -1.0), side, strict=True):
        aim = np.array([record["aim_x"], record["aim_y"], record["aim_z"]])
        assert np.linalg.norm(aim) == pytest.approx(1.0, rel=1e-12)
        assert math.degrees(math.asin(aim[2])) == pytest.approx(20.0)
        assert math.degrees(math.atan2(aim[1], aim[0])) == pytest.approx(sign * 40.0)


def test_whisker_reaches_its_length_outward() -> None:
    values = {"both.whisker.length": 0.05, "both.whisker.outward": math.radians(35.0)}
    for sign, record in zip((1.0, -1.0), build(CHARD.with_values(values))[0]["side"], strict=True):
        reach = (record["tip_ahead"] - record["root_ahead"], record["tip_aside"] - record["root_aside"])
        assert math.hypot(*reach) == pytest.approx(0.05, rel=1e-12)
        assert math.degrees(math.atan2(reach[1], reach[0])) == pytest.approx(sign * 35.0)


def test_parts_that_are_left_out() -> None:
    side = build(CHARD.with_values({"left.whisker": None, "left.feeler": None}))[0]["side"]
    assert (side[0]["whisker"], side[1]["whisker"]) == (0, 1)
    assert side[0]["feeler"] == math.inf
    assert side[1]["feeler"] == 33e3


def test_a_motor_wired_backward() -> None:
    side = build(CHARD.with_values({"right.motor.turns": "backward"}))[0]["side"]
    assert (side[0]["turns"], side[1]["turns"]) == (1.0, -1.0)


def test_force_that_closes_a_switch_bends_a_cantilever() -> None:
    """F L^3 / (3 E I): 50 mm of 0.25 mm spring steel bend 3.26 mm under 3 mN, by hand."""
    values = {"both.whisker.force_to_close": 3e-3, "both.whisker.length": 0.05}
    second_moment = math.pi * 0.25e-3**4 / 64.0
    expected = 3e-3 * 0.05**3 / (3.0 * 200e9 * second_moment)
    assert expected == pytest.approx(3.26e-3, abs=5e-6)
    assert build(CHARD.with_values(values))[0]["side"][0]["bend_to_close"] == pytest.approx(
        expected, rel=1e-12
    )


def test_acceptance_lobe_of_an_eye() -> None:
    """m = -ln 2 / ln cos(half angle); J. M. Kahn and J. R. Barry, Proceedings of the IEEE 85 (1997)."""
    for degrees, expected in ((60.0, 1.0), (45.0, 2.0), (30.0, 4.82), (10.0, 45.28)):
        record = build(CHARD.with_values({"both.eye.half_angle": math.radians(degrees)}))[0]
        assert record["side"][0]["lobe"] == pytest.approx(expected, abs=0.01)


def test_round_body_has_the_inertia_of_a_disc_about_the_standing_tyre() -> None:
    """Half m r^2, and by Steiner's theorem m times the square of the way to the tyre."""
    values = {"body.mass": 0.02, "body.radius": 0.03, "body.ahead": 0.005, "body.track": 0.05}
    record = build(CHARD.with_values(values))[0]
    about_tyre = 0.5 * 0.02 * 0.03**2 + 0.02 * (0.005**2 + 0.025**2)
    assert record["pivot_mass"] == pytest.approx(about_tyre / 0.05**2, rel=1e-12)
    assert (record["core_count"], record["body_radius"], record["body_reach"]) == (1, 0.03, 0.03)
    assert record["shade_radius"] == 0.03
    assert tuple(record["core"][0]) == (0.005, 0.0)


@pytest.mark.parametrize("turned", [1, -1])
def test_outline_of_a_body(turned: int) -> None:
    corners = ((0.03, -0.02), (0.035, 0.01), (0.0, 0.025), (-0.02, 0.0))[::turned]
    record = build(CHARD.with_values({"body.outline": corners, "body.radius": None}))[0]
    shape = Polygon(corners)
    assert record["core_count"] == 4
    built = Polygon(record["core"][:4])
    assert built.equals(shape)
    assert built.exterior.is_ccw
    assert math.pi * record["shade_radius"] ** 2 == pytest.approx(shape.area, rel=1e-9)
    for x, y in corners:
        assert math.hypot(x - record["body_ahead"], y) <= record["body_reach"] + 1e-12


OUTLINES = {
    "long bar": ((0.06, 0.01), (-0.06, 0.01), (-0.06, -0.01), (0.06, -0.01)),
    "bar across": ((0.01, 0.06), (-0.01, 0.06), (-0.01, -0.06), (0.01, -0.06)),
    "arrow": ((0.05, 0.0), (-0.02, 0.03), (-0.02, -0.03)),
    "aside": ((0.03, -0.02), (0.035, 0.01), (0.0, 0.025), (-0.02, 0.0)),
}


def second_moment(corners: tuple[tuple[float, float], ...], place: tuple[float, float]) -> float:
    """Mean square distance [m2] of a convex polygon's area from a place, by triangles.

    For a triangle it is exact over the middles of its sides: a rule of second order (handbooks of finite
    elements).
    """
    total = area = 0.0
    for second, third in pairwise(corners[1:]):
        triangle = np.array([corners[0], second, third])
        size = Polygon(triangle).area
        middles = 0.5 * (triangle + np.roll(triangle, 1, axis=0))
        total += size * float(np.mean(np.sum((middles - place) ** 2, axis=1)))
        area += size
    return total / area


@pytest.mark.parametrize("name", OUTLINES)
def test_inertia_and_middle_are_those_of_the_outline(name: str) -> None:
    """Of a sheet of even weight; the mean of both tyres, since a middle may lie aside."""
    corners = OUTLINES[name]
    track, mass = 0.05, 0.02
    values = {"body.outline": corners, "body.radius": None, "body.track": track, "body.mass": mass}
    record = build(CHARD.with_values(values))[0]
    shape = Polygon(corners)
    assert record["body_ahead"] == pytest.approx(shape.centroid.x, abs=1e-12)
    tyres = [second_moment(corners, (0.0, sign * 0.5 * track)) for sign in (1.0, -1.0)]
    assert record["pivot_mass"] == pytest.approx(mass * np.mean(tyres) / track**2, rel=1e-9)
    area, x, y, second = outline_moments(corners)
    assert (abs(area), x, y) == pytest.approx((shape.area, shape.centroid.x, shape.centroid.y), abs=1e-12)
    assert second == pytest.approx(second_moment(corners, (0.0, 0.0)), rel=1e-12)


def test_a_long_bar_is_heavier_to_turn_than_a_disc_of_its_area() -> None:
    """m (a^2 + b^2) / 12 about its middle, as in handbooks; a disc has m A / 2 pi."""
    corners = OUTLINES["long bar"]
    values = {"body.outline": corners, "body.radius": None, "body.track": 0.04, "body.mass": 0.02}
    got = build(CHARD.with_values(values))[0]["pivot_mass"] * 0.04**2
    bar = 0.02 * (0.12**2 + 0.02**2) / 12.0
    assert got == pytest.approx(bar + 0.02 * 0.02**2, rel=1e-12)
    disc = 0.02 * 0.12 * 0.02 / (2.0 * math.pi)
    assert disc + 0.02 * 0.02**2 < 0.63 * got


def test_inertia_that_is_given_is_taken() -> None:
    record = build(CHARD.with_values({"body.pivot_inertia": 1.2e-5, "body.track": 0.04}))[0]
    assert record["pivot_mass"] == pytest.approx(1.2e-5 / 0.04**2, rel=1e-12)


def test_grip_is_friction_times_load() -> None:
    record = build(CHARD.with_values({"body.mass": 0.02, "body.tyre_load": 0.4, "both.tyre.grip": 0.6}))[0]
    assert record["side"][0]["tyre_grip"] == pytest.approx(0.6 * 0.4 * 0.02 * 9.80665, rel=1e-12)
    # across its heading the whole weight slides; along it both tyres turn their motors, and a fifth slides
    whole = 0.6 * 0.02 * 9.80665
    assert record["skid"] == pytest.approx(whole, rel=1e-12)
    motor, tyre = CHARD.left.motor, CHARD.left.tyre
    idle = motor.friction / tyre.radius
    assert record["side"][0]["idle_roll"] == pytest.approx(idle, rel=1e-12)
    assert record["tow"] == pytest.approx(0.2 * whole + 2.0 * idle, rel=1e-12)
    # a motor that turns too hard slides on its tyre
    stiff = build(CHARD.with_values({"both.motor.friction": 1e-3}))[0]
    assert stiff["tow"] == pytest.approx(stiff["skid"], rel=1e-12)


def test_bench_table_fills_its_places() -> None:
    rows = tuple(EyeRow(light=10.0 * number, trigger=2.0 + 0.05 * number) for number in range(TABLE_POINTS))
    record = build(CHARD.with_values({"left.eye.table": rows}))[0]["side"]
    assert (record[0]["table_count"], record[1]["table_count"]) == (TABLE_POINTS, 0)
    assert record[0]["table_light"][1] == pytest.approx(math.log10(11.0), rel=1e-12)
    assert record[0]["table_volts"][-1] == pytest.approx(2.75)
    # below the table's first row the quiet current falls off as below the dark trigger
    assert record[0]["dark_trigger"] == 2.0


def test_records_have_room_for_what_a_design_may_have() -> None:
    angles = np.linspace(0.0, 2.0 * math.pi, CORE_POINTS, endpoint=False)
    corners = tuple((0.02 * math.cos(angle), 0.02 * math.sin(angle)) for angle in angles)
    assert build(CHARD.with_values({"body.outline": corners}))[0]["core_count"] == CORE_POINTS
