"""A search that is stopped goes on where it was, with the same bytes, and so does one with more budget."""

import contextlib
import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from agents.errors import InputError
from arena.studies.plans.study import AS_IT_IS, Setting
from arena.studies.running.database import FILE
from arena.studies.running.search_journal import SearchJournal
from arena.studies.search import tuning
from arena.studies.trial_scores import SCORE_COLUMNS, TRIAL
from tests.helpers.commands import listing, photodrome
from tests.helpers.plans import with_vary
from tests.helpers.trial_rows import possible

PARTS = {"plan": "a", "program": "c"}
SHORT = "repeats: 3\nlasts: 20 s\nscores: [pulses]\n"
TUNE = ("tune", "plan.yaml", "--no-plots", "--budget", "300")
SETTINGS = [
    Setting(3, 0, 1, (1e3, None, "flat")),
    Setting(-1, 0, 1, (0.1 + 0.2, ((0.0, 1.0), (2.0, 3.0)), AS_IT_IS)),
]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    vary = "design.storage.capacitance: 10 uF, 15 uF, 22 uF, 33 uF", "arena.walls.1.height: 20 mm, 40 mm"
    Path("plan.yaml").write_text(with_vary(*vary, more=SHORT), encoding="utf-8")


def rows_of(settings: Sequence[Setting], repeats: Sequence[int]) -> np.ndarray:
    rows = np.zeros((len(settings), len(repeats)), TRIAL)
    for number, row in enumerate(rows):
        row["trial"] = repeats
        for place, name in enumerate(SCORE_COLUMNS):
            row[name] = np.sin(np.array(repeats) + place) * 10.0**number
        for place in range(len(row)):
            possible(row[place : place + 1])
    return rows


def test_rows_are_there_again_by_setting_and_repeat() -> None:
    Path("out").mkdir()
    with SearchJournal(Path("out"), "pots", PARTS) as one:
        one.keep(SETTINGS, [5, 2, 9], rows_of(SETTINGS, [5, 2, 9]))
        one.keep(SETTINGS[:1], [3], rows_of(SETTINGS[:1], [3]))
        assert one.kept == 7
    with SearchJournal(Path("out"), "another name", PARTS) as one:
        assert one.kept == 7
        found, is_there = one.rows(SETTINGS, [9, 3, 4, 2])
        assert is_there.tolist() == [[True, True, False, True], [True, False, False, True]]
        whole = rows_of(SETTINGS, [9, 3, 4, 2])
        assert found[is_there].tobytes() == whole[is_there].tobytes()
        # a number of its own decides nothing; the last digit of a value does
        others = [Setting(8, 0, 1, SETTINGS[0].values), Setting(-1, 0, 1, (0.3, *SETTINGS[1].values[1:]))]
        assert one.rows(others, [2])[1].tolist() == [[True], [False]]
    with pytest.raises(InputError, match="holds trials of something else, for it differs in plan"):
        SearchJournal(Path("out"), "pots", PARTS | {"plan": "b"})


@pytest.mark.parametrize(
    "change", ["row = x'00'", "crc = 5", "crc = 'many'", "row = 'text'", "row = zeroblob(9)"]
)
def test_a_damaged_row_is_told(change: str) -> None:
    Path("out").mkdir()
    with SearchJournal(Path("out"), "pots", PARTS) as one:
        one.keep(SETTINGS, [5, 2], rows_of(SETTINGS, [5, 2]))
    with contextlib.closing(sqlite3.connect(Path("out", FILE))) as database:
        database.execute(f"UPDATE trials SET {change} WHERE repeat = 2")
        database.commit()
    with SearchJournal(Path("out"), "pots", PARTS) as one:
        assert one.rows(SETTINGS, [5])[1].all()
        with pytest.raises(InputError, match=r"damaged \(repeat 2 of a setting\).*--restart"):
            one.rows(SETTINGS, [2])


def stopped_after(monkeypatch: pytest.MonkeyPatch, calls: int) -> list[int]:
    """Let a search be stopped as by Ctrl-C after so many calls of the engine; returns trials of each call."""
    real, ran = tuning.run_trials, []

    def run(study: Any, settings: Any, repeats: Any, threads: Any) -> Any:
        if len(ran) == calls:
            raise KeyboardInterrupt
        rows = real(study, settings, repeats, threads)
        ran.append(rows.size)
        return rows

    monkeypatch.setattr(tuning, "run_trials", run)
    return ran


def test_a_search_stopped_again_and_again_ends_with_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tuning, "_AT_ONCE", 25)
    assert photodrome(*TUNE, "-o", "whole", "--threads", "1").code == 0
    total = 0
    for calls in (1, 0, 2, 3, 1):
        with monkeypatch.context() as patch:
            ran = stopped_after(patch, calls)
            outcome = photodrome(*TUNE, "-o", "out", "--threads", "2")
        assert outcome.code == 130
        assert outcome.err.startswith("stopped; the trials that were through are kept in out, and the same")
        assert [path.name for path in Path("out").iterdir()] == [FILE]
        total += sum(ran)
    with monkeypatch.context() as patch:
        ran = stopped_after(patch, 10_000)
        assert photodrome(*TUNE, "-o", "out").code == 0
    whole = listing(Path("whole"))
    assert total > 100
    with contextlib.closing(sqlite3.connect(Path("whole", FILE))) as database:
        (all_trials,) = database.execute("SELECT count(*) FROM trials").fetchone()
    # nothing was run twice
    assert total + sum(ran) == all_trials
    left = {name.replace("whole", "out"): held for name, held in whole.items() if FILE not in name}
    assert {name: held for name, held in listing(Path("out")).items() if FILE not in name} == left
    # once more, and nothing is left to be done
    with monkeypatch.context() as patch:
        ran = stopped_after(patch, 0)
        assert photodrome(*TUNE, "-o", "out").code == 0


def test_a_larger_budget_begins_where_the_smaller_one_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    more = (*TUNE[:-1], "500")
    assert photodrome(*TUNE, "-o", "out").code == 0
    with monkeypatch.context() as patch:
        added = stopped_after(patch, 10_000)
        assert photodrome(*more, "-o", "out").code == 0
    with monkeypatch.context() as patch:
        ran = stopped_after(patch, 10_000)
        assert photodrome(*more, "-o", "whole").code == 0
    assert 0 < sum(added) < sum(ran)
    for name in ("finalists.csv", "rounds.csv"):
        assert Path("out", name).read_bytes() == Path("whole", name).read_bytes()
    with monkeypatch.context() as patch:
        again = stopped_after(patch, 10_000)
        assert photodrome(*more, "-o", "out", "--restart").code == 0
    assert sum(again) == sum(ran)
