"""Values set in the text of a file: read again they are the same floats, and all else stays as it was."""

import difflib
import math
import re
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from agents.design.parts import Body, Panel, Side, Storage
from agents.design.rewriting import rewrite, rewrite_design, rewrite_values
from agents.design.spec import Design, parse_design
from agents.errors import SpecError, WorkError
from agents.text.exact import exact_text
from agents.text.quantities import Fraction, Number, Point, Points, Quantity
from agents.text.shapes import BaseSpec, key_paths, keys_of, shape_at
from agents.text.shipped import find_document, shipped_names
from agents.text.units import DIMENSIONS
from arena.scene.spec import ArenaSpec, parse_arena

HERE = "shelf.yaml"

TEXTS = {
    (kind, name): find_document(name, kind).read_text(encoding="utf-8")
    for kind in ("design", "arena")
    for name in shipped_names(kind)
}


def changed_lines(before: str, after: str) -> list[str]:
    lines = difflib.ndiff(before.splitlines(), after.splitlines())
    return [line for line in lines if line[0] in "+-"]


def comments(text: str) -> list[str]:
    """Every comment of a shipped file, none of which holds a # within quotes."""
    return re.findall(r"(?:^|\s)(#.*)$", text, re.MULTILINE)


def plain(text: str) -> Any:
    """The text as PyYAML itself reads it, with every scalar as text."""
    return yaml.load(text, Loader=yaml.BaseLoader)


def test_a_value_is_replaced_where_it_stands() -> None:
    text = TEXTS["design", "poppy"]
    after = rewrite_design(text, {"both.latch": 4700.0})
    assert changed_lines(text, after) == ["-   latch: 10k", "+   latch: 4k7"]
    after = rewrite_design(text, {"both.eye.aside": 0.1, "storage.capacitance": 0.01})
    assert "    aside: 100 mm         # from the middle; the wheels stand at 21 mm\n" in after
    assert "  capacitance: 10000 uF\n" in after
    # less than an ohm is no code that is printed on parts
    after = rewrite_design("photodrome: design 1\nname: a\n", {"storage.series_resistance": 0.3})
    assert "series_resistance: 300 mohm\n" in after


def test_a_missing_key_goes_where_the_reference_has_it() -> None:
    text = TEXTS["design", "poppy"]
    after = rewrite_design(text, {"both.eye.tape": 0.5})
    assert "    knee_light: 150 lx\n    tape: 50 %\n    quiet_current: 4 uA\n" in after
    after = rewrite_design(text, {"left.eye.tape": 0.3})
    assert "    bend_to_close: 4 mm\n\nleft:\n  eye:\n    tape: 30 %\n\nbody:\n" in after
    after = rewrite_design(text, {"both.eye.height": 0.03, "panel.ahead": -0.002})
    assert (
        "    aside: 30 mm          # from the middle; the wheels stand at 21 mm\n    height: 30 mm\n" in after
    )
    assert "  response: crystalline-silicon\n  ahead: -2 mm\n\nstorage:" in after


def test_a_first_key_goes_above_the_remarks_on_the_next_one() -> None:
    text = "photodrome: design 1\nname: cress\nboth:   # on either side\n    # a remark\n    latch: 10k\n"
    after = rewrite_design(text, {"both.eye.tape": 0.5})
    assert after == (
        "photodrome: design 1\nname: cress\nboth:   # on either side\n    eye:\n        tape: 50 %\n"
        "    # a remark\n    latch: 10k\n"
    )


def test_both_reaches_a_side_that_says_it_over() -> None:
    text = TEXTS["design", "cress"]
    after = rewrite_design(text, {"both.latch": 8200.0})
    design = parse_design(after, HERE)
    assert (design.left.latch, design.right.latch) == (8200.0, 8200.0)
    assert changed_lines(text, after) == [
        "-   latch: 15k",
        "+   latch: 8k2",
        "-   latch: 5k6",
        "+   latch: 8k2",
    ]
    after = rewrite_design(text, {"both.eye.tape": 0.5})
    design = parse_design(after, HERE)
    assert (design.left.eye.tape, design.right.eye.tape) == (0.5, 0.5)
    one_side = parse_design(rewrite_design(text, {"left.feeler": 27e3}), HERE)
    assert (one_side.left.feeler, one_side.right.feeler) == (27e3, 39e3)


