"""Where the time of each walk went, in shares that add up to 1.

Every moment of a walk, to the goal or to the end of the run, is of one sort, the first of these that fits:

latched         within a pulse that goes on for more than five seconds
silent          after the last finished pulse (or the start) where the end of the run is more than six typical
                waits away, as for the score ``stuck``
on walls        within an episode of touching a wall or another walker
in shade        within an episode of standing in a shadow
turning past    a pulse that turns the nose past the light until it looks away from it, and the wait for it
moving          any other pulse, to the rest after it
charging        any other wait

The light is the sun or the lamp that gives most on the floor at the walker's place, shadows notwithstanding;
the nearest goal where there is none. Episodes are those of :mod:`replays.scoring.episodes`; the other
definitions are this program's own.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray, RecordArray
from replays.format.tables import LET_GO, Replay
from replays.scoring.episodes import Episodes, contact_episodes, shade_episodes
from replays.scoring.measures import reach_times, silent_spans
from replays.scoring.outline import way_to
from replays.scoring.turns import whole_turns

LATCHED, SILENT, ON_WALLS, IN_SHADE = "latched", "silent", "on walls", "in shade"
TURNING_PAST, MOVING, CHARGING = "turning past", "moving", "charging"
SORTS = (LATCHED, SILENT, ON_WALLS, IN_SHADE, TURNING_PAST, MOVING, CHARGING)
"""Sorts of time, the first that fits counts."""

LONG_PULSE = 5.0
"""A pulse that goes on for longer than this [s] is latched."""

LOOKING_AWAY = math.radians(90.0)
"""A nose farther than this [rad] from the light looks away from it."""


@dataclass(frozen=True, eq=False)
class TimeUse:
    """What the time of all walks of a replay went into.

    Per walker, (walkers,): ``walk_s`` [s] and ``shares`` (walkers, sorts) in the order of SORTS, nan for a
    walk of no length. Per pulse, (pulses,): ``turn`` [rad] with whole turns, ``bearing`` [rad] of the light
    from the nose at firing, to the left positive, nan without any, and ``past``, whether it was turned past.
    ``contacts`` and ``shades`` are the episodes of the walks.
    """

    walk_s: FloatArray
    shares: FloatArray
    turn: FloatArray
    bearing: FloatArray
    past: BoolArray
    contacts: Episodes
    shades: Episodes

    def of(self, walker: int) -> dict[str, float]:
        """The shares of one walker by sort."""
        return dict(zip(SORTS, self.shares[walker].tolist(), strict=True))


def time_use(replay: Replay) -> TimeUse:
    """Where the time of each walk of ``replay`` went.

    >>> from arena import read_contest, simulate
    >>> use = time_use(simulate(read_contest("open-bench", ["poppy"], walkers=1, seconds=600)))
    >>> shares = use.of(0)
    >>> round(sum(shares.values()), 9), shares["charging"] > 0.9
    (1.0, True)
    """
    reach_s = reach_times(replay, replay.goals)
    walk_s = np.where(np.isnan(reach_s), replay.seconds, reach_s)
    contacts = contact_episodes(replay, replay.seconds)
    shades = shade_episodes(replay, replay.seconds)
    pulses = replay.pulses
    turn, bearing = whole_turns(replay), light_bearings(replay)
    past = turned_past(turn, bearing)
    finished = pulses[pulses["ended"] == LET_GO]
    finished = finished[np.argsort(finished["walker"], kind="stable")]
    silent = silent_spans(replay, finished, replay.seconds)
    order = np.argsort(pulses["walker"], kind="stable")
    edges = np.searchsorted(pulses["walker"][order], np.arange(len(walk_s) + 1))
    shares = np.full((len(walk_s), len(SORTS)), np.nan)
    for walker in np.flatnonzero(walk_s > 0.0).tolist():
        mine = order[edges[walker] : edges[walker + 1]]
        spans = {
            SILENT: _of_walker(*silent, walker),
            ON_WALLS: _of_walker(contacts.walker, contacts.began_s, _ends(contacts), walker),
            IN_SHADE: _of_walker(shades.walker, shades.began_s, _ends(shades), walker),
            **_of_pulses(pulses[mine], past[mine]),
        }
        shares[walker] = _shares(spans, float(walk_s[walker]))
    return TimeUse(walk_s, shares, turn, bearing, past, contacts, shades)


def turned_past(turn: FloatArray, bearing: FloatArray) -> BoolArray:
    """Whether turns [rad] pass a light at ``bearing`` [rad] from the nose, and end looking away from it."""
    ahead = np.where(turn > 0.0, bearing, -bearing)
    passes = np.abs(turn) > np.mod(ahead, 2.0 * math.pi)
    after = np.abs(np.angle(np.exp(1j * (bearing - turn))))
    past: BoolArray = passes & (after > LOOKING_AWAY)
    return past


def light_bearings(replay: Replay) -> FloatArray:
    """Bearing of the light from the nose at the firing of each pulse [rad], (pulses,); nan without any."""
    pulses, arena = replay.pulses, replay.arena
    x, y = pulses["x0"], pulses["y0"]
    direction, nearest = np.full(len(pulses), np.nan), np.full(len(pulses), np.inf)
    for goal in replay.goals:
        to_x, to_y = way_to(x, y, goal)
        far = np.hypot(to_x, to_y)
        nearer = (far > 0.0) & (far < nearest)
        direction = np.where(nearer, np.arctan2(to_y, to_x), direction)
        nearest = np.where(nearer, far, nearest)
    best = np.zeros(len(pulses))
    day = replay.day
    step = None if day is None else np.searchsorted(day.times_s, pulses["start_s"], side="right") - 1
    for number, lamp in enumerate(arena["lamps"]):
        to_x, to_y = lamp["x"] - x, lamp["y"] - y
        far = np.sqrt(to_x**2 + to_y**2 + lamp["height"] ** 2)
        light = _in_beam(lamp, to_x, to_y, far) * lamp["intensity_cd"] * lamp["height"] / far**3
        if day is not None:
            light = light * day.lamps[step, number]
        brighter = light > best
        direction, best = np.where(brighter, np.arctan2(to_y, to_x), direction), np.maximum(light, best)
    if day is not None:
        light = day.sun_lx[step] * np.maximum(np.sin(day.sun_elevation_rad[step]), 0.0)
        direction = np.where(light > best, day.sun_azimuth_rad[step], direction)
    elif arena["sun"] is not None:
        sun = arena["sun"]
        light = sun["illuminance_lx"] * max(math.sin(sun["elevation_rad"]), 0.0)
        direction = np.where(light > best, sun["azimuth_rad"], direction)
    bearings: FloatArray = np.angle(np.exp(1j * (direction - pulses["heading0"])))
    return bearings


def _in_beam(lamp: dict[str, Any], to_x: FloatArray, to_y: FloatArray, far: FloatArray) -> Any:
    """Share of a lamp's intensity in the direction of each place: a cos^m lobe about its aim."""
    half = lamp["beam_half_angle_rad"]
    if half is None:
        return 1.0
    aim_x, aim_y = lamp["aim"][0] - lamp["x"], lamp["aim"][1] - lamp["y"]
    length = math.sqrt(aim_x**2 + aim_y**2 + lamp["height"] ** 2)
    cosine = (-to_x * aim_x - to_y * aim_y + lamp["height"] ** 2) / np.maximum(far * length, 1e-12)
    power = -math.log(2.0) / math.log(min(max(math.cos(half), 1e-9), 1.0 - 1e-12))
    return np.clip(cosine, 0.0, 1.0) ** power


