"""Statistics of directions."""

import math

import numpy as np

from agents.arrays import FloatArray


def resultant_length(angles: FloatArray) -> float | None:
    """Length of the mean of unit vectors at ``angles`` [rad]: 1 all alike, 0 evenly spread; None without any.

    R = sqrt(mean(cos)² + mean(sin)²). Mardia and Jupp, Directional Statistics (2000), section 2.3.
    """
    if angles.size == 0:
        return None
    return math.hypot(float(np.cos(angles).mean()), float(np.sin(angles).mean()))
