"""The journal of a sweep: a database that holds the rows of every chunk of trials that is finished."""

import zlib
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

import numpy as np

from agents.arrays import IntArray, RecordArray
from agents.errors import InputError
from arena.studies.running.database import Database
from arena.studies.trial_scores import TRIAL, misfit_of


class Journal(Database):
    """The journal of one sweep, open; for opening and closing it see :class:`Database`."""

    tables = """
CREATE TABLE chunks (number INTEGER PRIMARY KEY, crc INTEGER NOT NULL, rows BLOB NOT NULL);
CREATE TABLE impossible (setting INTEGER PRIMARY KEY, reason TEXT NOT NULL);
"""

    def __init__(
        self,
        folder: Path,
        parts: Mapping[str, str],
        trials: int,
        size: int,
        restart: bool = False,
        names: Collection[str] = (),
    ):
        """Open the journal in ``folder``, or begin one, as :class:`Database` does.

        ``parts`` are the digests, by name, of what decides the results; ``trials`` there are, ``size`` of
        them to a chunk.
        """
        self._trials, self._size = trials, size
        self._done = np.zeros(-(-trials // size), np.bool_)
        identity = {**parts, "trials": str(trials), "trials to a chunk": str(size)}
        super().__init__(folder, identity, restart, names)
        try:
            with self._refusals():
                for (number,) in self._database.execute("SELECT number FROM chunks"):
                    if not isinstance(number, int) or not 0 <= number < len(self._done):
                        raise self.damaged(f"chunk {str(number)[:20]!r}")
                    self._done[number] = True
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "Journal":
        return self

    def kept_words(self) -> str:
        """How many trials are kept, in words."""
        return f"{self.kept:,} of {self._trials:,} trials are kept"

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

    def check_complete(self) -> None:
        """Raise InputError where the journal lacks chunks, or one of them is damaged."""
        for _ in self.chunks():
            pass

    def chunks(self) -> Iterator[RecordArray]:
        """The rows of TRIAL of every chunk, in order.

        Raises InputError where one is damaged or missing, OutputError where the journal's file is no longer
        there.
        """
        self.check_place()
        expected = 0
        with self._refusals():
            cursor = self._database.execute("SELECT number, crc, rows FROM chunks ORDER BY number")
            for number, crc, content in cursor:
                if number != expected:
                    break
                yield self._rows(number, crc, content)
                expected += 1
        if expected < len(self._done):
            raise self.damaged(f"it lacks {self._trials_of(expected)}")

    def _rows(self, number: int, crc: object, content: object) -> RecordArray:
        length = self._length(number)
        is_whole = isinstance(content, bytes) and len(content) == length * TRIAL.itemsize
        if isinstance(content, bytes) and is_whole and zlib.crc32(content) == crc:
            rows = np.frombuffer(content, TRIAL)
            if not misfit_of(rows, number * self._size):
                return rows
        raise InputError(f"{self.path}: {self._trials_of(number)} are damaged; {self._anew}")

    def _trials_of(self, number: int) -> str:
        first = number * self._size
        return f"the trials from {first} to {first + self._length(number) - 1}"

    def impossible(self) -> dict[int, str]:
        """Why settings are impossible, by their number."""
        with self._refusals():
            found = self._database.execute("SELECT setting, reason FROM impossible ORDER BY setting")
            return {setting: str(reason) for setting, reason in found}

    def _length(self, number: int) -> int:
        return min(self._size, self._trials - number * self._size)
