"""The finishing order of one race, from what its walkers did.

*By arrival*: whoever reaches a goal first, in the order of times; then those under way, by the share of
the way from start to goal that they have gained at their nearest, to the hundredth. *By most light*: by
the mean light on the panel. *By last moving*: by the time of the last movement. Whoever never moved comes
after all others, however bright the place at which it stood, and one that the model lost comes last.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray
from arena.races.results import ARRIVAL, ARRIVED, LIGHT, LOST, NEVER_MOVED, UNDER_WAY, Finish
from replays.format.tables import Tables
from replays.scoring.measures import reach_times
from replays.scoring.outline import way_to

# A walker whose pulses moved it less than this [m] has not moved.
MOVED = 1e-3
# Gains of the way are told to this share of it.
_PROGRESS = 0.01


@dataclass(frozen=True)
class Deeds:
    """What the walkers of a run did, each (walkers,): see :class:`arena.races.results.Finish`.

    ``moved_s`` [s] is -1 for one that never moved.
    """

    time_s: FloatArray
    progress: FloatArray
    light_lx: FloatArray
    moved_s: FloatArray


def deeds_of(tables: Tables, goals: Sequence[FloatArray], seconds: float) -> Deeds:
    """What walkers did in a run of ``seconds`` [s] with ``goals``, outlines (points, 2) [m]."""
    pulses = tables.pulses
    way = np.hypot(pulses["x1"] - pulses["x0"], pulses["y1"] - pulses["y0"])
    moving = pulses[(way >= MOVED) | (pulses["path_m"] >= MOVED)]
    moved_s = np.full(len(tables.walkers), -1.0)
    np.maximum.at(moved_s, moving["walker"], np.minimum(moving["rest_s"], seconds))
    return Deeds(reach_times(tables, goals), _progress(tables, goals), _light(tables, seconds), moved_s)


def _progress(tables: Tables, goals: Sequence[FloatArray]) -> FloatArray:
    poses, walkers = tables.poses, tables.walkers
    ahead, heading = walkers["body_ahead"][poses["walker"]], poses["heading"].astype(np.float64)
    x, y = poses["x"] + ahead * np.cos(heading), poses["y"] + ahead * np.sin(heading)
    left = np.full(len(poses), np.inf)
    for goal in goals:
        left = np.minimum(left, np.hypot(*way_to(x, y, goal)))
    if not goals:
        return np.zeros(len(walkers))
    first = np.searchsorted(poses["walker"], np.arange(len(walkers)))
    nearest = np.full(len(walkers), np.inf)
    np.minimum.at(nearest, poses["walker"], left)
    begin = left[first]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(begin > 0.0, np.clip(1.0 - nearest / begin, 0.0, 1.0), 1.0)


def _light(tables: Tables, seconds: float) -> FloatArray:
    lights = tables.lights
    walker = lights["walker"]
    until = np.append(lights["time_s"][1:], seconds)
    until[:-1][walker[1:] != walker[:-1]] = seconds
    dose = lights["panel_lx"].astype(np.float64) * (until - lights["time_s"])
    return np.bincount(walker, weights=dose, minlength=len(tables.walkers)) / seconds


def in_stages(stages: Sequence[Deeds], seconds: float) -> Deeds:
    """What walkers did in stages of ``seconds`` [s] each, one after the other; a single one as it is.

    One that does not move in a stage is out: what it does in later, dimmer ones no longer counts.
    """
    if len(stages) == 1:
        return stages[0]
    moved = np.full(len(stages[0].moved_s), -1.0)
    is_out = np.zeros(len(moved), np.bool_)
    for number, stage in enumerate(stages):
        is_out |= stage.moved_s < 0.0
        moved = np.where(is_out, moved, number * seconds + stage.moved_s)
    light = np.mean([stage.light_lx for stage in stages], axis=0)
    first = stages[0]
    return Deeds(first.time_s, first.progress, light, moved)


def finishing_order(deeds: Deeds, entries: Sequence[int], starts: Sequence[int], by: str) -> list[Finish]:
    """The finishes of walkers in the order of their places; ``entries`` and ``starts`` tell whose, whence."""
    keyed = []
    for number, (entry, start) in enumerate(zip(entries, starts, strict=True)):
        time = float(deeds.time_s[number])
        progress = float(deeds.progress[number])
        light, moved = float(deeds.light_lx[number]), float(deeds.moved_s[number])
        has_moved = moved >= 0.0
        arrived = time == time and by == ARRIVAL
        status = NEVER_MOVED if not has_moved else ARRIVED if arrived else UNDER_WAY
        if not has_moved:
            key = (3, 0.0)
        elif arrived:
            key = (0, time)
        elif by == ARRIVAL:
            key = (1, -round(progress / _PROGRESS))
        else:
            key = (1, -light if by == LIGHT else -moved)
        finish = Finish(entry, start, 0, time if arrived else None, progress, light, max(moved, 0.0), status)
        keyed.append((key, finish))
    return with_places(keyed)


def with_places(keyed: Sequence[tuple[tuple[float, float], Finish]]) -> list[Finish]:
    """Finishes with their places by key, the least first; the same key is the same place."""
    from dataclasses import replace

    ordered = sorted(keyed, key=lambda one: (one[0], one[1].entry))
    finishes: list[Finish] = []
    for number, (key, finish) in enumerate(ordered):
        is_tie = number > 0 and key == ordered[number - 1][0]
        place = finishes[-1].place if is_tie else number + 1
        finishes.append(replace(finish, place=place))
    return finishes


def lost_finish(entry: int, start: int, place: int, why: str) -> Finish:
    """The finish of one that the model could not follow."""
    return Finish(entry, start, place, None, 0.0, 0.0, 0.0, LOST, why)
