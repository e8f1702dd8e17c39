"""Tables that may be larger than the memory: they lie in files without a name, gone when the program ends.

Such a table is a mapped file: it is read and written like any array, and the system keeps in memory what of
it is in use.
"""

import contextlib
import os
import tempfile
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from threading import Lock
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import RecordArray
from agents.errors import OutputError

# What tables may take of the memory that is free.
_SHARE = 0.25
# Where nobody can tell how much is free [bytes].
_LIKELY_FREE = 4 << 30
# Rows go to the disk in runs of so many bytes, each in order, and come back in pieces of about as much.
_RUN_BYTES = 1 << 26

_CGROUP = Path("/sys/fs/cgroup")


def free_memory() -> int:
    """How much memory is free [bytes], as far as the system tells; what a container may still use counts."""
    found = []
    try:
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        found += [int(line.split()[1]) * 1024 for line in lines if line.startswith("MemAvailable:")]
        most, used = (_CGROUP / name for name in ("memory.max", "memory.current"))
        if most.exists() and (limit := most.read_text(encoding="ascii").strip()) != "max":
            found.append(max(int(limit) - int(used.read_text(encoding="ascii")), 0))
    except (OSError, ValueError, IndexError):
        pass
    if not found and hasattr(os, "sysconf"):
        with contextlib.suppress(OSError, ValueError):
            found.append(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2)
    return min(found, default=_LIKELY_FREE)


def memory_room() -> int:
    """How many bytes of tables are kept in memory, before they go to the disk."""
    return int(_SHARE * free_memory())


def spill_folder() -> Path:
    """Where tables go that do not fit into the memory: what TMPDIR says, or a folder that is on a disk."""
    usual = Path(tempfile.gettempdir())
    # the usual one often lies in memory
    on_disk = Path("/var/tmp")
    chosen = any(os.environ.get(name) for name in ("TMPDIR", "TEMP", "TMP"))
    return on_disk if not chosen and os.access(on_disk, os.W_OK) else usual


def large_array(shape: tuple[int, ...], kind: np.dtype[Any], on_disk: bool) -> NDArray[Any]:
    """An array of noughts, in memory or in a file without a name. Raises OutputError if the disk is full."""
    size = int(np.prod(shape, dtype=np.int64)) * kind.itemsize
    if not on_disk or size == 0:
        return np.zeros(shape, kind)
    with nameless_file() as stream:
        try:
            # all of it at once, for nobody can be told when a page finds no room later
            if hasattr(os, "posix_fallocate"):
                os.posix_fallocate(stream.fileno(), 0, size)
            else:
                for first in range(0, size, _RUN_BYTES):
                    stream.write(bytes(min(_RUN_BYTES, size - first)))
                stream.flush()
        except OSError as error:
            raise no_room(error, size) from error
        return np.memmap(stream, kind, "r+", shape=shape).view(np.ndarray)


def nameless_file() -> IO[bytes]:
    """A file without a name, gone when it is closed. Raises OutputError where there can be none."""
    try:
        return tempfile.TemporaryFile(dir=spill_folder())
    except OSError as error:
        raise no_room(error, 0) from error


def no_room(error: OSError, size: int) -> OutputError:
    """The error that tells of an ``error`` of the disk, which has to take ``size`` bytes."""
    wanted = f" for {size / 1e9:.3g} GB" if size else ""
    return OutputError(
        f"{spill_folder()}: no room{wanted} to keep what does not fit into the memory "
        f"({error.strerror or error}); make room there, or set TMPDIR to another folder"
    )


