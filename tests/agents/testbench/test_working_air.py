"""In which air a design works, against the voltages of pvlib's panel and of the eye's own formula."""

import math

import pytest
from pvlib import pvsystem
from scipy.optimize import brentq

from agents.design.spec import Design, read_design
from agents.errors import OptionError
from agents.testbench.bench_figures import bench_point
from agents.testbench.working_air import NEAR, USUAL_AIR, air_words, working_air
from tests.helpers.reference_circuit import panel_current_explicit, with_warm_panel

BASIL = Design(name="basil")


def hottest(design: Design, light: float) -> float:
    """The air [degC] in which the current at the trigger is just what eyes and leak take."""
    eye = design.left.eye
    on = eye.dark_trigger + eye.slope * math.log10(1.0 + eye.tape * light / eye.knee_light)
    trigger = on + 4e-6 * (47e3 + 28.0)

    def over(celsius: float) -> float:
        warm = with_warm_panel(design, celsius + light / 109.45 / 40.0)
        return float(panel_current_explicit(warm, 40e-9 * light, trigger)) - 8e-6 - trigger / 1e6

    return float(brentq(over, -40.0, 85.0))


@pytest.mark.parametrize("light", [1e3, 3e3, 10e3])
@pytest.mark.parametrize("tape", [1.0, 0.3])
def test_a_hot_panel_falls_silent_where_its_current_at_the_trigger_is_gone(light: float, tape: float) -> None:
    design = BASIL.with_values({"both.eye.tape": tape})
    found = working_air(design, light)
    assert found is not None
    expected = hottest(design, light) + 273.15
    # copper of the motor hardly counts in the trigger
    assert found[1] == pytest.approx(min(expected, USUAL_AIR[1]), abs=NEAR + 0.05)


def test_open_circuit_of_a_bare_panel_in_a_hot_room() -> None:
    """At 45 degC a bare eye never fires: 3.23 V against a trigger of 3.31 V in 3 klx, from pvlib."""
    light, saturation, series, shunt, thermal = pvsystem.calcparams_desoto(
        1000.0, 45.0, 0.0, 0.19, 120e-6, 0.6e-12, 10e6, 10.0, 1.121, -0.0002677
    )[:5]
    volts = pvsystem.singlediode(light, saturation, series, shunt, thermal)["v_oc"]
    assert volts == pytest.approx(3.23, abs=0.01)
    for lux in (300.0, 3e3, 30e3):
        assert not bench_point(BASIL, lux, "sun", 318.15).measured.fires
        assert working_air(BASIL, lux, between=(318.15, 333.15)) is None


def test_of_two_ranges_it_is_the_one_nearest_to_what_was_asked() -> None:
    """In the sun poppy spins in frost, works in cool air, and is blind in warm air."""
    poppy = read_design("poppy")
    low, high = working_air(poppy, 30e3) or (0.0, 0.0)
    assert bench_point(poppy, 30e3, "sun", low - 1.0).faults == ("spin",)
    assert bench_point(poppy, 30e3, "sun", high + 1.0).faults == ("blind",)
    for air in (low, 0.5 * (low + high), high):
        assert bench_point(poppy, 30e3, "sun", air).faults == ()
    assert working_air(poppy, 30e3, between=(low + 1.0, high - 1.0)) == (low + 1.0, high - 1.0)
    assert working_air(poppy, 3e3, between=(298.15, 298.15)) == (298.15, 298.15)


@pytest.mark.parametrize("between", [(300.0, 290.0), (100.0, 300.0), (290.0, 400.0), (math.nan, 300.0)])
def test_air_that_cannot_be_is_refused(between: tuple[float, float]) -> None:
    with pytest.raises(OptionError, match="expected"):
        working_air(BASIL, 3e3, between=between)


def test_words_of_a_range() -> None:
    assert air_words((280.15, 333.15)) == "from 7 degC on"
    assert air_words((280.15, 300.15)) == "7 degC to 27 degC"
