"""Everything that photodrome raises on purpose.

PhotodromeError
├── InputError            the input is wrong; the command line exits with 2
│   ├── SpecError         a YAML file says something impossible; holds every fault of the file at once
│   ├── NotFoundError     a file or a shipped name that is not there
│   ├── OptionError       a value on the command line that cannot be used
│   └── ReplayError       a replay that is damaged, or of another version
└── WorkError             the input is right, the work failed; the command line exits with 1
    ├── OutputError       a file that cannot be written
    └── ModelError        a kernel reported a state that the model cannot follow
        └── ConvergenceError  an iteration found no answer within its rounds
"""

from collections.abc import Collection, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any


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


class OutputError(WorkError):
    """A file that cannot be written."""


class ModelError(WorkError):
    """A kernel reported a state that the model cannot follow."""


class ConvergenceError(ModelError):
    """An iteration found no answer within its rounds; :mod:`agents.status` has the codes."""


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

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}: "
        key = f"{self.key}: " if self.key else ""
        near = f" (nearest: {self.near})" if self.near else ""
        return f"{place}{key}got {self.got}, expected {self.expected}{near}"


class SpecError(InputError):
    """A YAML file that cannot be used; ``faults`` lists all that is wrong with it, in file order."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = sorted(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


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
