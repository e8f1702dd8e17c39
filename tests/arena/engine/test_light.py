"""Light and shadow against shapely, photometry's closed forms, and the same kernels uncompiled."""

import json
import math
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from shapely.geometry import LineString, Point

from agents.errors import InputError
from agents.handbook import formulae
from arena.engine import light, shadow
from arena.engine.assembly import longest_shadow
from arena.scene.records import wall_table
from tests.helpers import scenes


def make_table(rows: Sequence[tuple[float, float, float, float, float]]) -> np.ndarray:
    """Walls as the light kernels take them."""
    return wall_table(scenes.make_walls(rows))


NO_WALLS = make_table([])
NO_SHADES, NO_POINTS = scenes.make_shades([])
FEW = shadow.disc_points()
MANY = shadow.disc_points(4000)
UP = (0.0, 0.0, 1.0)


def open_light(*values: Any) -> float:
    """The kernel's light [lx], of the figures of a receiver and a source."""
    *receiver, source = values
    return light.open_light(light.Receiver(*receiver), source)


def visible_fraction(*values: Any) -> float:
    """The kernel's fraction, of a place, a source and the parts of what stands in the way."""
    px, py, pz, source, *standing = values
    return shadow.visible_fraction(px, py, pz, source, shadow.Standing(*standing))


def visible(
    at: tuple[float, float, float], source: np.void, walls: np.ndarray, samples: np.ndarray = MANY
) -> float:
    return visible_fraction(*at, source, walls, NO_SHADES, NO_POINTS, samples)


def ray_transmission(
    px: float,
    py: float,
    pz: float,
    qx: float,
    qy: float,
    qz: float,
    walls: np.ndarray,
    shades: np.ndarray,
    points: np.ndarray,
) -> float:
    """What gets through from a point Q to a point P, by the one ray that a point source is seen by."""
    lamp = scenes.make_lamp(qx, qy, qz, 1.0)
    return shadow.visible_fraction(px, py, pz, lamp, shadow.Standing(walls, shades, points, FEW))


def transmission(scene: scenes.Scene) -> float:
    lamp = [float(scene.source[name]) for name in ("x", "y", "z")]
    return ray_transmission(*scene.receiver, *lamp, *scene.standing)


def test_hard_shadows_of_a_thousand_scenes_agree_with_shapely() -> None:
    rng = np.random.default_rng(20)
    toss_ups = 0
    seen = {"open": 0, "stopped": 0, "shaded": 0}
    for number in range(1200):
        scene = scenes.random_scene(rng)
        expected, toss_up = scenes.passes_by_plan(scene)
        if toss_up:
            toss_ups += 1
            continue
        got = transmission(scene)
        assert got == pytest.approx(expected, abs=1e-12), number
        fraction = visible_fraction(*scene.receiver, scene.source, *scene.standing, FEW)
        assert fraction == got
        seen["open" if got == 1.0 else "stopped" if got == 0.0 else "shaded"] += 1
    assert toss_ups <= 2
    assert min(seen.values()) > 100, seen


def test_soft_shadows_of_a_thousand_scenes_agree_with_areas_by_shapely() -> None:
    rng = np.random.default_rng(21)
    partly = 0
    worst_few = 0.0
    for number in range(1000):
        scene = scenes.random_scene(rng, radius=rng.uniform(0.02, 0.15))
        expected = scenes.passes_by_area(scene)
        here = (*scene.receiver, scene.source, *scene.standing)
        # An edge misjudges at most the samples along it: about the root of their number.
        assert visible_fraction(*here, MANY) == pytest.approx(expected, abs=6e-3), number
        worst_few = max(worst_few, abs(visible_fraction(*here, FEW) - expected))
        partly += 1e-3 < expected < 1.0 - 1e-3
    assert partly > 200
    assert worst_few < 0.09


