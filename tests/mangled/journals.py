"""Mangle journals and go on from them: ``python -m tests.mangled.journals --number 500``.

A sweep, a search and a batch of kits leave a journal each; it is mangled, by bytes or as a stranger would
with a database, and the same command is run again in the folder. Whatever the journal is, the command makes
the very results of an unbroken run, or tells what is wrong and exits with 2; rows that were forged, checksum
and all, may make other results, but none that is not a number. Time, memory and what is said are bound as for
replays (:mod:`tests.mangled.running`), and a file that is not the program's stays as it was. Cases are drawn
by seed and number, so that ``--only 17`` does one again.
"""

# ruff: noqa: T201 - printing is what it is for

import contextlib
import shutil
import sqlite3
import tempfile
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import numpy as np

from arena.studies.running.database import FILE, Database
from arena.studies.trial_scores import SCORE_COLUMNS, TRIAL
from tests.helpers.commands import listing
from tests.helpers.plans import with_vary
from tests.mangled.mangle_bytes import cut_short, drawn_way, flipped, spliced
from tests.mangled.mangle_replays import HOSTILE_NUMBERS
from tests.mangled.running import Outcome, Tally, case_options, numbers_of, run_apart

PLAN = with_vary(
    "design.storage.capacitance: 10 uF, 15 uF", more="repeats: 150\nlasts: 5 s\nscores: [pulses]\n"
)
MINE = b"somebody's own"

# By its name: the command, the folder of its journal, the table of its work and the column of its rows.
COMMANDS = {
    "sweep": (("sweep", "plan.yaml", "--no-plots", "--json", "-o", "out"), "out", "chunks", "rows"),
    "tune": (
        ("tune", "plan.yaml", "--no-plots", "--json", "--budget", "60", "-o", "out"),
        "out",
        "trials",
        "row",
    ),
    "kit": (
        ("kit", "poppy", "--copies", "20", "--light-count", "2", "--json", "-o", "a.csv"),
        "poppy.kit",
        "pieces",
        "rows",
    ),
}

TEXTS = (
    "",
    "out.csv",
    "../mine.txt",
    "\x1b[31m red",
    "\0",
    "x" * 100_000,
    "9" * 5000,
    "'; DROP TABLE chunks",
)
VALUES = (
    None,
    0,
    1,
    -1,
    2**31,
    2**63 - 1,
    -(2**63),
    0.5,
    1e308,
    -1e308,
    *TEXTS,
    b"",
    b"\0" * 40,
    b"\xff" * 99,
)
STATEMENTS = (
    "CREATE TRIGGER t AFTER INSERT ON files BEGIN DELETE FROM identity; END",
    "CREATE TRIGGER t AFTER INSERT ON {table} BEGIN SELECT load_extension('x'); END",
    "CREATE VIEW v AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n",
    "CREATE INDEX i ON {table} ({rows})",
    "CREATE TABLE others (x)",
    "CREATE TABLE [a\x1b[31mb] (x)",
    "ALTER TABLE {table} ADD COLUMN more TEXT",
    "ALTER TABLE {table} RENAME TO others",
    "DROP TABLE {table}",
    "DROP TABLE files",
    "DROP TABLE identity",
    "DELETE FROM {table}",
    "DELETE FROM identity",
    "DELETE FROM identity WHERE key = 'written by'",
    "DELETE FROM files",
    "INSERT INTO files VALUES ('../mine.txt', 'x'), ('/etc/passwd', 'x')",
    "INSERT INTO identity VALUES ('more', 'x')",
    "UPDATE identity SET value = value || ' '",
    "UPDATE {table} SET {rows} = zeroblob(17000000)",
    "UPDATE {table} SET {rows} = zeroblob(length({rows}))",
    "PRAGMA user_version = 1",
    "PRAGMA user_version = 3",
    "PRAGMA application_id = 7",
)

Draw = np.random.Generator


def _by_bytes(path: Path, _name: str, draw: Draw) -> None:
    way = (flipped, spliced, cut_short)[int(draw.integers(3))]
    path.write_bytes(way(path.read_bytes(), draw))


def _by_statement(path: Path, name: str, draw: Draw) -> None:
    _, _, table, rows = COMMANDS[name]
    statement = STATEMENTS[int(draw.integers(len(STATEMENTS)))].format(table=table, rows=rows)
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.execute(statement)
        database.commit()


