"""Start places: in their zone, clear of walls and of one another by shapely, each drawn by itself."""

import math
from itertools import combinations

import numpy as np
import pytest
from shapely.geometry import Point, Polygon

from agents.design.as_built import build
from agents.design.spec import read_design
from agents.errors import OptionError
from agents.text.shipped import shipped_names
from arena.scene.elements import StartPlace, Starts, StartZone
from arena.scene.flat_arena import flatten
from arena.scene.placement import ROOM, Footprint, Ground, footprints, start_count
from arena.scene.spec import ArenaSpec, read_arena
from arena.simulation import simulate
from tests.helpers.worlds import bench, box, contest, design, plank, tray, wall_lines

PRINT = footprints(build(design()))[0]


def zone(
    *corners: tuple[float, float],
    number: int = 1,
    heading: float | None = None,
    walls: tuple[object, ...] = (),
) -> ArenaSpec:
    """A bench of 2 m by 1.2 m with a start zone."""
    starts = Starts(zone=StartZone(outline=corners, number=number, heading=heading))
    return bench(box(2.0, 1.2), walls=walls, ambient=2000.0, starts=starts)


def listed(*places: tuple[float, float, float | None], walls: tuple[object, ...] = ()) -> ArenaSpec:
    """The same bench with listed start places."""
    starts = Starts(places=tuple(StartPlace(place=(x, y), heading=heading) for x, y, heading in places))
    return bench(box(2.0, 1.2), walls=walls, ambient=2000.0, starts=starts)


def place(spec: ArenaSpec, prints: list[Footprint], seed: int = 1) -> np.ndarray:
    return Ground(spec, flatten(spec)).place(prints, seed)


def check_clear(spec: ArenaSpec, prints: list[Footprint], poses: np.ndarray) -> None:
    """By shapely: bodies lie on the floor, off every wall, and off one another by the room that is kept."""
    middles = [
        Point(x + one.ahead * math.cos(heading), y + one.ahead * math.sin(heading))
        for one, (x, y, heading) in zip(prints, poses, strict=True)
    ]
    floor = Polygon(spec.floor.outline)
    solid = [Polygon(wall.outline) for wall in spec.walls if wall.outline is not None]
    for one, middle in zip(prints, middles, strict=True):
        body = middle.buffer(one.radius)
        assert floor.contains(body)
        assert not any(tray.intersects(body) for tray in solid)
        for line in wall_lines(spec):
            assert line.distance(middle) >= one.radius + ROOM - 1e-12
    for first, second in combinations(range(len(prints)), 2):
        apart = prints[first].radius + prints[second].radius + ROOM
        assert middles[first].distance(middles[second]) >= apart - 1e-12


def test_footprints_are_the_circles_round_the_bodies() -> None:
    """A round body's own circle; of an outline one about its centroid that holds all corners.

    A trapezoid's centroid lies h (a + 2 b) / (3 (a + b)) from its wider end: 60 mm (60 + 40) / (3 (60 + 20)).
    """
    assert footprints(build(design(body__radius=0.02, body__ahead=0.007))) == [Footprint(0.02, 0.007)]
    corners = ((0.04, -0.01), (0.04, 0.01), (-0.02, 0.03), (-0.02, -0.03))
    (outlined,) = footprints(build(design(body__outline=corners)))
    assert outlined.ahead == pytest.approx(-0.02 + 0.06 * 0.1 / 0.24)
    assert outlined.radius == pytest.approx(math.hypot(0.025, 0.03))


def test_a_large_crowd_is_placed_clear_of_one_another() -> None:
    """Thousands, by shapely's tree of neighbours; as many as can be placed by chance, and then it is told."""
    from shapely import STRtree

    spec = bench(
        box(12.0, 9.0), ambient=500.0, starts=Starts(zone=StartZone(outline=box(12.0, 9.0), number=1))
    )
    poses = place(spec, [PRINT] * 6000)
    middles = [Point(PRINT.middle(*pose)) for pose in poses.tolist()]
    first, second = STRtree(middles).query(middles, "dwithin", 2.0 * PRINT.radius + ROOM - 1e-9)
    assert np.array_equal(np.sort(first), np.arange(6000))
    assert np.array_equal(first, second)
    with pytest.raises(OptionError, match=r"^60000 walkers are to start, but .* holds 5\d{4} bodies"):
        place(spec, [PRINT] * 60_000)


