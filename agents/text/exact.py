"""Writing values so that they read back as the very same floats, in as few digits as that takes."""

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from agents.text.quantities import Fraction, Number, Point, Points, Quantity
from agents.text.readers import QuantityError, Reader
from agents.text.units import DIMENSIONS, format_code, format_quantity, plain_text

# Digits that always tell one double from the next.
_MOST_DIGITS = 17
# Digits that a person still writes, and numbers for which one keeps to a unit.
_FEW_DIGITS = 6
_SUITABLE = (0.01, 1e5)

_TAIL = re.compile(r"[-+0-9.]+(?:[eE][-+]?[0-9]+)?( ?)(\S.*)")


def exact_text(reader: Reader, value: Any, like: str = "") -> str:
    """Return text that ``reader`` reads as exactly ``value`` (SI), short, and in the style of ``like``.

    ``like`` is the text that stood there before: its unit stays where the number suits it, and a code of IEC
    60062 stays a code. Raises QuantityError for a value outside the reader's range.
    """
    checked = reader.check(value) if isinstance(reader, Quantity | Number | Fraction | Points) else value
    for text in _candidates(reader, checked, like):
        try:
            if reader.read(text) == checked:
                return text
        except QuantityError:
            continue
    raise AssertionError(f"{value!r} cannot be written for {reader!r}")


def _candidates(reader: Reader, value: Any, like: str) -> Iterator[str]:
    if isinstance(reader, Points):
        yield from _points(reader, value, like)
    elif isinstance(reader, Quantity):
        yield from _quantities(reader, value, like)
    elif isinstance(reader, Fraction):
        if like and not like.endswith("%"):
            yield repr(value)
        for digits in range(1, _MOST_DIGITS + 1):
            yield f"{plain_text(100.0 * value, digits)} %"
        yield repr(value)
    elif isinstance(reader, Number):
        if not isinstance(value, int):
            for digits in range(1, _MOST_DIGITS + 1):
                yield plain_text(value, digits)
        yield repr(value)
    else:
        yield reader.show(value)


def _quantities(reader: Quantity, value: float, like: str) -> Iterator[str]:
    dimension = DIMENSIONS[reader.unit]
    match = _TAIL.fullmatch(like)
    spelling, gap = (match[2], match[1]) if match else ("", " ")
    factor = float(dimension.spellings.get(spelling, 0.0))
    if dimension.offset:
        for digits in range(1, _MOST_DIGITS + 1):
            yield f"{plain_text(float(Decimal(value) - dimension.offset), digits)} {dimension.main[0]}"
    suits = factor > 0.0 and (value == 0.0 or _SUITABLE[0] <= abs(value) / factor <= _SUITABLE[1])
    # a resistance is written as a code unless the file does otherwise; R3 is for files that have such
    coded = (
        bool(dimension.letters) and factor == 0.0 and (bool(like) or (reader.unit == "ohm" and value >= 1))
    )
    for most in (_FEW_DIGITS, _MOST_DIGITS):
        for digits in range(1, most + 1) if suits else ():
            yield f"{plain_text(value / factor, digits)}{gap}{spelling}"
        for digits in range(1, most + 1) if coded and value > 0.0 else ():
            yield format_code(value, reader.unit, digits)
        for digits in range(1, most + 1):
            yield format_quantity(value, reader.unit, digits)
    # the unit of the code itself, which multiplies by one
    yield f"{value!r} {reader.unit}"


def _points(reader: Points, value: Any, like: str) -> Iterator[str]:
    points = (value,) if isinstance(reader, Point) else value
    spellings = DIMENSIONS[reader.unit].spellings
    match = re.search(r"[^\W\d_]+$", like)
    unit = match[0] if match and match[0] in spellings else reader.unit
    for name in dict.fromkeys((unit, reader.unit)):
        factor = float(spellings[name])
        for digits in (_FEW_DIGITS, _MOST_DIGITS):
            yield f"{' / '.join(_pair(point, factor, digits) for point in points)} {name}"
    yield f"{' / '.join(f'{x!r} {y!r}' for x, y in points)} {reader.unit}"


def _pair(point: tuple[float, float], factor: float, digits: int) -> str:
    return " ".join(plain_text(value / factor, digits) for value in point)
