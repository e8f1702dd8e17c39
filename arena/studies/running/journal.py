"""The journal of a study: an SQLite database that holds the rows of every chunk that is finished.

A chunk is written in one transaction, so whatever ends the program, kill -9 included, the journal holds whole
chunks and the next run goes on after them. A journal belongs to one plan, one set of files and one version of
the program, and to one run at a time: whoever has it open holds the database's own lock, which the system
lets go of when the process ends, in whatever way.
"""

import contextlib
import itertools
import os
import sqlite3
import zlib
from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from agents.arrays import IntArray, RecordArray
from agents.errors import InputError, OutputError, WorkError
from arena.studies.running.results_folder import as_found, check_empty, check_own, check_single
from arena.studies.trial_scores import TRIAL

Claimed = dict[str, set[str]]

FILE = "journal.sqlite"
"""Name of the journal in its folder."""

# Marks a database as ours ("ptdj"), and the form of its tables.
_APPLICATION = 0x7074646A
_FORM = 2
# A form whose journals said nothing of the files beside them.
_FORM_WITHOUT_FILES = 1
# Side files of a database, by the endings of their names.
_SIDES = ("-wal", "-shm", "-journal")

_TABLES = """
CREATE TABLE identity (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE chunks (number INTEGER PRIMARY KEY, crc INTEGER NOT NULL, rows BLOB NOT NULL);
CREATE TABLE impossible (setting INTEGER PRIMARY KEY, reason TEXT NOT NULL);
CREATE TABLE files (name TEXT, digest TEXT, PRIMARY KEY (name, digest)) WITHOUT ROWID;
"""

_ANEW = "run with --restart to throw these trials away, or choose another folder with --folder"


