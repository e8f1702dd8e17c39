"""Values picked out of a drawer: against trying all there is, and against what the drawer holds."""

from collections import Counter
from itertools import product

import pytest

from agents.design.changing import change_design
from agents.design.spec import read_design
from agents.drawer.contents import parse_drawer, read_drawer
from agents.drawer.stock import PLACES, choices
from agents.errors import OptionError
from agents.testbench.bench_figures import bench
from agents.testbench.picking import _Trials, made_of, pick_parts

SMALL = """\
photodrome: drawer 1
name: small
resistors:
  - { code: 1k, count: 4, price: 0.02 EUR }
  - { code: 22k, count: 4, price: 0.02 EUR }
  - { code: 47k, count: 3, price: 0.02 EUR }
capacitors:
  - { value: 470 uF, count: 1, price: 0.20 EUR }
  - { value: 2200 uF, count: 1, price: 0.40 EUR }
  - { value: 10 mF, count: 1, price: 0.10 EUR }
motors:
  - { name: hungry, resistance: 8 ohm, count: 2 }
  - { name: frugal, resistance: 28 ohm, count: 2 }
"""
KEPT = [place.path for place in PLACES if place.section not in ("resistors", "motors")]
KEPT.remove("storage.capacitance")
LIGHTS = [1e3, 10e3]


def test_nothing_in_a_small_drawer_is_better_than_what_is_picked() -> None:
    design, drawer = read_design("thistle-spins"), parse_drawer(SMALL, "small.yaml")
    picked = pick_parts(design, drawer, LIGHTS, keep=KEPT)
    trials = _Trials(design, LIGHTS, "daylight")
    options = [choices(drawer, place) for place in PLACES if place.path not in KEPT]
    every = list(product(*options))
    assert len(every) == 3 * 3 * 3 * 3 * 2
    assert not any(trials.is_better(other, picked.chosen) for other in every)
    assert picked.is_healthy
    assert not bench(made_of(design, picked.chosen), LIGHTS)[0].faults


def test_no_more_is_taken_than_is_there() -> None:
    drawer = read_drawer("potting-shed")
    picked = pick_parts(read_design("nettle-twitches"), drawer, [3e3])
    taken: Counter[object] = Counter()
    for choice in picked.chosen:
        taken[choice.sort] += choice.place.pieces
        assert taken[choice.sort] <= choice.available
    assert picked.is_healthy
    assert not bench(picked.design, [3e3])[0].faults
    assert picked.cost == sum(choice.price * choice.place.pieces for choice in picked.chosen if choice.price)


def test_values_written_by_their_own_paths_give_the_same_design() -> None:
    design = read_design("poppy")
    picked = pick_parts(design, read_drawer("potting-shed"), [3e3])
    again = change_design(design, picked.own_values)
    for path in picked.values:
        assert again.value_at(path) == picked.design.value_at(path)


def test_what_is_kept_stays_and_what_is_missing_is_told() -> None:
    design = read_design("poppy")
    text = "photodrome: drawer 1\nname: poor\nresistors:\n  - { code: 22k, count: 2 }\n"
    keep = ["both.series", "both.feeler"]
    picked = pick_parts(design, parse_drawer(text, "poor.yaml"), [3e3], keep=keep)
    assert picked.design.left.latch == 22e3
    assert picked.design.left.series == design.left.series
    assert any(words.startswith("motor: 2 of one sort are needed") for words in picked.missing)


@pytest.mark.parametrize(
    ("text", "keep", "part"),
    [
        ("resistors:\n  - { code: 22k, count: 1 }\n", [], "nothing in it can be used"),
        ("resistors:\n  - { code: 22k, count: 0 }\n", [], "latch resistor: 2 of one sort are needed"),
        ("resistors:\n  - { code: 22k, count: 9 }\n", ["both.lach"], "nearest: both.latch"),
    ],
)
def test_what_cannot_be_picked_is_refused(text: str, keep: list[str], part: str) -> None:
    drawer = parse_drawer(f"photodrome: drawer 1\nname: poor\n{text}", "poor.yaml")
    with pytest.raises(OptionError, match=part):
        pick_parts(read_design("poppy"), drawer, [3e3], keep=keep)


def test_a_capacitor_that_does_not_bear_the_panel_is_not_taken() -> None:
    text = (
        "photodrome: drawer 1\nname: two\ncapacitors:\n"
        "  - { value: 2200 uF, count: 1, rated: 2.5 V }\n  - { value: 1000 uF, count: 1, rated: 6.3 V }\n"
    )
    keep = [place.path for place in PLACES if place.path != "storage.capacitance"]
    picked = pick_parts(read_design("poppy"), parse_drawer(text, "two.yaml"), [3e3], keep=keep)
    assert picked.design.storage.capacitance == 1e-3


def test_a_part_beyond_the_ranges_of_a_design_is_not_taken() -> None:
    """With its tolerance or by itself; so the others of the drawer are, and without any that is told."""
    keep = [place.path for place in PLACES if place.path not in ("storage.capacitance", "both.motor")]
    text = (
        "photodrome: drawer 1\nname: odd\ncapacitors:\n  - { value: 10 F, tolerance: 20 %, count: 1 }\n{more}"
        "motors:\n  - { name: small, count: 2 }\n"
    )
    design = read_design("poppy")
    alone = pick_parts(design, parse_drawer(text.replace("{more}", ""), "odd.yaml"), [3e3], keep=keep)
    assert alone.design.storage == design.storage
    assert [words for words in alone.missing if "parts from 8 F to 12 F" in words] == list(alone.missing)
    other = text.replace("{more}", "  - { value: 1000 uF, count: 1 }\n")
    picked = pick_parts(design, parse_drawer(other, "odd.yaml"), [3e3], keep=keep)
    assert picked.design.storage.capacitance == 1e-3
    assert not picked.missing


def test_a_bare_eye_has_no_tolerance_of_tape() -> None:
    """A twentieth more light than comes in would be none of a design's."""
    changes = {"both.eye.tape": "50 %", "spread.both.eye.tape.uniform": "5 %"}
    design = change_design(read_design("poppy"), changes)
    keep = [place.path for place in PLACES if place.path != "both.eye.tape"]
    drawer = parse_drawer(f"{SMALL}tapes:\n  - {{ transmission: 30 %, count: 2 }}\n", "small.yaml")
    picked = pick_parts(design, drawer, [300.0], keep=[*keep])
    assert picked.design.left.eye.tape == 1.0
    assert "both.eye.tape" not in picked.design.spread


def test_what_is_picked_for_hot_air_works_there() -> None:
    """At 45 degC the default panel stands too low for a bare eye in the sun (see the head of panel.py)."""
    drawer, hot = read_drawer("potting-shed"), 318.15
    assert bench(read_design("poppy"), [10e3], air=hot)[0].faults
    picked = pick_parts(read_design("poppy"), drawer, [3e3, 10e3], air=hot)
    assert picked.is_healthy
    assert not any(point.faults for point in bench(picked.design, [3e3, 10e3], air=hot))
