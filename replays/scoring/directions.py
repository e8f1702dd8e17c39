"""Statistics of directions."""

import math

import numpy as np
from numpy.typing import NDArray


def resultant_length(angles: NDArray[np.float64]) -> float | None:
    """Length of the mean of unit vectors at ``angles`` [rad]: 1 all alike, 0 evenly spread; None without any.

    R = sqrt(mean(cos)² + mean(sin)²). Mardia and Jupp, Directional Statistics (2000), section 2.3.
    """
    if angles.size == 0:
        return None
    return math.hypot(float(np.cos(angles).mean()), float(np.sin(angles).mean()))
