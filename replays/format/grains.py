"""How finely a replay keeps what it tells: a little more finely than anybody can see, and no more.

======================================  ==================================================================
times                                   whole multiples of 2^-16 s, 15 us, cut off, so that nothing leaves the
                                        run and nothing changes places
places                                  to 2^-13 m: within 0.06 mm
headings                                to 1/4096 of a turn: within 0.8 mrad
ways of pulses                          to 2^-17 m: within 4 um
volts                                   to 2^-13 V: within 0.06 mV
light                                   to 11 binary digits: within 0.05 %; that of the map to 10: 0.1 %
peak current and charge                 to 14 binary digits: within 0.006 %
parts as built                          to 18 binary digits: within 4 parts in a million
energies                                to 24 binary digits: as a float of 4 bytes has them
======================================  ==================================================================

All grains but that of headings are powers of two, and rounding takes nothing but sums and products: what has
been rounded once stays as it is, has the same bits as float of 4 or of 8 bytes, and is the same on every
machine. The engine rounds as it writes (:mod:`arena.engine.output`), so that a run has the same scores as its
replay read from a file.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray, IntArray

SECOND = 2.0**16
METRE = 2.0**13
WAY_METRE = 2.0**17
VOLT = 2.0**13
TURN = 4096
"""Grains in a second, in a metre of a place and of a way, in a volt, and in a whole turn."""

RADIAN = TURN / (2.0 * math.pi)

LIGHT_DIGITS, MAP_DIGITS, CIRCUIT_DIGITS, PART_DIGITS, ENERGY_DIGITS = 11, 10, 14, 18, 24
"""Binary digits of light, of the map of light, of current and charge, of parts, and of energies."""

# Nearer to nought than this a float of 4 bytes loses digits; nothing in a run is that small and matters.
LEAST = 2.0**-120
_NO_NUMBER = -(1 << 40)


def splitter(digits: int) -> float:
    """The factor s for which s v - (s v - v) is v rounded to so many binary ``digits`` (Veltkamp's split)."""
    return 2.0 ** (53 - digits) + 1.0


def time_grains(time_s: NDArray[Any]) -> IntArray:
    """Times [s] in whole grains."""
    return np.floor(np.asarray(time_s, np.float64) * SECOND).astype(np.int64)


def grains(values: NDArray[Any], per_unit: float) -> IntArray:
    """The nearest whole numbers of grains, of which there are ``per_unit``."""
    return np.floor(np.asarray(values, np.float64) * per_unit + 0.5).astype(np.int64)


def turn_grains(heading: NDArray[Any]) -> IntArray:
    """Headings [rad] in whole grains, from half a turn to the right up to half a turn to the left."""
    return wrapped_turns(grains(heading, RADIAN))


def wrapped_turns(turns: IntArray) -> IntArray:
    """The same directions, as -TURN / 2 .. TURN / 2 - 1 grains."""
    half = TURN // 2
    return (turns + half) % TURN - half


def to_digits(values: NDArray[Any], digits: int) -> FloatArray:
    """Values to so many binary ``digits``; what is too near to nought is nought."""
    exact = np.asarray(values, np.float64)
    high = exact * splitter(digits)
    return np.where(np.abs(exact) < LEAST, 0.0, high - (high - exact))


def digit_grains(values: NDArray[Any], digits: int) -> IntArray:
    """Values to so many binary ``digits`` as whole numbers in the same order; steps of 1 are about alike.

    They are the leading bits of a float of 4 bytes, and its sign. -2^40 stands for nan.
    """
    flat = to_digits(values, digits)
    bits = np.abs(flat).astype(np.float32).view(np.uint32).astype(np.int64) >> (24 - digits)
    return np.where(np.isnan(flat), _NO_NUMBER, np.where(flat < 0.0, -bits, bits))


def digit_values(whole: IntArray, digits: int) -> FloatArray:
    """What :func:`digit_grains` has made whole numbers of."""
    bits = (np.abs(whole) << (24 - digits)).astype(np.uint32)
    # bits that nobody has written may be no number at all
    with np.errstate(invalid="ignore"):
        values = bits.view(np.float32).astype(np.float64)
    return np.where(whole == _NO_NUMBER, np.nan, np.where(whole < 0, -values, values))
