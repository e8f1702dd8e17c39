"""What a plan says of the values of a parameter, against an independent library of preferred values."""

import math
from typing import Any

import eseries
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agents.text.keyed_errors import KeyedErrors
from agents.text.quantities import Fraction, Number, Point, Quantity
from agents.text.readers import Word
from arena.studies.plans.parameters import Parameter
from arena.studies.plans.ranges import MOST_LEVELS, Levels, Span, range_text, read_range

OHMS = Parameter("design.both.latch", Quantity("ohm", least=1e-3, most=1e12))
FARADS = Parameter("design.storage.capacitance", Quantity("F", least=1e-12, most=10.0))
METRES = Parameter("design.both.eye.aside", Quantity("m", least=-0.3, most=0.5))
ANGLES = Parameter("design.both.eye.outward", Quantity("rad", least=-math.pi, most=math.pi))
SHARES = Parameter("design.both.eye.tape", Fraction())
GAINS = Parameter("design.both.npn.gain", Number(least=5.0, most=2000.0))
WHOLES = Parameter("arena.starts.zone.number", Number(whole=True, least=1, most=100_000))
WORDS = Parameter("arena.lamps.1.light", Word(("daylight", "incandescent")), is_ordered=False)
PLACES = Parameter("arena.lamps.1.place", Point(), is_ordered=False)
FEELER = Parameter("design.both.feeler", Quantity("ohm", least=10.0, most=1e8), may_be_none=True)


def levels(text: str | list[str], parameter: Parameter) -> tuple[Any, ...]:
    found = read_range(text, parameter)
    assert isinstance(found, Levels)
    return found.values


@pytest.mark.parametrize(
    ("text", "parameter", "expected"),
    [
        ("15 mm, 20 mm, 25 mm", METRES, (0.015, 0.02, 0.025)),
        (["15 mm", "20 mm"], METRES, (0.015, 0.02)),
        ("25 mm,15 mm", METRES, (0.025, 0.015)),
        ("33k", OHMS, (33e3,)),
        ("E6 10k..100k", OHMS, (10e3, 15e3, 22e3, 33e3, 47e3, 68e3, 100e3)),
        ("E12 2m2..4m7", FARADS, (2.2e-3, 2.7e-3, 3.3e-3, 3.9e-3, 4.7e-3)),
        ("20 mm..80 mm in 4", METRES, (0.02, 0.04, 0.06, 0.08)),
        ("-30 mm .. 30 mm  in 3", METRES, (-0.03, 0.0, 0.03)),
        ("0 %..80 % in 5", SHARES, (0.0, 0.2, 0.4, 0.6, 0.8)),
        ("1k..16k in 5 by ratio", OHMS, (1e3, 2e3, 4e3, 8e3, 16e3)),
        ("1k..16k by ratio in 5", OHMS, (1e3, 2e3, 4e3, 8e3, 16e3)),
        ("1.5e2..2.5e2 in 3", GAINS, (150.0, 200.0, 250.0)),
        ("3..6", WHOLES, (3, 4, 5, 6)),
        ("1..10 in 4", WHOLES, (1, 4, 7, 10)),
        ("1..16 in 5 by ratio", WHOLES, (1, 2, 4, 8, 16)),
        ("incandescent, daylight", WORDS, ("incandescent", "daylight")),
        ("0 0 m, 1 0.5 m", PLACES, ((0.0, 0.0), (1.0, 0.5))),
        ("none, 33k", FEELER, (None, 33e3)),
    ],
)
def test_single_values(text: str | list[str], parameter: Parameter, expected: tuple[Any, ...]) -> None:
    found = levels(text, parameter)
    assert found == expected
    assert [type(one) for one in found] == [type(one) for one in expected]


def test_spans() -> None:
    assert read_range("20 mm..80 mm", METRES) == Span(0.02, 0.08)
    assert read_range("1 mF..10 mF by ratio", FARADS) == Span(1e-3, 10e-3, by_ratio=True)
    assert read_range("-90 deg..90 deg", ANGLES) == Span(-math.pi / 2, math.pi / 2)


