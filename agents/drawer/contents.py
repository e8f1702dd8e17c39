"""What a drawer's file says: parts with their values, how many there are, what one costs, what was measured.

A resistor or capacitor is given by a value, by the code printed on it or by its rings of colour. Any other
part takes the fields that it has in a design; what it leaves out stays as the design has it.
"""

import math
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, ClassVar

from pydantic import Field

from agents.design.panel_readings import SOLVED
from agents.design.parts import Driver, Eye, Motor, Panel, Resistance, Transistor, Tyre
from agents.drawer.part_codes import read_figures, read_rings
from agents.text.keyed_errors import KeyedError, UnreadError, cross_check
from agents.text.marked_yaml import KeyPath
from agents.text.quantities import Fraction, Number, Quantity
from agents.text.readers import QuantityError, Reader, sort_of
from agents.text.shapes import BaseSpec
from agents.text.shipped import find_document
from agents.text.spec_reading import parse_document, read_document

MOST_PIECES = 100_000
# Entries of one list, about as many as E24 has values. The label of a panel takes a while to solve.
MOST_ENTRIES = 300
MOST_PANELS = 50

_PRICE = re.compile(r"(?:([A-Z]{3}) )?([0-9]{1,7}(?:\.[0-9]{1,4})?)(?: ([A-Z]{3}))?")
_OHM = Quantity("ohm", least=10.0, most=100e6)
_FARAD = Quantity("F", least=1e-9, most=10.0)


@dataclass(frozen=True)
class Price:
    """What one piece costs: an amount, exact to the last figure written, and a currency of ISO 4217."""

    amount: Decimal
    currency: str

    def __str__(self) -> str:
        return f"{self.amount} {self.currency}"


@dataclass(frozen=True)
class PriceReader(Reader):
    """Reads a price like ``0.12 EUR``."""

    @property
    def expected(self) -> str:
        return "a price with the three letters of its currency, like 0.12 EUR"

    @property
    def range_text(self) -> str:
        return "from 0"

    def parse(self, text: str) -> Price:
        """Return the price."""
        match = _PRICE.fullmatch(text)
        if match is None or (match[1] is None) == (match[3] is None):
            raise self._refuse(text)
        return Price(Decimal(match[2]), match[1] or match[3])

    def json_form(self) -> dict[str, Any]:
        amount = r"[0-9]{1,7}(?:\.[0-9]{1,4})?"
        return {"type": "string", "pattern": rf"^\s*(?:[A-Z]{{3}} {amount}|{amount} [A-Z]{{3}})\s*$"}

    def check(self, value: Any) -> Price:
        if not isinstance(value, Price):
            raise QuantityError(sort_of(value), self.expected)
        return value

    def show(self, value: Any) -> str:
        return str(value)


@dataclass(frozen=True)
class PrintedCode(Reader):
    """Reads what is printed on a part, in ``unit``: a value with its unit, letters or figures of a code."""

    unit: str

    @property
    def expected(self) -> str:
        return "what is printed on it, like 4k7 or 472" if self.unit == "ohm" else "like 104, 100n or 2200 uF"

    def parse(self, text: str) -> tuple[float, float | None]:
        """Return value and tolerance, None where it says none."""
        try:
            found = read_figures(text, self.unit)
            value, tolerance = (self._reader.read(text), None) if found is None else found
            return self._reader.check(value), tolerance
        except QuantityError as error:
            raise QuantityError(error.got, f"{self.expected}; {error.expected}", error.near) from None

    @property
    def _reader(self) -> Quantity:
        return _OHM if self.unit == "ohm" else _FARAD

    def check(self, value: Any) -> Any:
        raise QuantityError(sort_of(value), self.expected)

    def show(self, value: Any) -> str:
        return self._reader.show(value[0])


