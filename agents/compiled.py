"""The one place that says how kernels are compiled.

A kernel is a small pure function on floats, records and arrays. It is marked with :func:`kernel` and
nothing else; with ``PHOTODROME_PLAIN=1`` in the environment every kernel runs as the plain Python it is
written in, so a debugger can step through it and a test can compare the two.

The compiler keeps finished machine code on disk, but notices only changes in the very file that holds a
function, not in the kernels that it calls. So the cache folder bears a digest of every file that holds a
kernel: editing any of them starts a fresh folder.
"""

import hashlib
import os
from collections.abc import Callable
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, TypeVar, cast

import platformdirs

Function = TypeVar("Function", bound=Callable[..., Any])

PLAIN = os.environ.get("PHOTODROME_PLAIN") == "1"

_ROOT = Path(__file__).resolve().parent.parent


@cache
def kernels_digest() -> str:
    """Return the digest (SHA-256, hexadecimal) of every file that holds a kernel."""
    digest = hashlib.sha256()
    for package in ("agents", "replays", "arena"):
        for path in sorted((_ROOT / package).rglob("*.py")):
            source = path.read_bytes()
            if b"@kernel" in source:
                digest.update(path.relative_to(_ROOT).as_posix().encode())
                digest.update(source)
    return digest.hexdigest()


@cache
def _cache_folder() -> str:
    folder = platformdirs.user_cache_dir("photodrome", appauthor=False)
    return str(Path(folder) / kernels_digest()[:16])


def kernel(function: Function) -> Function:
    """Compile ``function`` at its first call and keep the result on disk.

    Division by zero gives inf or nan as numpy does, instead of raising; the interpreter lock is released,
    so that threads can run independent arenas side by side. A kernel allocates nothing and returns no array,
    so that nobody has to count who holds its arrays; counting takes a quarter of a run. A place where nothing
    can be kept on disk (a read-only home) costs the compile time at every start, and nothing else.
    """
    return _compiled(function, _nrt=False)


def kernel_part(function: Function) -> Function:
    """Compile ``function`` as a part of the kernel that calls it, as if it were written there.

    For the upper floors of a tall house of kernels, since each kernel takes a copy of all that it calls,
    directly or not, and has it compiled anew. Small kernels at the bottom are better left on their own.
    Called from Python, a part runs by itself, and may return arrays.
    """
    return _compiled(function, inline="always")


def _compiled(function: Function, **special: Any) -> Function:
    if PLAIN:
        return function
    options = {"nogil": True, "error_model": "numpy", "no_cfunc_wrapper": True, **special}
    # numba's own types lag behind what it accepts, so it comes in untyped
    numba: Any = import_module("numba")
    config: Any = numba.core.config
    kept = config.CACHE_DIR
    config.CACHE_DIR = _cache_folder()
    try:
        return cast(Function, numba.njit(cache=True, **options)(function))
    except (RuntimeError, OSError):
        return cast(Function, numba.njit(**options)(function))
    finally:
        config.CACHE_DIR = kept