@settings(deadline=None)
@given(
    series=st.sampled_from(["E6", "E12", "E24"]),
    ends=st.tuples(st.floats(-2.0, 10.0), st.floats(0.35, 2.0)),
)
def test_series_are_those_of_the_standard(series: str, ends: tuple[float, float]) -> None:
    # IEC 60063 by way of the library eseries; the ends are no preferred values, so that rounding decides none
    low = float(f"{10.0 ** ends[0]:.4g}") * 1.0001
    # within what a resistance may be, 1 Tohm at the most
    high = min(low * 10.0 ** ends[1], 0.9999e12)
    found = read_range(f"{series} {low!r} ohm..{high!r} ohm", OHMS)
    assert isinstance(found, Levels)
    assert found.series == series
    assert found.values == pytest.approx(list(eseries.erange(eseries.ESeries[series], low, high)), rel=1e-9)


@pytest.mark.parametrize("series", ["E6", "E12", "E24"])
def test_series_include_both_ends(series: str) -> None:
    # ends that are preferred values themselves; a decade holds as many values as its name says, IEC 60063
    found = levels(f"{series} 4k7..47k", OHMS)
    assert found[0] == 4.7e3
    assert found[-1] == 47e3
    assert len(found) == int(series[1:]) + 1


@settings(deadline=None)
@given(st.floats(-0.3, 0.2), st.floats(1e-6, 0.3), st.integers(2, 60))
def test_even_steps(low: float, width: float, count: int) -> None:
    high = low + width
    found = levels(f"{low!r} m..{high!r} m in {count}", METRES)
    assert found[0] == low
    assert found[-1] == high
    assert found == pytest.approx(np.linspace(low, high, count), rel=1e-12, abs=1e-15)
    assert list(found) == sorted(set(found))


@settings(deadline=None)
@given(st.floats(-2.0, 8.0), st.floats(0.01, 3.0), st.integers(2, 60))
def test_steps_by_ratio(power: float, decades: float, count: int) -> None:
    low, high = 10.0**power, 10.0 ** (power + decades)
    found = levels(f"{low!r} ohm..{high!r} ohm in {count} by ratio", OHMS)
    assert found[0] == low
    assert found[-1] == high
    assert found == pytest.approx(np.geomspace(low, high, count), rel=1e-9)