class Gathering:
    """Rows of several tables as they come, in memory as long as there is ``room`` [bytes], else on disk.

    ``kinds`` are their dtypes, ``orders`` the two columns by which each is put in order in the end. Whoever
    adds rows that are alike in both has to add them in their order. Many threads may add.
    """

    def __init__(
        self, kinds: dict[str, np.dtype[Any]], orders: dict[str, tuple[str, str]], room: int | None = None
    ) -> None:
        self._kinds, self._orders = kinds, orders
        self._room = memory_room() if room is None else room
        self._lock = Lock()
        self._chunks: dict[str, list[RecordArray]] = {name: [] for name in kinds}
        self._bytes = dict.fromkeys(kinds, 0)
        # of each table that is on the disk its file, and how many rows each run there has
        self._files: dict[str, IO[bytes]] = {}
        self._runs: dict[str, list[int]] = {name: [] for name in kinds}

    def add(self, name: str, rows: RecordArray) -> None:
        """Take ``rows`` of a table. Raises OutputError where the disk is full."""
        if not len(rows):
            return
        with self._lock:
            self._chunks[name].append(rows)
            self._bytes[name] += rows.nbytes
            if sum(self._bytes.values()) > self._room:
                largest = max(self._bytes, key=lambda one: self._bytes[one])
                self._put_away(largest)

    def so_far(self, name: str) -> RecordArray:
        """The rows that are in memory, in order."""
        with self._lock:
            chunks = list(self._chunks[name])
        return self._in_order(name, chunks)

    @property
    def on_disk(self) -> bool:
        """Whether some rows have been put away."""
        return bool(self._files)

    def table(self, name: str) -> RecordArray:
        """All rows of a table in order; to be asked for once. Raises OutputError where the disk is full."""
        if not self._runs[name]:
            chunks, self._chunks[name] = self._chunks[name], []
            return self._in_order(name, chunks)
        with self._lock:
            self._put_away(name)
        lasts = np.cumsum(self._runs.pop(name)).tolist()
        with self._files.pop(name) as stream:
            stream.flush()
            whole = np.memmap(stream, self._kinds[name], "r", shape=(lasts[-1],)).view(np.ndarray)
        return _merged([whole[first:last] for first, last in pairwise([0, *lasts])], *self._orders[name])

    def _in_order(self, name: str, chunks: list[RecordArray]) -> RecordArray:
        first, second = self._orders[name]
        return in_order(join_tables(_apart(chunks, first), self._kinds[name]), first, second)

    def _put_away(self, name: str) -> None:
        chunks, self._chunks[name], self._bytes[name] = self._chunks[name], [], 0
        if not chunks:
            return
        rows = self._in_order(name, chunks)
        try:
            if name not in self._files:
                self._files[name] = nameless_file()
            self._files[name].write(rows.view(np.uint8).data)
        except OSError as error:
            raise no_room(error, rows.nbytes) from error
        self._runs[name].append(len(rows))


def join_tables(chunks: Sequence[RecordArray], kind: np.dtype[Any]) -> RecordArray:
    """Tables of one ``kind`` end to end. Copied as bytes: numpy takes records apart, which costs far more."""
    whole = np.dtype((np.void, kind.itemsize))
    return np.concatenate([np.zeros(0, whole), *(chunk.view(whole) for chunk in chunks)]).view(kind)


def _apart(chunks: list[RecordArray], first: str) -> list[RecordArray]:
    """Chunks in the order of a column, where none reaches into another; else as they are given."""
    spans = [(chunk[first].min(), chunk[first].max()) for chunk in chunks]
    order = sorted(range(len(chunks)), key=lambda place: spans[place])
    if any(spans[one][1] >= spans[other][0] for one, other in pairwise(order)):
        return chunks
    return [chunks[place] for place in order]


def in_order(table: RecordArray, first: str, second: str) -> RecordArray:
    """Rows in the order of two columns; rows alike in both stay as they are."""
    keys = np.ascontiguousarray(table[first]), np.ascontiguousarray(table[second])
    ahead, even = keys[0][1:] > keys[0][:-1], keys[0][1:] == keys[0][:-1]
    if np.all(ahead | (even & (keys[1][1:] >= keys[1][:-1]))):
        # as one walker to a world leaves it; sorting takes longer than looking
        return table
    order = np.lexsort(keys[::-1])
    # as bytes, not field by field
    return table.view(np.dtype((np.void, table.itemsize)))[order].view(table.dtype)


def _merged(runs: list[RecordArray], first: str, second: str) -> RecordArray:
    """One table of several in order, put together in pieces of neighbouring values in the first column."""
    kind, count = runs[0].dtype, sum(len(run) for run in runs)
    out = large_array((count,), kind, on_disk=True)
    done = 0
    edges = _edges(runs, first)
    places = [np.searchsorted(np.ascontiguousarray(run[first]), edges) for run in runs]
    for piece in range(len(edges) - 1):
        parts = [run[own[piece] : own[piece + 1]] for run, own in zip(runs, places, strict=True)]
        rows = in_order(join_tables([np.array(part) for part in parts], kind), first, second)
        out[done : done + len(rows)].view(np.uint8)[:] = rows.view(np.uint8)
        done += len(rows)
    return out


def _edges(runs: list[RecordArray], first: str) -> NDArray[Any]:
    """Values of a column between which the runs have about as many rows as one run has."""
    rows = max(1, _RUN_BYTES // (8 * runs[0].itemsize))
    seen = np.unique(np.concatenate([run[first][::rows] for run in runs]))
    beyond = max(run[first][-1] for run in runs) + 1
    return np.append(seen[::8], beyond)


def in_pieces(count: int, rows: int) -> Iterator[slice]:
    """Rows of a table, ``rows`` at a time."""
    for start in range(0, count, rows):
        yield slice(start, min(start + rows, count))