@dataclass(frozen=True)
class Rings(Reader):
    """Reads the rings of a resistor."""

    @property
    def expected(self) -> str:
        return "three to six colours of rings, like yellow violet red gold"

    def parse(self, text: str) -> tuple[float, float]:
        """Return resistance [ohm] and tolerance."""
        value, tolerance = read_rings(text)
        return _OHM.check(value), tolerance

    def check(self, value: Any) -> Any:
        raise QuantityError(sort_of(value), self.expected)

    def show(self, value: Any) -> str:
        return _OHM.show(value[0])


class Stocked(BaseSpec):
    """What any part of a drawer says of itself beside its values."""

    name: str | None = Field(None, description="name by which lists show it")
    count: Annotated[int, Number(least=0, most=MOST_PIECES, whole=True)] | None = Field(
        None, description="how many are there; as many as were measured, or one, if left out"
    )
    price: Annotated[Price, PriceReader()] | None = Field(None, description="what one costs")

    # the field of a design's part that ``measured`` is about
    measured_field: ClassVar[str] = ""

    @property
    def readings(self) -> tuple[float, ...]:
        """What a meter read of single pieces [SI], in the order written."""
        return getattr(self, "measured", ())

    @property
    def pieces(self) -> int:
        """How many there are."""
        return max(1, len(self.readings)) if self.count is None else self.count

    @cross_check
    def _check_count(self) -> Iterator[KeyedError]:
        measured = len(getattr(self, "measured", ()))
        if self.count is not None and measured > self.count:
            yield KeyedError(("count",), str(self.count), f"at least {measured}, which were measured")

    def values(self) -> dict[str, Any]:
        """Return what it sets of a design's part, SI values by field."""
        return {name: getattr(self, name) for name in sorted(self.model_fields_set - OWN_FIELDS)}


OWN_FIELDS = {*Stocked.model_fields, "measured", "measured_at"}
"""Fields that a part has in a drawer and not in a design."""


class _Coded(Stocked):
    """A part of one value, which may be given in several ways."""

    @cross_check
    def _check_ways(self) -> Iterator[KeyedError]:
        ways = [way for way in ("value", "code", "rings") if way in type(self).model_fields]
        # also what could not be read has been given
        given = [way for way in ways if self.is_given(way)]
        if len(given) != 1:
            got = " beside ".join(given) or "no value"
            yield KeyedError((given[1],) if given else (), got, f"one of {', '.join(ways)}")

    def _said(self) -> tuple[float, float | None]:
        """Value and tolerance of its rings or its code; there is one of them."""
        said: tuple[float, float | None] = getattr(self, "rings", None) or getattr(self, "code")  # noqa: B009
        return said


class DrawerResistor(_Coded):
    """Resistors of one value."""

    example: ClassVar[str] = "{code: 4k7, count: 20} or {rings: yellow violet red gold, count: 20}"
    measured_field: ClassVar[str] = "value"

    value: Resistance | None = Field(None, description="resistance")
    code: Annotated[Any, PrintedCode("ohm")] | None = Field(None, description="what is printed on it")
    rings: Annotated[Any, Rings()] | None = Field(
        None, description="colours of its rings (IEC 60062), the first first"
    )
    tolerance: Annotated[float, Fraction(least=0.0, most=0.5)] | None = Field(
        None, description="how far a piece may be off; that of code or rings if left out"
    )
    measured: tuple[Resistance, ...] = Field((), description="what a meter read of single pieces")

    @property
    def nominal(self) -> float:
        """The resistance that it is sold as [ohm]."""
        if self.value is not None:
            return self.value
        return float(self._said()[0])

    @property
    def share_off(self) -> float | None:
        """Its tolerance as a share; None where nothing says it."""
        if self.tolerance is not None or self.value is not None:
            return self.tolerance
        share: float | None = self._said()[1]
        return share


