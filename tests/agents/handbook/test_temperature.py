"""What temperature does to parts, against handbook figures."""

import math

import numpy as np
import pytest

from agents.handbook.formulae import thermal_voltage
from agents.handbook.temperature import (
    MAGNETS,
    NAUGHT_CELSIUS,
    ROOM_TEMPERATURE,
    copper_growth,
    daily_warmth,
    flux_left,
    gain_growth,
    saturation_growth,
)


@pytest.mark.parametrize("current", [10e-6, 1e-3])
def test_base_emitter_voltage_falls_by_about_two_millivolts_a_kelvin(current: float) -> None:
    """P. R. Gray and R. G. Meyer, Analysis and Design of Analog Integrated Circuits: about -2 mV/K."""

    def voltage(temperature: float) -> float:
        return thermal_voltage(temperature) * math.log(current / (6.7e-15 * saturation_growth(temperature)))

    slope = (voltage(308.15) - voltage(288.15)) / 20.0
    assert -2.3e-3 < slope < -1.6e-3
    # and by the closed form (V_BE - E_g - 3 V_T) / T
    room = ROOM_TEMPERATURE
    expected = (voltage(room) - 1.11 - 3.0 * thermal_voltage(room)) / room
    assert slope == pytest.approx(expected, rel=1e-3)


def test_copper_by_the_rule_of_machines() -> None:
    """Resistances of copper go as 235 + degC: IEC 60034-1, winding temperature by resistance."""
    for celsius in (-20.0, 0.0, 60.0, 90.0):
        expected = (235.0 + celsius) / (235.0 + 25.0)
        assert copper_growth(NAUGHT_CELSIUS + celsius) == pytest.approx(expected, rel=1.5e-3)
    assert copper_growth(ROOM_TEMPERATURE) == 1.0


def test_magnets_lose_flux_in_the_order_of_their_kinds() -> None:
    """0.2 % a kelvin for ferrite, 0.11 % for neodymium, 0.02 % for alnico (from memory)."""
    hot = ROOM_TEMPERATURE + 50.0
    assert flux_left("ferrite", hot) == pytest.approx(0.90)
    assert flux_left("neodymium", hot) == pytest.approx(0.945)
    assert flux_left("alnico", hot) == pytest.approx(0.99)
    assert all(flux_left(magnet, ROOM_TEMPERATURE) == 1.0 for magnet in MAGNETS)


def test_gain_rises_by_half_a_percent_a_kelvin() -> None:
    assert gain_growth(ROOM_TEMPERATURE + 10.0) == pytest.approx(1.05, abs=0.003)
    assert gain_growth(ROOM_TEMPERATURE) == saturation_growth(ROOM_TEMPERATURE) == 1.0


def test_a_day_is_warmest_in_the_afternoon_and_coldest_at_dawn() -> None:
    """W. J. Parton and J. A. Logan, Agricultural Meteorology 23 (1981), at an equinox: a sine by day that
    begins 0.17 h before sunrise and is late by 1.86 h, and by night an exponential fall of 2.2 a night."""
    hours = np.arange(6.0, 30.0, 0.25)
    by_day = np.sin(math.pi * (hours - 5.83) / (12.0 + 2.0 * 1.86))
    at_dusk = math.sin(math.pi * 12.17 / (12.0 + 2.0 * 1.86))
    known = np.where(hours < 18.0, by_day, at_dusk * np.exp(-2.2 * (hours - 18.0) / 12.0))
    assert daily_warmth(hours) == pytest.approx(known, abs=0.18)
    assert np.mean(np.abs(daily_warmth(hours) - known)) < 0.08
    whole = daily_warmth(np.arange(0.0, 48.0, 0.1))
    assert whole.min() == 0.0
    assert whole.max() == 1.0
    assert whole[:240] == pytest.approx(whole[240:])