def test_the_first_pass_over_a_disc_changes_nothing() -> None:
    rng = np.random.default_rng(22)
    sorted_out = 0
    for number in range(1000):
        scene = scenes.random_scene(rng, radius=rng.uniform(0.005, 0.2))
        eye = np.array(scene.receiver)
        lamp = np.array([scene.source["x"], scene.source["y"], scene.source["z"]])
        way = lamp - eye
        level = np.array([-way[1], way[0], 0.0]) / math.hypot(way[0], way[1])
        up = np.cross(way, level) / np.linalg.norm(way)
        rays = [
            ray_transmission(
                *eye,
                *(lamp + scene.source["radius"] * (u * level + v * up)),
                *scene.standing,
            )
            for u, v in FEW
        ]
        got = visible_fraction(*eye, scene.source, *scene.standing, FEW)
        assert got == pytest.approx(np.mean(rays), abs=1e-9), number
        sorted_out += got in (0.0, 1.0)
    assert sorted_out > 300


def test_disc_points_share_out_the_area_of_the_disc() -> None:
    for count, usual, worst in ((32, 0.022, 0.09), (4000, 6e-4, 3e-3)):
        points = shadow.disc_points(count)
        assert points.shape == (count, 2)
        assert np.hypot(*points.T).max() < 1.0
        errors = []
        for edge in np.linspace(-0.99, 0.99, 67):
            # area of the unit disc's segment beyond a chord (any table of plane geometry)
            segment = (math.acos(edge) - edge * math.sqrt(1 - edge * edge)) / math.pi
            for angle in np.linspace(0.0, math.pi, 24):
                beyond = points @ [math.cos(angle), math.sin(angle)] > edge
                errors.append(np.mean(beyond) - segment)
        assert np.sqrt(np.mean(np.square(errors))) < usual
        assert np.max(np.abs(errors)) < worst


def test_borderline_rays_at_walls() -> None:
    wall = make_table([(0.0, -1.0, 0.0, 1.0, 0.1)])

    def ray(p: tuple[float, float, float], q: tuple[float, float, float]) -> float:
        return ray_transmission(*p, *q, wall, NO_SHADES, NO_POINTS)

    assert ray((-1.0, 0.0, 0.05), (1.0, 0.0, 0.05)) == 0.0
    # at exactly the height, and a hair below
    assert ray((-1.0, 0.0, 0.1), (1.0, 0.0, 0.1)) == 1.0
    assert ray((-1.0, 0.0, 0.1), (1.0, 0.0, 0.0999)) == 0.0
    # along the wall, within it and beyond its end
    assert ray((0.0, -0.5, 0.05), (0.0, 0.5, 0.05)) == 1.0
    assert ray((0.0, -2.0, 0.05), (0.0, 2.0, 0.05)) == 1.0
    # through an end, from either side
    assert ray((-1.0, 1.0, 0.05), (1.0, 1.0, 0.05)) == 0.0
    assert ray((1.0, -1.0, 0.05), (-1.0, -1.0, 0.05)) == 0.0
    # on the wall: sees to both sides; a lamp on the wall shines to both
    assert ray((0.0, 0.0, 0.05), (1.0, 0.3, 0.05)) == 1.0
    assert ray((0.0, 0.0, 0.05), (-1.0, 0.3, 0.05)) == 1.0
    assert ray((-1.0, 0.3, 0.05), (0.0, 0.0, 0.05)) == 1.0
    # straight up, and up from the very wall
    assert ray((-0.1, 0.0, 0.0), (-0.1, 0.0, 1.0)) == 1.0
    assert ray((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)) == 1.0


def test_no_light_leaks_through_the_corner_of_two_walls() -> None:
    rng = np.random.default_rng(23)
    for _ in range(2000):
        x, y = rng.uniform(-0.5, 0.5, 2)
        walls = make_table([(x - 1.0, y - 0.3, x, y, 0.2), (x, y, x + 1.0, y - 0.4, 0.2)])
        px, py = x + rng.uniform(-0.1, 0.1), y - 0.5
        # aimed at the corner as exactly as floats allow, and as far again beyond it
        through = ray_transmission(px, py, 0.05, 2 * x - px, 2 * y - py, 0.05, walls, NO_SHADES, NO_POINTS)
        assert through == 0.0


