"""Paths of parameters: every one can be set, moves and stretches are those of a geometry library."""

import math
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPoint, Polygon
from shapely.affinity import scale, translate
from shapely.geometry.base import BaseGeometry

from agents.design.rewriting import rewrite_design, rewrite_values
from agents.design.spec import Design, parse_design, read_design
from agents.errors import InputError, SpecError
from agents.text.keyed_errors import KeyedError
from agents.text.quantities import Fraction, Quantity
from agents.text.shipped import find_document, shipped_names
from agents.text.values_by_place import place_at
from arena.scene.spec import ArenaSpec, parse_arena, read_arena
from arena.studies.plans.arena_moves import moves_of, placed
from arena.studies.plans.parameters import (
    Parameter,
    known_paths,
    parameter_at,
    places_set,
    values_into_arena,
    values_into_design,
)

POPPY = read_design("poppy")
POPPY_TEXT = find_document("poppy", "design").read_text(encoding="utf-8")
SLALOM = read_arena("slalom")
SKYLIGHT = read_arena("skylight")

# An arena whose things bear awkward names: with dots, like one another, like positions, like keys.
AWKWARD = parse_arena(
    """photodrome: arena 1
name: awkward
floor: { outline: 0 0 / 2 0 / 2 1 / 0 1 m }
walls:
  - { name: "2", line: 0.5 0.1 / 0.5 0.4 m, height: 50 mm }
  - { name: "1", line: 0.7 0.1 / 0.7 0.4 m, height: 60 mm }
  - { name: a.b, outline: 0.9 0.1 / 1.1 0.1 / 1.1 0.3 / 0.9 0.3 m }
  - { name: a, line: 1.3 0.1 / 1.5 0.3 m }
  - { name: b.height, line: 1.6 0.1 / 1.6 0.4 m }
lamps:
  - { name: height, place: 1 0.5 m, height: 0.5 m, light: daylight, intensity: 100 cd, beam: 40 deg }
sun: { azimuth: 0 deg, elevation: 30 deg, illuminance: 1 klx }
starts:
  places:
    - { place: 0.2 0.5 m, heading: 0 deg }
    - { place: 0.3 0.8 m }
goals:
  - { name: far, centre: 1.8 0.8 m, radius: 100 mm }
""",
    "awkward",
)


def value_of(model: Any, place: tuple[str | int, ...]) -> Any:
    for key in place:
        model = model[key] if isinstance(key, int) else getattr(model, key)
    return model


def shape_of(points: tuple[tuple[float, float], ...]) -> BaseGeometry:
    return MultiPoint(points)


@pytest.mark.parametrize("name", shipped_names("design"))
def test_every_path_of_a_design_can_be_read_and_set(name: str) -> None:
    design = read_design(name)
    paths = known_paths([design], [])
    assert {"design.both.latch", "design.left.eye.tape", "design.body.track"} <= set(paths)
    assert len(paths) == len(set(paths)) > 100
    for path in paths:
        parameter = parameter_at(path, [design], [], like="5 %")
        assert parameter.path == path
        assert parameter.label() == path.removeprefix("design.")
        if parameter.is_tolerance:
            assert isinstance(parameter.reader, Fraction)
            continue
        first, _, rest = parameter.label().partition(".")
        sides = ("left", "right") if first == "both" else (first,)
        held = [value_of(design, (side, *rest.split("."))) for side in sides]
        if held[0] is not None and held[0] == held[-1]:
            assert values_into_design(design, {path: held[0]}) == design
            assert parameter.reader.read(parameter.exact(held[0])) == held[0]


