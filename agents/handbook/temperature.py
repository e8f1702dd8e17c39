"""What temperature does to parts: figures and formulae of the handbooks.

Values of parts are those at 25 degC, the temperature of data sheets and of standard test conditions (IEC
60904-3). Temperatures are in kelvin.
"""

import math

import numpy as np

from agents.arrays import FloatArray

ROOM_TEMPERATURE = 298.15  # 25 degC [K]
NAUGHT_CELSIUS = 273.15  # [K]
BOLTZMANN_EV = 1.380649e-23 / 1.602176634e-19  # k / q [V/K], exact in the SI of 2019

# Coldest and hottest air of which anything is said [K]: about what parts for outdoors are rated for.
COLDEST_AIR = NAUGHT_CELSIUS - 40.0
HOTTEST_AIR = NAUGHT_CELSIUS + 85.0

# Band gap [eV] at 25 degC, and the share of it by which it changes a kelvin [1/K]. De Soto, Klein, Beckman,
# Solar Energy 80 (2006), for crystalline silicon.
SILICON_GAP = (1.121, -0.0002677)
# By the panel's response, where it is another. That of amorphous silicon is no gap but what makes the voltage
# of an open circuit fall by 0.3 % a kelvin, as labels of such modules tell (from memory).
GAPS = {"amorphous-silicon": (0.70, -0.0002677)}

# Growth of a bipolar transistor's currents: T^3 exp(-E / k T) with E [eV], the usual form for silicon (from
# memory); its gain goes with T^1.5, about half a percent a kelvin (from memory).
JUNCTION_GAP = 1.11
SATURATION_POWER = 3.0
GAIN_POWER = 1.5

# Resistance of annealed copper [1/K], of its value at 20 degC. IEC 60028.
COPPER_RISE = 0.00393

# Share of its flux that a magnet loses a kelvin [1/K], from memory: reversible temperature coefficients of
# remanence, as IEC 60404-8-1 lists them.
MAGNETS = {"neodymium": 0.0011, "ferrite": 0.0020, "alnico": 0.0002}

# Share of the day's range by which the air is colder than at its warmest, at 0, 1, 2 … 23 hours of the sun:
# ASHRAE Handbook, Fundamentals (2009), chapter 14, fractions of the daily range, from memory.
_BELOW_WARMEST = (
    *(0.82, 0.88, 0.92, 0.95, 0.98, 1.00, 0.98, 0.91, 0.74, 0.55, 0.38, 0.23),
    *(0.13, 0.05, 0.00, 0.00, 0.06, 0.14, 0.24, 0.39, 0.50, 0.59, 0.68, 0.75),
)


def daily_warmth(hour: FloatArray) -> FloatArray:
    """Return how warm the air is at an ``hour`` of the sun on a clear day, from 0, its coldest, to 1.

    >>> print(daily_warmth(np.array([5.0, 9.5, 14.5, 21.0])).round(2))
    [0.   0.54 1.   0.41]
    """
    return 1.0 - np.interp(np.asarray(hour) % 24.0, np.arange(25), (*_BELOW_WARMEST, _BELOW_WARMEST[0]))


def saturation_growth(temperature: float) -> float:
    """Return by how much a transistor's saturation current has grown at ``temperature`` [K], 1 at 25 degC.

    So the base-emitter voltage of a constant current falls by about 2 mV a kelvin.

    >>> grown = saturation_growth(308.15)
    >>> print(f"{grown:.1f} times at 35 degC")
    4.5 times at 35 degC
    """
    ratio = temperature / ROOM_TEMPERATURE
    gained = JUNCTION_GAP / BOLTZMANN_EV * (1.0 / ROOM_TEMPERATURE - 1.0 / temperature)
    return ratio**SATURATION_POWER * math.exp(gained)


def gain_growth(temperature: float) -> float:
    """Return by how much a transistor's gain has grown at ``temperature`` [K], 1 at 25 degC."""
    return (temperature / ROOM_TEMPERATURE) ** GAIN_POWER


def copper_growth(temperature: float) -> float:
    """Return by how much a winding's resistance has grown at ``temperature`` [K], 1 at 25 degC.

    >>> round(copper_growth(273.15 + 60.0), 4)
    1.1349
    """
    cold = NAUGHT_CELSIUS + 20.0
    return (1.0 + COPPER_RISE * (temperature - cold)) / (1.0 + COPPER_RISE * (ROOM_TEMPERATURE - cold))


def flux_left(magnet: str, temperature: float) -> float:
    """Return what share of its flux at 25 degC a ``magnet`` of :data:`MAGNETS` has at ``temperature`` [K]."""
    return 1.0 - MAGNETS[magnet] * (temperature - ROOM_TEMPERATURE)
