"""Rooms of moving walkers: within them nothing changes that is not looked for, and nobody meets anybody."""

import itertools
import math
from dataclasses import astuple, fields

import numpy as np
import pytest
from shapely.geometry import LineString, Point

from arena.engine.clearance import (
    look_about,
    segment_gap,
    shadow_gap,
    spacing,
    ways_to_other,
    ways_to_walls,
)
from arena.engine.motion import roll_freely, settle_place
from arena.engine.neighbours import look_at_touch
from arena.engine.senses import shift_shadow, take_light, take_touch
from arena.engine.tolerances import TOLERANCES, USUAL, Tolerances
from arena.engine.world_arrays import PULSING, WAITING
from tests.helpers.worlds import World, bench, box, design, lamp, plank

THIN = design("pea", body__outline=((0.045, -0.004), (0.045, 0.004), (-0.02, 0.01), (-0.02, -0.01)))


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


def test_a_long_body_beside_a_wall_may_go_as_far_as_its_own_outline_lets_it() -> None:
    """The circle about it crosses the wall; by shapely the outline does not, not after the way either."""
    thin = THIN.with_values({"both.whisker": None})
    wall = plank((0.2, 0.58), (0.8, 0.58))
    world = World(bench(box(1.0, 1.0), walls=[wall]), [thin], [(0.5, 0.5, 0.0)], until=1.0).run(0.0)
    body, line = world.bodies[0], LineString(wall.line)
    body["y"] = body["near_y"] = 0.553
    settle_place(world.crowd, 0)
    assert Point(body["disc_x"], body["disc_y"]).distance(line) < world.walkers[0]["body_reach"]
    gap = world.core(0)[0].distance(line)
    assert gap > 0.01
    for side in (0, 1):
        body["phase"], body["side"] = PULSING, side
        free, quiet = ways_to_walls(world.scene.walls, world.walkers[0], body)
        assert 0.0 < quiet <= free
        # the middle of the axle goes half of the tyre's way, so no less than this would be too little
        assert free > 0.3 * gap
        for way in (0.999 * free, -0.999 * free):
            pose = body["x"], body["y"], body["heading"]
            roll_freely(world.crowd, 0, way)
            assert world.core(0)[0].distance(line) > 0.0
            body["x"], body["y"], body["heading"] = pose
            settle_place(world.crowd, 0)


def test_two_long_bodies_that_move_go_their_half_and_stay_apart() -> None:
    """Nose past nose, so that the circles about them overlap; by shapely they do not, after both ways."""
    thin = THIN.with_values({"both.whisker": None})
    poses = [(0.5, 0.5, 0.0), (0.53, 0.536, math.pi)]
    world = World(bench(box(1.0, 1.0)), [thin] * 2, poses, until=1.0).run(0.0)
    for sides in itertools.product((0, 1), (0, 1)):
        for number in range(2):
            world.bodies[number]["phase"], world.bodies[number]["side"] = PULSING, sides[number]
        for number in (0, 1):
            look_about(world.scene, world.crowd, number, 0.0)
        ways = [float(body["left"]) for body in world.bodies]
        assert not np.any(world.bodies["near"])
        apart = world.core(0)[0].distance(world.core(1)[0])
        assert apart > 0.01
        before = world.bodies.copy()
        for number in range(2):
            roll_freely(world.crowd, number, ways[number])
        assert world.core(0)[0].distance(world.core(1)[0]) > 0.0
        world.bodies[:] = before


def test_one_at_rest_far_away_takes_no_room() -> None:
    blind = design("leek", both__whisker=None)
    world = World(bench(box(2.0, 1.0)), [blind] * 2, [(0.5, 0.5, 0.0), (0.8, 0.5, 0.0)], until=1.0).run(0.0)
    world.bodies[0]["phase"] = PULSING
    assert ways_to_other(world.scene, world.crowd, 0, 1, 0.02, 0.02) == pytest.approx((0.02, 0.02), abs=2e-6)
    # by what is between the circles, at twice the way of the middle, and no more
    free, quiet = ways_to_other(world.scene, world.crowd, 0, 1, 9.0, 9.0)
    assert quiet <= free <= 2.0 * (0.3 - 2 * 0.026)
    assert quiet > 0.2


def test_a_body_lower_than_all_eyes_and_panels_may_go_anywhere_about_them() -> None:
    """It stands in no ray from a lamp above them, as one of the same height as the eyes does."""
    poses = [(0.5, 0.5, 0.0), (0.56, 0.5, 2.0)]
    for heights, free in (((0.06, 0.07), True), ((0.025, 0.03), False)):
        one = design("mullein", both__eye__height=heights[0], panel__height=heights[1])
        world = World(bench(box(1.0, 1.0), [lamp(0.8, 0.5, 0.3, 500.0)]), [one] * 2, poses, until=1.0).run(
            0.0
        )
        assert np.any(world.crowd.lit[0] > 0.0)
        assert (shadow_gap(world.scene, world.crowd, 0, 1, 0.05) == 0.05) == free
        changed = False
        for step in range(100):
            world.bodies[1]["disc_x"] = 0.56 - 0.001 * step
            changed |= shift_shadow(world.scene, world.crowd, 0, 1)
            world.bodies[1]["shade_x"] = world.bodies[1]["disc_x"]
        assert changed != free


def test_gaps_of_segments_are_shapelys() -> None:
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
