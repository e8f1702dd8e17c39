"""The journal of work that is done in numbered pieces, each with a table of figures: that of ``kit``."""

import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np

from agents.arrays import RecordArray
from arena.studies.running.database import Database


class PieceJournal(Database):
    """The journal of such work, open; for opening and closing it see :class:`Database`.

    It is of use until the work is through, and then removed.
    """

    what = "copies"
    tables = """
CREATE TABLE pieces (number INTEGER PRIMARY KEY, crc INTEGER NOT NULL, rows BLOB NOT NULL);
"""

    def __init__(self, folder: Path, identity: Mapping[str, str], restart: bool = False):
        """Open the journal in ``folder``, or begin one, as :class:`Database` does."""
        super().__init__(folder, identity, restart)

    def __enter__(self) -> "PieceJournal":
        return self

    def kept_words(self) -> str:
        """What is kept, in words."""
        return "the copies that were through are kept"

    @property
    def is_empty(self) -> bool:
        """Whether nothing is kept in it."""
        with self._refusals():
            return self._database.execute("SELECT 1 FROM pieces LIMIT 1").fetchone() is None

    def piece(self, number: int, kind: np.dtype[np.void], length: int) -> RecordArray | None:
        """The rows of a piece, (length,), of a ``kind``, or None where it is not finished.

        Raises InputError where it is damaged.
        """
        with self._refusals():
            lines = self._database.execute("SELECT crc, rows FROM pieces WHERE number = ?", (number,))
            found = lines.fetchone()
        if found is None:
            return None
        crc, content = found
        is_whole = isinstance(content, bytes) and len(content) == length * kind.itemsize
        if not is_whole or zlib.crc32(content) != crc:
            raise self.damaged(f"piece {number}")
        return np.frombuffer(content, kind)

    def keep(self, pieces: Iterable[tuple[int, RecordArray]]) -> None:
        """Write the rows of pieces, each with its number, as :meth:`Journal.keep` does its chunks."""
        self.check_place()
        contents = ((number, rows.tobytes()) for number, rows in pieces)
        lines = ((number, zlib.crc32(content), content) for number, content in contents)
        with self._refusals(), self._transaction():
            self._database.executemany("INSERT INTO pieces VALUES (?, ?, ?)", lines)
