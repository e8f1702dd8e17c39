"""The database of a study (SQLite) beside its results: what it is of, what is finished, which files are ours.

What is finished is written in one transaction, so whatever ends the program, kill -9 included, nothing is
half there and the next run goes on after it. A database belongs to one plan, one set of files and one version
of the program, and to one run at a time: whoever has it open holds the database's own lock, which the system
lets go of when the process ends, in whatever way.

It may come from a stranger. Its tables have to be those that this program makes, to the letter, so that
nothing in it does anything by itself; texts and blobs are bounded before they are read.
"""

import contextlib
import itertools
import os
import sqlite3
from collections.abc import Callable, Collection, Iterator, Mapping
from importlib.metadata import version
from pathlib import Path
from typing import Any

from agents.errors import InputError, OutputError, WorkError
from arena.studies.running.results_folder import as_found, check_empty, check_own, check_single

Claimed = dict[str, set[str]]

FILE = "journal.sqlite"
"""Name of the database in its folder."""

# Marks a database as ours ("ptdj"), and the form of its tables.
_APPLICATION = 0x7074646A
_FORM = 2
# A form whose journals said nothing of the files beside them.
_FORM_WITHOUT_FILES = 1
# Side files of a database, by the endings of their names.
_SIDES = ("-wal", "-shm", "-journal")
# The longest text or blob [bytes].
_MOST_BYTES = 16_000_000

_TABLES = """
CREATE TABLE identity (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE files (name TEXT, digest TEXT, PRIMARY KEY (name, digest)) WITHOUT ROWID;
"""

# The key of the identity under which the version stands that wrote it; it decides nothing.
_WRITER = "written by"

ANEW = "run with --restart to throw these {what} away, or choose another folder with --folder"

# What SQLite says of a database whose tables or values are not as they were made.
_DAMAGE = {
    sqlite3.SQLITE_CORRUPT,
    sqlite3.SQLITE_NOTADB,
    sqlite3.SQLITE_ERROR,
    sqlite3.SQLITE_CONSTRAINT,
    sqlite3.SQLITE_MISMATCH,
    sqlite3.SQLITE_TOOBIG,
}


@contextlib.contextmanager
def _legible() -> Iterator[None]:
    """Tell names in a damaged database that are no text, over which the library stumbles, as damage."""
    try:
        yield
    except UnicodeDecodeError as error:
        damage = sqlite3.DatabaseError("names in it are no text")
        damage.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
        raise damage from error


