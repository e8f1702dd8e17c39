"""Gaps and whiskers against shapely, the bending of beams, and the same kernels uncompiled."""

import json
import math
import os
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from shapely import affinity
from shapely.geometry import LineString, MultiPoint, Point, Polygon

from agents.handbook import formulae
from arena.engine import gaps as contact
from arena.engine import whiskers
from tests.helpers import scenes

Body = tuple[np.ndarray, int, float]


def random_body(rng: np.random.Generator, spread: float = 0.06) -> Body:
    """Return points, their count and the radius of a disc, a capsule or a polygon of walker's size."""
    x, y = rng.uniform(-spread, spread, 2)
    count = int(rng.integers(1, 9))
    points = np.zeros((8, 2))
    if count < 3:
        points[:count] = rng.uniform(-0.03, 0.03, (count, 2))
    else:
        hull = MultiPoint(rng.uniform(-0.03, 0.03, (count, 2))).convex_hull
        corners = np.array(hull.exterior.coords)[:-1]
        if not hull.exterior.is_ccw:
            corners = corners[::-1]
        count = len(corners)
        points[:count] = corners
    placed = np.zeros((8, 2))
    scenes.place_points(points, count, x, y, rng.uniform(-math.pi, math.pi), placed)
    radius = rng.uniform(0.0, 0.02) if count < 3 or rng.random() < 0.7 else 0.0
    return placed, count, radius


def random_wall(rng: np.random.Generator) -> tuple[float, float, float, float]:
    ax, ay = rng.uniform(-0.05, 0.05, 2)
    length, angle = rng.choice([0.005, 0.05, 0.3]) * rng.uniform(0.5, 1.0), rng.uniform(0.0, 2 * math.pi)
    return ax, ay, ax + length * math.cos(angle), ay + length * math.sin(angle)


def shape(points: np.ndarray) -> Point | LineString | Polygon:
    return MultiPoint(points).convex_hull


def gap_by_differences(points: np.ndarray, others: np.ndarray) -> float:
    """Signed gap of two hulls: where the origin lies to the hull of all differences of their points."""
    differences = MultiPoint((points[:, None, :] - others[None, :, :]).reshape(-1, 2)).convex_hull
    origin = Point(0.0, 0.0)
    if isinstance(differences, Polygon) and differences.contains(origin):
        return -differences.exterior.distance(origin)
    return differences.distance(origin)


def check_gap(
    got: tuple[float, float, float], points: np.ndarray, others: np.ndarray, radii: float, number: int
) -> None:
    gap, way_x, way_y = got
    assert gap == pytest.approx(gap_by_differences(points, others) - radii, abs=1e-12), number
    assert math.hypot(way_x, way_y) == pytest.approx(1.0), number
    # moved by −gap the two just touch
    moved = affinity.translate(shape(points), -gap * way_x, -gap * way_y)
    assert moved.distance(shape(others)) == pytest.approx(radii, abs=1e-9), number
    # and a hair further they are apart, so it is no touch from inside
    step = 1e-6 - gap
    clear = affinity.translate(shape(points), step * way_x, step * way_y)
    assert clear.distance(shape(others)) == pytest.approx(radii + 1e-6, abs=1e-9), number


def test_bodies_and_walls_against_shapely() -> None:
    rng = np.random.default_rng(30)
    seen = {"apart": 0, "rounding": 0, "core": 0}
    for number in range(2500):
        points, count, radius = random_body(rng)
        wall = random_wall(rng)
        got = contact.body_wall_gap(points, count, radius, *wall)
        check_gap(got, points[:count], np.array(wall).reshape(2, 2), radius, number)
        seen["apart" if got[0] > 0.0 else "rounding" if got[0] > -radius else "core"] += 1
    assert min(seen.values()) > 150, seen


def test_bodies_and_bodies_against_shapely() -> None:
    rng = np.random.default_rng(31)
    seen = {"apart": 0, "rounding": 0, "core": 0}
    for number in range(2500):
        points, count, radius = random_body(rng)
        others, other_count, other_radius = random_body(rng)
        got = contact.body_body_gap(points, count, radius, others, other_count, other_radius)
        radii = radius + other_radius
        check_gap(got, points[:count], others[:other_count], radii, number)
        back = contact.body_body_gap(others, other_count, other_radius, points, count, radius)
        assert back[0] == pytest.approx(got[0], abs=1e-12)
        seen["apart" if got[0] > 0.0 else "rounding" if got[0] > -radii else "core"] += 1
    assert min(seen.values()) > 250, seen


