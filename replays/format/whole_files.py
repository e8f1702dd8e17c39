"""Files that are either there whole or not there at all."""

import contextlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from agents.errors import OutputError


def write_whole(path: Path, content: bytes) -> None:
    """Put ``content`` [bytes] at ``path``, whole or not at all, as :func:`whole_file` does."""
    with whole_file(path) as stream:
        stream.write(content)


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """Give a stream, and put what is written to it at ``path``, or leave everything as it was.

    The bytes go to a new file in the same folder, are forced to the disk, and only then take the name; a
    reader never meets half a file. Whatever stops the work, Ctrl-C included, the new file is removed. A link
    stays a link: what it points to is replaced.

    Raises OutputError when the file cannot be written, or when something other than a file stands there.
    """
    try:
        target, part = _places(path)
        try:
            with part.open("xb") as stream:
                yield stream
                stream.flush()
                os.fsync(stream.fileno())
            part.replace(target)
        except BaseException:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise _refusal(path, error) from error
    force_folder(target.parent)


def fingerprint_of(path: Path) -> tuple[int, int, int] | None:
    """What tells the file at ``path`` from any other that takes its name; None while no file is there.

    As the new file of :func:`whole_file` is there before the old one goes, no two have the same fingerprint.
    """
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino, found.st_mtime_ns


def make_folder(path: Path) -> None:
    """Make the folder ``path`` and those above it, where they are not there. Raises OutputError."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{path}: no folder can be made there ({error.strerror})") from error


def check_writable(path: Path) -> None:
    """Raise OutputError if no file can be written at ``path``; leaves nothing behind."""
    try:
        _, part = _places(path)
        try:
            with part.open("xb"):
                pass
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise _refusal(path, error) from error


def _places(path: Path) -> tuple[Path, Path]:
    """The file that ``path`` comes down to, and a new one beside it. Raises OSError where none can be."""
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise IsADirectoryError(None, "it is a folder")
    if target.exists() and not target.is_file():
        # A device would not be written to, but replaced.
        raise OSError(None, "something that is no file stands there")
    if not target.parent.exists():
        raise FileNotFoundError(None, f"there is no folder {path.parent}")
    return target, target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")


def _refusal(path: Path, error: OSError) -> OutputError:
    reason = error.strerror or str(error)
    return OutputError(f"{path}: cannot be written ({reason}); choose another place")


def force_folder(folder: Path) -> None:
    """Force the names in ``folder`` to the disk, where the system lets a folder be opened.

    A new name survives a power cut only then; its file is whole either way.
    """
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