class Database:
    """The database of one study, open. To be used from one thread at a time; a context manager closes it."""

    what = "trials"
    """What it keeps, in words."""

    tables = ""
    """The tables that it has beside those of every such database, as statements of SQL."""

    def __init__(
        self,
        folder: Path,
        identity: Mapping[str, str],
        restart: bool = False,
        names: Collection[str] = (),
        before: Claimed | None = None,
    ):
        """Open the database in ``folder``, or begin one, and hold it until it is closed.

        ``identity`` are the digests, by name, of what decides what is kept. ``restart`` throws away whatever
        was there. ``names`` are those of the files that are going to be written beside it. ``before`` are the
        digests that files there may have by an older list of them, where there is one.

        Raises InputError where it is damaged, or of something else, and says which part has changed; where it
        is a link, or there is none in a folder that is not empty; and where files that are not ours have one
        of the names. Nothing has been changed then. Raises WorkError at once where another run holds it;
        OutputError where it cannot be written, or something other than a file stands in its place.
        """
        self.path = folder / FILE
        self._is_open = False
        self._anew = ANEW.format(what=self.what)
        for path in _all_files(self.path):
            check_single(path)
        self._claimed: Claimed = before or {}
        if folder.is_dir() and not _holds_anything(self.path) and before is None:
            # before the database is made; side files without one are somebody's
            check_empty(folder, _own_names(self.path) if self.path.exists() else ())
        if before is not None and not _holds_anything(self.path):
            check_own(folder, names, before)

        def check(claimed: Claimed | None) -> None:
            if claimed is None and before is None:
                check_empty(folder, _own_names(self.path))
            else:
                self._claimed = claimed if claimed is not None else before or {}
                check_own(folder, names, self._claimed)

        with self._refusals():
            try:
                self._database = self._begun(identity, restart, names, check)
            except sqlite3.DatabaseError as error:
                if not (restart and _is_damage(error)):
                    raise
                self._claimed = _salvaged(self.path)
                check_own(folder, names, self._claimed)
                _put_away(self.path)
                self._database = self._begun(identity, restart, names, lambda _none: None)
            self._is_open = True
            self._file = _file_at(self.path)

    def __enter__(self) -> "Database":
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the database, so that another run may have it."""
        # what is committed is on the disk, and is put in its final place by the next run if not now
        with contextlib.suppress(sqlite3.OperationalError):
            self._database.close()

    def remove(self) -> None:
        """Close the database and remove it, when nothing that it keeps is needed any more."""
        self.close()
        # side files alone would be somebody's
        for path in reversed(_all_files(self.path)):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)

    def kept_words(self) -> str:
        """How much is kept, in words."""
        return f"the {self.what} in it are kept"

    def claimed(self) -> Mapping[str, Collection[str]]:
        """The digests that files beside the database may have, by name, if they are ours."""
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
        """Raise OutputError where the database's file has been removed, or another stands in its place."""
        # whoever removes a file that is open takes its name only, and what is written then is lost
        if _file_at(self.path) != self._file:
            raise OutputError(
                f"{self.path}: was removed while the work ran, and all {self.what} in it with it; start anew"
            )

    def damaged(self, why: str) -> InputError:
        """The error that tells that the database is not as it was left."""
        return InputError(f"{self.path}: the journal is damaged ({why}); {self._anew}")

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
            with _legible():
                yield
        except sqlite3.DatabaseError as error:
            code = getattr(error, "sqlite_errorcode", 0) & 0xFF
            if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise WorkError(
                    f"{self.path}: another run is at work on it; wait for its end, or choose another folder "
                    "with --folder"
                ) from error
            if _is_damage(error):
                raise self.damaged(str(error)) from error
            raise OutputError(f"{self.path}: cannot be written ({error}){self._what_stays()}") from error

    def _what_stays(self) -> str:
        if self._is_open:
            kept = self.kept_words()
        elif _holds_anything(self.path):
            kept = f"the {self.what} in it stay as they are"
        else:
            return "; choose another folder with --folder"
        return f"; {kept}, and the same command goes on from there once it can be"

    @_legible()
    def _begun(
        self,
        identity: Mapping[str, str],
        restart: bool,
        names: Collection[str],
        check: Callable[[Claimed | None], None],
    ) -> sqlite3.Connection:
        """The database, under a lock that lasts until it is closed, with all its tables.

        Before anything is changed ``check`` is called with the digests that files beside it may have, or None
        where it holds no tables yet.
        """
        database = sqlite3.connect(self.path, timeout=0.0, isolation_level=None, check_same_thread=False)
        # damaged text is to be told as what differs, not to stumble over
        database.text_factory = lambda raw: raw.decode(errors="replace")
        database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _MOST_BYTES)
        try:
            # taken before the first look at the write-ahead log, which then needs no memory that is shared
            # with others, and kept from one transaction to the next
            database.execute("PRAGMA locking_mode = EXCLUSIVE")
            database.execute("PRAGMA trusted_schema = OFF")
            database.execute("BEGIN EXCLUSIVE")
            found = _schema(database)
            (application,) = database.execute("PRAGMA application_id").fetchone()
            if application != _APPLICATION and (found or application != 0):
                raise InputError(
                    f"{self.path}: this is no journal of photodrome; choose another folder with --folder"
                )
            check(self._check(database, found, identity, restart, names) if found else None)
            database.execute("COMMIT")
            database.execute("PRAGMA journal_mode = WAL")
            # after a power cut some of what was last may be missing, which is then done again
            database.execute("PRAGMA synchronous = NORMAL")
            database.execute("BEGIN EXCLUSIVE")
            if found and restart:
                # an index or a trigger goes with its table or view
                for kind, name in found:
                    if kind in ("table", "view"):
                        database.execute(f"DROP {kind} {_quoted(name)}")
            if not found or restart:
                for statement in (_TABLES + self.tables).split(";"):
                    database.execute(statement)
                named = {**identity, _WRITER: f"photodrome {version('photodrome')}"}
                database.executemany("INSERT INTO identity VALUES (?, ?)", named.items())
                # files of ours stay ours when what belongs to them is gone
                rows = ((name, digest) for name, digests in self._claimed.items() for digest in digests)
                database.executemany("INSERT INTO files VALUES (?, ?)", rows)
                database.execute(f"PRAGMA application_id = {_APPLICATION}")
                database.execute(f"PRAGMA user_version = {_FORM}")
            database.execute("COMMIT")
        except BaseException:
            database.close()
            raise
        return database

    def _check(
        self,
        database: sqlite3.Connection,
        schema: Mapping[tuple[str, str], str],
        identity: Mapping[str, str],
        restart: bool,
        names: Collection[str],
    ) -> Claimed:
        """The digests that files beside the database may have, by name.

        Raises InputError where the tables hold what is of something else, or are not ours.
        """
        (form,) = database.execute("PRAGMA user_version").fetchone()
        if form != _FORM and not restart:
            raise InputError(f"{self.path}: {_other_form(form)}; {self._anew}")
        if not restart:
            found = dict(database.execute("SELECT key, value FROM identity"))
            writer = found.pop(_WRITER, "photodrome 0.1.0")
            changed = [str(key) for key in {**identity, **found} if found.get(key) != identity.get(key)]
            if changed == ["program"]:
                raise InputError(
                    f"{self.path}: another version of photodrome ran its {self.what} ({writer}, of other "
                    f"source files); go on with that one, or {self._anew}"
                )
            if changed:
                raise InputError(
                    f"{self.path}: holds {self.what} of something else, for it differs in "
                    f"{', '.join(changed)}; {self._anew}"
                )
            if schema != _expected(_TABLES + self.tables):
                raise self.damaged("its tables are not those that this program makes")
        if form == _FORM_WITHOUT_FILES:
            return as_found(self.path.parent, names)
        return _files_of(database) if form == _FORM else {}


