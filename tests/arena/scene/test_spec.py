"""Arena files: the shipped ones read, what cannot be is refused at its place, flat arrays hold the rest."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from shapely import LinearRing, LineString, Point, Polygon

from agents.errors import SpecError
from agents.handbook.light_kinds import KINDS
from agents.text.shapes import field_table
from agents.text.shipped import shipped_names
from arena.scene.flat_arena import flatten, intensity_from_flux
from arena.scene.records import FLAT, MATT, ROUND
from arena.scene.spec import ArenaSpec, read_arena

GOOD = """\
photodrome: arena 1
name: bench
floor:
  outline: 0 0 / 2 0 / 2 1 / 0 1 m
walls:
  - name: tray
    outline: 0.8 0.2 / 1.2 0.2 / 1.2 0.8 / 0.8 0.8 m
  - name: plank
    line: 1.5 0 / 1.5 0.5 m
    height: 50 mm
shades:
  - name: leaf
    outline: 0.2 0.2 / 0.4 0.2 / 0.3 0.5 m
    height: 250 mm
lamps:
  - name: lamp
    place: 3 0.5 m
    height: 600 mm
    light: white-led
    flux: 800 lm
goals:
  - name: end
    centre: 1.8 0.5 m
    radius: 100 mm
starts:
  places:
    - place: 0.2 0.5 m
    - place: 0.5 0.5 m
