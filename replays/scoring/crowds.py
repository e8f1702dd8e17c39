"""The scores of walkers that share a floor, from replays alone.

They are told of everybody on the floor, and of the walkers of each design among the others where there are
several designs. How they are measured is said in :mod:`replays.scoring.crowd_measures`. Where no source is
named the definition is this program's own.
"""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from agents.arrays import FloatArray, IntArray
from replays.format.tables import Replay
from replays.scoring.confidence_intervals import mean_interval
from replays.scoring.crowd_measures import (
    CrowdFloor,
    CrowdMeasures,
    jain_index,
    measure_crowd,
    passing,
    spread_of,
    unlike_shares,
)

EVERYBODY = "all"
"""What a score of everybody on a floor is told of."""

CROWD_EXPLANATIONS = {
    "walkers": "walkers that shared a floor with others",
    "gathered": "share of them in a goal, over the last tenth of the run",
    "gathered_more": "that share, less the share that started in a goal",
    "spread": "mean distance to the nearest other, over that of a random scatter on the same floor, in the "
    "last tenth of the run: 1 as by chance, 0 all in one place",
    "crowding": "contacts of a walker with others a minute, each until two pulses without",
    "contact_share": "share of the time in contact with another walker",
    "shading": "share of the light on the panels that other walkers took away",
    "light_lx": "light on the panel over the run, mean of the walkers",
    "evenness": "how evenly that light was shared: 1 all alike, 1 over their number if one had it all",
    "passed_share": "share that came through the gate",
    "flow_per_min": "walkers a minute through the gate, from the first until half of all were through",
    "mixing": "share whose nearest other is of another design, over that by chance: 1 mixed, 0 apart",
}
"""One line for each score of a CrowdScore, for whoever reads a table of them."""

UNDEFINED = {
    "gathered": "the arena has no goal",
    "gathered_more": "the arena has no goal",
    "spread": "it takes two walkers, and a floor of which they cover less than half",
    "shading": "the replay does not tell",
    "evenness": "it takes two walkers, and some light",
    "mixing": "it takes two designs",
    "flow_per_min": "it takes two walkers, and some time between them",
}
"""Why a score may be None, by its name."""


@dataclass(frozen=True)
class GateScore:
    """How a crowd came through one gate.

    Attributes:
        gate: its name.
        passed: walkers whose body's centre crossed it, to either side.
        passed_share: passed / walkers, 0 to 1.
        flow_per_min: [1/min] (k - 1) / (time from the first passage to the k-th), where k is half of the
            walkers, at least 2; where fewer than k came, (passages - 1) / (time from the first to the end of
            the run), 0 where none did. After Seyfried et al. (2009). None for one walker, and where k came
            at the same moment.
    """

    gate: str
    passed: int
    passed_share: float
    flow_per_min: float | None


@dataclass(frozen=True)
class CrowdScore:
    """The scores of all who shared a floor, or of one design among them; None where undefined.

    Of several floors (repeats) each is the mean over those floors on which it is defined.

    Attributes:
        of: EVERYBODY, or the name of the design.
        floors: number of floors.
        walkers: number of walkers, on all floors.
        gathered: share of the walkers whose body's centre was in a goal, 0 to 1, averaged over the last tenth
            of the run. None without a goal.
        gathered_more: that share less the one at the start, -1 to 1.
        spread: mean distance of bodies' centres to the nearest of the same group / that of as many bodies
            scattered at random on the same floor, from 0; averaged over the last tenth. Clark and Evans
            (1954), the scatter by simple sequential inhibition: Diggle, Besag and Gleaves (1976). None for
            one walker, or a floor of which the bodies cover more than half.
        crowding: [1/min] contact episodes with other walkers, counted for either of the two that meet, a
            walker and minute of the run. An episode ends with two free pulses.
        contact_share: share of the walkers' time, 0 to 1, in which a whisker of theirs was pressed by
            another walker or their body met one. What presses a whisker against a wall as well counts as
            the wall.
        shading: 1 - (light on the panels) / (light on them had no other walker been there), both over the
            run, 0 to 1. None of a replay that does not tell.
        light_lx: [lx] light on the panel, mean over the run and the walkers.
        evenness: Jain's index of the light that each walker gathered, 1/walkers to 1. Jain, Chiu and Hawe
            (1984). None for one walker.
        gates: one for each gate of the arena.
        mixing: share of the walkers whose nearest other is of another design / that share had the designs
            been dealt out by chance, averaged over the last tenth; 1 mixed as by chance, 0 apart, above 1
            each beside the other. 1 less it is Pielou's (1961) coefficient of segregation, with the
            expectation of Dixon (1994). None for one design.
        ranges: for each of these scores, and ``passed_share`` and ``flow_per_min`` of gates by
            ``name: score``, the range that holds the true mean with 95 % confidence, of three floors or more.
    """

    of: str
    floors: int
    walkers: int
    gathered: float | None
    gathered_more: float | None
    spread: float | None
    crowding: float | None
    contact_share: float | None
    shading: float | None
    light_lx: float | None
    evenness: float | None
    mixing: float | None
    gates: tuple[GateScore, ...]
    ranges: dict[str, tuple[float, float]]

    def as_dict(self) -> dict[str, Any]:
        """The scores by name, for JSON; ranges as lists, None where undefined."""
        found = asdict(self)
        return found | {
            "gates": list(found["gates"]),
            "ranges": {name: list(ends) for name, ends in self.ranges.items()},
        }


