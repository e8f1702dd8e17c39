"""The panel against pvlib's solutions of the single-diode equation and against a published cell."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib import pvsystem, temperature
from scipy.optimize import brentq, minimize_scalar

from agents.circuit import panel as kernels
from agents.circuit.status import SETTLED
from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.light_kinds import kind_index
from agents.testbench.measuring import photocurrent_of

# photocurrent [A], saturation [A], thermal [V], series [ohm], shunt [ohm]
PANELS = [
    (120e-6, 0.6e-12, 0.19, 10.0, 10e6),  # the default panel at 3 klx
    (4e-6, 0.6e-12, 0.19, 10.0, 10e6),
    (4e-3, 0.6e-12, 0.19, 0.0, 10e6),
    (4e-3, 0.6e-12, 0.19, 10.0, math.inf),
    (40e-3, 1e-10, 0.267, 2.0, 20e3),
    (40e-3, 1e-10, 0.267, 40.0, 20e3),  # the drop over the series resistance is many thermal voltages
    (0.760776, 0.323e-6, 0.0391, 0.0364, 53.7),
]


def panel_current(*values: float) -> float:
    """The kernel's current [A], which it must have found."""
    current, status = kernels.panel_current(*values)
    assert status == SETTLED
    return current


def open_circuit_voltage(*values: float) -> float:
    """The kernel's voltage [V], which it must have found."""
    voltage, status = kernels.open_circuit_voltage(*values)
    assert status == SETTLED
    return voltage


@pytest.mark.parametrize("panel", PANELS)
def test_current_is_that_of_pvlib(panel: tuple[float, ...]) -> None:
    photocurrent, saturation, thermal, series, shunt = panel
    open_circuit = open_circuit_voltage(photocurrent, saturation, thermal, shunt)
    rails = np.linspace(-0.5, 1.05 * open_circuit, 80)
    expected = pvsystem.i_from_v(rails, photocurrent, saturation, series, shunt, thermal, method="lambertw")
    got = [panel_current(rail, *panel) for rail in rails]
    # where the current passes through nought a share of it says nothing
    np.testing.assert_allclose(got, expected, rtol=1e-6, atol=1e-9 * photocurrent)


@pytest.mark.parametrize(
    ("rail", "panel"),
    [
        (3.0, (1e-3, 1e-9, 0.0257, 2.0, 1e3)),
        (10.0, (0.0, 1e-12, 0.0257, 5.0, 1e6)),
        (0.0, (40e-3, 1e-9, 0.0257, 1e3, 1e5)),
        (1.0, (40e-3, 1e-9, 0.0257, 1e3, 1e5)),
        (-2.0, (40e-3, 1e-9, 0.0257, 1e3, 1e5)),
        (0.9, (0.0, 1e-12, 0.005, 5.0, 1e6)),
        (5.0, (1e-3, 1e-12, 0.0257, 0.01, 1e6)),
    ],
)
def test_current_a_hundred_thermal_voltages_off(rail: float, panel: tuple[float, ...]) -> None:
    """A rail far above what the panel can give, or a drop far above it, against a root finder."""
    photocurrent, saturation, thermal, series, shunt = panel

    def short(junction: float) -> float:
        diode = saturation * math.expm1(junction / thermal)
        return photocurrent - diode - junction / shunt - (junction - rail) / series

    junction = brentq(short, min(rail, 0.0) - 1.0, 1.5, xtol=1e-15)
    assert panel_current(rail, *panel) == pytest.approx((junction - rail) / series, rel=1e-9)


def at_temperature(design: Design, celsius: float, photocurrent: float) -> tuple[float, ...]:
    """A design's panel by pvlib: photocurrent, saturation, thermal, series, shunt."""
    panel = design.panel
    light, saturation, series, shunt, thermal = pvsystem.calcparams_desoto(
        1000.0,
        celsius,
        alpha_sc=0.0,
        a_ref=panel.junction_voltage,
        I_L_ref=photocurrent,
        I_o_ref=panel.saturation_current,
        R_sh_ref=panel.shunt_resistance,
        R_s=panel.series_resistance,
        EgRef=1.121,
        dEgdT=-0.0002677,
    )
    return float(light), float(saturation), float(thermal), float(series), float(shunt)


