"""Faults that checks of several keys find, each at the path of the key at which it is to be shown."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from agents.errors import refusal
from agents.text.marked_yaml import KeyPath, path_text


class KeyedError(ValueError):
    """A fault that a spec's own check found, at the path of a key relative to that spec."""

    def __init__(self, path: KeyPath, got: str, expected: str, near: str = "") -> None:
        self.path, self.got, self.expected, self.near = path, got, expected, near
        super().__init__(f"{path_text(path)}: {refusal(got, expected)}")


class KeyedErrors(ValueError):  # noqa: N818 - several of them, hence the plural
    """Several of them, so that all that was found can be told at once."""

    def __init__(self, errors: Iterable[KeyedError]) -> None:
        self.errors = list(errors)
        super().__init__("; ".join(str(error) for error in self.errors))


class UnreadError(Exception):
    """A check asks for a value that could not be read, so that it has nothing to say of it."""


Check = Callable[[Any], Iterator[KeyedError]]
"""Yields what is wrong between the fields of a spec; see :func:`cross_check`."""

_MARK = "_is_cross_check"


def cross_check(check: Check) -> Check:
    """Mark a method of a spec that yields what is wrong between several of its fields.

    Each such check of a spec is run, whatever the others find. Where parts of a file could not be read it is
    run on those that could: a field that is not among them raises UnreadError, which ends the check. One that
    goes through many parts catches that for each, so that one part hides nothing in another.
    """
    setattr(check, _MARK, True)
    return check


def cross_checks_of(model: type) -> tuple[Check, ...]:
    """The checks of a spec's class, those of its bases first."""
    found: dict[str, Check] = {}
    for base in reversed(model.__mro__):
        found |= {name: one for name, one in vars(base).items() if hasattr(one, _MARK)}
    return tuple(found.values())