class DrawerCapacitor(_Coded):
    """Capacitors of one value, small or large."""

    example: ClassVar[str] = '{code: "104", count: 20} or {value: 2200 uF, count: 4}'
    measured_field: ClassVar[str] = "value"

    value: Annotated[float, _FARAD] | None = Field(None, description="capacitance")
    code: Annotated[Any, PrintedCode("F")] | None = Field(None, description="what is printed on it")
    tolerance: Annotated[float, Fraction(least=0.0, most=0.8)] | None = Field(
        None, description="how far a piece may be off"
    )
    leak: Annotated[float, Quantity("ohm", least=100.0, most=1e12)] | None = Field(
        None, description="leak, as a resistance across it"
    )
    series_resistance: Annotated[float, Quantity("ohm", least=0.0, most=1e3)] | None = Field(
        None, description="equivalent series resistance"
    )
    rated: Annotated[float, Quantity("V", least=0.5, most=1000.0)] | None = Field(
        None, description="voltage that it bears"
    )
    measured: tuple[Annotated[float, _FARAD], ...] = Field(
        (), description="what a meter read of single pieces"
    )

    @property
    def nominal(self) -> float:
        """The capacitance that it is sold as [F]."""
        return self.value if self.value is not None else float(self._said()[0])

    @property
    def share_off(self) -> float | None:
        """Its tolerance as a share; None where nothing says it."""
        if self.tolerance is not None or self.code is None:
            return self.tolerance
        share: float | None = self._said()[1]
        return share


class DrawerTape(Stocked):
    """A tape or sleeve for an eye; one piece covers one eye."""

    example: ClassVar[str] = "{name: grey tape, transmission: 30 %, count: 10}"

    transmission: Annotated[float, Fraction(least=1e-4, most=1.0)] = Field(
        description="share of the light that it lets through"
    )


class DrawerEye(Stocked, Eye):
    """Flashing LEDs of one bag."""

    example: ClassVar[str] = "{name: red flashers, dark_trigger: 2.2 V, count: 12}"
    measured_field: ClassVar[str] = "dark_trigger"

    measured: tuple[Annotated[float, Quantity("V", least=0.1, most=20.0)], ...] = Field(
        (), description="voltage at which single pieces flash, all in the light of measured_at"
    )
    measured_at: Annotated[float, Quantity("lx", least=0.0, most=1e6)] = Field(
        0.0, description="light on the bare eyes as they were measured"
    )

    @property
    def readings(self) -> tuple[float, ...]:
        """What each piece would flash at in the dark [V]."""
        rise = self.slope * math.log10(1.0 + self.measured_at / self.knee_light)
        return tuple(reading - rise for reading in self.measured)


class DrawerMotor(Stocked, Motor):
    """Motors of one sort."""

    example: ClassVar[str] = "{name: small round, resistance: 28 ohm, constant: 2.2 mV s/rad, count: 4}"
    measured_field: ClassVar[str] = "resistance"

    measured: tuple[Annotated[float, Quantity("ohm", least=0.5, most=1e4)], ...] = Field(
        (), description="winding resistance of single pieces"
    )


class DrawerNpn(Stocked, Transistor):
    """NPN transistors of one sort."""

    example: ClassVar[str] = "{name: small NPN, gain: 200, count: 10}"
    measured_field: ClassVar[str] = "gain"

    measured: tuple[Annotated[float, Number(least=5.0, most=2000.0)], ...] = Field(
        (), description="gain of single pieces"
    )


class DrawerPnp(Stocked, Driver):
    """PNP transistors of one sort."""

    example: ClassVar[str] = "{name: small PNP, gain: 200, count: 10}"
    measured_field: ClassVar[str] = "gain"

    measured: tuple[Annotated[float, Number(least=5.0, most=2000.0)], ...] = Field(
        (), description="gain of single pieces"
    )


class DrawerPanel(Stocked, Panel):
    """Solar panels of one sort."""

    example: ClassVar[str] = "{name: desk cell, current_per_light: 40 nA/lx, count: 2}"

    def values(self) -> dict[str, Any]:
        """Return what it sets of a design's panel; the values of the diode in place of a label."""
        values = super().values()
        if values.pop("label", ()):
            values |= {key: getattr(self, key) for key in SOLVED}
        return values