@pytest.mark.parametrize("celsius", [-40.0, -10.0, 25.0, 45.0, 85.0, 140.0])
def test_temperature_is_that_of_de_soto(celsius: float) -> None:
    """W. De Soto, S. A. Klein and W. A. Beckman, Solar Energy 80 (2006), as pvlib has it, to 1e-6."""
    design = Design(name="basil")
    walker = build(design)[0]
    for light in (300.0, 3e3, 100e3):
        expected = at_temperature(design, celsius, 40e-9 * light)
        panel = kernels.lit_panel(walker, 40e-9 * light, celsius - 25.0)
        assert panel == pytest.approx(expected[:3], rel=1e-6)
        assert kernels.panel_temperature(walker, panel) == pytest.approx(celsius + 273.15, rel=1e-12)
        whole = pvsystem.singlediode(*expected[:2], *expected[3:], expected[2])
        shunt = float(walker["panel_shunt"])
        assert open_circuit_voltage(*panel, shunt) == pytest.approx(float(whole["v_oc"]), rel=1e-6)
        current = panel_current(float(whole["v_mp"]), *panel, 10.0, shunt)
        assert current == pytest.approx(float(whole["i_mp"]), rel=1e-6)


def test_open_circuit_voltages_of_the_default_panel_by_temperature() -> None:
    """At 0.3, 3, 30 and 100 klx; worked out once with pvlib for a saturation current of 0.6 pA."""
    design = Design(name="basil").with_values({"panel.saturation_current": 0.6e-12})
    walker = build(design)[0]
    table = {
        -10.0: (3.93, 4.32, 4.70, 4.91),
        25.0: (3.19, 3.63, 4.07, 4.30),
        45.0: (2.77, 3.23, 3.70, 3.94),
        55.0: (2.55, 3.04, 3.52, 3.77),
    }
    for celsius, volts in table.items():
        for light, expected in zip((300.0, 3e3, 30e3, 100e3), volts, strict=True):
            panel = kernels.lit_panel(walker, 40e-9 * light, celsius - 25.0)
            assert open_circuit_voltage(*panel, 10e6) == pytest.approx(expected, abs=0.012)


@pytest.mark.parametrize("kind", ["daylight", "incandescent", "white-led", "fluorescent"])
def test_light_warms_the_panel_as_faiman_has_it(kind: str) -> None:
    """D. Faiman, Progress in Photovoltaics 16 (2008): 25 K above the air in full sun in a light breeze."""
    efficacy = {"daylight": 109.45, "incandescent": 16.45, "white-led": 317.0, "fluorescent": 336.8}[kind]
    walker = build(Design(name="basil"), 303.15)[0]
    breeze = (40.0 - 25.0) / 6.84
    for irradiance in (10.0, 1000.0):
        panel = kernels.panel_under(walker, irradiance * efficacy, kind_index(kind))
        expected = temperature.faiman(irradiance, 30.0, wind_speed=breeze)
        assert kernels.panel_temperature(walker, panel) - 273.15 == pytest.approx(expected, abs=1e-6)
    assert expected == pytest.approx(55.0, abs=0.1)


def test_a_panel_right_under_a_lamp_is_a_number() -> None:
    walker = build(Design(name="basil"))[0]
    panel = kernels.panel_under(walker, 1e6, kind_index("incandescent"))
    assert kernels.panel_temperature(walker, panel) == pytest.approx(kernels.HOTTEST)
    assert 0.0 < panel.saturation < 1e-3


@pytest.mark.parametrize("panel", PANELS)
def test_open_circuit_voltage_is_that_of_pvlib(panel: tuple[float, ...]) -> None:
    photocurrent, saturation, thermal, series, shunt = panel
    for light in (1.0, 0.1, 0.01):
        expected = pvsystem.singlediode(light * photocurrent, saturation, series, shunt, thermal)["v_oc"]
        assert open_circuit_voltage(light * photocurrent, saturation, thermal, shunt) == pytest.approx(
            float(expected), rel=1e-6
        )


def test_open_circuit_voltage_of_a_small_panel() -> None:
    """8 cells of n 1.3 at 25 degrees: figures worked out once with pvlib, for 1000, 100 and 10 W/m2."""
    thermal = 1.3 * 8 * 1.380649e-23 * 298.15 / 1.602176634e-19
    for photocurrent, expected in ((40e-3, 5.2907), (4e-3, 4.6612), (0.4e-3, 3.8844)):
        assert open_circuit_voltage(photocurrent, 1e-10, thermal, 20e3) == pytest.approx(expected, abs=1e-4)


