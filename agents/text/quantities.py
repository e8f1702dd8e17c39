"""The door: values as people write them, read strictly into floats of SI units.

Each class here is an annotation for a field of a spec, as in
``latch: Annotated[float, Quantity("ohm", least=100, most=1e7)] = 10e3``. Text is read with its unit; a float
or tuple that comes from Python is taken to be SI already, and only its range is checked. Nothing is guessed:
a spelling that is not in :mod:`agents.text.units` is refused, and so is a bare number where a unit is needed.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from string import ascii_letters
from typing import Any

from agents.text.readers import QuantityError, Reader, quote, sort_of
from agents.text.units import DIMENSIONS, Dimension, UnitFactor, format_quantity, plain_text

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_PLAIN = re.compile(_NUMBER)
_WITH_UNIT = re.compile(rf"({_NUMBER}) ?(\S(?:.*\S)?)")
_WHOLE = re.compile(r"[+-]?[0-9]+")

# The letters of units, more than any spelling has, and more than a point takes.
_LETTERS = ascii_letters + "µμ"
_LONGEST_UNIT = 8
_LONGEST_POINT = 100
# Whole numbers beyond this have no float.
_MOST_BITS = 1000

# What has a meaning of its own in a pattern.
_SPECIAL = re.compile(r"([.*+?^${}()|\[\]\\])")


def _any_of(spellings: Iterable[str]) -> str:
    """A pattern of these spellings, longest first; it holds in Python and in ECMA-262 alike."""
    ordered = sorted(spellings, key=lambda spelling: (-len(spelling), spelling))
    return "(?:" + "|".join(_SPECIAL.sub(r"\\\1", spelling) for spelling in ordered) + ")"


def _to_float(number: str, factor: UnitFactor, offset: Decimal = Decimal(0)) -> float:
    """Multiply exactly where the factor is decimal, so that 2200 uF is the very float 2.2e-3."""
    if isinstance(factor, Decimal):
        return float(Decimal(number) * factor + offset)
    return float(number) * factor


def _vanished(number: str, value: float) -> bool:
    """Tell whether a number that is not nought was too small for a float."""
    return value == 0.0 and any(digit in "123456789" for digit in re.split("[eE]", number)[0])


def _is_milli_or_mega(spelling: str, dimension: Dimension) -> bool:
    return spelling[0] in "mM" and spelling[1:] in dimension.spellings


@dataclass(frozen=True)
class _Ranged(Reader):
    """A single number with bounds in SI units; ``least`` and ``most`` belong to the range, the others not."""

    least: float | None = None
    most: float | None = None
    above: float | None = None
    below: float | None = None

    @property
    def range_text(self) -> str:
        if self.least is not None and self.most is not None:
            return f"{self.show(self.least)} to {self.show(self.most)}"
        bounds = (
            ("at least", self.least),
            ("more than", self.above),
            ("at most", self.most),
            ("less than", self.below),
        )
        return ", ".join(f"{word} {self.show(bound)}" for word, bound in bounds if bound is not None)

    def _with_range(self, text: str) -> str:
        return f"{text}, {self.range_text}" if self.range_text else text

    def _inside(self, value: float) -> bool:
        return (
            math.isfinite(value)
            and (self.least is None or value >= self.least)
            and (self.most is None or value <= self.most)
            and (self.above is None or value > self.above)
            and (self.below is None or value < self.below)
        )

    def check(self, value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise QuantityError(sort_of(value), self.expected)
        if isinstance(value, int) and value.bit_length() > _MOST_BITS:
            raise QuantityError("a number of very many digits", self.expected)
        if not self._inside(value):
            raise QuantityError(str(value), self.expected)
        return float(value)

    def _checked(self, number: str, value: float, text: str) -> float:
        if _vanished(number, value) or not self._inside(value):
            raise self._refuse(text)
        return value


@dataclass(frozen=True)
class Quantity(_Ranged):
    """A float with a unit, a key of :data:`agents.text.units.DIMENSIONS`; bounds are in that unit."""

    unit: str = ""

    def __init__(
        self,
        unit: str,
        least: float | None = None,
        most: float | None = None,
        above: float | None = None,
        below: float | None = None,
    ) -> None:
        if unit not in DIMENSIONS:
            raise KeyError(unit)
        for name, given in (
            ("least", least),
            ("most", most),
            ("above", above),
            ("below", below),
            ("unit", unit),
        ):
            object.__setattr__(self, name, given)

    @property
    def unit_text(self) -> str:
        return {"rad": "deg", "K": "degC"}.get(self.unit, self.unit)

    @property
    def expected(self) -> str:
        dimension = DIMENSIONS[self.unit]
        return self._with_range(f"{dimension.noun} with its unit, like {dimension.example}")

    def parse(self, text: str) -> float:
        """Return the value in SI units."""
        dimension = DIMENSIONS[self.unit]
        if dimension.letters and (found := self._code(text)) is not None:
            return self._checked(text, found, text)
        match = _WITH_UNIT.fullmatch(text)
        if not match or _PLAIN.fullmatch(text):
            raise self._refuse(text)
        number, unit = match.groups()
        factor = dimension.spellings.get(unit)
        if factor is None:
            raise self._wrong_unit(text, number, unit)
        value = _to_float(number, factor, dimension.offset)
        # nought on a scale with an offset is no number that was too small
        return self._checked("0" if dimension.offset else number, value, text)

    def _code(self, text: str) -> float | None:
        """Read a code of IEC 60062: the letter stands for the unit and for the decimal point; or None."""
        letters = DIMENSIONS[self.unit].letters
        group = "".join(letters)
        for pattern in (rf"([0-9]*)([{group}])([0-9]*)", rf"([0-9]+\.[0-9]*|\.[0-9]+)([{group}])()"):
            match = re.fullmatch(pattern, text)
            if match and (match[1] or match[3]):
                number = match[1] if not match[3] else f"{match[1] or '0'}.{match[3]}"
                return _to_float(number, letters[match[2]])
        return None

    def _wrong_unit(self, text: str, number: str, unit: str) -> QuantityError:
        dimension = DIMENSIONS[self.unit]
        # Only a slip in capitals is sure to be meant; 'uA' is no misspelt 'uF'.
        slips = [name for name in dimension.main if name.casefold() == unit.casefold()]
        # Of milli and mega nobody can tell which was meant, and one is 10^9 of the other.
        slips = [name for name in slips if name[0] == unit[0] or not _is_milli_or_mega(name, dimension)]
        near = f"{number} {slips[0]}" if len(slips) == 1 else ""
        *firsts, last = dimension.main
        listed = f"{', '.join(firsts)} or {last}" if firsts else last
        return self._refuse(text, self._with_range(f"{dimension.noun} in {listed}"), near)

    def json_form(self) -> dict[str, Any]:
        dimension = DIMENSIONS[self.unit]
        # a unit that begins with a digit, like 1/s, cannot stand at a number's own digits
        apart = [spelling for spelling in dimension.spellings if spelling[0].isdigit()]
        others = [spelling for spelling in dimension.spellings if spelling not in apart]
        gaps = ((" ?", others), (" ", apart))
        forms = [f"{_NUMBER}{gap}{_any_of(spellings)}" for gap, spellings in gaps if spellings]
        if dimension.letters:
            letter = _any_of(dimension.letters)
            forms.append(f"[0-9]+{letter}[0-9]*|{letter}[0-9]+|(?:[0-9]+\\.[0-9]*|\\.[0-9]+){letter}")
        return {"type": "string", "pattern": f"^\\s*(?:{'|'.join(forms)})\\s*$"}

    def show(self, value: Any) -> str:
        return format_quantity(value, self.unit, digits=6)


@dataclass(frozen=True)
class Number(_Ranged):
    """A plain number without a unit: a float, or an int where ``whole`` is set."""

    whole: bool = False

    @property
    def expected(self) -> str:
        return self._with_range("a whole number" if self.whole else "a plain number")

    def parse(self, text: str) -> float:
        """Return a float, or an int where ``whole`` is set."""
        if not (_WHOLE if self.whole else _PLAIN).fullmatch(text):
            raise self._refuse(text)
        return self._checked(text, int(text) if self.whole else float(text), text)

    def check(self, value: Any) -> float:
        checked = super().check(value)
        if not self.whole:
            return checked
        if not isinstance(value, int):
            raise QuantityError(str(value), self.expected)
        return value

    def json_form(self) -> dict[str, Any]:
        pattern = _WHOLE.pattern if self.whole else _NUMBER
        bounds = {
            "minimum": self.least,
            "maximum": self.most,
            "exclusiveMinimum": self.above,
            "exclusiveMaximum": self.below,
        }
        given = {name: bound for name, bound in bounds.items() if bound is not None}
        # an editor takes bare digits for a number, and the file may put them in quotes
        number = {"type": "integer" if self.whole else "number", **given}
        return {"anyOf": [number, {"type": "string", "pattern": f"^\\s*{pattern}\\s*$"}]}

    def show(self, value: Any) -> str:
        return str(value) if isinstance(value, int) else plain_text(float(value), 6)


@dataclass(frozen=True)
class Fraction(_Ranged):
    """A share, written as ``20 %`` or ``0.2``; from 0 to 1 unless other bounds are given."""

    least: float | None = 0.0
    most: float | None = 1.0

    @property
    def unit_text(self) -> str:
        return "%"

    @property
    def expected(self) -> str:
        return self._with_range("a share, like 20 % or 0.2")

    def parse(self, text: str) -> float:
        """Return the share as a float, 1 for 100 %."""
        number = text.removesuffix("%").rstrip()
        if not _PLAIN.fullmatch(number):
            raise self._refuse(text)
        value = _to_float(number, Decimal("0.01") if text.endswith("%") else Decimal(1))
        return self._checked(number, value, text)

    def json_form(self) -> dict[str, Any]:
        bounds = {"minimum": self.least, "maximum": self.most}
        number = {"type": "number", **{name: bound for name, bound in bounds.items() if bound is not None}}
        return {"anyOf": [number, {"type": "string", "pattern": f"^\\s*{_NUMBER}\\s*%?\\s*$"}]}

    def show(self, value: Any) -> str:
        return f"{plain_text(100.0 * value, 6)} %"


Pair = tuple[float, float]


@dataclass(frozen=True)
class Points(Reader):
    """Points of a plane, separated by ``/``, with their unit once at the end: ``0.5 0.2 / 0.5 0.9 m``.

    Gives a tuple of pairs in SI units; no coordinate may be further than ``most`` from nought.
    """

    unit: str = "m"
    least_count: int = 2
    most_count: int = 1000
    most: float = 1000.0

    @property
    def unit_text(self) -> str:
        return self.unit

    @property
    def range_text(self) -> str:
        return f"at least {self.least_count} points"

    @property
    def expected(self) -> str:
        bounds = (
            f"{self.least_count} to {self.most_count} of them, within {self.show_length(self.most)} of 0 0"
        )
        return f"points separated by / with their unit at the end, like 0.5 0.2 / 0.5 0.9 m, {bounds}"

    @property
    def may_be_long(self) -> bool:
        return True

    def show_length(self, value: float) -> str:
        """Print one coordinate."""
        return format_quantity(value, self.unit, digits=6)

    def parse(self, text: str) -> Any:
        """Return a tuple of (x, y) in SI units."""
        return self._read_points(text)

    def _read_points(self, text: str) -> tuple[Pair, ...]:
        # letters at the end are the unit, and no unit is as long as this
        tail = text[-_LONGEST_UNIT:]
        unit = tail[len(tail.rstrip(_LETTERS)) :]
        factor = DIMENSIONS[self.unit].spellings.get(unit)
        if factor is None or len(text) > self.most_count * _LONGEST_POINT:
            raise self._refuse(text)
        parts = text.removesuffix(unit).split("/")
        # blanks alone separate, no tabs
        pairs = [[one for one in part.split(" ") if one] for part in parts]
        if any(len(pair) != 2 or not all(map(_PLAIN.fullmatch, pair)) for pair in pairs):
            raise self._refuse(text)
        return self._checked(
            tuple((_to_float(x, factor), _to_float(y, factor)) for x, y in pairs), quote(text)
        )

    def _checked(self, points: tuple[Pair, ...], got: str) -> tuple[Pair, ...]:
        inside = all(abs(coordinate) <= self.most for point in points for coordinate in point)
        if not (inside and self.least_count <= len(points) <= self.most_count):
            raise QuantityError(got, self.expected)
        return points

    def json_form(self) -> dict[str, Any]:
        units = [spelling for spelling in DIMENSIONS[self.unit].spellings if spelling.isalpha()]
        more = f"{{{self.least_count - 1},{self.most_count - 1}}}"
        point = f"{_NUMBER} +{_NUMBER}"
        return {"type": "string", "pattern": f"^\\s*{point}(?: */ *{point}){more} *{_any_of(units)}\\s*$"}

    def check(self, value: Any) -> Any:
        try:
            points = tuple((float(x), float(y)) for x, y in value)
        except (TypeError, ValueError, OverflowError):
            raise QuantityError(sort_of(value), self.expected) from None
        return self._checked(points, f"{len(points)} points")

    def show(self, value: Any) -> str:
        factor = float(DIMENSIONS[self.unit].spellings[self.unit])
        pairs = (f"{plain_text(x / factor, 6)} {plain_text(y / factor, 6)}" for x, y in value)
        return f"{' / '.join(pairs)} {self.unit}"


@dataclass(frozen=True)
class Point(Points):
    """One point of a plane, like ``0.3 0.4 m``; gives a pair in SI units."""

    least_count: int = 1
    most_count: int = 1

    @property
    def range_text(self) -> str:
        return ""

    @property
    def expected(self) -> str:
        return (
            f"a point with its unit at the end, like 0.3 0.4 m, within {self.show_length(self.most)} of 0 0"
        )

    def parse(self, text: str) -> Any:
        """Return (x, y) in SI units."""
        return self._read_points(text)[0]

    def check(self, value: Any) -> Any:
        return super().check((value,))[0]

    def show(self, value: Any) -> str:
        return super().show((value,))