_Spans = tuple[FloatArray, FloatArray]


def _ends(episodes: Episodes) -> FloatArray:
    ends: FloatArray = episodes.began_s + episodes.lasted_s
    return ends


def _of_walker(walkers: IntArray, from_s: FloatArray, to_s: FloatArray, walker: int) -> _Spans:
    mine = walkers == walker
    return from_s[mine], to_s[mine]


def _of_pulses(pulses: RecordArray, past: BoolArray) -> dict[str, _Spans]:
    """The spans of one walker's pulses by sort."""
    starts, rests = pulses["start_s"], pulses["rest_s"]
    waited_from = np.concatenate(([0.0], rests[:-1])) if len(pulses) else np.zeros(0)
    long = pulses["let_go_s"] - starts > LONG_PULSE
    return {
        LATCHED: (starts[long], rests[long]),
        TURNING_PAST: (waited_from[past], rests[past]),
        MOVING: (starts, rests),
    }


def _shares(spans: dict[str, _Spans], until: float) -> list[float]:
    """Shares of the time from 0 to ``until`` [s] by sort, each moment going to the first sort that has it."""
    edges = [0.0, until]
    for from_s, to_s in spans.values():
        edges += [*from_s.tolist(), *to_s.tolist()]
    times = np.unique(np.clip(np.array(edges), 0.0, until))
    lengths, middles = np.diff(times), 0.5 * (times[1:] + times[:-1])
    free = np.ones(len(middles), bool)
    found = []
    for sort in SORTS[:-1]:
        from_s, to_s = spans[sort]
        begun = np.searchsorted(np.sort(from_s), middles, side="right")
        within = free & (begun > np.searchsorted(np.sort(to_s), middles, side="right"))
        found.append(float(lengths[within].sum()) / until)
        free &= ~within
    return [*found, float(lengths[free].sum()) / until]
