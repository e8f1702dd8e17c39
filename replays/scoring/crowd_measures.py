"""What is measured of walkers that share a floor, before it is summed up.

Two walkers share a floor where they are of one heat. Where each stands is told for its body's centre.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray
from replays.format.tables import Tables
from replays.scoring.episodes import meeting_episodes, meeting_times
from replays.scoring.measures import centres_of
from replays.scoring.outline import inside
from replays.scoring.scatter import Standable, nearest_others, scattered_distance

LAST_PART = 0.1
"""Share of the run, at its end, over which gathering, spread and mixing are averaged."""

_LOOKS = 11


@dataclass(frozen=True)
class CrowdFloor:
    """What of an arena matters to a crowd: where it stands, goals (points, 2) [m], gates by name [m]."""

    standable: Standable
    goals: tuple[FloatArray, ...]
    gates: dict[str, FloatArray]

    @classmethod
    def of(cls, arena: dict[str, Any]) -> "CrowdFloor":
        """That of an ``arena`` as :mod:`replays.format.header` describes it."""
        walls = [(tuple(map(tuple, wall["points"])), wall["closed"]) for wall in arena["walls"]]
        return cls(
            Standable(
                tuple(map(tuple, arena["floor"])),
                tuple(points for points, closed in walls if closed),
                tuple(points for points, closed in walls if not closed),
            ),
            tuple(np.array(goal["outline"], dtype=np.float64) for goal in arena["goals"]),
            {gate["name"]: np.array(gate["line"], dtype=np.float64) for gate in arena.get("gates", ())},
        )


@dataclass(frozen=True)
class CrowdMeasures:
    """What each walker did among others; all (walkers,) unless said otherwise.

    ``heat`` and ``design`` are numbers, ``radius`` [m] is that of the circle round its body. ``light`` and
    ``clear_light`` [lx s] are the light on its panel over the run as it was, and had no other walker been
    there, nan where the replay does not tell. ``meetings`` are its contacts with other walkers,
    ``beside_s`` [s] the time of them. ``gathered`` is the share of the last tenth of the run in which it was
    in a goal, ``gathered_before`` whether it started in one, both nan without a goal. ``places``
    (walkers, looks, 2) [m] are its places in that tenth. ``passed_s`` (walkers, gates) [s] is when it first
    crossed each gate, nan for never.
    """

    seconds: float
    heat: IntArray
    design: IntArray
    radius: FloatArray
    light: FloatArray
    clear_light: FloatArray
    meetings: IntArray
    beside_s: FloatArray
    gathered: FloatArray
    gathered_before: FloatArray
    places: FloatArray
    passed_s: FloatArray


def measure_crowd(tables: Tables, floor: CrowdFloor, seconds: float) -> CrowdMeasures:
    """Measure the crowds of a run of ``seconds`` [s], every heat on a floor of its own."""
    walkers = tables.walkers
    count = len(walkers)
    looks = np.concatenate([[0.0], seconds * np.linspace(1.0 - LAST_PART, 1.0, _LOOKS)])
    places = places_at(tables, looks)
    within = _within(places, floor.goals)
    light, clear = _light_gathered(tables, seconds)
    return CrowdMeasures(
        seconds=seconds,
        heat=walkers["heat"].astype(np.int64),
        design=walkers["design"].astype(np.int64),
        radius=walkers["radius"].astype(np.float64),
        light=light,
        clear_light=clear,
        meetings=np.bincount(meeting_episodes(tables, seconds).walker, minlength=count),
        beside_s=meeting_times(tables, seconds),
        gathered=within[:, 1:].mean(axis=1) if floor.goals else np.full(count, np.nan),
        gathered_before=within[:, 0].astype(np.float64) if floor.goals else np.full(count, np.nan),
        places=places[:, 1:],
        passed_s=np.column_stack(
            [np.zeros((count, 0)), *(passage_times(tables, gate) for gate in floor.gates.values())]
        ),
    )


def places_at(tables: Tables, times: FloatArray) -> FloatArray:
    """Where the centre of each walker's body is at ``times`` [s], (walkers, times, 2) [m]."""
    poses, count = tables.poses, len(tables.walkers)
    span = 2.0 * float(max(times.max(initial=0.0), poses["time_s"].max(initial=0.0))) + 1.0
    key = poses["walker"] * span + poses["time_s"]
    asked = np.arange(count)[:, None] * span + times
    rows = poses[np.searchsorted(key, asked.ravel(), side="right") - 1]
    x, y = centres_of(tables, rows)
    return np.stack((x, y), axis=-1).reshape(count, len(times), 2)


def _within(places: FloatArray, goals: Sequence[FloatArray]) -> BoolArray:
    """Whether each of ``places`` (walkers, times, 2) is in a goal, (walkers, times)."""
    x, y = places[..., 0].ravel(), places[..., 1].ravel()
    found = np.zeros(len(x), bool)
    for goal in goals:
        found |= inside(x, y, goal)
    return found.reshape(places.shape[:2])


def _light_gathered(tables: Tables, seconds: float) -> tuple[FloatArray, FloatArray]:
    """Light on the panel over the run [lx s], (walkers,): as it was, and had no other walker been there."""
    lights = tables.lights
    walker = lights["walker"]
    until = np.append(lights["time_s"][1:], seconds)
    until[:-1][walker[1:] != walker[:-1]] = seconds
    lasted = until - lights["time_s"]
    count = len(tables.walkers)
    found: list[FloatArray] = []
    for column in ("panel_lx", "clear_panel_lx"):
        light = np.full(count, np.nan)
        if column in (lights.dtype.names or ()):
            light = np.zeros(count)
            light += np.bincount(walker, lights[column].astype(np.float64) * lasted, minlength=count)
        found.append(light)
    return found[0], found[1]


