"""A zip of ``.npy`` arrays: written with the same bytes for the same arrays, read with suspicion.

What is read may come from anybody. So nothing but a regular file is opened, each member is named that is not
what belongs there, and its size is known, and allowed, before any memory is taken for it.
"""

import io
import math
import os
import stat
import struct
import tokenize
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Protocol

import numpy as np
from numpy.typing import NDArray

from agents.errors import NotFoundError, ReplayError
from replays.format.large_tables import large_array, memory_room
from replays.format.tables import columns_of

# Levels of compression. On columns of small numbers the first is as fast as those below it; the second, at
# three times the cost, saves one byte in twenty, which is for arrays that are soon done.
_LEVEL, _THOROUGH_LEVEL = 4, 6
_SOON_DONE = 1 << 19
_BLOCK = 1 << 20

# What the bytes of all members may unpack to: so much, and so many times the size of the file.
_FREE_BYTES = 1 << 27
_BYTES_PER_BYTE = 64
# Rows of an array at the most, which may be without a byte each, and its dimensions.
_MOST_ROWS = 1 << 40
_MOST_DIMENSIONS = 3
# A description of an array, in bytes, at the most.
_MOST_DESCRIBED = 1 << 17
# Bytes of tables for each byte of their columns, about.
_TABLES_PER_BYTE = 4
# The list of members, in bytes, at the most; ours have some five thousand.
_MOST_LISTED = 1 << 20


# What zipfile and numpy raise on bytes that nobody wrote on purpose; a damaged zip is caught further up.
_UNREADABLE = (
    EOFError,
    NotImplementedError,
    RuntimeError,
    SyntaxError,
    TypeError,
    UserWarning,
    ValueError,
    struct.error,
    tokenize.TokenError,
    zlib.error,
)


class Pieces(Protocol):
    """An array that is told in pieces of its bytes."""

    @property
    def shape(self) -> tuple[int, ...]: ...

    @property
    def dtype(self) -> np.dtype[Any]: ...

    def pieces(self) -> Iterator[bytes]:
        """Its bytes, in any number of pieces."""
        ...


def write_archive(stream: BinaryIO, members: Mapping[str, NDArray[Any] | Pieces]) -> None:
    """Write arrays by name to ``stream``."""
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, array in members.items():
            size = math.prod(array.shape) * array.dtype.itemsize
            archive.compresslevel = _THOROUGH_LEVEL if size < _SOON_DONE else _LEVEL
            head = io.BytesIO()
            described = {"descr": array.dtype.str, "fortran_order": False, "shape": array.shape}
            np.lib.format.write_array_header_1_0(head, described)
            content = [array.tobytes()] if isinstance(array, np.ndarray) else array.pieces()
            large = size > zipfile.ZIP64_LIMIT // 2
            with archive.open(f"{name}.npy", "w", force_zip64=large) as member:
                member.write(head.getvalue())
                for block in _blocks(content):
                    member.write(block)
        for info in archive.infolist():
            info.create_system = 3
            info.external_attr = 0o644 << 16