@pytest.mark.parametrize("name", shipped_names("arena"))
def test_every_path_of_an_arena_can_be_read_and_set(name: str) -> None:
    spec = read_arena(name)
    paths = known_paths([], [spec])
    assert {"arena.lasts", "arena.ambient.illuminance", "arena.floor.size_x"} <= set(paths)
    assert len(paths) == len(set(paths))
    for path in paths:
        parameter = parameter_at(path, [], [spec])
        place = place_at(spec, parameter.label(), moves_of)
        assert place is not None
        assert parameter.is_given
        if place[-1] in ("x", "y", "size_x", "size_y"):
            continue
        held = value_of(spec, place)
        if held is not None:
            assert values_into_arena(spec, {path: held}) == spec


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("both.latch", 22e3),
        ("both.feeler", None),
        ("both.eye.aside", 0.018),
        ("left.latch", 4.7e3),
        ("right.eye.tape", 0.5),
        ("both.motor.turns", "backward"),
        ("storage.capacitance", 3.3e-3),
        ("panel.response", "flat"),
        ("body.track", 0.06),
        ("both.npn.gain", 200.0),
        # of a map that the files do not have: the rest of it keeps its defaults
        ("both.pnp.gain", 180.0),
    ],
)
@pytest.mark.parametrize("name", ["poppy", "mustard", "broad-bean"])
def test_a_design_with_a_value_is_the_design_whose_file_says_it(name: str, path: str, value: Any) -> None:
    # by way of the file's text and its reader: tolerances in percent come out about the new value
    text = find_document(name, "design").read_text(encoding="utf-8")
    if value is None:
        # the tolerance of a part that is left out is a fault in a file
        text = "".join(line for line in text.splitlines(keepends=True) if f"  {path}: {{" not in line)
    expected = parse_design(rewrite_design(text, {path: value}), name)
    found = values_into_design(read_design(name), {f"design.{path}": value})
    assert found == expected
    assert [vars(one) for one in found.spreads] == [vars(one) for one in expected.spreads]
    assert found.built(3, 5) == expected.built(3, 5)


def test_a_percentage_stays_the_same_share() -> None:
    spread = {one.path: one for one in values_into_design(POPPY, {"design.both.latch": 40e3}).spreads}
    assert spread["left.latch"].width == pytest.approx(0.05 * 40e3, rel=1e-12)
    assert spread["right.latch"].value == 40e3
    before = {one.path: one for one in POPPY.spreads}
    assert before["left.latch"].width == pytest.approx(0.05 * 10e3, rel=1e-12)
    # an amount stays an amount
    design = values_into_design(POPPY, {"design.both.eye.dark_trigger": 2.5})
    spread = {one.path: one for one in design.spreads}
    assert spread["left.eye.dark_trigger"].width == before["left.eye.dark_trigger"].width == 0.03


def test_both_sets_either_side_and_a_side_only_itself() -> None:
    both = values_into_design(POPPY, {"design.both.latch": 1e3})
    assert (both.left.latch, both.right.latch) == (1e3, 1e3)
    left = values_into_design(POPPY, {"design.left.latch": 1e3})
    assert (left.left.latch, left.right.latch) == (1e3, POPPY.right.latch)
    two = values_into_design(POPPY, {"design.left.latch": 1e3, "design.right.latch": 2e3})
    assert (two.left.latch, two.right.latch) == (1e3, 2e3)


@pytest.mark.parametrize(
    ("path", "text", "width"),
    [
        ("design.spread.both.latch.uniform", "20 %", 0.2 * 10e3),
        ("design.spread.both.latch.uniform", "300 ohm", 300.0),
        ("design.spread.both.eye.dark_trigger.normal", "1 %", 0.01 * POPPY.left.eye.dark_trigger),
        # of a part whose file gives no tolerance
        ("design.spread.body.mass.normal", "2 %", 0.02 * 0.014),
        ("design.spread.left.eye.tape.uniform", "0 %", 0.0),
        ("design.spread.both.pnp.reverse_gain.uniform", "0.5", 0.5),
    ],
)
def test_tolerances(path: str, text: str, width: float) -> None:
    parameter = parameter_at(path, [POPPY], [], like=text)
    value = parameter.reader.read(text)
    # a whole tape cannot let more light through, so that it only takes a spread of nought
    design = values_into_design(POPPY, {path: parameter.put(value)})
    part = path.removeprefix("design.spread.").rpartition(".")[0].replace("both.", "left.")
    found = {one.path: one.width for one in design.spreads}
    assert found[part] == pytest.approx(width, rel=1e-12)
    others = {one.path: one.width for one in POPPY.spreads}
    assert all(found[one] == others[one] for one in others if one.split(".")[1:] != part.split(".")[1:])
    assert parameter.unit == {"300 ohm": "ohm"}.get(text, "")


