"""Paths of a design's values, and the sides that they mean.

A path is that of the design's file, like ``left.eye.tape`` or ``storage.capacitance``; ``both.`` in place of
a side means either one. A tolerance is ``spread.``, the path of the part, and ``uniform``, ``normal`` or
``bound``.
"""

from collections.abc import Collection
from functools import cache

from agents.text.marked_yaml import KeyPath

SIDES = ("left", "right")
BOTH = "both"
SCOPES = (BOTH, *SIDES)
"""What a path, a dial or a cure may be about: both sides alike, or one of them."""
SPREAD = "spread"


def sides_in(scope: str) -> tuple[str, ...]:
    """Return the sides that one of :data:`SCOPES` means."""
    return SIDES if scope == BOTH else (scope,)


def expanded(path: str) -> tuple[str, ...]:
    """Return the paths that a path means: one for each side, or itself where it is not of both."""
    first, _, rest = path.partition(".")
    return tuple(f"{side}.{rest}" for side in SIDES) if first == BOTH else (path,)


def of_both(path: str) -> str:
    """Return the path of both sides for that of a side; any other is itself."""
    first, _, rest = path.partition(".")
    return f"{BOTH}.{rest}" if first in SIDES else path


def of_one(place: KeyPath) -> KeyPath:
    """Return a place of a file as one of the design: that of a side where it is of both."""
    return (SIDES[0], *place[1:]) if place[:1] == (BOTH,) else place


@cache
def value_places(path: str) -> tuple[KeyPath, ...]:
    """Return the places of a design that a path sets, a tolerance's under its own name; it may be invalid."""
    first, _, below = path.partition(".")
    if first == SPREAD:
        part, _, word = below.rpartition(".")
        return ((SPREAD, part, word),)
    return tuple(tuple(one.split(".")) for one in expanded(path))


def parts_left(part: str, gone: Collection[str]) -> tuple[str, ...]:
    """Return what becomes of the path of a tolerance where the parts in ``gone`` are left out.

    That is itself, the path of one side, or nothing.
    """
    parts = expanded(part)
    kept = tuple(one for one in parts if one not in gone)
    return (part,) if kept == parts else kept
