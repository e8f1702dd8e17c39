"""The cure of a fault, found by trying changes on the bench.

A cure is not looked up. Every change of :mod:`agents.testbench.possible_changes` is tried, and where none
will do, every two of them. What passes at the lights that were scanned is built, read as a file would be, and
put on the bench anew, at twice as many lights and where it begins and ceases to fire; only what has lost the
fault throughout is a cure. Those that bring no fault come first, of these the single changes, and of these
the cheapest, no pair with a motor or a panel before one of small parts; where nothing fires there is no
pulse to spoil, so that there a cure may bring what the design has wherever it does fire. A change that leaves
poor pulses (see :mod:`agents.testbench.weighing`) comes after those that do not. If every cure brings a
fault, the one that brings the least is told, with what it brings; and if there is none, the change that comes
nearest, which is one that brings no fault where it heals.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from agents.arrays import IntArray
from agents.design.spec import Design
from agents.errors import ModelError
from agents.handbook.light_kinds import kind_index
from agents.testbench.bench_figures import BenchPoint
from agents.testbench.faults import FAULTS, fault_names
from agents.testbench.light_scan import (
    SCANS_PER_DECADE,
    LightScan,
    Range,
    poor_limits,
    ranges_where,
    telling_lights,
)
from agents.testbench.possible_changes import MOTOR, STORAGE, Change, changes
from agents.testbench.screening import SILENT
from agents.testbench.trials import Trials, checked
from agents.testbench.weighing import ANYTHING, POOR, WHATEVER, Scales

# Lights in a decade at which a change is put on the bench.
PROOFS_PER_DECADE = 48
# Lights of a fault's range at which a single change has to remove it to be taken as one half of a pair.
FEW = 4
# How many changes that pass at the scanned lights are put on the bench before a rank is given up.
PROOFS = 6

# Changes that pass, and their bits (lights,) as far as known.
Passing = Iterator[tuple[Change, IntArray]]


@dataclass(frozen=True)
class Brought:
    """A fault that comes with a change, and the lights [lx] at which it had not been there."""

    name: str
    lights: Range


@dataclass(frozen=True)
class Cure:
    """A change that removes a fault, as it was tried.

    ``values`` are SI values by path of the design. ``lights`` [lx] is the range in which the fault is gone;
    all of the fault's own, unless ``stays`` names ranges where it is not: then it is only a near miss.
    ``brings`` tells the faults that come with the change, at lights that had none of them; ``leaves`` all
    that it has in the whole range asked for. ``now`` and ``then`` are the bench without and with the change,
    at the light at which the fault was looked at.
    """

    text: str
    values: dict[str, Any]
    lights: Range
    brings: tuple[Brought, ...] = ()
    stays: tuple[Range, ...] = ()
    leaves: tuple[str, ...] = ()
    now: BenchPoint | None = None
    then: BenchPoint | None = None

    @property
    def change(self) -> Change:
        """The change itself."""
        return Change(self.values, self.text)


class CureSearch:
    """The search for cures of one design, for all its faults at the scanned lights."""

    def __init__(
        self,
        design: Design,
        kind: str,
        lights: Range,
        scan: LightScan,
        scanned: Sequence[float],
        all_changes: Callable[[Design], list[Change]] = changes,
    ) -> None:
        self._design, self._kind, self._range = design, kind, lights
        self.scan, self.scanned = scan, np.array(scanned)
        scales = Scales(self.scanned, kind_index(kind), poor_limits(scan, scanned))
        self.trials = Trials(design, scales, scan.air, all_changes)
        self._proofs: dict[str, LightScan | None] = {}

    def cure(self, name: str, lights: Range, looked_at: float) -> Cure | None:
        """Find the best cure of the fault ``name`` in its range of ``lights`` [lx], or the nearest miss."""
        cure = self._cure(name, lights)
        if cure is None:
            return None
        after = self.changed(cure.change)
        assert after is not None
        return replace(cure, now=self.scan.point(looked_at), then=after.point(looked_at))

    def _cure(self, name: str, lights: Range) -> Cure | None:
        bit = 1 << FAULTS.index(name)
        strictly, loosely = (
            np.array([self.scan.excused(float(light), sometimes) for light in self.scanned])
            for sometimes in (False, True)
        )
        within = (self.scanned >= lights[0]) & (self.scanned <= lights[1])

        def without(bits: IntArray) -> IntArray:
            # a walker that no longer fires has lost its fault with its pulses, which is no cure
            barred = np.array([bit | self._barred(bit, float(light)) for light in self.scanned])
            return np.where(within, bits & ~barred, bits)

        anything = without(np.full(len(self.scanned), ANYTHING))
        singles, pairs = self._singles, self._pairs
        for allowed in (without(strictly), without(strictly) | POOR):
            if found := self._first(name, lights, singles(allowed), False):
                return found
        # one change removes the fault and another one what comes of it; where none does, any two may
        inside = np.flatnonzero(within)
        few = np.unique(inside[np.linspace(0, len(inside) - 1, FEW).astype(int)])
        healing = np.full(len(self.scanned), WHATEVER)
        healing[few] = anything[few]
        healers = list(self.trials.passing_singles(healing))
        numbers = self.trials.pairs_with(healers or range(len(self.trials.singles)))
        prices = self.trials.pair_prices
        rounds = [numbers]
        if healers:
            # two cheap changes may do together what neither does alone, and go before a motor or a panel
            dear = prices[numbers] >= MOTOR
            rounds = [numbers[~dear], np.flatnonzero(prices < STORAGE), numbers[dear]]
        for allowed in (without(strictly), without(strictly) | POOR):
            for some in rounds:
                if found := self._first(name, lights, pairs(allowed, some), False):
                    return found
        for passing in (singles(without(loosely) | POOR), pairs(without(loosely) | POOR, numbers)):
            if found := self._first(name, lights, passing, True):
                return found
        for passing in (singles(anything), pairs(anything, numbers)):
            if found := self._least(name, lights, passing):
                return found
        return self._near_miss(name, lights, bit, within, loosely)

    def _barred(self, bit: int, light: float) -> int:
        """Bits that a cure of the fault with the ``bit`` may not have at a light of its range [lx]."""
        return SILENT if bit & SILENT else SILENT & ~self.scan.bits(light)

    def _singles(self, allowed: IntArray) -> Passing:
        trials = self.trials
        return ((trials.singles[one], trials.single_bits(one)) for one in trials.passing_singles(allowed))

    def _pairs(self, allowed: IntArray, numbers: IntArray) -> Passing:
        trials = self.trials
        return ((trials.pair(one), trials.pair_bits(one)) for one in trials.passing_pairs(allowed, numbers))

    def _first(self, name: str, lights: Range, passing: Passing, sometimes: bool | None) -> Cure | None:
        """The first change that stands its proof, and brings nothing but what is excused."""
        for tries, (change, _) in enumerate(passing):
            if tries == PROOFS:
                return None
            proven = self._proven(name, lights, change, sometimes)
            if proven is not None:
                return proven
        return None

    def _least(self, name: str, lights: Range, passing: Passing) -> Cure | None:
        """The change that brings the least, out of all or the first many that remove the fault."""
        before = np.array([self.scan.bits(float(light)) for light in self.scanned])
        found = []
        for number, (change, bits) in enumerate(passing):
            new = bits & ~before & (POOR - 1)
            found.append((sum(int(one).bit_count() for one in new), number, change))
            if len(found) == 400:
                break
        for _, _, change in sorted(found, key=lambda one: one[:2])[:PROOFS]:
            proven = self._proven(name, lights, change, None)
            if proven is not None:
                return proven
        return None

    def _near_miss(self, name: str, lights: Range, bit: int, within: Any, excused: IntArray) -> Cure | None:
        """The single change that removes a fault from the most of its lights, and brings none there."""
        barred = np.array([bit | self._barred(bit, float(light)) for light in self.scanned])
        found = []
        anything = np.full(len(self.scanned), ANYTHING)
        for number in self.trials.passing_singles(anything):
            bits = self.trials.single_bits(number)
            brought = bits & ~excused & (POOR - 1)
            # a light where another fault takes the place of this one is not healed
            healed = int(np.count_nonzero(within & (bits & barred == 0) & (brought == 0)))
            found.append((-healed, int(np.count_nonzero(brought)), number))
        for healed, _, number in sorted(found)[:PROOFS]:
            if healed < 0:
                miss = self._proven(name, lights, self.trials.singles[number], None, misses=True)
                if miss is not None:
                    return miss
        return None

    def changed(self, change: Change) -> LightScan | None:
        """The bench with a changed design, None where a file may not give it."""
        if change.text not in self._proofs:
            design = checked(self._design, change)
            self._proofs[change.text] = (
                None if design is None else LightScan(design, self._kind, self.scan.air)
            )
        return self._proofs[change.text]

    def _proven(
        self, name: str, lights: Range, change: Change, sometimes: bool | None, misses: bool = False
    ) -> Cure | None:
        """The cure that a change is on the bench; None if it is none, or brings more than is excused.

        ``sometimes`` as for :meth:`LightScan.excused`, and None if it may bring whatever it does.
        """
        after = self.changed(change)
        if after is None:
            return None
        bit = 1 << FAULTS.index(name)
        try:
            for per_decade in (SCANS_PER_DECADE, PROOFS_PER_DECADE):
                told = telling_lights(after, self._range, per_decade)
                told = sorted({*map(float, self.scanned), *told, *lights})
                inside = [light for light in told if lights[0] <= light <= lights[1]]
                stays = ranges_where(self._unhealed(after, bit), inside)[0]
                if (bool(stays) and not misses) or stays == [lights]:
                    return None
                if sometimes is not None and any(
                    after.bits(light) & ~self.scan.excused(light, sometimes) for light in told
                ):
                    return None
            if misses and not stays:
                return None
            brings = self._brought(after, told)
            leaves = fault_names(int(np.bitwise_or.reduce([after.bits(light) for light in told])))
        except ModelError:
            # what cannot be followed is not known to be better
            return None
        return Cure(change.text, change.values, lights, brings, tuple(stays), leaves)

    def _unhealed(self, after: LightScan, bit: int) -> Callable[[float], bool]:
        """Whether a changed walker has the fault still at a light, or fires no more."""
        return lambda light: bool(after.bits(light) & (bit | self._barred(bit, light)))

    def _brought(self, after: LightScan, told: Sequence[float]) -> tuple[Brought, ...]:
        """What has come up with a change, by name and range of light."""
        new = int(np.bitwise_or.reduce([after.bits(one) & ~self.scan.bits(one) for one in told]))
        return tuple(
            Brought(name, one)
            for place, name in enumerate(FAULTS)
            if new >> place & 1
            for one in ranges_where(_new(after, self.scan, 1 << place), told)[0]
        )


def _new(after: LightScan, before: LightScan, bit: int) -> Callable[[float], bool]:
    return lambda light: bool(after.bits(light) & ~before.bits(light) & bit)