@pytest.mark.parametrize("name", shipped_names("arena"))
@pytest.mark.parametrize("seed", [1, 2, 2**62])
def test_shipped_arenas_have_room(name: str, seed: int) -> None:
    spec = read_arena(name)
    prints = [footprints(build(read_design(one)))[0] for one in ("sunflower", "mustard", "poppy")]
    count = start_count(spec, 3, alone=False)
    # designs take turns at the places
    prints = [prints[number % 3] for number in range(3 * count if spec.starts.zone else 3 * min(count, 2))]
    poses = place(spec, prints, seed)
    check_clear(spec, prints, poses)
    if spec.starts.zone is not None:
        area = Polygon(spec.starts.zone.outline)
        assert all(area.contains(Point(x, y)) for x, y, _ in poses)
        if spec.starts.zone.heading is not None:
            assert np.all(poses[:, 2] == spec.starts.zone.heading)
    else:
        places = spec.starts.places or ()
        assert [tuple(pose[:2]) for pose in poses] == [one.place for one in places[: len(poses)]]


def test_a_zone_of_any_shape_round_walls() -> None:
    """A zone with a notch, a plank and a tray in it; headings are drawn all round."""
    spec = zone(
        (0.1, 0.1),
        (1.2, 0.1),
        (1.2, 1.0),
        (0.8, 1.0),
        (0.8, 0.5),
        (0.1, 0.5),
        walls=(
            plank((0.3, 0.2), (0.6, 0.4)),
            tray((0.9, 0.5), (1.1, 0.5), (1.1, 0.7), (0.9, 0.7)),
        ),
    )
    poses = place(spec, [PRINT] * 40)
    check_clear(spec, [PRINT] * 40, poses)
    assert spec.starts.zone is not None
    area = Polygon(spec.starts.zone.outline)
    assert all(area.contains(Point(x, y)) for x, y, _ in poses)
    assert np.histogram(poses[:, 2], bins=4, range=(-math.pi, math.pi))[0].min() >= 3


def test_a_further_walker_moves_nobody() -> None:
    spec = zone(*box(1.0, 1.0))
    few, many = place(spec, [PRINT] * 10), place(spec, [PRINT] * 40)
    assert np.array_equal(few, many[:10])
    assert not np.any(few == place(spec, [PRINT] * 10, seed=2))


def test_a_zone_may_be_narrower_than_a_body() -> None:
    """Only the axle's middle has to be in it: ten bodies of 52 mm stand along a strip of 10 mm."""
    spec = zone((0.2, 0.6), (1.8, 0.6), (1.8, 0.61), (0.2, 0.61))
    poses = place(spec, [PRINT] * 12)
    check_clear(spec, [PRINT] * 12, poses)


@pytest.mark.parametrize("count", [80, 10_000])
def test_more_walkers_than_a_zone_holds(count: int) -> None:
    """0.1 m² hold fewer than 50 bodies of 21 cm² each, and a few more about the edge."""
    spec = zone((0.2, 0.2), (0.6, 0.2), (0.6, 0.45), (0.2, 0.45))
    with pytest.raises(OptionError, match=f"{count} walkers are to start"):
        place(spec, [PRINT] * count)


def test_as_many_as_fit_is_told_where_luck_runs_out() -> None:
    """Put down at random, bodies block one another at about half of the area, so 45 find no room."""
    spec = zone((0.2, 0.2), (0.6, 0.2), (0.6, 0.45), (0.2, 0.45))
    with pytest.raises(OptionError, match=r"has room for (\d+) walkers") as error:
        place(spec, [PRINT] * 45)
    fitted = int(str(error.value).split("has room for ")[1].split()[0])
    assert 20 < fitted < 45
    check_clear(spec, [PRINT] * fitted, place(spec, [PRINT] * fitted))
    with pytest.raises(OptionError):
        place(spec, [PRINT] * (fitted + 1))


