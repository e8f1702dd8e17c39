"""The reader of values, against published codes and against general libraries where those read right."""

import math
from typing import Annotated, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError
from quantiphy import Quantity as ReferenceQuantity
from rkm_codes import from_rkm

from agents.text.exact import exact_text
from agents.text.quantities import Fraction, Number, Point, Points, Quantity
from agents.text.readers import QuantityError, Word
from agents.text.units import DIMENSIONS, format_code, format_quantity

# IEC 60062: the letter stands in the place of the decimal point and gives the multiplier.
CODES = [
    ("ohm", "4k7", 4700.0),
    ("ohm", "R47", 0.47),
    ("ohm", "33k", 33e3),
    ("ohm", "1M", 1e6),
    ("ohm", "10R", 10.0),
    ("ohm", "2R2", 2.2),
    ("ohm", "1M5", 1.5e6),
    ("F", "2m2", 2.2e-3),
    ("F", "47u", 47e-6),
    ("F", "4n7", 4.7e-9),
    ("F", "100n", 100e-9),
    ("F", "p47", 0.47e-12),
]


@pytest.mark.parametrize(("unit", "code", "value"), CODES)
def test_codes_of_iec_60062(unit: str, code: str, value: float) -> None:
    """IEC 60062 against rkm-codes."""
    assert Quantity(unit).read(code) == value
    assert float(from_rkm(code)) == pytest.approx(value, rel=1e-12)
    assert format_code(value, unit) == code


@pytest.mark.parametrize(
    ("unit", "text"),
    [
        ("F", "2200 uF"),
        ("F", "2200uF"),
        ("F", "1 µF"),
        ("V", ".5 V"),
        ("V", "1e-3 V"),
        ("V", "-0.2 V"),
        ("ohm", "33 kohm"),
        ("ohm", "1.5 MΩ"),
        ("A", "4 uA"),
        ("lx", "20 klx"),
        ("Hz", "+5 kHz"),
        ("N", "20 mN"),
        ("Pa", "200 GPa"),
        ("A/lx", "40 nA/lx"),
        ("V/decade", "500 mV/decade"),
    ],
)
def test_agrees_with_a_general_reader(unit: str, text: str) -> None:
    """Quantiphy reads these rightly, prefix and all."""
    assert Quantity(unit).read(text) == pytest.approx(float(ReferenceQuantity(text)), rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "text", "value"),
    [
        # Definitions of the SI Brochure, 9th edition, tables 7 (prefixes) and 8 (minute, hour, degree).
        ("s", "2 min", 120.0),
        ("s", "1.5 h", 5400.0),
        ("rad", "180 deg", math.pi),
        ("rad", "90°", math.pi / 2),
        ("rad/s", "60 rpm", 2 * math.pi),
        ("m", "60 mm", 0.06),
        ("m", "1.5 cm", 0.015),
        ("kg", "14 g", 0.014),
        ("kg m2", "15 g mm2", 1.5e-8),
        ("kg m2", "1 g cm²", 1e-7),
        ("N m", "20 uN m", 2e-5),
        ("N m", "20 µN·m", 2e-5),
        ("N m", "1mNm", 1e-3),
        ("N m/A", "2.2 mN m/A", 2.2e-3),
        ("V s/rad", "2.2 mV s/rad", 2.2e-3),
        ("1/s", "60 1/min", 1.0),
        # A general reader takes no prefix after an exponent, so the prefix of table 7 is checked here.
        ("F", "2.2e3 uF", 2.2e-3),
    ],
)
def test_units_that_are_no_mere_prefixes(unit: str, text: str, value: float) -> None:
    assert Quantity(unit).read(text) == pytest.approx(value, rel=1e-15)


def test_a_decimal_value_is_the_very_float() -> None:
    assert Quantity("F").read("2200 uF") == 2.2e-3
    assert Quantity("F").read("0.1 uF") == 1e-7
    assert Quantity("m", most=0.0003).read("0.3 mm") == 0.0003


