"""The one place where chance enters.

Every draw is a pure function of (seed, walker, stream, index), by the counter-based generator Philox 4x64
with ten rounds: nothing is carried from one draw to the next, so a further walker, arena or thread shifts
nobody else's draws.

Source: Salmon, Moraes, Dror and Shaw, Parallel random numbers: as easy as 1, 2, 3, SC11 (2011).
"""

import math

import numpy as np

from agents.compiled import kernel

# What a draw is for. Numbers are part of the results, so they are never used twice nor changed.
TRIGGER = 1  # jitter of both eyes, indexed by pulse
PARTS = 2  # part spread, indexed by the digest of the part's path
START = 3  # start place and heading, indexed by attempt
HEATS = 4  # who meets whom in a round of a race
CLOUDS = 5  # how long the sun is hidden or clear, indexed by cloud


@kernel
def _high_product(a: np.uint64, b: np.uint64) -> np.uint64:
    """Upper 64 bits of the product of two 64-bit words, by way of their halves."""
    half = np.uint64(32)
    mask = np.uint64(0xFFFFFFFF)
    a_low, a_high = a & mask, a >> half
    b_low, b_high = b & mask, b >> half
    low = a_low * b_low
    first = a_high * b_low + (low >> half)
    second = a_low * b_high + (first & mask)
    return np.uint64(a_high * b_high + (first >> half) + (second >> half))


@kernel
def philox(
    counter0: np.uint64,
    counter1: np.uint64,
    counter2: np.uint64,
    counter3: np.uint64,
    key0: np.uint64,
    key1: np.uint64,
) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """Ten rounds of Philox 4x64 on a counter of four words, with a key of two words."""
    multiplier0 = np.uint64(0xD2E7470EE14C6C93)
    multiplier1 = np.uint64(0xCA5A826395121157)
    for turn in range(10):
        # the key steps by odd constants, modulo 2^64
        step = np.uint64(turn)
        round_key0 = key0 + step * np.uint64(0x9E3779B97F4A7C15)
        round_key1 = key1 + step * np.uint64(0xBB67AE8584CAA73B)
        high0 = _high_product(multiplier0, counter0)
        high1 = _high_product(multiplier1, counter2)
        low0 = multiplier0 * counter0
        low1 = multiplier1 * counter2
        counter0 = high1 ^ counter1 ^ round_key0
        counter1 = low1
        counter2 = high0 ^ counter3 ^ round_key1
        counter3 = low0
    return counter0, counter1, counter2, counter3


@kernel
def _unit(word: np.uint64) -> float:
    """A float strictly between 0 and 1, from the upper 53 bits of ``word``."""
    return (float(word >> np.uint64(11)) + 0.5) * 1.1102230246251565e-16


@kernel
def uniform_pair(seed: int, walker: int, stream: int, index: int) -> tuple[float, float]:
    """Two independent draws, even between 0 and 1, ends excluded. All arguments are whole numbers >= 0."""
    word0, word1, _, _ = philox(
        np.uint64(index), np.uint64(stream), np.uint64(0), np.uint64(0), np.uint64(seed), np.uint64(walker)
    )
    return _unit(word0), _unit(word1)


@kernel
def normal_pair(seed: int, walker: int, stream: int, index: int) -> tuple[float, float]:
    """Two independent standard normal draws, by the transform of Box and Muller (1958)."""
    first, second = uniform_pair(seed, walker, stream, index)
    radius = math.sqrt(-2.0 * math.log(first))
    return radius * math.cos(2.0 * math.pi * second), radius * math.sin(2.0 * math.pi * second)


def uniform(seed: int, walker: int, stream: int, index: int) -> float:
    """One draw, even between 0 and 1, ends excluded."""
    # numpy scalars would warn that unsigned words wrap, which is what they are for
    with np.errstate(over="ignore"):
        return float(uniform_pair(seed, walker, stream, index)[0])