def _by_value(path: Path, _name: str, draw: Draw) -> None:
    """One value of a row, or of all rows, is another, or a row is there once more."""
    with contextlib.closing(sqlite3.connect(path)) as database:
        tables = [name for (name,) in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        table = tables[int(draw.integers(len(tables)))]
        columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
        column = columns[int(draw.integers(len(columns)))]
        value = VALUES[int(draw.integers(len(VALUES)))]
        one = f"{columns[0]} = (SELECT min({columns[0]}) FROM {table})"
        statements = (
            (f"UPDATE OR REPLACE {table} SET {column} = ?", 1),
            (f"UPDATE OR REPLACE {table} SET {column} = ? WHERE {one}", 1),
            (f"INSERT OR REPLACE INTO {table} VALUES ({', '.join('?' * len(columns))})", len(columns)),
        )
        statement, count = statements[int(draw.integers(len(statements)))]
        with contextlib.suppress(sqlite3.Error):
            database.execute(statement, (value,) * count)
        database.commit()


def _forged(path: Path, name: str, draw: Draw) -> None:
    """Rows hold other numbers, with checksums that fit."""
    _, _, table, column = COMMANDS[name]
    with contextlib.closing(sqlite3.connect(path)) as database:
        keys = "setting, repeat" if name == "tune" else "number"
        found = database.execute(f"SELECT {keys}, {column} FROM {table}").fetchall()
        *key, content = found[int(draw.integers(len(found)))]
        value = HOSTILE_NUMBERS[int(draw.integers(len(HOSTILE_NUMBERS)))]
        if name == "kit":
            held = bytearray(content)
            place = 8 * int(draw.integers(max(len(held) // 8, 1)))
            held[place : place + 8] = np.float64(value).tobytes()
            content = bytes(held)
        else:
            rows = np.frombuffer(content, TRIAL).copy()
            which = ("trial", *SCORE_COLUMNS)[int(draw.integers(1 + len(SCORE_COLUMNS)))]
            with np.errstate(invalid="ignore"):
                rows[which] = (
                    value if draw.random() < 0.5 else np.where(np.arange(len(rows)) == 0, value, rows[which])
                )
            content = rows.tobytes()
        where = " AND ".join(f"{one} = ?" for one in keys.split(", "))
        database.execute(
            f"UPDATE {table} SET crc = ?, {column} = ? WHERE {where}", (zlib.crc32(content), content, *key)
        )
        database.commit()


WAYS: dict[str, tuple[Callable[[Path, str, Draw], None], float]] = {
    "bytes": (_by_bytes, 0.35),
    "statement": (_by_statement, 0.25),
    "value": (_by_value, 0.2),
    "forged rows": (_forged, 0.2),
}


@dataclass(frozen=True)
class Sound:
    """What an unbroken run of a command left in its folder, and the results by name."""

    folder: Path
    results: dict[str, bytes]


def sound_runs(room: Path) -> dict[str, Sound]:
    """Run each command once, and keep its journal even where the work is through."""
    made = {}
    for name, (command, _, _, _) in COMMANDS.items():
        folder = room / name
        folder.mkdir()
        (folder / "plan.yaml").write_text(PLAN)
        remove, Database.remove = Database.remove, Database.close  # type: ignore[method-assign]
        try:
            outcome = run_apart(command, folder)
        finally:
            Database.remove = remove  # type: ignore[method-assign]
        if outcome.code != 0:
            raise SystemExit(f"{' '.join(command)}: {outcome.said}")
        made[name] = Sound(folder, _results(folder))
    return made


def _results(folder: Path) -> dict[str, bytes]:
    held = {str(Path(name).relative_to(folder)): content for name, content in listing(folder).items()}
    return {name: content for name, content in held.items() if FILE not in name}


def tried(number: int, seed: int, sound: dict[str, Sound]) -> tuple[str, str, Outcome, list[str]]:
    """Command, way, outcome and faults of a case."""
    draw = np.random.default_rng([seed, number])
    name = list(COMMANDS)[int(draw.integers(len(COMMANDS)))]
    way = drawn_way(WAYS, draw)
    command, place, _, _ = COMMANDS[name]
    with tempfile.TemporaryDirectory() as room:
        folder = Path(room, "inner")
        shutil.copytree(sound[name].folder, folder)
        (Path(room) / "mine.txt").write_bytes(MINE)
        WAYS[way][0](folder / place / FILE, name, draw)
        outcome = run_apart(command, folder)
        faults = outcome.faults()
        if (Path(room) / "mine.txt").read_bytes() != MINE or len(list(Path(room).iterdir())) != 2:
            faults.append("a file outside of its folder is another")
        found = _results(folder)
        if outcome.code == 2 and any(held != sound[name].results.get(one) for one, held in found.items()):
            faults.append("refused, and yet a result is another")
        if outcome.code == 0 and way != "forged rows" and found != sound[name].results:
            faults.append(
                f"other results: {[one for one in found if found[one] != sound[name].results.get(one)]}"
            )
    return name, way, outcome, faults


def main(arguments: Sequence[str] | None = None) -> int:
    """Print what came of it; returns how many cases went wrong."""
    options = case_options(__doc__ or "", 500, "journals").parse_args(arguments)
    for module in ("arena.studies.running.sweeping", "arena.studies.search.tuning", "arena.studies.kits"):
        # here, so that not each of the processes imports them for itself
        import_module(module)
    tally = Tally("journals")
    with tempfile.TemporaryDirectory() as room:
        sound = sound_runs(Path(room))
        for number in numbers_of(options):
            name, way, outcome, faults = tried(number, options.seed, sound)
            tally.add([outcome], bool(faults))
            for fault in faults:
                print(f"case {number}, {name}, {way}: {fault}")
            if faults or options.only is not None:
                print("\n".join(f"    {line[:300]}" for line in outcome.said.splitlines()[-6:]), flush=True)
            if number % 100 == 99:
                print(f"{number + 1} done", flush=True)
    print(tally)
    return tally.wrong


if __name__ == "__main__":
    raise SystemExit(min(main(), 1))
