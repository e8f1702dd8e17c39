"""Flat discs against numerical integration, closed forms of the heat transfer books, and areas by shapely."""

import math

import numpy as np
import pytest
from numpy.polynomial.legendre import leggauss

from arena.engine import light, shadow
from arena.engine.light import Receiver
from arena.scene.records import FLAT, MATT, ROUND
from tests.helpers import scenes

UP = (0.0, 0.0, 1.0)
DOWN = (0.0, 0.0, -1.0)
FEW = shadow.disc_points()
MANY = shadow.disc_points(4000)


def unit(vector: np.ndarray) -> np.ndarray:
    return vector / np.linalg.norm(vector)


def matt(height: float, radius: float, candela: float = 100.0) -> np.void:
    """A matt disc that hangs level above the origin."""
    return scenes.make_lamp(0.0, 0.0, height, candela, radius, DOWN, 1.0, MATT)


def integrated(place: np.ndarray, look: np.ndarray, power: float, source: np.void) -> float:
    """Light [lx] of a flat disc by Gauss' rule along its radius and even steps round it, straight down."""
    face, aim, middle = (
        np.array([source[f"{name}{axis}"] for axis in "xyz"]) for name in ("face_", "aim_", "")
    )
    one = unit(np.cross(face, np.eye(3)[np.argmin(np.abs(face))]))
    other = np.cross(face, one)
    nodes, weights = leggauss(40)
    radius = source["radius"] * 0.5 * (nodes + 1.0)
    angles = np.arange(120) * 2.0 * math.pi / 120
    turn = np.cos(angles)[:, None] * one + np.sin(angles)[:, None] * other
    way = middle + radius[:, None, None] * turn - place
    distance = np.linalg.norm(way, axis=2)
    seen = np.maximum(way @ look / distance, 0.0) ** power
    given = np.maximum(-(way @ aim) / distance, 0.0) ** source["beam"]
    mean = np.mean(seen * given / distance**2, axis=1)
    return float(source["intensity"] * np.sum(weights * radius * mean) / np.sum(weights * radius))


@pytest.mark.parametrize("distance", [0.02, 0.1, 0.4, 2.0])
def test_on_the_axis_of_a_matt_disc(distance: float) -> None:
    """E = I / (a^2 + h^2), as handbooks have it, and within 1 % of I / h^2 five diameters off."""
    got = light.open_light(Receiver(0.0, 0.0, 0.0, *UP, 1.0), matt(distance, 0.04))
    assert got == pytest.approx(100.0 / (0.04**2 + distance**2), rel=1e-12)
    if distance >= 10 * 0.04:
        assert got == pytest.approx(100.0 / distance**2, rel=0.0101)


def test_a_wide_matt_disc_is_a_ceiling() -> None:
    """Under a disc without end the light is pi times its luminance, wherever one stands."""
    luminance = 50.0
    lamp = matt(0.3, 30.0, luminance * math.pi * 30.0**2)
    for x in (0.0, 5.0, 20.0):
        got = light.open_light(Receiver(x, 0.0, 0.0, *UP, 1.0), lamp)
        assert got == pytest.approx(math.pi * luminance, rel=1e-3)


@pytest.mark.parametrize("height", [0.01, 0.05, 0.3])
def test_all_that_a_matt_disc_gives_arrives_on_a_floor(height: float) -> None:
    """Its flux is pi I (Lambert), and all of it comes through a plane before it."""
    lamp = matt(height, 0.04)
    nodes, weights = leggauss(400)
    angle = 0.25 * math.pi * (nodes + 1.0)
    off = height * np.tan(angle)
    span = 0.25 * math.pi * weights * height / np.cos(angle) ** 2
    rows = [light.open_light(Receiver(x, 0.0, 0.0, *UP, 1.0), lamp) for x in off]
    assert np.sum(2.0 * math.pi * off * span * rows) == pytest.approx(math.pi * 100.0, rel=1e-3)


def test_the_disc_against_integrals_over_it() -> None:
    """Whatever its beam, its lean and the receiver's lobe, near by and far off."""
    rng = np.random.default_rng(31)
    worst = {"closed form": 0.0, "far": 0.0, "near": 0.0}
    counts = dict.fromkeys(worst, 0)
    for number in range(600):
        face = unit(rng.normal(size=3))
        form = FLAT if number % 2 else MATT
        aim = unit(face + 0.3 * rng.normal(size=3)) if form == FLAT else face
        beam = rng.uniform(0.5, 8.0) if form == FLAT else 1.0
        lamp = scenes.make_lamp(0.0, 0.0, 0.0, 50.0, 0.04, tuple(aim), beam, form, tuple(face))
        distance = 0.04 * rng.uniform(1.26, 3.0) ** 3
        place = distance * unit(face + 0.6 * rng.normal(size=3))
        if place @ face < 0.2 * distance:
            continue
        look = unit(0.4 * rng.normal(size=3) - unit(place))
        power = 1.0 if number % 4 < 2 else rng.uniform(0.5, 5.0)
        got = light.open_light(Receiver(*place, *look, power), lamp)
        expected = integrated(place, look, power, lamp)
        leaning = 0.04 * math.sqrt(1.0 - float(look @ face) ** 2)
        sort = "far" if distance > 0.4 else "near"
        if form == MATT and power == 1.0 and -float(place @ look) > leaning:
            sort = "closed form"
        counts[sort] += 1
        worst[sort] = max(worst[sort], abs(got - expected) / (50.0 / distance**2))
    assert min(counts.values()) > 60, counts
    assert worst["closed form"] < 1e-9
    assert worst["far"] < 1e-3
    # the mean of 64 points, from a diameter off on, before a disc that the receiver's plane may cut
    assert worst["near"] < 0.02


