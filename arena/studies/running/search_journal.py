"""The journal of a search: a database that holds the row of every trial that is finished.

A search asks for trials in an order that depends on how they come out. As a trial is a function of setting,
repeat and seed alone, whoever finds it here goes on as if it had just been run; so a search that was stopped
ends with the same bytes, and one with a larger budget begins where the smaller one ended.
"""

import hashlib
import json
import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from agents.arrays import BoolArray, RecordArray
from agents.errors import InputError, OutputError
from arena.studies.plans.study import Setting
from arena.studies.running.database import Claimed, Database
from arena.studies.running.results_folder import check_single
from arena.studies.trial_scores import TRIAL, impossible_figure

OLDER_LIST = "manifest.json"
"""Name of the list of its files that a search left in its folder before it kept a journal."""

_OLDER_KIND = "search 1"
# The longest such list that is read [bytes].
_MOST_LISTED = 1_000_000


class SearchJournal(Database):
    """The journal of one search, open; for opening and closing it see :class:`Database`."""

    tables = """
CREATE TABLE trials (setting TEXT, repeat INTEGER, crc INTEGER NOT NULL, row BLOB NOT NULL, \
PRIMARY KEY (setting, repeat)) WITHOUT ROWID;
"""

    def __init__(
        self,
        folder: Path,
        study: str,
        parts: Mapping[str, str],
        restart: bool = False,
        names: Collection[str] = (),
    ):
        """Open the journal in ``folder``, or begin one, as :class:`Database` does.

        ``study`` is the name of the plan, ``parts`` are the digests, by name, of what decides the results.
        Raises InputError where the folder holds the search of another plan from before there were journals.
        """
        before = _older_claims(folder, study)
        super().__init__(folder, {"kind": "search", **parts}, restart, names, before)
        self.kept = 0
        try:
            with self._refusals():
                (self.kept,) = self._database.execute("SELECT count(*) FROM trials").fetchone()
            if before is not None:
                # what it lists stands in the journal now
                (folder / OLDER_LIST).unlink(missing_ok=True)
        except OSError as error:
            self.close()
            raise OutputError(f"{folder / OLDER_LIST}: cannot be removed ({error.strerror})") from error
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "SearchJournal":
        return self

    def kept_words(self) -> str:
        """How many trials are kept, in words."""
        return f"{self.kept:,} trials are kept"

    def rows(self, settings: Sequence[Setting], repeats: Sequence[int]) -> tuple[RecordArray, BoolArray]:
        """Rows of TRIAL, (settings, repeats), and which of them there are.

        Raises InputError where one is damaged.
        """
        found = np.zeros((len(settings), len(repeats)), TRIAL)
        is_there = np.zeros(found.shape, np.bool_)
        place = {repeat: number for number, repeat in enumerate(repeats)}
        for number, setting in enumerate(settings):
            for repeat, crc, content in self._of(_key(setting), min(repeats), max(repeats)):
                if repeat in place:
                    if not isinstance(content, bytes) or zlib.crc32(content) != crc:
                        raise self.damaged(f"repeat {repeat} of a setting")
                    if len(content) != TRIAL.itemsize:
                        raise self.damaged(f"repeat {repeat} of a setting")
                    found[number, place[repeat]] = np.frombuffer(content, TRIAL)[0]
                    is_there[number, place[repeat]] = True
            if figure := impossible_figure(found[number, is_there[number]]):
                raise self.damaged(f"{figure} of a setting")
        return found, is_there

    def _of(self, key: str, first: int, last: int) -> list[tuple[Any, Any, Any]]:
        with self._refusals():
            return self._database.execute(
                "SELECT repeat, crc, row FROM trials WHERE setting = ? AND repeat BETWEEN ? AND ?",
                (key, first, last),
            ).fetchall()

    def keep(self, settings: Sequence[Setting], repeats: Sequence[int], rows: RecordArray) -> None:
        """Write rows of TRIAL, (settings, repeats), as :meth:`Journal.keep` does its chunks."""
        self.check_place()
        with self._refusals(), self._transaction():
            self._database.executemany(
                "INSERT INTO trials VALUES (?, ?, ?, ?)", _lines(settings, repeats, rows)
            )
        self.kept += rows.size


def _lines(
    settings: Sequence[Setting], repeats: Sequence[int], rows: RecordArray
) -> Iterable[tuple[str, int, int, bytes]]:
    for setting, row in zip(settings, rows.astype(TRIAL, copy=False), strict=True):
        key = _key(setting)
        for repeat, one in zip(repeats, row, strict=True):
            content = one.tobytes()
            yield key, repeat, zlib.crc32(content), content


def _key(setting: Setting) -> str:
    """What tells a setting from every other one of its study."""
    chosen = (setting.arena, setting.design, setting.values)
    return hashlib.sha256(repr(chosen).encode()).hexdigest()[:32]


def _older_claims(folder: Path, study: str) -> Claimed | None:
    """The digests that files may have by the list of a search from before there were journals, or None.

    Raises InputError where that is no such list, or the list of another plan's search.
    """
    path = folder / OLDER_LIST
    check_single(path)
    try:
        with path.open("rb") as stream:
            content = stream.read(_MOST_LISTED)
        found: Any = json.loads(content)
        kind, of = found["photodrome"], found["study"]
        claimed = {str(name): set(map(str, digests)) for name, digests in found["files"].items()}
    except FileNotFoundError:
        return None
    except OSError as error:
        raise OutputError(f"{path}: cannot be read ({error.strerror})") from error
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        kind = of = ""
        claimed = {}
    if kind != _OLDER_KIND:
        raise InputError(f"{path}: is no list of the files of a search; choose another folder with --folder")
    if of != study:
        raise InputError(
            f"{folder}: holds the search of another plan, {str(of)[:60]!r}; "
            "choose another folder with --folder"
        )
    return claimed
