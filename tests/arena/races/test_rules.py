"""Rules of the class: who breaks one is told which part, and races out of competition."""

from pathlib import Path

import pytest

from agents.design.spec import parse_design
from agents.errors import SpecError
from arena.races.entries import read_entries
from arena.races.race_form import RulesForm
from arena.races.race_plan import RacePlan, parse_race
from arena.races.race_setup import prepare_race
from arena.races.racing import race_all
from arena.races.rules import broken, cost_of
from tests.helpers.classes import write_class
from tests.helpers.commands import DESIGN

HEAD = "photodrome: race 1\nname: class\ncourses: [{arena: sprint-to-the-lamp, lasts: 60 s}]\nrounds: 2\n"


def plan_of(rules: str) -> RacePlan:
    lines = "".join(f"  {line}\n" for line in rules.splitlines())
    return parse_race(f"{HEAD}rules:\n{lines}", "plan", Path())


def broken_by(text: str, rules: str) -> list[str]:
    return broken(parse_design(DESIGN + text, "borage.yaml"), plan_of(rules).form.rules)


@pytest.mark.parametrize(
    ("text", "rules", "told"),
    [
        ("storage: { capacitance: 4700 uF }\n", "storage: 4700 uF", None),
        ("storage: { capacitance: 4701 uF }\n", "storage: 4700 uF", "storage.capacitance: 4700 uF"),
        (
            "storage: { capacitance: 10 mF }\n",
            "storage: 4700 uF",
            "storage.capacitance: 10000 uF, allowed",
        ),
        ("", "values: {both.latch: 'E12 1k..47k'}", None),
        ("both: { latch: 11k }\n", "values: {both.latch: 'E12 1k..47k'}", "left.latch: 11k, allowed are E12"),
        (
            "right: { latch: 100k }\n",
            "values: {both.latch: '1k, 10k'}",
            "right.latch: 100k, allowed are 1k, 10k",
        ),
        ("both: { feeler: none }\n", "values: {both.feeler: '33k, 47k'}", "left.feeler: none, allowed"),
        (
            "body: { mass: 30 g }\n",
            "values: {body.mass: '5 g..20 g'}",
            "body.mass: 30 g, allowed are 5 g..20 g",
        ),
        ("body: { mass: 20 g }\n", "values: {body.mass: '5 g..20 g'}", None),
        # the plain panel: 4.5 V in full sun, 7 cells of 0.7 V
        ("", "cells: 2", "which takes at least 7 silicon cells in series; allowed are at most 2"),
        ("", "cells: 7", None),
    ],
)
def test_a_rule_and_the_part_that_breaks_it(text: str, rules: str, told: str | None) -> None:
    found = broken_by(text, rules)
    if told is None:
        assert found == []
    else:
        assert told in found[0]


def test_cost_is_the_sum_of_prices() -> None:
    rules = (
        "cost: 5.00\nprices:\n  storage.capacitance: {2200 uF: 0.60, 4700 uF: 0.90}\n"
        "  both.motor.resistance: {28 ohm: 2.20, 10 ohm: 3.10}"
    )
    form = plan_of(rules).form.rules
    design = parse_design(DESIGN, "borage.yaml")
    # one capacitor and two motors, summed by hand
    assert cost_of(design, form) == (pytest.approx(0.60 + 2 * 2.20), [])
    assert broken(design, form) == []
    dear = "storage: { capacitance: 4700 uF }\nright: { motor: { resistance: 10 ohm } }\n"
    assert broken_by(dear, rules) == ["cost: 6.20, allowed are at most 5.00"]
    unsold = broken_by("storage: { capacitance: 3300 uF }\n", rules)
    assert unsold == ["storage.capacitance 3300 uF: has no price in the rules, so it cannot be bought"]


@pytest.mark.parametrize(
    ("rules", "place", "words"),
    [
        ("values: {both.lach: 10k}", "rules.values", "both.latch"),
        ("values: {both.latch: ten}", "rules.values", "expected a resistance"),
        ("cost: 5", "rules.cost", "a limit on cost without prices"),
        ("cost: 5\nprices: {both.latch: {10k: cheap}}", "rules.prices", "expected a plain number"),
        ("cost: 5\nprices: {both.latch: {ten: 1}}", "rules.prices", "expected a resistance"),
        ("storage: 4700", "rules.storage", "with its unit"),
        ("cells: 2.5", "rules.cells", "whole number"),
        ("weight: 5 g", "rules.weight", "unknown key"),
    ],
)
def test_a_faulty_rule_is_told_at_its_place(rules: str, place: str, words: str) -> None:
    with pytest.raises(SpecError) as caught:
        plan_of(rules)
    told = str(caught.value)
    assert place in told
    assert words in told
    assert "plan:" in told


