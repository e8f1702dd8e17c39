"""Who meets whom in which round, and from which start place.

There are as many start places as entries meet at once. Entries are dealt to as many *classes*; in each round
the classes take turns at the start places, by the rows of a Latin square, so that after one turn of rounds
every entry has run from every start. The squares are those of Williams (Experimental designs balanced for the
estimation of residual effects of treatments, Aust. J. Sci. Res. A 2, 1949): in one of even size, or in the
two of odd size together, everybody also has everybody else as a neighbour equally often. A heat takes one of
each class, drawn anew for every round, and classes are drawn anew for every turn.
"""

import math
from collections.abc import Sequence

from agents.noise import HEATS, uniform


def williams_rows(size: int) -> list[list[int]]:
    """The rows of a Williams square, or of both where ``size`` is odd; each row is an order of 0..size-1.

    >>> williams_rows(4)
    [[0, 3, 1, 2], [1, 0, 2, 3], [2, 1, 3, 0], [3, 2, 0, 1]]
    """
    first = [place // 2 if place % 2 == 0 else size - 1 - place // 2 for place in range(size)]
    rows = [[(one + turn) % size for one in first] for turn in range(size)]
    return rows if size % 2 == 0 else rows + [row[::-1] for row in rows]


def drawn_order(items: Sequence[int], seed: int, turn: int, index: int) -> list[int]:
    """``items`` in an order drawn by ``seed`` for a turn of rounds, or a round in it."""
    return sorted(items, key=lambda one: uniform(seed, turn, HEATS, index * 65536 + one))


def heat_shape(count: int, room: int) -> tuple[int, int]:
    """How many heats ``count`` entries need where ``room`` of them meet at once, and start places of each."""
    heats = math.ceil(count / room)
    return heats, math.ceil(count / heats)


def heats_of(count: int, room: int, seed: int, number: int) -> list[list[tuple[int, int]]]:
    """The heats of round ``number``, from 0: pairs of entry, 0..count-1, and start place, by start place.

    ``room`` entries meet at once at the most.
    """
    heats, starts = heat_shape(count, room)
    turn, within = divmod(number, starts)
    order = drawn_order(range(count), seed, 2 * turn, 0)
    classes = [order[first::starts] for first in range(starts)]
    rows = williams_rows(starts)
    row = rows[(turn * starts + within) % len(rows)]
    drawn: list[list[tuple[int, int]]] = [[] for _ in range(heats)]
    for start, which in enumerate(row):
        # who is alone in no class of full size leaves a start place free, in a heat that is drawn as well
        members = [*classes[which], *[-1] * (heats - len(classes[which]))]
        slots = drawn_order(range(heats), seed, 2 * turn + 1, 1 + within * starts + start)
        for slot, member in zip(slots, members, strict=True):
            if member >= 0:
                drawn[slot].append((member, start))
    return [heat for heat in drawn if heat]


def round_robin(count: int, number: int) -> list[list[tuple[int, int]]]:
    """The pairs of round ``number``, as :func:`heats_of` gives heats; starts change hands every round.

    Who has the first start place in a round alternates over the pairs of an entry.
    """
    pairs = []
    for one in range(count):
        for other in range(one + 1, count):
            is_swapped = (one + other + number) % 2 == 1
            first, second = (other, one) if is_swapped else (one, other)
            pairs.append([(first, 0), (second, 1)])
    return pairs