def passage_times(tables: Tables, line: FloatArray) -> FloatArray:
    """When each walker's centre first crossed ``line`` (points, 2) [m], to either side [s]; nan for never."""
    poses = tables.poses
    x, y = centres_of(tables, poses)
    same = np.flatnonzero(poses["walker"][1:] == poses["walker"][:-1])
    x0, y0, x1, y1 = x[same], y[same], x[same + 1], y[same + 1]
    crossed = np.zeros(len(same), bool)
    for (ax, ay), (bx, by) in pairwise(line):
        before = (bx - ax) * (y0 - ay) - (by - ay) * (x0 - ax)
        after = (bx - ax) * (y1 - ay) - (by - ay) * (x1 - ax)
        from_a = (x1 - x0) * (ay - y0) - (y1 - y0) * (ax - x0)
        from_b = (x1 - x0) * (by - y0) - (y1 - y0) * (bx - x0)
        crossed |= ((before >= 0.0) != (after >= 0.0)) & ((from_a >= 0.0) != (from_b >= 0.0))
    rows = same[crossed] + 1
    times = np.full(len(tables.walkers), np.nan)
    there, first = np.unique(poses["walker"][rows], return_index=True)
    times[there] = poses["time_s"][rows][first]
    return times


def jain_index(amounts: FloatArray) -> float:
    """How evenly ``amounts`` (n,), from 0, are shared: 1 all alike, 1/n one has all; nan of nothing.

    (sum x)² / (n sum x²): Jain, Chiu and Hawe, "A quantitative measure of fairness and discrimination for
    resource allocation in shared computer systems", DEC Research Report TR-301 (1984).

    >>> jain_index(np.array([2.0, 2.0, 2.0])), jain_index(np.array([3.0, 0.0, 0.0]))
    (1.0, 0.3333333333333333)
    """
    squares = len(amounts) * float(np.sum(amounts**2))
    return float(np.sum(amounts)) ** 2 / squares if squares > 0.0 else math.nan


def spread_of(places: FloatArray, radius: float, floor: Standable) -> float:
    """Mean distance to the nearest other, over that of a random scatter; nan for fewer than two.

    ``places`` (walkers, looks, 2) [m]; ``radius`` [m] is that of the bodies that are scattered. 1 as if
    scattered by chance, 0 all in one place, up to 2.149 in a hexagonal pattern of points. Clark and Evans,
    "Distance to nearest neighbor as a measure of spatial relationships in populations", Ecology 35 (1954);
    for the edges of the floor see :mod:`replays.scoring.scatter`.
    """
    count, looks = places.shape[:2]
    # to a tenth of a millimetre, so that copies of one design share what takes a moment to work out
    scattered = scattered_distance(floor, count, round(radius, 4))
    if scattered is None:
        return math.nan
    away, _ = nearest_others(places.reshape(-1, 2), np.tile(np.arange(looks), count))
    return float(away.mean()) / scattered


def unlike_shares(places: FloatArray, design: IntArray) -> tuple[FloatArray, FloatArray]:
    """Share of the looks at which each walker's nearest other is of another design, and that by chance.

    ``places`` (walkers, looks, 2) [m], ``design`` (walkers,). By chance means that the designs were dealt out
    anew among the walkers where they stand: of a design with n of N walkers, (N - n) / (N - 1). Both are nan
    for fewer than two walkers. Nearest neighbours as a table of designs: Pielou, "Segregation and symmetry in
    two-species populations as studied by nearest-neighbour relationships", J. Ecology 49 (1961); what chance
    gives: Dixon, "Testing spatial segregation using a nearest-neighbor contingency table", Ecology 75 (1994).
    """
    count, looks = places.shape[:2]
    if count < 2:
        return np.full(count, np.nan), np.full(count, np.nan)
    _, other = nearest_others(places.reshape(-1, 2), np.tile(np.arange(looks), count))
    of = np.repeat(design, looks)
    unlike = (of[other] != of).reshape(count, looks).mean(axis=1)
    alike = np.bincount(design)[design]
    return unlike, (count - alike) / (count - 1)


def passing(times: FloatArray, seconds: float) -> tuple[float, float]:
    """Of ``times`` [s] at which walkers (n,) passed a gate in a run of ``seconds``: how many in how long [s].

    From the first who passed to the one with whom half of all were through, or to the end of the run where
    fewer came; the first opens the count and is not in it, as two posts have one space between them. nan for
    fewer than two walkers. Flow as walkers over the time that they took: Seyfried et al., "New insights into
    pedestrian flow through bottlenecks", Transportation Science 43 (2009); that stragglers are left out and
    a jam counts to the end is this program's own.
    """
    count = len(times)
    if count < 2:
        return math.nan, math.nan
    came = np.sort(times[~np.isnan(times)])
    half = max(2, math.ceil(count / 2))
    if len(came) >= half:
        return half - 1.0, float(came[half - 1] - came[0])
    if len(came):
        return len(came) - 1.0, seconds - float(came[0])
    return 0.0, seconds
