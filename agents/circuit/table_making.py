"""Making tables of free pulses: where cells are halved, and what they are tried against.

The pulses of a table are stepped with a tenth of the usual tolerance, so that it is nearer to the equations
than pulses that are stepped one by one. Cells are halved until what they tell is off by ``BOUND`` at the most
where they are tried, or they have been halved too often; those tell nothing then.
"""

import math
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray, RecordArray
from agents.circuit.pulse_table import (
    AXES,
    CELL,
    CHARGE,
    CURRENT,
    LENGTH,
    LET_GO,
    MOST_STEPS,
    OUTCOMES,
    RAIL,
    SPEED,
    WAY,
    PulseTable,
    weigh_outcomes,
    work_out_all,
)
from agents.circuit.records import STATE, WALKER

# Points along each axis at the most, and how narrow it is where it is a single place and takes one.
POINTS = np.array([6, 3, 3])
NARROW = np.array([1e-6, 1e-12, 1e-6])
# An axis other than the first along which a pulse hardly changes takes one point too, and one along which it
# changes evenly takes two: where that is off by less than this share.
EVEN = 5e-4
# The root of x^4 = x + 1.
ROOT = 1.2207440846057596
# Places at which a cell is tried, and by which share it may be off in what counts; and how often the axes are
# halved at the most.
TRIALS = 8
BOUND = 5e-3
MEASURED = (LENGTH, LET_GO, CHARGE, WAY, SPEED)
DEPTH = 2
# Share of a walker's tolerance with which the pulses of a table are stepped.
FINER = 0.1
# Tables that a process keeps.
KEPT = 256

# What tells nothing of how a pulse goes, so that sides which differ in it alone share a table.
ELSEWHERE = (
    *("slope", "knee_light", "tape", "table_count", "table_light", "table_volts", "jitter", "ignition"),
    *("eye_ahead", "eye_aside", "eye_height", "aim_x", "aim_y", "aim_z", "lobe", "turns"),
    *("whisker", "root_ahead", "root_aside", "tip_ahead", "tip_aside", "whisker_height", "bend_to_close"),
)


class TableSpan(NamedTuple):
    """What a table spans: lowest and highest storage [V], photocurrent [A] and panel [K]."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]


def pulse_table(walker: RecordArray, number: int, span: TableSpan) -> PulseTable:
    """Return the table of the free pulses of side ``number`` of a WALKER record (1,) within ``span``.

    Tables once made are kept while the process lasts.

    >>> from agents.design.as_built import build
    >>> from agents.design.spec import Design
    >>> span = TableSpan((2.2, 1e-4, 293.0), (2.4, 1e-3, 303.0))
    >>> table = pulse_table(build(Design(name="poppy")), 0, span)
    >>> table.cells["tells"].tolist(), table.values.shape
    ([1], (18, 18))
    """
    plain = walker[:1].copy()
    for side in range(2):
        for name in ELSEWHERE:
            plain["side"][name][:, side] = 0
    if number == 1:
        # the side that fires is the first of those that are kept
        plain["side"] = plain["side"][:, ::-1]
    return _made(plain.tobytes(), span)


@lru_cache(KEPT)
def _made(walker: bytes, span: TableSpan) -> PulseTable:
    return _Making(np.frombuffer(walker, WALKER), span).table()


class _Making:
    """A table that is being made, of side 0 of a WALKER record."""

    def __init__(self, walker: RecordArray, span: TableSpan) -> None:
        self.walker = walker.copy()
        self.walker["tolerance"] *= FINER
        self.cells: list[RecordArray] = []
        self.values: list[FloatArray] = []
        self.rows = 0
        self.low, self.high = np.array(span.low), np.array(span.high)
        self.points = self._points_needed()

    def _points_needed(self) -> IntArray:
        """How many points each axis takes, by pulses in the middle of all others."""
        points = np.where(self.high - self.low < NARROW, 1, POINTS)
        places = np.zeros((1 + 2 * AXES, AXES))
        for axis in range(AXES):
            places[1 + 2 * axis, axis], places[2 + 2 * axis, axis] = -1.0, 1.0
        outcomes, ended = self._stepped(self.low, self.high, places)
        measured = outcomes[:, list(MEASURED)]
        for axis in np.flatnonzero(points > 1).tolist():
            low, high = 1 + 2 * axis, 2 + 2 * axis
            if axis == RAIL or not ended[[0, low, high]].all():
                continue
            changes = np.max(np.abs(measured[[low, high]] / measured[0] - 1.0))
            bends = np.max(np.abs(0.5 * (measured[low] + measured[high]) / measured[0] - 1.0))
            points[axis] = 1 if changes < EVEN else 2 if bends < EVEN else POINTS[axis]
        return points

    def table(self) -> PulseTable:
        self._add(self.low, self.high, 0)
        values = np.concatenate([np.zeros((0, OUTCOMES)), *self.values])
        return PulseTable(np.concatenate(self.cells), values)

    def _add(self, low: FloatArray, high: FloatArray, depth: int) -> int:
        """Add a cell from ``low`` to ``high``, halved where it has to be; returns its number."""
        number = len(self.cells)
        self.cells.append(np.zeros(1, CELL))
        cell = self.cells[-1][0]
        points = self.points
        # what is a single place along an axis is divided by nevertheless
        wide = np.maximum(high, low + NARROW)
        cell["low"], cell["high"], cell["points"], cell["axis"] = low, wide, points, -1
        places = _zeros(points)
        outcomes, ended = self._stepped(low, high, places)
        if not np.any(ended):
            return number
        axis = RAIL if depth % 2 == 0 else CURRENT
        if np.all(ended):
            coefficients = _weighed(_basis(places, points).T / _norms(points)[:, None], outcomes)
            trials = _spread()
            tried, known = self._stepped(low, high, trials)
            told = _weighed(_basis(trials, points), coefficients)
            if np.all(known) and _off(told, tried) <= BOUND:
                cell["first"], cell["tells"] = self.rows, 1
                self.values.append(coefficients)
                self.rows += len(coefficients)
                return number
            axis = _bends(coefficients, points)
        if depth == DEPTH:
            return number
        middle = 0.5 * (low[axis] + high[axis])
        cell["axis"], cell["middle"] = axis, middle
        upper, lower = high.copy(), low.copy()
        upper[axis] = lower[axis] = middle
        cell["below"] = self._add(low, upper, depth + 1)
        cell["above"] = self._add(lower, high, depth + 1)
        return number

    def _stepped(self, low: FloatArray, high: FloatArray, places: FloatArray) -> tuple[FloatArray, BoolArray]:
        """What pulses at ``places`` (N, AXES) of a cell, from -1 to 1 along it, come to, and which ended."""
        outcomes, ended = np.zeros((len(places), OUTCOMES)), np.zeros(len(places), np.bool_)
        at = 0.5 * (low + high + places * (high - low))
        state, trace = np.zeros(1, STATE)[0], np.zeros((MOST_STEPS + 1, 3))
        work_out_all(self.walker[0], 0, at, state, trace, outcomes, ended)
        return outcomes, ended


def _zeros(points: IntArray) -> FloatArray:
    """Places (N, AXES) of the zeros of Chebyshev's polynomials, for so many ``points`` along each axis."""
    along = [
        [math.cos((place + 0.5) * math.pi / count) for place in range(count)] for count in points.tolist()
    ]
    return np.array(list(product(*along)))


