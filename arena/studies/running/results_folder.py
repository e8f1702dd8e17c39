"""Which files in a folder of results are ours, and how new ones get there.

A file is ours when its name and the digest of what it holds were written down before it took its place; where
they are written down is the affair of a sweep or a search (:class:`Claims`). Whatever else stands in the
folder is somebody's: a file that was changed since, a link, a folder. It is neither written over nor removed,
and a run that would need its name is refused before it begins. Results are made in a hidden folder of their
own inside, and move from there by name alone; so no link that lies in the folder is ever followed.

The folder itself may be a link, for whoever names it means where it leads.
"""

import contextlib
import hashlib
import os
import re
import secrets
import shutil
import stat
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Protocol

from agents.errors import InputError, OutputError
from replays.format.whole_files import force_folder

# What systems put in folders by themselves and would not be missed; names with a dot in front count likewise.
_SYSTEM_FILES = {"thumbs.db", "desktop.ini", "icon\r"}
# Endings of files and folders that are not finished, as replays.format.whole_files and publish() name them.
_PART = re.compile(r"\.(.+)\.[0-9a-f]{8}\.part")
_STAGE = "results"
_MOST_NAMED = 3


class Claims(Protocol):
    """What is written down of the files in a folder of results: the digests that each may have, by name."""

    def claimed(self) -> Mapping[str, Collection[str]]:
        """Digests by name."""

    def claim(self, digests: Mapping[str, str]) -> None:
        """Add a digest to those that a name may have."""

    def settle(self, digests: Mapping[str, str]) -> None:
        """Leave a name this digest only."""


def check_empty(folder: Path, besides: Collection[str] = ()) -> None:
    """Raise InputError where a folder without results of ours holds anything but the names ``besides``."""
    found = sorted(
        name
        for name in _names(folder)
        if not name.startswith(".") and name.lower() not in _SYSTEM_FILES and name not in besides
    )
    if found:
        raise InputError(
            f"{folder}: is not empty and holds no results of this plan (found {_listed(found)}); "
            "empty it, or choose another folder with --folder"
        )


def check_own(folder: Path, names: Iterable[str], claimed: Mapping[str, Collection[str]]) -> None:
    """Raise InputError where something that is not ours has one of the names that we are to write."""
    foreign = [name for name in names if not _is_own(folder / name, claimed.get(name, ()))]
    if foreign:
        raise InputError(
            f"{folder}: {_listed(foreign)} would be written over, but {'is' if len(foreign) == 1 else 'are'} "
            "not as this program left it; move what is yours away, or choose another folder with --folder"
        )


def as_found(folder: Path, names: Iterable[str]) -> dict[str, set[str]]:
    """Digests of the files with these names as they are, for folders in which none are written down."""
    files = (folder / name for name in names)
    return {path.name: {_digest(path)} for path in files if path.is_file() and not path.is_symlink()}


def check_single(path: Path) -> None:
    """Raise InputError where ``path``, which is written in place, is a link or has other names elsewhere.

    Raises OutputError where something that is no file stands there.
    """
    try:
        found = path.lstat()
    except OSError:
        return
    if stat.S_ISLNK(found.st_mode):
        raise InputError(
            f"{path}: is a link, and what it leads to would be written over; remove the link, or choose "
            "another folder with --folder"
        )
    if not stat.S_ISREG(found.st_mode):
        raise OutputError(f"{path}: something that is no file stands there; choose another --folder")
    if found.st_nlink > 1:
        raise InputError(
            f"{path}: has {found.st_nlink} names (hard links), and the file would change under all of them; "
            "put a copy in its place, or choose another folder with --folder"
        )


@contextlib.contextmanager
def publish(folder: Path, claims: Claims) -> Iterator[Path]:
    """Give an empty folder to write results in, and move them to ``folder`` when all are there.

    Whatever stops it, each file in ``folder`` is whole, old or new, and is known as ours. Raises OutputError
    where one cannot be written, or something that is not ours has taken its name meanwhile.
    """
    stage = folder / f".{_STAGE}.{secrets.token_hex(4)}.part"
    try:
        stage.mkdir()
    except OSError as error:
        raise OutputError(f"{folder}: cannot be written to ({error.strerror})") from error
    try:
        yield stage
        digests = {path.name: _digest(path) for path in sorted(stage.iterdir())}
        try:
            check_own(folder, digests, claims.claimed())
        except InputError as error:
            raise OutputError(str(error)) from error
        claims.claim(digests)
        for name in digests:
            try:
                (stage / name).replace(folder / name)
            except OSError as error:
                raise OutputError(f"{folder / name}: cannot be written ({error.strerror})") from error
        force_folder(folder)
        claims.settle(digests)
    except OutputError as error:
        # nobody knows the hidden folder
        inside = f"{stage}{os.sep}"
        if inside not in str(error):
            raise
        raise OutputError(str(error).replace(inside, str(folder / "_")[:-1])) from error
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def remove_own(folder: Path, names: Iterable[str], claims: Claims) -> None:
    """Remove files of ours that are about to be no longer true. Raises OutputError."""
    claimed = claims.claimed()
    for name in names:
        if _is_own(folder / name, claimed.get(name, ())):
            _remove(folder / name, lambda path: path.unlink(missing_ok=True))


def tidy(folder: Path, names: Collection[str]) -> None:
    """Remove what a killed run left half written of files with these names. Raises OutputError."""
    for name in _names(folder):
        match = _PART.fullmatch(name)
        if match is None:
            continue
        path = folder / name
        if match[1] == _STAGE and path.is_dir() and not path.is_symlink():
            _remove(path, shutil.rmtree)
        elif match[1] in names and path.is_file() and not path.is_symlink():
            _remove(path, lambda path: path.unlink(missing_ok=True))


def _is_own(path: Path, digests: Collection[str]) -> bool:
    """Whether a name is free, or a file of ours has it."""
    try:
        found = path.lstat()
    except FileNotFoundError:
        return True
    except OSError as error:
        raise OutputError(f"{path}: cannot be looked at ({error.strerror})") from error
    return stat.S_ISREG(found.st_mode) and bool(digests) and _digest(path) in digests


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise OutputError(f"{path}: cannot be read ({error.strerror})") from error


def _names(folder: Path) -> list[str]:
    try:
        return [path.name for path in folder.iterdir()]
    except OSError as error:
        raise OutputError(f"{folder}: cannot be looked into ({error.strerror})") from error


def _remove(path: Path, remove: Callable[[Path], None]) -> None:
    try:
        remove(path)
    except OSError as error:
        raise OutputError(f"{path}: cannot be removed ({error.strerror})") from error


def _listed(names: list[str]) -> str:
    shown = ", ".join(names[:_MOST_NAMED])
    return shown if len(names) <= _MOST_NAMED else f"{shown} and {len(names) - _MOST_NAMED} more"