def test_borderline_rays_at_shades() -> None:
    squares = [
        ([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)], 0.2, 0.5),
        ([(1.0, 0.0), (2.0, 0.0), (2.0, 1.0), (1.0, 1.0)], 0.2, 0.5),
    ]
    shades, points = scenes.make_shades(squares)

    def straight_up(x: float, y: float, z: float) -> float:
        return ray_transmission(x, y, z, x, y, 1.0, NO_WALLS, shades, points)

    assert straight_up(0.5, 0.5, 0.1) == 0.5
    assert straight_up(0.5, 0.5, 0.2) == 1.0
    assert straight_up(0.5, 0.5, 0.3) == 1.0
    # on the shared edge exactly one of the two is pierced
    assert straight_up(1.0, 0.5, 0.1) == 0.5
    # from below a lamp that hangs in the shade's plane, and a ray within the plane
    assert ray_transmission(0.5, 0.5, 0.1, 0.5, 0.5, 0.2, NO_WALLS, shades, points) == 1.0
    assert ray_transmission(-1.0, 0.5, 0.2, 3.0, 0.5, 0.2, NO_WALLS, shades, points) == 1.0


def soft_edge(fraction_at: object, low: float, high: float) -> float:
    """Width of the part of low .. high over which the fraction goes from 0 to 1."""
    places = np.linspace(low, high, 4001)
    fractions = np.array([fraction_at(place) for place in places])  # type: ignore[operator]
    assert fractions[0] == 0.0
    assert fractions[-1] == 1.0
    partly = places[(fractions > 0.0) & (fractions < 1.0)]
    return float(partly[-1] - partly[0])


@pytest.mark.parametrize("behind", [0.2, 1.0, 3.0])
def test_the_suns_soft_edge_on_a_plane_square_to_its_rays(behind: float) -> None:
    # The sun's mean width of 0.533° (2 atan(R/d) at 1 astronomical unit) is 0.0093 rad.
    sun = scenes.make_sun(0.0, 0.0, 1e4)
    wall = make_table([(0.0, -5.0, 0.0, 0.0, 9.0)])
    width = soft_edge(lambda y: visible((-behind, y, 0.5), sun, wall), -0.03 * behind, 0.03 * behind)
    assert width == pytest.approx(0.0093 * behind, rel=0.02)


@pytest.mark.parametrize("degrees", [20.0, 45.0, 70.0])
def test_the_suns_soft_edge_along_the_floor(degrees: float) -> None:
    elevation = math.radians(degrees)
    sun = scenes.make_sun(0.0, elevation, 1e4)
    height = 0.3
    wall = make_table([(0.0, -9.0, 0.0, 9.0, height)])
    edge = height / math.tan(elevation)
    # Distance behind the edge is height / sin, the floor lies askew to the rays by another sin.
    expected = 0.0093 * height / math.sin(elevation) ** 2
    width = soft_edge(lambda x: visible((-x, 0.0, 0.0), sun, wall), edge - expected, edge + expected)
    assert width == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize(("before", "behind"), [(1.0, 0.5), (1.0, 2.0), (0.5, 0.5)])
def test_the_soft_edge_of_a_lamp(before: float, behind: float) -> None:
    diameter = 0.02
    lamp = scenes.make_lamp(before, 0.0, 0.5, 10.0, diameter / 2)
    wall = make_table([(0.0, -5.0, 0.0, 0.0, 9.0)])
    expected = diameter * behind / before
    width = soft_edge(lambda y: visible((-behind, y, 0.5), lamp, wall), -expected, expected)
    assert width == pytest.approx(expected, rel=0.02)


def test_inverse_square_and_cosine() -> None:
    # Figures as handbooks of photometry give them: 100 cd at 2 m gives 25 lx, at 30° incidence 21.65 lx.
    lamp = scenes.make_lamp(0.0, 0.0, 2.0, 100.0)
    assert open_light(0.0, 0.0, 0.0, *UP, 1.0, lamp) == pytest.approx(25.0)
    tilt = math.radians(30.0)
    tilted = open_light(0.0, 0.0, 0.0, math.sin(tilt), 0.0, math.cos(tilt), 1.0, lamp)
    assert tilted == pytest.approx(21.65, abs=0.01)
    # Lamp 3 m up and 4 m off to the side: E = I cos³ / h².
    aside = scenes.make_lamp(4.0, 0.0, 3.0, 1000.0)
    assert open_light(0.0, 0.0, 0.0, *UP, 1.0, aside) == pytest.approx(1000.0 * 0.6**3 / 9.0)