def test_even_steps_of_tidy_values_are_tidy() -> None:
    # in floats, 0.02 + 0.06 * 2 / 3 is 0.06 but 0.1 + 0.2 is 0.30000000000000004
    assert levels("100 mm..500 mm in 5", METRES) == (0.1, 0.2, 0.3, 0.4, 0.5)
    assert levels("10 %..100 % in 10", SHARES) == (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


PARAMETERS = st.sampled_from([OHMS, FARADS, METRES, ANGLES, SHARES, GAINS])


@settings(deadline=None)
@given(st.data(), PARAMETERS)
def test_round_trip(data: st.DataObject, parameter: Parameter) -> None:
    reader = parameter.reader
    assert isinstance(reader, Quantity | Fraction | Number)
    values = st.floats(reader.least, reader.most, allow_nan=False)
    some = data.draw(st.lists(values, min_size=1, max_size=6, unique=True))
    single = Levels(tuple(some))
    assert read_range(range_text(single, parameter), parameter) == single
    assert read_range(range_text(single, parameter).split(", "), parameter) == single
    low, high = sorted(data.draw(st.tuples(values, values).filter(lambda pair: pair[0] != pair[1])))
    by_ratio = low > 0.0 and data.draw(st.booleans())
    span = Span(low, high, by_ratio)
    assert read_range(range_text(span, parameter), parameter) == span


def test_round_trip_of_words_and_places() -> None:
    for text, parameter in (
        ("incandescent, daylight", WORDS),
        ("0.1 0.2 m, 3 4 m", PLACES),
        ("none, 33k", FEELER),
    ):
        found = read_range(text, parameter)
        assert range_text(found, parameter) == text
        assert read_range(range_text(found, parameter), parameter) == found


@settings(deadline=None)
@given(st.integers(1, 40), st.integers(1, 50))
def test_levels_have_equal_shares(count: int, each: int) -> None:
    single = Levels(tuple(range(count)))
    middles = (np.arange(count * each) + 0.5) / (count * each)
    found = [single.at(float(share)) for share in middles]
    assert np.bincount(found, minlength=count).tolist() == [each] * count
    assert single.at(0.0) == 0
    assert single.at(math.nextafter(1.0, 0.0)) == count - 1


@settings(deadline=None)
@given(st.floats(0.0, 1.0), st.floats(1e-9, 1e3), st.floats(1e-3, 1e3))
def test_spans_are_even_or_even_in_the_logarithm(share: float, low: float, width: float) -> None:
    high = low + width
    even, ratio = Span(low, high).at(share), Span(low, high, by_ratio=True).at(share)
    assert low <= even <= high
    assert low <= ratio <= high
    assert (even - low) / (high - low) == pytest.approx(share, abs=1e-6)
    assert math.log(ratio / low) / math.log(high / low) == pytest.approx(share, abs=1e-6)


@pytest.mark.parametrize(
    ("text", "parameter", "got", "near"),
    [
        ("100k..10k in 3", OHMS, "100k..10k, which runs downward", ""),
        ("10k..10 kohm in 3", OHMS, "10k..10 kohm, which is a single value", ""),
        ("E12 51k..52k", OHMS, "51k..52k, which holds no value of E12", "56k"),
        ("E12 100k..10k", OHMS, "100k..10k, which runs downward", ""),
        ("E13 10k..100k", OHMS, "the series E13", "E12"),
        ("e12 10k..100k", OHMS, "the series e12", "E12"),
        ("E96 10k..100k", OHMS, "the series E96", "E24"),
        ("E12 10k", OHMS, "'E12 10k'", ""),
        ("E12 10k..100k in 5", OHMS, "'E12 10k..100k in 5'", ""),
        ("E12 0 %..80 %", SHARES, "E12 from 0 %", ""),
        ("0 %..80 % in 3 by ratio", SHARES, "a range by ratio from 0 %", ""),
        ("10k..100k in 1", OHMS, "in 1", ""),
        ("10k..100k in 2.5", OHMS, "in 2.5", ""),
        (f"10k..100k in {MOST_LEVELS + 1}", OHMS, f"in {MOST_LEVELS + 1}", ""),
        ("10k..100k in ten", OHMS, "in ten", ""),
        ("10k..100k in 3 in 4", OHMS, "'100k in 3'", ""),
        ("10..100k", OHMS, "'10'", ""),
        ("10k...100k", OHMS, "'10k...100k'", ""),
        ("10k..20k..30k", OHMS, "'10k..20k..30k'", ""),
        ("10k..20k, 50k", OHMS, "'10k..20k, 50k'", ""),
        ("..10k", OHMS, "nothing", ""),
        ("10k, , 20k", OHMS, "nothing", ""),
        ("10k, 10 kohm", OHMS, "10 kohm a second time, the same as 10k", ""),
        ("10k, 10k", OHMS, "10k a second time", ""),
        ("1 mm..900 mm in 3", METRES, "'900 mm'", ""),
        ("none, 33k", OHMS, "'none'", ""),
        ("1..4 in 3", WHOLES, "'1..4 in 3'", ""),
        ("1..90000", WHOLES, "in 90000", ""),
        ("daylight..incandescent", WORDS, "a range", ""),
        ("daylite", WORDS, "'daylite'", "daylight"),
        ("5 uf", FARADS, "'5 uf'", "5 uF"),
        ("nan ohm..1k", OHMS, "'nan ohm'", ""),
        ("1e999 ohm, 1k", OHMS, "'1e999 ohm'", ""),
        ([], OHMS, "an empty list", ""),
    ],
)
def test_refused(text: str | list[str], parameter: Parameter, got: str, near: str) -> None:
    with pytest.raises(KeyedErrors) as caught:
        read_range(text, parameter)
    first = caught.value.errors[0]
    assert (first.got, first.near, first.path) == (got, near, ())


def test_every_wrong_item_is_told() -> None:
    with pytest.raises(KeyedErrors) as caught:
        read_range(["10k", "2 V", "10 kohm", "1 Gohm", "33"], FEELER)
    assert [(error.path, error.got) for error in caught.value.errors] == [
        ((1,), "'2 V'"),
        ((2,), "10 kohm a second time, the same as 10k"),
        ((3,), "'1 Gohm'"),
        ((4,), "'33'"),
    ]
    assert all(error.expected.endswith("; or none") for error in caught.value.errors if "'" in error.got)
    with pytest.raises(KeyedErrors) as caught:
        read_range("5 kg..3 V", METRES)
    assert [error.got for error in caught.value.errors] == ["'5 kg'", "'3 V'"]
