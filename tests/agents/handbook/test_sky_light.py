"""Light of sun and sky against clear-sky models of pvlib, tables of twilight, and the days of IES."""

import math
import warnings
from typing import Any

import numpy as np
import pytest

from agents.handbook.light_kinds import efficacy
from agents.handbook.sky_light import OKTAS, disc_illuminance, sky_illuminance

ELEVATIONS = np.arange(2.0, 90.0, 2.0)


def level(degrees: np.ndarray) -> np.ndarray:
    """Light [lx] of a clear day on a level surface, at the earth's mean distance (early in April)."""
    radians = np.radians(degrees)
    return disc_illuminance(radians, np.full(len(degrees), 93.0)) * np.sin(radians) + sky_illuminance(radians)


@pytest.fixture(scope="module")
def pvlib() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pvlib
    return pvlib


def test_a_clear_day_against_models_of_irradiance(pvlib: Any) -> None:
    # Ineichen and Perez (Solar Energy 73, 2002) in the air of Linke turbidity 2.5, and the simplified Solis
    # model (Ineichen, Solar Energy 82, 2008), each times the efficacy of sunlight: on level ground within 8 %
    # of both from 14 degrees on, the disc alone within 8 % of Solis from 18
    high = ELEVATIONS >= 14.0
    degrees = ELEVATIONS[high]
    air = pvlib.atmosphere.get_relative_airmass(90.0 - degrees)
    ineichen = pvlib.clearsky.ineichen(90.0 - degrees, air, 2.5, altitude=0, dni_extra=1361.0)
    solis = pvlib.clearsky.simplified_solis(degrees)
    per_watt = efficacy("sun")
    for model in (ineichen, solis):
        assert level(degrees) == pytest.approx(per_watt * np.asarray(model["ghi"]), rel=0.08)
    disc = disc_illuminance(np.radians(degrees), np.full(len(degrees), 93.0))
    steady = degrees >= 18.0
    assert disc[steady] == pytest.approx(per_watt * np.asarray(solis["dni"])[steady], rel=0.08)


def test_a_low_sun_is_told_brighter_than_it_is(pvlib: Any) -> None:
    # what DEVELOPERS.md says of it: the air of IES is flat, so that the disc sets too soon, while its sky
    # stays bright; together up to half more than Solis has at 6 degrees
    degrees = np.array([6.0, 10.0])
    solis = efficacy("sun") * np.asarray(pvlib.clearsky.simplified_solis(degrees)["ghi"])
    ratio = level(degrees) / solis
    assert 0.95 < ratio[1] < 1.1
    assert 1.0 < ratio[0] < 1.5


@pytest.mark.parametrize(
    ("degrees", "lux"),
    # end of civil and of nautical twilight, and level light with the upper edge of the sun on the horizon:
    # Explanatory Supplement to the Astronomical Almanac (Seidelmann 1992), from memory, rounded
    [(-6.0, 3.4), (-12.0, 0.008), (-0.833, 450.0)],
)
def test_twilight(degrees: float, lux: float) -> None:
    assert sky_illuminance(np.radians([degrees]))[0] == pytest.approx(lux, rel=0.1)


def test_light_never_leaps_but_at_the_horizon_and_only_grows() -> None:
    degrees = np.arange(-20.0, 90.0, 0.01)
    for cover in range(OKTAS + 1):
        light = sky_illuminance(np.radians(degrees), cover)
        # the cubics meet to within 2 %
        assert np.all(np.diff(light) >= -0.02 * light[:-1])
        assert np.all(np.diff(light[degrees > 0.0]) > 0.0)
        assert light[0] == 0.0
        near = np.abs(degrees) < 0.05
        assert light[near].max() / light[near].min() < 1.8
    disc = disc_illuminance(np.radians(degrees), np.full(len(degrees), 93.0))
    assert np.all(disc[degrees < 0.0] == 0.0)
    assert np.all(np.diff(disc[degrees > 0.0]) >= 0.0)


def test_the_sun_is_nearest_in_january() -> None:
    # eccentricity 0.0167: the light of perihelion is 6.9 % above that of aphelion (Astronomical Almanac)
    nearest, farthest = disc_illuminance(np.array([1.0, 1.0]), np.array([3.0, 185.0]))
    assert nearest / farthest == pytest.approx((1.0167 / 0.9833) ** 2, rel=0.003)


def test_clouds_by_the_skies_of_the_source() -> None:
    # IES: partly cloudy 0.3 + 45 sin h, cloudy 0.3 + 21 sin h [klx]
    half = np.array([math.radians(30.0)])
    assert sky_illuminance(half, 4)[0] == pytest.approx(22.8e3)
    assert sky_illuminance(half, 8)[0] == pytest.approx(10.8e3)
    assert sky_illuminance(half, 6)[0] == pytest.approx(16.8e3)
    # half covered, the sun is hidden half the time: in the mean what IES has for the disc of such a sky,
    # 127.5 exp(-0.80 / sin h) [klx], to a sixth while the sun is high
    high = np.radians(np.array([70.0, 90.0]))
    mean = 0.5 * disc_illuminance(high, np.array([93.0, 93.0]))
    assert mean == pytest.approx(127.5e3 * np.exp(-0.80 / np.sin(high)), rel=0.17)