def test_the_discs_own_kernels_agree_with_those_for_bodies() -> None:
    rng = np.random.default_rng(32)
    for number in range(300):
        (x, y), (other_x, other_y) = rng.uniform(-0.05, 0.05, (2, 2))
        wall = random_wall(rng)
        got = contact.disc_wall_gap(x, y, 0.02, *wall)
        check_gap(got, np.array([[x, y]]), np.array(wall).reshape(2, 2), 0.02, number)
        got = contact.disc_disc_gap(x, y, 0.02, other_x, other_y, 0.03)
        check_gap(got, np.array([[x, y]]), np.array([[other_x, other_y]]), 0.05, number)


SQUARE = np.array([[-0.02, -0.02], [0.02, -0.02], [0.02, 0.02], [-0.02, 0.02]])


def test_exact_touches_have_a_direction() -> None:
    # a core's edge on the wall: the way between nearest points is nothing
    gap, way_x, way_y = contact.body_wall_gap(SQUARE, 4, 0.01, 0.02, -1.0, 0.02, 1.0)
    assert gap == pytest.approx(-0.01)
    assert (way_x, way_y) == pytest.approx((-1.0, 0.0))
    # a disc's centre on the wall, two discs in one place, two squares in one place
    gap, way_x, way_y = contact.disc_wall_gap(0.0, 0.0, 0.02, 0.0, -1.0, 0.0, 1.0)
    assert (gap, abs(way_x), way_y) == pytest.approx((-0.02, 1.0, 0.0))
    assert contact.disc_disc_gap(0.1, 0.1, 0.02, 0.1, 0.1, 0.03) == pytest.approx((-0.05, 1.0, 0.0))
    gap, way_x, way_y = contact.body_body_gap(SQUARE, 4, 0.0, SQUARE, 4, 0.0)
    assert gap == pytest.approx(-0.04)
    assert math.hypot(way_x, way_y) == pytest.approx(1.0)
    # two squares side by side, rounded by 5 mm each
    gap, way_x, way_y = contact.body_body_gap(SQUARE, 4, 0.005, SQUARE + np.array([0.04, 0.0]), 4, 0.005)
    assert (gap, way_x, way_y) == pytest.approx((-0.01, -1.0, 0.0))
    # a capsule that lies along the wall
    capsule = np.array([[0.0, -0.01], [0.0, 0.01]])
    gap, way_x, way_y = contact.body_wall_gap(capsule, 2, 0.01, 0.0, -1.0, 0.0, 1.0)
    assert (gap, abs(way_x), way_y) == pytest.approx((-0.01, 1.0, 0.0))
    # a wall of no length is a post
    gap, way_x, way_y = contact.body_wall_gap(SQUARE, 4, 0.0, 0.019, 0.0, 0.019, 0.0)
    assert (gap, way_x, way_y) == pytest.approx((-0.001, -1.0, 0.0))
    assert contact.disc_wall_gap(0.0, 0.0, 0.02, 0.0, 0.0, 0.0, 0.0) == pytest.approx((-0.02, 1.0, 0.0))


def wall_bend(
    root: tuple[float, float], tip: tuple[float, float], *rows: tuple[float, ...], height: float = 0.02
) -> float:
    walls = scenes.make_walls([row if len(row) == 5 else (*row, 0.1) for row in rows])  # type: ignore[misc]
    return whiskers.whisker_wall_bend(*root, *tip, height, walls, np.arange(len(walls)), len(walls))


def test_a_tip_goes_back_through_the_face_of_a_long_wall() -> None:
    wall = (0.04, -1.0, 0.04, 1.0)
    # head-on by what is cut off, at 60 degrees to the wall by its sine
    assert wall_bend((0.0, 0.0), (0.05, 0.0), wall) == pytest.approx(0.01)
    tip = (0.05, 0.05 / math.tan(math.radians(60.0)))
    assert wall_bend((0.0, 0.0), tip, wall) == pytest.approx(0.01)
    assert wall_bend((0.0, 0.0), (0.039, 0.0), wall) == 0.0
    # over a wall as high as the whisker, against one a little higher
    assert wall_bend((0.0, 0.0), (0.05, 0.0), wall, height=0.1) == 0.0
    assert wall_bend((0.0, 0.0), (0.05, 0.0), wall, height=0.099) == pytest.approx(0.01)
    # of two walls the nearer one bends more
    assert wall_bend((0.0, 0.0), (0.05, 0.0), wall, (0.03, -1.0, 0.03, 1.0)) == pytest.approx(0.02)


