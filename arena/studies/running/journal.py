"""The journal of a study: an SQLite database that holds the rows of every chunk that is finished.

A chunk is written in one transaction, so whatever ends the program, kill -9 included, the journal holds whole
chunks and the next run goes on after them. A journal belongs to one plan, one set of files and one version of
the program, and to one run at a time: whoever has it open holds the database's own lock, which the system
lets go of when the process ends, in whatever way.
"""

import contextlib
import sqlite3
import zlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from agents.errors import InputError, OutputError, WorkError
from arena.studies.scores import TRIAL

Records = npt.NDArray[np.void]

FILE = "journal.sqlite"
"""Name of the journal in its folder."""

# Marks a database as ours ("ptdj"), and the form of its tables.
_APPLICATION = 0x7074646A
_FORM = 1

_TABLES = """
CREATE TABLE identity (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE chunks (number INTEGER PRIMARY KEY, crc INTEGER NOT NULL, rows BLOB NOT NULL);
CREATE TABLE impossible (setting INTEGER PRIMARY KEY, reason TEXT NOT NULL);
"""

_AFRESH = "run with --restart to throw these trials away, or choose another folder with --folder"


class Journal:
    """The journal of one study, open. To be used from one thread at a time; a context manager closes it."""

    def __init__(self, folder: Path, parts: Mapping[str, str], trials: int, size: int, afresh: bool = False):
        """Open the journal in ``folder``, or begin one, and hold it until it is closed.

        ``parts`` are the digests, by name, of what decides the results; ``trials`` there are, ``size`` of
        them to a chunk. ``afresh`` throws away whatever was there.

        Raises InputError where the journal is damaged, or holds the trials of something else, and says
        which part has changed; WorkError at once where another run holds it; OutputError where it cannot be
        written, or something other than a file stands in its place.
        """
        self.path = folder / FILE
        self._trials, self._size = trials, size
        self._done = np.zeros(-(-trials // size), np.bool_)
        if self.path.exists() and not self.path.is_file():
            raise OutputError(f"{self.path}: something that is no file stands there; choose another --folder")
        identity = {**parts, "trials": str(trials), "trials to a chunk": str(size)}
        with self._refusals():
            try:
                self._database = _begun(self.path, identity, afresh)
            except sqlite3.DatabaseError as error:
                if not (afresh and _is_damage(error)):
                    raise
                _remove(self.path)
                self._database = _begun(self.path, identity, afresh)
            try:
                for (number,) in self._database.execute("SELECT number FROM chunks"):
                    if not 0 <= number < len(self._done):
                        raise InputError(f"{self.path}: the journal is damaged (chunk {number}); {_AFRESH}")
                    self._done[number] = True
            except BaseException:
                self.close()
                raise
            self._file = _file_at(self.path)

    def __enter__(self) -> "Journal":
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the journal, so that another run may have it."""
        # what is committed is on the disk, and is put in its final place by the next run if not now
        with contextlib.suppress(sqlite3.OperationalError):
            self._database.close()

    @property
    def kept(self) -> int:
        """Number of trials in it."""
        whole = int(np.count_nonzero(self._done[:-1])) * self._size
        return whole + (self._length(len(self._done) - 1) if self._done[-1] else 0)

    def missing(self) -> npt.NDArray[np.int64]:
        """The numbers of the chunks that it lacks, (n,)."""
        return np.flatnonzero(~self._done)

    def keep(self, number: int, rows: Records, reasons: Mapping[int, str]) -> None:
        """Write the rows of a chunk, and why settings among them are impossible.

        Raises OutputError where it cannot be written, for instance to a full disk; what is kept stays kept.
        So it does where the journal's file has been removed meanwhile, or another put in its place.
        """
        self.check_place()
        content = rows.astype(TRIAL, copy=False).tobytes()
        with self._refusals(), self._transaction():
            self._database.execute(
                "INSERT INTO chunks VALUES (?, ?, ?)", (number, zlib.crc32(content), content)
            )
            self._database.executemany("INSERT OR IGNORE INTO impossible VALUES (?, ?)", reasons.items())
        self._done[number] = True

    def chunks(self) -> Iterator[Records]:
        """The rows of TRIAL of every chunk, in order.

        Raises InputError where one is damaged, OutputError where the journal's file is no longer there.
        """
        self.check_place()
        with self._refusals():
            cursor = self._database.execute("SELECT number, crc, rows FROM chunks ORDER BY number")
            for number, crc, content in cursor:
                first, length = number * self._size, self._length(number)
                is_whole = isinstance(content, bytes) and len(content) == length * TRIAL.itemsize
                if not is_whole or zlib.crc32(content) != crc:
                    raise InputError(
                        f"{self.path}: the trials from {first} to {first + length - 1} are damaged; {_AFRESH}"
                    )
                yield np.frombuffer(content, TRIAL)

    def impossible(self) -> dict[int, str]:
        """Why settings are impossible, by their number."""
        with self._refusals():
            return dict(self._database.execute("SELECT setting, reason FROM impossible ORDER BY setting"))

    def check_place(self) -> None:
        """Raise OutputError where the journal's file has been removed, or another stands in its place."""
        # whoever removes a file that is open takes its name only, and what is written then is lost
        if _file_at(self.path) != self._file:
            raise OutputError(
                f"{self.path}: was removed while the sweep ran, and all its trials with it; start it anew"
            )

    def _length(self, number: int) -> int:
        return min(self._size, self._trials - number * self._size)

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        self._database.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._database.execute("COMMIT")
        except BaseException:
            # the engine may have rolled it back itself, when the disk was full
            if self._database.in_transaction:
                self._database.execute("ROLLBACK")
            raise

    @contextlib.contextmanager
    def _refusals(self) -> Iterator[None]:
        """Turn what the database says into errors of ours."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise WorkError(
                    f"{self.path}: another run is at work on it; wait for its end, or choose another folder "
                    "with --folder"
                ) from error
            if _is_damage(error):
                raise InputError(f"{self.path}: the journal is damaged ({error}); {_AFRESH}") from error
            raise OutputError(
                f"{self.path}: cannot be written ({error}); {self.kept:,} of {self._trials:,} trials are "
                "kept, and the same command goes on from there once it can be"
            ) from error


def _begun(path: Path, identity: Mapping[str, str], afresh: bool) -> sqlite3.Connection:
    """The database, under a lock that lasts until it is closed, with all its tables."""
    database = sqlite3.connect(path, timeout=0.0, isolation_level=None, check_same_thread=False)
    # damaged text is to be told as what differs, not to stumble over
    database.text_factory = lambda raw: raw.decode(errors="replace")
    try:
        # taken before the first look at the write-ahead log, which then needs no memory that is shared with
        # others, and kept from one transaction to the next
        database.execute("PRAGMA locking_mode = EXCLUSIVE")
        database.execute("BEGIN EXCLUSIVE")
        tables = [name for (name,) in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        if tables:
            _check(database, path, identity, afresh)
        database.execute("COMMIT")
        database.execute("PRAGMA journal_mode = WAL")
        # after a power cut some of the last chunks may be missing, which are then run again
        database.execute("PRAGMA synchronous = NORMAL")
        database.execute("BEGIN EXCLUSIVE")
        if tables and afresh:
            for name in tables:
                database.execute(f'DROP TABLE "{name}"')
        if not tables or afresh:
            for statement in _TABLES.split(";"):
                database.execute(statement)
            database.executemany("INSERT INTO identity VALUES (?, ?)", identity.items())
            database.execute(f"PRAGMA application_id = {_APPLICATION}")
            database.execute(f"PRAGMA user_version = {_FORM}")
        database.execute("COMMIT")
    except BaseException:
        database.close()
        raise
    return database


def _check(database: sqlite3.Connection, path: Path, identity: Mapping[str, str], afresh: bool) -> None:
    """Raise InputError where the tables are not ours, or hold the trials of something else."""
    (application,) = database.execute("PRAGMA application_id").fetchone()
    (form,) = database.execute("PRAGMA user_version").fetchone()
    if application != _APPLICATION:
        raise InputError(f"{path}: this is no journal of photodrome; choose another folder with --folder")
    if afresh:
        return
    if form != _FORM:
        raise InputError(f"{path}: another version of photodrome wrote this journal; {_AFRESH}")
    found = dict(database.execute("SELECT key, value FROM identity"))
    changed = [key for key in {**identity, **found} if found.get(key) != identity.get(key)]
    if changed:
        raise InputError(
            f"{path}: holds trials of something else, for it differs in {', '.join(changed)}; {_AFRESH}"
        )


def _file_at(path: Path) -> tuple[int, int] | None:
    """What tells the file at a path from every other one, or None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _is_damage(error: sqlite3.DatabaseError) -> bool:
    code: Any = getattr(error, "sqlite_errorcode", 0)
    return code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _remove(path: Path) -> None:
    for ending in ("", "-wal", "-shm", "-journal"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
