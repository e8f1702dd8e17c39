"""Panels given by label and meter, against pvlib's single-diode solutions and published panels."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pvlib import pvsystem

from agents.design.changing import change_design, design_text
from agents.design.panel_readings import IDEALITIES, PanelReading
from agents.design.parts import Panel
from agents.design.spec import Design, parse_design
from agents.errors import SpecError
from agents.handbook.formulae import thermal_voltage
from agents.text.keyed_errors import KeyedErrors

LIGHT = 1000.0  # [lx]
POINTS = ("v_oc", "i_sc", "v_mp", "i_mp")


def reading(curve: Any, light: float = LIGHT, has_best: bool = True) -> PanelReading:
    best = {"best_voltage": float(curve["v_mp"]), "best_current": float(curve["i_mp"])} if has_best else {}
    return PanelReading(
        light=light, open_circuit=float(curve["v_oc"]), short_circuit=float(curve["i_sc"]), **best
    )


def curve_of(panel: Panel, light: float = LIGHT) -> Any:
    """What pvlib makes of the values that a panel came to, in sun."""
    photo = panel.current_per_light * panel.measured_light
    photo *= (light / panel.measured_light) ** panel.light_exponent
    return pvsystem.singlediode(
        photo,
        panel.saturation_current,
        panel.series_resistance,
        panel.shunt_resistance,
        panel.junction_voltage,
    )


def test_label_of_a_made_panel_gives_its_curve_back() -> None:
    """Forty panels by chance: the label's three points come back to a thousandth.

    Between them the curve is within a twelfth of the short-circuit current: four figures cannot tell five
    values, and one of the two resistances may stand for both.
    """
    chance = np.random.default_rng(7)
    for _ in range(40):
        short, open_circuit = 10.0 ** chance.uniform(-5.0, -1.0), chance.uniform(1.0, 8.0)
        thermal = open_circuit / chance.uniform(8.0, 30.0)
        ratio = open_circuit / short
        values = (
            short,
            short / math.expm1(open_circuit / thermal),
            chance.uniform(0.0, 0.1) * ratio,
            10.0 ** chance.uniform(1.5, 3.0) * ratio,
            thermal,
        )
        curve = pvsystem.singlediode(*values)
        panel = Panel(label=(reading(curve),))
        got = curve_of(panel)
        assert [float(got[name]) for name in POINTS] == pytest.approx(
            [float(curve[name]) for name in POINTS], rel=1e-3
        )
        assert panel.fits[0].worst < 1e-3
        rails = np.linspace(0.0, 0.9 * float(curve["v_oc"]), 25)
        np.testing.assert_allclose(
            pvsystem.i_from_v(
                rails,
                float(got["i_sc"]),
                panel.saturation_current,
                panel.series_resistance,
                panel.shunt_resistance,
                panel.junction_voltage,
            ),
            pvsystem.i_from_v(rails, *values),
            atol=0.08 * short,
        )


def test_published_cell_comes_back_from_labels_in_three_lights() -> None:
    """T. Easwarakhanthan et al. 1986, 57 mm cell at 33 degrees: its curves give its five values back.

    The published values (from memory): photocurrent 0.76078 A, I_0 0.32302 uA, R_s 36.377 mohm,
    R_sh 53.719 ohm, ideality 1.48118.
    """
    thermal = 1.48118359 * thermal_voltage(306.15)
    readings = []
    for share in (1.0, 0.1, 0.01):
        curve = pvsystem.singlediode(share * 0.76077553, 0.3230208e-6, 0.03637709, 53.71852, thermal)
        readings.append(reading(curve, share * 100e3))
    # at the first of them as published
    assert readings[0].open_circuit == pytest.approx(0.572785, abs=2e-6)
    assert readings[0].best_current == pytest.approx(0.689350, abs=5e-6)
    panel = Panel(label=tuple(readings))
    assert max(fit.worst for fit in panel.fits) < 1e-4
    assert panel.light_exponent == pytest.approx(1.0, abs=1e-3)
    assert panel.junction_voltage == pytest.approx(thermal, rel=2e-3)
    assert panel.series_resistance == pytest.approx(0.03637709, rel=0.01)
    assert panel.shunt_resistance == pytest.approx(53.71852, rel=0.02)
    assert panel.saturation_current == pytest.approx(0.3230208e-6, rel=0.03)


def test_labels_of_published_thin_film_modules() -> None:
    """Thin-film modules of the California Energy Commission's list, as pvlib ships it, a tenth of each.

    What the labels say comes back; none of the list's own values is used.
    """
    modules = pvsystem.retrieve_sam("CECMod")
    thin = modules.loc[:, modules.loc["Technology"] == "Thin Film"]
    names = list(thin.columns)[:: len(thin.columns) // 8]
    for name in names:
        row = thin[name]
        label = {
            "open_circuit": float(row["V_oc_ref"]) / 20.0,
            "short_circuit": float(row["I_sc_ref"]) / 20.0,
            "best_voltage": float(row["V_mp_ref"]) / 20.0,
            "best_current": float(row["I_mp_ref"]) / 20.0,
        }
        panel = Panel(response="amorphous-silicon", label=(PanelReading(light=109.45e3, **label),))
        got = curve_of(panel, 109.45e3)
        assert float(got["v_mp"]) == pytest.approx(label["best_voltage"], rel=5e-3), name
        assert float(got["i_mp"]) == pytest.approx(label["best_current"], rel=5e-3), name


def test_readings_in_two_lights_tell_exponent_and_junction() -> None:
    """For two lights of ratio r: exponent ln(I2/I1)/ln r, n N V_T = (V2 - V1)/ln(I2/I1) (diode law)."""
    dim = PanelReading(light=500.0, open_circuit=3.6, short_circuit=50e-6)
    bright = PanelReading(light=50e3, open_circuit=4.5, short_circuit=2e-3)
    panel = Panel(label=(dim, bright))
    assert panel.light_exponent == pytest.approx(math.log(40.0) / math.log(100.0), rel=1e-4)
    assert panel.junction_voltage == pytest.approx(0.9 / math.log(40.0), rel=5e-3)
    assert panel.measured_light == 500.0
    assert panel.current_per_light == pytest.approx(100e-9, rel=1e-4)
    for light, one in ((500.0, dim), (50e3, bright)):
        got = curve_of(panel, light)
        assert float(got["v_oc"]) == pytest.approx(one.open_circuit, rel=1e-4)
        assert float(got["i_sc"]) == pytest.approx(one.short_circuit, rel=1e-3)


def test_kind_of_light_counts_before_the_exponent() -> None:
    """A lux of fluorescent light gives an amorphous panel 0.72 of the current of a lux of sun."""
    one = PanelReading(light=200.0, kind="fluorescent", open_circuit=4.9, short_circuit=47e-6)
    panel = Panel(response="amorphous-silicon", label=(one,), cells=8)
    assert panel.current_per_light == pytest.approx(47e-6 / (0.72 * 200.0), rel=1e-4)
    assert panel.light_exponent == 1.0
    ideality = panel.junction_voltage / (8 * thermal_voltage(298.15))
    assert ideality == pytest.approx(IDEALITIES["amorphous-silicon"], rel=1e-4)


def test_what_stands_beside_readings_is_taken_as_it_is() -> None:
    curve = pvsystem.singlediode(1e-3, 1e-9, 100.0, 1e6, 0.3)
    free = Panel(label=(reading(curve),))
    beside = Panel(label=(reading(curve),), series_resistance=50.0)
    assert beside.series_resistance == 50.0
    assert beside.junction_voltage == free.junction_voltage
    # a value that contradicts them is not hidden: its readings tell
    odd = Panel(label=(reading(curve),), current_per_light=0.9e-6)
    assert odd.fits[0].short_circuit == pytest.approx(-0.1, abs=0.02)


def test_text_of_a_design_with_readings_reads_back() -> None:
    curve = pvsystem.singlediode(1e-3, 1e-9, 100.0, 1e6, 0.3)
    design = Design(name="mine", panel=Panel(label=(reading(curve),)))
    again = parse_design(design_text(design), "again.yaml")
    assert again == design
    assert change_design(design, {"panel.light_exponent": 0.7}).panel.light_exponent == 0.7
    assert again.with_values({"panel.series_resistance": 7.0}).panel.series_resistance == 7.0


GOOD = """\
photodrome: design 1
name: mine
panel:
  response: amorphous-silicon
  label:
    - light: 200 lx
      kind: fluorescent
      open_circuit: 4.9 V
      short_circuit: 47 uA
      best_voltage: 3.0 V
      best_current: 42 uA
    - {light: 50 klx, open_circuit: 5.6 V, short_circuit: 12 mA}