def test_a_side_push_moves_the_tip_as_the_bending_of_beams_has_it() -> None:
    length, along, push = 0.06, 0.025, 0.002

    def deflection(at: float) -> float:
        # Maxwell and Mohr's unit load: δ(at) = ∫ M m / EI, M = along − s under the load, m = at − s
        return quad(lambda s: (along - s) * (at - s), 0.0, min(along, at))[0]

    expected = push * deflection(length) / deflection(along)
    got = wall_bend((0.0, 0.0), (length, 0.0), (along, -1.0, along, push))
    assert got == pytest.approx(expected)
    mirrored = wall_bend((0.0, 0.0), (length, 0.0), (along, 1.0, along, -push))
    assert mirrored == pytest.approx(expected)


def test_walls_in_pieces_bend_as_whole_walls_do() -> None:
    rng = np.random.default_rng(33)
    bent = 0
    for _ in range(2500):
        tip = rng.uniform(-0.06, 0.06, 2)
        wall = random_wall(rng)
        whole = wall_bend((0.0, 0.0), tuple(tip), wall)
        ends = np.linspace(wall[:2], wall[2:], 5)
        pieces = [(*a, *b) if rng.random() < 0.5 else (*b, *a) for a, b in pairwise(ends)]
        order = rng.permutation(4)
        parts = wall_bend((0.0, 0.0), tuple(tip), *(pieces[i] for i in order))
        assert parts == pytest.approx(whole, rel=1e-6, abs=1e-9)
        touched = LineString([(0.0, 0.0), tip]).intersects(LineString([wall[:2], wall[2:]]))
        assert (whole > 0.0) == touched
        assert whole <= np.hypot(*tip)
        bent += touched
    assert bent > 150


def test_the_corner_of_a_tray_bends_no_less_than_the_tray_as_a_body() -> None:
    rng = np.random.default_rng(34)
    bent = 0
    for _ in range(1500):
        placed = np.zeros((4, 2))
        scenes.place_points(SQUARE, 4, *rng.uniform(0.03, 0.06, 2), rng.uniform(0.0, 6.0), placed)
        root, tip = (0.0, 0.0), tuple(rng.uniform(0.01, 0.06, 2))
        if Polygon(placed).distance(Point(root)) < 1e-3:
            continue
        tray = wall_bend(root, tip, *((*placed[i - 1], *placed[i]) for i in range(4)))
        body = whiskers.whisker_body_bend(*root, *tip, 0.02, placed, 4, 0.0, 0.1)
        assert (tray > 0.0) == (body > 0.0)
        assert body <= tray + 1e-12
        bent += body > 0.0
    assert bent > 300


def test_a_tray_at_a_planks_end_bends_by_its_farthest_corner() -> None:
    """Past a plank that ends at a tray's corner the wire has to go round the whole tray.

    It is pushed aside by e at c along it, so its tip moves by e (1 + 1.5 (L - c) / c); see whiskers.py.
    """
    plank = (0.05, -0.001, 0.05, 0.5)
    corners = [(0.05, -0.001), (0.045, -0.002), (0.048, -0.004)]
    edges = [(*corners[place - 1], *corners[place]) for place in range(3)]
    root, tip = (0.0, 0.0), (0.06, 0.0)

    def aside(x: float, y: float) -> float:
        return -y * (1.0 + 1.5 * (0.06 - x) / x)

    assert wall_bend(root, tip, plank) == pytest.approx(aside(*corners[0]))
    expected = max(aside(*corner) for corner in corners)
    assert expected > 3.0 * aside(*corners[0])
    for rows in ((plank, *edges), (*edges[::-1], plank)):
        assert wall_bend(root, tip, *rows) == pytest.approx(expected)


def test_a_wire_passes_over_a_low_body_and_one_of_no_length_does_not_bend() -> None:
    disc = np.array([[0.04, 0.0]])
    bend = whiskers.whisker_body_bend
    assert bend(0.0, 0.0, 0.06, 0.0, 0.02, disc, 1, 0.02, 0.021) > 0.0
    assert bend(0.0, 0.0, 0.06, 0.0, 0.02, disc, 1, 0.02, 0.02) == 0.0
    assert bend(0.04, 0.0, 0.04, 0.0, 0.02, disc, 1, 0.02, 0.03) == 0.0


