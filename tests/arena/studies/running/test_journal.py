"""The journal keeps what is finished, tells what it is of, and belongs to one run at a time."""

import contextlib
import csv
import io
import math
import signal
import sqlite3
import subprocess
import sys
import zlib
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from agents.errors import InputError, OutputError, WorkError
from arena.studies.plans.study import Study, parse_study
from arena.studies.running.database import FILE
from arena.studies.running.journal import Journal
from arena.studies.running.results import columns, write_csv, write_npz
from arena.studies.trial_scores import SCORE_COLUMNS, TRIAL, UNITS
from tests.helpers.trial_rows import possible

PARTS = {"plan": "a", "arena shed": "b", "program": "c"}

# Keeps chunks in a journal until the process is killed.
BUSY = """
import sys
import zlib
from itertools import islice
from pathlib import Path
import numpy as np
from arena.studies.running.journal import Journal
from arena.studies.trial_scores import TRIAL
journal = Journal(Path(sys.argv[1]), {"plan": "a", "arena shed": "b", "program": "c"}, 25600, 256)
for number in range(50):
    rows = np.zeros(256, TRIAL)
    rows["trial"] = np.arange(256) + 256 * number
    journal.keep(number, rows, {number: "no room"})
    print(number, flush=True)
sys.stdin.read()
"""


def rows_of(number: int, count: int = 256, size: int = 256) -> np.ndarray:
    """Rows of a chunk with figures of all sorts."""
    rows = np.zeros(count, TRIAL)
    rows["trial"] = np.arange(count) + size * number
    for place, name in enumerate(SCORE_COLUMNS):
        rows[name] = np.sin(rows["trial"] + place) * 10.0**place
    rows["reach_s"][::3] = math.inf
    rows["light_gain"][::5] = math.nan
    return possible(rows)


def journal(folder: Path, trials: int = 600, restart: bool = False, **parts: str) -> Journal:
    return Journal(folder, PARTS | parts, trials, 256, restart)


def fill_up(one: Journal) -> None:
    for number in one.missing().tolist():
        one.keep(number, rows_of(number), {number: "no room"})


def test_what_is_kept_is_there_again(tmp_path: Path) -> None:
    with journal(tmp_path) as one:
        assert (one.kept, one.missing().tolist()) == (0, [0, 1, 2])
        one.keep(2, rows_of(2, 88), {7: "no room"})
        one.keep(0, rows_of(0), {7: "never mind", 1: "no arena"})
        assert (one.kept, one.missing().tolist()) == (344, [1])
    with journal(tmp_path) as one:
        assert (one.kept, one.missing().tolist()) == (344, [1])
        one.keep(1, rows_of(1), {})
        assert (one.kept, one.missing().tolist()) == (600, [])
        chunks = list(one.chunks())
        assert [len(rows) for rows in chunks] == [256, 256, 88]
        whole = np.concatenate([rows_of(0), rows_of(1), rows_of(2, 88)])
        assert np.concatenate(chunks).tobytes() == whole.tobytes()
        assert one.impossible() == {1: "no arena", 7: "no room"}
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_trials_of_something_else_are_never_mixed_in(tmp_path: Path) -> None:
    with journal(tmp_path) as one:
        one.keep(0, rows_of(0), {})
    with pytest.raises(InputError, match=r"differs in arena shed, program; .*--restart"):
        journal(tmp_path, program="d", **{"arena shed": "e"})
    with pytest.raises(InputError, match=r"another version of photodrome ran its trials \(photodrome .*--"):
        journal(tmp_path, program="d")
    with pytest.raises(InputError, match="differs in trials"):
        journal(tmp_path, trials=700)
    with pytest.raises(InputError, match="differs in design cress"):
        journal(tmp_path, **{"design cress": "f"})
    with journal(tmp_path) as one:
        assert one.kept == 256
    with journal(tmp_path, program="d", restart=True) as one:
        assert one.kept == 0
        assert one.impossible() == {}
    with journal(tmp_path, program="d") as one:
        assert one.kept == 0


def test_a_second_run_is_refused_at_once(tmp_path: Path) -> None:
    with journal(tmp_path) as one:
        for restart in (False, True):
            with pytest.raises(WorkError, match="another run is at work"):
                journal(tmp_path, restart=restart)
        one.keep(0, rows_of(0), {})
    with journal(tmp_path) as one:
        assert one.kept == 256