def test_maps_in_one_line_lists_and_points() -> None:
    text = TEXTS["arena", "open-bench"]
    values = {("starts", "places", 1, "place"): (0.3125, 0.4), ("lamps", 0, "place"): (-0.5, 1e-7)}
    after = rewrite_values(text, values, ArenaSpec)
    assert "    - {place: 0.3125 0.4 m, heading: 45 deg}\n" in after
    arena = parse_arena(after, HERE)
    assert arena.lamps[0].place == (-0.5, 1e-7)
    assert arena.starts.places is not None
    assert arena.starts.places[1].place == (0.3125, 0.4)
    flow = "photodrome: design 1\nname: a\nboth: {latch: 10k, # kept\n  eye: {}}\n"
    flow += "spread: {both.latch: {uniform: 5 %}}"
    after = rewrite_design(
        flow, {"both.eye.tape": 0.5, "both.series": 33e3, "both.feeler": None, "about": "a: b"}
    )
    assert plain(after)["both"] == {
        "latch": "10k",
        "eye": {"tape": "50 %"},
        "series": "33k",
        "feeler": "none",
    }
    assert plain(after)["about"] == "a: b"
    assert "# kept\n" in after
    assert after.endswith("spread: {both.latch: {uniform: 5 %}}")


def test_aliases_are_written_out_only_where_a_change_would_reach_too_far() -> None:
    text = "photodrome: design 1\nname: a\nleft: &side\n  latch: 4k7  # measured\nright: *side\nstorage: {}\n"
    after = rewrite_design(text, {"storage.capacitance": 1e-3})
    assert "right: *side\nstorage: {capacitance: 1 mF}\n" in after.replace("1000 uF", "1 mF")
    after = rewrite_design(text, {"left.latch": 10e3})
    design = parse_design(after, HERE)
    assert (design.left.latch, design.right.latch) == (10e3, 4700.0)
    assert "# measured" in after


def test_line_ends_missing_last_lines_and_quotes() -> None:
    text = 'photodrome: design 1\r\nname: "a"\r\nboth:\r\n  latch: "10k"'
    after = rewrite_design(text, {"both.latch": 22e3, "both.series": 33e3, "storage.leak": 2e6})
    assert "\n" not in after.replace("\r\n", "")
    design = parse_design(after, HERE)
    assert (design.left.latch, design.right.series, design.storage.leak) == (22e3, 33e3, 2e6)
    for name in ("b: c", "# d", "'", '"', " e ", "~", "f\ng", "[h", "- i", "ä", "*k", "yes"):
        after = rewrite_design(text, {"name": name})
        assert plain(after)["name"] == name
        assert plain(rewrite_design(TEXTS["design", "mustard"], {"about": name}))["about"] == name


def test_a_place_that_is_not_there_is_refused() -> None:
    text = TEXTS["arena", "open-bench"]
    with pytest.raises(WorkError, match=r"lamps\[3\].place"):
        rewrite_values(text, {("lamps", 3, "place"): (0.0, 0.0)}, ArenaSpec)
    with pytest.raises(WorkError, match="lamps: "):
        rewrite(text, {("lamps",): "none"}, ArenaSpec)
    with pytest.raises(KeyError, match="lamp"):
        rewrite_values(text, {("lamp", "place"): (0.0, 0.0)}, ArenaSpec)
    with pytest.raises(KeyError):
        rewrite_design(TEXTS["design", "poppy"], {"both.lach": 1.0})


@pytest.mark.parametrize("sides", [("left",), ("left", "right")])
def test_a_text_that_would_come_apart_is_refused(sides: tuple[str, ...]) -> None:
    # YAML 1.2.2, section 5.4: a carriage return alone is a line break too, here mixed with line feeds
    text = "photodrome: design 1\rname: sorrel\rbody: {\n  mass: 14 g}\r"
    assert parse_design(text, HERE).body.mass == 0.014
    with pytest.raises(WorkError, match=r"cannot be changed at left\.latch"):
        rewrite(text, {(side, "latch"): "12k" for side in sides}, Design)


def test_what_the_text_says_now_may_be_impossible_and_is_then_told_at_its_place() -> None:
    after = rewrite_design(TEXTS["design", "poppy"], {"both.whisker.length": 0.003})
    with pytest.raises(SpecError) as caught:
        parse_design(after, HERE)
    lines = {after.splitlines()[fault.line - 1] for fault in caught.value.faults}
    assert lines == {"  whisker:"}


def readers() -> list[Any]:
    """The reader of every number, share and point of a design and an arena."""
    found = []
    for model in (Design, ArenaSpec):
        for key in key_paths(model):
            path: list[Any] = []
            for part in key.split("."):
                path += [part.removesuffix("[]"), 0] if part.endswith("[]") else [part]
            shape = shape_at(model, tuple(path))
            if shape is not None and isinstance(shape.reader, Quantity | Fraction | Number | Points):
                found.append(shape.reader)
    return list(dict.fromkeys(found))


