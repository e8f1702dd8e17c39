"""The event loop: energy, triggers, ties, light and touch kept up to date, output in any number of pieces."""

import json
import math
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from agents.design.spec import Design
from arena.engine.neighbours import SAME_LIGHT
from arena.engine.senses import take_light, take_touch
from arena.engine.world_arrays import STOPPED, WAITING
from arena.scene.spec import ArenaSpec
from replays.format.grains import LIGHT_DIGITS, VOLT
from replays.format.tables import LEDGER
from tests.helpers.reference_circuit import waiting_rate, with_warm_panel
from tests.helpers.worlds import TABLES, World, bench, box, design, lamp, leaf, plank, tray

STILL = design("fennel", both__eye__jitter=0.0)


def pen() -> ArenaSpec:
    """Two lamps, one so low that shadows of bodies are long; a plank, a tray and a leaf."""
    return bench(
        box(0.8, 0.6),
        [lamp(0.72, 0.5, 0.5, 2000.0, 0.08), lamp(-0.1, 0.2, 0.12, 150.0)],
        [plank((0.4, 0.2), (0.4, 0.4), height=0.05), tray((0.6, 0.0), (0.66, 0.0), (0.63, 0.08))],
        [leaf((0.15, 0.3), (0.3, 0.3), (0.3, 0.5), height=0.2, passes=0.4)],
        ambient=1500.0,
    )


def rows_of(count: int, columns: int = 6) -> list[tuple[float, float, float]]:
    """Poses in rows, with a gap where the plank stands."""
    poses = []
    for number in range(count):
        column, row = number % columns, number // columns
        poses.append((0.06 + 0.1 * column + (0.14 if column > 2 else 0.0), 0.1 + 0.1 * row, 1.3 * number))
    return poses


def by_time(world: World, name: str) -> Any:
    rows = world.table(name)
    return rows[np.lexsort([rows["start_s" if name == "pulses" else "time_s"], rows["walker"]])]


def warmed(one: Design, light: float) -> Design:
    """The design with its panel as warm as ``light`` [lx] of sun makes it, at 109.45 lm/W and 40 W/m2K."""
    return with_warm_panel(one, 25.0 + light / 109.45 / 40.0)


def reference_time(one: Design, photocurrent: float, start: float, goal: float) -> float:
    """Time [s] to charge from ``start`` to ``goal`` [V], by a stiff integrator on independent equations."""

    def arrives(_: float, state: Any) -> float:
        return float(state[0]) - goal

    arrives.terminal = True  # type: ignore[attr-defined]
    solution = solve_ivp(
        waiting_rate(one, photocurrent), (0.0, 1e7), [start], "Radau", rtol=1e-9, atol=1e-11, events=arrives
    )
    assert solution.status == 1
    return float(solution.t_events[0][0])


def test_energy_never_appears_from_nowhere() -> None:
    """What the panel gave is stored or went to motor, bases, eyes, leak and series resistance, within 1 %."""
    kinds = [
        design(
            "carrot", storage__series_resistance=2.0, panel__current_per_light=200e-9, both__eye__tape=0.3
        ),
        design("parsnip", storage__leak=5e4, panel__shunt_resistance=1e5, storage__start=2.5),
        # frugal under a big panel, so that it stays on
        design(
            "turnip",
            both__motor__resistance=60.0,
            both__motor__friction=5e-6,
            both__motor__constant=4e-3,
            panel__current_per_light=10e-6,
            storage__series_resistance=1.0,
        ),
    ]
    world = World(pen(), [kinds[number % 3] for number in range(12)], rows_of(12), until=400.0)
    # also in the middle of pulses, when the rail is far from where the wait will end
    checked = []

    def look(time: float) -> None:
        ledger = world.ledger()
        moving = world.bodies["phase"] != WAITING
        given = ledger[moving, 0]
        # a walker's wait is booked when it ends, so only those that move are up to date
        checked.append(np.abs(given - ledger[moving, 1:].sum(axis=1)) / np.maximum(given, 1e-6))

    world.watch(look, 1.7)
    errors = np.concatenate(checked)
    assert len(errors) > 100
    ledger = dict(zip(LEDGER, world.ledger().T, strict=True))
    given = ledger.pop("panel")
    assert np.all(given > 0.05)
    assert sum(ledger.values()) == pytest.approx(given, rel=0.01)
    assert np.max(errors) < 0.01
    for name in ("motor", "bases", "eyes", "leak"):
        assert np.all(ledger[name] > 1e-4), name
    assert np.all((ledger["esr"] > 1e-5) == np.tile([True, False, True], 4))
    assert np.all(np.bincount(world.pulses["walker"], minlength=12) > 0)
    assert len(world.touches) > 100
    # and some lock up
    assert np.any(world.pulses["rest_s"] - world.pulses["start_s"] > 50.0)