def test_a_killed_run_leaves_its_chunks_and_no_lock(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", BUSY, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "0\n"
        with pytest.raises(WorkError, match="another run is at work"):
            journal(tmp_path, trials=25600)
        while int(process.stdout.readline()) < 20:
            pass
        process.send_signal(signal.SIGKILL)
        process.wait(timeout=60)
    with journal(tmp_path, trials=25600) as one:
        kept = one.kept // 256
        assert 21 <= kept <= 50
        assert [rows["trial"][0] for rows in islice(one.chunks(), kept)] == list(range(0, 256 * kept, 256))
        assert list(one.impossible()) == list(range(kept))
        assert one.missing().tolist() == list(range(kept, 100))


def test_a_full_disk_is_told_and_what_is_kept_stays(tmp_path: Path) -> None:
    """The database is not let grow beyond some pages, as a disk would not."""
    with journal(tmp_path, trials=25600) as one:
        one._database.execute("PRAGMA max_page_count = 60")
        with pytest.raises(OutputError, match=r"full\); [\d,]+ of 25,600 trials are kept, .* goes on"):
            fill_up(one)
        full = one.kept
        assert 0 < full < 60 * 4096 / TRIAL.itemsize
    with journal(tmp_path, trials=25600) as one:
        assert one.kept == full
        assert len(one.impossible()) == full // 256
        fill_up(one)
        assert sum(len(rows) for rows in one.chunks()) == 25600


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="no limit to the size of files here")
def test_a_write_that_fails_is_told_and_what_is_kept_stays(tmp_path: Path) -> None:
    """The system itself refuses to let the file grow beyond 300 kB."""
    script = BUSY.replace("journal = ", "import resource, signal\njournal = ").replace(
        "for number",
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))\nfor number",
        1,
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(tmp_path)], capture_output=True, text=True, timeout=60, input=""
    )
    assert "agents.errors.OutputError" in done.stderr
    assert "cannot be written" in done.stderr
    told = len(done.stdout.split())
    with journal(tmp_path, trials=25600) as one:
        assert one.kept == 256 * told > 0


def test_a_damaged_journal_is_told(tmp_path: Path) -> None:
    with journal(tmp_path) as one:
        for number, count in ((0, 256), (1, 256), (2, 88)):
            one.keep(number, rows_of(number, count), {})
    whole = (tmp_path / FILE).read_bytes()
    place = whole.rindex(rows_of(1).tobytes()[:200])
    for content, told in (
        (whole[: len(whole) // 2], "damaged"),
        (b"leaf mould" * 500, "not a database"),
        (whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :], "the trials from 256 to 511"),
    ):
        (tmp_path / FILE).write_bytes(content)
        with pytest.raises(InputError, match=rf"{told}.*--restart"), journal(tmp_path) as one:
            list(one.chunks())
    (tmp_path / FILE).write_bytes(b"leaf mould" * 500)
    with journal(tmp_path, restart=True) as one:
        assert one.kept == 0


def test_a_table_whose_name_is_no_text_is_told_and_can_be_thrown_away(tmp_path: Path) -> None:
    with journal(tmp_path) as one:
        fill_up_whole(one)
    whole = (tmp_path / FILE).read_bytes()
    place = whole.index(b"CREATE TABLE chunks") + len("CREATE TABLE ")
    (tmp_path / FILE).write_bytes(whole[:place] + b"\xc4" * 6 + whole[place + 6 :])
    with pytest.raises(InputError, match=r"the journal is damaged \(.*--restart"):
        journal(tmp_path)
    with journal(tmp_path, restart=True) as one:
        assert one.kept == 0


def changed(folder: Path, *statements: str) -> None:
    """Have somebody do something to a journal."""
    with contextlib.closing(sqlite3.connect(folder / FILE)) as database:
        for statement in statements:
            database.execute(statement)
        database.commit()


@pytest.mark.parametrize("number", [0, 1, 2])
def test_a_journal_that_lacks_chunks_makes_no_table(tmp_path: Path, number: int) -> None:
    with journal(tmp_path) as one:
        fill_up_whole(one)
        one.check_complete()
        # as nobody else can while it is open
        one._database.execute("DELETE FROM chunks WHERE number = ?", (number,))
        first, last = 256 * number, min(256 * number + 255, 599)
        with pytest.raises(InputError, match=rf"it lacks the trials from {first} to {last}\).*--restart"):
            one.check_complete()
        with pytest.raises(InputError, match="it lacks"):
            write_npz(tmp_path / "trials.npz", varied(repeats=75), one.chunks)
    assert not (tmp_path / "trials.npz").exists()
    with journal(tmp_path) as one:
        assert one.missing().tolist() == [number]


def fill_up_whole(one: Journal) -> None:
    for number, count in ((0, 256), (1, 256), (2, 88)):
        one.keep(number, rows_of(number, count), {})


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE chunks SET number = -1 WHERE number = 1", "chunk '-1'"),
        ("UPDATE chunks SET number = 9 WHERE number = 1", "chunk '9'"),
        ("UPDATE chunks SET crc = 'text' WHERE number = 1", "the trials from 256 to 511 are damaged"),
        ("UPDATE chunks SET rows = 'text' WHERE number = 1", "the trials from 256 to 511 are damaged"),
        (
            "UPDATE chunks SET rows = zeroblob(2000) WHERE number = 1",
            "the trials from 256 to 511 are damaged",
        ),
        ("UPDATE chunks SET rows = zeroblob(17000000) WHERE number = 1", "too big"),
        ("ALTER TABLE chunks ADD COLUMN colour TEXT", "its tables are not those"),
        ("DROP TABLE impossible", "its tables are not those"),
        ("CREATE TRIGGER t AFTER INSERT ON files BEGIN DELETE FROM chunks; END", "its tables are not those"),
        ("CREATE VIEW v AS SELECT 1", "its tables are not those"),
    ],
)
def test_what_somebody_has_done_to_a_journal_is_told(tmp_path: Path, statement: str, told: str) -> None:
    with journal(tmp_path) as one:
        fill_up_whole(one)
    changed(tmp_path, statement)
    with pytest.raises(InputError, match=rf"{told}.*--restart"), journal(tmp_path) as one:
        one.check_complete()
    with journal(tmp_path, restart=True) as one:
        assert one.kept == 0
        fill_up_whole(one)
    with journal(tmp_path) as one:
        one.check_complete()


