"""The bench: its numbers against hand calculation, its keys, its laws."""

import cmath
import json
import math
import os
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agents.circuit.charging import time_to_reach, wait
from agents.circuit.panel import panel_under
from agents.circuit.records import STATE
from agents.design.as_built import build
from agents.design.spec import Design
from agents.errors import OptionError
from agents.handbook.light_kinds import kind_index
from agents.testbench.bench_figures import BenchPoint, bench, bench_point
from agents.testbench.bench_pulses import bench_pulse
from agents.testbench.measuring import BRIGHTEST
from tests.helpers.promised_keys import POINT_KEYS

DEFAULT = Design(name="test")


@st.composite
def designs(draw: st.DrawFn) -> Design:
    """Designs about the default that fire in room light and drive their wheels."""
    values: dict[str, float] = {
        "storage.capacitance": draw(st.floats(0.5e-3, 5e-3)),
        "storage.series_resistance": draw(st.floats(0.0, 3.0)),
        "panel.current_per_light": draw(st.floats(20e-9, 200e-9)),
        "body.track": draw(st.floats(0.03, 0.06)),
        "body.mass": draw(st.floats(0.008, 0.03)),
    }
    for side in ("left", "right"):
        values |= {
            f"{side}.eye.dark_trigger": draw(st.floats(2.1, 2.5)),
            f"{side}.eye.slope": draw(st.floats(0.3, 0.7)),
            f"{side}.latch": draw(st.floats(2e3, 20e3)),
            f"{side}.motor.resistance": draw(st.floats(20.0, 60.0)),
            f"{side}.coupling": draw(st.floats(0.2e-6, 4.7e-6)),
        }
    return DEFAULT.with_values(values)


def exchanged(design: Design) -> Design:
    """The mirror image: what was left is right."""
    return design.model_copy(update={"left": design.right, "right": design.left})


def test_a_point_has_the_promised_keys_and_is_json() -> None:
    for light in (0.0, 10.0, 3e3, 90e3):
        point = bench_point(DEFAULT, light).as_dict()
        assert set(point) >= POINT_KEYS
        assert point["light_lx"] == light
        json.dumps(point, allow_nan=False)


def test_what_never_comes_is_null() -> None:
    """A walker that never fires has a trigger, but neither charging time nor pulse."""
    for light, fault in ((50.0, "dim"), (90e3, "blind")):
        point = bench_point(DEFAULT, light).as_dict()
        assert point["fires"] is False
        assert point["faults"] == [fault]
        assert point["trigger_V"] > 2.2
        for key in ("charge_s", "pulse_s", "let_go_V", "turn_deg", "advance_m"):
            assert point[key] is None
    bare = DEFAULT.with_values({"both.feeler": None})
    assert bench_point(bare, 3e3).as_dict()["trigger_touched_V"] is None


@pytest.mark.parametrize("light", [-1.0, math.nan, math.inf, 2.0 * BRIGHTEST])
def test_light_that_cannot_be_is_refused(light: float) -> None:
    with pytest.raises(OptionError, match="light of"):
        bench_point(DEFAULT, light)
    with pytest.raises(OptionError, match="no kind of light"):
        bench_point(DEFAULT, 1e3, "moonlight")


def test_charging_time_against_a_calculation_by_hand() -> None:
    """t = C dV / I while the panel is far below its knee, where its current is all but constant."""
    point = bench_point(DEFAULT, 1e3).as_dict()
    swing = point["trigger_V"] - point["let_go_V"]
    # 40 uA out of the panel; two eyes and the leak take about 8 uA at two thirds of full draw and 2 uA
    assert point["charge_s"] == pytest.approx(2200e-6 * swing / (40e-6 - 8.5e-6), rel=0.15)


def test_the_way_of_the_body_is_the_chord_of_an_arc_about_the_standing_tyre() -> None:
    """Against the turn carried out in small rotations of the plane."""
    for light in (1e3, 10e3):
        point = bench_point(DEFAULT, light)
        turn = math.radians(point.as_dict()["turn_deg"])
        # the left wheel drives, so the walker turns to the right about the right tyre
        place, standing = complex(DEFAULT.body.ahead, 0.0), complex(0.0, -0.5 * DEFAULT.body.track)
        start, path = place, 0.0
        for _ in range(2000):
            moved = standing + (place - standing) * cmath.exp(-1j * turn / 2000)
            path += abs(moved - place)
            place = moved
        assert point.as_dict()["advance_m"] == pytest.approx(abs(place - start), rel=1e-9)
        assert point.measured.left.path == pytest.approx(path, rel=1e-5)


@pytest.mark.parametrize("light", [200.0, 3e3, 20e3])
def test_what_a_touch_outweighs_against_the_closed_form(light: float) -> None:
    """V_dark + s log(1 + x E / E0) + I R_touched = V_dark + s log(1 + E / E0) + I R, solved for x."""
    feed = 47e3 + 28.0
    touched = feed * 33e3 / (feed + 33e3)
    lead = 4e-6 * (feed - touched)
    expected = ((1.0 + light / 150.0) * 10.0 ** (lead / 0.7) - 1.0) * 150.0 / light
    assert bench_point(DEFAULT, light).as_dict()["touch_outweighs"] == pytest.approx(expected, rel=1e-6)


def test_a_lamp_of_another_kind_changes_the_panel_alone() -> None:
    """Incandescent light gives a silicon panel 3.01 times the current a lux, see tests/test_spectra.py."""
    sun, lamp = (bench_point(DEFAULT, 2e3, kind).as_dict() for kind in ("daylight", "incandescent"))
    assert lamp["trigger_V"] == sun["trigger_V"]
    assert lamp["photocurrent_A"] == pytest.approx(3.01 * sun["photocurrent_A"])
    assert sun["charge_s"] / lamp["charge_s"] == pytest.approx(3.01 + 2.01 * 10.5 / 69.5, rel=0.05)