class Journal:
    """The journal of one study, open. To be used from one thread at a time; a context manager closes it."""

    def __init__(
        self,
        folder: Path,
        parts: Mapping[str, str],
        trials: int,
        size: int,
        restart: bool = False,
        names: Collection[str] = (),
    ):
        """Open the journal in ``folder``, or begin one, and hold it until it is closed.

        ``parts`` are the digests, by name, of what decides the results; ``trials`` there are, ``size`` of
        them to a chunk. ``restart`` throws away whatever was there. ``names`` are those of the files that
        the study writes beside it.

        Raises InputError where the journal is damaged, or holds the trials of something else, and says
        which part has changed; where it is a link, or there is none in a folder that is not empty; and where
        files that are not ours have one of the names. Nothing has been changed then. Raises WorkError at once
        where another run holds it; OutputError where it cannot be written, or something other than a file
        stands in its place.
        """
        self.path = folder / FILE
        self._trials, self._size = trials, size
        self._done = np.zeros(-(-trials // size), np.bool_)
        for path in _all_files(self.path):
            check_single(path)
        self._claimed: Claimed = {}
        if folder.is_dir() and not _holds_anything(self.path):
            # before the database is made; side files without one are somebody's
            check_empty(folder, _own_names(self.path) if self.path.exists() else ())

        def check(claimed: Claimed | None) -> None:
            if claimed is None:
                check_empty(folder, _own_names(self.path))
            else:
                check_own(folder, names, claimed)
                self._claimed = claimed

        identity = {**parts, "trials": str(trials), "trials to a chunk": str(size)}
        with self._refusals():
            try:
                self._database = _begun(self.path, identity, restart, names, check)
            except sqlite3.DatabaseError as error:
                if not (restart and _is_damage(error)):
                    raise
                self._claimed = _salvaged(self.path)
                check_own(folder, names, self._claimed)
                _put_away(self.path)
                self._database = _begun(self.path, identity, restart, names, lambda _none: None)
                _list_files(self._database, self._claimed)
            try:
                for (number,) in self._database.execute("SELECT number FROM chunks"):
                    if not 0 <= number < len(self._done):
                        raise InputError(f"{self.path}: the journal is damaged (chunk {number}); {_ANEW}")
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

    def missing(self) -> IntArray:
        """The numbers of the chunks that it lacks, (n,)."""
        return np.flatnonzero(~self._done)

    def keep(self, number: int, rows: RecordArray, reasons: Mapping[int, str]) -> None:
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

    def chunks(self) -> Iterator[RecordArray]:
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
                        f"{self.path}: the trials from {first} to {first + length - 1} are damaged; {_ANEW}"
                    )
                yield np.frombuffer(content, TRIAL)

    def impossible(self) -> dict[int, str]:
        """Why settings are impossible, by their number."""
        with self._refusals():
            return dict(self._database.execute("SELECT setting, reason FROM impossible ORDER BY setting"))

    def claimed(self) -> Mapping[str, Collection[str]]:
        """The digests that files beside the journal may have, by name, if they are ours."""
        return self._claimed

    def claim(self, digests: Mapping[str, str]) -> None:
        """Write down that files with these names and digests are about to be put beside it."""
        self.check_place()
        with self._refusals(), self._transaction():
            self._database.executemany("INSERT OR IGNORE INTO files VALUES (?, ?)", digests.items())
        for name, digest in digests.items():
            self._claimed.setdefault(name, set()).add(digest)

    def settle(self, digests: Mapping[str, str]) -> None:
        """Write down that these names have no other digests any more."""
        with self._refusals(), self._transaction():
            self._database.executemany("DELETE FROM files WHERE name = ? AND digest <> ?", digests.items())
        self._claimed.update((name, {digest}) for name, digest in digests.items())

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
                raise InputError(f"{self.path}: the journal is damaged ({error}); {_ANEW}") from error
            raise OutputError(
                f"{self.path}: cannot be written ({error}); {self.kept:,} of {self._trials:,} trials are "
                "kept, and the same command goes on from there once it can be"
            ) from error


def _begun(
    path: Path,
    identity: Mapping[str, str],
    restart: bool,
    names: Collection[str],
    check: Callable[[Claimed | None], None],
) -> sqlite3.Connection:
    """The database, under a lock that lasts until it is closed, with all its tables.

    Before anything is changed ``check`` is called with the digests that files beside it may have, or None
    where it holds no tables yet.
    """
    database = sqlite3.connect(path, timeout=0.0, isolation_level=None, check_same_thread=False)
    # damaged text is to be told as what differs, not to stumble over
    database.text_factory = lambda raw: raw.decode(errors="replace")
    try:
        # taken before the first look at the write-ahead log, which then needs no memory that is shared with
        # others, and kept from one transaction to the next
        database.execute("PRAGMA locking_mode = EXCLUSIVE")
        database.execute("BEGIN EXCLUSIVE")
        tables = [name for (name,) in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        (application,) = database.execute("PRAGMA application_id").fetchone()
        if application != _APPLICATION and (tables or application != 0):
            raise InputError(f"{path}: this is no journal of photodrome; choose another folder with --folder")
        claimed = _check(database, path, identity, restart, names) if tables else None
        check(claimed)
        database.execute("COMMIT")
        database.execute("PRAGMA journal_mode = WAL")
        # after a power cut some of the last chunks may be missing, which are then run again
        database.execute("PRAGMA synchronous = NORMAL")
        database.execute("BEGIN EXCLUSIVE")
        if tables and restart:
            for name in tables:
                database.execute(f'DROP TABLE "{name}"')
        if not tables or restart:
            for statement in _TABLES.split(";"):
                database.execute(statement)
            database.executemany("INSERT INTO identity VALUES (?, ?)", identity.items())
            # files of ours stay ours when their trials are gone
            _list_files(database, claimed or {})
            database.execute(f"PRAGMA application_id = {_APPLICATION}")
            database.execute(f"PRAGMA user_version = {_FORM}")
        database.execute("COMMIT")
    except BaseException:
        database.close()
        raise
    return database


def _check(
    database: sqlite3.Connection,
    path: Path,
    identity: Mapping[str, str],
    restart: bool,
    names: Collection[str],
) -> Claimed:
    """The digests that files beside the database may have, by name.

    Raises InputError where the tables hold the trials of something else.
    """
    (form,) = database.execute("PRAGMA user_version").fetchone()
    if form != _FORM and not restart:
        raise InputError(f"{path}: another version of photodrome wrote this journal; {_ANEW}")
    found = dict(database.execute("SELECT key, value FROM identity")) if not restart else identity
    changed = [key for key in {**identity, **found} if found.get(key) != identity.get(key)]
    if changed == ["program"]:
        raise InputError(f"{path}: another version of photodrome ran its trials; {_ANEW}")
    if changed:
        raise InputError(
            f"{path}: holds trials of something else, for it differs in {', '.join(changed)}; {_ANEW}"
        )
    if form == _FORM_WITHOUT_FILES:
        return as_found(path.parent, names)
    return _files_of(database) if form == _FORM else {}


def _files_of(database: sqlite3.Connection) -> Claimed:
    claimed: Claimed = {}
    for name, digest in database.execute("SELECT name, digest FROM files"):
        claimed.setdefault(name, set()).add(digest)
    return claimed


def _list_files(database: sqlite3.Connection, claimed: Claimed) -> None:
    rows = ((name, digest) for name, digests in claimed.items() for digest in digests)
    database.executemany("INSERT INTO files VALUES (?, ?)", rows)


def _salvaged(path: Path) -> Claimed:
    """What a damaged journal still tells of the files beside it."""
    try:
        database = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
        with contextlib.closing(database):
            (application,) = database.execute("PRAGMA application_id").fetchone()
            (form,) = database.execute("PRAGMA user_version").fetchone()
            return _files_of(database) if (application, form) == (_APPLICATION, _FORM) else {}
    except sqlite3.DatabaseError:
        return {}


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


def _put_away(path: Path) -> None:
    """Remove a damaged journal, or rename what does not even look like one, with its side files."""
    with path.open("rb") as stream:
        head = stream.read(72)
    # the format of SQLite has the application's mark there (sqlite.org/fileformat.html, 1.3)
    is_own = head.startswith(b"SQLite format 3\0") and head[68:72] == _APPLICATION.to_bytes(4, "big")
    for one in _all_files(path):
        if is_own:
            one.unlink(missing_ok=True)
        elif one.exists():
            one.rename(_free_name(one))


def _free_name(path: Path) -> Path:
    names = (path.with_name(f"{path.name}.damaged{number or ''}") for number in itertools.count())
    return next(name for name in names if not os.path.lexists(name))


def _all_files(path: Path) -> list[Path]:
    """A database and its side files."""
    return [path.with_name(path.name + ending) for ending in ("", *_SIDES)]


def _own_names(path: Path) -> set[str]:
    return {one.name for one in _all_files(path)}


def _holds_anything(path: Path) -> bool:
    return path.exists() and path.stat().st_size > 0
