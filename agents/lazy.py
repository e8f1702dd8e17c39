"""Public names of a package that are fetched when they are first asked for.

Whoever needs one of them does not wait for the imports of all the others.
"""

from collections.abc import Callable, Mapping
from importlib import import_module


def fetcher(package: str, homes: Mapping[str, str]) -> Callable[[str], object]:
    """Return a module's ``__getattr__`` that fetches each name of ``homes`` from the module it gives."""

    def fetch(name: str) -> object:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(homes[name]), name)

    return fetch
