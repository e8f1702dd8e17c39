"""Whole numbers as bytes that compress well, and rows of walkers as steps from one to the next.

A column of whole numbers is an array of bytes (planes, rows). A number n goes as 2 n, or as -2 n - 1 where it
is negative, so that what is near nought is small, and plane k holds byte k of each, the lowest first::

    packed = numpy.load("race.replay.npz")["poses.x"]
    whole = sum(plane.astype("u8") << numpy.uint64(8 * k) for k, plane in enumerate(packed))
    steps = (whole >> numpy.uint64(1)).astype("i8") ^ -(whole & numpy.uint64(1)).astype("i8")
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import IntArray

Bytes = NDArray[np.uint8]

MOST_PLANES = 8


def pack(numbers: NDArray[Any]) -> Bytes:
    """Return the bytes (planes, rows) of whole ``numbers``, with as many planes as the largest one takes.

    >>> pack(numpy.array([0, -1, 1, 300])).tolist()
    [[0, 1, 2, 88], [0, 0, 0, 2]]
    """
    whole = np.asarray(numbers, np.int64)
    folded = ((whole << 1) ^ (whole >> 63)).astype("<u8")
    planes = max(1, (int(folded.max(initial=0)).bit_length() + 7) // 8)
    return np.ascontiguousarray(folded.view(np.uint8).reshape(-1, MOST_PLANES)[:, :planes].T)


def unpack(planes: NDArray[np.uint8]) -> IntArray:
    """Return the whole numbers of which :func:`pack` has made ``planes``.

    >>> unpack(pack(numpy.array([7, -70000]))).tolist()
    [7, -70000]
    """
    count, rows = planes.shape
    folded = np.zeros((rows, MOST_PLANES), np.uint8)
    folded[:, :count] = planes.T
    whole = folded.view("<u8").reshape(rows).astype(np.uint64)
    sign = -(whole & np.uint64(1)).astype(np.int64)
    return (whole >> np.uint64(1)).astype(np.int64) ^ sign


def first_rows(counts: IntArray) -> IntArray:
    """Where the rows of each walker begin, walker by walker, and the number of all of them: (n + 1,)."""
    return np.concatenate([np.zeros(1, np.int64), np.cumsum(counts, dtype=np.int64)])


def steps(values: IntArray, firsts: IntArray) -> IntArray:
    """From each row's value to the next one's; the first of each walker is told whole."""
    found = np.diff(values, prepend=np.int64(0))
    own = firsts[:-1][firsts[:-1] < firsts[1:]]
    found[own] = values[own]
    return found


def sums(step: IntArray, firsts: IntArray) -> IntArray:
    """The values of which :func:`steps` has made steps."""
    along = np.cumsum(step, dtype=np.int64)
    before = np.concatenate([np.zeros(1, np.int64), along])[firsts[:-1]]
    return along - np.repeat(before, np.diff(firsts))