def _spread() -> FloatArray:
    """Places (TRIALS, AXES) at which a cell is tried: evenly spread by an additive recurrence.

    Its steps are powers of the root of x^4 = x + 1, which leaves no direction out (common practice, no
    source).
    """
    steps = [ROOT**-axis for axis in range(1, AXES + 1)]
    return np.array(
        [[2.0 * ((0.5 + trial * step) % 1.0) - 1.0 for step in steps] for trial in range(1, TRIALS + 1)]
    )


def _basis(places: FloatArray, points: IntArray) -> FloatArray:
    """What each product of polynomials, (M,) of them, is at each of the ``places`` (N, AXES): (N, M)."""
    basis = np.ones((len(places), 1))
    for axis, count in enumerate(points.tolist()):
        along = np.polynomial.chebyshev.chebvander(places[:, axis], count - 1)
        basis = (basis[:, :, None] * along[:, None, :]).reshape(len(places), -1)
    return basis


def _norms(points: IntArray) -> FloatArray:
    """Sum of each product's squares over all :func:`_zeros`, over which any two of them are orthogonal."""
    orders = product(*(range(count) for count in points.tolist()))
    return np.array([np.prod(points) * 0.5 ** np.count_nonzero(order) for order in orders])


def _weighed(weights: FloatArray, outcomes: FloatArray) -> FloatArray:
    sums = np.zeros((len(weights), OUTCOMES))
    weigh_outcomes(np.ascontiguousarray(weights), outcomes, sums)
    return sums


def _off(told: FloatArray, tried: FloatArray) -> float:
    """By which share what is told is off at the most, in all that is measured."""
    columns = list(MEASURED)
    return float(np.max(np.abs(told - tried)[:, columns] / np.abs(tried[:, columns])))


def _bends(coefficients: FloatArray, points: IntArray) -> int:
    """Along which axis, storage or photocurrent, the last polynomial matters most for length and way."""
    columns = [LENGTH, WAY]
    shares = np.abs(coefficients[:, columns] / coefficients[0, columns]).max(axis=1).reshape(points)
    last = [float(shares.take(-1, axis).max()) if points[axis] > 1 else 0.0 for axis in (RAIL, CURRENT)]
    return RAIL if last[0] >= last[1] else CURRENT
