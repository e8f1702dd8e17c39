"""Bodies on the floor: turning, sliding, pushing, and what they never do: overlap, cross a wall, leave.

The crowd is judged twice: by the kernels' own gaps, and by shapely from poses and designs alone.
"""

import math
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon
from shapely.ops import unary_union

from agents.circuit.tyre import be_free
from agents.design.spec import Design, read_design
from arena.engine.clearance import spacing
from arena.engine.motion import drive
from arena.engine.world_arrays import PULSING
from arena.scene.spec import ArenaSpec
from replays.format.tables import TOUCHED_BODY
from tests.helpers.worlds import (
    World,
    bench,
    box,
    design,
    lamp,
    leaf,
    mirrored,
    plank,
    signed_gap,
    tray,
    wall_lines,
)

# What bodies may overlap by [m].
OVERLAP = 1e-4

PIVOT = design("swede", both__eye__jitter=0.0)


def at_rest(spec: ArenaSpec, designs: list[Design], poses: list[tuple[float, float, float]]) -> World:
    """A world whose walkers have arrived but have not fired."""
    return World(spec, designs, poses).run(0.0)


def roll(world: World, number: int, side: int, way: float) -> int:
    """Roll one tyre of a walker; returns how many bodies moved."""
    world.bodies[number]["side"] = side
    return int(drive(world.scene.walls, world.crowd, number, way))


def shove(world: World, number: int, side: int, way: float, speed: float = 0.1) -> int:
    """Roll one tyre of a walker that goes at ``speed`` [m/s]; it slips so fast that it gives all its grip."""
    state = world.bodies[number]["state"]
    state["speed"] = speed
    state["rotor"] = (speed + 8.0 * PIVOT.left.tyre.slip_speed) / PIVOT.left.tyre.radius
    return roll(world, number, side, way)


def test_the_standing_tyre_stands() -> None:
    """A tyre that rolls by s turns the walker by s / track about the other tyre."""
    track = PIVOT.body.track
    for side, sign in ((0, -1.0), (1, 1.0)):
        world = at_rest(bench(box(1.0, 1.0)), [PIVOT], [(0.5, 0.5, 0.7)])
        body = world.bodies[0]
        # tyres lie across the heading; the left one stands where the right one drives
        standing = np.array([0.5, 0.5]) + sign * track / 2 * np.array([-math.sin(0.7), math.cos(0.7)])
        for _ in range(40):
            assert roll(world, 0, side, 1.5e-3) == 1
        heading = 0.7 + sign * 40 * 1.5e-3 / track
        expected = standing + sign * track / 2 * np.array([math.sin(heading), -math.cos(heading)])
        assert body["heading"] == pytest.approx(heading, abs=1e-12)
        assert [body["x"], body["y"]] == pytest.approx(expected.tolist(), abs=1e-12)


def test_a_walker_slides_along_a_wall_that_it_meets_at_a_slant() -> None:
    """Only the part of its way that leads into the wall is lost, and dragging along takes its speed."""
    for slant in (0.3, 0.8):
        wall = plank((0.1, 0.5), (2.9, 0.5))
        world = at_rest(bench(box(3.0, 1.0), walls=[wall]), [PIVOT], [(0.5, 0.46, slant)])
        body = world.bodies[0]
        slowed = False
        for count in range(2000):
            shove(world, 0, count % 2, 3e-4)
            assert spacing(world.scene.walls, world.crowd, 0) > -OVERLAP
            slowed = slowed or body["state"]["speed"] < 0.1
        # left and right in turn lead straight on: half of each tyre's way is the axle's
        along = 2000 * 0.5 * 3e-4 * math.cos(slant)
        assert body["x"] - 0.5 == pytest.approx(along, rel=0.02)
        assert slowed
        # its rim, 26 mm from the body's middle 4 mm ahead of the axle, lies at the wall
        assert body["y"] + 0.004 * math.sin(body["heading"]) + 0.026 == pytest.approx(0.5, abs=OVERLAP)