def test_the_number_of_a_chunk_as_text_is_told(tmp_path: Path) -> None:
    """As only another table can have it."""
    with journal(tmp_path) as one:
        fill_up_whole(one)
    changed(
        tmp_path,
        "ALTER TABLE chunks RENAME TO others",
        "CREATE TABLE chunks (number TEXT PRIMARY KEY, crc INTEGER NOT NULL, rows BLOB NOT NULL)",
        "INSERT INTO chunks SELECT * FROM others",
        "DROP TABLE others",
    )
    with pytest.raises(InputError, match=r"the journal is damaged \(its tables are not those"):
        journal(tmp_path)


def test_rows_of_other_trials_are_told(tmp_path: Path) -> None:
    with journal(tmp_path) as one:
        one.keep(0, rows_of(1), {})
        with pytest.raises(InputError, match="the trials from 0 to 255 are damaged"):
            one.check_complete()


def test_of_a_journal_that_cannot_be_written_nothing_untrue_is_said(tmp_path: Path) -> None:
    """How many there are is not known before it is read, and they are not lost."""
    with journal(tmp_path) as one:
        fill_up_whole(one)
    real = sqlite3.connect

    def read_only(path: Path, **how: Any) -> sqlite3.Connection:
        return real(f"{path.absolute().as_uri()}?mode=ro", uri=True, **how)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sqlite3, "connect", read_only)
        with pytest.raises(OutputError) as caught:
            journal(tmp_path)
    assert "cannot be written (" in str(caught.value)
    assert "the trials in it stay as they are, and the same command goes on from there" in str(caught.value)
    assert "0 of" not in str(caught.value)


def test_a_database_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / FILE)
    other.execute("CREATE TABLE pots (size)")
    other.close()
    before = (tmp_path / FILE).read_bytes()
    for restart in (False, True):
        with pytest.raises(InputError, match="no journal of photodrome"):
            journal(tmp_path, restart=restart)
    assert (tmp_path / FILE).read_bytes() == before


def test_a_journal_of_another_form_is_told(tmp_path: Path) -> None:
    with journal(tmp_path):
        pass
    other = sqlite3.connect(tmp_path / FILE)
    other.execute("PRAGMA user_version = 9")
    other.close()
    with pytest.raises(InputError, match="another version of photodrome wrote this journal, a newer one"):
        journal(tmp_path)
    with journal(tmp_path, restart=True) as one:
        assert one.kept == 0


def test_a_journal_of_the_first_version_is_read(tmp_path: Path) -> None:
    """Word for word as photodrome 0.1.0 made it, which did not say who wrote it."""
    content = rows_of(0).tobytes()
    with contextlib.closing(sqlite3.connect(tmp_path / FILE)) as database:
        database.executescript(
            "CREATE TABLE identity (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;\n"
            "CREATE TABLE chunks (number INTEGER PRIMARY KEY, crc INTEGER NOT NULL, rows BLOB NOT NULL);\n"
            "CREATE TABLE impossible (setting INTEGER PRIMARY KEY, reason TEXT NOT NULL);\n"
            "CREATE TABLE files (name TEXT, digest TEXT, PRIMARY KEY (name, digest)) WITHOUT ROWID;\n"
            "PRAGMA application_id = 1886676074; PRAGMA user_version = 2;"
        )
        identity = {**PARTS, "trials": "600", "trials to a chunk": "256"}
        database.executemany("INSERT INTO identity VALUES (?, ?)", identity.items())
        database.execute("INSERT INTO chunks VALUES (0, ?, ?)", (zlib.crc32(content), content))
        database.commit()
    with journal(tmp_path) as one:
        assert (one.kept, one.missing().tolist()) == (256, [1, 2])
        assert next(one.chunks()).tobytes() == content


