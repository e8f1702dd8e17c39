"""Arenas: where walkers of all designs meet light, walls and one another, and the command line.

The names below are fetched when they are first asked for.
"""

from typing import TYPE_CHECKING

from agents.lazy_names import fetcher

if TYPE_CHECKING:
    from arena.scene.contest import Contest, read_contest
    from arena.scene.spec import ArenaSpec, read_arena
    from arena.simulation import simulate
    from arena.studies.plans.study import Study, read_study
    from arena.studies.running.sweeping import SweepResult, run_sweep

__all__ = [
    "ArenaSpec",
    "Contest",
    "Study",
    "SweepResult",
    "read_arena",
    "read_contest",
    "read_study",
    "run_sweep",
    "simulate",
]

_HOMES = {
    "ArenaSpec": "arena.scene.spec",
    "Contest": "arena.scene.contest",
    "Study": "arena.studies.plans.study",
    "SweepResult": "arena.studies.running.sweeping",
    "read_arena": "arena.scene.spec",
    "read_contest": "arena.scene.contest",
    "read_study": "arena.studies.plans.study",
    "run_sweep": "arena.studies.running.sweeping",
    "simulate": "arena.simulation",
}

__getattr__ = fetcher(__name__, _HOMES)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