def test_listed_places() -> None:
    spec = listed((0.3, 0.3, 0.5), (0.6, 0.3, None))
    poses = place(spec, [PRINT] * 2)
    assert poses[0].tolist() == [0.3, 0.3, 0.5]
    assert poses[1, :2].tolist() == [0.6, 0.3]
    # a heading that the file leaves open is drawn anew for every run
    assert poses[1, 2] == place(spec, [PRINT] * 2)[1, 2]
    assert poses[1, 2] != place(spec, [PRINT] * 2, seed=2)[1, 2]
    with pytest.raises(OptionError, match=r"3 walkers are to start, but .* lists 2"):
        place(spec, [PRINT] * 3)


def test_listed_places_that_leave_no_room_for_these_bodies() -> None:
    # rims 60 mm - 52 mm apart, but the larger bodies would overlap
    near = listed((0.3, 0.3, 0.0), (0.36, 0.3, 0.0))
    check_clear(near, [PRINT] * 2, place(near, [PRINT] * 2))
    large = footprints(build(design(body__radius=0.032)))[0]
    with pytest.raises(OptionError, match=r"1 and 2 .* too near one another"):
        place(near, [large] * 2)
    # headed to the plank the body, 4 mm ahead of its axle, meets it; headed away it does not
    wall = plank((0.2, 0.5), (0.6, 0.5))
    with pytest.raises(OptionError, match="meets a wall at start place 1"):
        place(listed((0.4, 0.472, math.pi / 2), walls=(wall,)), [PRINT])
    away = listed((0.4, 0.472, -math.pi / 2), walls=(wall,))
    check_clear(away, [PRINT], place(away, [PRINT]))


def test_how_many_start_if_nobody_says() -> None:
    places = listed((0.3, 0.3, 0.0), (0.6, 0.3, 0.0), (0.9, 0.3, 0.0), (1.2, 0.3, 0.0), (1.5, 0.3, 0.0))
    assert start_count(places, 2, alone=False) == 2
    assert start_count(places, 9, alone=False) == 1
    assert start_count(places, 2, alone=True) == 5
    assert start_count(zone(*box(1.0, 1.0), number=7), 3, alone=False) == 7


def test_alone_every_design_starts_at_the_same_places() -> None:
    """Also in a zone that would never hold them all at once."""
    spec = zone((0.2, 0.2), (0.3, 0.2), (0.3, 0.3), (0.2, 0.3))
    small, large = design("leek", body__radius=0.02), design("marrow", body__radius=0.05)
    replay = simulate(contest(spec, [small, large], walkers=12, seconds=5.0, alone=True))
    starts = np.column_stack([replay.walkers[name] for name in ("x", "y", "heading")])
    assert np.array_equal(starts[:12], starts[12:])
    assert len(np.unique(starts[:12, 0])) == 12
    assert np.array_equal(replay.walkers["heat"], np.arange(24))
    # side by side they have no room
    with pytest.raises(OptionError):
        simulate(contest(spec, [small, large], walkers=12, seconds=5.0))


def test_side_by_side_designs_take_turns_at_listed_places() -> None:
    places = listed((0.3, 0.3, 0.0), (0.6, 0.3, 0.0), (0.9, 0.3, 0.0), (1.2, 0.3, 0.0))
    replay = simulate(contest(places, [design("leek"), design("marrow")], walkers=2, seconds=5.0))
    assert replay.walkers["x"].tolist() == pytest.approx([0.3, 0.9, 0.6, 1.2], abs=1e-4)
    assert replay.walkers["design"].tolist() == [0, 0, 1, 1]
    assert np.all(replay.walkers["heat"] == 0)