@settings(deadline=None)
@given(st.floats(0.0, 1.0))
def test_a_tolerance_drawn_to_the_last_bit_is_put_in_as_it_is(share: float) -> None:
    parameter = parameter_at("design.spread.both.latch.uniform", [POPPY], [], like="5 %")
    text = parameter.put(share)
    assert text.endswith(" %")
    assert Fraction().read(text) == share


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ({"design.both.whisker.length": 0.003}, "left.whisker: got a switch that closes at 4 mm of bend"),
        ({"design.both.latch": 1.0}, "left.latch: got 1.0"),
        ({"design.both.latch": math.nan}, "left.latch: got nan"),
        ({"design.both.latch": True}, "left.latch: got True"),
        ({"design.both.motor.turns": "sideways"}, "left.motor.turns: got 'sideways'"),
        ({"design.spread.both.latch.normal": "5 %"}, "spread.both.latch: got both normal and uniform"),
        ({"design.spread.both.latch.uniform": "100 %"}, "spread.both.latch.uniform: got parts from"),
        # the tolerance of 20 % does not fit at the end of the range
        ({"design.storage.capacitance": 9.0}, "spread.storage.capacitance.uniform: got parts from"),
        ({"design.storage.capacitance": None}, "storage.capacitance: got nothing"),
    ],
)
def test_a_design_is_checked_as_a_whole(values: dict[str, Any], reason: str) -> None:
    with pytest.raises(InputError, match=r"^poppy: ") as caught:
        values_into_design(POPPY, values)
    assert reason in str(caught.value)
    assert ", expected " in str(caught.value)


def test_a_design_is_checked_across_its_parts() -> None:
    plain = Design(name="plain")
    with pytest.raises(InputError, match=r"^plain: storage\.capacitance: got a storage that motor and latch"):
        values_into_design(plain, {"design.storage.capacitance": 1e-6, "design.both.motor.resistance": 0.5})
    assert values_into_design(plain, {"design.storage.capacitance": 1e-3}).storage.capacitance == 1e-3


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ({"arena.walls.first plank.x": 3.0}, "walls[0].line: got a wall that leaves the floor"),
        ({"arena.walls.first plank.height": 0.0}, "walls[0].height: got 0.0"),
        ({"arena.goals.far end.x": 5.0}, "goals[0].outline: got a goal outside the floor"),
        ({"arena.starts.zone.size_y": 1.5}, "starts.zone.outline: got a zone that leaves the floor"),
        ({"arena.starts.zone.size_y": 1e-9}, "starts.zone.outline: got "),
        ({"arena.lamps.1.flux": 100.0}, "lamps[0].flux: got flux beside intensity"),
        ({"arena.goals.near end.x": 1.0}, "there is no arena.goals.near end.x"),
    ],
)
def test_an_arena_is_checked_as_a_whole(values: dict[str, Any], reason: str) -> None:
    with pytest.raises(InputError, match=r"^slalom: ") as caught:
        values_into_arena(SLALOM, values)
    assert reason in str(caught.value)


def test_an_arena_with_a_value_is_the_arena_whose_file_says_it() -> None:
    text = find_document("slalom", "arena").read_text(encoding="utf-8")
    values: dict[tuple[str | int, ...], Any] = {
        ("lamps", 0, "intensity"): 5000.0,
        ("walls", 1, "height"): 0.02,
        ("walls", 2, "line"): ((1.5, 0.0), (1.6, 0.4)),
        ("ambient", "light"): "incandescent",
        ("lasts",): 600.0,
    }
    expected = parse_arena(rewrite_values(text, values, ArenaSpec), "slalom")
    found = values_into_arena(
        SLALOM,
        {
            "arena.lamps.grow lamp.intensity": 5000.0,
            "arena.walls.2.height": 0.02,
            "arena.walls.third plank.line": ((1.5, 0.0), (1.6, 0.4)),
            "arena.ambient.light": "incandescent",
            "arena.lasts": 600.0,
        },
    )
    assert found == expected


COORDINATES = st.floats(-5.0, 5.0).map(lambda value: round(value, 3))
POINTS = st.lists(st.tuples(COORDINATES, COORDINATES), min_size=2, max_size=8, unique=True)


