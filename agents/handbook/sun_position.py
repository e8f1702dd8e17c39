"""Where the sun stands, from place and time.

The low-precision formulae of the Astronomical Almanac as J. J. Michalsky wrote them down (Solar Energy 40,
1988, with its errata): good to 0.01 degrees from 1950 to 2050. Refraction by T. Sæmundsson (Sky and Telescope
72, 1986), good to 0.002 degrees but for the weather. The full algorithm of NREL/TP-560-34302 (Reda and
Andreas, Solar Energy 76, 2004) is good to 0.0003 degrees, of which the sun's own width of 0.53 degrees shows
nothing.

Longitude counts eastward, azimuth from north over east, as on a compass.
"""

import math
from datetime import date
from typing import NamedTuple

import numpy as np

from agents.arrays import FloatArray

FIRST_YEAR, LAST_YEAR = 1950, 2050
"""Years for which it holds."""

DAY = 86400.0
"""Seconds of a day."""

# Julian date at the midnight before the first of January of the year 1, and that of the epoch J2000.0.
_JULIAN_OF_ORDINAL = 1721424.5
_EPOCH = 2451545.0
# Where the middle of the sun stands as its upper edge sets [rad].
_LOWEST = math.radians(-0.833)


class SunPosition(NamedTuple):
    """Where the sun stands, an array each [rad].

    ``azimuth`` from north over east; ``elevation`` of its middle as if there were no air, and ``apparent``,
    which the air has lifted.
    """

    azimuth: FloatArray
    elevation: FloatArray
    apparent: FloatArray


def seconds_of(day: date) -> float:
    """Return the seconds of universal time from J2000.0 to the beginning of ``day``."""
    return (day.toordinal() + _JULIAN_OF_ORDINAL - _EPOCH) * DAY


def sun_position(seconds: FloatArray, latitude: float, longitude: float) -> SunPosition:
    """Return where the sun stands at ``seconds`` of universal time from J2000.0, see :func:`seconds_of`.

    ``latitude`` northward, ``longitude`` eastward [rad].

    >>> noon = seconds_of(date(2026, 6, 21)) + np.array([12.0 * 3600.0])
    >>> print(np.degrees(sun_position(noon, math.radians(51.4779), 0.0).apparent).round(1))
    [62.]
    """
    days = np.asarray(seconds, np.float64) / DAY
    longitude_of_mean = 280.460 + 0.9856474 * days
    anomaly = np.radians(357.528 + 0.9856003 * days)
    ecliptic = np.radians(longitude_of_mean + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly))
    tilt = np.radians(23.439 - 0.0000004 * days)
    ascension = np.arctan2(np.cos(tilt) * np.sin(ecliptic), np.cos(ecliptic))
    declination = np.arcsin(np.sin(tilt) * np.sin(ecliptic))
    # sidereal time at Greenwich [h]; days count from noon, hours from midnight
    hours = 24.0 * ((days + 0.5) % 1.0)
    sidereal = (6.697375 + 0.0657098242 * days + hours) % 24.0
    turned = np.radians(15.0 * sidereal) + longitude - ascension
    up, along = math.sin(latitude), math.cos(latitude)
    flat = np.cos(declination)
    rise = np.clip(np.sin(declination) * up + flat * along * np.cos(turned), -1.0, 1.0)
    elevation = np.arcsin(rise)
    northward = np.sin(declination) * along - flat * up * np.cos(turned)
    azimuth = np.arctan2(-flat * np.sin(turned), northward) % (2.0 * math.pi)
    return SunPosition(azimuth, elevation, elevation + _refraction(elevation))


def _refraction(elevation: FloatArray) -> FloatArray:
    """By how much the air lifts a sun at ``elevation`` [rad], in air of 1010 mbar and 10 degC.

    Below the sun that has just set it stays what it is there, of which nobody takes notice.
    """
    degrees = np.degrees(np.maximum(elevation, _LOWEST))
    return np.asarray(np.radians(1.02 / 60.0 / np.tan(np.radians(degrees + 10.3 / (degrees + 5.11)))))


def solar_hour(seconds: FloatArray, longitude: float) -> FloatArray:
    """Return the mean solar time [h] of a ``longitude`` [rad]: 12 when a mean sun stands highest there."""
    days = np.asarray(seconds, np.float64) / DAY
    return np.asarray(24.0 * ((days + 0.5 + longitude / (2.0 * math.pi)) % 1.0), np.float64)
