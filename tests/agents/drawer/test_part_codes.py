"""What is printed on parts, against IEC 60062 and a general library of its codes."""

import pytest
from rkm_codes import from_rkm

from agents.drawer.contents import PrintedCode
from agents.drawer.part_codes import FIGURES, figure_code, read_figures, read_rings, ring_colours
from agents.handbook.preferred_values import preferred_values
from agents.text.readers import QuantityError

# Rings by IEC 60062:2016, table of colours (from memory), as resistors of E12 and E96 are sold.
RINGS = [
    ("brown black brown gold", 100.0, 0.05),
    ("yellow violet red gold", 4.7e3, 0.05),
    ("orange orange orange silver", 33e3, 0.10),
    ("yellow violet orange", 47e3, 0.20),
    ("brown black green gold", 1e6, 0.05),
    ("green blue gold gold", 5.6, 0.05),
    ("brown black black brown brown", 1e3, 0.01),
    ("red yellow white orange red", 249e3, 0.02),
    ("white brown grey silver violet", 9.18, 0.001),
    ("brown grey black black brown red", 180.0, 0.01),
    ("Gray, Red, Red, Gold", 8.2e3, 0.05),
]


@pytest.mark.parametrize(("rings", "value", "tolerance"), RINGS)
def test_rings_of_iec_60062(rings: str, value: float, tolerance: float) -> None:
    assert read_rings(rings) == (pytest.approx(value, rel=1e-12), tolerance)


def test_every_colour_stands_for_its_figure() -> None:
    for figure, colour in enumerate(FIGURES):
        assert read_rings(f"brown {colour} black gold")[0] == 10 + figure


@pytest.mark.parametrize(
    ("rings", "part"),
    [
        ("yellow violet", "three to six"),
        ("yellow violet red gold brown red gold", "three to six"),
        ("yelow violet red gold", "got 'yelow', expected a colour"),
        ("gold violet red gold", "gold as a figure"),
        ("yellow violet red black", "black as a tolerance"),
        ("black black red gold", "above nought"),
        ("", "nothing"),
    ],
)
def test_rings_that_are_none(rings: str, part: str) -> None:
    with pytest.raises(QuantityError, match=part):
        read_rings(rings)


@pytest.mark.parametrize(
    ("text", "unit", "value", "tolerance"),
    [
        ("104", "F", 100e-9, None),
        ("222", "F", 2.2e-9, None),
        ("474K", "F", 470e-9, 0.10),
        ("106", "F", 10e-6, None),
        ("159", "F", 1.5e-12, None),
        ("473", "ohm", 47e3, None),
        ("4702", "ohm", 47e3, None),
        ("101J", "ohm", 100.0, 0.05),
    ],
)
def test_codes_of_figures(text: str, unit: str, value: float, tolerance: float | None) -> None:
    """Three figures are common practice, no source; the letters of tolerance are those of IEC 60062."""
    found = read_figures(text, unit)
    assert found is not None
    assert found == (pytest.approx(value, rel=1e-12), tolerance)


@pytest.mark.parametrize(
    ("text", "unit"), [("4k7", "ohm"), ("2R2k", "ohm"), ("22 uF", "F"), ("10", "F"), ("", "F")]
)
def test_other_text_is_no_code_of_figures(text: str, unit: str) -> None:
    assert read_figures(text, unit) is None


@pytest.mark.parametrize("code", ["4k7", "33k", "1M5", "220R"])
def test_letters_as_a_general_library_reads_them(code: str) -> None:
    assert PrintedCode("ohm").read(code)[0] == pytest.approx(float(from_rkm(code)), rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "text"), [("ohm", "4k7k"), ("ohm", "000"), ("F", "47k"), ("F", "999"), ("ohm", 47.0)]
)
def test_codes_that_are_none(unit: str, text: object) -> None:
    with pytest.raises(QuantityError):
        PrintedCode(unit).read(text)


def test_what_is_written_reads_back() -> None:
    for value in preferred_values("E24", 10.0, 1e6):
        assert read_rings(ring_colours(value)) == (pytest.approx(value, rel=1e-12), 0.05)
        found = read_figures(figure_code(value, "ohm"), "ohm")
        assert found is not None
        assert found[0] == pytest.approx(value, rel=1e-12)
    assert ring_colours(12345.0) == ring_colours(4700.0, 0.03) == ""
    assert figure_code(4.7e-12, "F") == figure_code(1234.0, "ohm") == ""
