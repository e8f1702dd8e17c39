"""Who is told that a walker has moved: those that it pushed too, wherever they are by now."""

import numpy as np
import pytest

from arena.engine.motion import drive, settle_place
from arena.engine.neighbours import (
    SAME_LIGHT,
    light_of,
    list_moved,
    set_light,
    update_neighbours,
    way_untold,
)
from arena.engine.senses import list_walls, may_touch, take_light
from arena.engine.world_arrays import (
    AT_WALL,
    FREE,
    HEARD_NOTHING,
    MOVING,
    PULSING,
    PUSHED,
    UNMOVED,
    WAITING,
)
from tests.helpers.worlds import World, bench, box, design, lamp

STILL = design("fennel", both__eye__jitter=0.0)


def row_of(count: int) -> World:
    """So many in a row, 0.5 mm between their rims, under a lamp; all have arrived and nobody has fired."""
    poses = [(0.1 + 0.0525 * place, 0.2, 0.0) for place in range(count)]
    spec = bench(box(1.5, 0.4), [lamp(0.2, 0.3, 0.4, 500.0)], ambient=500.0)
    return World(spec, [STILL] * count, poses).run(0.0)


def push(world: World, way: float) -> None:
    """Drive the first one ahead by two tyres in turn, as if it were in a pulse and its tyre slipped."""
    body = world.bodies[0]
    body["phase"] = PULSING
    for side in (0, 1):
        body["side"] = side
        body["state"]["speed"], body["state"]["rotor"] = 0.3, 1.0 / STILL.left.tyre.radius
        drive(world.scene.walls, world.crowd, 0, way)


def tell(world: World) -> None:
    update_neighbours(world.scene, world.crowd, world.out, 0, 0.5)


def light_is_as_from_nothing(world: World, number: int) -> bool:
    body = world.bodies[number]
    before = np.array(light_of(body))
    take_light(world.scene, world.crowd, number)
    after = np.array(light_of(body))
    set_light(body, light_of(body)._replace(**dict(zip(light_of(body)._fields, before, strict=True))))
    return bool(np.all(np.abs(after - before) <= 1.001 * SAME_LIGHT * np.abs(after)))


def test_who_is_pushed_a_little_is_told_when_its_pusher_rests() -> None:
    """Below ``look_after`` it waits, and is owed; at rest all is told and the light is the place's own."""
    world = row_of(2)
    least = float(world.crowd.settings[0]["tolerances"]["look_after"])
    push(world, 0.5e-3 + 0.5 * least)
    pushed = world.bodies[1]
    assert 0.0 < way_untold(pushed) < least
    tell(world)
    assert pushed["moved"] == PUSHED
    assert world.bodies[0]["owes"] == 1
    # once it has gone farther nobody waits any more
    push(world, 2.0 * least)
    assert way_untold(pushed) > least
    tell(world)
    assert world.bodies[0]["owes"] == 0
    assert pushed["moved"] == UNMOVED
    assert way_untold(pushed) == 0.0
    push(world, 0.2 * least)
    tell(world)
    assert world.bodies[0]["owes"] == 1
    world.bodies[0]["phase"] = WAITING
    tell(world)
    assert world.bodies[0]["owes"] == 0
    assert way_untold(pushed) == 0.0
    assert light_is_as_from_nothing(world, 1)


def leave_behind(world: World, number: int, pusher: int, x: float) -> None:
    """Let one have been pushed by another, which has not told it so far, and be at ``x`` [m] by now."""
    body = world.bodies[number]
    body["x"], body["moved"], body["pusher"] = x, PUSHED, pusher
    settle_place(world.crowd, number)
    list_walls(world.scene.walls, world.crowd, number)
    world.bodies[pusher]["owes"] += 1


def test_who_was_left_behind_is_looked_for_among_all() -> None:
    """Far from the one that pushed it, it is found by its pusher's number, once that rests."""
    world = row_of(4)
    leave_behind(world, 2, 0, 1.1)
    leave_behind(world, 3, 1, 1.2)
    assert list_moved(world.crowd, 0, True) == 1
    world.bodies[0]["pushes"] = True
    assert list_moved(world.crowd, 0, False) == 2
    assert world.crowd.lists[:2, MOVING].tolist() == [0, 2]
    assert world.bodies[3]["moved"] == PUSHED


def test_who_was_left_behind_looks_at_what_touches_it_now() -> None:
    """Left with its nose 24 mm before the rim, it finds both whiskers bent, and its own light."""
    world = row_of(3)
    assert world.bodies[2]["left_touch"] == world.bodies[2]["right_touch"] == FREE
    leave_behind(world, 2, 0, 1.446)
    tell(world)
    body = world.bodies[2]
    assert body["left_touch"] == body["right_touch"] == AT_WALL
    assert body["body_touch"] == FREE
    assert body["moved"] == UNMOVED
    assert body["heard"] == HEARD_NOTHING
    assert way_untold(body) == 0.0
    assert light_is_as_from_nothing(world, 2)


@pytest.mark.parametrize("whisker", [True, False])
def test_a_place_near_body_or_whisker_may_touch(whisker: bool) -> None:
    """Within 1 mm of the rim, and of the wire's middle, 20 + 20.5 mm ahead and 15 + 14.3 mm to the left."""
    one = STILL if whisker else STILL.with_values({"both.whisker": None})
    world = World(bench(box(1.0, 1.0)), [one], [(0.5, 0.5, 0.0)]).run(0.0)
    walker, body = world.walkers[0], world.bodies[0]
    # the body is a disc of 26 mm about a place 4 mm ahead of the axle
    assert may_touch(walker, body, 0.504, 0.5268, 1e-3)
    assert not may_touch(walker, body, 0.504, 0.5272, 1e-3)
    assert may_touch(walker, body, 0.5405, 0.5293, 1e-3) == whisker
    assert may_touch(walker, body, 0.5405, 0.4707, 1e-3) == whisker
    assert not may_touch(walker, body, 0.5405 - 0.0016, 0.5293 + 0.0023, 1e-3)
