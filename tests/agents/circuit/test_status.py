"""Every status code, provoked where it arises, on the way up, and at the command line.

What a kernel cannot do must come to the user as an error with a name: who, when, at which values, what to do.
"""

import itertools
import math
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from threading import Event
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from agents.circuit import status
from agents.circuit.charging import charge_to, wait
from agents.circuit.latch import Guess, settle_latch, strongest_drive
from agents.circuit.level import Kick, Supply
from agents.circuit.panel import lit_panel, open_circuit_voltage, panel_current
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.records import STATE
from agents.compiled import PLAIN
from agents.design.as_built import build
from agents.errors import ConvergenceError, ModelError, raise_first
from agents.testbench.bench_figures import bench_point
from agents.testbench.bench_pulses import bench_pulse
from agents.testbench.surveys import survey
from arena.engine.assembly import WorldPlan
from arena.scene.flat_arena import flatten
from arena.simulation import run_plans
from replays.causes.pulse_curve import pulse_rows
from tests.helpers.commands import refusal
from tests.helpers.worlds import World, bench, box, design, lamp


def walker_of(**values: Any) -> Any:
    """The default walker, with fields of its record or (``left_``) of its left side put to any value."""
    record = build(design())[0]
    for name, value in values.items():
        if name.startswith("left_"):
            record["side"][0][name.removeprefix("left_")] = value
        else:
            record[name] = value
    return record


def state_of(rail: float) -> Any:
    state = np.zeros(1, STATE)[0]
    state["rail"] = rail
    return state


def test_a_panel_far_above_its_voltage_is_found_from_nearer_by() -> None:
    """20 V on panels of 60 thermal voltages and more; against scipy's root of the same equation."""
    saturation, photocurrent, shunt = 6e-13, 1e-4, 1e7
    for thermal, series in ((0.02, 0.5), (0.05, 10.0), (0.19, 10.0), (0.19, 0.01)):

        def balance(junction: float, thermal: float = thermal, series: float = series) -> float:
            diode = saturation * math.expm1(junction / thermal)
            return photocurrent - diode - junction / shunt - (junction - 20.0) / series

        top = thermal * math.log(20.0 / (0.9 * series * saturation))
        expected = (brentq(balance, 0.0, top, xtol=1e-15, rtol=1e-14) - 20.0) / series
        current, code = panel_current(20.0, photocurrent, saturation, thermal, series, shunt)
        assert code == status.SETTLED
        assert current == pytest.approx(expected, rel=1e-9)


def test_panel_codes() -> None:
    """Both come to an end for any panel that is one, so that only what is no number brings their codes."""
    for spoilt in (math.nan, math.inf):
        assert panel_current(3.0, spoilt, 1e-12, 0.2, 10.0, 1e6)[1] == status.PANEL_UNSETTLED
        assert open_circuit_voltage(spoilt, 1e-12, 0.2, 1e6)[1] == status.OPEN_CIRCUIT_UNSETTLED
    ends = itertools.product((1e-10, 1e2), (1e-18, 1e-3), (0.02, 2.0), (1e-3, 1e5), (10.0, 1e12))
    for photocurrent, saturation, thermal, series, shunt in ends:
        for rail in (0.0, 2.0, 20.0):
            _, code = panel_current(rail, photocurrent, saturation, thermal, series, shunt)
            assert code == status.SETTLED
        assert open_circuit_voltage(photocurrent, saturation, thermal, shunt)[1] == status.SETTLED


def test_latch_codes() -> None:
    side = walker_of()["side"][0]
    assert strongest_drive(math.nan, 1e-6, 1e-16)[1] == status.DRIVE_UNSETTLED
    push, still = Supply(3.0, 0.3, 0.5), Kick(0.0, 0.0, 0.0, 0.0)
    fresh = Guess(math.inf, 0.0, 0.0)
    assert settle_latch(push, still, 0.0257, side, fresh).status == status.SETTLED
    lost = settle_latch(push, Kick(math.nan, 0.0, 0.0, 0.0), 0.0257, side, fresh)
    assert (lost.holds, lost.status) == (False, status.DRIVE_UNSETTLED)
    lost = settle_latch(push, still, 0.0257, side, Guess(math.nan, 1e-4, 0.03))
    assert (lost.holds, lost.status) == (False, status.LATCH_UNSETTLED)


