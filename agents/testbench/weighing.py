"""Many walkers under several lights, weighed for their faults by one kernel, and only as far as it takes.

The faults are those of :mod:`agents.testbench.faults`. Beside them stands whether a pulse is poor, no fault
but nothing to hand on either: the latch lets go above 1 V, the most that a good one does (common practice, no
source), more than a third of a pulse goes into the bases, or the triggers of the two sides have come to lie
further apart than their jitter hides.
"""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.circuit.panel import panel_under
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED
from agents.compiled import kernel
from agents.testbench.faults import fault_bits
from agents.testbench.measuring import MEASURED, MIRRORED, measure_walker
from agents.testbench.screening import has_other_than

# A point that was not weighed yet; bits above those of all faults: a poor pulse, and a walker that the model
# cannot follow, which is not known to be better.
UNKNOWN = -1
POOR = 1 << 60
UNFOLLOWED = 1 << 61
# Allowed bits of a walker of which all that is asked is that it can be followed.
ANYTHING = UNFOLLOWED - 1
# Allowed bits of a light that does not matter: nothing is weighed there.
WHATEVER = -1
# At and below this: a point that a first look has sorted out, less what was allowed then.
SORTED_OUT = -2

# What makes a pulse poor, above each of three limits: V, share, V.
LET_GO, BASE_SHARE, MISMATCH = range(3)
MOST_LET_GO = 1.0  # [V]
MOST_BASE_SHARE = 1.0 / 3.0
# Triggers this many standard deviations of their joint jitter apart still change places now and then.
HIDDEN = 3.0


@kernel
def weigh(walker: Any, light: float, kind: int, twins: bool, state: Any, measured: Any, figures: Any) -> int:
    """The fault bits of a WALKER record in ``light`` [lx] of a kind by its number; are its sides ``twins``?

    Writes its let-go voltage [V], base share and trigger mismatch [V] into ``figures`` (3,), the worse of
    both sides, 0 where there is none. UNFOLLOWED where the model cannot follow it.
    """
    for number in range(3):
        figures[number] = 0.0
    lit = panel_under(walker, light, kind)
    status, _ = measure_walker(walker, light, lit, twins, state, measured)
    if status != SETTLED:
        return UNFOLLOWED
    for number in range(2):
        point = measured["side"][number]["free"]
        if point["let_go"] > figures[LET_GO]:
            figures[LET_GO] = point["let_go"]
        if point["base_share"] > figures[BASE_SHARE]:
            figures[BASE_SHARE] = point["base_share"]
    figures[MISMATCH] = abs(measured["side"][0]["free"]["trigger"] - measured["side"][1]["free"]["trigger"])
    return fault_bits(walker, measured)


@kernel
def first_passing(
    walkers: Any,
    twins: Any,
    lights: Any,
    kind: int,
    allowed: Any,
    limits: Any,
    order: Any,
    start: int,
    state: Any,
    measured: Any,
    figures: Any,
    bits: Any,
) -> int:
    """The first of WALKER records from ``start`` on that has none but ``allowed`` bits at each of ``lights``.

    The number of records if there is none. ``twins`` (walkers,) as from :func:`twins_among`, ``allowed``
    (lights,), ``limits`` (lights, 3) above which a point is poor, ``order`` (lights,) of trying: a light that
    sorts one out is the next one's first. ``bits`` (walkers, lights) keeps what is known, UNKNOWN else.
    ``state``, ``measured`` and ``figures`` to work in.
    """
    for number in range(start, len(walkers)):
        walker = walkers[number]
        passes = True
        for place in range(len(order)):
            which = order[place]
            if allowed[which] == WHATEVER:
                continue
            light = lights[which]
            found = bits[number, which]
            faults = allowed[which] & (POOR - 1)
            # what was sorted out with as much allowed is so again
            if found < UNKNOWN and faults & ~(SORTED_OUT - found) != 0:
                found = UNKNOWN
            if found == UNKNOWN:
                lit = panel_under(walker, light, kind)
                if has_other_than(walker, light, lit, twins[number], faults, state):
                    found = SORTED_OUT - faults
                    bits[number, which] = found
            if found == UNKNOWN:
                found = weigh(walker, light, kind, twins[number], state, measured, figures)
                hidden = HIDDEN * math.hypot(walker["side"][0]["jitter"], walker["side"][1]["jitter"])
                poor = figures[LET_GO] > limits[which, LET_GO]
                poor = poor or figures[BASE_SHARE] > limits[which, BASE_SHARE]
                if poor or figures[MISMATCH] > max(limits[which, MISMATCH], hidden):
                    found |= POOR
                bits[number, which] = found
            if found < UNKNOWN or found & ~allowed[which] != 0:
                for earlier in range(place, 0, -1):
                    order[earlier] = order[earlier - 1]
                order[0] = which
                passes = False
                break
        if passes:
            return number
    return len(walkers)


def twins_among(walkers: RecordArray) -> Any:
    """Which of WALKER records have sides that are mirror images, as :func:`measuring.are_twins` tells."""
    mirrored = walkers["side"][:, 1].copy()
    for name in MIRRORED:
        mirrored[name] = -mirrored[name]
    own, other = (
        np.ascontiguousarray(one).view(np.uint8).reshape(len(walkers), -1)
        for one in (walkers["side"][:, 0], mirrored)
    )
    return np.all(own == other, axis=1)


class Scales:
    """Lights, a kind of light, and limits of what is poor, under which walkers are weighed."""

    def __init__(self, lights: FloatArray, kind: int, limits: FloatArray) -> None:
        self.lights, self._kind, self._limits = lights, kind, limits
        self._order = np.arange(len(lights))
        self._state, self._measured = np.zeros(1, STATE)[0], np.zeros(1, MEASURED)[0]
        self._figures = np.zeros(3)

    def unknown(self, count: int) -> IntArray:
        """A table for the bits of ``count`` walkers, all unknown."""
        return np.full((count, len(self.lights)), UNKNOWN, np.int64)

    def fewer(self, count: int) -> "Scales":
        """As many of the lights, evenly out of them all, with both ends."""
        few = np.unique(np.round(np.linspace(0, len(self.lights) - 1, count)).astype(np.int64))
        return Scales(self.lights[few], self._kind, self._limits[few])

    def passing(self, walkers: RecordArray, allowed: IntArray, bits: IntArray) -> Iterator[int]:
        """Yield the numbers of those WALKER records that have none but ``allowed`` bits (lights,)."""
        number = -1
        twins = twins_among(walkers)
        while True:
            number = int(
                first_passing(
                    walkers,
                    twins,
                    self.lights,
                    self._kind,
                    allowed,
                    self._limits,
                    self._order,
                    number + 1,
                    self._state,
                    self._measured,
                    self._figures,
                    bits,
                )
            )
            if number >= len(walkers):
                return
            yield number
