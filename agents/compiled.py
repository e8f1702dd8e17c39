"""The one place that says how kernels are compiled.

A kernel is a small pure function on floats, records and arrays. It is marked with :func:`kernel` and
nothing else; with ``PHOTODROME_PLAIN=1`` in the environment every kernel runs as the plain Python it is
written in, so a debugger can step through it and a test can compare the two.

Finished machine code is kept on disk (:mod:`agents.codestore`), but what a kernel calls, and the constants
that it takes from other modules, are frozen into it. So the folder bears a digest of every file that holds
a kernel, and of all that those import from the house: editing any of them starts a fresh folder.
"""

import hashlib
import os
import re
import sys
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, TypeVar, cast

import platformdirs

from agents.codestore import CodeStore, KernelCache

Function = TypeVar("Function", bound=Callable[..., Any])

PLAIN = os.environ.get("PHOTODROME_PLAIN") == "1"

_ROOT = Path(__file__).resolve().parent.parent
_PACKAGES = ("agents", "replays", "arena")
_MARKED = re.compile(rb"^[ \t]*@(?:\w+\.)*kernel(?:_part)?\b", re.MULTILINE)
_IMPORT = re.compile(rb"^[ \t]*(?:from|import)[ \t]+((?:agents|replays|arena)[\w.]*)", re.MULTILINE)
_FROM_PACKAGE = re.compile(
    rb"^[ \t]*from[ \t]+((?:agents|replays|arena)[\w.]*)[ \t]+import[ \t]+(\([^)]*\)|[^\n]*)", re.MULTILINE
)


@cache
def kernel_sources() -> dict[str, bytes]:
    """Return every file on which machine code depends, by its path below the root, in order of paths.

    These are the files that hold a kernel, and all that they import from the house, directly or not.
    """
    everything = {
        path.relative_to(_ROOT).as_posix(): path.read_bytes()
        for package in _PACKAGES
        for path in (_ROOT / package).rglob("*.py")
    }
    found = {path for path, source in everything.items() if _MARKED.search(source)}
    waiting = list(found)
    while waiting:
        source = everything[waiting.pop()]
        modules = {match[1].decode() for match in _IMPORT.finditer(source)}
        for match in _FROM_PACKAGE.finditer(source):
            modules |= {f"{match[1].decode()}.{name}" for name in re.findall(r"\w+", match[2].decode())}
        for module in modules:
            place = module.replace(".", "/")
            for path in (f"{place}.py", f"{place}/__init__.py"):
                if path in everything and path not in found:
                    found.add(path)
                    waiting.append(path)
    return {path: everything[path] for path in sorted(found)}


@cache
def kernels_digest() -> str:
    """Return the digest (SHA-256, hexadecimal) of every file on which machine code depends."""
    digest = hashlib.sha256()
    for path, source in kernel_sources().items():
        digest.update(f"{path} {len(source)}\n".encode())
        digest.update(source)
    return digest.hexdigest()


@cache
def code_store() -> CodeStore:
    """Return the store of this version's machine code, in the user's folder for caches."""
    try:
        folder = Path(platformdirs.user_cache_dir("photodrome", appauthor=False))
    except (OSError, RuntimeError):
        folder = Path()
    # without a home there may be no such place
    return CodeStore(folder / kernels_digest()[:16] if folder.is_absolute() else None)


def kernel(function: Function) -> Function:
    """Compile ``function`` at its first call and keep the result on disk.

    Division by zero gives inf or nan as numpy does, instead of raising; the interpreter lock is released,
    so that threads can run independent arenas side by side. A kernel allocates nothing and returns no array,
    so that nobody has to count who holds its arrays; counting takes a quarter of a run. What it calls
    becomes a part of it (:mod:`agents.linking`).
    """
    return _compiled(function, {"_nrt": False}, {"_nrt": False})


def kernel_part(function: Function) -> Function:
    """Compile ``function`` as a part of the kernel that calls it, as if it were written there.

    For the upper floors of a tall house of kernels, which hand on many arrays and are called at few places.
    Called from Python, a part runs by itself, and may return arrays.
    """
    return _compiled(function, {}, {"_nrt": False, "forceinline": True})


def _compiled(function: Function, alone: dict[str, Any], called: dict[str, Any]) -> Function:
    if PLAIN:
        return function
    # each option is given, since a function takes those that are not from the one that calls it
    always = {"nogil": True, "error_model": "numpy", "no_cfunc_wrapper": True, "forceinline": False}
    # numba's own types lag behind what it accepts, so it comes in untyped
    linking: Any = import_module("agents.linking")
    dispatcher = linking.joined_kernel(function, {**always, **alone}, {**always, **called})
    dispatcher._cache = KernelCache(code_store, function, counts=alone.get("_nrt", True))
    return cast(Function, dispatcher)


def compiled_so_far() -> int:
    """Return the number of functions that were compiled in this process, told while it lasts."""
    linking: Any = sys.modules.get("agents.linking")
    return 0 if linking is None else int(linking.translated)