def test_nothing_comes_from_behind_nor_from_the_lamp_itself() -> None:
    lamp = scenes.make_lamp(0.0, 0.0, 1.0, 100.0)
    assert open_light(0.0, 0.0, 2.0, *UP, 1.0, lamp) == 0.0
    assert open_light(0.0, 0.0, 1.0, *UP, 1.0, lamp) == 0.0
    assert open_light(0.0, 0.0, 2.0, *UP, 4.8, lamp) == 0.0


def test_a_disc_is_seen_from_its_own_middle() -> None:
    """There no way leads to it, so no wall can stand in one; on the floor below, the wall hides it."""
    lamp = scenes.make_lamp(0.0, 0.0, 0.05, 100.0, 0.01)
    walls = make_table([(0.005, -0.1, 0.005, 0.1, 0.2), (0.03, -0.1, 0.03, 0.1, 0.2)])
    assert visible((0.0, 0.0, 0.05), lamp, walls) == 1.0
    assert visible((0.1, 0.0, 0.0), lamp, walls) == 0.0


def test_a_beam_narrows_and_has_no_back() -> None:
    beam = formulae.lobe_exponent(math.radians(20.0))
    lamp = scenes.make_lamp(0.0, 0.0, 1.0, 100.0, beam=beam)
    off = math.tan(math.radians(20.0))
    lit = open_light(off, 0.0, 0.0, *UP, 1.0, lamp)
    unbeamed = open_light(off, 0.0, 0.0, *UP, 1.0, scenes.make_lamp(0.0, 0.0, 1.0, 100.0))
    assert lit / unbeamed == pytest.approx(0.5)
    assert open_light(0.0, 0.0, 2.0, 0.0, 0.0, -1.0, 1.0, lamp) == 0.0
    assert open_light(0.0, 0.0, 2.0, 0.0, 0.0, -1.0, 1.0, scenes.make_lamp(0, 0, 1.0, 100.0)) == 100.0


def test_the_sun_does_not_fall_off() -> None:
    sun = scenes.make_sun(1.0, math.radians(30.0), 1e5)
    near, far = (open_light(x, 0.0, 0.0, *UP, 1.0, sun) for x in (0.0, 5.0))
    assert near == pytest.approx(5e4)
    assert far == pytest.approx(near, rel=1e-5)


@pytest.mark.parametrize(("degrees", "exponent"), [(60.0, 1.0), (45.0, 2.0), (30.0, 4.82), (10.0, 45.3)])
def test_acceptance_lobes(degrees: float, exponent: float) -> None:
    # Kahn and Barry, Proceedings of the IEEE 85 (1997): m = −ln 2 / ln cos(half angle).
    power = formulae.lobe_exponent(math.radians(degrees))
    assert power == pytest.approx(exponent, rel=1e-3)
    lamp = scenes.make_lamp(2.0, 0.0, 0.0, 100.0)
    turn = math.radians(degrees)
    ahead = open_light(0.0, 0.0, 0.0, 1.0, 0.0, 0.0, power, lamp)
    aside = open_light(0.0, 0.0, 0.0, math.cos(turn), math.sin(turn), 0.0, power, lamp)
    assert ahead == pytest.approx(25.0)
    assert aside / ahead == pytest.approx(0.5)


@pytest.mark.parametrize("half_angle", [0.0, -0.1, math.pi / 2, math.nan, math.inf])
def test_impossible_lobes_are_refused(half_angle: float) -> None:
    with pytest.raises(InputError, match="half angle"):
        formulae.lobe_exponent(half_angle)


@pytest.mark.parametrize("power", [1.0, 2.0, 4.82, 45.3])
def test_share_of_uniform_surroundings_is_the_sum_of_lamps_all_round(power: float) -> None:
    # lamps on a sphere, each for an equal part of it, stand for uniform surroundings
    steps = 20_000
    z = 1.0 - 2.0 * (np.arange(steps) + 0.5) / steps
    angle = np.arange(steps) * math.pi * (3.0 - math.sqrt(5.0))
    places = np.column_stack([np.sqrt(1 - z * z) * np.cos(angle), np.sqrt(1 - z * z) * np.sin(angle), z])
    lamps = [scenes.make_lamp(*place, 1.0) for place in places]
    flat = sum(open_light(0.0, 0.0, 0.0, *UP, 1.0, lamp) for lamp in lamps)
    lobe = sum(open_light(0.0, 0.0, 0.0, 0.6, 0.0, 0.8, power, lamp) for lamp in lamps)
    assert light.ambient_share(power) == pytest.approx(lobe / flat, rel=2e-3)


