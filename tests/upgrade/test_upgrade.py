"""What the oldest program wrote is still read, or refused with the version that reads it."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from agents.design.spec import read_design
from arena.scene.spec import read_arena
from arena.studies.plans.study import read_study
from arena.studies.running.database import FILE
from tests.helpers.commands import listing, photodrome, refusal

FIRST = Path(__file__).parent / "first"
REPLAY = Path(__file__).resolve().parents[1] / "replays" / "format" / "version_1.npz"
TABLES = ("settings.csv", "trials.csv", "trials.npz")

SWEEP = ("sweep", "./plan.yaml", "--no-plots", "--folder", "kept")


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for path in FIRST.glob("*.yaml"):
        shutil.copy(path, tmp_path)
    Path("kept").mkdir()
    for name in (FILE, "settings.csv"):
        shutil.copy(FIRST / name, "kept")


def test_files_of_the_first_program_mean_what_they_meant() -> None:
    design, arena = read_design("./poppy.yaml"), read_arena("./leaf-shade.yaml")
    assert (design.left.latch, design.storage.capacitance, design.body.track) == (10e3, 2200e-6, 0.042)
    assert len(design.spreads) == 2 * 8 + 2
    assert [lamp.place for lamp in arena.lamps] == [(1.8, 0.6)]
    assert (arena.shades[0].height, arena.ambient.illuminance, arena.lasts) == (0.25, 1500.0, 5400.0)
    study = read_study("./plan.yaml")
    assert (study.settings, study.repeats) == (2, 4)
    assert [study.factor_values(study.setting(number)) for number in range(2)] == [(4700.0,), (10e3,)]


def test_its_files_are_checked_and_run_today() -> None:
    checked = photodrome("check", "poppy.yaml", "leaf-shade.yaml", "plan.yaml")
    assert (checked.code, checked.err) == (0, "")
    raced = photodrome("run", "./leaf-shade.yaml", "-d", "./poppy.yaml", "--duration", "5 min", "--json")
    assert raced.code == 0
    assert raced.json()["designs"][0]["pulses"] > 20


def test_its_journal_is_refused_with_the_version_that_reads_it() -> None:
    with closing(sqlite3.connect(FIRST / FILE)) as database:
        assert database.execute("PRAGMA user_version").fetchone() == (1,)
        assert database.execute("SELECT length(rows) FROM chunks").fetchone()[0] > 0
    before = listing()
    told = photodrome(*SWEEP)
    assert told.code == 2
    line = " ".join(told.err.split())
    assert (
        "another version of photodrome wrote this journal, one from before 0.1.0, and that one reads it"
        in line
    )
    assert "--restart" in line
    assert listing() == before


def test_a_sweep_that_it_ran_is_begun_anew_in_its_own_folder() -> None:
    assert photodrome(*SWEEP, "--restart").code == 0
    assert sorted(path.name for path in Path("kept").iterdir()) == sorted((FILE, *TABLES))
    assert len(Path("kept", "trials.csv").read_text().splitlines()) == 1 + 8
    # a second call has nothing left to do, and leaves the same bytes
    before = listing(Path("kept"))
    assert photodrome(*SWEEP).code == 0
    after = listing(Path("kept"))
    assert [name for name in before if name.endswith(TABLES) and before[name] != after[name]] == []


def test_a_journal_of_another_program_names_that_program() -> None:
    assert photodrome(*SWEEP, "--restart").code == 0
    with closing(sqlite3.connect(Path("kept", FILE))) as database, database:
        database.execute("UPDATE identity SET value = 'another' WHERE key = 'program'")
        database.execute("UPDATE identity SET value = 'photodrome 0.0.9' WHERE key = 'written by'")
    before = listing()
    told = photodrome(*SWEEP)
    assert told.code == 2
    assert "another version of photodrome ran its trials (photodrome 0.0.9," in " ".join(told.err.split())
    assert {name: before[name] for name in before if not name.startswith(f"kept/{FILE}")} == {
        name: content for name, content in listing().items() if not name.startswith(f"kept/{FILE}")
    }


def test_commands_take_a_replay_of_version_1() -> None:
    shutil.copy(REPLAY, "old.npz")
    told = photodrome("score", "old.npz", "--json")
    assert told.code == 0
    assert [one["pulses"] for one in told.json()["designs"]] == [68, 52]
    assert photodrome("picture", "old.npz", "--out", "old.png").code == 0
    assert Path("old.png").stat().st_size > 10_000


def test_a_plan_of_a_later_program_is_refused() -> None:
    Path("plan.yaml").write_text(Path("plan.yaml").read_text().replace("study 1", "study 2"))
    assert "version 2, which a newer photodrome has written" in " ".join(
        refusal("check", "plan.yaml").split()
    )
