"""What the workers of a cluster run: they get texts, and give back bytes.

Nothing but bytes goes back, so that nobody has to unpickle what a worker says: a letter, and behind it what
it stands for.
"""

import json
import socket
from functools import lru_cache
from importlib.metadata import version

from agents.errors import InputError, PhotodromeError
from arena.studies.plans.study import Study
from arena.studies.running.rounding import arithmetic
from arena.studies.running.trials import run_chunk

ROWS, REFUSAL, FAILURE, WHO = b"R", b"N", b"F", b"W"
"""Rows of TRIAL follow; or why the worker must not run the study; or what went wrong; or JSON: who it is."""

OTHERWISE = (
    "these workers round otherwise, so that trials would not come out the same; use machines of one kind, "
    "with the same numpy and numba"
)


@lru_cache(maxsize=2)
def _study_of(payload: str) -> Study:
    """The study of a payload, made once in the process of a worker."""
    return Study.from_payload(payload)


def _refusal(payload: str) -> str:
    """Why this worker cannot run the study; empty where it can."""
    try:
        _study_of(payload)
    except InputError as error:
        return f"{socket.gethostname()} has photodrome {version('photodrome')}, and {error}"
    return ""


def who(payload: str) -> bytes:
    """What a worker says of itself: its arithmetic, and why it cannot run the study, or nothing."""
    return WHO + json.dumps({"arithmetic": arithmetic(), "refusal": _refusal(payload)}).encode()


def chunk(payload: str, number: int, wanted: str) -> bytes:
    """The rows of a chunk, or why this worker must not run it, or what went wrong."""
    refusal = _refusal(payload)
    if not refusal and arithmetic() != wanted:
        refusal = f"{socket.gethostname()}: {OTHERWISE}"
    if refusal:
        return REFUSAL + refusal.encode()
    try:
        return ROWS + run_chunk(_study_of(payload), number).tobytes()
    except (PhotodromeError, ArithmeticError, ValueError, TypeError, LookupError, MemoryError) as error:
        return FAILURE + f"{socket.gethostname()}: {type(error).__name__}: {error}".encode()
