"""A design with every change worth a try, and every two of them: the records, and what is known of them.

Records of single changes are built from the changed design. A pair of changes sets what the one and what the
other sets, which are different parts, so that its record is put together from theirs.
"""

from collections.abc import Callable, Iterator, Sequence
from functools import cache, cached_property
from typing import Any

import numpy as np

from agents.arrays import IntArray, RecordArray
from agents.circuit.records import WALKER
from agents.design.as_built import build, fill
from agents.design.spec import FASTEST_DISCHARGE, Design, part_reader
from agents.errors import InputError
from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.testbench.possible_changes import Change, changes
from agents.testbench.weighing import Scales
from agents.text.quantities import Fraction, Number, Quantity
from agents.text.readers import QuantityError

# Pairs whose records are put together at a time.
CHUNK = 1024


class Trials:
    """What a design becomes by each change worth a try and by each two of them, weighed as far as asked."""

    def __init__(
        self,
        design: Design,
        scales: Scales,
        air: float = ROOM_TEMPERATURE,
        all_changes: Callable[[Design], list[Change]] = changes,
    ) -> None:
        self.scales = scales
        self.base = build(design, air)
        possible = [
            (change, changed) for change in all_changes(design) if (changed := applied(design, change))
        ]
        self.singles = [change for change, _ in possible]
        self.records = np.zeros(len(possible), WALKER)
        for record, (_, changed) in zip(self.records, possible, strict=True):
            fill(record, changed, air)
        self._bits = scales.unknown(len(self.singles))

    def passing_singles(self, allowed: IntArray) -> Iterator[int]:
        """Yield the numbers of the single changes that show none but ``allowed`` bits (lights,)."""
        yield from self.scales.passing(self.records, allowed, self._bits)

    def passing_pairs(self, allowed: IntArray, numbers: IntArray) -> Iterator[int]:
        """Yield those of the ``numbers`` of pairs that show none but ``allowed`` bits (lights,)."""
        firsts, seconds, table = self.pairs
        for start in range(0, len(numbers), CHUNK):
            chosen = numbers[start : start + CHUNK]
            records = joint_records(self.base, self.records[firsts[chosen]], self.records[seconds[chosen]])
            bits = table[chosen]
            for place in self.scales.passing(records, allowed, bits):
                table[chosen] = bits
                yield int(chosen[place])
            table[chosen] = bits

    def single_bits(self, number: int) -> IntArray:
        """The bits (lights,) of a single change, weighed as far as any search had to."""
        return self._bits[number]

    def pair_bits(self, number: int) -> IntArray:
        """The bits (lights,) of a pair, weighed as far as any search had to."""
        return self.pairs[2][number]

    def pair(self, number: int) -> Change:
        """A pair of changes as one."""
        firsts, seconds, _ = self.pairs
        return self.singles[firsts[number]].with_other(self.singles[seconds[number]])

    def pairs_with(self, members: Sequence[int]) -> IntArray:
        """Numbers of the pairs of which one is among ``members``, single changes by their numbers."""
        wanted = np.zeros(len(self.singles), bool)
        wanted[list(members)] = True
        firsts, seconds, _ = self.pairs
        return np.flatnonzero(wanted[firsts] | wanted[seconds])

    @property
    def pair_prices(self) -> IntArray:
        """What each pair costs, as :class:`Change` has it."""
        firsts, seconds, _ = self.pairs
        prices = np.array([change.price for change in self.singles], np.int64)
        summed: IntArray = prices[firsts] + prices[seconds]
        return summed

    @cached_property
    def pairs(self) -> tuple[IntArray, IntArray, IntArray]:
        """The two changes of each pair by their numbers, the cheapest pairs first, and a table of bits."""
        first, second = np.triu_indices(len(self.singles), 1)
        apart = ~_clashes(self.singles)[first, second]
        first, second = first[apart], second[apart]
        prices = np.array([change.price for change in self.singles])
        distances = np.array([change.distance for change in self.singles])
        far = np.round(distances[first] + distances[second], 9)
        order = np.lexsort((far, prices[first] + prices[second]))
        return first[order], second[order], self.scales.unknown(len(order))


def applied(design: Design, change: Change) -> Design | None:
    """The changed design; None where a file may not give one of the values."""
    for path, value in change.values.items():
        reader = _reader(path)
        if reader is not None and value is not None:
            try:
                reader.check(value)
            except QuantityError:
                return None
    changed = change.applied(design)
    return changed if changed.discharge_rate <= FASTEST_DISCHARGE else None


@cache
def _reader(path: str) -> Quantity | Fraction | Number | None:
    return part_reader(path)


def checked(design: Design, change: Change) -> Design | None:
    """The changed design, with all checks of a design made; None where they refuse it."""
    changed = change.applied(design)
    try:
        return Design(**{name: getattr(changed, name) for name in Design.model_fields})
    except (InputError, ValueError):
        return None


def joint_records(base: RecordArray, ones: RecordArray, others: RecordArray) -> RecordArray:
    """Records with what ``ones`` and what ``others`` set that the one WALKER record of ``base`` has not."""
    plain = np.ascontiguousarray(base).view(np.uint8).reshape(1, -1)
    first = np.ascontiguousarray(ones).view(np.uint8).reshape(len(ones), -1)
    second = np.ascontiguousarray(others).view(np.uint8).reshape(len(others), -1)
    # a value of eight bytes is taken whole, since two values may have some of their bytes in common
    width = 8
    assert WALKER.itemsize % width == 0
    wide: Any = np.uint64
    both = np.where(second.view(wide) != plain.view(wide), second.view(wide), first.view(wide))
    records = np.ascontiguousarray(both).view(np.uint8).view(WALKER).reshape(len(ones))
    return records


def clash(one: frozenset[str], other: frozenset[str]) -> bool:
    """Whether two changes, by the places that they set, set one value, or one what the other's part holds."""
    if one & other:
        return True
    return any(a.startswith(f"{b}.") or b.startswith(f"{a}.") for a in one for b in other)


def _clashes(singles: list[Change]) -> Any:
    """Which two of the changes set the same value, or one what the other one's part holds."""
    places = [change.places for change in singles]
    wider = [{part for place in one for part in _parts(place)} for one in places]
    every = sorted({place for one in wider for place in one})
    numbers = {place: number for number, place in enumerate(every)}
    exact = np.zeros((len(singles), len(every)), np.float32)
    whole = np.zeros_like(exact)
    for row, (own, parts) in enumerate(zip(places, wider, strict=True)):
        exact[row, [numbers[place] for place in own]] = 1.0
        whole[row, [numbers[place] for place in parts]] = 1.0
    meets = exact @ whole.T > 0.0
    return meets | meets.T


def _parts(place: str) -> list[str]:
    keys = place.split(".")
    return [".".join(keys[: count + 1]) for count in range(len(keys))]