def _blocks(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Bytes in blocks of one size, however they come, so that they are compressed alike."""
    waiting = bytearray()
    for piece in pieces:
        waiting += piece
        whole = len(waiting) // _BLOCK * _BLOCK
        for first in range(0, whole, _BLOCK):
            yield bytes(waiting[first : first + _BLOCK])
        del waiting[:whole]
    if waiting:
        yield bytes(waiting)


class Archive:
    """The arrays of a file, for reading; closed at the end of a ``with``.

    Raises NotFoundError where there is no such file, ReplayError where it is none that can be read.
    """

    def __init__(self, path: str | Path) -> None:
        self._stream = _Guarded(_regular_file(Path(path)), _MOST_LISTED)
        self.size = self._stream.size
        try:
            self._zip = zipfile.ZipFile(self._stream)
        except (zipfile.BadZipFile, OSError, *_UNREADABLE) as error:
            self._stream.close()
            raise ReplayError(
                f"it is no replay, or it was cut short or damaged on its way ({error}); "
                "copy it anew, or run it again"
            ) from error
        except BaseException:
            self._stream.close()
            raise
        self._stream.most = self.size
        # what unpacks to more than fits into memory is unpacked to the disk
        unpacked = sum(info.file_size for info in self._zip.infolist())
        self.on_disk = unpacked * _TABLES_PER_BYTE > memory_room()
        self._budget = _FREE_BYTES + _BYTES_PER_BYTE * self.size

    def __enter__(self) -> "Archive":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._zip.close()
        self._stream.close()

    def array(self, name: str, expected: np.dtype[Any]) -> NDArray[Any]:
        """The array ``name``, which cannot be written to, after a look at its type and size."""
        try:
            info = self._zip.getinfo(f"{name}.npy")
        except KeyError as error:
            raise ReplayError(
                f"it holds no {name}, so it is no photodrome replay or a damaged one; run it again"
            ) from error
        self._budget -= info.file_size
        if self._budget < 0:
            raise ReplayError(
                f"{name} would unpack to {info.file_size / 1e6:.0f} MB, more than a run leaves in a file "
                f"of {self.size / 1e6:.3g} MB; the file is damaged, run it again"
            )
        try:
            if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise ValueError("another way of compressing")
            content = self._content(info)
            stream = io.BytesIO(content[:_MOST_DESCRIBED].tobytes())
            if np.lib.format.read_magic(stream) != (1, 0):
                raise ValueError("another version of the .npy format")
            with warnings.catch_warnings():
                # numpy warns, and tries on, when the description of an array is not in its own writing.
                warnings.simplefilter("error")
                shape, by_columns, dtype = np.lib.format.read_array_header_1_0(stream)
        except _UNREADABLE as error:
            raise ReplayError(
                f"{name} cannot be read ({error}); the file is damaged, run it again"
            ) from error
        except zipfile.BadZipFile as error:
            raise ReplayError(
                f"{name} was damaged on its way ({error}); copy the file anew, or run it again"
            ) from error
        if dtype != expected or by_columns:
            raise ReplayError(
                f"{name} holds {columns_of(dtype)}, where {columns_of(expected)} belongs; run it again"
            )
        offset, rows = stream.tell(), max(shape, default=0)
        fills = offset + math.prod(shape) * dtype.itemsize == len(content)
        possible = min(shape, default=0) >= 0 and rows <= _MOST_ROWS and len(shape) <= _MOST_DIMENSIONS
        if not (fills and possible):
            raise ReplayError(f"{name} does not fill its shape {shape}; the file is damaged, run it again")
        array = content[offset:].view(dtype).reshape(shape)
        array.setflags(write=False)
        return array

    def _content(self, info: zipfile.ZipInfo) -> NDArray[np.uint8]:
        """All bytes of a member, after its checksum; and never more than it says, whatever it unpacks to."""
        with self._zip.open(info) as member:
            if not self.on_disk or info.file_size < _BLOCK:
                return np.frombuffer(member.read(info.file_size + 1), np.uint8)
            content = large_array((info.file_size,), np.dtype(np.uint8), on_disk=True)
            done = 0
            while block := member.read(_BLOCK):
                content[done : done + len(block)] = np.frombuffer(block, np.uint8)
                done += len(block)
        return content[:done]


class _Guarded:
    """A file that refuses to be read in pieces of more than ``most`` bytes."""

    def __init__(self, stream: BinaryIO, most: int) -> None:
        self._stream, self.most = stream, most
        self.size = os.fstat(stream.fileno()).st_size
        self.seek, self.tell, self.close = stream.seek, stream.tell, stream.close

    def seekable(self) -> bool:
        """Whether one can go anywhere in it."""
        return True

    def read(self, count: int = -1) -> bytes:
        """As of any file. Raises ReplayError where that is too much."""
        left = max(self.size - self._stream.tell(), 0)
        if (left if count < 0 else min(count, left)) > self.most:
            raise ReplayError("its list of members is longer than that of any replay; run it again")
        return self._stream.read(count)


def _regular_file(path: Path) -> BinaryIO:
    """The file at ``path``, open. Raises NotFoundError and ReplayError; waits for nobody."""
    flags = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        if path.is_symlink():
            raise ReplayError(f"it is a link, and might lead anywhere; give {os.path.realpath(path)} itself")
        descriptor = os.open(path, flags)
    except FileNotFoundError as error:
        raise NotFoundError(f"{path}: there is no such file") from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise ReplayError(f"cannot be read ({reason})") from error
    stream = os.fdopen(descriptor, "rb")
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        stream.close()
        raise ReplayError("cannot be read (it is no file, but a folder, a device or a pipe)")
    return stream