def test_no_more_charge_goes_through_the_motor_than_left_the_storage() -> None:
    """C (V_trigger - V_let_go), and what the panel gives at most in the meantime."""
    world = World(pen(), [STILL] * 12, rows_of(12), until=600.0).run()
    pulses = world.pulses[world.pulses["ended"] == 0]
    assert len(pulses) > 50
    left = 2200e-6 * (pulses["trigger_V"] - pulses["let_go_V"])
    # daylight lamps, so the panel's light counts as it is
    panel = 40e-9 * pulses["light_panel_lx"] * (pulses["let_go_s"] - pulses["start_s"])
    assert np.all(pulses["charge_C"] < left + 1.3 * panel)
    assert np.all(pulses["charge_C"] > 0.6 * left)


def test_triggers_come_when_an_integrator_says() -> None:
    """The first and later triggers in even light, and the first one under a lamp, to 1e-4."""
    one = STILL.with_values({"right.eye.dark_trigger": 2.3, "storage.start": 0.4})
    world = World(bench(box(3.0, 3.0), ambient=4000.0), [one], [(1.5, 1.5, 0.0)]).run()
    pulses = world.pulses
    # a lobe of half angle 50 degrees reads 2 / (m + 1) of what a flat receiver reads of even light
    power = -math.log(2.0) / math.log(math.cos(math.radians(50.0)))
    seen = 4000.0 * 2.0 / (power + 1.0)
    trigger = 2.2 + 0.7 * math.log10(1.0 + seen / 150.0) + 4e-6 * (47e3 + 28.0)
    assert len(pulses) > 10
    assert pulses["trigger_V"] == pytest.approx(trigger, abs=1.0 / VOLT)
    assert np.all(pulses["side"] == 0)
    assert pulses["other_trigger_V"] == pytest.approx(trigger + 0.1, abs=1.0 / VOLT)
    current, warm = 40e-9 * 4000.0, warmed(one, 4000.0)
    assert pulses["start_s"][0] == pytest.approx(reference_time(warm, current, 0.4, trigger), rel=1e-4)
    for before, after in pairwise(pulses[:4]):
        # the storage charges from the moment the latch lets go, while the wheel still coasts
        wait = reference_time(warm, current, before["let_go_V"], trigger)
        assert after["start_s"] - before["let_go_s"] == pytest.approx(wait, rel=1e-4)
    # under a lamp: four points of the panel, each I h / d³
    under = World(bench(box(3.0, 3.0), [lamp(2.0, 1.0, 0.6, 9000.0)]), [one], [(1.5, 1.5, 0.3)])
    light = 0.0
    for ahead in (-0.006, 0.006):
        for aside in (-0.00825, 0.00825):
            x = 1.5 + ahead * math.cos(0.3) - aside * math.sin(0.3)
            y = 1.5 + ahead * math.sin(0.3) + aside * math.cos(0.3)
            light += 9000.0 * 0.57 / math.dist((x, y, 0.03), (2.0, 1.0, 0.6)) ** 3 / 4.0
    # near its end the rail hardly rises, so that a grain of its volts is worth a second
    goal = float(under.run(1.0).bodies[0]["goal"])
    first = under.run().pulses[0]
    assert first["light_panel_lx"] == pytest.approx(light, rel=2.0**-LIGHT_DIGITS)
    assert first["trigger_V"] == pytest.approx(goal, abs=0.5 / VOLT)
    wait = reference_time(warmed(one, light), 40e-9 * light, 0.4, goal)
    assert first["start_s"] == pytest.approx(wait, rel=1e-4)


def test_equal_times_go_to_the_lower_number() -> None:
    poses = [(0.3 + 0.4 * number, 0.5, 0.4) for number in range(5)]
    world = World(bench(box(2.5, 1.0), ambient=4000.0), [STILL] * 5, poses, until=200.0).run()
    written = world.table("pulses")
    assert len(written) > 10
    rounds = written["start_s"].reshape(-1, 5)
    assert np.all(rounds == rounds[:, :1])
    assert np.array_equal(written["walker"], np.tile(np.arange(5), len(rounds)))


def test_a_tie_of_both_eyes_goes_to_the_left() -> None:
    """Side 0 is the left one; no jitter, no lamp, so both triggers are equal to the last bit."""
    pulses = World(bench(box(3.0, 3.0), ambient=4000.0), [STILL], [(1.5, 1.5, 0.4)]).run().pulses
    assert np.all(pulses["trigger_V"] == pulses["other_trigger_V"])
    assert np.all(pulses["side"] == 0)