def test_a_long_way_leads_to_walls_that_were_out_of_sight() -> None:
    """Walls are listed within a hand's breadth; whoever goes on without a rest meets those beyond."""
    poses = [(0.4, 0.2, 0.0), (0.5, 0.2, 0.0), (0.4, 0.5, 0.0)]
    world = at_rest(bench(box(1.0, 0.6)), [PIVOT] * 3, poses)
    for count in range(4500):
        # the first one pushes the second a good way; the third comes to the end of the floor
        shove(world, 0, count % 2, 3e-4)
        shove(world, 2, count % 2, 3e-4)
        for number in range(3):
            assert spacing(world.scene.walls, world.crowd, number) > -OVERLAP
    assert world.bodies["disc_x"][1] > 0.65
    assert world.bodies["disc_x"][2] == pytest.approx(1.0 - 0.026, abs=1e-3)


def test_sliding_back_costs_the_work_of_tyre_and_motor() -> None:
    """Pushed back by d a walker loses its tyre's grip and its other motor's friction times d."""
    spec = bench(box(1.0, 1.0), walls=[plank((0.1, 0.5), (0.9, 0.5))])
    # nose to the wall, rim 0.2 mm short of it
    world = at_rest(spec, [PIVOT], [(0.5, 0.5 - 0.026 - 0.004 - 2e-4, math.pi / 2)])
    body, walker = world.bodies[0], world.walkers[0]
    shove(world, 0, 0, 2e-3, 0.3)
    # freely, its middle would have turned about the right tyre
    turned = 2e-3 / 0.042
    middle = np.array([-0.021, 0.004])
    free = middle[0] * -math.sin(turned) + middle[1] * math.cos(turned)
    depth = -(0.004 + 2e-4) + free
    assert depth > 5e-4
    side = PIVOT.left
    force = 0.7 * PIVOT.body.tyre_load * 0.014 * 9.80665 + side.motor.friction / side.tyre.radius
    # its rim rubs on the wall as it turns, and as its middle goes aside
    aside = middle[0] * (math.cos(turned) - 1.0) + middle[1] * math.sin(turned)
    lost = 2.0 * force * (depth + PIVOT.body.rim_friction * (0.026 * turned + aside)) / walker["pivot_mass"]
    assert lost > 5e-3
    assert 0.09 - body["state"]["speed"] ** 2 == pytest.approx(lost, rel=0.03)


@pytest.mark.parametrize(("heading", "behind", "gives_way"), [(0.0, 9.9, 1), (1.57, 9.9, 0), (0.0, 1e-6, 0)])
def test_whoever_resists_less_gives_way(heading: float, behind: float, gives_way: int) -> None:
    """One that stands lengthwise rolls away; one across, or with another behind it, stands.

    Common practice, no source: a walker rolls along on idle motors, and skids sideways.
    """
    poses = [
        (0.4, 0.5, 0.0),
        (0.4525 + 0.004 * (1 - math.cos(heading)), 0.5 - 0.004 * math.sin(heading), heading),
    ]
    poses.append((0.4525 + 0.052 + behind, 0.5, 0.0) if behind < 1.0 else (0.8, 0.8, 0.0))
    world = at_rest(bench(box(1.0, 1.0)), [PIVOT] * 3, poses)
    before = world.bodies["disc_x"].copy()
    for count in range(20):
        assert shove(world, 0, count % 2, 3e-4) in (0, 1, 1 + gives_way)
    moved = world.bodies["disc_x"] - before
    # half of 6 mm on, 0.5 mm of it free
    assert moved[1] == pytest.approx(2.5e-3 * gives_way, abs=1e-4)
    assert moved[0] == pytest.approx(5e-4 + 2.5e-3 * gives_way, abs=1e-4)
    assert moved[2] == 0.0
    assert min(spacing(world.scene.walls, world.crowd, number) for number in range(3)) > -OVERLAP
    assert world.bodies[1]["moved"] == gives_way
    assert not np.any(world.bodies["active"])


def test_who_has_no_room_turns_where_it_stands() -> None:
    """A round one in a corner goes on turning about its own middle."""
    corner = (1.0 - 0.026 - 1e-5, 1.0 - 0.026 - 1e-5)
    poses = [(corner[0] - 0.004 * math.sqrt(0.5), corner[1] - 0.004 * math.sqrt(0.5), math.pi / 4)]
    world = at_rest(bench(box(1.0, 1.0)), [PIVOT], poses)
    body = world.bodies[0]
    for _ in range(20):
        assert shove(world, 0, 0, 3e-4) == 1
    assert [body["disc_x"], body["disc_y"]] == pytest.approx(corner, abs=3e-5)
    assert body["heading"] == pytest.approx(math.pi / 4 - 20 * 3e-4 / 0.042, abs=1e-9)


