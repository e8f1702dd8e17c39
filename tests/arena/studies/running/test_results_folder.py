"""Folders of results: what is not ours is neither written over nor removed, inside them or elsewhere."""

import contextlib
import hashlib
import json
import os
import shutil
import signal
import sqlite3
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from arena.studies.running.database import FILE
from tests.helpers.commands import finished, listing, photodrome, program
from tests.helpers.plans import with_vary

# A storage so much smaller than poppy's fires so much more often that a search has a winner in 20 s.
SHORT = "repeats: 3\nlasts: 20 s\nscores: [pulses]\n"
MINE = "mine\n"

# What has to be said to the folder that a command is to fill.
SWEEP = ("sweep", "plan.yaml", "--no-plots", "-o", "out")
TUNE = ("tune", "plan.yaml", "--budget", "60", "-o", "out")

DATABASE = "arena.studies.running.database.Database"

SWEEP_FILES = [FILE, "settings.csv", "trials.csv", "trials.npz"]
TUNE_FILES = ["finalists.csv", FILE, "rounds.csv", "rounds.png", "winner.yaml"]


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    plan()
    Path("elsewhere").mkdir()


def plan(*vary: str, more: str = SHORT) -> None:
    text = with_vary(*(vary or ("design.storage.capacitance: 10 uF, 22 uF",)), more=more)
    Path("plan.yaml").write_text(text, encoding="utf-8")


def names(folder: str = "out") -> list[str]:
    return sorted(path.name for path in Path(folder).iterdir())


def done(*arguments: str) -> None:
    outcome = photodrome(*arguments)
    assert (outcome.code, outcome.err) == (0, "")


def refused(*arguments: str, code: int = 2) -> str:
    """What a command says that must fail and change no file; it may have said before what it is to run."""
    before = listing()
    outcome = photodrome(*arguments)
    assert outcome.code == code
    assert outcome.err.strip()
    assert listing() == before
    return outcome.err


def one_line(said: str) -> str:
    """What a refusal says, which has to be a single line that tells what to do."""
    assert said.count("\n") == 1
    assert "--folder" in said
    return said


@pytest.mark.parametrize("command", [SWEEP, TUNE], ids=["sweep", "tune"])
@pytest.mark.parametrize(
    "name",
    ["settings.csv", "trials.csv", "trials.npz", "winner.yaml", "rounds.csv", "notes.txt", "sub/a.txt"],
)
def test_a_folder_of_somebody_else_is_refused(command: tuple[str, ...], name: str) -> None:
    Path("out", name).parent.mkdir(parents=True)
    Path("out", name).write_text(MINE)
    said = one_line(refused(*command))
    assert "is not empty and holds no results of this plan" in said
    assert f"found {name.split('/')[0]}" in said
    assert Path("out", name).read_text() == MINE


def test_the_folder_that_one_stands_in_is_refused_with_what_was_found() -> None:
    Path("settings.csv").write_text(MINE)
    said = one_line(refused("sweep", "feeler-escape", "-o", "."))
    assert "found elsewhere, plan.yaml, settings.csv" in said
    for number in range(9):
        Path(f"pot {number}").write_text(MINE)
    assert "and 9 more" in refused("sweep", "feeler-escape", "-o", ".")


@pytest.mark.parametrize(("command", "files"), [(SWEEP, SWEEP_FILES), (TUNE, TUNE_FILES)])
def test_what_systems_leave_in_folders_stops_nobody(command: tuple[str, ...], files: list[str]) -> None:
    Path("out").mkdir()
    for name in (".DS_Store", "Thumbs.db", "desktop.ini", ".mine.part"):
        Path("out", name).write_text(MINE)
    for _ in range(2):
        done(*command)
        assert names() == sorted([*files, ".DS_Store", "Thumbs.db", "desktop.ini", ".mine.part"])
        assert Path("out/.DS_Store").read_text() == MINE


