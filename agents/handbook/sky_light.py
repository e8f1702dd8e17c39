"""Illuminance by the elevation of the sun: from its disc and from the sky, clear or clouded.

By day: IES Calculation Procedures Committee, Recommended practice for the calculation of daylight
availability, Journal of the IES 13 (1984), for elevations from 0 to 90 degrees:

    E_disc = 127.5 klx (1 + 0.034 cos(2 π (J - 2) / 365)) exp(-0.21 / sin h)       on a surface square to it
    E_sky  = A + B sin(h)^C                                                        on a level surface

with J the day of the year, and A, B, C for a clear, a partly cloudy and a cloudy sky. For a partly cloudy one
IES gives the mean disc with clouds passing; here clouds pass one by one, and the disc between them is that of
a clear sky. The air of mountains and of cities is clearer and dimmer than this by a fifth or so.

Below the horizon: P. M. Janiczek and J. A. DeYoung, U.S. Naval Observatory Circular 171 (1987), cubics for
the logarithm of the light of a clear sky, down to -18 degrees, brought to meet the sky above at 0 degrees.
"""

import math

import numpy as np

from agents.arrays import FloatArray

OKTAS = 8
"""Cloud cover is told in eighths of the sky, the oktas of the World Meteorological Organization."""

_SOLAR_ILLUMINANCE = 127.5e3  # at the earth's mean distance, outside the air [lx]
_CLEAR_EXTINCTION = 0.21

# Cover [oktas], and A [lx], B [lx] and C of the sky at it.
_SKIES = ((0, 0.8e3, 15.5e3, 0.5), (4, 0.3e3, 45.0e3, 1.0), (8, 0.3e3, 21.0e3, 1.0))

# Below each elevation [deg] the cubic in elevation / 90 degrees for log10 of the illuminance [lx].
_TWILIGHT = (
    (-18.0, (-math.inf, 0.0, 0.0, 0.0)),
    (-12.0, (13.84, 262.72, 1447.42, 2797.93)),
    (-5.0, (2.70, 12.17, -431.69, -1899.83)),
    (-0.8, (2.88, 21.81, -258.11, -858.36)),
    (0.0, (2.88, 22.26, -207.64, 1034.30)),
)
_AT_HORIZON = 10.0**2.88


def disc_illuminance(apparent: FloatArray, day_of_year: FloatArray) -> FloatArray:
    """Return the light [lx] of a clear sun's disc at an ``apparent`` elevation [rad], square to its rays.

    >>> print(disc_illuminance(np.radians([5.0, 30.0, 60.0]), np.array([172.0])).round(-2))
    [11100. 81000. 96700.]
    """
    distance = 1.0 + 0.034 * np.cos(2.0 * math.pi * (np.asarray(day_of_year) - 2.0) / 365.0)
    sine = np.maximum(np.sin(apparent), 1e-3)
    light = _SOLAR_ILLUMINANCE * distance * np.exp(-_CLEAR_EXTINCTION / sine)
    return np.where(np.asarray(apparent) > 0.0, light, 0.0)


def sky_illuminance(elevation: FloatArray, cover: int = 0) -> FloatArray:
    """Return the light [lx] of the sky without the disc on a level surface, at an ``elevation`` [rad].

    ``cover`` [oktas] tells how much of the sky is clouded; between the skies of IES it goes straight.

    >>> print(sky_illuminance(np.radians([-6.0, 0.0, 30.0])).round(1))
    [3.6e+00 8.0e+02 1.2e+04]
    """
    elevation = np.asarray(elevation, np.float64)
    covers = [sky[0] for sky in _SKIES]
    sine = np.maximum(np.sin(elevation), 0.0)
    skies = np.array([least + most * sine**power for _, least, most, power in _SKIES])
    above = _between(covers, skies, cover)
    at_horizon = _between(covers, np.array([sky[1] for sky in _SKIES]), cover)
    return np.where(elevation >= 0.0, above, at_horizon * _twilight(elevation) / _AT_HORIZON)


def _between(covers: list[int], values: FloatArray, cover: int) -> FloatArray:
    place = float(np.interp(cover, covers, np.arange(len(covers))))
    low = min(int(place), len(covers) - 2)
    return np.asarray(values[low] + (place - low) * (values[low + 1] - values[low]))


def _twilight(elevation: FloatArray) -> FloatArray:
    """The light [lx] of a clear sky with the sun at an ``elevation`` [rad] below the horizon."""
    degrees = np.degrees(elevation)
    logarithm = np.zeros(np.shape(degrees))
    for upper, (constant, first, second, third) in reversed(_TWILIGHT):
        x = np.clip(degrees, -18.0, 0.0) / 90.0
        cubic = constant + first * x + second * x**2 + third * x**3
        logarithm = np.where(degrees <= upper, cubic, logarithm)
    return np.asarray(10.0**logarithm, np.float64)