def test_a_place_where_nothing_can_be_written(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        journal(tmp_path / "nowhere")


def varied(**changes: Any) -> Study:
    """Two arenas, a number that can be left out, a word, and a list of points; three repeats."""
    plan = {
        "photodrome": "study 1",
        "name": "all sorts",
        "arenas": ["slalom", "open-bench"],
        "designs": ["poppy"],
        "vary": {
            "design.both.feeler": ["10k", "none"],
            "design.panel.response": ["crystalline-silicon", "flat"],
        },
        "repeats": 3,
        "seed": 9,
    }
    return parse_study(yaml.safe_dump(plan | changes, sort_keys=False))


def test_the_table_as_csv_reads_back_exactly(tmp_path: Path) -> None:
    """By Python's reader of RFC 4180 files, field by field; lines end in CR LF as that document says."""
    study = varied()
    rows = rows_of(0, 24)
    write_csv(tmp_path / "trials.csv", study, lambda: [rows[:10], rows[10:]])
    content = (tmp_path / "trials.csv").read_bytes()
    assert content.count(b"\r\n") == content.count(b"\n") == 25
    table = list(csv.DictReader(io.StringIO(content.decode(), newline="")))
    units = {name: f" [{unit}]" for name, unit in UNITS.items()}
    assert units["reach_s"] == " [s]"
    factors = ["arena", "design.both.feeler [ohm]", "design.panel.response"]
    scores = [name + units.get(name, "") for name in SCORE_COLUMNS]
    assert list(table[0]) == ["trial", "setting", "repeat", "seed", *factors, *scores]
    assert len(table) == 24
    for trial, (line, row) in enumerate(zip(table, rows, strict=True)):
        setting, repeat = divmod(trial, 3)
        keys = [line[name] for name in ("trial", "setting", "repeat", "seed")]
        assert keys == [str(trial), str(setting), str(repeat), "9"]
        values = study.factor_values(study.setting(setting))
        assert line["arena"] == values[0]
        assert line["design.both.feeler [ohm]"] == ("none" if values[1] is None else "10000")
        assert line["design.panel.response"] == values[2]
        for heading, name in zip(scores, SCORE_COLUMNS, strict=True):
            text = line[heading]
            assert text == "" if math.isnan(row[name]) else float(text) == row[name]


def test_the_table_as_arrays_reads_back_exactly(tmp_path: Path) -> None:
    study = varied()
    rows = rows_of(0, 24)
    write_npz(tmp_path / "trials.npz", study, lambda: [rows[:10], rows[10:]])
    settings = [study.factor_values(study.setting(number)) for number in range(8)]
    with np.load(tmp_path / "trials.npz") as table:
        factors = ["arena", "design.both.feeler", "design.panel.response"]
        assert table.files == ["trial", "setting", "repeat", "seed", *factors, *SCORE_COLUMNS]
        assert table["trial"].tolist() == list(range(24))
        assert table["setting"].tolist() == [trial // 3 for trial in range(24)]
        assert table["repeat"].tolist() == [trial % 3 for trial in range(24)]
        assert table["seed"].tolist() == [9] * 24
        assert table["arena"].tolist() == [values[0] for values in settings for _ in range(3)]
        feelers = [math.nan if values[1] is None else values[1] for values in settings for _ in range(3)]
        assert np.array_equal(table["design.both.feeler"], feelers, equal_nan=True)
        assert table["design.panel.response"].tolist() == [values[2] for values in settings for _ in range(3)]
        for name in SCORE_COLUMNS:
            assert table[name].tobytes() == rows[name].tobytes()


def test_tables_are_the_same_whatever_the_chunks_and_the_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = varied()
    rows = rows_of(0, 24)
    found = []
    for cut, room in ((1, 64_000_000), (7, 400), (24, 1)):
        monkeypatch.setattr("arena.studies.running.results._PASS", room)
        pieces = [rows[first : first + cut] for first in range(0, 24, cut)]
        for write, name in ((write_csv, "a.csv"), (write_npz, "a.npz")):
            write(tmp_path / name, study, lambda pieces=pieces: pieces)
        found.append([(tmp_path / name).read_bytes() for name in ("a.csv", "a.npz")])
    assert found[0] == found[1] == found[2]


def test_columns_are_laid_out_by_setting_and_repeat() -> None:
    study = varied()
    rows = rows_of(0, 24)
    found = columns(study, [rows[:10], rows[10:]], ["pulses", "walk_s"])
    assert list(found) == ["pulses", "walk_s"]
    assert found["pulses"].shape == (8, 3)
    assert found["walk_s"][5, 2] == rows["walk_s"][17]
    assert found["pulses"][0, 1] == rows["pulses"][1]