def _schema(database: sqlite3.Connection) -> dict[tuple[str, str], str]:
    """What there is in a database, by kind and name, with the statement that made it."""
    rows = database.execute("SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%'")
    return {(str(kind), str(name)): str(sql) for kind, name, sql in rows}


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _expected(statements: str) -> dict[tuple[str, str], str]:
    found = [statement.strip() for statement in statements.split(";")]
    return {("table", statement.split()[2]): statement for statement in found if statement}


def _other_form(form: int) -> str:
    if form > _FORM:
        return "another version of photodrome wrote this journal, a newer one, and that one reads it"
    return "another version of photodrome wrote this journal, one from before 0.1.0, and that one reads it"


def _files_of(database: sqlite3.Connection) -> Claimed:
    claimed: Claimed = {}
    for name, digest in database.execute("SELECT name, digest FROM files"):
        claimed.setdefault(str(name), set()).add(str(digest))
    return claimed


def _salvaged(path: Path) -> Claimed:
    """What a damaged journal still tells of the files beside it."""
    try:
        database = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
        with contextlib.closing(database):
            (application,) = database.execute("PRAGMA application_id").fetchone()
            (form,) = database.execute("PRAGMA user_version").fetchone()
            return _files_of(database) if (application, form) == (_APPLICATION, _FORM) else {}
    except (sqlite3.DatabaseError, UnicodeDecodeError):
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
    return code & 0xFF in _DAMAGE


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