def test_a_walker_is_paid_no_way_that_its_speed_does_not_carry() -> None:
    """Too slow for the work it stands where it was, and leans on what holds it once it drives."""
    spec = bench(box(1.0, 1.0), walls=[plank((0.1, 0.5), (0.9, 0.5))])
    world = at_rest(spec, [PIVOT], [(0.5, 0.5 - 0.026 - 0.004 - 1e-6, math.pi / 2)])
    body = world.bodies[0]
    body["phase"] = PULSING
    before = body[["x", "y", "heading"]].copy()
    assert shove(world, 0, 0, 3e-4, 0.02) == 0
    assert body[["x", "y", "heading"]] == before
    assert body["state"]["speed"] == 0.0
    # the middle of its body goes forward by half of the tyre's way
    assert body["state"]["leans"] == pytest.approx(0.5, abs=0.02)
    friction = PIVOT.left.motor.friction / PIVOT.left.tyre.radius
    grip = float(world.walkers[0]["side"][0]["tyre_grip"])
    rim = PIVOT.body.rim_friction * (grip + friction) * 0.026 / PIVOT.body.track
    assert body["state"]["rubs"] == pytest.approx(0.5 * friction + rim, rel=0.05)
    # the next stride has paid already
    assert shove(world, 0, 0, 3e-4, 0.02) == 1
    assert body["state"]["speed"] == pytest.approx(0.02, rel=0.02)
    be_free(body["state"])
    assert body["state"]["leans"] == body["state"]["rubs"] == 0.0


def at_a_wall(off: float, factor: float, one: Design = PIVOT) -> Any:
    """Ways [m] of the first pulses at a wall of one ``off`` [rad] from head-on, with shorter strides."""
    spec = bench(box(1.0, 1.0), [lamp(0.9, 0.3, 0.4, 6000.0)], ambient=2000.0)
    heading = 0.5 * math.pi + off
    middle = 1.0 - 0.026 - 1e-5
    pose = (0.5 - 0.004 * math.cos(heading), middle - 0.004 * math.sin(heading), heading)
    world = at_rest(spec, [one], [pose])
    for name in ("stride", "stride_time"):
        world.crowd.settings["tolerances"][name] *= factor
    pulses = world.run(300.0).pulses[:5]
    assert pulses["touched"][0] & TOUCHED_BODY
    return pulses["path_m"]


@pytest.mark.parametrize("off", [-0.5, 0.5])
def test_how_far_one_gets_at_a_wall_hardly_hangs_on_the_step(off: float) -> None:
    """At a slant it works itself off, pulse by pulse: about as far with a quarter of the strides."""
    ways, fine = at_a_wall(off, 1.0), at_a_wall(off, 0.25)
    assert np.all(np.diff(fine) > 0.0)
    # a free pulse goes twenty millimetres and more
    assert 1e-3 < fine[0] < 2e-3
    assert ways == pytest.approx(fine, rel=0.3)


def test_nose_to_a_wall_it_stands_for_good() -> None:
    """Its rim rubs on the wall: that takes what its tyre gives (common practice, no source)."""
    assert np.all(at_a_wall(0.0, 1.0) < 1e-4)


def test_how_much_a_rim_rubs_decides_who_gets_off_a_wall() -> None:
    """A smooth one gets off even nose to it; one of felt or rubber (from memory: 0.4 and more) does not."""
    smooth, felt = (design("swede", both__eye__jitter=0.0, body__rim_friction=rubs) for rubs in (0.0, 0.6))
    assert at_a_wall(0.0, 1.0, smooth)[-1] > 1e-3
    assert at_a_wall(-0.5, 1.0, smooth)[0] > 1.2 * at_a_wall(-0.5, 1.0)[0]
    assert np.all(at_a_wall(-0.5, 1.0, felt) < 1e-4)


def test_who_has_no_way_out_stands() -> None:
    """Square bodies that fill a lane cannot turn in it, nor move on: everyone stays to the last bit."""
    square = design("square", body__outline=((0.02, -0.02), (0.02, 0.02), (-0.02, 0.02), (-0.02, -0.02)))
    lane = box(0.04 * 5 + 1e-5, 0.04 + 1e-5)
    poses = [(0.02 + 0.04 * place + 2e-6 * (place + 1), 0.02 + 5e-6, 0.0) for place in range(5)]
    world = at_rest(bench(lane), [square] * 5, poses)
    before = world.bodies[["x", "y", "heading"]].copy()
    for number in (0, 2):
        world.bodies[number]["state"]["speed"] = 0.1
        assert roll(world, number, 0, 1.5e-3) == 0
        assert world.bodies[number]["state"]["speed"] == 0.0
    assert np.array_equal(world.bodies[["x", "y", "heading"]], before)


