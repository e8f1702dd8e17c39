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

from agents.handbook.preferred_values import SERIES, nearest_preferred, preferred_values
from agents.text.quantities import Fraction, Number, Quantity
from agents.text.readers import QuantityError, quote
from agents.text.spec_reading import KeyedError, KeyedErrors
from arena.studies.plans.parameters import Parameter

# More values of one parameter than this make no study that anybody reads.
MOST_LEVELS = 10_000

_FORM = "values with commas between them, or a range like E12 10k..100k or 20 mm..80 mm in 4"
_SERIES = re.compile(r"([Ee][0-9]+)\s+(.*)")
_COUNT = re.compile(r"(.*\S)\s+in\s+(\S+)")
_RATIO = re.compile(r"(.*\S)\s+by\s+ratio")


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
    series = _SERIES.fullmatch(text)
    if ".." not in text:
        if series:
            raise _refused(quote(text), f"a range of that series, like {series[1]} 10k..100k")
        return _listed([part.strip() for part in text.split(",")], parameter, False)
    if "," in text or "..." in text or text.count("..") > 1:
        raise _refused(quote(text), "one range from end to end, or single values with commas between them")
    reader = parameter.reader
    if not isinstance(reader, Quantity | Fraction | Number):
        raise _refused("a range", f"single values, each {reader.expected}")
    ends, count, by_ratio = _taken_apart(series[2] if series else text)
    low, high = _ends(ends, parameter)
    is_whole = isinstance(reader, Number) and reader.whole
    if series and is_whole:
        raise _refused(quote(text), f"whole numbers, like {parameter.show(low)}..{parameter.show(high)}")
    if series:
        if count or by_ratio:
            raise _refused(quote(text), f"the range alone after {series[1]}")
        return _series(series[1], low, high, parameter)
    if by_ratio and low <= 0.0:
        raise _refused(f"a range by ratio from {parameter.show(low)}", "one from more than nought")
    if not count and not is_whole:
        return Span(low, high, by_ratio)
    if not count:
        count = str(int(high - low) + 1)
    if not re.fullmatch("[0-9]{1,9}", count) or not 2 <= int(count) <= MOST_LEVELS:
        raise _refused(f"in {count}", f"a number of values, from 2 to {MOST_LEVELS}")
    values = _steps(low, high, int(count), by_ratio)
    if not is_whole:
        return Levels(tuple(values))
    if any(abs(value - round(value)) > 1e-9 * value for value in values):
        raise _refused(quote(text), "steps that fall on whole numbers")
    return Levels(tuple(round(value) for value in values))


def _taken_apart(text: str) -> tuple[str, str, bool]:
    """Return the ends of a range as text, its number of values or nothing, and whether it is by ratio.

    The two that may follow a range come in either order, each once.
    """
    count, by_ratio = "", False
    for _ in range(2):
        if (match := _COUNT.fullmatch(text)) and not count:
            text, count = match[1], match[2]
        elif (match := _RATIO.fullmatch(text)) and not by_ratio:
            text, by_ratio = match[1], True
    return text, count, by_ratio


def _ends(text: str, parameter: Parameter) -> tuple[float, float]:
    values: list[float] = []
    errors: list[KeyedError] = []
    parts = [part.strip() for part in text.split("..")]
    for part in parts:
        try:
            values.append(parameter.reader.read(part))
        except QuantityError as error:
            errors.append(KeyedError((), error.got, error.expected, error.near))
    if errors:
        raise KeyedErrors(errors)
    low, high = values
    if low >= high:
        what = "is a single value" if low == high else "runs downward"
        raise _refused(f"{text}, which {what}", "a range from a lower to a higher value")
    return low, high


def range_text(values: Levels | Span, parameter: Parameter) -> str:
    """Return text that :func:`read_range` reads as the very same values."""
    if isinstance(values, Levels):
        return ", ".join(parameter.exact(value) for value in values.values)
    ends = f"{parameter.exact(values.low)}..{parameter.exact(values.high)}"
    return f"{ends} by ratio" if values.by_ratio else ends


def _refused(got: str, expected: str, near: str = "") -> KeyedErrors:
    return KeyedErrors([KeyedError((), got, expected, near)])


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


def _steps(low: float, high: float, count: int, by_ratio: bool) -> list[float]:
    if by_ratio:
        inner = [low * (high / low) ** (number / (count - 1)) for number in range(1, count - 1)]
        return [low, *inner, high]
    # in exact arithmetic on what was written, so that 20 mm..80 mm in 4 says 40 mm and nothing beside it
    first, last = Exact(Decimal(repr(low))), Exact(Decimal(repr(high)))
    return [float(first + (last - first) * number / (count - 1)) for number in range(count)]
