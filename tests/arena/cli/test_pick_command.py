"""The command pick: what it prints and writes, and what it refuses."""

import csv
import json
from pathlib import Path

import pytest

from agents.design.spec import read_design
from tests.helpers.commands import photodrome, refusal

FEW = (
    "--drawer",
    "potting-shed",
    "--from",
    "3klx",
    "--to",
    "3klx",
    "--keep",
    "both.eye",
    "--keep",
    "both.npn",
)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_what_is_written_is_the_design_that_was_picked() -> None:
    outcome = photodrome(
        "pick", "nettle-twitches", *FEW, "--out", "mine.yaml", "--parts", "parts.csv", "--json"
    )
    assert (outcome.code, outcome.err) == (0, "")
    found = json.loads(outcome.out)
    assert found["healthy"]
    assert found["files"] == ["mine.yaml", "parts.csv"]
    text = Path("mine.yaml").read_text(encoding="utf-8")
    assert "# Faulty on purpose." in text  # remarks stay
    design = read_design("./mine.yaml")
    assert design.name == "mine"
    for path, value in found["values"].items():
        assert design.value_at(path.replace("both.", "left.")) == value
    *rows, total = csv.DictReader(Path("parts.csv").read_text(encoding="utf-8").splitlines())
    assert len(rows) == len(found["parts"])
    assert float(total["cost_EUR"]) == pytest.approx(found["cost"])
    bench = json.loads(photodrome("bench", "./mine.yaml", "--light", "3klx", "--json").out)
    assert bench["points"][0]["faults"] == []


def test_the_table_names_parts_and_what_is_missing() -> None:
    Path("poor.yaml").write_text(
        "photodrome: drawer 1\nname: '[b]poor'\nresistors:\n  - { code: 22k, count: 2 }\n", encoding="utf-8"
    )
    outcome = photodrome(
        "pick", "poppy", "-p", "./poor.yaml", "--keep", "both.series", "--keep", "both.feeler"
    )
    assert outcome.code == 0
    assert "[b]poor" in outcome.out
    assert "22k" in outcome.out
    assert "missing: motor: 2 of one sort are needed, and the drawer lists none under motors" in outcome.out


def test_what_parts_cost_and_that_no_choice_is_without_a_fault_is_told() -> None:
    drawer = """\
photodrome: drawer 1
name: priced
resistors: [{ code: 100k, count: 2, price: 0.05 EUR }]
capacitors: [{ value: 1 uF, count: 2UNPRICED }]
"""
    pick = ("pick", "poppy", "-p", "./mine.yaml", "--keep", "both.series", "--keep", "both.feeler", *FEW[2:6])
    for price, told in (
        (", price: 0.10 EUR", "0.30 EUR\n"),
        ("", "0.10 EUR, without 1 part that has no price"),
    ):
        Path("mine.yaml").write_text(drawer.replace("UNPRICED", price), encoding="utf-8")
        outcome = photodrome(*pick)
        assert (outcome.code, outcome.err) == (0, "")
        assert f"all together: {told}" in outcome.out
        assert "no choice out of this drawer is without a fault at all of these lights" in outcome.out


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (("poppy",), "--drawer"),
        (("poppy", "-p", "poting-shed"), "nearest: potting-shed"),
        (("poppy", "-p", "poppy"), "poppy is a design"),
        (("potting-shed", "-p", "potting-shed"), "potting-shed is a drawer"),
        (("poppy", "-p", "potting-shed", "--from", "3klx", "--to", "1klx"), "the dimmer one comes first"),
        (("poppy", "-p", "potting-shed", "--keep", "latch"), "one of both.latch"),
        (("poppy", "-p", "potting-shed", "--out", "a.yaml", "--parts", "a.yaml"), "cannot be both"),
    ],
)
def test_what_cannot_be_is_refused(arguments: tuple[str, ...], part: str) -> None:
    assert part in refusal("pick", *arguments)


def test_a_drawer_is_not_written_over() -> None:
    Path("mine.yaml").write_text(
        "photodrome: drawer 1\nname: mine\nresistors:\n  - { code: 22k, count: 4 }\n", encoding="utf-8"
    )
    assert "is an input" in refusal("pick", "poppy", "-p", "./mine.yaml", "--out", "mine.yaml")