def test_published_cell() -> None:
    """T. Easwarakhanthan et al., International Journal of Solar Energy 4 (1986): a 57 mm cell at 33 degrees.

    The five parameters are from memory; the figures are those that they give.
    """
    thermal = 1.48118359 * 1.380649e-23 * 306.15 / 1.602176634e-19
    cell = (0.76077553, 0.3230208e-6, thermal, 0.03637709, 53.71852)
    assert panel_current(0.0, *cell) == pytest.approx(0.760260, abs=2e-6)
    assert open_circuit_voltage(cell[0], cell[1], thermal, cell[4]) == pytest.approx(0.572785, abs=2e-6)
    best = minimize_scalar(
        lambda rail: -rail * panel_current(rail, *cell), bounds=(0.3, 0.57), options={"xatol": 1e-9}
    )
    assert best.x == pytest.approx(0.450644, abs=5e-6)
    assert panel_current(best.x, *cell) == pytest.approx(0.689350, abs=5e-6)


def test_no_light_gives_the_leak_of_the_diode() -> None:
    # at low voltage the dark panel is its shunt and the slope I_0 / a of its diode, side by side
    got = panel_current(1e-3, 0.0, 1e-9, 0.2, 5.0, 1e6)
    assert got == pytest.approx(-1e-3 * (1e-6 + 1e-9 / 0.2), rel=0.01)
    assert panel_current(0.0, 0.0, 1e-9, 0.2, 5.0, 1e6) == pytest.approx(0.0, abs=1e-18)
    assert open_circuit_voltage(0.0, 1e-9, 0.2, 1e6) == pytest.approx(0.0, abs=1e-12)


@settings(deadline=None, derandomize=True)
@given(
    photocurrent=st.floats(1e-7, 1.0),
    saturation=st.floats(1e-15, 1e-6),
    thermal=st.floats(0.02, 1.0),
    series=st.floats(0.0, 1e4),
    shunt=st.floats(1e2, 1e9),
    share=st.floats(0.0, 1.2),
)
def test_current_solves_its_equation_and_falls(
    photocurrent: float, saturation: float, thermal: float, series: float, shunt: float, share: float
) -> None:
    panel = (photocurrent, saturation, thermal, series, shunt)
    open_circuit = open_circuit_voltage(photocurrent, saturation, thermal, shunt)
    rail = share * open_circuit
    current = panel_current(rail, *panel)
    junction = rail + current * series
    diode = saturation * math.expm1(junction / thermal)
    # what the current's own rounding makes of the right side, by way of the junction's voltage
    steepness = diode / thermal + 1.0 / shunt
    floor = 1e-14 * (1.0 + junction) * steepness + 1e-12 * photocurrent
    residual = current - (photocurrent - diode - junction / shunt)
    assert abs(residual) <= (1e-9 * abs(current) + floor) * (1.0 + series * abs(steepness))
    assert panel_current(rail + 0.01 * thermal, *panel) <= current
    assert (current >= -floor) == (share <= 1.0) or abs(share - 1.0) < 1e-9 or saturation > photocurrent


def test_photocurrent_is_proportional_to_light_unless_an_exponent_is_given() -> None:
    (walker,) = build(Design(name="plain"))
    for light in (0.0, 1.0, 3e3, 1e6):
        assert kernels.photocurrent_in(walker, light) == 40e-9 * light
    assert photocurrent_of(walker, 3e3, "incandescent") == pytest.approx(40e-9 * 3.01 * 3e3)
    lit = kernels.panel_under(walker, 3e3, kind_index("incandescent"))
    assert lit.photocurrent == pytest.approx(40e-9 * 3.01 * 3e3)


def test_an_exponent_below_one_is_that_of_two_readings() -> None:
    """Two invented readings: 47 uA in 200 lx and 2.6 mA in 50 klx; the exponent is the slope between them."""
    exponent = math.log(2.6e-3 / 47e-6) / math.log(50e3 / 200.0)
    assert 0.7 < exponent < 0.75
    values = {"current_per_light": 47e-6 / 200.0, "measured_light": 200.0, "light_exponent": exponent}
    (walker,) = build(Design(name="thin").with_values({f"panel.{key}": one for key, one in values.items()}))
    assert kernels.photocurrent_in(walker, 200.0) == pytest.approx(47e-6, rel=1e-12)
    assert kernels.photocurrent_in(walker, 50e3) == pytest.approx(2.6e-3, rel=1e-12)
    assert kernels.photocurrent_in(walker, 0.0) == 0.0
    # a kind counts by what it is worth in sun, before the exponent
    walker["response"][kind_index("white-led")] = 0.5
    assert photocurrent_of(walker, 400.0, "white-led") == pytest.approx(47e-6, rel=1e-12)