def test_a_flat_disc_has_a_back() -> None:
    lamp = matt(1.0, 0.04)
    assert light.open_light(Receiver(0.0, 0.0, 1.5, *DOWN, 1.0), lamp) == 0.0
    assert light.open_light(Receiver(0.2, 0.0, 1.0, -1.0, 0.0, 0.0, 1.0), lamp) == 0.0
    globe = scenes.make_lamp(0.0, 0.0, 1.0, 100.0, 0.04)
    assert light.open_light(Receiver(0.0, 0.0, 1.5, *DOWN, 1.0), globe) == pytest.approx(400.0)


def test_a_matt_globe_is_what_a_round_lamp_is() -> None:
    """The light of a matt globe is I / d^2 times the cosine, from its centre, close before it too."""
    radius, distance = 0.04, 0.1
    # discs on the globe, each for an equal part of it
    steps = 200_000
    z = 1.0 - 2.0 * (np.arange(steps) + 0.5) / steps
    angle = np.arange(steps) * math.pi * (3.0 - math.sqrt(5.0))
    out = np.column_stack([np.sqrt(1 - z * z) * np.cos(angle), np.sqrt(1 - z * z) * np.sin(angle), z])
    look = np.array([math.sin(0.5), 0.0, math.cos(0.5)])
    way = radius * out + np.array([0.0, 0.0, distance])
    square = np.sum(way**2, axis=1)
    leaving = np.maximum(-np.sum(way * out, axis=1), 0.0)
    arriving = np.maximum(way @ look, 0.0)
    # of a luminance of 1 / (pi radius^2), whose intensity is 1
    got = 4.0 * np.mean(leaving * arriving / square**2)
    globe = scenes.make_lamp(0.0, 0.0, distance, 1.0, radius)
    expected = light.open_light(Receiver(0.0, 0.0, 0.0, *look, 1.0), globe)
    assert got == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("sort", ["level", "askew"])
def test_soft_shadows_of_flat_discs_agree_with_areas_by_shapely(sort: str) -> None:
    rng = np.random.default_rng(32)
    partly = 0
    apart = 0.0
    for number in range(500):
        scene = scenes.random_scene(rng, radius=rng.uniform(0.02, 0.15))
        face = np.array(DOWN) if sort == "level" else unit(rng.normal(size=3) - [0.0, 0.0, 0.5])
        way = np.array(scene.receiver) - [scene.source[name] for name in ("x", "y", "z")]
        # a receiver close to the disc's plane sees but a line
        if way @ face < 0.1:
            continue
        round_one = shadow.visible_fraction(
            *scene.receiver, scene.source, shadow.Standing(*scene.standing, MANY)
        )
        scene.source["form"] = MATT
        for name, value in zip(("face_x", "face_y", "face_z"), face, strict=True):
            scene.source[name] = value
        expected = scenes.passes_by_area(scene)
        got = shadow.visible_fraction(*scene.receiver, scene.source, shadow.Standing(*scene.standing, MANY))
        assert got == pytest.approx(expected, abs=6e-3), number
        few = shadow.visible_fraction(*scene.receiver, scene.source, shadow.Standing(*scene.standing, FEW))
        assert few == pytest.approx(expected, abs=0.09), number
        partly += 1e-3 < expected < 1.0 - 1e-3
        apart = max(apart, abs(got - round_one))
    assert partly > 50
    # which is more than nothing
    assert apart > 0.1


def test_how_far_a_level_disc_throws_soft_edges() -> None:
    """Seen at 45 degrees, its width up and down is less by the root of two than a round one's."""
    wall = np.array([[0.5], [-5.0], [0.5], [5.0], [0.5]])
    none, points = scenes.make_shades([])
    widths = {}
    for form in (ROUND, MATT):
        lamp = scenes.make_lamp(1.0, 0.0, 1.0, 1.0, 0.04, DOWN, 1.0, form)
        places = np.linspace(-0.1, 0.1, 2001)
        seen = np.array(
            [
                shadow.visible_fraction(0.0, 0.0, z, lamp, shadow.Standing(wall, none, points, MANY))
                for z in places
            ]
        )
        partly = places[(seen > 0.0) & (seen < 1.0)]
        widths[form] = partly[-1] - partly[0]
    # the edge is half way, so a disc that is h high as seen from there makes an edge as high
    assert widths[ROUND] == pytest.approx(0.08 * math.sqrt(2.0), rel=0.03)
    assert widths[MATT] == pytest.approx(0.08, rel=0.03)
