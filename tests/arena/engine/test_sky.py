"""Light that changes while walkers wait: against an integrator, from nothing, and the same in any company."""

import datetime
import math
from itertools import product

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from agents.circuit.records import WALKER
from agents.design.as_built import build
from agents.handbook.sky_light import disc_illuminance, sky_illuminance
from agents.handbook.sun_position import seconds_of, sun_position
from arena.engine.assembly import WorldPlan
from arena.engine.world_arrays import WAITING
from arena.scene.day_form import Clouds, Day, OnTime
from arena.scene.elements import StartPlace, Starts
from arena.scene.flat_arena import flatten
from arena.scene.sky import sky_of
from arena.scene.spec import ArenaSpec
from arena.simulation import run_plans, simulate
from replays.format.grains import SECOND
from tests.arena.engine.test_loop import STILL, keep_watch
from tests.helpers.reference_circuit import waiting_rate, with_warm_panel
from tests.helpers.worlds import TABLES, World, bench, box, contest, design, lamp, leaf, plank

MORNING = {
    "latitude": math.radians(47.4),
    "longitude": math.radians(8.5),
    "date": datetime.date(2026, 6, 21),
    "clock": 7200.0,
    "begins": 6.0 * 3600.0,
}


def outdoors(spec: ArenaSpec, **day: object) -> ArenaSpec:
    return ArenaSpec.model_validate({**dict(spec), "day": Day.model_validate({**MORNING, **day})})


def yard() -> ArenaSpec:
    """A post and a leaf in the open, and a lamp."""
    return bench(
        box(1.2, 0.9),
        [lamp(0.7, 0.5, 0.5, 200.0, 0.08)],
        [plank((0.6, 0.2), (0.6, 0.6), height=0.1)],
        [leaf((0.2, 0.3), (0.4, 0.3), (0.4, 0.6), height=0.2, passes=0.4)],
        starts=Starts(
            places=tuple(StartPlace(place=pose[:2], heading=pose[2] % math.tau) for pose in rows_of(6))
        ),
    )