@settings(deadline=None)
@given(POINTS, st.dictionaries(st.sampled_from(["x", "y", "size_x", "size_y"]), st.floats(0.01, 9.0)))
def test_moves_and_stretches_are_those_of_a_geometry_library(
    points: list[tuple[float, float]], moves: dict[str, float]
) -> None:
    # shapely.affinity: scaled about the centre of the bounding box, then translated
    shape = shape_of(tuple(points))
    west, south, east, north = shape.bounds
    width, depth = east - west, north - south
    wide = moves.get("size_x", width) / width if width > 0.0 else 1.0
    deep = moves.get("size_y", depth) / depth if depth > 0.0 else 1.0
    stretched = scale(shape, wide, deep, origin="center")
    middle = ((west + east) / 2.0, (south + north) / 2.0)
    expected = translate(
        stretched, moves.get("x", middle[0]) - middle[0], moves.get("y", middle[1]) - middle[1]
    )
    found = placed(tuple(points), moves)
    assert len(found) == len(points)
    assert [one for point in found for one in point] == pytest.approx(
        [one for point in expected.geoms for one in (point.x, point.y)], abs=1e-9
    )
    assert shape_of(found).bounds == pytest.approx(expected.bounds, abs=1e-9)


@pytest.mark.parametrize(
    ("path", "shape", "place"),
    [
        ("arena.walls.first plank", LineString, ("walls", 0, "line")),
        ("arena.goals.far end", Polygon, ("goals", 0, "outline")),
        ("arena.starts.zone", Polygon, ("starts", "zone", "outline")),
    ],
)
def test_a_thing_of_an_arena_is_stretched_about_its_middle(path: str, shape: Any, place: Any) -> None:
    before = shape(value_of(SLALOM, place)).bounds
    after = shape(value_of(values_into_arena(SLALOM, {f"{path}.size_y": 0.5}), place)).bounds
    middle = (before[1] + before[3]) / 2.0
    assert after == pytest.approx((before[0], middle - 0.25, before[2], middle + 0.25), abs=1e-12)
    parameter = parameter_at(f"{path}.size_y", [], [SLALOM])
    assert parameter.reader == Quantity("m", above=0.0, most=2000.0)


def test_the_floor_can_be_stretched() -> None:
    bench = values_into_arena(SLALOM, {"arena.floor.size_x": 3.0})
    assert Polygon(bench.floor.outline).bounds == pytest.approx((-0.3, 0.0, 2.7, 1.0), abs=1e-12)


def test_points_are_moved_and_have_no_size() -> None:
    moved = values_into_arena(AWKWARD, {"arena.goals.far.x": 1.5, "arena.lamps.height.y": 0.7})
    assert moved.goals[0].centre == (1.5, 0.8)
    assert moved.goals[0].radius == AWKWARD.goals[0].radius
    assert moved.lamps[0].place == (1.0, 0.7)
    moved = values_into_arena(AWKWARD, {"arena.starts.places.2.y": 0.2, "arena.starts.places.1.x": 0.25})
    assert [one.place for one in moved.starts.places or ()] == [(0.25, 0.5), (0.3, 0.2)]
    for path in ("arena.goals.far.size_x", "arena.walls.2.size_x"):
        with pytest.raises(KeyedError, match="which has no such extent in awkward"):
            parameter_at(path, [], [AWKWARD])
    assert "arena.goals.far.size_x" not in known_paths([], [AWKWARD])
    assert "arena.walls.2.size_y" in known_paths([], [AWKWARD])


@pytest.mark.parametrize(
    ("rest", "place"),
    [
        ("walls.2.height", ("walls", 0, "height")),
        ("walls.1.height", ("walls", 1, "height")),
        ("walls.3.height", ("walls", 2, "height")),
        ("walls.a.b.height", ("walls", 2, "height")),
        ("walls.a.height", ("walls", 3, "height")),
        ("walls.4.height", ("walls", 3, "height")),
        ("walls.b.height.height", ("walls", 4, "height")),
        ("walls.5.x", ("walls", 4, "x")),
        ("lamps.height.height", ("lamps", 0, "height")),
        ("starts.places.2.heading", ("starts", "places", 1, "heading")),
        ("walls.6.height", None),
        ("walls.0.height", None),
        ("walls.-1.height", None),
        ("walls.².height", None),
        ("walls.height", None),
        ("walls.c.height", None),
        ("lasts.x", None),
        ("x", None),
    ],
)
def test_items_by_name_and_by_position(rest: str, place: tuple[str | int, ...] | None) -> None:
    assert place_at(AWKWARD, rest, moves_of) == place


