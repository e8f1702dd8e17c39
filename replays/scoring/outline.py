"""Where points lie with respect to an outline, for many points at once."""

import numpy as np

from agents.arrays import BoolArray, FloatArray


def inside(x: FloatArray, y: FloatArray, outline: FloatArray) -> BoolArray:
    """Whether the points ``x``, ``y`` [m], (n,), lie inside ``outline`` [m], (corners, 2), not closed.

    Counts how often a ray towards +x crosses the outline: odd is inside. A point on the outline may count as
    either.
    """
    within = np.zeros(x.shape, dtype=bool)
    low, high = outline.min(axis=0), outline.max(axis=0)
    near = np.flatnonzero((x >= low[0]) & (x <= high[0]) & (y >= low[1]) & (y <= high[1]))
    near_x, near_y = x[near], y[near]
    odd = np.zeros(near.shape, dtype=bool)
    for (ax, ay), (bx, by) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        if ay == by:
            continue
        spans = (ay > near_y) != (by > near_y)
        odd ^= spans & (near_x < ax + (near_y - ay) * (bx - ax) / (by - ay))
    within[near] = odd
    return within


def way_to(x: FloatArray, y: FloatArray, outline: FloatArray) -> tuple[FloatArray, FloatArray]:
    """From each point ``x``, ``y`` [m], (n,), the vector [m] to the nearest point of the area in ``outline``.

    Zero for a point inside.
    """
    best_x, best_y = np.zeros(x.shape), np.zeros(x.shape)
    best = np.full(x.shape, np.inf)
    for (ax, ay), (bx, by) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        along_x, along_y = bx - ax, by - ay
        length_squared = along_x**2 + along_y**2
        if length_squared == 0.0:
            continue
        share = np.clip(((x - ax) * along_x + (y - ay) * along_y) / length_squared, 0.0, 1.0)
        to_x, to_y = ax + share * along_x - x, ay + share * along_y - y
        distance = to_x**2 + to_y**2
        nearer = distance < best
        best[nearer] = distance[nearer]
        best_x[nearer], best_y[nearer] = to_x[nearer], to_y[nearer]
    within = inside(x, y, outline)
    best_x[within] = best_y[within] = 0.0
    return best_x, best_y
