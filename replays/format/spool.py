"""Packed columns that are put together part by part, in memory or on the disk."""

import io
import weakref
from collections.abc import Iterator
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from replays.format.large_tables import nameless_file, no_room
from replays.format.packing import pack


class Spool:
    """Takes the numbers of columns part by part, and gives each column as it is in a file."""

    def __init__(self, on_disk: bool) -> None:
        self._stream: IO[bytes] = nameless_file() if on_disk else io.BytesIO()
        weakref.finalize(self, self._stream.close)
        # of each column the rows of its parts, and where in the stream their planes begin
        self._parts: dict[str, list[tuple[int, list[int]]]] = {}

    def add(self, name: str, numbers: NDArray[Any]) -> None:
        """Take the next part of a column. Raises OutputError where the disk is full."""
        planes = pack(numbers)
        begins = []
        try:
            for plane in planes:
                begins.append(self._stream.tell())
                self._stream.write(plane.data)
        except OSError as error:
            raise no_room(error, planes.nbytes) from error
        self._parts.setdefault(name, []).append((len(numbers), begins))

    def columns(self) -> dict[str, "SpooledColumn"]:
        """All columns by name."""
        return {name: SpooledColumn(self, parts) for name, parts in self._parts.items()}

    def read(self, begin: int, count: int) -> bytes:
        """So many bytes of a plane of a part, from where it begins."""
        self._stream.seek(begin)
        return self._stream.read(count)


class SpooledColumn:
    """A column as :func:`~replays.format.packing.pack` packs it, which need not be in memory.

    ``shape`` is (planes, rows), ``dtype`` that of bytes.
    """

    dtype = np.dtype(np.uint8)

    def __init__(self, spool: Spool, parts: list[tuple[int, list[int]]]) -> None:
        # which closes its file once nobody holds a column of it any more
        self._spool, self._parts = spool, parts
        self.shape = (max(len(begins) for _, begins in parts), sum(rows for rows, _ in parts))

    def pieces(self) -> Iterator[bytes]:
        """Its bytes, plane by plane."""
        for plane in range(self.shape[0]):
            for rows, begins in self._parts:
                if plane >= len(begins):
                    yield bytes(rows)
                else:
                    yield self._spool.read(begins[plane], rows)
