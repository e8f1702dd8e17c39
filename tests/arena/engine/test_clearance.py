"""Rooms of moving walkers: within them nothing changes that is not looked for, and nobody meets anybody."""

import math
from dataclasses import astuple, fields

import numpy as np
import pytest

from arena.engine.clearance import look_about, segment_gap, shadow_gap
from arena.engine.motion import roll_freely, spacing
from arena.engine.neighbours import look_at_touch
from arena.engine.senses import shift_shadow, take_light, take_touch
from arena.engine.tolerances import TOLERANCES, USUAL, Tolerances
from arena.engine.world_arrays import PULSING, WAITING
from tests.helpers.worlds import World, bench, box, design, lamp, plank


def crowd(draws: np.random.Generator) -> World:
    """Two dozen walkers of three kinds, at rest anywhere among planks and lamps high and low."""
    kinds = [
        design("fennel"),
        design("radish", body__radius=0.018, body__track=0.03, body__ahead=0.012),
        design("bean", body__outline=((0.034, -0.02), (0.034, 0.02), (-0.02, 0.024), (-0.02, -0.024))),
    ]
    planks = []
    for _ in range(6):
        x, y, turn = draws.uniform(0.2, 0.9), draws.uniform(0.16, 0.64), draws.uniform(0.0, math.pi)
        planks.append(plank((x, y), (x + 0.15 * math.cos(turn), y + 0.15 * math.sin(turn)), height=0.05))
    lamps = [lamp(0.8, 0.6, 0.6, 2000.0, 0.05), lamp(-0.1, 0.2, 0.1, 100.0), lamp(0.3, 0.9, 0.025, 50.0)]
    poses: list[tuple[float, float, float]] = []
    while len(poses) < 24:
        x, y = draws.uniform(0.05, 1.05), draws.uniform(0.05, 0.75)
        if all(math.hypot(x - a, y - b) > 0.09 for a, b, _ in poses):
            poses.append((x, y, draws.uniform(-math.pi, math.pi)))
    spec = bench(box(1.1, 0.8), lamps, planks, ambient=500.0)
    # empty storages: nobody fires
    return World(spec, [kinds[number % 3] for number in range(24)], poses, until=1.0).run(0.0)


def test_nothing_changes_within_a_walkers_room() -> None:
    """Rolled by as much as a look about it grants, it meets nobody, and no light and no touch changes."""
    draws = np.random.default_rng(3)
    far = 0
    for _ in range(12):
        world = crowd(draws)
        scene, bodies = world.scene, world.bodies
        for number in range(24):
            body = bodies[number]
            if spacing(scene.walls, world.crowd, number) < 1e-4:
                continue
            body["phase"], body["side"] = PULSING, draws.integers(2)
            look_about(scene, world.crowd, number, 0.0)
            if not body["near"] and not body["close"]:
                pressed = [take_touch(scene.walls, world.crowd, one) for one in range(24)]
                way = 0.999 * float(body["left"]) * draws.choice([1.0, -1.0])
                roll_freely(world.crowd, number, way)
                assert spacing(scene.walls, world.crowd, number) > 0.0
                assert [take_touch(scene.walls, world.crowd, one) for one in range(24)] == pressed
                for one in range(24):
                    if one != number:
                        assert not shift_shadow(scene, world.crowd, one, number)
                far += 1
            body["phase"] = WAITING
            body["shade_x"], body["shade_y"] = body["disc_x"], body["disc_y"]
            for one in range(24):
                take_light(scene, world.crowd, one)
    assert far > 60