WRONG = [
    *[("F", text) for text in ("1 uA", "5 farads", "47u/16V", "47uu", "4k7", "10M", "2.2 MF", "1 mf", "10R")],
    *[("F", text) for text in ("", " ", "0", "33000", "nan", "inf", "nan F", "inf F", "-inf F", "1e999 F")],
    *[("F", text) for text in ("1e-999 F", "1,000 uF", "1 000 uF", "1_000 uF", "--1 uF", "+-1 uF", "uF")],
    *[("F", text) for text in ("٣ uF", "１ uF", "²2 uF", "1 uF 2 uF", "1  uF", "1\tuF", "0x10 uF", "1 u F")],
    *[("F", text) for text in ("1e uF", "1.2.3 uF", ". uF", "2m2m", "2m2 F", "m2m2", "1 uF" + "x" * 99)],
    *[("ohm", text) for text in ("4k7k", "2m2", "4.7k7", "k", "33", "47u", "R", "33 k", "1e3k", "33 kOhm")],
    *[("lm", text) for text in ("20 cd", "20", "20 lx", "20 Lm")],
    *[("V", text) for text in ("3V3", "3 v", "3", "3 V/decade", "3 mA", "500m")],
    *[("m", text) for text in ("60", "60 MM", "60 m2", "1 km", "60 mm mm", "6 ft", "1 m/s")],
    *[("rad", text) for text in ("15", "15 degrees", "15 grad", "0.2")],
    *[("kg", text) for text in ("14", "14 kgs", "14 N", "14 G")],
    *[("s", text) for text in ("20", "12:30", "20 S", "1 hour", "20 sec")],
]