def rows_of(count: int) -> list[tuple[float, float, float]]:
    return [(0.1 + 0.13 * (n % 8), 0.08 + 0.12 * (n // 8), 1.3 * n) for n in range(count)]


@pytest.mark.parametrize("begins", [5.4, 6.0, 21.0])
def test_a_wait_through_dawn_and_dusk_is_what_an_integrator_says(begins: float) -> None:
    """The rail under a panel that faces a sky which never stands still, and an eye that follows it.

    Light by the formulae themselves, the circuit by independent equations; the rail in half an hour to a
    millivolt, and a first trigger to a few seconds.
    """
    one = STILL.with_values({"storage.start": 1.0, "storage.capacitance": 0.05})
    spec = outdoors(bench(box(2.0, 2.0)), begins=begins * 3600.0)
    day = spec.day
    assert day is not None
    assert day.date is not None
    start = seconds_of(day.date) + day.begins - day.clock

    def light(time: float) -> float:
        sun = sun_position(np.array([start + time]), math.radians(47.4), math.radians(8.5))
        disc = disc_illuminance(sun.apparent, np.array([172.0 + (day.begins + time) / 86400.0]))
        return float((disc * np.sin(sun.apparent) + sky_illuminance(sun.elevation))[0])

    def rate(time: float, state: np.ndarray) -> float:
        shining = light(time)
        warm = with_warm_panel(one, 25.0 + shining / 109.45 / 40.0)
        return waiting_rate(warm, 40e-9 * shining)(time, state)

    seconds = 1800.0
    world = World(spec, [one], [(1.0, 1.0, 0.3)], until=seconds)
    seen: list[tuple[float, float]] = []

    def look(time: float) -> None:
        if len(world.pulses) == 0 and world.bodies[0]["phase"] == WAITING:
            seen.append((float(world.bodies[0]["since"]), float(world.bodies[0]["state"]["rail"])))

    world.watch(look, 30.0)
    assert len(seen) > 5
    times, rails = np.array(seen).T
    assert times[-1] > 300.0
    known = solve_ivp(
        rate, (0.0, times[-1] + 1.0), [1.0], "LSODA", t_eval=np.unique(times), max_step=20.0, rtol=1e-7
    )
    assert rails == pytest.approx(np.interp(times, known.t, known.y[0]), abs=2e-3)


def test_half_the_tolerance_quarters_what_is_off() -> None:
    """A step holds what is true in its middle, so that the error goes with its square."""
    one = STILL.with_values({"storage.start": 1.0, "storage.capacitance": 0.02, "both.eye.dark_trigger": 9.0})
    rails = []
    for tolerance in (0.16, 0.08, 0.002):
        spec = outdoors(bench(box(2.0, 2.0)), begins=5.5 * 3600.0, tolerance=tolerance)
        world = World(spec, [one], [(1.0, 1.0, 0.3)], until=1500.0).run()
        assert len(world.pulses) == 0
        rails.append(float(world.bodies[0]["state"]["rail"]))
    coarse, fine = abs(rails[0] - rails[2]), abs(rails[1] - rails[2])
    assert coarse < 5e-3
    assert fine < 0.45 * coarse


def test_light_of_a_crowd_in_a_wandering_sun_is_what_it_is_from_nothing() -> None:
    """Low sun, long shadows, clouds and a lamp: what is kept up to date is what a look would give."""
    clouds = Clouds(cover=4, lasts=40.0)
    spec = outdoors(yard(), begins=6.1 * 3600.0, clouds=clouds, coldest=280.0, warmest=300.0)
    world = World(spec, [design("fennel")] * 24, rows_of(24), until=900.0)
    seen = keep_watch(world, 1.7)
    assert len(world.pulses) > 300
    assert seen["shaded"] > 1000
    # the sun has gone on, and with it how far shadows reach
    assert world.crowd.settings["sky_step"][0] > 20
    assert world.crowd.settings["influence"][0] < 1.0
    air = world.crowd.settings["air"][0]
    assert 280.0 < air < 285.0
    assert world.crowd.walkers["air"] == pytest.approx(np.full(24, air), abs=0.6)


def test_energy_never_appears_from_nowhere_on_a_day_with_clouds() -> None:
    spec = outdoors(yard(), clouds=Clouds(cover=4, lasts=20.0), coldest=280.0, warmest=300.0)
    world = World(spec, [design("fennel")] * 12, rows_of(12), until=1200.0).run()
    ledger = world.ledger()
    assert ledger[:, 1:].sum(axis=1) == pytest.approx(ledger[:, 0], rel=0.01)
    assert np.all(ledger[:, 0] > 0.05)


def test_a_lamp_by_the_clock_lets_walkers_go_and_stand() -> None:
    on = (
        OnTime(begins=6.1 * 3600.0, ends=6.2 * 3600.0),
        OnTime(begins=6.4 * 3600.0, ends=6.5 * 3600.0, share=0.5),
    )
    under = lamp(0.5, 0.5, 0.5, 2000.0).model_copy(update={"lit": on})
    room = {"lamps": (under,), "day": Day(begins=6.0 * 3600.0)}
    spec = ArenaSpec.model_validate({**dict(bench(box(1.0, 1.0))), **room})
    world = World(spec, [STILL] * 2, [(0.3, 0.5, 0.0), (0.7, 0.5, 1.0)], until=2400.0).run()
    starts = world.pulses["start_s"]
    first, second = (starts > 360.0) & (starts < 720.0), (starts > 1440.0) & (starts < 1800.0)
    assert np.all(first | second)
    assert first.sum() > 1.6 * second.sum() > 10
    # whoever stands has the light of a dark room
    lights = world.table("lights")
    dark = lights[(lights["time_s"] > 720.0) & (lights["time_s"] < 1440.0)]
    assert np.all(lights[lights["time_s"] == 0.0]["panel_lx"] == 0.0)
    assert np.all(dark["panel_lx"] == 0.0)
    # dimmed to a half, the same place has half the light
    still = lights[lights["walker"] == 0]
    assert still[still["time_s"] == 360.0]["panel_lx"] > 100.0


def plan(spec: ArenaSpec, numbers: list[int], until: float, seed: int, luck: int) -> WorldPlan:
    walkers = np.concatenate([build(STILL)] * len(numbers)).astype(WALKER)
    poses = np.array(rows_of(len(numbers)))
    sky = sky_of(spec, until, seed, luck)
    return WorldPlan(flatten(spec), walkers, poses, np.array(numbers), np.array(numbers), seed, until, sky)


def test_worlds_with_different_skies_on_one_floor_do_not_disturb_each_other() -> None:
    """Each with its own clouds, one with no day at all: together and alone they give the same bits."""
    still, bright = yard(), outdoors(yard(), clouds=Clouds(cover=4, lasts=20.0))
    arena = flatten(bright)
    plans = []
    for luck in range(5):
        one = plan(bright if luck != 2 else still, [luck], 400.0, 3, luck)
        plans.append(one if luck == 2 else WorldPlan(arena, *list(vars(one).values())[1:]))
    together, _ = run_plans(plans, threads=1)
    found = 0
    for one in plans:
        alone, _ = run_plans([one], threads=1)
        for name in TABLES:
            number = one.numbers[0]
            mine = together[name][together[name]["walker"] == number]
            assert mine.tobytes() == alone[name].tobytes(), name
            found += len(mine)
    assert found > 200
    lights = [together["lights"][together["lights"]["walker"] == number] for number in (0, 1)]
    assert lights[0]["panel_lx"].tobytes() != lights[1]["panel_lx"].tobytes()


@pytest.mark.parametrize("alone", [False, True])
def test_a_day_has_the_same_bytes_for_any_number_of_threads(alone: bool) -> None:
    spec = outdoors(yard(), clouds=Clouds(cover=5, lasts=30.0), coldest=280.0, warmest=300.0)
    run = contest(spec, [design("fennel"), design("leek")], walkers=3, seconds=500.0, seed=4, alone=alone)
    one, two = (simulate(run, threads=threads) for threads in (1, 2))
    for name in TABLES:
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes(), name
    assert len(one.pulses) > 50
    # copies of the two designs have the same weather
    changes = [set(one.lights["time_s"][one.lights["walker"] == number].tolist()) for number in range(6)]
    sky = sky_of(spec, 500.0, 4)
    assert sky is not None
    # times are kept in steps of their own
    steps = set((np.round(sky.steps["start"] * SECOND) / SECOND).tolist())
    for first, second in product(changes, changes):
        assert len(first & second & steps) > 5


def test_slices_and_small_tables_change_nothing() -> None:
    spec = outdoors(yard(), clouds=Clouds(cover=4, lasts=20.0))
    count = 12
    least = {"pulses": 2, "poses": 4 * count + 8, "touches": 6 * count + 12, "lights": 2 * count + 8}
    whole = World(spec, [STILL] * count, rows_of(count), until=200.0).run()
    sliced = World(spec, [STILL] * count, rows_of(count), until=200.0, rows=least)
    sliced.watch(lambda time: None, 1.37)
    for name in TABLES:
        one, other = whole.table(name), sliced.table(name)
        assert len(one) > 0
        key = "start_s" if name == "pulses" else "time_s"
        for number in range(count):
            mine, yours = (rows[rows["walker"] == number] for rows in (one, other))
            order, other_order = np.argsort(mine[key], kind="stable"), np.argsort(yours[key], kind="stable")
            assert np.array_equal(mine[order], yours[other_order]), name