def test_who_breaks_a_rule_races_out_of_competition(tmp_path: Path) -> None:
    write_class(tmp_path / "walkers", 5)
    # the fifth has 4700 uF, the third 3300 uF
    setup = prepare_race(plan_of("storage: 2200 uF"), read_entries([str(tmp_path / "walkers")]))
    assert [one.competes for one in setup.entries] == [True, True, False, True, False]
    results = race_all(setup, tmp_path / "out", 1)
    assert sorted(one.entry for one in results.placings if one.first is not None) == [0, 1, 3]
    assert [one.words for one in results.placings[-2:]] == ["out of competition"] * 2
    # they raced with the others all the same
    assert len(results.finishes_of(2)) == 2
    assert max(one.last or 0 for one in results.placings) == 3


def test_a_rule_that_nobody_meets(tmp_path: Path) -> None:
    write_class(tmp_path / "walkers", 3)
    setup = prepare_race(plan_of("cells: 1"), read_entries([str(tmp_path / "walkers")]))
    results = race_all(setup, tmp_path / "out", 1)
    assert all(one.first is None for one in results.placings)


SHED = """photodrome: drawer 1
name: shed
resistors: [{code: 10k, count: 2}, {code: 33k, count: 2}, {code: 47k, count: 2}, {code: 22k, count: 1}]
capacitors: [{value: 1 uF, count: 2}, {value: 2200 uF}, {value: 4700 uF, count: 1}]
tapes: [{transmission: 30 %, count: 1}]
npns: [{gain: 150, measured: [148, 171], count: 2}]
motors: [{name: long ones, resistance: 28 ohm, count: 2}]
"""


@pytest.mark.parametrize(
    ("text", "told"),
    [
        # the plain build: latches of 10k, series of 47k, feelers of 33k, 1 uF, 2200 uF
        ("", []),
        ("storage: { capacitance: 4700 uF }\n", []),
        (
            "storage: { capacitance: 3300 uF }\n",
            ["storage.capacitance: 3300 uF is not in the drawer shed, which has 2200 uF, 4700 uF"],
        ),
        (
            "both: { latch: 12k }\n",
            ["both.latch: 12k is not in the drawer shed, which has 10k, 22k, 33k, 47k"],
        ),
        ("left: { latch: 22k }\n", []),
        ("both: { latch: 22k }\n", ["left.latch, right.latch: 2 of one sort, and the drawer shed holds 1"]),
        # two latches and two feelers of one value, of which there are two
        ("both: { latch: 33k }\n", ["of one sort, and the drawer shed holds 2"]),
        ("both: { feeler: none }\n", []),
        ("right: { eye: { tape: 30 % } }\n", []),
        ("both: { eye: { tape: 30 % } }\n", ["2 of one sort, and the drawer shed holds 1"]),
        ("right: { npn: { gain: 171 } }\n", []),
        ("right: { npn: { gain: 160 } }\n", ["right.npn: gain 160 is not in the drawer shed"]),
        # what the drawer leaves out of a part is free, and what it has no list of
        ("both: { motor: { constant: 2 mV s/rad }, tyre: { radius: 2 mm } }\n", []),
        (
            "both: { motor: { resistance: 10 ohm } }\n",
            ["both.motor: resistance 10 ohm is not in the drawer shed; its long ones have resistance 28 ohm"],
        ),
    ],
)
def test_parts_of_a_drawer_only(tmp_path: Path, text: str, told: list[str]) -> None:
    (tmp_path / "shed.yaml").write_text(SHED)
    plan = parse_race(f"{HEAD}rules: {{drawer: ./shed.yaml}}\n", "plan", tmp_path)
    (tmp_path / "borage.yaml").write_text(DESIGN + text)
    [entry] = prepare_race(plan, read_entries([str(tmp_path / "borage.yaml")])).entries
    assert len(entry.broken_rules) == len(told)
    for found, words in zip(entry.broken_rules, told, strict=True):
        assert words in found


def test_a_drawer_that_is_not_there_or_faulty(tmp_path: Path) -> None:
    with pytest.raises(SpecError, match=r"rules.drawer: .*expected a drawer"):
        parse_race(f"{HEAD}rules: {{drawer: ./nowhere.yaml}}\n", "plan", tmp_path)
    (tmp_path / "shed.yaml").write_text(SHED.replace("10k", "ten"))
    with pytest.raises(SpecError, match=r"shed.yaml:3.*resistors"):
        parse_race(f"{HEAD}rules: {{drawer: ./shed.yaml}}\n", "plan", tmp_path)


def test_a_further_rule_may_be_given(tmp_path: Path) -> None:
    write_class(tmp_path / "walkers", 2)
    listed = read_entries([str(tmp_path / "walkers")])
    setup = prepare_race(plan_of("cells: 9"), listed, [lambda design: [f"{design.name}: not in the drawer"]])
    assert setup.entries[0].broken_rules == ("Anaïs: not in the drawer",)
    assert broken(setup.entries[0].design, RulesForm()) == []
