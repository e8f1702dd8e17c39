"""Arenas: where walkers of all designs meet light, walls and one another, and the command line.

The names below are fetched when they are first asked for. A contest is run by
:func:`arena.simulation.simulate`.
"""

from typing import TYPE_CHECKING

from agents.lazy import fetcher

if TYPE_CHECKING:
    from arena.scene.contest import Contest, read_contest
    from arena.scene.spec import ArenaSpec, read_arena

__all__ = ["ArenaSpec", "Contest", "read_arena", "read_contest"]

_HOMES = {
    "ArenaSpec": "arena.scene.spec",
    "Contest": "arena.scene.contest",
    "read_arena": "arena.scene.spec",
    "read_contest": "arena.scene.contest",
}

__getattr__ = fetcher(__name__, _HOMES)