def bodies(*rows: tuple[float, float, float, float]) -> tuple[np.ndarray, ...]:
    return tuple(np.array(column, dtype=np.float64) for column in zip(*rows, strict=True))


def past_bodies(p: tuple, q: tuple, table: tuple[np.ndarray, ...], skip: int = -1) -> float:
    hidden = [
        shadow.body_hides(shadow.Ray(*p, *np.subtract(q, p)), shadow.Cylinder(*one))
        for number, one in enumerate(zip(*table, strict=True))
        if number != skip
    ]
    return 0.0 if any(hidden) else 1.0


def test_bodies_shade_as_shapely_finds_it() -> None:
    rng = np.random.default_rng(24)
    seen = {0.0: 0, 1.0: 0}
    for number in range(1500):
        table = bodies((*rng.uniform(-0.1, 0.1, 2), rng.uniform(0.02, 0.15), rng.uniform(0.03, 0.2)))
        p = (*rng.uniform(-0.4, 0.4, 2), rng.uniform(0.0, 0.08))
        q = (*rng.uniform(-0.6, 0.6, 2), rng.uniform(0.02, 0.4))
        x, y, radius, height = (float(column[0]) for column in table)
        if math.hypot(p[0] - x, p[1] - y) <= radius:
            continue
        ray = LineString([p[:2], q[:2]])
        inner = ray.intersection(Point(x, y).buffer(radius, quad_segs=2000))
        expected = 1.0
        if not inner.is_empty:
            heights = [
                p[2] + (q[2] - p[2]) * Point(p[:2]).distance(Point(end)) / ray.length for end in inner.coords
            ]
            if abs(min(heights) - height) < 1e-5:
                continue
            expected = float(min(heights) > height)
        elif abs(ray.distance(Point(x, y)) - radius) < 1e-6:
            continue
        got = past_bodies(p, q, table)
        assert got == expected, number
        seen[got] += 1
    assert min(seen.values()) > 100


def test_a_receiver_is_not_shaded_by_its_own_body_nor_by_one_below_it() -> None:
    table = bodies((0.0, 0.0, 0.03, 0.04), (0.2, 0.0, 0.03, 0.04))
    lamp = (1.0, 0.0, 0.05)
    assert past_bodies((0.0, 0.0, 0.02), lamp, table, skip=0) == 0.0
    assert past_bodies((0.0, 0.0, 0.045), lamp, table) == 1.0
    assert past_bodies((0.2, 0.0, 0.02), lamp, table, skip=1) == 1.0
    # low eye over the rim of a neighbour: shaded towards its middle, not away from it
    assert past_bodies((0.175, 0.0, 0.02), lamp, table) == 0.0
    assert past_bodies((0.225, 0.0, 0.02), lamp, table) == 1.0
    # above a body, the lamp lower than its top on the far side
    assert past_bodies((0.2, 0.0, 0.05), (1.0, 0.0, 0.0), table) == 1.0
    assert past_bodies((0.2, 0.0, 0.041), (0.3, 0.0, 0.0), table) == 0.0


def reach_of(source: np.void, eye: tuple[float, float, float], height: float) -> float:
    """How far off a body can shade an eye, on a floor that goes from there to below the source."""
    floor = np.array([eye[:2], (source["x"], source["y"])])
    return longest_shadow(SimpleNamespace(floor=floor, sources=np.array([source])), eye[2], height)


