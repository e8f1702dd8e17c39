"""What distinguishes the settings of a study: factors, their levels, and a table of settings by levels."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from agents.arrays import BoolArray, IntArray

# Values that grow at least so much from the least to the most may be spread by ratio.
_LEAST_RATIO = 4.0


class Named(Protocol):
    """What is asked of a parameter."""

    @property
    def path(self) -> str:
        """Its path in the plan."""
        ...

    @property
    def is_ordered(self) -> bool:
        """Whether its values are numbers."""
        ...

    @property
    def unit(self) -> str:
        """SI unit of its values, or empty."""
        ...

    def label(self) -> str:
        """Short name."""
        ...

    def show(self, value: Any) -> str:
        """A value in words."""
        ...


@dataclass(frozen=True)
class Factor:
    """One thing that is varied, and the ``levels`` it takes, with the words ``shown`` for each.

    ``is_ordered``: the levels are numbers [``unit``, SI], ascending; ``by_ratio``: they are spread evenly by
    ratio rather than by difference. ``is_binned``: each level stands for a range of values. ``title`` is what
    plots call it, beside its name.
    """

    name: str
    levels: tuple[Any, ...]
    shown: tuple[str, ...]
    is_ordered: bool
    by_ratio: bool = False
    unit: str = ""
    is_binned: bool = False
    title: str = ""

    @property
    def words(self) -> str:
        """The title, or the name where there is none."""
        return self.title or self.name


@dataclass(frozen=True)
class Table:
    """Settings by factors: ``places`` (settings, factors) index into the levels of each factor."""

    factors: tuple[Factor, ...]
    places: IntArray

    def __len__(self) -> int:
        return len(self.places)

    @property
    def is_grid(self) -> bool:
        """Whether every combination of levels stands in the table exactly once."""
        combinations = math.prod(len(factor.levels) for factor in self.factors)
        return combinations == len(self) == len(np.unique(self.places, axis=0))

    def of(self, settings: IntArray | BoolArray) -> "Table":
        """The table of some of the settings; levels that none of them takes are left out."""
        places = self.places[settings]
        factors = []
        columns = []
        for number, factor in enumerate(self.factors):
            used, column = np.unique(places[:, number], return_inverse=True)
            factors.append(
                replace(
                    factor,
                    levels=tuple(factor.levels[level] for level in used),
                    shown=tuple(factor.shown[level] for level in used),
                )
            )
            columns.append(column)
        shape = (len(places), len(self.factors))
        return Table(tuple(factors), np.array(columns, dtype=np.int64).reshape(shape[::-1]).T.copy())

    def binned(self, number: int, most: int) -> "Table":
        """The table with at most ``most`` levels of factor ``number``, where that is ordered.

        Neighbouring levels are thrown together, so that each bin holds about as many settings; it is shown
        by its first and last value and stands at the middle one.
        """
        factor = self.factors[number]
        if not factor.is_ordered or len(factor.levels) <= most:
            return self
        column = self.places[:, number]
        held = np.cumsum(np.bincount(column, minlength=len(factor.levels)))
        # A level goes to the bin in which the middle one of its settings comes to lie.
        middle = held - np.bincount(column, minlength=len(factor.levels)) / 2.0
        bins = np.minimum((middle * most / len(column)).astype(np.int64), most - 1)
        _, bins = np.unique(bins, return_inverse=True)
        levels, shown = [], []
        for one in range(int(bins.max()) + 1):
            members = np.flatnonzero(bins == one)
            levels.append(factor.levels[members[len(members) // 2]])
            first, last = factor.shown[members[0]], factor.shown[members[-1]]
            shown.append(first if first == last else f"{first} to {last}")
        places = self.places.copy()
        places[:, number] = bins[column]
        put = replace(factor, levels=tuple(levels), shown=tuple(shown), is_binned=True)
        return Table((*self.factors[:number], put, *self.factors[number + 1 :]), places)


def table_of(parameters: Sequence[Named], rows: Sequence[Sequence[Any]]) -> Table:
    """The table of settings with these ``rows`` of values, one of each parameter, SI.

    Levels are the values that occur; those of numbers ascend, others come in the order of their first
    setting. A parameter that may be none, and is in some setting, is not ordered.
    """
    factors, columns = [], []
    for number, parameter in enumerate(parameters):
        values = [row[number] for row in rows]
        is_ordered = parameter.is_ordered and all(value is not None for value in values)
        # Points are lists, which are no keys.
        keys = [value if is_ordered else repr(value) for value in values]
        first = dict(zip(reversed(keys), reversed(values), strict=True))
        order = sorted(first) if is_ordered else list(dict.fromkeys(keys))
        place = {key: index for index, key in enumerate(order)}
        levels = tuple(first[key] for key in order)
        factors.append(
            Factor(
                parameter.label() or parameter.path,
                levels,
                tuple(parameter.show(value) for value in levels),
                is_ordered,
                is_ordered and _is_by_ratio(levels),
                parameter.unit,
            )
        )
        columns.append([place[key] for key in keys])
    return Table(
        tuple(factors), np.array(columns, dtype=np.int64).reshape(len(parameters), len(rows)).T.copy()
    )


def _is_by_ratio(levels: Sequence[float]) -> bool:
    """Whether ascending numbers are spread more evenly by ratio than by difference."""
    if levels[0] <= 0.0 or levels[-1] / levels[0] < _LEAST_RATIO:
        return False
    values = np.array(levels, dtype=np.float64)
    if len(values) == 2:
        return True
    steps, ratios = np.diff(values), np.diff(np.log(values))
    return bool(ratios.std() / ratios.mean() < steps.std() / steps.mean())
