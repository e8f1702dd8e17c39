"""The faults that the bench finds in each entry of a run, in the light in which it stood there.

In an arena eyes look at lamps and the panel faces up, so that they have different light, and of several
kinds. An entry is put under the median, over time, of the light that its walkers had until they arrived: the
eyes under that of the darker eye, which fires first, and the panel under its own.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import FloatArray
from agents.errors import ModelError
from agents.handbook.light_kinds import SUN, kind_index
from agents.testbench.bench_figures import BenchPoint, bench_record
from agents.testbench.measuring import BRIGHTEST
from replays.causes.light_by_kind import weighed_light
from replays.causes.traces import Circuits
from replays.format.tables import Replay
from replays.scoring.measures import reach_times

# Light [lx] that stands for none at all at the eyes.
DARK = 1e-3


@dataclass(frozen=True)
class EntryBench:
    """An entry in the light in which it stood: what the bench measures there, None where it cannot.

    ``light_lx`` [lx] is that on its panel, ``eye_lx`` that at its darker eye, under which the bench has both
    eyes; ``weight`` is the light on the panel in lux of sun, over ``eye_lx``. An entry without a walker stood
    nowhere; its light is nan.
    """

    design: str
    light_lx: float
    eye_lx: float
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
        on_bench(circuits, number, *median_lights(replay, np.flatnonzero(designs == number), walks))
        for number in range(len(replay.design_names))
    ]


def walk_ends(replay: Replay) -> FloatArray:
    """When each walk ended [s], (walkers,): on reaching a goal, or with the run."""
    reach_s = reach_times(replay, replay.goals)
    return np.where(np.isnan(reach_s), replay.seconds, reach_s)


def median_lights(replay: Replay, walkers: Any, ends: FloatArray) -> tuple[float, float]:
    """Medians over time [lx] of the light of ``walkers`` until ``ends`` [s]: on the panel, at the darker eye.

    nan where there is nobody.
    """
    lights = replay.lights[np.isin(replay.lights["walker"], walkers)]
    if not len(lights):
        return math.nan, math.nan
    walker = lights["walker"]
    until = np.append(lights["time_s"][1:], 0.0)
    until[np.append(walker[1:] != walker[:-1], True)] = np.inf
    lasts = np.clip(np.minimum(until, ends[walker]) - lights["time_s"], 0.0, None)
    darker = np.minimum(lights["left_lx"], lights["right_lx"])
    return _median(lights["panel_lx"], lasts), _median(darker, lasts)


def last_lights(replay: Replay, walker: int) -> tuple[float, float]:
    """The light [lx] that a walker had at the end of the run: on the panel, at the darker eye."""
    last = replay.lights[replay.lights["walker"] == walker][-1]
    return float(last["panel_lx"]), float(min(last["left_lx"], last["right_lx"]))


def _median(values: FloatArray, weights: FloatArray) -> float:
    order = np.argsort(values, kind="stable")
    past = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(past, 0.5 * past[-1])])


def on_bench(circuits: Circuits, number: int, light_lx: float, eye_lx: float) -> EntryBench:
    """Design ``number`` of a replay, as drawn, with ``light_lx`` [lx] on its panel, ``eye_lx`` at eyes."""
    name = circuits.replay.design_names[number]
    if math.isnan(light_lx):
        return EntryBench(name, light_lx, eye_lx, 1.0, None)
    walker, arena = circuits.drawn(number), circuits.replay.arena
    at_eyes = min(max(eye_lx, DARK), BRIGHTEST)
    weight = weighed_light(arena, walker, light_lx) / at_eyes
    # the bench has one light for all, and a panel that makes of it what it made of its own, and is as warm
    mixed = walker.copy()
    mixed["response"][kind_index(SUN)] = weight
    mixed["warming"][kind_index(SUN)] = weighed_light(arena, walker, light_lx, "warming") / at_eyes
    try:
        return EntryBench(name, light_lx, at_eyes, weight, bench_record(mixed, at_eyes, SUN))
    except ModelError:
        return EntryBench(name, light_lx, at_eyes, weight, None)