def rest_voltage(one: Design, photocurrent: float) -> float:
    rate = waiting_rate(one, photocurrent)
    return float(brentq(lambda rail: rate(0.0, [rail])[0], 0.0, 20.0, xtol=1e-12))


def test_in_the_dark_nobody_fires() -> None:
    """No lamp, no surroundings: the rail runs down through leak, eyes and panel, as solve_ivp has it."""
    one = STILL.with_values({"storage.start": 2.0, "storage.leak": 2e5})
    world = World(bench(box(1.0, 1.0)), [one] * 2, [(0.3, 0.5, 0.0), (0.7, 0.5, 1.0)]).run()
    assert len(world.pulses) == 0
    assert np.all(world.ledger()[:, 0] <= 0.0)
    expected = solve_ivp(waiting_rate(one, 0.0), (0.0, 600.0), [2.0], "Radau", rtol=1e-9, atol=1e-12)
    assert world.bodies["state"]["rail"] == pytest.approx(expected.y[0, -1], abs=1e-5)


@pytest.mark.parametrize(("light", "why"), [(150.0, "dim"), (200e3, "blind")])
def test_the_dim_and_the_blind_wait_for_ever(light: float, why: str) -> None:
    """The rail comes to rest below the trigger: too little current, or a trigger out of reach."""
    world = World(bench(box(1.0, 1.0), ambient=light), [STILL], [(0.5, 0.5, 0.0)], until=1e5).run()
    body = world.bodies[0]
    assert len(world.pulses) == 0
    rest = rest_voltage(warmed(STILL, light), 40e-9 * light)
    assert body["state"]["rail"] == pytest.approx(rest, abs=1e-4)
    assert (rest < 2.4) == (why == "dim")
    assert rest < body["left_trigger"]
    # an eye that is a little brighter or darker changes that
    other = World(bench(box(1.0, 1.0), ambient=2000.0), [STILL], [(0.5, 0.5, 0.0)], until=200.0).run()
    assert len(other.pulses) > 0