@pytest.mark.parametrize(("unit", "text"), WRONG)
def test_refuses_what_is_not_written_rightly(unit: str, text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        Quantity(unit).read(text)
    assert DIMENSIONS[unit].noun in caught.value.expected
    assert caught.value.got == "nothing" or caught.value.got.startswith(("'", '"'))


def test_message_of_a_bare_number() -> None:
    with pytest.raises(QuantityError) as caught:
        Quantity("ohm", least=1.0, most=10e6).read("33000")
    assert caught.value.got == "'33000'"
    assert caught.value.expected == "a resistance with its unit, like 33k or 33 kohm, 1 ohm to 10 Mohm"


def test_message_of_a_wrong_unit_names_what_is_accepted() -> None:
    with pytest.raises(QuantityError) as caught:
        Quantity("F", above=0.0).read("1 uA")
    assert caught.value.expected == "a capacitance in pF, nF, uF, mF or F, more than 0 F"
    assert caught.value.near == ""
    with pytest.raises(QuantityError) as slip:
        Quantity("V").read("3 v")
    assert slip.value.near == "3 V"


@pytest.mark.parametrize("unit", sorted(DIMENSIONS))
def test_a_slip_in_capitals_is_never_mended_by_nine_decades(unit: str) -> None:
    """Milli is 10^-3 and mega 10^6 (the SI brochure, table of prefixes)."""
    reader = Quantity(unit)
    for spelling in DIMENSIONS[unit].main:
        for written in {spelling.swapcase(), spelling[0].swapcase() + spelling[1:], spelling.upper()}:
            if written in DIMENSIONS[unit].spellings:
                continue
            with pytest.raises(QuantityError) as caught:
                reader.read(f"1 {written}")
            near = caught.value.near
            if near and {written[0], near[2]} == {"m", "M"}:
                # the first letter of a minute or a metre is no prefix
                assert near[2:] in ("min", "m", "m/s", "m2")
    assert Quantity("lx").read("1Mlx") == 1e6
    assert Quantity("lx").read("1 mlx") == 1e-3


@pytest.mark.parametrize(
    ("reader", "inside", "outside"),
    [
        (Quantity("F", least=1e-9, most=10.0), ["1 nF", "10 F"], ["0.99 nF", "10.01 F", "-1 uF", "0 F"]),
        (Quantity("V", above=0.0, below=5.0), ["1 uV", "4.999 V"], ["0 V", "5 V"]),
        (Fraction(), ["0", "1", "100 %", "100%", "0.5"], ["-0.1", "101 %", "1.01", "%", "5 % %", "nan"]),
        (Number(least=1), ["1", "2.5", "1e3"], ["0", "nan", "inf", "1e999", "1 m", "١", "", "1,5", "0x10"]),
        (Number(whole=True, most=9), ["0", "9", "-3"], ["10", "1.0", "1e0", "", "on"]),
    ],
)
def test_ranges(reader: Any, inside: list[str], outside: list[str]) -> None:
    for text in inside:
        assert math.isfinite(reader.read(text))
    for text in outside:
        with pytest.raises(QuantityError):
            reader.read(text)


def test_fractions_and_words() -> None:
    assert Fraction().read("20 %") == 0.2
    assert Fraction().read("0.2") == 0.2
    assert isinstance(Number(whole=True).read("7"), int)
    with pytest.raises(QuantityError) as caught:
        Word(("daylight", "white-led")).read("daylite")
    assert caught.value.near == "daylight"


def test_points() -> None:
    assert Points().read("0.5 0.2 / 0.5 0.9 m") == ((0.5, 0.2), (0.5, 0.9))
    assert Points().read("5 2/5 9 cm") == ((0.05, 0.02), (0.05, 0.09))
    assert Points().read("1e-1 -2E1 / +.5 2. m") == ((0.1, -20.0), (0.5, 2.0))
    assert Point().read("300 -400 mm") == (0.3, -0.4)
    assert Points().read(Points().show(((0.5, 0.2), (0.25, -0.9)))) == ((0.5, 0.2), (0.25, -0.9))
    many = " / ".join(f"{number} 0" for number in range(200))
    assert len(Points().read(f"{many} m")) == 200


@pytest.mark.parametrize(
    "text",
    [
        *("", "m", "1 2 / 3 4", "1 2 m", "1 2 3 / 4 5 6 m", "1 / 2 m", "1 2 // 3 4 m", "1 2 / 3 4 / m"),
        *("1 m 2 m / 3 m 4 m", "1 2 m / 3 4 m", "1, 2 / 3, 4 m", "nan 2 / 3 4 m", "1 2 / 3 1e999 m"),
        *("1 2 / 3 4 V", "1 2 / 3 4 km", "1 2 / 3 4 m m", "1 2 / 3 4000 m", "1 2 e / 3 4 m", "1e 2 / 3 4 m"),
    ],
)
def test_refuses_broken_points(text: str) -> None:
    with pytest.raises(QuantityError):
        Points().read(text)


def test_values_from_python_are_si_and_checked() -> None:
    adapter = TypeAdapter(Annotated[float, Quantity("F", least=1e-9, most=10.0)])
    assert adapter.validate_python(2.2e-3) == 2.2e-3
    assert adapter.validate_python("2m2") == 2.2e-3
    for value in (math.nan, math.inf, 0.0, 11.0, True, None, [1.0], {}, 1e-12):
        with pytest.raises(ValidationError):
            adapter.validate_python(value)
    assert TypeAdapter(Annotated[Any, Point()]).validate_python((0.1, 0.2)) == (0.1, 0.2)
    with pytest.raises(ValidationError):
        TypeAdapter(Annotated[Any, Points()]).validate_python(((0.1, math.nan), (0.0, 0.0)))
    with pytest.raises(ValidationError):
        TypeAdapter(Annotated[Any, Number(whole=True)]).validate_python(2.5)


ALL_SPELLINGS = sorted({spelling for dimension in DIMENSIONS.values() for spelling in dimension.spellings})


@given(
    unit=st.sampled_from(sorted(DIMENSIONS)),
    number=st.floats(1e-6, 1e6).map(repr),
    written=st.sampled_from(ALL_SPELLINGS) | st.text(max_size=6).map(str.strip),
    joint=st.sampled_from(["", " "]),
)
def test_a_mistake_in_units_never_passes(unit: str, number: str, written: str, joint: str) -> None:
    """Whatever stands behind the number, it passes only when this very field's whitelist has it."""
    dimension = DIMENSIONS[unit]
    listed = set(dimension.spellings)
    # Only resistance and capacitance may end in a letter of IEC 60062, without a gap.
    letters = set(dimension.letters) if joint == "" and "e" not in number else set()
    # Glued to the number, a unit like 1/s would lend it digits.
    lends_digits = joint == "" and written[:1] in tuple("0123456789.eE")
    if lends_digits:
        return
    if written in listed or written in letters:
        assert math.isfinite(Quantity(unit).read(number + joint + written))
    else:
        with pytest.raises(QuantityError):
            Quantity(unit).read(number + joint + written)


@given(unit=st.sampled_from(sorted(DIMENSIONS)), value=st.floats(1e-14, 1e12) | st.floats(-1e12, -1e-14))
def test_what_is_printed_reads_back(unit: str, value: float) -> None:
    printed = format_quantity(value, unit, digits=12)
    if len(printed) < 60:
        # degrees begin elsewhere, and have no more digits for what is left near nought kelvin
        near = 1e-9 if unit == "K" else 0.0
        assert Quantity(unit).read(printed) == pytest.approx(value, rel=1e-10, abs=near)


@given(unit=st.sampled_from(["ohm", "F"]), digits=st.integers(100, 999), power=st.integers(-12, 6))
def test_codes_read_back(unit: str, digits: int, power: int) -> None:
    value = float(f"{digits}e{power - 2}")
    assert Quantity(unit).read(format_code(value, unit)) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [
        ("25 degC", 298.15),
        ("-40degC", 233.15),
        ("0 °C", 273.15),
        ("36.6 degC", 309.75),
        ("-273.15 degC", 0.0),
    ],
)
def test_temperatures_are_read_in_degrees(text: str, kelvin: float) -> None:
    """Nought is 273.15 K, by the definition of the SI."""
    reader = Quantity("K")
    assert reader.read(text) == kelvin
    assert reader.read(format_quantity(kelvin, "K", 6)) == pytest.approx(kelvin, abs=1e-9)
    assert reader.read(exact_text(reader, kelvin)) == kelvin
    assert exact_text(reader, 298.15, "20 degC") == "25 degC"


