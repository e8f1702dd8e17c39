"""A design written whole: read again it is the very same; and designs made from others by changing values."""

import math
from typing import Any

import pytest
from pydantic import BaseModel

from agents.design.changing import change_design, design_text
from agents.design.spec import Design, parse_design, read_design
from agents.errors import OptionError
from agents.text.shipped import shipped_names


@pytest.mark.parametrize("name", shipped_names("design"))
def test_the_text_of_a_design_reads_as_that_design(name: str) -> None:
    design = read_design(name)
    said = parse_design(design_text(design), "again.yaml")
    assert said == design
    assert [vars(spread) for spread in said.spreads] == [vars(spread) for spread in design.spreads]
    for number in range(5):
        # values with all their digits, and two sides that differ
        copy = design.built(3, number)
        assert parse_design(design_text(copy), "again.yaml") == copy


def test_the_text_of_a_design_gives_every_value() -> None:
    models: list[BaseModel] = [parse_design(design_text(Design(name="plain")), "again.yaml")]
    while models:
        model = models.pop()
        for key in type(model).model_fields:
            value = getattr(model, key)
            assert value is None or key in model.model_fields_set, key
            if isinstance(value, BaseModel):
                models.append(value)


def test_both_sets_either_side_and_a_side_only_itself() -> None:
    poppy = read_design("poppy")
    uneven = change_design(poppy, {"left.latch": "22k", "right.eye.tape": 0.5})
    assert (uneven.left.latch, uneven.right.latch) == (22e3, 10e3)
    assert (uneven.left.eye.tape, uneven.right.eye.tape) == (1.0, 0.5)
    even = change_design(uneven, {"both.latch": "1k", "both.eye.tape": "30 %"})
    assert (even.left, even.right) == (
        change_design(poppy, {"both.latch": 1e3, "both.eye.tape": 0.3}).left,
    ) * 2
    # in the order in which they are given
    assert change_design(poppy, {"both.latch": "1k", "left.latch": "2k2"}).left.latch == 2200.0


def test_parts_are_left_out_and_put_in_and_tolerances_changed() -> None:
    poppy = read_design("poppy")
    bare = change_design(poppy, {"left.whisker": "none"})
    assert (bare.left.whisker, bare.right.whisker) == (None, poppy.right.whisker)
    again = change_design(bare, {"left.whisker.length": "60 mm"})
    assert again.left.whisker is not None
    assert again.left.whisker.length == 0.06
    spread = change_design(poppy, {"spread.both.latch.uniform": "7 %"}).spreads
    assert [one.width for one in spread if one.path == "left.latch"] == [pytest.approx(700.0)]


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("both.latsch", "1k", "both.latsch: got an unknown key, expected one of eye, "),
        ("latch", "1k", "(nearest: left.latch)"),
        ("both.latch", 5.0, "both.latch: got 5.0, expected a resistance"),
        ("both.latch", math.nan, "both.latch: got nan, expected a resistance"),
        ("both.latch", "5 V", "both.latch: got '5 V', expected a resistance"),
        ("both.latch.size", "1", "both.latch: got a map, expected a resistance"),
        ("left", "1k", "left: got '1k', expected a map"),
        ("spread.both.latch.normal", "3 %", "spread.both.latch: got both normal and uniform"),
        ("spread.both.latch", "3 %", "spread.both.latch: got '3 %', expected a map like {normal: 5 %}"),
        (3, "1k", "got 3 for a path, expected text like 'both.latch'"),
    ],
)
def test_what_cannot_be_is_told_by_its_path(path: Any, value: str | float, told: str) -> None:
    poppy = read_design("poppy")
    with pytest.raises(OptionError) as refused:
        change_design(poppy, {"name": "mine", path: value})
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)


def test_values_that_do_not_go_together_are_told() -> None:
    small = {"storage.capacitance": "10 uF", "both.motor.resistance": "1 ohm"}
    with pytest.raises(
        OptionError, match=r"storage\.capacitance: got a storage that motor and latch empty in"
    ):
        change_design(Design(name="plain"), small)


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(OptionError) as refused:
        change_design(read_design("poppy"), {"both.latch": "1000", "storage.leak": "3"})
    assert [line.split(":")[0] for line in str(refused.value).splitlines()] == ["storage.leak", "both.latch"]