def test_charging_codes() -> None:
    # a rail of gigavolts has no steps of a tenth of a microvolt left, so the last of the way takes for ever
    panel = {"panel_saturation": 1e-300, "panel_thermal": 1e9, "panel_shunt": math.inf, "panel_series": 0.0}
    walker = walker_of(leak=1e13, **panel)
    walker["side"]["quiet_current"] = 0.0
    rest = 1e13 * 1e-3
    far = charge_to(walker, lit_panel(walker, 1e-3, 0.0), 0.0, np.nextafter(rest, 0.0))
    assert (far.time, far.status) == (math.inf, status.CHARGE_UNFINISHED)
    assert charge_to(walker, lit_panel(walker, 1e-3, 0.0), 0.0, 0.5 * rest).status == status.SETTLED
    spoilt = charge_to(
        walker_of(capacitance=math.nan), lit_panel(walker_of(capacitance=math.nan), 1e-4, 0.0), 0.0, 2.0
    )
    assert (spoilt.time, spoilt.status) == (math.inf, status.NO_NUMBER)
    passed_on = charge_to(
        walker_of(panel_saturation=math.nan),
        lit_panel(walker_of(panel_saturation=math.nan), 1e-4, 0.0),
        0.0,
        2.0,
    )
    assert passed_on.status == status.PANEL_UNSETTLED


def test_wait_codes() -> None:
    # no step goes further than 0.1 V, so a hundred kilovolts take a million of them
    high = state_of(1e5)
    walker = walker_of(panel_saturation=1e-300, panel_thermal=1e9, panel_series=0.0, leak=1e4)
    wait(walker, lit_panel(walker, 0.0, 0.0), high, 1e6)
    assert high["status"] == status.WAIT_UNFINISHED
    lost = state_of(math.nan)
    wait(walker_of(), lit_panel(walker_of(), 1e-4, 0.0), lost, 1.0)
    assert lost["status"] & status.NO_NUMBER
    good = state_of(1.0)
    wait(walker_of(), lit_panel(walker_of(), 1e-4, 0.0), good, 60.0)
    assert good["status"] == status.SETTLED


def test_pulse_codes_stay_in_the_state() -> None:
    walker, state = walker_of(), state_of(3.0)
    begin_pulse(walker, 0, False, state)
    state["guess"] = math.nan
    state["base"] = 1e-4
    state["given"] = 1e-3
    state["collector"] = 0.03
    assert pulse_step(walker, 0, lit_panel(walker, 1e-4, 0.0), False, state, 1e-4) == (False, 0.0)
    assert state["status"] == status.LATCH_UNSETTLED
    wait(walker, lit_panel(walker, 1e-4, 0.0), state, 1.0)
    assert state["status"] == status.LATCH_UNSETTLED
    # a heavy wheel that hardly anything brakes
    smooth = walker_of(left_rotor_inertia=1e-3, left_motor_friction=1e-7, drag=0.0)
    state = state_of(3.0)
    bench_pulse(smooth, 0, lit_panel(smooth, 1e-4, 0.0), False, state, 2.0)
    assert state["status"] == status.COAST_UNENDED


def spoilt(count: int = 3) -> Any:
    """Records of which the last but one cannot be followed."""
    records = np.concatenate([build(design()) for _ in range(count)])
    records["panel_saturation"][count - 2] = math.nan
    return records


def test_the_survey_tells_which_copy_it_was() -> None:
    with pytest.raises(ConvergenceError, match=r"copy 12: the panel's current .*light at the left eye 3 klx"):
        survey(spoilt(), [3e3], "daylight", first=10)


def test_a_curve_of_a_replay_tells_it_too() -> None:
    still = (np.zeros(1), np.zeros(1))
    walker = walker_of(left_latch=math.nan)
    panel = lit_panel(walker, 1e-4, 0.0)
    with pytest.raises(ConvergenceError, match=r"a pulse at .*latch holds|strongest drive"):
        pulse_rows(walker, 0, 3.0, panel, still, (np.zeros(0), np.zeros(0)), 1.0)


def test_every_code_has_its_words_and_the_values_to_look_at() -> None:
    codes = [bit for name, bit in vars(status).items() if name.isupper() and isinstance(bit, int) and bit]
    assert sorted(codes) == [1 << place for place in range(len(codes))]
    known = {
        "time": 12.5,
        "photocurrent": 1e-4,
        "left_light": 310.0,
        "right_light": 54.0,
        "panel_light": 400.0,
    }
    texts = set()
    for bit in codes:
        error = status.failure(bit, "cress 3", walker_of(), 1, 2.87, **known)
        assert isinstance(error, ModelError)
        assert isinstance(error, ConvergenceError) == (bit != status.NO_NUMBER)
        text = str(error)
        for part in (
            "cress 3 at 12.5 s",
            "rail 2.87 V",
            "left eye 310 lx",
            "right latch 10 kohm",
            "Look at ",
        ):
            assert part in text
        texts.add(text)
    assert len(texts) == len(codes)


