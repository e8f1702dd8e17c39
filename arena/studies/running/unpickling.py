"""Nothing that a cluster sends is run here: what Dask would unpickle comes out as placeholders.

Dask's own protocol unpickles much of what comes in, and whoever can write a pickle can have any function
called by whoever reads it. So while a cluster is in use, Dask's reader of pickles is another one, which puts
a :class:`Foreign` in place of every class and function; and an audit hook of the interpreter (PEP 578)
refuses to look up anything for a pickle that Dask reads in whatever other way.

Results of trials do not come this way: they are bytes, which are checked.
"""

import io
import pickle
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from importlib import import_module
from types import FrameType
from typing import Any

# Packages of Dask; an unpickling that is begun in any of them is that of something sent.
_PACKAGES = ("dask", "distributed")
# The types by which Dask says that what follows are bytes.
_PLAIN = {"bytes": bytes, "memoryview": memoryview}
# How much is told of what an error was made of.
_MOST_TEXT, _MOST_PARTS, _DEEPEST = 300, 8, 4


class Foreign(Exception):  # noqa: N818 - mostly it stands for an error
    """What stands in place of an object of any class that came from elsewhere. It does nothing."""

    def __new__(cls, *args: Any, **named: Any) -> "Foreign":
        return super().__new__(cls, *args)

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args)

    def __setstate__(self, state: Any) -> None:
        """Take no state."""

    def __call__(self, *args: Any, **named: Any) -> "Foreign":
        return Foreign(*args)

    def __setitem__(self, key: Any, value: Any) -> None:
        """Hold nothing."""

    def append(self, value: Any) -> None:
        """Hold nothing."""

    def extend(self, values: Iterable[Any]) -> None:
        """Hold nothing."""

    def __str__(self) -> str:
        return " ".join(_texts(self.args, 0))[:_MOST_TEXT]


def _texts(value: Any, depth: int) -> Iterator[str]:
    """Texts and names of classes within what a placeholder was made of, not too deep."""
    if isinstance(value, str):
        yield value[:_MOST_TEXT]
    elif isinstance(value, type):
        yield value.__name__
    elif depth < _DEEPEST:
        if isinstance(value, Foreign):
            yield from _texts(value.args, depth + 1)
        elif isinstance(value, dict):
            yield from _texts(list(value.values()), depth)
        elif isinstance(value, tuple | list):
            for one in value[:_MOST_PARTS]:
                yield from _texts(one, depth + 1)


class _Reader(pickle.Unpickler):
    """Reads pickles without looking up anything."""

    def find_class(self, module: str, name: str) -> Any:
        if module == "builtins" and name in _PLAIN:
            return _PLAIN[name]
        return type(name if name.isidentifier() else "Foreign", (Foreign,), {})

    def persistent_load(self, _number: Any) -> Any:
        return Foreign()


def harmless_loads(data: Any, *, buffers: Iterable[Any] = ()) -> Any:
    """Read a pickle as the function that Dask has for it, and return plain values and placeholders."""
    try:
        return _Reader(io.BytesIO(data), buffers=buffers).load()
    except Exception as error:
        return Foreign(f"cannot be read ({error})")


def _error_of(exception: Any = None, traceback: Any = None, **_more: Any) -> tuple[Any, Any, None]:
    """In place of Dask's own, which takes nothing for an error but errors, with traces of calls."""
    if isinstance(exception, bytes | bytearray):
        exception = harmless_loads(exception)
    if exception is not None and not isinstance(exception, Exception):
        exception = Foreign(str(exception)[:_MOST_TEXT])
    return type(exception), exception, None


class _Guard:
    """An audit hook; ``count`` clusters are in use. It cannot be taken away, only be at rest."""

    def __init__(self) -> None:
        self.count = 0
        self._is_set = False

    def __call__(self, event: str, arguments: tuple[Any, ...]) -> None:
        if event == "pickle.find_class" and self.count and _is_of_cluster(sys._getframe()):
            raise pickle.UnpicklingError(f"{arguments[0]}.{arguments[1]} was sent by a cluster")

    def begin(self) -> None:
        if not self._is_set:
            sys.addaudithook(self)
            self._is_set = True
        self.count += 1


def _is_of_cluster(frame: FrameType | None) -> bool:
    while frame is not None:
        if str(frame.f_globals.get("__name__", "")).partition(".")[0] in _PACKAGES:
            return True
        frame = frame.f_back
    return False


_guard = _Guard()


@contextmanager
def nothing_unpickled() -> Iterator[None]:
    """Let Dask unpickle nothing that is sent to this process meanwhile."""
    protocol: Any = import_module("distributed.protocol.pickle")
    client: Any = import_module("distributed.client")
    instead = [
        (protocol, "loads", harmless_loads),
        (client, "loads", harmless_loads),
        (client, "clean_exception", _error_of),
    ]
    real = [(module, name, getattr(module, name)) for module, name, _ in instead]
    for module, name, harmless in instead:
        setattr(module, name, harmless)
    _guard.begin()
    try:
        yield
    finally:
        _guard.count -= 1
        for module, name, before in real:
            setattr(module, name, before)