@pytest.mark.parametrize(
    ("path", "near"),
    [
        ("design.both.latsh", "design.both.latch"),
        ("both.latch", "design.both.latch"),
        ("design.latch", "design.both.latch"),
        ("design.both.eye.asside", "design.both.eye.aside"),
        ("design.both.eyes.aside", "design.both.eye.aside"),
        ("design.boddy.track", "design.body.track"),
        ("design.both.eye", "design.both.eye.dark_trigger"),
        ("arena.walls", "arena.walls.first plank.height"),
        ("arena.walls.second plank", "arena.walls.second plank.height"),
        ("arena.walls.99.height", "arena.walls.first plank.height"),
        ("arena.walls.1.hight", "arena.walls.first plank.height"),
        ("design.spread.both.latch", "design.spread.both.latch.uniform"),
        ("design.spread.both.latch.unifrom", "design.spread.both.latch.uniform"),
        ("arena.walls.1st plank.height", "arena.walls.first plank.height"),
        ("arena.lamps.grow lamp.intensty", "arena.lamps.grow lamp.intensity"),
        ("arena.lamp.grow lamp.intensity", "arena.lamps.grow lamp.intensity"),
        ("slalom.lasts", "arena.lasts"),
        ("arena.sun.elevation.x", ""),
        ("design", ""),
        ("arena", ""),
        ("", ""),
        ("design.spread", ""),
        ("design.name", ""),
        ("design.both.motor.x", ""),
        ("design.body.x", ""),
        ("design.spread.both.motor.turns.uniform", ""),
        ("arena.walls.first plank.name", ""),
    ],
)
def test_an_unknown_path_names_the_nearest(path: str, near: str) -> None:
    with pytest.raises(KeyedError) as caught:
        parameter_at(path, [POPPY], [SLALOM])
    assert caught.value.got == "no such value"
    assert near in caught.value.near
    known = known_paths([POPPY], [SLALOM])
    assert all(one in known for one in caught.value.near.split(", ") if one)


def test_a_value_of_what_is_left_out() -> None:
    with pytest.raises(KeyedError) as caught:
        parameter_at("arena.sun.elevation", [], [SKYLIGHT, SLALOM])
    assert caught.value.got == "arena.sun.elevation, but sun is left out in slalom"
    assert parameter_at("arena.sun.elevation", [], [SKYLIGHT]).unit == "rad"
    bare = Design(name="bare").with_values({"both.whisker": None})
    with pytest.raises(KeyedError, match=r"left\.whisker is left out in bare"):
        parameter_at("design.both.whisker.length", [POPPY, bare], [])
    # a feeler that is left out can be put in, for that is a value
    none = values_into_design(POPPY, {"design.both.feeler": None})
    assert parameter_at("design.both.feeler", [none], []).may_be_none
    assert values_into_design(none, {"design.both.feeler": 33e3}).left == POPPY.left


def test_the_tolerance_of_a_part_goes_with_it() -> None:
    none = values_into_design(POPPY, {"design.both.feeler": None})
    assert set(POPPY.spread) - set(none.spread) == {"both.feeler"}
    assert len(POPPY.spreads) - len(none.spreads) == 2
    left = values_into_design(POPPY, {"design.left.feeler": None, "design.right.feeler": 22e3})
    assert {one.path: one.width for one in left.spreads if "feeler" in one.path} == {
        "right.feeler": pytest.approx(0.05 * 22e3)
    }
    values = {"design.both.feeler": None, "design.spread.both.feeler.uniform": "10 %"}
    assert values_into_design(POPPY, values) == none


