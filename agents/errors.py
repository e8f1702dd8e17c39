"""Everything that photodrome raises on purpose.

PhotodromeError
├── InputError            the input is wrong; the command line exits with 2
│   ├── SpecError         a YAML file says something impossible; holds every fault of the file at once
│   ├── NotFoundError     a file or a shipped name that is not there
│   ├── OptionError       a value on the command line that cannot be used
│   └── ReplayError       a replay that is damaged, or of another version
└── WorkError             the input is right, the work failed; the command line exits with 1
    ├── StoppedError      Ctrl-C has ended it; the command line exits with 130
    ├── OutputError       a file that cannot be written
    └── ModelError        a kernel reported a state that the model cannot follow
        └── ConvergenceError  an iteration found no answer within its rounds
"""

import difflib
from collections.abc import Collection, Iterable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any

# More of a text than this nobody reads in a message.
_LONGEST = 1000

REFUSAL = "got {got}, expected {expected}"
"""How every refusal of a value is worded."""


def refusal(got: str, expected: str, near: str = "") -> str:
    """Return why a value is refused, in words; ``near`` is the nearest right one, or empty."""
    return REFUSAL.format(got=got, expected=expected) + nearest_note(near)


def nearest_note(near: str) -> str:
    """Return the note that ends a message with the nearest right word; empty where there is none."""
    return f" (nearest: {near})" if near else ""


def nearest(word: str, words: Iterable[str], cutoff: float = 0.6) -> str:
    """Return the one of ``words`` that is most like ``word``, or empty where none is alike enough.

    ``cutoff`` is the least likeness, 0 to 1, as :func:`difflib.get_close_matches` has it.
    """
    found = difflib.get_close_matches(word, list(words), n=1, cutoff=cutoff)
    return found[0] if found else ""


class PhotodromeError(Exception):
    """Base of all errors that the program raises on purpose."""


class InputError(PhotodromeError):
    """The input is wrong."""


class NotFoundError(InputError):
    """A file, or a shipped name, that is not there."""


class OptionError(InputError):
    """A value on the command line that cannot be used."""


class ReplayError(InputError):
    """A replay that is damaged, or of another version."""


class WorkError(PhotodromeError):
    """The input is right, the work failed."""


class StoppedError(WorkError):
    """Ctrl-C has ended the work; the words say what became of it."""


class OutputError(WorkError):
    """A file that cannot be written."""


class ModelError(WorkError):
    """A kernel reported a state that the model cannot follow."""


class ConvergenceError(ModelError):
    """An iteration found no answer within its rounds; :mod:`agents.circuit.status` has the codes."""


@dataclass(frozen=True, order=True)
class Fault:
    """One thing that is wrong in a YAML file.

    ``line`` and ``column`` count from 1. ``key`` is the path of the key, like ``both.eye.tape``; empty for
    the file as a whole. ``near`` is the nearest valid key or word, or empty.
    """

    file: str
    line: int
    column: int
    key: str
    got: str
    expected: str
    near: str = ""

    def __post_init__(self) -> None:
        """Cut short what is too long to be read."""
        for name in ("key", "got", "expected", "near"):
            text = getattr(self, name)
            if len(text) > _LONGEST:
                object.__setattr__(self, name, f"{text[:_LONGEST]}...")

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}: "
        key = f"{self.key}: " if self.key else ""
        return f"{place}{key}{refusal(self.got, self.expected, self.near)}"


MOST_FAULTS = 100
"""Faults that are told at once; of more, their number."""


def more_faults(file: str, count: int) -> str:
    """Say that a file has so many more faults than have been told."""
    return f"{file}: and {count:,} more fault{'' if count == 1 else 's'}"


class SpecError(InputError):
    """A YAML file that cannot be used.

    ``faults`` lists what is wrong with it in file order, :data:`MOST_FAULTS` at the most; there are ``more``
    beside these.
    """

    def __init__(self, faults: Iterable[Fault], more: int = 0) -> None:
        found = sorted(faults)
        self.faults = found[:MOST_FAULTS]
        self.more = more + len(found) - len(self.faults)
        super().__init__("\n".join(self.lines()))

    def lines(self) -> list[str]:
        """What is wrong, a line each, and how many faults more there are."""
        lines = [str(fault) for fault in self.faults]
        if self.more:
            lines.append(more_faults(self.faults[-1].file, self.more))
        return lines


def raise_first(futures: Sequence[Future[Any]], finished: Collection[Future[Any]]) -> None:
    """Raise what one of the ``finished`` has raised, and of several ``futures`` that fail the first in order.

    Those before it are waited for, the others cancelled, so that the error is the same for any number of
    threads.
    """
    failed = [number for number, future in enumerate(futures) if future in finished and future.exception()]
    if failed:
        for future in futures[failed[0] + 1 :]:
            future.cancel()
        for future in futures[: failed[0] + 1]:
            future.result()
