"""Each shipped arena and the demo come to what is kept of them, with one thread and with two."""

import dataclasses
import re
from datetime import date
from pathlib import Path

import pytest

from agents.compiled import PLAIN
from agents.text.shipped import shipped_names
from tests.golden.keeping import TOLERANCE, Kept, accept, read_kept, what_moved, write_kept
from tests.golden.runs import ALIKE, DEMO, FIGURES, Outcome, contests, machine_kind, outcome

RUNS = dict(contests())
# As plain Python, a run takes hundreds of times as long.
SHORT = {"leaf-shade together"}

HOW = 'physics, or a library, changed: if that was meant, run python -m tests.golden --accept "why"'


def test_every_shipped_arena_is_among_what_is_kept() -> None:
    runs = {f"{arena} {how}" for arena in shipped_names("arena") for how in ("alone", "together")}
    assert read_kept().scores.keys() == runs | {DEMO, ALIKE}
    raced = {entrant.design.name for contest in RUNS.values() for entrant in contest.entrants}
    assert len(raced) == len(shipped_names("design"))
    for run, contest in RUNS.items():
        scores = read_kept().scores[run]
        assert scores.keys() == {entrant.design.name for entrant in contest.entrants}
        # nothing is kept of a run in which nothing happens
        assert sum(one["pulses"] or 0 for one in scores.values()) > 20, run


@pytest.mark.parametrize("run", RUNS)
def test_the_run_is_as_kept(run: str) -> None:
    if PLAIN and run not in SHORT:
        pytest.skip("takes too long without compilation")
    found = outcome(RUNS[run], threads=1)
    assert PLAIN or outcome(RUNS[run], threads=2) == found
    moved = what_moved(read_kept(), run, found, machine_kind())
    assert not moved, "\n".join([HOW, *moved])


@pytest.fixture(scope="module")
def still() -> Outcome:
    return outcome(RUNS["leaf-shade together"], threads=1)


def kept_of(found: Outcome, kind: str = "here") -> Kept:
    return Kept({kind: {"run": found.digest}}, {"run": found.scores})


def with_score(found: Outcome, design: str, **scores: float | None) -> Outcome:
    changed = {**found.scores, design: {**found.scores[design], **scores}}
    return dataclasses.replace(found, scores=changed, digest="0" * 32)


def test_a_motor_other_by_a_millionth_is_noticed() -> None:
    contest = RUNS["leaf-shade together"]
    poppy, *others = contest.entrants
    motor = poppy.design.left.motor.constant
    other = dataclasses.replace(
        poppy, design=poppy.design.with_values({"both.motor.constant": motor * 1.000_001})
    )
    found = outcome(dataclasses.replace(contest, entrants=(other, *others)), threads=1)
    moved = what_moved(kept_of(outcome(contest, threads=1)), "run", found, "here")
    assert moved
    assert moved[0] == "run: the run is not the same"


def test_what_moved_is_told_with_how_far(still: Outcome) -> None:
    pulses = still.scores["poppy"]["pulses"]
    assert isinstance(pulses, int)
    more = with_score(still, "poppy", pulses=2 * pulses, contacts=None)
    moved = what_moved(kept_of(still), "run", more, "here")
    assert moved[0] == "run: the run is not the same"
    assert f"run, poppy: pulses {pulses} -> {2 * pulses} (+100 %)" in moved
    assert re.fullmatch(r"run, poppy: contacts \d+ -> none", moved[1])
    assert len(moved) == 3
    # the same bits and other scores: the run stays, and what is said of it changed
    rescored = dataclasses.replace(more, digest=still.digest)
    assert "scored otherwise" in what_moved(kept_of(still), "run", rescored, "here")[0]
    bits = dataclasses.replace(still, digest="0" * 32)
    assert what_moved(kept_of(still), "run", bits, "here")[1:] == ["run: no score of it moved"]
    assert what_moved(kept_of(still), "run", still, "here") == []
    assert what_moved(kept_of(still), "another", still, "here") == ["another: nothing is kept of it"]


@pytest.mark.parametrize(("share", "told"), [(0.9 * TOLERANCE, 0), (1.1 * TOLERANCE, 1)])
def test_on_another_kind_of_machine_scores_are_compared_and_no_bits(
    still: Outcome, share: float, told: int
) -> None:
    turn = still.scores["poppy"]["median_turn_deg"]
    assert turn is not None
    assert turn > 1.0
    found = with_score(still, "poppy", median_turn_deg=turn * (1.0 + share))
    assert len(what_moved(kept_of(still, "elsewhere"), "run", found, "here")) == told


def test_a_change_that_is_accepted_is_kept_and_written_down(still: Outcome, tmp_path: Path) -> None:
    kept, changes = tmp_path / "kept.json", tmp_path / "changes.md"
    changes.write_text("| date | moved | why |\n|---|---|---|\n", encoding="utf-8")
    first = accept(None, {"run": still}, "here", "a first line", kept, changes)
    assert first == f"| {date.today()} | 1 runs are kept | a first line |\n"
    # what moved not at all is not written down, and another kind of machine is added
    assert accept(read_kept(kept), {"run": still}, "elsewhere", "nothing", kept, changes) == ""
    assert read_kept(kept).digests == {kind: {"run": still.digest} for kind in ("here", "elsewhere")}
    pulses = still.scores["poppy"]["pulses"]
    assert isinstance(pulses, int)
    more = with_score(still, "poppy", pulses=2 * pulses)
    found = {"run": more, "second": still}
    line = accept(read_kept(kept), found, "here", "a larger |\nmotor", kept, changes)
    assert line == (
        f"| {date.today()} | 2 of 2 runs, 1 scores; run, poppy: pulses {pulses} -> {2 * pulses} (+100 %); "
        "new: second | a larger / motor |\n"
    )
    assert changes.read_text(encoding="utf-8").endswith(first + line)
    again = read_kept(kept)
    # what another kind of machine made of it before, nobody can tell now
    assert again.digests == {"here": {"run": more.digest, "second": still.digest}}
    for run, one in found.items():
        assert what_moved(again, run, one, "here") == []
    assert "gone: second" in accept(again, {"run": more}, "here", "less", kept, changes)


def test_what_is_kept_is_read_as_it_was_written(still: Outcome, tmp_path: Path) -> None:
    write_kept(kept_of(still), tmp_path / "kept.json")
    again = read_kept(tmp_path / "kept.json")
    assert again.digests == {"here": {"run": still.digest}}
    for design, scores in still.scores.items():
        assert tuple(scores) == FIGURES
        for name, value in scores.items():
            assert again.scores["run"][design][name] == (
                value if value is None else pytest.approx(value, rel=1e-9)
            )
