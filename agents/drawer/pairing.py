"""Pairing parts by a measured value, so that as many pairs as possible are as like as needed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Pairing:
    """Pairs and what is left over, by position; of each pair the smaller value stands first."""

    pairs: tuple[tuple[int, int], ...]
    left_over: tuple[int, ...]


def pair_up(values: Sequence[float], limit: float) -> Pairing:
    """Pair ``values`` that differ by ``limit`` at the most, no value twice.

    As many pairs as can be, and among all such choices the one with the least sum of differences. Only
    neighbours in the order of size need be looked at: two pairs that overlap or lie one within the other, and
    a pair with a value left over in between, can each be exchanged for neighbours whose differences are no
    larger, neither one by one at their largest nor in sum. So one pass over the sorted values does it: the
    best that the first k of them allow is the best of the first k - 1, or that of the first k - 2 and the
    pair of the last two.
    """
    order = sorted(range(len(values)), key=lambda position: (values[position], position))
    # number of pairs, negative, and sum of differences, so that the least is the best
    best = [(0, 0.0), (0, 0.0)]
    paired = [False, False]
    for number in range(2, len(order) + 1):
        difference = values[order[number - 1]] - values[order[number - 2]]
        alone = best[number - 1]
        count, total = best[number - 2]
        together = (count - 1, total + difference)
        paired.append(difference <= limit and together < alone)
        best.append(together if paired[-1] else alone)
    pairs: list[tuple[int, int]] = []
    left_over: list[int] = []
    number = len(order)
    while number > 0:
        if paired[number]:
            pairs.append((order[number - 2], order[number - 1]))
            number -= 2
        else:
            left_over.append(order[number - 1])
            number -= 1
    return Pairing(tuple(reversed(pairs)), tuple(reversed(left_over)))


def random_share(values: Sequence[float], limit: float) -> float:
    """Expected share of pairs that differ by ``limit`` at the most, where pairs are drawn blindly.

    In a random pairing every two of n values are equally likely to meet, so it is the share of all
    n (n - 1) / 2 twos that are as like as that. At least two values are needed.
    """
    ordered = np.sort(np.asarray(values, np.float64))
    count = len(ordered)
    # twos of which the larger value is the one at hand
    alike = sum(int(np.count_nonzero(ordered[place] - ordered[:place] <= limit)) for place in range(1, count))
    return alike / (count * (count - 1) / 2)
