"""Which settings a study tries: every one of a grid, or a number of them drawn.

A drawn setting is a point of the unit cube with one axis for each choice. A share of [0, 1) becomes a value
by :meth:`arena.studies.plans.ranges.Levels.at` or :meth:`arena.studies.plans.ranges.Span.at`.
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from agents.arrays import FloatArray

DRAWN = ("random", "latin hypercube", "sobol")
SAMPLINGS = ("grid", *DRAWN)
# Drawn settings are held in memory, eight bytes an axis.
MOST_DRAWN = 100_000


def grid_place(number: int, counts: Sequence[int]) -> tuple[int, ...]:
    """Return the level of each axis in setting ``number``, from 0; the last axis turns fastest.

    Raises IndexError outside of that.
    """
    if not 0 <= number < math.prod(counts):
        raise IndexError(f"setting {number} of {math.prod(counts)}")
    levels = []
    for count in reversed(counts):
        number, level = divmod(number, count)
        levels.append(level)
    return tuple(reversed(levels))


def grid_number(levels: Sequence[int], counts: Sequence[int]) -> int:
    """Return the number of the setting with these levels, as :func:`grid_place` counts them."""
    number = 0
    for level, count in zip(levels, counts, strict=True):
        if not 0 <= level < count:
            raise IndexError(f"level {level} of {count}")
        number = number * count + level
    return number


def drawn_shares(sampling: str, settings: int, axes: int, seed: int) -> FloatArray:
    """Return the shares, shape (settings, axes), each in [0, 1); the same ones for the same seed >= 0.

    * ``random``: each share by itself.
    * ``latin hypercube``: on every axis one share in each of ``settings`` equal parts.
    * ``sobol``: Sobol' points, scrambled; of any power of two of them every part of the cube holds its due
      number. A number of settings that is no power of two takes the first of the next one: they are still
      even, but not in balance, so that some parts hold one more than others.

    A smaller number of random or Sobol' settings is the beginning of a larger one.
    """
    if axes == 0:
        return np.zeros((settings, 0))
    generator = np.random.Generator(np.random.PCG64(seed))
    if sampling == "random":
        return generator.random((settings, axes))
    from scipy.stats import qmc

    engines: dict[str, Any] = {"latin hypercube": qmc.LatinHypercube, "sobol": qmc.Sobol}
    engine = engines[sampling](axes, rng=generator)
    if sampling == "latin hypercube":
        return np.asarray(engine.random(settings))
    return np.asarray(engine.random_base2((settings - 1).bit_length())[:settings])