def pen() -> ArenaSpec:
    """A small pen with a lamp in a corner, a plank and a tray that stand in the way."""
    return bench(
        box(1.02, 0.64),
        [lamp(0.95, 0.6, 0.5, 2500.0)],
        [
            plank((0.51, 0.25), (0.51, 0.39), height=0.04),
            tray((0.7, 0.0), (0.72, 0.0), (0.72, 0.08), (0.7, 0.08)),
        ],
        ambient=800.0,
    )


def crowd_of_fifty() -> tuple[list[Design], list[tuple[float, float, float]]]:
    """Discs large and small, six-cornered and square bodies, and long thin ones on a narrow track."""
    kinds = [
        design("swede"),
        design("radish", body__radius=0.018, body__track=0.03),
        read_design("sunflower"),
        read_design("broad-bean"),
        design(
            "pea",
            body__outline=((0.045, -0.004), (0.045, 0.004), (-0.02, 0.01), (-0.02, -0.01)),
            body__track=0.016,
        ),
    ]
    poses = [
        (0.06 + 0.1 * column, 0.06 + 0.105 * row, 0.7 * column + 1.3 * row)
        for row in range(6)
        for column in range(10)
        if column not in (4, 5) or row not in (1, 2, 3)
    ]
    poses = [pose for pose in poses if not (0.66 < pose[0] < 0.8 and pose[1] < 0.1)][:50]
    assert len(poses) == 50
    return [kinds[number % 5] for number in range(50)], poses


def test_a_crowd_never_overlaps_nor_crosses_a_wall() -> None:
    spec = pen()
    designs, poses = crowd_of_fifty()
    world = World(spec, designs, poses, until=1800.0)
    assert min(spacing(world.scene.walls, world.crowd, number) for number in range(50)) > 0.0
    floor = Polygon(spec.floor.outline).buffer(OVERLAP)
    lines = wall_lines(spec)
    solid = Polygon(spec.walls[1].outline).buffer(-OVERLAP)
    least = [math.inf]
    met = {"walkers": 0, "walls": 0}

    def by_shapely(time: float) -> None:
        cores = [world.core(number) for number in range(50)]
        for core, radius in cores:
            assert floor.contains(core.buffer(radius, quad_segs=32)), time
            assert not solid.intersects(core.buffer(radius, quad_segs=32)), time
            for line in lines:
                gap = signed_gap(core, line) - radius
                assert gap > -OVERLAP, time
                met["walls"] += gap < OVERLAP
        for (core, radius), (other, other_radius) in combinations(cores, 2):
            if core.distance(other) < 0.06:
                gap = signed_gap(core, other) - radius - other_radius
                assert gap > -OVERLAP, time
                met["walkers"] += gap < OVERLAP

    def look(time: float) -> None:
        for number in range(50):
            gap = spacing(world.scene.walls, world.crowd, number)
            assert gap > -OVERLAP, (time, number)
            least[0] = min(least[0], gap)
        if round(time) % 60 == 0:
            by_shapely(time)

    world.watch(look, 2.0)
    # it is a crowd, and the test looks at more than bodies that stand apart
    assert len(world.pulses) > 1000
    assert min(met.values()) > 100
    assert least[0] < 0.0
    # between those moments nobody's middle crosses a wall: poses are 2 mm to 4 mm apart, bodies far wider
    barrier = unary_union(lines)
    rows = world.table("poses")
    for number, one in enumerate(designs):
        path = np.sort(rows[rows["walker"] == number], order="time_s")
        corners = one.body.outline or ((one.body.ahead, 0.0),)
        ahead = 0.5 * (min(x for x, _ in corners) + max(x for x, _ in corners))
        middle = np.column_stack(
            [path["x"] + ahead * np.cos(path["heading"]), path["y"] + ahead * np.sin(path["heading"])]
        )
        assert np.max(np.hypot(*np.diff(middle, axis=0).T)) < 0.012
        assert not LineString(middle).intersects(barrier)


