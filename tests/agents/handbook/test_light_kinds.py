"""Kinds of light against published spectra.

Sources: ASTM G173-03 and a crystalline-silicon response as pvlib ships them; V(λ) of CIE 1924 and the CIE
illuminants D65, LED-B1, LED-B3, LED-B5 and FL2 (CIE 015:2018) as colour-science ships them; Planck's law with
c₂ = 0.01438777 m K (CODATA 2018); 683 lm/W at 555 nm (BIPM, SI brochure).
"""

import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from agents.errors import OptionError
from agents.handbook import light_kinds

# Spectra that colour-science has a table of; those of the other kinds are made below.
TABLES = {
    "warm-led": "LED-B1",
    "white-led": "LED-B3",
    "cold-led": "LED-B5",
    "fluorescent": "FL2",
}

# Quantum efficiency of a single-junction cell of hydrogenated amorphous silicon by wavelength [nm]: the usual
# curve of textbooks, as in R. E. I. Schropp and M. Zeman, Amorphous and Microcrystalline Silicon Solar Cells
# (1998); from memory, to about 0.05.
AMORPHOUS = {
    **{300.0: 0.0, 320.0: 0.20, 350.0: 0.45, 400.0: 0.65, 450.0: 0.75, 500.0: 0.82, 550.0: 0.83},
    **{600.0: 0.75, 650.0: 0.53, 700.0: 0.25, 750.0: 0.07, 800.0: 0.0},
}


@pytest.fixture(scope="module")
def libraries() -> tuple[Any, Any]:
    # Both import optional parts that warn on their own account; what is checked here are their tables.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
        import pvlib

        # colour loads its tables at first use, with warnings of its own
        _ = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"], colour.SDS_ILLUMINANTS["FL2"]
    return colour, pvlib


def black_body(temperature: float) -> tuple[np.ndarray, np.ndarray]:
    nanometres = np.concatenate([np.arange(200.0, 3000.0, 0.5), np.geomspace(3000.0, 300_000.0, 20_000)])
    metres = nanometres * 1e-9
    return nanometres, metres**-5 / np.expm1(0.01438777 / (metres * temperature))


def joined(first: "Spectrum", second: "Spectrum", overlap: float) -> "Spectrum":
    """One spectrum, then another, scaled to the same mean from ``overlap`` [nm] to the first one's end."""
    wavelengths, power = first
    shared = wavelengths[wavelengths >= overlap]
    scale = np.mean(power[wavelengths >= overlap]) / np.mean(np.interp(shared, *second))
    beyond = second[0] > wavelengths[-1]
    return (
        np.concatenate([wavelengths, second[0][beyond]]),
        np.concatenate([power, scale * second[1][beyond]]),
    )


Spectrum = tuple[np.ndarray, np.ndarray]


@pytest.fixture(scope="module")
def spectrum(libraries: tuple[Any, Any]) -> Callable[[str], Spectrum]:
    colour, pvlib = libraries

    def look_up(kind: str) -> Spectrum:
        sun = pvlib.spectrum.get_reference_spectra()["global"]
        sunlight = sun.index.to_numpy(float), sun.to_numpy(float)
        if kind == "sun":
            return sunlight
        if kind == "overcast":
            table = colour.SDS_ILLUMINANTS["D65"]
            return joined((table.wavelengths, table.values), sunlight, overlap=700.0)
        if kind == "incandescent":
            return black_body(2856.0)
        table = colour.SDS_ILLUMINANTS[TABLES[kind]]
        return table.wavelengths, table.values

    return look_up


Weigh = Callable[..., tuple[float, float]]


@pytest.fixture(scope="module")
def responses(libraries: tuple[Any, Any]) -> dict[str, Spectrum]:
    """Current per watt [A/W] by wavelength [nm]; that of a quantum efficiency is q λ / h c times as much."""
    crystalline = libraries[1].spectrum.get_example_spectral_response()
    wavelengths = np.arange(300.0, 801.0, 1.0)
    efficiency = np.interp(wavelengths, list(AMORPHOUS), list(AMORPHOUS.values()))
    return {
        "crystalline-silicon": (crystalline.index.to_numpy(float), crystalline.to_numpy(float)),
        "amorphous-silicon": (wavelengths, efficiency * wavelengths / 1239.84),
    }


@pytest.fixture(scope="module")
def lumens_and_amperes(libraries: tuple[Any, Any], responses: dict[str, Spectrum]) -> Weigh:
    """Lumens per watt, and amperes per lumen of a panel of crystalline silicon or another, of a spectrum."""
    colour, _ = libraries
    eye = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]

    def weigh(light: Spectrum, response: str = "crystalline-silicon") -> tuple[float, float]:
        wavelengths, power = light
        seen = np.interp(wavelengths, eye.wavelengths, eye.values, left=0.0, right=0.0)
        made = np.interp(wavelengths, *responses[response], left=0.0, right=0.0)
        watts, lumens, amperes = (
            float(np.sum((y[1:] + y[:-1]) / 2 * np.diff(wavelengths)))
            for y in (power, 683.0 * power * seen, power * made)
        )
        return lumens / watts, amperes / lumens

    return weigh


