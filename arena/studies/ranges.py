"""What a plan says of the values of one parameter: single values, a series, even steps, or a span.

=============================== ===========================================================
text                            values
=============================== ===========================================================
``15 mm, 20 mm, 25 mm``         these; in YAML also a list, with one value an item
``E12 10k..100k``               the preferred values of E6, E12 or E24, both ends included
``20 mm..80 mm in 4``           so many, from end to end, in even steps
``1 klx..9 klx in 5 by ratio``  so many, each the same multiple of the one before
``20 mm..80 mm``                any between the ends, for sampling that draws
``1 mF..10 mF by ratio``        any, with a ratio as likely wherever it lies
=============================== ===========================================================

Of a whole number, ``1..10`` means all of them.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction as Exact
from typing import Any

from agents.documents import KeyedError, KeyedErrors
from agents.preferred import SERIES, nearest_preferred, preferred_values
from agents.quantities import Fraction, Number, Quantity, QuantityError, quote
from agents.readers import Reader
from arena.studies.paths import Parameter

__all__ = ["MOST_LEVELS", "Levels", "Span", "range_text", "read_range"]

# More values of one parameter than this make no study that anybody reads.
MOST_LEVELS = 10_000

_FORM = "values with commas between them, or a range like E12 10k..100k or 20 mm..80 mm in 4"
_RANGE = re.compile(r"(.*?)\s*\.\.\s*(.*?)(?:\s+in\s+(\S+))?(\s+by\s+ratio)?")
_SERIES = re.compile(r"([Ee][0-9]+)\s+(.*)")


@dataclass(frozen=True)
class Levels:
    """Single values, in the order of the plan; ``series`` is the name of the preferred series or None."""

    values: tuple[Any, ...]
    series: str | None = None

    def at(self, share: float) -> Any:
        """Return the value whose equal part of [0, 1) holds ``share``."""
        return self.values[min(int(share * len(self.values)), len(self.values) - 1)]


@dataclass(frozen=True)
class Span:
    """Any value from ``low`` to ``high`` (SI); ``by_ratio``: evenly spread in its logarithm."""

    low: float
    high: float
    by_ratio: bool = False

    def at(self, share: float) -> float:
        """Return the value at ``share`` of the way, 0 to 1."""
        if self.by_ratio:
            value = self.low * (self.high / self.low) ** share
        else:
            value = self.low + (self.high - self.low) * share
        return min(max(value, self.low), self.high)


def read_range(text: str | Sequence[str], parameter: Parameter) -> Levels | Span:
    """Read the values of a parameter.

    Raises KeyedErrors with all that is wrong, at the path of the item of a list or at the empty path.
    """
    if not isinstance(text, str):
        return _listed(list(text), parameter, True)
    text = text.strip()
    if ".." not in text:
        if match := _SERIES.fullmatch(text):
            got = quote(text)
            raise _refused(got, f"a range of that series, like {match[1]} 10k..100k")
        return _listed([part.strip() for part in text.split(",")], parameter, False)
    if "," in text:
        raise _refused(quote(text), "one range, or single values with commas between them")
    series = None
    if match := _SERIES.fullmatch(text):
        series, text = match[1], match[2]
    match = _RANGE.fullmatch(text)
    if match is None or not match[1] or not match[2]:
        raise _refused(quote(text), _FORM)
    reader = parameter.reader
    if not isinstance(reader, Quantity | Fraction | Number):
        raise _refused("a range", f"single values, each {reader.expected}")
    ends = [_end(part, reader) for part in (match[1], match[2])]
    low, high = (
        (value for value, _ in ends if value is not None) if not any(e for _, e in ends) else (0.0, 0.0)
    )
    errors = [error for _, error in ends if error is not None]
    if errors:
        raise KeyedErrors(errors)
    if low >= high:
        got = f"{match[1]}..{match[2]}, which {'is a single value' if low == high else 'runs downward'}"
        raise _refused(got, "a range from a lower to a higher value")
    if series is not None:
        if match[3] or match[4]:
            raise _refused(quote(text), f"the range alone after {series}")
        return _series(series, low, high, parameter)
    by_ratio = match[4] is not None
    if by_ratio and low <= 0.0:
        raise _refused(f"a range by ratio from {match[1]}", "one from more than nought")
    is_whole = isinstance(reader, Number) and reader.whole
    if match[3] is None:
        return _all_whole(int(low), int(high)) if is_whole and not by_ratio else Span(low, high, by_ratio)
    if not re.fullmatch("[0-9]{1,9}", match[3]) or not 2 <= int(match[3]) <= MOST_LEVELS:
        raise _refused(f"in {match[3]}", f"a number of values, from 2 to {MOST_LEVELS}")
    values = _steps(low, high, int(match[3]), by_ratio)
    return Levels(tuple(values))


def range_text(values: Levels | Span, parameter: Parameter) -> str:
    """Return text that :func:`read_range` reads as the very same values."""
    if isinstance(values, Levels):
        return ", ".join(parameter.exact(value) for value in values.values)
    ends = f"{parameter.exact(values.low)}..{parameter.exact(values.high)}"
    return f"{ends} by ratio" if values.by_ratio else ends


def _refused(got: str, expected: str, near: str = "", path: tuple[int, ...] = ()) -> KeyedErrors:
    return KeyedErrors([KeyedError(path, got, expected, near)])


def _end(text: str, reader: Reader) -> tuple[float | None, KeyedError | None]:
    try:
        return reader.read(text), None
    except QuantityError as error:
        return None, KeyedError((), error.got, error.expected, error.near)


def _listed(texts: list[str], parameter: Parameter, is_list: bool) -> Levels:
    errors: list[KeyedError] = []
    values: dict[Any, str] = {}
    if not texts:
        raise _refused("an empty list", _FORM)
    if len(texts) > MOST_LEVELS:
        raise _refused(f"{len(texts)} values", f"at most {MOST_LEVELS}")
    for index, text in enumerate(texts):
        path = (index,) if is_list else ()
        try:
            value = None if text == "none" and parameter.may_be_none else parameter.reader.read(text)
        except QuantityError as error:
            also = "; or none" if parameter.may_be_none else ""
            errors.append(KeyedError(path, error.got, error.expected + also, error.near))
            continue
        if value in values:
            same = "" if values[value] == text else f", the same as {values[value]}"
            errors.append(KeyedError(path, f"{text} a second time{same}", "each value once"))
        values.setdefault(value, text)
    if errors:
        raise KeyedErrors(errors)
    return Levels(tuple(values))


def _series(series: str, low: float, high: float, parameter: Parameter) -> Levels:
    if series not in SERIES:
        near = f"E{min((int(name[1:]) for name in SERIES), key=lambda one: abs(one - int(series[1:])))}"
        raise _refused(f"the series {series}", f"one of {', '.join(SERIES)}", near)
    if low <= 0.0:
        raise _refused(f"{series} from {parameter.show(low)}", "a range from more than nought")
    values = preferred_values(series, low, high)
    if not values:
        near = parameter.show(nearest_preferred((low * high) ** 0.5, series))
        got = f"{parameter.show(low)}..{parameter.show(high)}, which holds no value of {series}"
        raise _refused(got, "a range with preferred values in it", near)
    return Levels(values, series)


def _all_whole(low: int, high: int) -> Levels:
    if high - low + 1 > MOST_LEVELS:
        raise _refused(f"{high - low + 1} values", f"at most {MOST_LEVELS}; or a number of steps, like in 10")
    return Levels(tuple(range(low, high + 1)))


def _steps(low: float, high: float, count: int, by_ratio: bool) -> list[float]:
    if by_ratio:
        inner = [low * (high / low) ** (number / (count - 1)) for number in range(1, count - 1)]
        return [low, *inner, high]
    # in exact arithmetic on what was written, so that 20 mm..80 mm in 4 says 40 mm and nothing beside it
    first, last = Exact(Decimal(repr(low))), Exact(Decimal(repr(high)))
    return [float(first + (last - first) * number / (count - 1)) for number in range(count)]
