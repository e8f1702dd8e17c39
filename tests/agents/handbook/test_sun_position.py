"""The sun's place against NREL/TP-560-34302 (Reda and Andreas 2004), by its example and as pvlib has it."""

import math
import warnings
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from agents.handbook.sun_position import seconds_of, solar_hour, sun_position

EPOCH = datetime(2000, 1, 1, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def pvlib() -> Any:
    # It imports optional parts that warn on their own account.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pvlib
    return pvlib


def test_the_example_of_the_report() -> None:
    # NREL/TP-560-34302, appendix A.5: 12:30:30 on 17 October 2003 at UTC-7, 39.742476 N, 105.1786 W, in
    # air of 820 mbar, where refraction is a fifth less than at sea level
    seconds = seconds_of(date(2003, 10, 17)) + np.array([(12 + 7) * 3600.0 + 30 * 60.0 + 30.0])
    found = sun_position(seconds, math.radians(39.742476), math.radians(-105.1786))
    assert math.degrees(found.apparent[0]) == pytest.approx(90.0 - 50.11162, abs=0.01)
    assert math.degrees(found.azimuth[0]) == pytest.approx(194.34024, abs=0.01)


# Poles, the polar circles, the equator, both tropics, and the date line from either side.
PLACES = [
    (90.0, 0.0),
    (-90.0, 0.0),
    (78.2, 15.6),
    (66.56, -179.9),
    (47.4, 8.5),
    (23.44, 179.9),
    (0.0, -78.5),
    (-23.44, 133.9),
    (-54.8, -68.3),
]


@pytest.mark.parametrize(("latitude", "longitude"), PLACES)
def test_a_century_at_many_places(pvlib: Any, latitude: float, longitude: float) -> None:
    # as good as Michalsky says, 0.01 degrees, and the rounding of that
    import pandas as pd

    days = np.linspace(0.0, 36_500.0, 400) + np.linspace(0.0, 1.0, 400) ** 2
    times = [datetime(1950, 1, 2, tzinfo=UTC) + timedelta(days=day) for day in days]
    index = pd.DatetimeIndex(times)
    known = pvlib.solarposition.spa_python(
        index, latitude, longitude, pressure=101000, temperature=10, delta_t=None
    )
    seconds = np.array([(time - EPOCH).total_seconds() for time in times])
    found = sun_position(seconds, math.radians(latitude), math.radians(longitude))
    elevation = known["elevation"].to_numpy()
    assert np.degrees(found.elevation) == pytest.approx(elevation, abs=0.012)
    clear = elevation > -0.2
    apparent = known["apparent_elevation"].to_numpy()
    assert np.degrees(found.apparent)[clear] == pytest.approx(apparent[clear], abs=0.015)
    # as an angle in the sky, since near the zenith and at a pole the compass turns fast
    turned = (np.degrees(found.azimuth) - known["azimuth"].to_numpy() + 180.0) % 360.0 - 180.0
    assert np.abs(turned * np.cos(found.elevation)).max() < 0.012


def test_refraction_lifts_a_sun_that_is_about_to_set_by_its_own_width() -> None:
    # 34' on the horizon: the figure by which almanacs reckon rising and setting; higher up as by Bennett
    # (Journal of Navigation 35, 1982), to a quarter of a minute of arc
    seconds = seconds_of(date(2026, 3, 20)) + np.arange(0.0, 86400.0, 10.0)
    found = sun_position(seconds, 0.0, 0.0)
    lift, degrees = 60.0 * np.degrees(found.apparent - found.elevation), np.degrees(found.apparent)
    low = np.abs(degrees) < 0.05
    assert np.any(low)
    assert lift[low] == pytest.approx(34.0, abs=1.5)
    high = (degrees > 3.0) & (degrees < 80.0)
    bennett = 1.0 / np.tan(np.radians(degrees[high] + 7.31 / (degrees[high] + 4.4)))
    assert lift[high] == pytest.approx(bennett, abs=0.25)
    # what has set does not come up again
    assert np.all(found.apparent[found.elevation < math.radians(-0.833)] < 0.0)


def test_the_hour_of_the_sun() -> None:
    noon = seconds_of(date(2026, 6, 21)) + np.array([43200.0])
    assert solar_hour(noon, 0.0)[0] == pytest.approx(12.0)
    assert solar_hour(noon, math.radians(15.0))[0] == pytest.approx(13.0)
    assert solar_hour(noon, math.radians(-180.0))[0] == pytest.approx(0.0, abs=1e-9)
