"""How this machine rounds, on which the last bit of every result depends."""

import hashlib
import math
import platform
from functools import cache
from importlib.metadata import version

import numpy as np


@cache
def arithmetic() -> str:
    """Digest (SHA-256) of how this machine rounds: of its libraries, and of functions that they work out.

    Where it is the same, trials come out the same to the last bit; a processor for which a library has other
    code may differ in the last digit of a sine.
    """
    values = np.random.default_rng(1).uniform(0.01, 3.0, 2048)
    found = [np.sin(values), np.cos(values), np.arctan2(values, values[::-1]), np.hypot(values, values[::-1])]
    listed = values.tolist()
    for one in (math.sin, math.cos, math.exp, math.expm1, math.log, math.log1p, math.log10, math.atan):
        found.append(np.array([one(value) for value in listed]))
    for two in (math.pow, math.hypot, math.atan2):
        found.append(np.array([two(*pair) for pair in zip(listed, listed[::-1], strict=True)]))
    digest = hashlib.sha256(f"{np.__version__} {version('numba')} {platform.machine()}".encode())
    for array in found:
        digest.update(array.tobytes())
    return digest.hexdigest()