class DrawerTyre(Stocked, Tyre):
    """Tubes for tyres of one sort; one piece makes one tyre."""

    example: ClassVar[str] = "{name: thin sleeve, radius: 1.6 mm, count: 4}"


def _entries(description: str, most: int = MOST_ENTRIES) -> Any:
    """A list of a drawer."""
    return Field((), max_length=most, description=description)


class Drawer(BaseSpec):
    """A drawer of parts, as in ``configs/parts/*.yaml``."""

    name: str = Field(description="name by which lists show it")
    about: str | None = Field(None, description="what it is, in a sentence")
    resistors: tuple[DrawerResistor, ...] = _entries("resistors")
    capacitors: tuple[DrawerCapacitor, ...] = _entries(
        "capacitors; up to 100 uF for coupling, from 100 uF on as storage"
    )
    tapes: tuple[DrawerTape, ...] = _entries("tapes and sleeves for eyes")
    eyes: tuple[DrawerEye, ...] = _entries("flashing LEDs")
    npns: tuple[DrawerNpn, ...] = _entries("NPN transistors")
    pnps: tuple[DrawerPnp, ...] = _entries("PNP transistors")
    motors: tuple[DrawerMotor, ...] = _entries("motors")
    panels: tuple[DrawerPanel, ...] = _entries("solar panels", MOST_PANELS)
    tyres: tuple[DrawerTyre, ...] = _entries("tubes for tyres")

    def items(self) -> Iterator[tuple[str, int, Stocked]]:
        """Yield every entry with its list and its position there."""
        for section in SECTIONS:
            with suppress(UnreadError):
                for number, item in enumerate(getattr(self, section)):
                    yield section, number, item

    @property
    def currency(self) -> str:
        """The currency of all prices; empty where nothing has a price."""
        return next((item.price.currency for *_, item in self.items() if item.price is not None), "")

    @cross_check
    def _check_names(self) -> Iterator[KeyedError]:
        places: dict[str, KeyPath] = {}
        for section, number, item in self.items():
            with suppress(UnreadError):
                if item.name in places:
                    other, before = places[item.name]
                    expected = f"names that differ; {other}[{before}] has it too"
                    yield KeyedError((section, number, "name"), repr(item.name), expected)
                elif item.name is not None:
                    places[item.name] = (section, number)

    @cross_check
    def _check_prices(self) -> Iterator[KeyedError]:
        priced: tuple[str, str] | None = None
        for section, number, item in self.items():
            with suppress(UnreadError):
                if item.price is None:
                    continue
                priced = priced or (item.price.currency, f"{section}[{number}]")
                if item.price.currency != priced[0]:
                    expected = f"one currency in a drawer; {priced[1]} has {priced[0]}"
                    yield KeyedError((section, number, "price"), str(item.price), expected)


BORROWING = ("eyes", "npns", "pnps", "motors", "panels", "tyres")
"""Lists of parts that take the fields of a design."""

SECTIONS = tuple(name for name in Drawer.model_fields if name not in ("name", "about"))


def read_drawer(name_or_path: str | Path) -> Drawer:
    """Read a drawer by the name of a shipped one or by the path of a file.

    Raises :class:`~agents.errors.SpecError` with all that is wrong with the file, and
    :class:`~agents.errors.NotFoundError`.

    >>> drawer = read_drawer("potting-shed")
    >>> [one.nominal for one in drawer.resistors][:3], drawer.currency
    ([1000.0, 2200.0, 4700.0], 'EUR')
    """
    return read_document(find_document(str(name_or_path), "drawer"), Drawer, "drawer")


def parse_drawer(text: str, file: str) -> Drawer:
    """Read a drawer from the ``text`` of its file; ``file`` is what faults call it. Raises SpecError."""
    return parse_document(text, file, Drawer, "drawer")