def turned_over(spec: ArenaSpec) -> ArenaSpec:
    """The arena with y and −y exchanged."""

    def over(points: tuple[tuple[float, float], ...] | None) -> tuple[tuple[float, float], ...] | None:
        return None if points is None else tuple((x, -y) for x, y in points)

    return spec.model_copy(
        update={
            "floor": spec.floor.model_copy(update={"outline": over(spec.floor.outline)}),
            "walls": tuple(
                one.model_copy(update={"line": over(one.line), "outline": over(one.outline)})
                for one in spec.walls
            ),
            "shades": tuple(one.model_copy(update={"outline": over(one.outline)}) for one in spec.shades),
            "lamps": tuple(
                one.model_copy(update={"place": (one.place[0], -one.place[1])}) for one in spec.lamps
            ),
        }
    )


MIRROR_BENCH = bench(
    box(0.6, 0.5),
    [lamp(0.5, 0.35, 0.4, 1200.0), lamp(0.1, -0.2, 0.6, 900.0)],
    [plank((0.3, 0.1), (0.35, 0.3), height=0.05), tray((0.1, 0.4), (0.2, 0.38), (0.2, 0.45))],
    [leaf((0.35, 0.3), (0.5, 0.25), (0.55, 0.45), height=0.2, passes=0.3)],
    ambient=700.0,
)

shares = st.floats(0.8, 1.25)


def test_the_mirror_image_walks_the_mirrored_path() -> None:
    """Two sides that differ, walls, shades, whiskers; the first 20 pulses, as rounding grows with each."""
    touches = []

    @settings(deadline=None, max_examples=40, derandomize=True)
    @given(
        st.tuples(st.floats(0.06, 0.25), st.floats(0.06, 0.3), st.floats(-3.1, 3.1)),
        st.tuples(shares, shares, shares, shares),
        st.booleans(),
    )
    def check(
        pose: tuple[float, float, float], strays: tuple[float, float, float, float], is_polygon: bool
    ) -> None:
        touches.append(walk_beside_the_mirror(pose, strays, is_polygon))

    check()
    assert sum(count > 0 for count in touches) > 10


def walk_beside_the_mirror(
    pose: tuple[float, float, float], strays: tuple[float, float, float, float], is_polygon: bool
) -> int:
    """Compare one walk with its mirror image; returns at how many pulses something was touched."""
    trigger, motor, latch, whisker = strays
    one = design(
        "beet",
        both__eye__jitter=0.0,
        both__eye__aside=0.028,
        left__eye__dark_trigger=2.2 * (0.9 + 0.1 * trigger),
        right__motor__resistance=28.0 * motor,
        left__latch=10e3 * latch,
        right__whisker__length=0.05 * whisker,
        left__eye__tape=0.8,
        storage__start=2.0,
    )
    if is_polygon:
        corners = ((0.03, -0.012), (0.03, 0.016), (-0.02, 0.024), (-0.018, -0.02))
        one = one.with_values({"body.outline": corners})
    x, y, heading = pose
    plain = World(MIRROR_BENCH, [one], [pose], until=1500.0)
    assume(spacing(plain.scene.walls, plain.crowd, 0) > 1e-3)
    plain.run()
    other = World(turned_over(MIRROR_BENCH), [mirrored(one)], [(x, -y, -heading)], until=1500.0).run()
    pulses, images = plain.pulses[:20], other.pulses[:20]
    assert len(pulses) >= 15
    # an exact tie would go to the left side in both
    assume(np.all(np.abs(pulses["other_trigger_V"] - pulses["trigger_V"]) > 1e-9))
    assert len(pulses) == len(images)
    assert np.array_equal(pulses["side"], 1 - images["side"])
    swapped = np.array([0, 2, 1, 3, 4, 6, 5, 7])
    assert np.array_equal(pulses["touched"], swapped[images["touched"]])
    for name, sign in (("start_s", 1), ("x1", 1), ("y1", -1), ("let_go_V", 1), ("trigger_V", 1)):
        assert pulses[name] == pytest.approx(sign * images[name], rel=1e-6, abs=1e-6), name
    assert np.cos(pulses["heading1"]) == pytest.approx(np.cos(images["heading1"]), abs=1e-6)
    assert np.sin(pulses["heading1"]) == pytest.approx(-np.sin(images["heading1"]), abs=1e-6)
    assert pulses["light_left_lx"] == pytest.approx(images["light_right_lx"], rel=1e-5)
    return int(np.count_nonzero(pulses["touched"]))
