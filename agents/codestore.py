"""Finished machine code of kernels on disk: what is damaged is thrown away, and no room is no failure.

numba's own store keeps an index and data files that it trusts blindly; a power cut that leaves one of them
half written stops every later command. Here each version of a kernel is one file that bears a checksum over
all of it. Files appear whole or not at all, so any number of processes may compile at once: the last one
wins, and all wrote the same. Whatever goes wrong costs the time to compile, and a line in the log.
"""

import contextlib
import hashlib
import logging
import os
import pickle
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

_LOG = logging.getLogger("photodrome")

# What a file begins with; the checksum (SHA-256) of the rest stands behind it.
_MARK = b"photodrome machine code 1\n"
_DIGEST_SIZE = hashlib.sha256().digest_size

# Folders of earlier versions that stay, and the age [s] from which others go: by then no process that runs
# still has to read them.
FOLDERS_KEPT = 3
OLD = 60 * 24 * 3600.0
# A file that was never finished goes after this time [s], and the time of use is told as coarsely.
DAY = 24 * 3600.0


class CodeStore:
    """The store of all kernels of one version of the program: ``folder``, or None where nothing is kept.

    One file holds one kernel for one set of argument types; ``load`` and ``save`` know it by its name.
    """

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self._keeps = True
        self._once: set[str] = set()

    def load(self, name: str) -> bytes | None:
        """Return what was saved under ``name``; None if it is not there, or damaged and so thrown away."""
        if self.folder is None:
            return None
        path = self.folder / name
        try:
            content = path.read_bytes()
        except OSError:
            return None
        start = len(_MARK) + _DIGEST_SIZE
        data = content[start:]
        if content[:start] == _MARK + hashlib.sha256(data).digest():
            self._mark_used()
            return data
        self.discard(name)
        return None

    def discard(self, name: str) -> None:
        """Throw away what is kept under ``name`` because it is damaged, and say so once."""
        assert self.folder is not None
        with contextlib.suppress(OSError):
            (self.folder / name).unlink()
        self._tell("damaged", f"kept machine code in {self.folder} was damaged; it is compiled anew")

    def save(self, name: str, data: bytes) -> bool:
        """Keep ``data`` under ``name``; where there is no room, say so once and keep nothing more.

        Returns whether it is kept.
        """
        if self.folder is None:
            self._tell("no room", "there is no folder to keep machine code in: every start compiles anew")
        if self.folder is None or not self._keeps:
            return False
        try:
            self._tidy()
            self.folder.mkdir(parents=True, exist_ok=True)
            self._write(self.folder / name, _MARK + hashlib.sha256(data).digest() + data)
        except OSError as error:
            self._keeps = False
            why = error.strerror or str(error)
            self._tell(
                "no room", f"machine code cannot be kept in {self.folder} ({why}); every start compiles anew"
            )
        return self._keeps

    def _write(self, path: Path, content: bytes) -> None:
        handle, unfinished = tempfile.mkstemp(prefix="unfinished-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            try:
                Path(unfinished).replace(path)
            except PermissionError:
                # on Windows, while another process reads the same file, which then is as good
                if not path.exists():
                    raise
                Path(unfinished).unlink()
        except BaseException:
            with contextlib.suppress(OSError):
                Path(unfinished).unlink()
            raise

    def _tidy(self) -> None:
        """Before the first file of a new folder, remove old folders; in an old one, what was left over."""
        assert self.folder is not None
        if "tidied" in self._once:
            return
        self._once.add("tidied")
        if self.folder.is_dir():
            remove_left_over(self.folder)
        else:
            remove_old_folders(self.folder.parent)

    def _mark_used(self) -> None:
        """Let the folder's time say when it was last of use, to a day."""
        if "used" in self._once:
            return
        self._once.add("used")
        assert self.folder is not None
        with contextlib.suppress(OSError):
            if time.time() - self.folder.stat().st_mtime > DAY:
                os.utime(self.folder)

    def _tell(self, what: str, words: str) -> None:
        if what not in self._once:
            self._once.add(what)
            _LOG.warning("%s", words)


def remove_left_over(folder: Path) -> None:
    """Remove files of ``folder`` that a killed process never finished."""
    with contextlib.suppress(OSError):
        for path in folder.glob("unfinished-*"):
            if time.time() - path.stat().st_mtime > DAY:
                path.unlink()


def remove_old_folders(parent: Path) -> None:
    """Remove stores of earlier versions in ``parent``: all but the newest few, if nobody used them for long.

    Only folders that are named like a store are touched, and no link is followed.
    """
    found: list[tuple[float, Path]] = []
    with contextlib.suppress(OSError):
        for path in parent.iterdir():
            named = len(path.name) == 16 and set(path.name) <= set("0123456789abcdef")
            if named and path.is_dir() and not path.is_symlink():
                found.append((path.stat().st_mtime, path))
    found.sort(reverse=True)
    for changed, path in found[FOLDERS_KEPT:]:
        if time.time() - changed > OLD:
            shutil.rmtree(path, ignore_errors=True)


class KernelCache:
    """What numba's dispatcher asks for finished code of one ``function``, over a :class:`CodeStore`.

    ``counts`` says whether its code counts who holds an array, as code does that returns one.
    """

    def __init__(self, store: Callable[[], CodeStore], function: Callable[..., Any], counts: bool) -> None:
        self._store = store
        self._counts = counts
        self._function: Any = function
        self._enabled = True

    @property
    def cache_path(self) -> str:
        """The folder of the store, for numba's own statistics."""
        return str(self._store().folder)

    def enable(self) -> None:
        """Load and save from now on."""
        self._enabled = True

    def disable(self) -> None:
        """Neither load nor save from now on."""
        self._enabled = False

    def flush(self) -> None:
        """Forget nothing: whatever is compiled anew writes over what is there."""

    def load_overload(self, signature: Any, target: Any) -> Any:
        """Return the function compiled for ``signature`` as it was saved, or None."""
        name = self._name(signature, target.codegen())
        data = self._store().load(name) if name is not None else None
        if data is None:
            return None
        assert name is not None
        if self._counts:
            # what counts stands in the compiler's tables, which all other code does without: they are slow
            target.refresh()
        compiler: Any = import_module("numba.core.compiler")
        try:
            return compiler.CompileResult._rebuild(target, *pickle.loads(data))
        except Exception:
            # whole, and yet of no use: whatever it is, it is compiled anew
            self._store().discard(name)
            return None

    def save_overload(self, signature: Any, result: Any) -> None:
        """Keep what was compiled for ``signature``."""
        name = self._name(signature, result.codegen)
        if name is None or result.library.has_dynamic_globals or result.lifted:
            return
        serialize: Any = import_module("numba.core.serialize")
        self._store().save(name, serialize.dumps(result._reduce()))

    def _name(self, signature: Any, codegen: Any) -> str | None:
        """The file's name, which stands for all that the machine code depends on but other files' kernels."""
        function = self._function
        source = _source_digest(function.__code__.co_filename)
        if not self._enabled or source is None or function.__closure__ is not None:
            return None
        line = function.__code__.co_firstlineno
        parts = (str(signature), codegen.magic_tuple(), source, function.__qualname__, line, _versions())
        digest = hashlib.sha256(repr(parts).encode()).hexdigest()
        module = function.__module__.rpartition(".")[2]
        return f"{module}.{function.__name__}-{digest[:24]}.code"


@cache
def _source_digest(file: str) -> str | None:
    try:
        return hashlib.sha256(Path(file).read_bytes()).hexdigest()
    except OSError:
        return None


@cache
def _versions() -> tuple[str, ...]:
    return sys.version, *(import_module(name).__version__ for name in ("numba", "llvmlite", "numpy"))
