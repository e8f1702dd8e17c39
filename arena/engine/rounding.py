"""Rounding what is written down to the grains of a replay (:mod:`replays.format.grains`)."""

import math

from agents.compiled import kernel
from replays.format.grains import (
    CIRCUIT_DIGITS,
    LEAST,
    LIGHT_DIGITS,
    METRE,
    RADIAN,
    SECOND,
    TURN,
    VOLT,
    WAY_METRE,
    splitter,
)

# While a walker moves its poses are told to this many times a second, which is as finely as its places are:
# at 0.5 m/s it goes one grain of them in the meantime.
PACE = 2.0**12

_LIGHT = splitter(LIGHT_DIGITS)
_CIRCUIT = splitter(CIRCUIT_DIGITS)
_HALF_TURN = TURN // 2


@kernel
def kept_time(time: float) -> float:
    """A time [s], cut off."""
    return math.floor(time * SECOND) / SECOND


@kernel
def kept_pace(time: float) -> float:
    """The time [s] of a pose on the way, cut off."""
    return math.floor(time * PACE) / PACE


@kernel
def kept_place(place: float) -> float:
    """A coordinate [m]."""
    return math.floor(place * METRE + 0.5) / METRE


@kernel
def kept_way(way: float) -> float:
    """The way of a pulse [m]."""
    return math.floor(way * WAY_METRE + 0.5) / WAY_METRE


@kernel
def kept_heading(heading: float) -> float:
    """A heading [rad] between half a turn to either side."""
    turns = math.floor(heading * RADIAN + 0.5)
    if turns >= _HALF_TURN:
        turns -= TURN
    elif turns < -_HALF_TURN:
        turns += TURN
    return turns / RADIAN


@kernel
def kept_volts(volts: float) -> float:
    """A voltage [V]; inf stays."""
    if volts == math.inf:
        return volts
    return math.floor(volts * VOLT + 0.5) / VOLT


@kernel
def kept_light(light: float) -> float:
    """Light [lx]."""
    if abs(light) < LEAST:
        return 0.0
    high = light * _LIGHT
    return high - (high - light)


@kernel
def kept_circuit(value: float) -> float:
    """A peak current [A] or a charge [C]."""
    if abs(value) < LEAST:
        return 0.0
    high = value * _CIRCUIT
    return high - (high - value)
