"""Accounts of heats: what is told of a change comes true in the same heat, whatever decides on the course."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from agents.design.changing import change_design, design_text
from arena.races.entries import read_entries
from arena.races.heat_accounts import accounts_of_heat
from arena.races.heat_running import HeatTerms, run_heat, with_entry
from arena.races.race_plan import race_on
from arena.races.race_setup import RaceSetup, prepare_race
from arena.races.results import ARRIVAL, LIGHT, MOVING
from tests.helpers.classes import write_class
from tests.helpers.commands import photodrome


@pytest.fixture
def setup(tmp_path: Path) -> RaceSetup:
    write_class(tmp_path / "class", 5)
    plan = race_on("sprint").changed(rounds=1, format="together")
    return prepare_race(plan, read_entries([str(tmp_path / "class")]))


def heat_of(setup: RaceSetup, by: str, dims: tuple[float, ...] = (1.0,), seconds: float = 900.0) -> HeatTerms:
    """The first heat of a race, in which something else decides."""
    _, heats = setup.round_terms(0, [])
    terms = heats[0][1]
    return replace(terms, course=replace(terms.course, by=by, dims=dims, seconds=seconds))


@pytest.mark.parametrize(("by", "dims"), [(ARRIVAL, (1.0,)), (LIGHT, (1.0,)), (MOVING, (1.0, 0.04, 0.01))])
@pytest.mark.parametrize("alone", [False, True])
def test_the_change_does_in_the_same_heat_what_is_told_of_it(
    setup: RaceSetup, by: str, dims: tuple[float, ...], alone: bool
) -> None:
    if alone and by != LIGHT:
        return
    terms = replace(heat_of(setup, by, dims, 600.0 if len(dims) > 1 else 1200.0), alone=alone)
    # who starts where is drawn, so that the starters are not in the order of the entries
    assert [one.number for one, _ in terms.starters] != sorted(one.number for one, _ in terms.starters)
    run = run_heat(terms, keep=True)
    accounts = accounts_of_heat(terms, run, tries=5, threads=2)
    assert list(accounts) == [one.entry for one in run.finishes]
    assert [one.outcome.place for one in accounts.values()] == [one.place for one in run.finishes]
    assert any(one.change is not None for one in accounts.values())
    for number, account in accounts.items():
        assert sum(account.shares.values()) == pytest.approx(1.0)
        if account.change is None or account.gain is None:
            continue
        entry = next(one for one, _ in terms.starters if one.number == number)
        design = change_design(entry.design, account.change.values)
        changed = replace(entry, design=design, text=design_text(design))
        [finish] = [one for one in run_heat(with_entry(terms, changed)).finishes if one.entry == number]
        assert finish.place == account.gain.place
        assert account.gain.deed.merit > account.outcome.deed.merit
        if by == ARRIVAL:
            assert finish.time_s == account.gain.deed.reach_s


def test_race_tells_why_and_keeps_it(tmp_path: Path) -> None:
    write_class(tmp_path / "class", 3)
    out = tmp_path / "out"
    arguments = (str(tmp_path / "class"), "--rounds", "1", "--out", str(out), "--why", "--tries", "0")
    answer = photodrome("race", *arguments, "--json").json()
    assert [one["entry"] for one in answer["accounts"]] == [one["entry"] for one in answer["standings"]]
    assert "why.json" in answer["files"]
    kept = json.loads((out / "why.json").read_text(encoding="utf-8"))
    assert kept == {"tries": 0, "accounts": answer["accounts"]}
    table = " ".join(photodrome("race", *arguments).out.split())
    for account in answer["accounts"]:
        assert all(" ".join(sentence.split()) in table for sentence in account["sentences"])
    # a race that goes on is another one, and what was told of it is no more
    photodrome("race", *arguments[:1], "--rounds", "2", *arguments[3:5])
    assert not (out / "why.json").exists()