LOST_DESIGN = """photodrome: design 1
name: moonflower
panel:
  junction_voltage: 20 mV
  series_resistance: 0 ohm
storage:
  start: 20 V
"""


@pytest.mark.skipif(PLAIN, reason="plain Python makes no whole number of what is none")
def test_a_run_that_loses_a_walker_says_so_at_the_command_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twenty volts on a panel of one cell: within all ranges, and no number."""
    monkeypatch.chdir(tmp_path)
    Path("moonflower.yaml").write_text(LOST_DESIGN, encoding="utf-8")
    run = (
        "run",
        "open-bench",
        "--design",
        "./moonflower.yaml",
        "--walkers",
        "3",
        "--alone",
        "--out",
        "a.npz",
    )
    told = {" ".join(refusal(*run, "--threads", threads, code=1).split()) for threads in ("1", "2")}
    assert len(told) == 1
    (text,) = told
    assert "the model lost a walker: moonflower 1 at " in text
    assert "its circuit came to a state that is no number" in text
    assert "rail nan V" in text
    assert "Look at " in text
    assert "storage.start" in text


def test_the_first_walker_in_order_is_told_however_many_threads_run() -> None:
    """The first of two that are lost has so much farther to go that the other one is lost long before."""
    spec = bench(box(1.0, 1.0), [lamp(0.5, 0.5, 0.6, 800.0)])
    world = World(spec, [design()], [(0.5, 0.5, 0.0)])
    assert world.run().crowd.bodies["state"]["status"].tolist() == [status.SETTLED]
    errors = []
    for threads in (1, 4):
        with pytest.raises(ModelError) as caught:
            run_plans(lost_plans(), threads=threads)
        errors.append(str(caught.value))
    assert errors[0] == errors[1]
    assert "walker 2" in errors[0]


def lost_plans() -> list[Any]:
    """Six worlds of one walker; in that of the second and the fifth the panel is no number."""
    arena = flatten(bench(box(1.0, 1.0), [lamp(0.5, 0.5, 0.6, 800.0)]))
    plans = []
    for number in range(6):
        walkers = build(design())
        if number in (1, 4):
            walkers["panel_saturation"] = math.nan
        poses, own = np.array([(0.5, 0.5, 0.0)]), np.array([number])
        plans.append(WorldPlan(arena, walkers, poses, own, own, 1, 2000.0 if number < 2 else 10.0))
    return plans


def test_of_several_that_fail_the_first_in_order_is_raised() -> None:
    gate = Event()

    def fail(name: str, waits: bool) -> None:
        if waits:
            gate.wait(10.0)
        raise ModelError(name)

    with ThreadPoolExecutor(2) as pool:
        futures: list[Future[None]] = [pool.submit(fail, "first", True), pool.submit(fail, "second", False)]
        assert isinstance(futures[1].exception(10.0), ModelError)
        raise_first(futures, set())
        gate.set()
        with pytest.raises(ModelError, match="first"):
            raise_first(futures, {futures[1]})


EXTREMES = {
    "panel.junction_voltage": (0.02, 2.0),
    "panel.series_resistance": (1e-3, 1e5),
    "storage.series_resistance": (1e-3, 1e3),
    "storage.leak": (100.0, 1e12),
    "both.coupling": (1e-9, 1e-3),
    "both.latch": (10.0, 1e8),
    "both.npn.gain": (5.0, 2000.0),
    "both.pnp.saturation_current": (1e-18, 1e-9),
    "both.motor.resistance": (0.5, 1e4),
    "both.motor.constant": (1e-5, 1.0),
}


def test_a_design_within_all_ranges_is_measured_or_refused_by_name() -> None:
    """Designs drawn over the whole of their ranges: figures that are numbers, or an error with a name."""
    rng = np.random.default_rng(20260301)
    measured = 0
    refusals = []
    for _ in range(150):
        values = {path: float(np.exp(rng.uniform(*np.log(ends)))) for path, ends in EXTREMES.items()}
        light = float(10.0 ** rng.uniform(1.0, 6.0))
        try:
            point = bench_point(design().with_values(values), light)
        except ConvergenceError as error:
            refusals.append(str(error))
            continue
        measured += 1
        for side in point.measured.sides:
            if side.reaches and not side.locked:
                assert side.let_go is not None
                assert side.pulse is not None
                # a panel that gives more than a motor takes lets the rail climb in the pulse
                brought = point.measured.photocurrent * side.pulse / design().storage.capacitance
                assert 0.0 <= side.let_go <= side.trigger + brought
                assert side.charge is not None
    assert measured > 140
    assert all(text.startswith("the model lost a walker: the design: ") for text in refusals)
