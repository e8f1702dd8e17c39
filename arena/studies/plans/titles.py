"""What the values are called that a plan varies, where people read of them rather than write them.

The words are the titles of the fields themselves, as the reference of all fields has them too.
"""

from typing import Any

from agents.design.spec import Design, Tolerance
from agents.design.values_by_path import SIDES
from agents.text.shapes import title_at
from arena.scene.spec import ArenaSpec

# What is made of the outline of a thing has no field of its own.
_OF_OUTLINES = {
    "x": "place along x",
    "y": "place along y",
    "size_x": "size along x",
    "size_y": "size along y",
}


def title_of(path: str, arena: ArenaSpec) -> str:
    """What stands at the ``path`` of a plan, in words.

    ``arena`` is one of its arenas, which knows the names of what stands there.
    """
    head, _, rest = path.partition(".")
    if not rest:
        return head
    return design_title(rest) if head == "design" else _arena_title(rest, arena)


def design_title(path: str) -> str:
    """What stands at the ``path`` of a design, like ``both.feeler`` or ``spread.both.feeler.normal``."""
    head, _, rest = path.partition(".")
    if head == "spread":
        part, _, word = rest.rpartition(".")
        return f"{design_title(part)}, {title_at(Tolerance, word)}"
    if head == "both":
        return title_at(Design, f"{SIDES[0]}.{rest}").removeprefix(f"{title_at(Design, SIDES[0])} ")
    return title_at(Design, path)


def _named_in(arena: ArenaSpec) -> tuple[tuple[Any, ...], ...]:
    return arena.walls, arena.shades, arena.lamps, arena.goals, arena.gates


def _arena_title(path: str, arena: ArenaSpec) -> str:
    names = [one.name for many in _named_in(arena) for one in many]
    *before, last = title_at(ArenaSpec, path, names).split(" ")
    return " ".join((*before, _OF_OUTLINES.get(last, last)))
