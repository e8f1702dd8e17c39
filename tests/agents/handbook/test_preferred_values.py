"""Preferred values of IEC 60063 against the library eseries and the published table."""

import math

import eseries
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agents.handbook.preferred_values import SERIES, nearest_preferred, preferred_values

REFERENCE = {"E6": eseries.E6, "E12": eseries.E12, "E24": eseries.E24}


@pytest.mark.parametrize("series", ["E6", "E12", "E24"])
def test_series_of_iec_60063(series: str) -> None:
    assert SERIES[series] == tuple(sorted(eseries.series(REFERENCE[series])))
    expected = list(eseries.erange(REFERENCE[series], 1e-9, 1e-3))
    assert preferred_values(series, 1e-9, 1e-3) == pytest.approx(expected, rel=1e-12)


def test_values_are_the_very_floats_that_people_write() -> None:
    assert preferred_values("E6", 1e3, 10e3) == (1e3, 1.5e3, 2.2e3, 3.3e3, 4.7e3, 6.8e3, 10e3)
    assert preferred_values("E12", 4.7 * 1e-6, 4.7 * 1e-6) == (4.7e-6,)
    assert preferred_values("E6", 11.0, 14.0) == ()


def test_nearest_is_nearest_in_ratio() -> None:
    # The middle of 1.0 and 1.5 in ratio is 1.2247, not 1.25.
    assert nearest_preferred(1.23, "E6") == 1.5
    assert nearest_preferred(1.22, "E6") == 1.0
    assert nearest_preferred(97e3, "E24") == 100e3
    for value in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="not positive"):
            nearest_preferred(value, "E12")


@given(value=st.floats(1e-12, 1e9), series=st.sampled_from(["E6", "E12", "E24"]))
def test_nearest_is_on_the_series_and_close(value: float, series: str) -> None:
    near = nearest_preferred(value, series)
    power = math.floor(math.log10(near) + 1e-9)
    assert round(near / 10.0 ** (power - 1), 6) in SERIES[series]
    # eseries gives the two neighbours; ours is the one with the smaller ratio.
    low = eseries.find_less_than_or_equal(REFERENCE[series], value)
    high = eseries.find_greater_than_or_equal(REFERENCE[series], value)
    best = min(value / low, high / value)
    assert max(near / value, value / near) == pytest.approx(best, rel=1e-9)
