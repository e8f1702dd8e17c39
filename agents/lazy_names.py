"""Public names of a package that are fetched when they are first asked for.

Whoever needs one of them does not wait for the imports of all the others.
"""

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from importlib import import_module
from typing import Any


def fetcher(package: str, homes: Mapping[str, str]) -> Callable[[str], object]:
    """Return a module's ``__getattr__`` that fetches each name of ``homes`` from the module it gives."""

    def fetch(name: str) -> object:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(homes[name]), name)

    return fetch


@contextmanager
def hidden(module: str) -> Iterator[None]:
    """Let what is imported meanwhile find that ``module`` is not installed, unless it is loaded already."""
    modules: dict[str, Any] = sys.modules
    if module in modules:
        yield
        return
    modules[module] = None
    try:
        yield
    finally:
        modules.pop(module, None)
