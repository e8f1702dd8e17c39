"""Finding values of a plan that make no design, or no arena, whatever the other values are.

That is tried out for as many values as can be tried in a moment; what is left over shows in the results as
impossible.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

from agents.design.spec import Design
from agents.errors import InputError
from arena.scene.spec import ArenaSpec
from arena.studies.plans.parameters import Parameter, values_into_arena, values_into_design
from arena.studies.plans.ranges import Levels, Span

Varied = tuple[Parameter, Levels | Span]
Fits = Callable[[Any, Mapping[Parameter, Any]], str]
"""Tells why values make no design, or no arena; empty text where they do."""

# Values of one parameter, and combinations of the others, that are tried.
_MOST_TRIED = 200
_MOST_COMBINED = 64
# Values that a design has at the least.
_LEAST_SIZE = 100


@dataclass
class Work:
    """What is left of the values that may be checked anew in all the trials of a plan, a second's work."""

    left: int = 100_000


def impossible_values(
    found: Sequence[Varied], owners: Sequence[tuple[Any, int]], fits: Fits, work: Work
) -> Iterator[tuple[Parameter, int, str]]:
    """Yield the first value of each parameter that never makes anything: which, and why.

    ``found`` is all that is varied of the ``owners``, designs or arenas with the numbers of their values. The
    value is told by its number in :func:`some_of`.
    """
    size = sum(max(one, _LEAST_SIZE) for _, one in owners)

    def reasons_of(values: Mapping[Parameter, Any]) -> list[str]:
        work.left -= size
        return [fits(owner, values) for owner, _ in owners]

    for number, (parameter, values) in enumerate(found):
        others = [one for index, one in enumerate(found) if index != number]
        choices = [some_of(one) for _, one in others]
        # between the ends of a span there may be a way that no trying finds
        is_sure = all(isinstance(one, Levels) for _, one in others)
        is_sure = is_sure and math.prod(len(one) for one in choices) <= _MOST_COMBINED
        some = some_of(values)
        # of very many, as many as can be tried, and the last one
        for index in sorted({*range(0, len(some), len(some) // _MOST_TRIED + 1), len(some) - 1}):
            if work.left < 0:
                return
            reasons = reasons_of({parameter: some[index]})
            if not all(reasons) or not is_sure:
                continue
            combined = (
                {parameter: some[index], **dict(zip((one for one, _ in others), choice, strict=True))}
                for choice in product(*choices)
            )
            if others and not all(work.left >= 0 and all(reasons_of(one)) for one in combined):
                continue
            yield parameter, index, reasons[0]
            break


def some_of(values: Levels | Span) -> Sequence[Any]:
    """All of single values, three of a span."""
    return values.values if isinstance(values, Levels) else (values.low, values.at(0.5), values.high)


def fits_design(design: Design, values: Mapping[Parameter, Any]) -> str:
    """Return why the values make no design, or empty text."""
    try:
        values_into_design(design, {one.path: one.put(value) for one, value in values.items()})
    except InputError as error:
        return str(error)
    return ""


def fits_arena(spec: ArenaSpec, values: Mapping[Parameter, Any]) -> str:
    """Return why the values make no arena, or empty text."""
    try:
        values_into_arena(spec, {one.path: value for one, value in values.items()})
    except InputError as error:
        return str(error)
    return ""