# Scores of a CrowdScore, and the ends of what each can be.
_WITHIN = {
    "gathered": (0.0, 1.0),
    "gathered_more": (-1.0, 1.0),
    "spread": (0.0, math.inf),
    "crowding": (0.0, math.inf),
    "contact_share": (0.0, 1.0),
    "shading": (0.0, 1.0),
    "light_lx": (0.0, math.inf),
    "evenness": (0.0, 1.0),
    "mixing": (0.0, math.inf),
    "passed_share": (0.0, 1.0),
    "flow_per_min": (0.0, math.inf),
}
_OF_GATES = ("passed_share", "flow_per_min")


def score_crowds(replays: Sequence[Replay]) -> list[CrowdScore]:
    """The scores of the crowds of ``replays``: of everybody, then of each design where there are several.

    Empty where no two walkers share a floor.

    >>> from arena import read_contest, simulate
    >>> race = simulate(read_contest("open-bench", ["poppy", "lentil"], walkers=2, seconds=300))
    >>> [(one.of, one.walkers, one.gathered) for one in score_crowds([race])]
    [('all', 4, 0.0), ('poppy', 2, 0.0), ('lentil', 2, 0.0)]
    >>> score_crowds([simulate(read_contest("open-bench", ["poppy"], walkers=2, seconds=60, alone=True))])
    []
    """
    found: dict[str, list[tuple[int, dict[str, float], dict[str, int]]]] = {}
    for replay in replays:
        floor = CrowdFloor.of(replay.arena)
        measures = measure_crowd(replay, floor, replay.seconds)
        for heat in np.unique(measures.heat).tolist():
            together = np.flatnonzero(measures.heat == heat)
            if len(together) < 2:
                continue
            present = np.unique(measures.design[together]).tolist()
            groups = {EVERYBODY: together}
            if len(replay.design_names) > 1:
                groups |= {
                    replay.design_names[one]: together[measures.design[together] == one] for one in present
                }
            for name, mine in groups.items():
                figures, passed = crowd_figures(measures, floor, mine, together)
                found.setdefault(name, []).append((len(mine), figures, passed))
    return [_mean_of(name, floors) for name, floors in found.items()]


def crowd_figures(
    measures: CrowdMeasures, floor: CrowdFloor, mine: IntArray, together: IntArray
) -> tuple[dict[str, float], dict[str, int]]:
    """The figures of the walkers ``mine`` among those that are ``together`` on a floor; nan where undefined.

    Both hold numbers of walkers. Returns figures by the names of :class:`CrowdScore`, and for each gate
    ``gate: passed_share`` and ``gate: flow_per_min``; and how many passed each gate.
    """
    count, seconds = len(mine), measures.seconds
    light, clear = measures.light[mine], measures.clear_light[mine]
    figures = {
        "gathered": float(measures.gathered[mine].mean()),
        "gathered_more": float((measures.gathered - measures.gathered_before)[mine].mean()),
        "spread": spread_of(measures.places[mine], float(measures.radius[mine].mean()), floor.standable),
        "crowding": float(measures.meetings[mine].sum()) / (count * seconds / 60.0),
        "contact_share": float(measures.beside_s[mine].sum()) / (count * seconds),
        "shading": 1.0 - float(light.sum()) / float(clear.sum()) if clear.sum() > 0.0 else math.nan,
        "light_lx": float(light.mean()) / seconds,
        "evenness": jain_index(light) if count > 1 else math.nan,
        "mixing": _mixing(measures, mine, together),
    }
    passed: dict[str, int] = {}
    for number, gate in enumerate(floor.gates):
        times = measures.passed_s[mine, number]
        passed[gate] = int(np.count_nonzero(~np.isnan(times)))
        events, lasted = passing(times, seconds)
        figures[f"{gate}: passed_share"] = passed[gate] / count
        figures[f"{gate}: flow_per_min"] = 60.0 * events / lasted if lasted > 0.0 else math.nan
    return figures, passed


def _mixing(measures: CrowdMeasures, mine: IntArray, together: IntArray) -> float:
    design = measures.design[together]
    if len(np.unique(design)) < 2:
        return math.nan
    unlike, by_chance = unlike_shares(measures.places[together], design)
    asked = np.isin(together, mine)
    return float(unlike[asked].sum() / by_chance[asked].sum())


def _mean_of(name: str, floors: list[tuple[int, dict[str, float], dict[str, int]]]) -> CrowdScore:
    values: dict[str, FloatArray] = {}
    for key in dict.fromkeys(key for _, figures, _ in floors for key in figures):
        column = np.array([figures.get(key, math.nan) for _, figures, _ in floors])
        values[key] = column[~np.isnan(column)]
    means = {key: float(column.mean()) if len(column) else None for key, column in values.items()}
    ranges = {key: ends for key, column in values.items() if (ends := _range(key, column)) is not None}
    gates = dict.fromkeys(gate for _, _, passed in floors for gate in passed)
    return CrowdScore(
        of=name,
        floors=len(floors),
        walkers=sum(count for count, _, _ in floors),
        **{key: means[key] for key in _WITHIN if key not in _OF_GATES},
        gates=tuple(
            GateScore(
                gate,
                sum(passed.get(gate, 0) for _, _, passed in floors),
                means[f"{gate}: passed_share"] or 0.0,
                means[f"{gate}: flow_per_min"],
            )
            for gate in gates
        ),
        ranges=ranges,
    )


def _range(key: str, column: FloatArray) -> tuple[float, float] | None:
    """The range of a score's mean, no wider than the score can be."""
    ends = mean_interval(column)
    low, high = _WITHIN[key.rpartition(": ")[2]]
    return None if ends is None else (max(ends[0], low), min(ends[1], high))
