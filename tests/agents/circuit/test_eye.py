"""The eye's trigger, with and without a bench table, and what its feed makes of it."""

import itertools
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agents.circuit.eye import feed_resistance, on_voltage, quiet_draw, recovery_time, trigger_voltage
from agents.design.as_built import build
from agents.design.parts import EyeRow
from agents.design.spec import Design


def left_side(**values: Any) -> Any:
    """The record of a left side with some values replaced, by path with double underscores for dots."""
    paths = {"left." + path.replace("__", "."): value for path, value in values.items()}
    return build(Design(name="sweet pea").with_values(paths))[0]["side"][0]


def test_trigger_rises_by_its_slope_a_decade() -> None:
    side = left_side(eye__dark_trigger=2.35, eye__slope=0.5, eye__knee_light=150.0)
    assert on_voltage(0.0, side) == 2.35
    assert on_voltage(9.0 * 150.0, side) == pytest.approx(2.85, abs=1e-12)
    assert on_voltage(99.0 * 150.0, side) == pytest.approx(3.35, abs=1e-12)


def test_tape_stands_for_less_light() -> None:
    bare, taped = left_side(), left_side(eye__tape=0.05)
    assert on_voltage(3000.0, taped) == pytest.approx(on_voltage(150.0, bare), abs=1e-12)


def test_trigger_at_room_light() -> None:
    """2.5 to 3 V at 100 to 1000 lx; common practice, no source."""
    side = left_side()
    for light in (100.0, 300.0, 900.0):
        assert 2.5 <= trigger_voltage(light, False, side) <= 3.0


def test_touch_lowers_the_trigger_by_the_feed_in_parallel() -> None:
    """Two resistors side by side, by hand; the drop of 0.11 V for 33 on 47 kilohm is common practice."""
    side = left_side(series=47e3, feeler=33e3, motor__resistance=28.0, eye__quiet_current=4e-6)
    feed = 47028.0
    assert feed_resistance(False, side) == feed
    assert feed_resistance(True, side) == pytest.approx(1.0 / (1.0 / feed + 1.0 / 33e3), rel=1e-12)
    drop = trigger_voltage(1000.0, False, side) - trigger_voltage(1000.0, True, side)
    assert drop == pytest.approx(4e-6 * (feed - feed * 33e3 / (feed + 33e3)), rel=1e-9)
    assert drop == pytest.approx(0.11, abs=0.005)


def test_without_a_feeler_resistor_touch_changes_nothing() -> None:
    side = left_side(feeler=None)
    assert feed_resistance(True, side) == feed_resistance(False, side)
    assert trigger_voltage(500.0, True, side) == trigger_voltage(500.0, False, side)


def test_quiet_draw_falls_off_below_the_dark_trigger() -> None:
    side = left_side(eye__quiet_current=4e-6, eye__dark_trigger=2.0)
    assert quiet_draw(2.0, side) == quiet_draw(4.0, side) == 4e-6
    assert quiet_draw(0.5, side) == pytest.approx(1e-6, rel=1e-12)
    assert quiet_draw(0.0, side) == quiet_draw(-0.1, side) == 0.0


def test_recovery_is_three_time_constants_and_a_flash_at_least() -> None:
    assert recovery_time(left_side(series=47e3, coupling=1e-6)) == pytest.approx(0.141084, rel=1e-9)
    assert recovery_time(left_side(series=1e3, coupling=1e-7)) == 0.02


LIGHTS = st.lists(st.floats(0.0, 1e5), min_size=2, max_size=16, unique_by=lambda light: round(light, 1))


@settings(deadline=None, derandomize=True)
@given(lights=LIGHTS, data=st.data())
def test_table_is_met_at_its_rows_and_monotone_between(lights: list[float], data: st.DataObject) -> None:
    lights = sorted(lights)
    volts = sorted(data.draw(st.lists(st.floats(1.0, 5.0), min_size=len(lights), max_size=len(lights))))
    rows = tuple(EyeRow(light=light, trigger=volt) for light, volt in zip(lights, volts, strict=True))
    side = left_side(eye__table=rows)
    for light, volt in zip(lights, volts, strict=True):
        assert on_voltage(light, side) == pytest.approx(volt, abs=1e-9)
    assert on_voltage(0.0, side) == pytest.approx(volts[0], abs=1e-9)
    assert on_voltage(1e6, side) == volts[-1]
    probes = sorted(data.draw(st.lists(st.floats(0.0, 2e5), min_size=2, max_size=8)))
    seen = [on_voltage(light, side) for light in probes]
    assert all(first <= second + 1e-12 for first, second in itertools.pairwise(seen))


def test_table_is_straight_against_the_logarithm_of_light() -> None:
    side = left_side(eye__table=(EyeRow(light=9.0, trigger=2.0), EyeRow(light=999.0, trigger=3.0)))
    assert on_voltage(99.0, side) == pytest.approx(2.5, abs=1e-12)
    assert on_voltage(1.0 + 9.0 * math.sqrt(10.0), side) == pytest.approx(
        2.0 + 0.5 * (math.log10(2.0 + 9.0 * math.sqrt(10.0)) - 1.0), abs=1e-12
    )