def fresh_light(world: World, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Light of a walker as kept, and as worked out from nothing; leaves the world as it was.

    What gets past walls, and how many bodies are in the way of each lamp, is to the last digit what it is.
    """
    names = ["left_light", "right_light", "panel_light", "photocurrent"]
    kept = world.bodies.copy(), world.crowd.lit.copy(), world.crowd.hidden.copy()
    before = np.array([world.bodies[number][name] for name in names])
    take_light(world.scene, world.crowd, number)
    after = np.array([world.bodies[number][name] for name in names])
    assert world.crowd.lit[number] == pytest.approx(kept[1][number], rel=1e-12, abs=1e-12)
    assert np.array_equal(
        world.crowd.hidden[number][kept[1][number] > 0.0], kept[2][number][kept[1][number] > 0.0]
    )
    world.bodies[:], world.crowd.lit[:], world.crowd.hidden[:] = kept
    return before, after


def keep_watch(world: World, step: float) -> dict[str, int]:
    """Run to the end and compare light and touch of all who wait with what they are from nothing."""
    seen = {"waiting": 0, "shaded": 0, "pressed": 0, "quiet": 0}

    def look(time: float) -> None:
        quiet = np.all(world.bodies["phase"] == WAITING)
        seen["quiet"] += quiet
        for number, body in enumerate(world.bodies):
            # one that is being pushed hears of it when its driver next tells others, 20 ms later at the most
            assert not (quiet and body["moved"]), (time, number)
            if body["phase"] != WAITING or body["moved"]:
                continue
            before, after = fresh_light(world, number)
            # who is pushed takes over new light once it is another by more than this
            assert before == pytest.approx(after, rel=1.001 * SAME_LIGHT, abs=1e-12), (time, number)
            seen["waiting"] += 1
            seen["shaded"] += bool(np.any(world.crowd.hidden[number] * world.crowd.lit[number]))
            if quiet:
                touch = take_touch(world.scene.walls, world.crowd, number)
                kept = body["left_touch"], body["right_touch"], body["body_touch"]
                assert touch == kept, (time, number)
                seen["pressed"] += any(touch)

    world.watch(look, step)
    return seen


def test_light_and_touch_of_a_crowd_are_what_they_are_from_nothing() -> None:
    kinds = [
        design("fennel"),
        design("radish", body__radius=0.018, body__track=0.03, body__ahead=0.012),
        design("bean", body__outline=((0.034, -0.02), (0.034, 0.02), (-0.02, 0.024), (-0.02, -0.024))),
    ]
    world = World(pen(), [kinds[number % 3] for number in range(28)], rows_of(28), until=800.0)
    seen = keep_watch(world, 1.3)
    assert len(world.pulses) > 500
    assert seen["shaded"] > 1000
    assert seen["pressed"] > 1000
    assert seen["quiet"] > 100


def test_the_far_end_of_a_pushed_row_hears_of_it() -> None:
    """Twelve in a lane touch one another: the last one is pushed from farther than any shadow reaches."""
    designs = [STILL.with_values({"storage.start": 3.0 if number == 0 else 0.0}) for number in range(12)]
    poses = [(0.03 + 0.0525 * number, 0.05, 0.0) for number in range(12)]
    world = World(bench(box(0.9, 0.1), [lamp(0.5, 0.05, 2.0, 12_000.0)]), designs, poses, until=200.0)
    assert world.crowd.settings["influence"][0] < 0.2
    start = world.bodies["x"].copy()
    seen = keep_watch(world, 0.7)
    assert np.all(world.bodies["x"] > start + 1e-4)
    assert seen["quiet"] > 100


def test_bodies_far_ahead_of_and_behind_their_axles_hear_of_one_another() -> None:
    """A mover's body and a neighbour's may both lie off their axles, towards one another or away."""
    kinds = [design("leek", body__ahead=ahead, body__radius=0.02) for ahead in (0.06, -0.06)]
    poses = [(0.12 + 0.16 * (place % 7), 0.12 + 0.16 * (place // 7), 1.3 * place) for place in range(35)]
    # so high a lamp that touch reaches farther than shadows
    spec = bench(box(1.2, 0.9), [lamp(0.6, 0.45, 3.0, 30_000.0)], ambient=1500.0)
    seen = keep_watch(World(spec, [kinds[place % 2] for place in range(35)], poses, until=400.0), 0.9)
    assert seen["pressed"] > 300


def test_a_lamp_as_low_as_the_bodies_shades_without_end() -> None:
    """Eyes above all bodies see over them, but not down to a lamp that stands lower than they are high."""
    tall = STILL.with_values({"both.eye.height": 0.05, "panel.height": 0.06, "both.eye.half_angle": 1.2})
    poses = [(0.2, 0.5, 0.0), (1.6, 0.5, 0.0), (1.4, 0.2, 2.0)]
    spec = bench(box(2.0, 1.0), [lamp(1.9, 0.5, 0.02, 4000.0)], ambient=3000.0)
    world = World(spec, [tall] * 3, poses, until=200.0)
    assert world.crowd.settings["influence"][0] > 1.9
    seen = keep_watch(world, 0.5)
    assert seen["shaded"] > 10


@pytest.mark.parametrize("against", [1, 2], ids=["wall", "walker"])
@pytest.mark.parametrize("side", [0, 1], ids=["left", "right"])
def test_the_touched_side_fires_first_in_even_light(side: int, against: int) -> None:
    """A whisker that is bent lowers its trigger; its wheel goes ahead and the nose turns away."""
    # the whisker starts 20 mm ahead and 15 mm aside, is 50 mm long and points 35 degrees outward
    outward = 1.0 if side == 0 else -1.0
    tip_x = 1.0 + 0.02 + 0.05 * math.cos(math.radians(35.0))
    tip_y = 1.0 + outward * (0.015 + 0.05 * math.sin(math.radians(35.0)))
    poses, designs, walls = [(1.0, 1.0, 0.0)], [STILL], []
    if against == 1:
        # it passes through the tip's last 8 mm, square to the heading
        walls = [plank((tip_x - 0.008, tip_y - 0.01), (tip_x - 0.008, tip_y + 0.01))]
    else:
        # a body whose rim is 8 mm behind the tip, and whose storage never fills
        poses.append((tip_x - 0.008 + 0.026 - 0.004, tip_y, 0.0))
        designs.append(STILL.with_values({"storage.capacitance": 1.0}))
    world = World(bench(box(3.0, 2.0), walls=walls, ambient=4000.0), designs, poses, until=60.0).run(0.0)
    touch = "left_touch" if side == 0 else "right_touch"
    assert world.bodies[0][touch] == against
    first = world.run().pulses[0]
    assert first["side"] == side
    assert first["touched"] == (1, 2)[side]
    # 4 uA through 47 kohm, with and without 33 kohm beside it
    feed = 47e3 + 28.0
    lowered = 4e-6 * (feed - feed * 33e3 / (feed + 33e3))
    assert first["other_trigger_V"] - first["trigger_V"] == pytest.approx(lowered, abs=1.0 / VOLT)
    assert outward * (first["heading1"] - first["heading0"]) < -0.2
    told = world.touches[world.touches["walker"] == 0]
    assert told[0]["part"] == side
    assert told[0]["closed"] == 1
    assert told[0]["against"] == against - 1
    # and the whisker is free again once the walker has turned away
    assert told[1]["part"] == side
    assert told[1]["closed"] == 0


def test_small_output_tables_hold_the_same_rows() -> None:
    """Emptied after every few events, they come to the same as tables that are never full."""
    count = 20
    least = {"pulses": 2, "poses": 4 * count + 8, "touches": 6 * count + 12, "lights": 2 * count + 8}

    def run(rows: dict[str, int]) -> World:
        return World(pen(), [design("fennel")] * count, rows_of(count), until=300.0, rows=rows).run()

    small, large = run(least), run(dict.fromkeys(TABLES, 200_000))
    assert large.emptied == 2
    assert small.emptied > 500
    for name in TABLES:
        assert len(small.table(name)) > 100
        assert np.array_equal(small.table(name), large.table(name)), name
    assert np.array_equal(small.bodies, large.bodies)


def test_slices_of_time_change_nothing() -> None:
    whole = World(pen(), [design("fennel")] * 12, rows_of(12), until=200.0).run()
    sliced = World(pen(), [design("fennel")] * 12, rows_of(12), until=200.0)
    sliced.watch(lambda time: None, 0.037)
    for name in TABLES:
        assert np.array_equal(by_time(sliced, name), by_time(whole, name)), name


WALK = """
import json
from tests.arena.engine.test_loop import STILL, pen
from tests.helpers.worlds import World
poses = [(0.1, 0.1, 0.3), (0.16, 0.12, 2.0), (0.3, 0.3, 1.0), (0.35, 0.3, -1.0)]
world = World(pen(), [STILL] * 4, poses, until=120.0).run()
rows = {name: world.table(name).tolist() for name in ("pulses", "poses", "touches", "lights")}
print(json.dumps([rows, world.ledger().tolist()]))
"""


def test_the_loop_runs_uncompiled_too() -> None:
    """As the plain Python that it is written in, without a warning, it walks the same walk."""
    told = []
    for plain in ("0", "1"):
        # words of 64 bits that overflow are what draws are made of
        options = ("-W", "error", "-W", "ignore:overflow encountered in scalar:RuntimeWarning")
        done = subprocess.run(
            [sys.executable, *options, "-c", WALK],
            cwd=Path(__file__).resolve().parents[3],
            env=os.environ | {"PHOTODROME_PLAIN": plain},
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        told.append(json.loads(done.stdout))
    (compiled, compiled_ledger), (plain_rows, plain_ledger) = told
    assert len(compiled["pulses"]) > 8
    assert len(compiled["touches"]) > 4
    for name, rows in compiled.items():
        assert np.array(plain_rows[name]) == pytest.approx(np.array(rows), rel=1e-6, abs=1e-9), name
    assert np.array(plain_ledger) == pytest.approx(np.array(compiled_ledger), rel=1e-6, abs=1e-12)


def run_until_stopped(world: World, begin: Callable[[], None]) -> int:
    """Code with which a world ends that is asked to stop while it runs in a thread."""
    codes: list[int] = []
    thread = threading.Thread(target=lambda: codes.append(world.advanced(world.until)))
    thread.start()
    begin()
    thread.join(60.0)
    assert not thread.is_alive()
    return codes[0]


def test_a_stop_is_heeded_before_the_first_event() -> None:
    world = World(pen(), [STILL] * 4, rows_of(4))
    world.out.stop[0] = 1
    assert world.advanced(600.0) == STOPPED
    assert np.all(world.out.counts == 0)
    # and once the wish is gone it goes on
    world.out.stop[0] = 0
    assert len(world.run().pulses) > 0


def test_a_stop_is_heeded_while_a_motor_stalls_for_ever() -> None:
    """Locked up and too weak to move, a walker steps on and on with nothing else to happen."""
    weak = design(
        "leek",
        both__motor__constant=1e-5,
        both__motor__resistance=200.0,
        panel__current_per_light=2e-6,
        both__eye__tape=0.2,
    )
    spec = bench(box(1.0, 1.0), [lamp(0.5, 0.5, 1.0, 20_000.0)])
    # 1e10 s of it would take days
    world = World(spec, [weak], [(0.5, 0.5, 0.0)], until=1e10).run(10.0)
    assert world.bodies[0]["phase"] != WAITING

    def ask() -> None:
        world.out.stop[0] = 1

    assert run_until_stopped(world, ask) == STOPPED