@pytest.mark.parametrize("command", [SWEEP, TUNE], ids=["sweep", "tune"])
def test_own_files_beside_results_stay_and_stop_nobody(command: tuple[str, ...]) -> None:
    done(*command)
    Path("out/notes.txt").write_text(MINE)
    Path("out/pots").mkdir()
    done(*command)
    assert Path("out/notes.txt").read_text() == MINE
    assert Path("out/pots").is_dir()


def put_text(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.write_text(MINE)


def put_link(path: Path) -> None:
    path.unlink(missing_ok=True)
    Path("elsewhere/file").write_text(MINE)
    path.symlink_to(Path("elsewhere/file").absolute())


def put_link_to_itself_elsewhere(path: Path) -> None:
    """A link to the very file that was written, moved away."""
    if path.exists():
        path.rename("elsewhere/file")
    else:
        Path("elsewhere/file").write_text(MINE)
    path.symlink_to(Path("elsewhere/file").absolute())


def put_dangling_link(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.symlink_to(Path("elsewhere/nothing").absolute())


def put_folder(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.mkdir()


@pytest.mark.parametrize(
    "put", [put_text, put_link, put_link_to_itself_elsewhere, put_dangling_link, put_folder]
)
@pytest.mark.parametrize(
    ("command", "name"),
    [
        (SWEEP, "settings.csv"),
        (SWEEP, "trials.csv"),
        (SWEEP, "trials.npz"),
        ((*SWEEP, "--restart"), "settings.csv"),
        ((*SWEEP, "--restart"), "trials.npz"),
        (("sweep", "plan.yaml", "-o", "out"), "pulses-by-storage-capacitance.png"),
        (TUNE, "winner.yaml"),
        ((*TUNE, "--restart"), "winner.yaml"),
        (TUNE, "finalists.csv"),
        (TUNE, "rounds.png"),
    ],
)
def test_what_took_the_place_of_a_result_is_not_written_over(
    command: tuple[str, ...], name: str, put: Callable[[Path], None]
) -> None:
    done(*(one for one in command if one != "--restart"))
    put(Path("out", name))
    elsewhere, links = listing(Path("elsewhere")), Path("out", name).is_symlink()
    said = one_line(refused(*command))
    assert f"{name} would be written over" in said
    assert listing(Path("elsewhere")) == elsewhere
    assert Path("out", name).is_symlink() == links
    # moved away, all goes on
    Path("out", name).rename("away")
    done(*command)
    assert Path("out", name).is_file()
    assert not Path("out", name).is_symlink()
    assert listing(Path("elsewhere")) == elsewhere


def test_pictures_that_are_not_to_be_drawn_are_in_nobodys_way() -> None:
    done(*SWEEP)
    Path("out/pulses-by-storage-capacitance.png").write_text(MINE)
    done(*SWEEP)
    assert Path("out/pulses-by-storage-capacitance.png").read_text() == MINE


@pytest.mark.parametrize("ending", ["", "-wal", "-shm", "-journal"])
@pytest.mark.parametrize("is_link", [True, False])
def test_a_journal_that_leads_elsewhere_is_refused(ending: str, is_link: bool) -> None:
    done(*SWEEP)
    path, target = Path("out", FILE + ending), Path("elsewhere/file")
    if path.exists():
        path.rename(target)
    else:
        target.write_text(MINE)
    path.symlink_to(target.absolute()) if is_link else path.hardlink_to(target)
    for more in ((), ("--restart",)):
        said = one_line(refused(*SWEEP, *more))
        assert ("is a link" if is_link else "has 2 names (hard links)") in said


def test_a_dangling_link_in_place_of_a_journal_makes_no_file_elsewhere() -> None:
    Path("out").mkdir()
    Path("out", FILE).symlink_to(Path("elsewhere/new").absolute())
    assert "is a link" in one_line(refused(*SWEEP))
    assert not any(Path("elsewhere").iterdir())
    Path("out", FILE).unlink()
    Path("out/manifest.json").symlink_to(Path("elsewhere/new").absolute())
    assert "is a link" in one_line(refused(*TUNE))
    assert not any(Path("elsewhere").iterdir())


@pytest.mark.parametrize(("command", "files"), [(SWEEP, SWEEP_FILES), (TUNE, TUNE_FILES)])
def test_a_folder_that_is_a_link_is_the_folder_it_leads_to(
    command: tuple[str, ...], files: list[str]
) -> None:
    Path("out").symlink_to("elsewhere")
    for _ in range(2):
        done(*command)
        assert names("elsewhere") == files
    assert Path("out").is_symlink()
    Path("out").unlink()
    Path("out").symlink_to("nowhere")
    said = refused(*command, code=1)
    assert "no folder can be made there" in said
    assert not Path("nowhere").exists()


def test_a_link_put_there_while_a_sweep_runs_is_not_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    from arena.studies.running import sweeping

    run_chunk = sweeping.run_chunk

    def put(*arguments: object) -> object:
        put_link(Path("out/trials.csv"))
        return run_chunk(*arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(sweeping, "run_chunk", put)
    outcome = photodrome(*SWEEP)
    assert outcome.code == 1
    assert "trials.csv would be written over" in outcome.err
    assert "all trials are kept" in outcome.err
    assert Path("elsewhere/file").read_text() == MINE
    assert names() == [FILE, "trials.csv"]
    Path("out/trials.csv").unlink()
    done(*SWEEP)
    assert names() == SWEEP_FILES


def test_a_sweep_begun_anew_replaces_its_own_files_only() -> None:
    done(*SWEEP[:2], "-o", "out")
    before = listing(Path("out"))
    done(*SWEEP[:2], "-o", "out", "--restart")
    after = listing(Path("out"))
    assert {**before, f"out/{FILE}": b""} == {**after, f"out/{FILE}": b""}
    plan("design.storage.capacitance: 10 uF, 33 uF")
    said = one_line(refused(*SWEEP))
    assert "differs in plan" in said
    done(*SWEEP, "--restart")
    assert b",3.3e-05," in Path("out/trials.csv").read_bytes()


def test_a_foreign_file_stops_a_sweep_before_its_trials_are_thrown_away() -> None:
    done(*SWEEP)
    Path("out/settings.csv").write_text(MINE)
    refused(*SWEEP, "--restart")
    Path("out/settings.csv").unlink()
    answer = photodrome(*SWEEP, "--json").json()
    assert answer["trials_kept_from_before"] == answer["trials"] == 6


def test_a_journal_without_tables_is_no_leave_to_write_over_files() -> None:
    """An empty file is what a run leaves that is killed at once; then there is nothing else."""
    Path("out").mkdir()
    Path("out", FILE).write_bytes(b"")
    Path("out/trials.csv").write_text(MINE)
    assert "found trials.csv" in one_line(refused(*SWEEP))
    Path("out/trials.csv").unlink()
    done(*SWEEP)
    assert names() == SWEEP_FILES


def test_files_beside_the_database_of_another_program_are_left_alone() -> None:
    Path("out").mkdir()
    with sqlite3.connect(Path("out", FILE)) as other:
        other.execute("PRAGMA application_id = 5")
    other.close()
    for more in ((), ("--restart",)):
        assert "no journal of photodrome" in one_line(refused(*SWEEP, *more))
    Path("out", FILE).rename("out/journal.sqlite-wal")
    assert "found journal.sqlite-wal" in one_line(refused(*SWEEP))


def test_what_is_no_database_is_put_aside_and_not_thrown_away() -> None:
    done(*SWEEP)
    Path("out", FILE).write_text(MINE * 500)
    assert "the journal is damaged" in one_line(refused(*SWEEP))
    # nothing tells any more whether the tables are ours
    assert "would be written over" in one_line(refused(*SWEEP, "--restart"))
    for name in SWEEP_FILES[1:]:
        Path("out", name).unlink()
    done(*SWEEP, "--restart")
    assert Path("out", f"{FILE}.damaged").read_text() == MINE * 500


def test_a_damaged_journal_that_still_lists_its_files_is_begun_anew() -> None:
    done(*SWEEP)
    with sqlite3.connect(Path("out", FILE)) as database:
        (page,) = database.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'chunks'").fetchone()
        (size,) = database.execute("PRAGMA page_size").fetchone()
    database.close()
    content = bytearray(Path("out", FILE).read_bytes())
    content[(page - 1) * size : page * size] = b"\xff" * size
    Path("out", FILE).write_bytes(content)
    assert "the journal is damaged" in one_line(refused(*SWEEP))
    done(*SWEEP, "--restart")
    assert names() == SWEEP_FILES


def test_files_of_a_journal_from_before_they_were_listed_are_ours() -> None:
    done(*SWEEP)
    with sqlite3.connect(Path("out", FILE)) as database:
        database.execute("DROP TABLE files")
        database.execute("PRAGMA user_version = 1")
    database.close()
    assert "another version of photodrome" in one_line(refused(*SWEEP))
    done(*SWEEP, "--restart")
    assert names() == SWEEP_FILES
    # listed from now on
    Path("out/settings.csv").write_text(MINE)
    assert "settings.csv would be written over" in one_line(refused(*SWEEP))


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="everything can be written by this user")
def test_a_journal_that_may_not_be_written_is_told_and_stays() -> None:
    done(*SWEEP)
    Path("out", FILE).chmod(0o444)
    assert "cannot be written" in refused(*SWEEP, code=1)


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="no limit to the size of files here")
def test_a_disk_that_is_full_when_tables_are_written_leaves_those_of_before() -> None:
    """The system refuses to let any file grow beyond what the journal has."""
    done(*SWEEP)
    plan("design.both.latch: E24 1k..100k", more="repeats: 8\nlasts: 20 s\n")
    done(*SWEEP, "--restart")
    before = listing(Path("out"))
    limit = len(before["out/trials.csv"]) - 1000
    code = (
        "import resource, signal\nsignal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))"
    )
    # whoever counts the lines that run could not write the count either
    outcome = finished(*SWEEP, code=code, environment={"COVERAGE_PROCESS_CONFIG": None})
    assert outcome.code == 1
    assert f"{Path('out', 'trials.csv')}: cannot be written" in outcome.err
    assert "all trials are kept" in outcome.err
    assert {name: held for name, held in listing(Path("out")).items() if FILE not in name} == {
        name: held for name, held in before.items() if FILE not in name
    }
    assert [name for name in names() if FILE not in name] == SWEEP_FILES[1:]
    done(*SWEEP)


@pytest.mark.parametrize("moment", ["claim", "replace", "settle"])
@pytest.mark.parametrize(("command", "files"), [(SWEEP, SWEEP_FILES), (TUNE, TUNE_FILES)])
def test_whoever_kills_it_while_files_take_their_places_loses_nothing(
    command: tuple[str, ...], files: list[str], moment: str
) -> None:
    done(*command)
    before = listing(Path("out"))
    target = "pathlib.Path.replace" if moment == "replace" else f"{DATABASE}.{moment}"
    module, _, name = target.rpartition(".")
    code = (
        "import os, pathlib, signal, arena.studies.running.database\n"
        f"real = {target}\n"
        "def killed(self, *arguments):\n"
        "    result = real(self, *arguments)\n"
        "    if 'replace' != real.__name__ or '.results.' in str(self):\n"
        "        os.kill(os.getpid(), signal.SIGKILL)\n"
        "    return result\n"
        f"{module}.{name} = killed\n"
    )
    plan("design.storage.capacitance: 15 uF, 22 uF, 33 uF")
    with program(*command, "--restart", code=code) as process:
        process.communicate(timeout=120)
        assert process.returncode == -signal.SIGKILL
    left = listing(Path("out"))
    assert any(".results." in name for name in names())
    assert left != before
    done(*command)
    assert names() == files


def test_a_hidden_folder_of_somebody_else_is_left_alone() -> None:
    done(*SWEEP)
    Path("elsewhere/file").write_text(MINE)
    Path("out/.results.0123abcd.part").symlink_to(Path("elsewhere").absolute())
    Path("out/.trials.csv.0123abcd.part").symlink_to(Path("elsewhere/file").absolute())
    Path("out/.other.csv.0123abcd.part").write_text(MINE)
    done(*SWEEP)
    assert Path("elsewhere/file").read_text() == MINE
    assert Path("out/.results.0123abcd.part").is_symlink()
    assert Path("out/.trials.csv.0123abcd.part").is_symlink()
    assert Path("out/.other.csv.0123abcd.part").read_text() == MINE


def test_a_search_of_another_plan_is_not_written_over() -> None:
    done(*TUNE)
    plan("design.storage.capacitance: 10 uF, 33 uF")
    assert "holds trials of something else, for it differs in plan" in one_line(refused(*TUNE))
    assert "differs in plan, trials, trials to a chunk, kind" in one_line(refused(*SWEEP))
    done(*TUNE, "--restart")


def older(study: str = "a study", kind: str = "search 1") -> None:
    """Leave a folder as a search did that kept no journal: with a list of its files, by SHA-256."""
    files = {
        path.name: [hashlib.sha256(path.read_bytes()).hexdigest()]
        for path in Path("out").iterdir()
        if path.name != FILE
    }
    Path("out", FILE).unlink()
    Path("out/manifest.json").write_text(json.dumps({"photodrome": kind, "study": study, "files": files}))


def test_files_of_a_search_from_before_there_were_journals_are_ours() -> None:
    done(*TUNE)
    before = listing(Path("out"))
    older()
    done(*TUNE)
    assert names() == TUNE_FILES
    assert {**before, f"out/{FILE}": b""} == {**listing(Path("out")), f"out/{FILE}": b""}
    # as whoever is killed leaves it who has begun the journal and not yet removed the list
    files = Path("out", FILE).read_bytes()
    older()
    Path("out", FILE).write_bytes(files)
    done(*TUNE)
    assert names() == TUNE_FILES
    older()
    Path("out/winner.yaml").write_text(MINE)
    assert "winner.yaml would be written over" in one_line(refused(*TUNE))
    Path("out/manifest.json").write_text(
        json.dumps({"photodrome": "search 1", "study": "pots in the shade", "files": {}})
    )
    assert "holds the search of another plan, 'pots in the shade'" in one_line(refused(*TUNE))


@pytest.mark.parametrize(
    "content", ["", "[]", "{}", '{"photodrome": "search 1"}', '{"name": "pots"}', "\xff", "[" * 100_000]
)
def test_a_list_that_is_no_searchs_is_left_alone(content: str) -> None:
    Path("out").mkdir()
    Path("out/manifest.json").write_bytes(content.encode("latin-1"))
    assert "is no list of the files of a search" in one_line(refused(*TUNE))


@pytest.mark.parametrize("command", [SWEEP, TUNE], ids=["sweep", "tune"])
def test_the_journal_has_the_digests_that_other_programs_find(command: tuple[str, ...]) -> None:
    """By sha256sum of GNU coreutils, which has an implementation of its own."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum here")
    done(*command)
    with contextlib.closing(sqlite3.connect(Path("out", FILE))) as database:
        listed = database.execute("SELECT name, digest FROM files").fetchall()
    assert sorted([FILE, *(name for name, _ in listed)]) == names()
    sums = "".join(f"{digest}  {name}\n" for name, digest in listed)
    found = subprocess.run(
        ["sha256sum", "--check", "--strict"], input=sums, text=True, cwd="out", capture_output=True
    )
    assert (found.returncode, found.stdout.count(": OK")) == (0, len(listed))


def test_a_search_stopped_by_hand_leaves_what_was_there(monkeypatch: pytest.MonkeyPatch) -> None:
    from arena.studies.search import tuning as tune

    done(*TUNE)
    before = {**listing(Path("out")), f"out/{FILE}": b""}

    def stop(*_arguments: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(tune, "run_trials", stop)
    # every trial is there already
    done(*TUNE)
    outcome = photodrome(*TUNE, "--restart")
    assert outcome.code == 130
    assert "kept in out, and the same command goes on" in outcome.err
    assert {**listing(Path("out")), f"out/{FILE}": b""} == before