def test_a_motor_wired_backward_turns_the_other_way() -> None:
    forward = bench_point(DEFAULT, 3e3)
    backward = bench_point(DEFAULT.with_values({"left.motor.turns": "backward"}), 3e3)
    assert backward.as_dict()["turn_deg"] == -forward.as_dict()["turn_deg"]
    assert backward.as_dict()["advance_m"] == forward.as_dict()["advance_m"]


def test_a_large_storage_is_not_taken_for_a_locked_latch() -> None:
    """10 F run for minutes, and let go."""
    point = bench_point(DEFAULT.with_values({"storage.capacitance": 10.0}), 3e3).as_dict()
    assert point["pulse_s"] > 60.0
    assert point["locked"] is False


def test_several_lights_keep_their_order() -> None:
    lights = (3e3, 100.0, 20e3)
    points = bench(DEFAULT, lights)
    assert tuple(point.measured.light for point in points) == lights
    assert points[0] == bench_point(DEFAULT, 3e3)


@settings(deadline=None, max_examples=40, derandomize=True)
@given(design=designs(), light=st.floats(100.0, 50e3), factor=st.floats(1.02, 3.0))
def test_more_light_never_lowers_a_trigger_and_charges_faster(
    design: Design, light: float, factor: float
) -> None:
    less, more = bench(design, (light, light * factor))
    for side_less, side_more in zip(less.measured.sides, more.measured.sides, strict=True):
        assert side_more.trigger > side_less.trigger
    # until the rising trigger nears what the panel can give
    far_from_blind = more.measured.panel > 0.8 * more.measured.photocurrent - 12e-6
    if less.measured.fires and far_from_blind:
        assert more.measured.fires
        # a flash too weak to turn the latch on takes nothing out of the storage
        if less.measured.first.ignites and more.measured.first.ignites:
            side = getattr(design, more.measured.first.side)
            # an eye cannot flash again before its coupling capacitor has recovered, however fast it charges
            recovery = 3.0 * (side.series + side.motor.resistance) * side.coupling
            assert _charge(more) < _charge(less) or _charge(more) == pytest.approx(recovery)


def _charge(point: BenchPoint) -> float:
    charge = point.measured.first.charge
    # a latch that stays on for ever has nothing to charge again
    assert charge is not None or point.measured.first.locked
    return 0.0 if charge is None else charge


@settings(deadline=None, max_examples=30, derandomize=True)
@given(design=designs(), light=st.floats(10.0, 100e3))
def test_the_mirror_image_gives_mirrored_numbers(design: Design, light: float) -> None:
    point, mirrored = (bench_point(one, light).as_dict() for one in (design, exchanged(design)))
    assert point["left"] == mirrored["right"]
    assert point["right"] == mirrored["left"]
    if point["left"]["trigger_V"] != point["right"]["trigger_V"]:
        assert {point["first"], mirrored["first"]} == {"left", "right"}
        assert point["charge_s"] == mirrored["charge_s"]
    assert point["faults"] == mirrored["faults"]


@settings(deadline=None, max_examples=40, derandomize=True)
@given(
    design=designs(),
    light=st.floats(500.0, 20e3),
    bigger=st.floats(1.0, 20.0),
    number=st.sampled_from((0, 1)),
    touched=st.booleans(),
)
def test_no_energy_comes_from_nowhere(
    design: Design, light: float, bigger: float, number: int, touched: bool
) -> None:
    """Panel in = stored + motor + bases + eyes + leak + series resistance, within 1 %, over a whole cycle."""
    panel = design.panel.current_per_light * bigger
    walker = build(design.with_values({"panel.current_per_light": panel}))[0]
    lit = panel_under(walker, light, kind_index("daylight"))
    trigger = 2.6
    state = np.zeros(1, STATE)[0]
    state["rail"] = 1.0
    wait(walker, lit, state, min(time_to_reach(walker, lit, 1.0, trigger)[0], 1e4))
    charged = float(state["rail"])
    _balance(walker, state, 1.0)

    bench_pulse(walker, number, lit, touched, state, 2.0)
    assert state["motor_energy"] > 0.0
    _balance(walker, state, 1.0)
    # and over the pulse alone, of which the charging would hide much
    fresh = np.zeros(1, STATE)[0]
    fresh["rail"] = charged
    bench_pulse(walker, number, lit, touched, fresh, 2.0)
    _balance(walker, fresh, charged)


def _balance(walker: np.void, state: np.void, start: float) -> None:
    stored = 0.5 * float(walker["capacitance"]) * (float(state["rail"]) ** 2 - start**2)
    names = ("motor", "base", "eye", "leak", "esr")
    spent = sum(float(state[f"{name}_energy"]) for name in names)
    given = float(state["panel_energy"])
    turned_over = max(given, spent, abs(stored))
    assert abs(given - spent - stored) < 0.01 * turned_over


def test_uncompiled_kernels_give_the_same_point() -> None:
    code = (
        "import json; from agents.testbench.bench_figures import bench_point\n"
        "from agents.design.spec import Design\n"
        "print(json.dumps(bench_point(Design(name='test'), 3e3).as_dict()))"
    )
    plain = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PHOTODROME_PLAIN": "1"},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    compiled = bench_point(DEFAULT, 3e3).as_dict()
    found = json.loads(plain.stdout)
    assert found["left"] == pytest.approx(compiled["left"], rel=1e-9)
    assert found["faults"] == compiled["faults"]