def test_no_body_shades_from_beyond_the_shadows_reach() -> None:
    rng = np.random.default_rng(25)
    shaded = 0
    closest = math.inf
    for _ in range(3000):
        p = (0.0, 0.0, rng.uniform(0.0, 0.06))
        lamp = scenes.make_lamp(*rng.uniform(-0.5, 0.5, 2), rng.uniform(0.01, 0.5), 1.0)
        q = tuple(float(lamp[name]) for name in ("x", "y", "z"))
        height = 0.05
        reach = reach_of(lamp, p, height)
        x, y = rng.uniform(-0.15, 0.15, 2)
        if past_bodies(p, q, bodies((x, y, 0.03, height))) == 0.0:
            shaded += 1
            margin = reach - (math.hypot(x, y) - 0.03)
            assert margin > -1e-12
            closest = min(closest, margin)
    assert shaded > 100
    # and the reach is no further than it must be
    assert closest < 0.01


def test_the_suns_shadow_reaches_height_over_tangent() -> None:
    sun = scenes.make_sun(0.3, math.radians(30.0), 1e5)
    reach = reach_of(sun, (0.0, 0.0, 0.01), 0.05)
    assert reach == pytest.approx(0.04 / math.tan(math.radians(30.0)), rel=1e-6)


def test_a_map_is_light_cell_by_cell_for_any_number_of_threads() -> None:
    scene = scenes.random_scene(np.random.default_rng(26), radius=0.05)
    sun = scenes.make_sun(0.7, 0.6, 2e4)
    sources = np.array([scene.source, sun], dtype=sun.dtype)
    here = light.Lights(sources, np.array([1.0, 0.5]), 40.0), shadow.Standing(*scene.standing, FEW)
    one = light.light_map((-1.0, -0.5, 1.0, 0.5), 0.1, 0.01, *here)
    three = light.light_map((-1.0, -0.5, 1.0, 0.5), 0.1, 0.01, *here, threads=3)
    assert one.shape == (10, 20)
    assert np.array_equal(one, three)
    for row, column in ((0, 0), (3, 7), (9, 19)):
        x, y = -1.0 + (column + 0.5) * 0.1, -0.5 + (row + 0.5) * 0.1
        expected = 40.0
        for source, weight in zip(sources, (1.0, 0.5), strict=True):
            share = visible_fraction(x, y, 0.01, source, *scene.standing, FEW)
            expected += weight * share * open_light(x, y, 0.01, *UP, 1.0, source)
        assert one[row, column] == pytest.approx(expected)


def test_a_map_covers_floors_that_are_no_whole_number_of_cells() -> None:
    lights = light.Lights(np.zeros(0, scenes.SOURCE), np.zeros(0), 7.0)
    here = lights, shadow.Standing(NO_WALLS, NO_SHADES, NO_POINTS, FEW)
    assert light.light_map((0.0, 0.0, 0.3, 0.1), 0.1, 0.0, *here).shape == (1, 3)
    assert light.light_map((0.0, 0.0, 0.31, 0.05), 0.1, 0.0, *here).shape == (1, 4)


def light_figures() -> list[float]:
    """Light in 40 scenes, by every kernel that an eye's light runs through."""
    rng = np.random.default_rng(27)
    figures = []
    for number in range(40):
        scene = scenes.random_scene(rng, radius=0.1 * (number % 2))
        here = shadow.Standing(*scene.standing, FEW)
        receiver = light.Receiver(*scene.receiver, *UP, 2.5)
        for source in (scene.source, scenes.make_sun(rng.uniform(0, 6), rng.uniform(0.05, 1.5), 1e4)):
            figures.append(light.direct_illuminance(receiver, source, here))
        figures.append(transmission(scene))
        p, q = (*rng.uniform(-0.1, 0.1, 2), 0.02), (0.5, 0.2, rng.uniform(0.03, 0.2))
        figures.append(past_bodies(p, q, bodies((0.0, 0.0, 0.05, 0.04), (0.2, 0.1, 0.05, 0.05))))
    return [float(figure) for figure in figures]


def test_compiled_and_plain_kernels_agree() -> None:
    program = (
        "import json; from tests.arena.engine import test_light as t; print(json.dumps(t.light_figures()))"
    )
    plain = subprocess.run(
        [sys.executable, "-W", "error", "-c", program],
        env={**os.environ, "PHOTODROME_PLAIN": "1", "PYTHONPATH": str(Path(__file__).resolve().parents[3])},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    compiled = light_figures()
    assert json.loads(plain.stdout) == pytest.approx(compiled, rel=1e-12, abs=1e-12)
    assert len(set(compiled)) > 60