"""


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "got"),
    [
        ("42 uA", "48 uA", 11, "panel.label[0].best_current", "48 uA"),
        ("3.0 V", "5.0 V", 10, "panel.label[0].best_voltage", "5 V"),
        ("3.0 V", "2.0 V", 10, "panel.label[0].best_voltage", "2 V"),
        ("42 uA", "20 uA", 11, "panel.label[0].best_current", "20 uA"),
        ("3.0 V\n      best_current: 42", "4.8 V\n      best_current: 46", 11, "best_current", "0.96"),
        ("      best_current: 42 uA\n", "", 6, "panel.label[0]", "without best_current"),
        ("12 mA", "40 uA", 12, "panel.label[1].short_circuit", "40 uA"),
        ("5.6 V", "4.8 V", 12, "panel.label[1].open_circuit", "4.8 V"),
        ("light: 200 lx", "light: -200 lx", 6, "panel.label[0].light", "-200 lx"),
        ("fluorescent", "fluorescend", 7, "panel.label[0].kind", "fluorescend"),
        # a thousand volts of open circuit in one light, and none to speak of in the other
        ("5.6 V", "99 V", 12, "panel.label[", "misses by"),
    ],
)
def test_a_label_that_contradicts_itself_is_located(
    old: str, new: str, line: int, key: str, got: str
) -> None:
    assert old in GOOD
    with pytest.raises(SpecError) as caught:
        parse_design(GOOD.replace(old, new), "mine.yaml")
    fault = caught.value.faults[0]
    assert key in fault.key
    assert got in fault.got
    assert fault.line == line or "misses" in got


def test_one_light_without_a_best_point_asks_for_more() -> None:
    one = PanelReading(light=200.0, open_circuit=4.9, short_circuit=47e-6)
    with pytest.raises(ValueError, match="validation error") as caught:
        Panel(label=(one,))
    cause = caught.value.errors()[0]["ctx"]["error"]  # type: ignore[attr-defined]
    assert isinstance(cause, KeyedErrors)
    assert "cells" in cause.errors[0].expected


def test_check_and_bench_tell_the_fit(tmp_path: Path) -> None:
    from tests.helpers.commands import photodrome

    file = tmp_path / "mine.yaml"
    file.write_text(GOOD)
    told = photodrome("check", str(file))
    assert told.code == 0, told.err
    assert "panel from 2 readings, met within" in told.out
