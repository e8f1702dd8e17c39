"""Advice on a whole design: the fewest changes with which it has no fault at all in a range of light.

Where faults pull against each other a cure of the one brings the other, and only values chosen together will
do. The search goes from the design itself change by change, and keeps the most promising of each round, at
most two with the same parts. What passes at the scanned lights is put on the bench anew, at many more
lights. Where nothing passes, the advice is the one with the widest range of light without a fault.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import IntArray, RecordArray
from agents.design.spec import Design
from agents.errors import ModelError
from agents.testbench.cures import PROOFS_PER_DECADE
from agents.testbench.light_scan import (
    DARK,
    LightScan,
    Range,
    ranges_where,
    telling_lights,
)
from agents.testbench.possible_changes import Change
from agents.testbench.screening import SILENT
from agents.testbench.trials import Trials, checked, clash, joint_records
from agents.testbench.weighing import ANYTHING, POOR

# Changes at the most, how many sets of changes go on from round to round, of which so many with like parts,
# and how many that pass are put on the bench.
MOST_CHANGES = 3
WIDTH = 8
ALIKE = 2
PROOFS = 8
# Lights at which the promise of a set of changes is told.
COARSE = 7
# An advice has to widen the range of light without a fault by this ratio to be worth telling.
WORTH = 1.25


@dataclass(frozen=True)
class WholeDesign:
    """Changes with which a design has no fault in ``lights`` [lx], all that was asked for or its widest part.

    ``before`` [lx] is the widest range without a fault that it has without them; None if there is none.
    """

    text: str
    values: dict[str, Any]
    lights: Range
    is_all: bool
    before: Range | None


def whole_design(
    design: Design, kind: str, lights: Range, scan: LightScan, trials: Trials, seeds: Sequence[Change] = ()
) -> WholeDesign | None:
    """Search for the changes that leave a design without a fault; None where none are worth telling.

    ``seeds`` are cures of single faults, whose union is tried first.
    """
    return _Search(design, kind, lights, scan, trials).advice(seeds)


@dataclass(frozen=True)
class _Set:
    """Some changes as one, and the record (1,) of the design that has them."""

    change: Change
    record: RecordArray


class _Search:
    def __init__(self, design: Design, kind: str, lights: Range, scan: LightScan, trials: Trials) -> None:
        self._design, self._kind, self._lights = design, kind, lights
        self._scan, self._trials = scan, trials
        self._fine = trials.scales
        self._coarse = self._fine.fewer(COARSE)

    def advice(self, seeds: Sequence[Change]) -> WholeDesign | None:
        before = self._widest(self._scan)
        if (union := _union(seeds)) is not None and self._clear(union) == self._lights:
            return WholeDesign(union.text, union.values, self._lights, True, before)
        beam = [_Set(Change({}, ""), self._trials.base)]
        widest: tuple[float, Change, Range] | None = None
        for _ in range(MOST_CHANGES):
            found = self._passing(beam)
            if found is not None:
                return WholeDesign(found.text, found.values, self._lights, True, before)
            beam = self._most_promising(beam)
            for one in beam:
                clear = self._clear(one.change)
                if clear is not None and (widest is None or _span(clear) > 1.05 * widest[0]):
                    widest = _span(clear), one.change, clear
        if widest is None or (before is not None and _span(before) * WORTH > widest[0]):
            return None
        return WholeDesign(widest[1].text, widest[1].values, widest[2], False, before)

    def _with_one_more(self, start: _Set) -> tuple[IntArray, RecordArray]:
        """The numbers of the single changes that set nothing that is set, and records with each of them."""
        singles = self._trials.singles
        free = [
            number for number, change in enumerate(singles) if not clash(start.change.places, change.places)
        ]
        numbers = np.array(free, np.int64)
        own = np.repeat(start.record, len(numbers))
        return numbers, joint_records(self._trials.base, own, self._trials.records[numbers])

    def _passing(self, beam: list[_Set]) -> Change | None:
        """The cheapest set of changes of one more than those of the beam that has no fault at all."""
        found: list[tuple[bool, int, float, Change]] = []
        for start in beam:
            numbers, records = self._with_one_more(start)
            bits = self._fine.unknown(len(records))
            for poor in (0, POOR):
                allowed = np.full(len(self._fine.lights), poor)
                for place in self._fine.passing(records, allowed, bits):
                    more = start.change.with_other(self._trials.singles[numbers[place]])
                    found.append((bool(poor), more.price, more.distance, more))
        found.sort(key=lambda one: one[:3])
        for *_, change in found[:PROOFS]:
            if self._clear(change) == self._lights:
                return change
        return None

    def _most_promising(self, beam: list[_Set]) -> list[_Set]:
        ranked = []
        for start in beam:
            numbers, records = self._with_one_more(start)
            bits = self._coarse.unknown(len(records))
            anything = np.full(len(self._coarse.lights), ANYTHING)
            for place in self._coarse.passing(records, anything, bits):
                # where nothing fires it is not known what else there is
                faulty = sum(
                    int(one & (POOR - 1)).bit_count() + (2 if one & SILENT else 0) for one in bits[place]
                )
                poor = sum(1 for one in bits[place] if one >= POOR)
                change = start.change.with_other(self._trials.singles[numbers[place]])
                rank = faulty, poor, change.price, change.distance
                ranked.append((rank, _Set(change, records[place : place + 1])))
        ranked.sort(key=lambda one: one[0])
        kept: list[_Set] = []
        known: Counter[frozenset[str]] = Counter()
        seen = set()
        for _, one in ranked:
            values = frozenset((path, str(value)) for path, value in one.change.values.items())
            if known[one.change.places] < ALIKE and values not in seen:
                known[one.change.places] += 1
                seen.add(values)
                kept.append(one)
            if len(kept) == WIDTH:
                break
        return kept

    def _clear(self, change: Change) -> Range | None:
        """The widest range [lx] without a fault of the changed design."""
        design = checked(self._design, change)
        return None if design is None else self._widest(LightScan(design, self._kind, self._scan.air))

    def _widest(self, scan: LightScan) -> Range | None:
        try:
            told = telling_lights(scan, self._lights, PROOFS_PER_DECADE)
            clear = ranges_where(lambda light: not scan.bits(light), told)[0]
        except ModelError:
            return None
        return max(clear, key=_span, default=None)


def _span(lights: Range) -> float:
    """How many times brighter the end of a range is than its start."""
    return max(lights[1], DARK) / max(lights[0], DARK)


def _union(seeds: Sequence[Change]) -> Change | None:
    """All of the changes as one, None where two of them set the same place to different values."""
    values: dict[str, Any] = {}
    for change in seeds:
        if any(path in values and values[path] != value for path, value in change.values.items()):
            return None
        values.update(change.values)
    distinct = {str(change.values): change for change in seeds}
    one = Change({}, "")
    for change in distinct.values():
        if one.places & change.places:
            return None
        one = one.with_other(change)
    return one if values else None