@pytest.mark.parametrize("text", ["-300 degC", "500 degC", "300 K", "300K", "25", "77 F", "25 degF", "25 c"])
def test_temperatures_that_are_none(text: str) -> None:
    with pytest.raises(QuantityError, match=r"temperature.*-40 degC to 85 degC"):
        Quantity("K", least=233.15, most=358.15).read(text)


def test_printing() -> None:
    shown = [
        format_quantity(2.2e-3, "F"),
        format_quantity(0.1, "F"),
        format_quantity(33e3, "ohm"),
        format_quantity(0.9999, "V"),
        format_quantity(0.06, "m"),
        format_quantity(0.014, "kg"),
        format_quantity(math.pi / 2, "rad"),
        format_quantity(3000.0, "lx"),
        format_quantity(0.0, "A"),
        format_quantity(math.nan, "V"),
    ]
    assert shown == [
        *("2200 uF", "0.1 F", "33 kohm", "1 V", "60 mm", "14 g", "90 deg", "3 klx", "0 A", "nan V"),
    ]
    with pytest.raises(ValueError, match="no code"):
        format_code(0.0, "ohm")


@pytest.mark.parametrize("filling", [" ", "1", "/", "a", "1 / ", ". e"])
def test_long_texts_are_refused_before_they_are_looked_through(filling: str) -> None:
    """A million letters: what takes the square of that never ends."""
    text = f"0.5 0.2{filling * (1_000_000 // len(filling))}"
    for reader in (Point(), Points(least_count=3), Points(), Number(), Fraction(), Quantity("m")):
        for ending in ("", " 0.9 m", " x"):
            with pytest.raises(QuantityError):
                reader.read(text + ending)


def test_numbers_beyond_all_floats_are_refused() -> None:
    for reader in (Number(whole=True), Number(), Quantity("m"), Fraction()):
        for value in (10**400, -(10**5000)):
            with pytest.raises(QuantityError):
                reader.read(value)
    with pytest.raises(QuantityError):
        Points().read(((0.0, 10**400), (0.0, 0.0)))
