"""The faults that the bench finds in each entry of a run, in the light in which it stood there.

The bench gives eyes and panel the same light; in an arena eyes look at lamps, and what falls on the panel
comes from several kinds of light. So an entry is put under the median, over time, of the light that its
walkers' panels had until they arrived, and its panel takes from a lux what it took from one of that mixture,
and is warmed by it likewise.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import FloatArray
from agents.errors import ModelError
from agents.handbook.light_kinds import SUN, kind_index
from agents.testbench.bench_figures import BenchPoint, bench_record
from agents.testbench.measuring import BRIGHTEST
from replays.causes.traces import Circuits, weighed_light
from replays.format.tables import Replay
from replays.scoring.measures import reach_times


@dataclass(frozen=True)
class EntryBench:
    """An entry in the light [lx] in which it stood: what the bench measures there, None where it cannot.

    ``weight`` is what a lux there is worth to the panel, against one of sun. An entry without
    a walker stood nowhere; its light is nan.
    """

    design: str
    light_lx: float
    weight: float
    point: BenchPoint | None

    @property
    def faults(self) -> tuple[str, ...] | None:
        """The faults by name; None where the bench cannot follow the design."""
        return None if self.point is None else self.point.faults


def entries_on_bench(replay: Replay) -> list[EntryBench]:
    """Each entry of ``replay``, in the header's order, in the light in which its walkers stood.

    Raises ReplayError where a design in the replay cannot be read.

    >>> from arena import read_contest, simulate
    >>> race = simulate(read_contest("open-bench", ["poppy", "thistle-spins"], walkers=2, seconds=600))
    >>> [(one.design, one.faults) for one in entries_on_bench(race)]
    [('poppy', ()), ('thistle that spins', ('spin',))]
    """
    circuits = Circuits(replay)
    designs = replay.walkers["design"]
    walks = walk_ends(replay)
    return [
        on_bench(circuits, number, median_light(replay, np.flatnonzero(designs == number), walks))
        for number in range(len(replay.design_names))
    ]


def walk_ends(replay: Replay) -> FloatArray:
    """When each walk ended [s], (walkers,): on reaching a goal, or with the run."""
    reach_s = reach_times(replay, replay.goals)
    return np.where(np.isnan(reach_s), replay.seconds, reach_s)


def median_light(replay: Replay, walkers: Any, ends: FloatArray) -> float:
    """Median over time [lx] of the light on panels of ``walkers`` until their ``ends`` [s]; nan of none."""
    lights = replay.lights[np.isin(replay.lights["walker"], walkers)]
    if not len(lights):
        return np.nan
    walker = lights["walker"]
    until = np.append(lights["time_s"][1:], 0.0)
    until[np.append(walker[1:] != walker[:-1], True)] = np.inf
    lasts = np.clip(np.minimum(until, ends[walker]) - lights["time_s"], 0.0, None)
    panel = lights["panel_lx"].astype(np.float64)
    order = np.argsort(panel, kind="stable")
    past = np.cumsum(lasts[order])
    return float(panel[order][np.searchsorted(past, 0.5 * past[-1])])


def on_bench(circuits: Circuits, number: int, light_lx: float) -> EntryBench:
    """Design ``number`` of a replay, as drawn, in ``light_lx`` [lx] of the arena's mixture."""
    name = circuits.replay.design_names[number]
    if np.isnan(light_lx):
        return EntryBench(name, light_lx, 1.0, None)
    walker, arena = circuits.drawn(number), circuits.replay.arena
    light = min(light_lx, BRIGHTEST)
    weight = weighed_light(arena, walker, light) / light if light > 0.0 else 1.0
    mixed = walker.copy()
    mixed["response"][kind_index(SUN)] = weight
    if light > 0.0:
        mixed["warming"][kind_index(SUN)] = weighed_light(arena, walker, light, "warming") / light
    try:
        return EntryBench(name, light, weight, bench_record(mixed, light, SUN))
    except ModelError:
        return EntryBench(name, light, weight, None)