"""


@pytest.mark.parametrize("air", ["300 K", "-300 degC", "500 degC", "35"])
def test_air_that_cannot_be_is_refused_where_it_stands(tmp_path: Path, air: str) -> None:
    assert faults_of(tmp_path, f"{GOOD}air: {air}\n") == [(29, 6, "air", repr(air))]
    assert read_arena(write(tmp_path, f"{GOOD}air: 35 degC\n")).air == 308.15
    assert read_arena("open-bench").air == 298.15


def write(folder: Path, text: str) -> Path:
    path = folder / "bench.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def faults_of(folder: Path, text: str) -> list[tuple[int, int, str, str]]:
    with pytest.raises(SpecError) as caught:
        read_arena(write(folder, text))
    return [(fault.line, fault.column, fault.key, fault.got) for fault in caught.value.faults]


def test_a_right_file(tmp_path: Path) -> None:
    spec = read_arena(write(tmp_path, GOOD))
    assert spec.floor.rim == 0.04
    assert [wall.height for wall in spec.walls] == [0.06, 0.05]
    assert spec.starts.places is not None
    assert spec.starts.places[0].heading is None
    assert spec.cell == 0.01


def test_an_opening_parts_a_thin_wall_in_the_middle(tmp_path: Path) -> None:
    text = GOOD.replace("line: 1.5 0 / 1.5 0.5 m\n", "line: 1.4 0 / 1.7 0.4 m\n    opening: 10 cm\n")
    wall = read_arena(write(tmp_path, text)).walls[1]
    first, second = wall.pieces
    assert [first[0], second[1]] == [(1.4, 0.0), (1.7, 0.4)]
    assert math.dist(first[1], second[0]) == pytest.approx(0.1)
    # both pieces are as long, and all four ends lie on the wall's line
    assert math.dist(*first) == pytest.approx(0.2)
    assert math.dist(*second) == pytest.approx(0.2)
    line = LineString(wall.line or ())
    assert max(line.distance(Point(end)) for end in (*first, *second)) < 1e-12
    flat = flatten(read_arena(tmp_path / "bench.yaml")).walls[4:6]
    assert [tuple(map(float, tuple(one)[:4])) for one in flat] == [
        (*first[0], *first[1]),
        (*second[0], *second[1]),
    ]
    # who starts in the gap stands in no wall
    start = text.replace("place: 0.5 0.5 m", "place: 1.55 0.2 m")
    assert read_arena(write(tmp_path, start)).starts.places is not None


@pytest.mark.parametrize(
    ("wall", "got"),
    [
        ("line: 1.5 0 / 1.5 0.5 m\n    opening: 500 mm", "500 mm, as wide as the wall is long"),
        ("line: 1.5 0 / 1.5 0.5 / 1.6 0.5 m\n    opening: 50 mm", "one in 3 points"),
        ("outline: 1.5 0 / 1.5 0.5 / 1.6 0.5 m\n    opening: 50 mm", "an opening in an outline"),
        ("line: 1.5 0 / 1.5 0.5 m\n    opening: 0 mm", "'0 mm'"),
    ],
)
def test_an_opening_that_cannot_be_is_refused_where_it_stands(tmp_path: Path, wall: str, got: str) -> None:
    faults = faults_of(tmp_path, GOOD.replace("line: 1.5 0 / 1.5 0.5 m", wall))
    assert faults == [(10, 14, "walls[1].opening", got)]


@pytest.mark.parametrize(
    ("gate", "fault"),
    [
        ("{name: gap, line: 0.6 0 / 0.6 0 m}", (30, 23, "gates[0].line", "points 1 and 2 both at 0.6 0 m")),
        (
            "{name: gap, line: 0 0 / 0.6 0.6 / 0.6 0 / 0 0.6 m}",
            (30, 23, "gates[0].line", "a line that crosses or touches itself"),
        ),
        ("{name: gap, line: 0.6 0 m}", (30, 23, "gates[0].line", "'0.6 0 m'")),
        ("{name: gap, line: 3 0 / 3 1 m}", (30, 23, "gates[0].line", "a gate that nobody can come to")),
        # within the tray
        ("{name: gap, line: 1 0.3 / 1 0.7 m}", (30, 23, "gates[0].line", "a gate that nobody can come to")),
        ("{line: 0.6 0 / 0.6 1 m}", (30, 5, "gates[0].name", "nothing")),
        ("{name: gap, width: 9 cm, line: 0.6 0 / 0.6 1 m}", (30, 17, "gates[0].width", "an unknown key")),
        (
            "{name: gap, line: 0.6 0 / 0.6 1 m}\n  - {name: gap, line: 0.7 0 / 0.7 1 m}",
            (31, 12, "gates[1].name", "'gap', the name of gates[0]"),
        ),
    ],
)
def test_a_gate_that_cannot_be_is_refused_where_it_stands(
    tmp_path: Path, gate: str, fault: tuple[int, int, str, str]
) -> None:
    assert faults_of(tmp_path, f"{GOOD}gates:\n  - {gate}\n") == [fault]


def test_a_gate_may_lie_across_walls_and_stand_out(tmp_path: Path) -> None:
    spec = read_arena(write(tmp_path, f"{GOOD}gates:\n  - {{name: gap, line: 1 -0.2 / 1 0.5 / 1.1 2 m}}\n"))
    (gate,) = spec.gates
    assert (gate.name, gate.line) == ("gap", ((1.0, -0.2), (1.0, 0.5), (1.1, 2.0)))
    assert read_arena("open-bench").gates == ()
    # nothing that walkers or light meet
    flat, bare = flatten(spec), flatten(read_arena(write(tmp_path, GOOD)))
    assert flat.walls.tobytes() == bare.walls.tobytes()


CIRCLE_CENTRE = "    centre: 1.8 0.5 m\n    radius: 100 mm\n"
PLACES = "  places:\n    - place: 0.2 0.5 m\n    - place: 0.5 0.5 m\n"


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        # Walls that cannot be.
        (
            "1.5 0 / 1.5 0.5 m",
            "1.5 0 / 1.5 0 m",
            (9, 11, "walls[1].line", "points 1 and 2 both at 1.5 0 m"),
        ),
        (
            "1.5 0 / 1.5 0.5 m",
            "1.3 0 / 1.6 0.3 / 1.6 0 / 1.3 0.3 m",
            (9, 11, "walls[1].line", "a line that crosses or touches itself"),
        ),
        (
            "1.5 0 / 1.5 0.5 m",
            "1.5 0 / 1.5 0.5 / 1.5 0.2 m",
            (9, 11, "walls[1].line", "a line that crosses or touches itself"),
        ),
        (
            "0.8 0.2 / 1.2 0.2 / 1.2 0.8 / 0.8 0.8 m",
            "0.8 0.2 / 1.2 0.8 / 1.2 0.2 / 0.8 0.8 m",
            (7, 14, "walls[0].outline", "an outline that crosses or touches itself at 1 0.5 m"),
        ),
        (
            "0.8 0.2 / 1.2 0.2 / 1.2 0.8 / 0.8 0.8 m",
            "0.8 0.2 / 0.9 0.2 / 1.2 0.2 m",
            (7, 14, "walls[0].outline", "points all in one line"),
        ),
        (
            "0.8 0.2 / 1.2 0.2 / 1.2 0.8 / 0.8 0.8 m",
            "0.8 0.2 / 1.2 0.2 / 1.2 0.8 / 0.8 0.2 m",
            (7, 14, "walls[0].outline", "the first point again at the end, 0.8 0.2 m"),
        ),
        (
            "1.5 0 / 1.5 0.5 m",
            "1.5 -0.01 / 1.5 0.5 m",
            (9, 11, "walls[1].line", "a wall that leaves the floor"),
        ),
        ("1.5 0 / 1.5 0.5 m", "5 0 / 5 0.5 m", (9, 11, "walls[1].line", "a wall that leaves the floor")),
        (
            "    line: 1.5 0 / 1.5 0.5 m\n",
            "    line: 1.5 0 / 1.5 0.5 m\n    outline: 1 0 / 1 1 / 2 1 m\n",
            (10, 14, "walls[1].outline", "outline beside line"),
        ),
        ("    line: 1.5 0 / 1.5 0.5 m\n", "", (8, 5, "walls[1]", "neither line nor outline")),
        ("height: 50 mm", "height: 0 mm", (10, 13, "walls[1].height", "'0 mm'")),
        ("height: 50 mm", "height: 50", (10, 13, "walls[1].height", "'50'")),
        ("height: 50 mm", "height: 50 V", (10, 13, "walls[1].height", "'50 V'")),
        ("height: 50 mm", "height: nan", (10, 13, "walls[1].height", "'nan'")),
        ("name: plank", "name: tray", (8, 11, "walls[1].name", "'tray', the name of walls[0]")),
        # The floor.
        (
            "0 0 / 2 0 / 2 1 / 0 1 m",
            "0 0 / 2 1 / 2 0 / 0 1 m",
            (4, 12, "floor.outline", "an outline that crosses or touches itself at 1 0.5 m"),
        ),
        ("0 0 / 2 0 / 2 1 / 0 1 m", "0 0 / 2 0 / 1 0 m", (4, 12, "floor.outline", "points all in one line")),
        ("0 0 / 2 0 / 2 1 / 0 1 m", "0 0 / 2 0 m", (4, 12, "floor.outline", "'0 0 / 2 0 m'")),
        ("  outline: 0 0 / 2 0 / 2 1 / 0 1 m\n", "  rim: 4 cm\n", (3, 1, "floor.outline", "nothing")),
        ("floor:\n  outline: 0 0 / 2 0 / 2 1 / 0 1 m\n", "floor: 2 m\n", (3, 8, "floor", "'2 m'")),
        # Shades.
        (
            "0.2 0.2 / 0.4 0.2 / 0.3 0.5 m",
            "4 0 / 5 0 / 5 1 m",
            (13, 14, "shades[0].outline", "a shade beside the floor"),
        ),
        ("    height: 250 mm\n", "", (12, 5, "shades[0].height", "nothing")),
        ("height: 250 mm", "passes: 20 lx\n    height: 9 cm", (14, 13, "shades[0].passes", "'20 lx'")),
        # Lamps.
        ("flux: 800 lm", "flux: 20 cd", (20, 11, "lamps[0].flux", "'20 cd'")),
        ("    flux: 800 lm\n", "", (16, 5, "lamps[0]", "neither intensity nor flux")),
        (
            "flux: 800 lm",
            "flux: 8 lm\n    intensity: 2 cd",
            (20, 11, "lamps[0].flux", "flux beside intensity"),
        ),
        ("flux: 800 lm", "flux: 8 lm\n    aim: 0 0 m", (21, 10, "lamps[0].aim", "an aim without a beam")),
        (
            "flux: 800 lm",
            "flux: 8 lm\n    faces: down\n    diameter: 8 cm\n    aim: 0 0 m",
            (23, 10, "lamps[0].aim", "an aim without a beam"),
        ),
        (
            "flux: 800 lm",
            "flux: 8 lm\n    faces: down",
            (21, 12, "lamps[0].faces", "a facing of a lamp without width"),
        ),
        (
            "flux: 800 lm",
            "flux: 8 lm\n    faces: up\n    diameter: 8 cm",
            (21, 12, "lamps[0].faces", "'up'"),
        ),
        ("flux: 800 lm", "flux: 8 lm\n    beam: 90 deg", (21, 11, "lamps[0].beam", "'90 deg'")),
        ("light: white-led", "light: white-lamp", (19, 12, "lamps[0].light", "'white-lamp'")),
        ("lamps:\n  - name: lamp\n", "lamps:\n    name: lamp\n", (15, 1, "lamps", "a map")),
        # Goals.
        ("centre: 1.8 0.5 m", "centre: 2.2 0.5 m", (23, 13, "goals[0].centre", "a goal outside the floor")),
        ("centre: 1.8 0.5 m", "centre: 1.0 0.5 m", (23, 13, "goals[0].centre", "a goal wholly inside walls")),
        ("    radius: 100 mm\n", "", (23, 13, "goals[0].centre", "a centre without a radius")),
        (CIRCLE_CENTRE, "    radius: 1 m\n", (22, 5, "goals[0]", "neither outline nor centre")),
        (
            CIRCLE_CENTRE,
            "    outline: 1.7 0.2 / 1.9 0.2 / 1.7 0.2 m\n",
            (23, 14, "goals[0].outline", "the first point again at the end, 1.7 0.2 m"),
        ),
        # Starts.
        (
            "place: 0.5 0.5 m",
            "place: 1 0.5 m",
            (28, 14, "starts.places[1].place", "1 0.5 m, which is inside the wall 'tray'"),
        ),
        (
            "place: 0.5 0.5 m",
            "place: 1.5 0.2 m",
            (28, 14, "starts.places[1].place", "1.5 0.2 m, which is inside the wall 'plank'"),
        ),
        (
            "place: 0.5 0.5 m",
            "place: 2.5 0.5 m",
            (28, 14, "starts.places[1].place", "2.5 0.5 m, which is off the floor"),
        ),
        (
            "place: 0.5 0.5 m",
            "place: 20 50 cm",
            (28, 14, "starts.places[1].place", "0.2 0.5 m, where starts.places[0] stands"),
        ),
        ("starts:\n" + PLACES, "", (1, 1, "starts", "nothing")),
        (PLACES, "  places: []\n", (26, 3, "starts.places", "0 places")),
        ("starts:\n" + PLACES, "starts: {}\n", (25, 1, "starts", "neither places nor zone")),
        (
            PLACES,
            "  zone: {outline: 0 0 / 0.5 0 / 0.5 1 m, number: 0}\n",
            (26, 50, "starts.zone.number", "'0'"),
        ),
        (
            PLACES,
            "  zone: {outline: 0 0 / 0.5 0 / 0.5 1 m, number: 10001}\n",
            (26, 50, "starts.zone.number", "'10001'"),
        ),
        (
            PLACES,
            "  zone: {outline: 0 0 / 0.5 0 / 0.5 -1 m, number: 5}\n",
            (26, 19, "starts.zone.outline", "a zone that leaves the floor"),
        ),
        (
            PLACES,
            "  zone: {outline: 0.9 0.3 / 1.1 0.3 / 1 0.5 m, number: 5}\n",
            (26, 19, "starts.zone.outline", "a zone wholly inside walls"),
        ),
        # Others.
        ("name: bench\n", "name: bench\ncell: 1 km\n", (3, 7, "cell", "'1 km'")),
        ("name: bench\n", "name: bench\nlasts: 60\n", (3, 8, "lasts", "'60'")),
    ],
)
def test_what_cannot_be(tmp_path: Path, old: str, new: str, fault: tuple[int, int, str, str]) -> None:
    assert GOOD.count(old) == 1
    assert faults_of(tmp_path, GOOD.replace(old, new)) == [fault]


def test_all_faults_at_once(tmp_path: Path) -> None:
    """A wrong unit and a misspelt key do not hide what cannot be elsewhere."""
    text = GOOD.replace("height: 50 mm", "hieght: 50 mm").replace("flux: 800 lm", "flux: 800 cd")
    text = text.replace("centre: 1.8", "centre: 9.8").replace("0.8 0.2 / 1.2 0.2", "0.8 0.2 / 0.8 0.2")
    assert faults_of(tmp_path, text) == [
        (7, 14, "walls[0].outline", "points 1 and 2 both at 0.8 0.2 m"),
        (10, 5, "walls[1].hieght", "an unknown key"),
        (20, 11, "lamps[0].flux", "'800 cd'"),
        (23, 13, "goals[0].centre", "a goal outside the floor"),
    ]
    with pytest.raises(SpecError) as caught:
        read_arena(tmp_path / "bench.yaml")
    assert caught.value.faults[1].near == "height"
    assert caught.value.faults[1].expected == "one of name, line, outline, height, opening"


def test_a_map_of_light_too_fine_for_its_floor(tmp_path: Path) -> None:
    text = GOOD.replace("0 0 / 2 0 / 2 1 / 0 1 m", "0 0 / 20 0 / 20 10 / 0 10 m") + "cell: 1 mm\n"
    assert faults_of(tmp_path, text) == [(29, 7, "cell", "1 mm")]


def test_a_dark_arena_without_lamps_is_allowed(tmp_path: Path) -> None:
    start, end = GOOD.index("lamps:"), GOOD.index("goals:")
    flat = flatten(read_arena(write(tmp_path, GOOD[:start] + GOOD[end:])))
    assert len(flat.sources) == 0
    assert not flat.ambient.any()


# Floors of races for light gathered, or for who moves last.
AIMED_AT_LIGHT = {"nightfall-bench", "sun-patches"}


@pytest.mark.parametrize("name", shipped_names("arena"))
def test_shipped_arenas(name: str) -> None:
    """Each reads, has light, starts and, unless light itself is the aim, a goal; arrays are as outlines."""
    spec = read_arena(name)
    flat = flatten(spec)
    assert spec.about
    # on a day the even light is the sky's, which comes as the run goes
    assert flat.ambient.sum() > 0.0 or spec.day is not None
    assert bool(spec.goals) is (name not in AIMED_AT_LIGHT)
    assert len(flat.sources) >= 1 or name in AIMED_AT_LIGHT
    assert len(flat.floor) == len(spec.floor.outline)
    # shapely measures the same lengths along walls and rim.
    lengths = np.hypot(flat.walls["bx"] - flat.walls["ax"], flat.walls["by"] - flat.walls["ay"])
    rings = [LinearRing(wall.outline) if wall.outline else LineString(wall.line or ()) for wall in spec.walls]
    expected = sum(ring.length for ring in rings) + LinearRing(spec.floor.outline).length
    expected -= sum(wall.opening or 0.0 for wall in spec.walls)
    assert lengths.sum() == pytest.approx(expected, rel=1e-12)
    for record, shade in zip(flat.shades, spec.shades, strict=True):
        points = flat.shade_points[record["first"] : record["first"] + record["count"]]
        polygon = Polygon(shade.outline)
        assert Polygon(points).equals(polygon)
        assert polygon.bounds == (record["west"], record["south"], record["east"], record["north"])
        assert (record["height"], record["passes"]) == (shade.height, shade.passes)


def test_what_is_asked_of_the_shipped_arenas() -> None:
    """An open bench, a wall, a shade, a corner trap and a slalom, and the demo with wall and shade."""
    assert {"open-bench", "tray-wall", "leaf-shade", "corner-trap", "slalom"} <= set(shipped_names("arena"))
    assert not read_arena("open-bench").walls
    for name, kind in (("tray-wall", "walls"), ("leaf-shade", "shades"), ("corner-trap", "walls")):
        spec = read_arena(name)
        assert spec.starts.zone is not None
        start = Polygon(spec.starts.zone.outline).centroid
        way = LineString([start, Point(spec.lamps[0].place)])
        crossed = [
            Polygon(one.outline) if one.outline else LineString(one.line) for one in getattr(spec, kind)
        ]
        assert any(way.intersects(shape) for shape in crossed)
    demo = read_arena("potting-bench")
    assert demo.walls
    assert demo.shades


@pytest.mark.parametrize("beam", [None, 10.0, 30.0, 45.0, 60.0])
def test_flux_of_a_lamp(beam: float | None) -> None:
    """Flux is the integral of intensity over all directions; here by quadrature of I(θ) 2π sin θ."""
    angle = None if beam is None else math.radians(beam)
    intensity = intensity_from_flux(800.0, angle)
    # m = −ln 2 / ln cos θ½ of J. M. Kahn and J. R. Barry, Proceedings of the IEEE 85, 1997, worked out.
    power = 0.0 if beam is None else {10.0: 45.28, 30.0: 4.8188, 45.0: 2.0, 60.0: 1.0}[beam]
    end = math.pi if beam is None else math.pi / 2
    flux, _ = quad(lambda t: intensity * math.cos(t) ** power * 2 * math.pi * math.sin(t), 0.0, end)
    assert flux == pytest.approx(800.0, rel=1e-4)


def test_lamps_in_flat_arrays(tmp_path: Path) -> None:
    text = GOOD.replace(
        "flux: 800 lm", "intensity: 20 cd\n    beam: 60 deg\n    aim: 3.8 0.5 m\n    diameter: 8 cm"
    )
    [lamp] = flatten(read_arena(write(tmp_path, text))).sources
    assert (lamp["x"], lamp["y"], lamp["z"]) == (3.0, 0.5, 0.6)
    # 0.8 m along x for 0.6 m of height: the triangle of 3, 4 and 5.
    assert (lamp["aim_x"], lamp["aim_y"], lamp["aim_z"]) == pytest.approx((0.8, 0.0, -0.6), abs=1e-15)
    assert lamp["intensity"] == 20.0
    assert lamp["radius"] == 0.04
    assert lamp["beam"] == pytest.approx(1.0)
    assert KINDS[lamp["kind"]] == "white-led"
    assert lamp["is_sun"] == 0
    [plain] = flatten(read_arena(write(tmp_path, GOOD))).sources
    assert plain["intensity"] == pytest.approx(800.0 / (4.0 * math.pi))
    assert (plain["aim_z"], plain["beam"], plain["radius"]) == (-1.0, 0.0, 0.0)
    assert plain["form"] == ROUND


def test_flat_lamps_in_flat_arrays(tmp_path: Path) -> None:
    def lamp(keys: str) -> np.void:
        text = GOOD.replace("flux: 800 lm", "flux: 800 lm\n    diameter: 8 cm\n    " + keys)
        return flatten(read_arena(write(tmp_path, text))).sources[0]

    level = lamp("faces: down")
    assert level["form"] == MATT
    assert [level[f"face_{axis}"] for axis in "xyz"] == [0.0, 0.0, -1.0]
    # a matt disc of 800 lm has 800 / pi cd along its axis (Lambert)
    assert level["intensity"] == pytest.approx(800.0 / math.pi)
    assert level["beam"] == 1.0
    askew = lamp("faces: aim\n    aim: 3.8 0.5 m")
    assert [askew[f"face_{axis}"] for axis in "xyz"] == pytest.approx([0.8, 0.0, -0.6])
    assert [askew[f"aim_{axis}"] for axis in "xyz"] == pytest.approx([0.8, 0.0, -0.6])
    narrow = lamp("faces: down\n    beam: 30 deg\n    aim: 3.8 0.5 m")
    assert narrow["form"] == FLAT
    assert (narrow["face_z"], narrow["aim_x"]) == pytest.approx((-1.0, 0.8))
    assert narrow["beam"] == pytest.approx(4.8188, rel=1e-4)


def test_the_sun_in_flat_arrays(tmp_path: Path) -> None:
    sun_text = "sun: {azimuth: 90 deg, elevation: 30 deg, illuminance: 20 klx}\n"
    spec = read_arena(write(tmp_path, GOOD + sun_text + "ambient: {illuminance: 500 lx, light: white-led}\n"))
    flat = flatten(spec)
    sun = flat.sources[-1]
    towards = np.array([sun["x"] - 1.0, sun["y"] - 0.5, sun["z"]])
    distance = np.linalg.norm(towards)
    assert towards / distance == pytest.approx([0.0, math.cos(math.pi / 6), 0.5], abs=1e-9)
    # The sun is 0.533° wide at its mean distance (696,000 km of radius at 149.6 million km; from memory).
    assert 2 * math.degrees(math.atan(sun["radius"] / distance)) == pytest.approx(0.533, abs=1e-6)
    assert sun["radius"] / distance == pytest.approx(696e3 / 149.6e6, rel=2e-3)
    assert (sun["is_sun"], sun["intensity"], KINDS[sun["kind"]]) == (1, 20e3, "sun")
    by_kind = dict(zip(KINDS, flat.ambient.tolist(), strict=True))
    assert by_kind == {**dict.fromkeys(KINDS, 0.0), "white-led": 500.0}


def test_walls_and_rim_in_flat_arrays(tmp_path: Path) -> None:
    walls = flatten(read_arena(write(tmp_path, GOOD))).walls
    assert len(walls) == 4 + 1 + 4
    assert walls[3].tolist() == (0.8, 0.8, 0.8, 0.2, 0.06)
    assert walls[4].tolist() == (1.5, 0.0, 1.5, 0.5, 0.05)
    assert walls[8].tolist() == (0.0, 1.0, 0.0, 0.0, 0.04)


def test_every_field_is_described() -> None:
    rows = field_table(ArenaSpec)
    assert len(rows) > 40
    assert [row.key for row in rows if not row.description] == []