def test_bodies_bend_whiskers_that_they_overlap_by_no_less_than_the_overlap() -> None:
    rng = np.random.default_rng(35)
    bent = 0
    for number in range(2000):
        points, count, radius = random_body(rng)
        root, tip = rng.uniform(-0.1, 0.1, (2, 2))
        core = shape(points[:count])
        if core.distance(Point(root)) < radius + 1e-4:
            continue
        got = whiskers.whisker_body_bend(*root, *tip, 0.02, points, count, radius, 0.03)
        wire = LineString([root, tip])
        overlap = radius - gap_by_differences(points[:count], np.array([root, tip]))
        if abs(overlap) < 1e-12:
            continue
        assert (got > 0.0) == (wire.distance(core) < radius or (radius == 0.0 and wire.intersects(core)))
        if got > 0.0:
            # No wire gets free by less than a rigid one would need, that may move as a whole.
            assert got >= min(overlap, wire.length) - 1e-12, number
            assert got <= wire.length + 1e-12
            bent += 1
        assert whiskers.whisker_body_bend(*root, *tip, 0.03, points, count, radius, 0.03) == 0.0
    assert bent > 300


def test_a_tip_that_pokes_a_disc_or_a_face_goes_straight_back() -> None:
    disc = np.array([[0.06, 0.0]])
    assert whiskers.whisker_body_bend(0.0, 0.0, 0.045, 0.0, 0.02, disc, 1, 0.02, 0.03) == pytest.approx(0.005)
    square = SQUARE + np.array([0.06, 0.0])
    # rounded by 5 mm: the face is at 35 mm
    assert whiskers.whisker_body_bend(0.0, 0.0, 0.037, 0.0, 0.02, square, 4, 0.005, 0.03) == pytest.approx(
        0.002
    )
    assert whiskers.whisker_body_bend(0.0, 0.0, 0.05, 0.0, 0.02, square, 4, 0.005, 0.03) == pytest.approx(
        0.015
    )
    # grazed from the side by 1 mm at two thirds of the wire: aside by 1 mm · (1 + 1.5 · ½)
    disc = np.array([[0.04, 0.019]])
    assert whiskers.whisker_body_bend(0.0, 0.0, 0.06, 0.0, 0.02, disc, 1, 0.02, 0.03) == pytest.approx(
        0.001 * 1.75
    )


def test_a_wires_bend_under_a_force_at_its_tip() -> None:
    force, length, diameter, modulus = 0.01, 0.06, 0.3e-3, 200e9
    # second moment of area by its definition, ∫ y² dA over a round section of diameter 2
    section = quad(lambda y: 2.0 * y * y * math.sqrt(1.0 - y * y), -1.0, 1.0)[0] * (diameter / 2) ** 4
    moment = quad(lambda s: force * (length - s) ** 2, 0.0, length)[0]
    bend = formulae.cantilever_bend(force, length, diameter, modulus)
    assert bend == pytest.approx(moment / (modulus * section), rel=1e-6)


def contact_figures() -> list[float]:
    """Gaps and bends of 60 random pairs, by every kernel."""
    rng = np.random.default_rng(36)
    figures: list[float] = []
    for _ in range(60):
        (points, count, radius), (others, other_count, other_radius) = random_body(rng), random_body(rng)
        rows = [random_wall(rng) for _ in range(3)]
        figures += contact.body_wall_gap(points, count, radius, *rows[0])
        figures += contact.body_body_gap(points, count, radius, others, other_count, other_radius)
        root, tip = (float(v) for v in rng.uniform(-0.1, 0.1, 2)), rng.uniform(-0.1, 0.1, 2)
        root = tuple(root)
        figures.append(wall_bend(root, tuple(tip), *rows))
        figures.append(whiskers.whisker_body_bend(*root, *tip, 0.02, points, count, radius, 0.03))
    return [float(figure) for figure in figures]


def test_compiled_and_plain_kernels_agree() -> None:
    program = (
        "import json; from tests.arena.engine import test_gaps as t\nprint(json.dumps(t.contact_figures()))"
    )
    plain = subprocess.run(
        [sys.executable, "-W", "error", "-c", program],
        env={
            **os.environ,
            "PHOTODROME_PLAIN": "1",
            "PYTHONPATH": str(Path(__file__).resolve().parents[3]),
        },
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    compiled = contact_figures()
    assert json.loads(plain.stdout) == pytest.approx(compiled, rel=1e-9, abs=1e-12)
    assert len(set(compiled)) > 300