def numbers(reader: Any) -> st.SearchStrategy[Any]:
    """Values within a reader's range, at any size."""
    if isinstance(reader, Point | Points):
        coordinate = st.floats(-reader.most, reader.most)
        pair = st.tuples(coordinate, coordinate)
        count = reader.least_count
        return pair if isinstance(reader, Point) else st.lists(pair, min_size=count, max_size=5).map(tuple)
    least = reader.least if reader.least is not None else (reader.above if reader.above is not None else -1e6)
    most = reader.most if reader.most is not None else 1e6
    if isinstance(reader, Number) and reader.whole:
        return st.integers(math.ceil(least), math.floor(most))
    spread = st.floats(least, most)
    if least > 0.0 and most > 0.0:
        logs = st.floats(math.log(least), math.log(most)).map(math.exp)
        spread = spread | logs.filter(lambda value: least <= value <= most)
    return spread.filter(lambda value: reader.above is None or value > reader.above)


@given(data=st.data())
@settings(max_examples=400, deadline=None)
def test_any_value_reads_back_as_the_very_same_float(data: st.DataObject) -> None:
    reader = data.draw(st.sampled_from(readers()), label="reader")
    value = data.draw(numbers(reader), label="value")
    unit = getattr(reader, "unit", "")
    likes = ["", "10k", "4u7", "50 %", "0.5", "12"]
    if unit:
        likes += [f"3 {name}" for name in DIMENSIONS[unit].spellings]
    text = exact_text(reader, value, data.draw(st.sampled_from(likes), label="like"))
    assert reader.read(text) == value


@given(data=st.data())
@settings(max_examples=150, deadline=None)
def test_any_value_of_a_shipped_file_can_be_set_and_nothing_else_changes(data: st.DataObject) -> None:
    (kind, _), text = data.draw(st.sampled_from(sorted(TEXTS.items())), label="file")
    section, owner = "", ArenaSpec
    if kind == "design":
        sections = {
            "both": Side,
            "left": Side,
            "right": Side,
            "panel": Panel,
            "storage": Storage,
            "body": Body,
        }
        section, owner = data.draw(st.sampled_from(sorted(sections.items())), label="section")
    before = plain(text)
    path = data.draw(st.sampled_from(fields_of(owner, before)), label="key")
    shape = shape_at(owner, path)
    assert shape is not None
    reader: Any = shape.reader
    value = data.draw(numbers(reader), label="value")
    if section:
        after = rewrite_design(text, {".".join((section, *path)): value})
    else:
        after = rewrite_values(text, {path: value}, ArenaSpec)
    assert comments(after) == comments(text)
    said = plain(after)
    places = [(section, *path) if section else path]
    if section == "both":
        places += [("left", *path), ("right", *path)]
    found = 0
    for place in places:
        written = at(said, place)
        # a side that said nothing before says nothing after; else it says the new value
        if written is not None:
            assert reader.read(written) == value
            put(before, place, written)
            found += 1
    assert found
    assert said == before
    assert len([line for line in changed_lines(text, after) if line[0] == "-"]) <= found


def fields_of(model: type[BaseSpec], held: Any) -> list[Any]:
    """Paths of all numbers of a model; of a list, only in the items that a file has."""
    paths: list[Any] = []

    def walk(owner: Any, path: tuple[Any, ...], held: Any) -> None:
        for key in keys_of(owner):
            shape = shape_at(model, (*path, key))
            assert shape is not None
            below = held.get(key) if isinstance(held, dict) else None
            if isinstance(shape.reader, Quantity | Fraction | Number | Points):
                paths.append((*path, key))
            elif shape.model is not None:
                walk(shape.model, (*path, key), below)
            elif shape.item is not None and isinstance(below, list):
                inner = shape_at(model, (*path, key, 0))
                assert inner is not None
                for index in range(len(below)):
                    walk(inner.model, (*path, key, index), below[index])

    walk(model, (), held)
    return paths


def at(tree: Any, path: Any) -> Any:
    """What stands at a path, or None."""
    for key in path:
        if isinstance(tree, dict):
            tree = tree.get(key)
        elif isinstance(tree, list):
            tree = tree[key]
        else:
            return None
    return tree


def put(tree: Any, path: Any, value: str) -> None:
    for key in path[:-1]:
        if isinstance(tree, dict) and not isinstance(tree.get(key), dict | list):
            tree[key] = {}
        tree = tree[key]
    tree[path[-1]] = value
