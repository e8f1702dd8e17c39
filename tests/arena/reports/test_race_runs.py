"""The run that is told of each entry: the last, and of several in a round the one in which it did worst."""

from pathlib import Path

import pytest

from arena.races.entries import read_entries
from arena.races.race_plan import parse_race
from arena.races.race_setup import prepare_race
from arena.races.racing import race_all
from arena.reports.race_page import race_page
from arena.reports.race_runs import shown_runs
from tests.helpers.classes import write_class

HEAD = "photodrome: race 1\nname: trip\nrounds: 1\n"
ONE = "courses: [{arena: sprint-to-the-lamp, lasts: 900 s}]\n"
TWO = (
    "courses:\n  - {arena: sprint-to-the-lamp, lasts: 900 s}\n"
    "  - {arena: sun-patches, by: most light, lasts: 300 s}\n"
)


@pytest.mark.parametrize(
    "plan",
    [
        ONE,
        f"format: relay\n{TWO}",
        f"format: pairs\n{ONE}",
        f"format: heats and final\nfinalists: 2\nfinal_rounds: 1\n{ONE}",
    ],
)
def test_everybody_is_accounted_for_where_it_did_worst(tmp_path: Path, plan: str) -> None:
    write_class(tmp_path / "class", 4)
    setup = prepare_race(parse_race(HEAD + plan, "plan", tmp_path), read_entries([str(tmp_path / "class")]))
    results = race_all(setup, tmp_path / "out", 1, replays="all")
    runs = shown_runs(setup, results, 0, 1, lambda _share: None)
    assert sorted(runs) == [0, 1, 2, 3]
    for entry, run in runs.items():
        assert run.finish in run.round.heats[run.heat].finishes
        assert run.finish.entry == entry
        last = max(one.number for one, _, finish in results.finishes_of(entry) if finish.entry == entry)
        assert run.round.number == last
        there = [
            finish.place / len(heat.finishes)
            for heat in run.round.heats
            for finish in heat.finishes
            if finish.entry == entry
        ]
        assert run.finish.place / len(run.round.heats[run.heat].finishes) == max(there)
        assert run.account is not None
        assert run.account.outcome.place == run.finish.place
        assert run.account.name == results.entries[entry].name
        assert run.as_dict()["sentences"] == list(run.account.sentences)
    page = race_page(setup, results, 0, 1, None, runs)
    assert all(run.account is not None and run.account.sentences[0][:20] in page for run in runs.values())
    arenas = {results.courses[run.course].arena for run in runs.values()}
    if len(setup.terms.courses) > 1:
        assert all(f"on {arena}, from start place" in page for arena in arenas)
