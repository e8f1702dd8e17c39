"""Files that are either there whole or not there at all."""

import contextlib
import os
import secrets
from pathlib import Path

from agents.errors import OutputError


def write_whole(path: Path, content: bytes) -> None:
    """Put ``content`` [bytes] at ``path``, replacing what stood there, or leave everything as it was.

    The bytes go to a new file in the same folder, are forced to the disk, and only then take the name; a
    reader never meets half a file. Whatever stops the work, Ctrl-C included, the new file is removed.

    Raises OutputError when the file cannot be written.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        try:
            with part.open("xb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            part.replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
            raise
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"{path}: cannot be written ({reason}); choose another place") from error
    _force_folder(path.parent)


def check_writable(path: Path) -> None:
    """Raise OutputError if no file can be written at ``path``; leaves nothing behind."""
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        if path.is_dir():
            raise IsADirectoryError(None, "it is a folder")
        with part.open("xb"):
            pass
        part.unlink()
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"{path}: cannot be written ({reason}); choose another place") from error


def _force_folder(folder: Path) -> None:
    # The new name itself survives a power cut only once the folder is on the disk; not every system can
    # open a folder, and the file is whole either way.
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