def test_every_arena_must_have_the_value() -> None:
    tray = read_arena("tray-wall")
    with pytest.raises(KeyedError, match="no such value"):
        parameter_at("arena.walls.first plank.height", [], [SLALOM, tray])
    assert "arena.walls.first plank.height" not in known_paths([], [SLALOM, tray])
    assert parameter_at("arena.walls.1.height", [], [SLALOM, tray]).path == "arena.walls.1.height"


@pytest.mark.parametrize(
    "paths",
    [
        ("design.both.latch", "design.left.latch"),
        ("design.both.latch", "design.right.latch"),
        ("arena.walls.first plank.height", "arena.walls.1.height"),
        ("arena.walls.first plank.line", "arena.walls.1.x"),
        ("arena.walls.first plank.size_y", "arena.walls.1.line"),
        ("arena.lamps.1.place", "arena.lamps.grow lamp.y"),
        ("design.spread.both.latch.uniform", "design.spread.left.latch.uniform"),
    ],
)
def test_paths_that_set_the_same(paths: tuple[str, str]) -> None:
    one, other = (places_set(path, [POPPY], [SLALOM]) for path in paths)
    assert one & other


def test_paths_that_go_together() -> None:
    paths = (
        *("design.left.latch", "design.right.latch", "design.both.eye.aside", "design.both.whisker.aside"),
        *("design.spread.both.latch.uniform", "design.spread.both.series.uniform", "design.storage.start"),
        *("arena.walls.1.x", "arena.walls.1.y", "arena.walls.1.size_y", "arena.walls.2.x", "arena.lasts"),
        *("arena.walls.2.height", "arena.lamps.1.aim", "arena.lamps.1.place"),
    )
    for one, other in combinations(paths, 2):
        assert not places_set(one, [POPPY], [SLALOM]) & places_set(other, [POPPY], [SLALOM])


@pytest.mark.parametrize(
    ("path", "value", "shown", "unit"),
    [
        ("design.both.latch", 33e3, "33k", "ohm"),
        ("design.both.latch", 4700.0, "4k7", "ohm"),
        ("design.both.feeler", None, "none", "ohm"),
        ("design.storage.series_resistance", 0.0, "0 ohm", "ohm"),
        ("design.both.eye.aside", 0.015, "15 mm", "m"),
        ("design.storage.capacitance", 2.2e-3, "2200 uF", "F"),
        ("design.both.eye.tape", 0.25, "25 %", ""),
        ("design.both.eye.outward", math.radians(40.0), "40 deg", "rad"),
        ("design.both.npn.gain", 150.0, "150", ""),
        ("design.panel.response", "flat", "flat", ""),
        ("arena.lamps.1.place", (0.5, 1.0), "0.5 1 m", "m"),
        ("arena.walls.1.x", 0.5, "500 mm", "m"),
    ],
)
def test_values_as_tables_show_them(path: str, value: Any, shown: str, unit: str) -> None:
    parameter = parameter_at(path, [POPPY], [SLALOM])
    assert (parameter.show(value), parameter.unit) == (shown, unit)
    assert parameter.is_ordered == isinstance(value, float | None)


def test_factors_have_a_label_without_a_dot() -> None:
    assert Parameter("arena", Fraction(), is_ordered=False).label() == "arena"


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_value_in_its_range_is_set_or_refused_with_a_reason(data: st.DataObject) -> None:
    path = data.draw(st.sampled_from([one for one in known_paths([POPPY], []) if "spread" not in one]))
    parameter = parameter_at(path, [POPPY], [])
    if not isinstance(parameter.reader, Quantity) or parameter.reader.least is None:
        return
    assert parameter.reader.most is not None
    value = data.draw(st.floats(parameter.reader.least, parameter.reader.most))
    first, _, rest = parameter.label().partition(".")
    text = rewrite_design(POPPY_TEXT, {parameter.label(): value})
    try:
        design = values_into_design(POPPY, {path: value})
    except InputError:
        # then the design's own reader refuses the file that says this value
        with pytest.raises(SpecError):
            parse_design(text, "poppy")
        return
    assert value_of(design, ("left" if first == "both" else first, *rest.split("."))) == value
    assert parse_design(text, "poppy") == design
