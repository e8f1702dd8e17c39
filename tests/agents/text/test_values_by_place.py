"""Values in frozen specs by place, against plain dicts of the same spec in which they are set by hand."""

from typing import Any

import pytest

from agents.design.spec import read_design
from agents.design.values_by_path import expanded, of_both, parts_left, value_places
from agents.errors import InputError
from agents.text.marked_yaml import KeyPath
from agents.text.values_by_place import in_turn, value_at, value_paths, with_checked_values, with_values
from arena.scene.spec import ArenaSpec, read_arena

SLALOM = read_arena("slalom")
POPPY = read_design("poppy")


def put_by_hand(plain: Any, place: KeyPath, value: Any) -> Any:
    """A dump of a spec with one value in it changed, by recursion."""
    if not place:
        return value
    key, *rest = place
    if isinstance(key, int):
        return tuple(
            put_by_hand(item, tuple(rest), value) if number == key else item
            for number, item in enumerate(plain)
        )
    return {**plain, key: put_by_hand(plain[key], tuple(rest), value)}


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("lasts",), 77.0),
        (("lamps", 0, "place"), (0.3, 0.4)),
        (("lamps", 0, "intensity"), 12.0),
        (("starts", "places"), None),
        (("ambient", "illuminance"), 3.0),
    ],
)
def test_a_value_of_an_arena_is_set_and_the_spec_stays_as_it_was(place: KeyPath, value: Any) -> None:
    before = SLALOM.model_dump()
    changed = with_values(SLALOM, {place: value})
    assert changed.model_dump() == put_by_hand(before, place, value)
    assert value_at(changed, place) == value
    assert SLALOM.model_dump() == before
    assert with_checked_values(SLALOM, {place: value}, "slalom").model_dump() == changed.model_dump()


def test_items_of_one_list_are_set_one_after_the_other() -> None:
    assert len(SLALOM.shades) + len(SLALOM.walls) > 1
    key = "walls" if len(SLALOM.walls) > 1 else "shades"
    places: list[KeyPath] = [(key, 0, "height"), (key, 1, "height")]
    rows = [{places[0]: 0.11}, {places[1]: 0.12}, {places[0]: 0.13}]
    seen = [
        tuple(value_at(spec, place) for place in places)
        for spec in in_turn(SLALOM, rows, lambda place: [place])
    ]
    second = value_at(SLALOM, places[1])
    assert seen == [(0.11, second), (0.11, 0.12), (0.13, 0.12)]


def test_what_is_left_out_has_no_values() -> None:
    bare = POPPY.with_values({"left.whisker": None})
    assert value_at(bare, ("left", "whisker", "length")) is None
    assert value_at(bare, ("right", "whisker", "length")) == POPPY.right.whisker.length  # type: ignore[union-attr]
    assert "left.whisker.length" not in list(value_paths(bare))
    assert "right.whisker.length" in list(value_paths(bare))


def test_only_checked_values_are_refused() -> None:
    place = ("lamps", 0, "intensity")
    assert value_at(with_values(SLALOM, {place: -1.0}), place) == -1.0
    with pytest.raises(InputError, match=r"^slalom: lamps\[0\]\.intensity: got .*, expected "):
        with_checked_values(SLALOM, {place: -1.0}, "slalom")
    with pytest.raises(KeyError):
        with_values(SLALOM, {("lamps", 0, "intensitty"): 1.0})


def test_every_listed_path_of_a_design_is_a_place_of_it() -> None:
    paths = list(value_paths(POPPY))
    assert {"left.eye.tape", "storage.capacitance"} <= set(paths)
    for path in paths:
        value_at(POPPY, tuple(path.split(".")))


def test_both_means_either_side() -> None:
    assert expanded("both.eye.tape") == ("left.eye.tape", "right.eye.tape")
    assert expanded("storage.capacitance") == ("storage.capacitance",)
    assert of_both("right.latch") == of_both("both.latch") == "both.latch"
    assert of_both("storage.capacitance") == "storage.capacitance"
    assert value_places("both.latch") == (("left", "latch"), ("right", "latch"))
    assert value_places("spread.both.eye.tape.normal") == (("spread", "both.eye.tape", "normal"),)
    assert parts_left("both.latch", {"left.latch"}) == ("right.latch",)
    assert parts_left("both.latch", set()) == ("both.latch",)
    assert parts_left("left.latch", {"left.latch"}) == ()


def test_an_arena_stays_an_arena() -> None:
    assert isinstance(with_values(SLALOM, {("lasts",): 1.0}), ArenaSpec)