def test_two_that_move_share_the_gap_between_them() -> None:
    """Towards one another, each may use up its half and no more; the one that looks first gives some back."""
    spec = bench(box(2.0, 1.0), ambient=500.0)
    blind = design("leek", both__whisker=None)
    world = World(spec, [blind] * 2, [(0.5, 0.5, 0.0), (0.58, 0.5, math.pi)], until=1.0).run(0.0)
    for number in range(2):
        world.bodies[number]["phase"] = PULSING
        look_about(world.scene, world.crowd, number, 0.0)
    gap = spacing(world.scene.walls, world.crowd, 0)
    assert gap == pytest.approx(0.08 - 2 * 0.004 - 2 * 0.026)
    for number in range(2):
        assert 0.0 < world.bodies[number]["left"] < 0.03
        roll_freely(world.crowd, number, float(world.bodies[number]["left"]))
    assert spacing(world.scene.walls, world.crowd, 0) > 0.0
    # now so near that both are freed of contacts after each stride
    near = World(spec, [blind] * 2, [(0.5, 0.5, 0.0), (0.562, 0.5, math.pi)], until=1.0).run(0.0)
    near.bodies[0]["phase"] = near.bodies[1]["phase"] = PULSING
    look_about(near.scene, near.crowd, 0, 0.0)
    assert near.bodies[0]["near"]
    assert near.bodies[1]["near"]


def test_a_shadows_gap_is_how_far_it_may_go() -> None:
    """By trial: pushed straight on in any direction, the first change comes no sooner than told."""
    draws = np.random.default_rng(11)
    changes, told = 0, []
    for _ in range(4):
        world = crowd(draws)
        for _ in range(300):
            one = int(draws.integers(24))
            apart = np.hypot(
                world.bodies["x"] - world.bodies["x"][one], world.bodies["y"] - world.bodies["y"][one]
            )
            other = int(np.argsort(apart)[draws.integers(1, 5)])
            body = world.bodies[other]
            start = float(body["disc_x"]), float(body["disc_y"])
            gap = shadow_gap(world.scene, world.crowd, one, other, 0.05)
            turn = draws.uniform(0.0, 2.0 * math.pi)
            step = 0.0
            while step < 0.05:
                step += 2.5e-4
                body["disc_x"], body["disc_y"] = (
                    start[0] + step * math.cos(turn),
                    start[1] + step * math.sin(turn),
                )
                if shift_shadow(world.scene, world.crowd, one, other):
                    assert step >= gap - 1e-9
                    changes += 1
                    break
            told.append(gap)
            body["disc_x"], body["disc_y"] = start
            body["shade_x"], body["shade_y"] = start
            take_light(world.scene, world.crowd, one)
    assert changes > 20
    assert 0.1 < np.mean(np.array(told) < 0.05) < 0.9


def test_gaps_of_segments_are_shapelys() -> None:
    from shapely.geometry import LineString

    draws = np.random.default_rng(5)
    for _ in range(500):
        ends = draws.uniform(0.0, 1.0, 8)
        first, second = LineString([ends[:2], ends[2:4]]), LineString([ends[4:6], ends[6:]])
        assert segment_gap(*ends) == pytest.approx(first.distance(second), abs=1e-12)


def test_tolerances_are_taken_as_they_are_given() -> None:
    assert TOLERANCES.names == tuple(field.name for field in fields(Tolerances))
    assert np.array(astuple(USUAL.times(0.5))) == pytest.approx(0.5 * np.array(astuple(USUAL)))


def test_a_whisker_is_looked_after_before_it_bends() -> None:
    """A walker that turns its whisker onto a plank finds it pressed within a look of where it first is."""
    spec = bench(box(1.0, 1.0), walls=[plank((0.57, 0.3), (0.57, 0.7))])
    world = World(spec, [design("fennel")], [(0.5, 0.5, -1.0)], until=1.0).run(0.0)
    body = world.bodies[0]
    body["phase"], body["side"] = PULSING, 1
    look_about(world.scene, world.crowd, 0, 0.0)
    gone = 0.0
    while body["left_touch"] == 0 and body["right_touch"] == 0:
        way = min(float(body["left"]), 3e-3)
        roll_freely(world.crowd, 0, way)
        body["left"] -= way
        gone += way
        if body["left"] <= 0.0:
            look_at_touch(world.scene.walls, world.crowd, world.out.touches, world.out.counts, 0, gone)
            look_about(world.scene, world.crowd, 0, 0.0)
        else:
            assert not any(take_touch(world.scene.walls, world.crowd, 0))
        assert gone < 0.1
