"""Accounts of heats: what is told of a change comes true in the same heat, whatever decides on the course."""

from dataclasses import replace
from pathlib import Path

import pytest

from agents.design.changing import change_design, design_text
from arena.races.entries import read_entries
from arena.races.heat_accounts import accounts_of_heat, accounts_of_round
from arena.races.heat_running import HeatTerms, run_heat, with_entry
from arena.races.race_plan import race_on
from arena.races.race_setup import RaceSetup, prepare_race
from arena.races.racing import race_all
from arena.races.results import ARRIVAL, LIGHT, MOVING
from tests.helpers.classes import write_class
from tests.helpers.commands import photodrome


@pytest.fixture
def setup(tmp_path: Path) -> RaceSetup:
    write_class(tmp_path / "class", 5)
    return prepare_race(race_on("sprint").changed(rounds=1), read_entries([str(tmp_path / "class")]))


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


def test_a_round_is_accounted_for_as_it_was_run(setup: RaceSetup, tmp_path: Path) -> None:
    results = race_all(setup, tmp_path / "out")
    told = accounts_of_round(setup, results.rounds, tries=0)
    finishes = [
        (heat, one.entry, one.place)
        for heat, run in enumerate(results.rounds[-1].heats)
        for one in run.finishes
    ]
    assert [(one.heat, one.entry, one.account.outcome.place) for one in told] == finishes
    assert {one.round for one in told} == {1}
    names = {entry.number: entry.name for entry in setup.entries}
    assert all(one.account.name == names[one.entry] for one in told)


def test_race_tells_why(tmp_path: Path) -> None:
    write_class(tmp_path / "class", 3)
    arguments = (str(tmp_path / "class"), "--rounds", "1", "--out", str(tmp_path / "out"), "--why", "--tries")
    answer = photodrome("race", *arguments, "0", "--json").json()
    assert len(answer["accounts"]) == 3
    table = " ".join(photodrome("race", *arguments, "0").out.split())
    for account in answer["accounts"]:
        assert all(" ".join(sentence.split()) in table for sentence in account["sentences"])