@pytest.mark.parametrize("response", ["crystalline-silicon", "amorphous-silicon"])
@pytest.mark.parametrize("kind", light_kinds.KINDS)
def test_a_kind_has_the_efficacy_and_the_panel_current_of_its_spectrum(
    kind: str, response: str, spectrum: Callable[[str], Spectrum], lumens_and_amperes: Weigh
) -> None:
    efficacy, current = lumens_and_amperes(spectrum(kind), response)
    _, current_in_sun = lumens_and_amperes(spectrum("sun"), response)
    assert light_kinds.efficacy(kind) == pytest.approx(efficacy, rel=5e-4)
    # the table has two decimals
    weight = light_kinds.panel_weights(response)[light_kinds.kind_index(kind)]
    assert weight == pytest.approx(current / current_in_sun, abs=5e-3)


def test_amorphous_cells_give_the_published_current_in_the_reference_sun(
    spectrum: Callable[[str], Spectrum], responses: dict[str, Spectrum]
) -> None:
    """14 mA/cm2 give or take 3: the best single-junction amorphous cells reach 16.4 (from memory).

    M. A. Green et al., Solar cell efficiency tables, Progress in Photovoltaics.
    """
    wavelengths, power = spectrum("sun")
    made = power * np.interp(wavelengths, *responses["amorphous-silicon"], left=0.0, right=0.0)
    current = float(np.sum((made[1:] + made[:-1]) / 2 * np.diff(wavelengths)))
    assert current / 10.0 == pytest.approx(14.0, abs=3.0)


def test_overcast_sky_has_the_published_efficacy() -> None:
    """115 lm/W give or take 10, P. J. Littlefair, Lighting Research and Technology 17 (1985); from memory."""
    assert light_kinds.efficacy("overcast") == pytest.approx(115.0, abs=10.0)


def test_other_lamps_of_a_kind_stay_within_the_stated_spread(
    libraries: tuple[Any, Any], lumens_and_amperes: Weigh
) -> None:
    _, incandescent = lumens_and_amperes(black_body(2856.0))
    for temperature in (2700.0, 3000.0):
        assert lumens_and_amperes(black_body(temperature))[1] / incandescent == pytest.approx(1.0, abs=0.2)
    tables = libraries[0].SDS_ILLUMINANTS
    leds = [(tables[f"LED-B{n}"].wavelengths, tables[f"LED-B{n}"].values) for n in range(1, 6)]
    currents = [lumens_and_amperes(led)[1] for led in leds]
    assert [current / currents[2] for current in currents] == pytest.approx([1.0] * 5, abs=0.08)


def test_black_body_fixture_holds_the_whole_of_plancks_law() -> None:
    # Stefan and Boltzmann: ∫ λ⁻⁵/(exp(c₂/λT) − 1) dλ = (π T / c₂)⁴ / 15
    wavelengths, power = black_body(2856.0)
    total = float(np.sum((power[1:] + power[:-1]) / 2 * np.diff(wavelengths * 1e-9)))
    assert total == pytest.approx((np.pi * 2856.0 / 0.01438777) ** 4 / 15, rel=1e-5)


def test_the_reference_sun_of_a_thousand_watts_gives_109_kilolux(
    spectrum: Callable[[str], Spectrum],
) -> None:
    wavelengths, power = spectrum("sun")
    watts = float(np.sum((power[1:] + power[:-1]) / 2 * np.diff(wavelengths)))
    # ASTM G173-03: 1000.4 W/m² over the whole range
    assert watts == pytest.approx(1000.4, abs=0.5)
    assert light_kinds.illuminance(watts, "sun") == pytest.approx(109_500.0, rel=1e-3)


@pytest.mark.parametrize("kind", light_kinds.KINDS)
def test_lux_and_watts_convert_both_ways(kind: str) -> None:
    assert light_kinds.illuminance(light_kinds.irradiance(500.0, kind), kind) == pytest.approx(500.0)


def test_a_flat_panel_goes_by_lux_alone() -> None:
    assert light_kinds.panel_weights("flat") == (1.0,) * len(light_kinds.KINDS)


def test_every_table_covers_every_kind() -> None:
    assert all(len(weights) == len(light_kinds.KINDS) for weights in light_kinds.RESPONSES.values())


def test_names_that_are_not_there_are_refused_with_those_that_are() -> None:
    with pytest.raises(OptionError, match=r"candle.*sun, overcast"):
        light_kinds.irradiance(1.0, "candle")
    with pytest.raises(OptionError, match=r"selenium.*crystalline-silicon"):
        light_kinds.panel_weights("selenium")


def test_daylight_is_another_word_for_sun() -> None:
    assert light_kinds.kind_index("daylight") == light_kinds.kind_index("sun") == 0
    assert light_kinds.efficacy("daylight") == light_kinds.efficacy("sun")
    with pytest.raises(OptionError, match=r"daylite.*nearest: daylight"):
        light_kinds.kind_name("daylite")
