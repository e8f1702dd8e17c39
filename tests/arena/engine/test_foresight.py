"""Walkers whose pulses are looked up go as those whose pulses are stepped, and fall back to steps in time."""

from typing import Any

import numpy as np
import pytest

from agents.circuit.records import STATE
from agents.circuit.tyre import be_free
from arena.engine.foresight import CAUGHT_UP, step_up_to_now
from arena.engine.world_arrays import PULSING
from arena.simulation import run_plans
from tests.benchmarks.worlds import hall, many_arenas
from tests.helpers.worlds import World, bench, box, design, lamp, plank

FLOOR = bench(box(2.0, 2.0), [lamp(1.0, 1.0, 0.8, 4500.0)], ambient=300.0)
POSES = [(0.6, 0.7, 0.3)]


def world(looked_up: bool, until: float = 300.0, poses: Any = POSES, spec: Any = FLOOR) -> World:
    """One design on a floor with a lamp, its jitter left out so that both ways have the same luck."""
    one = design("radish", both__eye__jitter=0.0)
    return World(spec, [one] * len(poses), poses, until, looked_up=looked_up)


def test_a_walk_that_is_looked_up_is_the_walk_that_is_stepped() -> None:
    """Its first pulses, before small differences add up: within a hundredth, and its pose within 2 mm."""
    told, stepped = world(True).run(), world(False).run()
    assert abs(len(told.pulses) - len(stepped.pulses)) <= 1
    assert len(told.pulses) >= 10
    first, same = told.pulses[:8], stepped.pulses[:8]
    assert first["side"].tolist() == same["side"].tolist()
    for name in ("charge_C", "path_m", "let_go_V", "peak_A"):
        assert first[name] == pytest.approx(same[name], rel=0.01)
    assert first["let_go_s"] - first["start_s"] == pytest.approx(same["let_go_s"] - same["start_s"], rel=0.01)
    for name in ("x1", "y1"):
        assert first[name] == pytest.approx(same[name], abs=2e-3)
    # and it was looked up, so not the same to the last digit
    assert np.any(first["charge_C"] != same["charge_C"])


def test_energies_add_up_in_both() -> None:
    for looked_up in (False, True):
        panel, stored, *spent = world(looked_up).run().ledger()[0].tolist()
        assert panel == pytest.approx(stored + sum(spent), rel=1e-6)


def test_poses_within_a_pulse_lie_on_its_arc() -> None:
    """Between flash and rest a walker turns about one tyre, however its strides are cut."""
    run = world(True).run()
    poses = run.table("poses")
    half = 0.5 * float(run.walkers["track"][0])
    seen = 0
    for pulse in run.pulses[:8]:
        during = poses[(poses["time_s"] >= pulse["start_s"]) & (poses["time_s"] <= pulse["rest_s"])]
        outward = -half if pulse["side"] == 1 else half
        x = during["x"] + outward * np.sin(during["heading"])
        y = during["y"] - outward * np.cos(during["heading"])
        # to the grain of poses in a replay
        assert np.ptp(x) < 5e-4
        assert np.ptp(y) < 5e-4
        seen += len(during) - 2
    assert seen > 16


def test_a_wall_ahead_is_met_as_by_one_that_is_stepped() -> None:
    """Near it pulses are stepped, so that a touch lowers the trigger and the body slides along the wall."""
    spec = bench(
        box(2.0, 2.0), [lamp(1.0, 1.0, 0.8, 4500.0)], [plank((0.85, 0.2), (0.85, 1.8))], ambient=300.0
    )
    poses = [(0.7, 0.9, 0.0)]
    told, stepped = world(True, 600.0, poses, spec).run(), world(False, 600.0, poses, spec).run()
    assert min(len(told.touches), len(stepped.touches)) >= 4
    assert np.count_nonzero(told.pulses["touched"]) > 2
    assert told.touches["time_s"][0] == pytest.approx(stepped.touches["time_s"][0], rel=0.02)
    share = np.count_nonzero(told.pulses["touched"]) / len(told.pulses)
    assert share == pytest.approx(np.count_nonzero(stepped.pulses["touched"]) / len(stepped.pulses), abs=0.25)


def test_a_pulse_that_is_disturbed_goes_on_in_steps_from_where_it_is() -> None:
    """Stepped up to then it has the state of a pulse that was never looked up."""
    run = world(True)
    time = 0.0
    while run.bodies[0]["phase"] != PULSING or run.bodies[0]["foreseen"] == 0:
        time += 0.02
        run.run(time)
        assert time < 300.0
    body = run.bodies[0]
    elapsed = float(body["state"]["elapsed"])
    assert 0.0 < elapsed < float(body["outcome"][0])
    rail = float(body["state"]["rail"])
    known = np.array(body["state"], STATE)
    # it was free up to now, and leans on what it has just met
    body["state"]["leans"], body["state"]["rubs"] = 0.4, 0.003
    assert step_up_to_now(run.walkers[0], body)
    assert body["foreseen"] == 0
    assert (body["state"]["leans"], body["state"]["rubs"]) == (0.4, 0.003)
    assert float(body["state"]["speed"]) == pytest.approx(float(known["speed"]), rel=0.02)
    be_free(body["state"])
    assert float(body["state"]["elapsed"]) == pytest.approx(elapsed, abs=CAUGHT_UP)
    assert float(body["state"]["rail"]) < rail == float(known["rail"])
    assert float(body["state"]["speed"]) > 0.0
    # the run goes on from there, and the pulse lets go about when it was to
    lasts = float(body["outcome"][0])
    start = float(body["start"])
    run.run(time + 1.0)
    (pulse,) = run.pulses[np.abs(run.pulses["start_s"] - start) < 1e-3]
    assert pulse["let_go_s"] - pulse["start_s"] == pytest.approx(lasts, rel=0.01, abs=2e-3)


def test_a_run_that_ends_within_a_pulse_cuts_it_off_in_steps() -> None:
    stepped = world(False).run()
    pulse = stepped.pulses[2]
    until = float(0.5 * (pulse["start_s"] + pulse["let_go_s"]))
    told = world(True, until).run()
    last = told.pulses[-1]
    assert last["let_go_s"] == pytest.approx(until, abs=1e-3)
    assert 0.3 < last["charge_C"] / pulse["charge_C"] < 0.8


@pytest.mark.parametrize("threads", [1, 3])
def test_what_is_looked_up_is_the_same_for_any_threads_and_any_company(threads: int) -> None:
    plans = many_arenas(20, 200.0)
    together, _ = run_plans(plans, threads)
    for number in (0, 13):
        alone, _ = run_plans([plans[number]], 1)
        for name in ("pulses", "poses", "lights"):
            assert np.array_equal(together[name][together[name]["walker"] == number], alone[name])


def test_a_crowd_that_is_looked_up_does_as_one_that_is_stepped() -> None:
    """Pulses, their charge and how often they touch, of 60 walkers that meet, within what luck leaves."""
    told, stepped = (run_plans(hall(60, 300.0, looked_up), 1)[0] for looked_up in (True, False))
    assert len(told["pulses"]) == pytest.approx(len(stepped["pulses"]), rel=0.03)
    for name in ("charge_C", "path_m"):
        assert told["pulses"][name].mean() == pytest.approx(stepped["pulses"][name].mean(), rel=0.03)
    assert len(told["touches"]) == pytest.approx(len(stepped["touches"]), rel=0.4)
