"""What is measured of each walker, pulse and episode before it is summed up per design.

The place of a walker is the middle of its axle unless the centre of its body is named. A walker *reaches* a
goal when the centre of its body is inside the goal's outline for the first time, at the time of that pose
row. Its *walk* lasts until then, or until the end of the run.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray, RecordArray
from replays.format.tables import LET_GO, Tables
from replays.scoring.episodes import Episodes, contact_episodes, shade_episodes
from replays.scoring.outline import inside, way_to

STUCK_PULSES = 6
"""Pulses over which a walker is watched for getting on, and waits after which a silent one is stuck."""

LEAST_MOVE = 1e-3
"""A pulse that moves a walker less than this [m] hardly moves it, and has no direction worth the name.

As the bench has it: the limit of the fault ``lame`` in :mod:`agents.testbench.faults`.
"""

# A path shorter than this has no ends worth comparing [m].
_NO_PATH = 1e-6


@dataclass(frozen=True)
class Measures:
    """Everything from one replay, or from several put one behind the other.

    Per walker, (walkers,): ``design``; ``pulses``; ``seconds`` [s], the run's length; ``has_goal``;
    ``reach_s`` [s], nan when no goal was reached; ``progress``, the share of the way to the goal that it has
    gained, ``light_gain`` and ``directness``, nan where undefined; ``hardly_moved``; ``walk_s`` and, of it,
    ``stuck_s`` and ``held_s`` within contact episodes [s]. Per pulse that has an aim: ``aim_design``,
    ``aim_angle`` [rad]. Per episode: ``episode_design``, ``is_contact``, ``escape_s`` [s],
    ``escape_pulses``, ``escaped``.
    """

    design: IntArray
    pulses: IntArray
    seconds: FloatArray
    has_goal: BoolArray
    reach_s: FloatArray
    progress: FloatArray
    light_gain: FloatArray
    directness: FloatArray
    hardly_moved: BoolArray
    walk_s: FloatArray
    stuck_s: FloatArray
    held_s: FloatArray
    aim_design: IntArray
    aim_angle: FloatArray
    episode_design: IntArray
    is_contact: BoolArray
    escape_s: FloatArray
    escape_pulses: IntArray
    escaped: BoolArray


def join(parts: list[Measures]) -> Measures:
    """Put ``parts``, at least one, one behind the other."""
    return Measures(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts])
            for field in fields(Measures)
        }
    )


def measure(tables: Tables, goals: Sequence[FloatArray], seconds: float, numbers: IntArray) -> Measures:
    """Measure a run of ``seconds`` [s] with ``goals``, outlines (points, 2) [m].

    Design d of the tables goes by the number ``numbers[d]``.
    """
    design = numbers[tables.walkers["design"]]
    count = len(design)
    reach_s = reach_times(tables, goals)
    walk_s = np.where(np.isnan(reach_s), seconds, reach_s)
    aim_walker, aim_angle = _aims(tables, goals, walk_s)
    path, straight = _ways(tables, walk_s)
    hardly_moved = np.isnan(reach_s) & _hardly_moving(tables, path, walk_s)
    contacts = _begun_on_the_walk(contact_episodes(tables, seconds), walk_s)
    shades = _begun_on_the_walk(shade_episodes(tables, seconds), walk_s)
    both = [contacts, shades]
    return Measures(
        design=design,
        pulses=np.bincount(tables.pulses["walker"], minlength=count),
        seconds=np.full(count, seconds),
        has_goal=np.full(count, len(goals) > 0),
        reach_s=reach_s,
        progress=_progress(tables, goals, reach_s),
        light_gain=_light_gains(tables, seconds),
        directness=_directness(path, straight, hardly_moved),
        hardly_moved=hardly_moved,
        walk_s=walk_s,
        stuck_s=_stuck_times(tables, seconds, walk_s),
        held_s=_held_times(contacts, walk_s),
        aim_design=design[aim_walker],
        aim_angle=aim_angle,
        episode_design=design[np.concatenate([kind.walker for kind in both])],
        is_contact=np.repeat([True, False], [len(kind.walker) for kind in both]),
        escape_s=np.concatenate([kind.lasted_s for kind in both]),
        escape_pulses=np.concatenate([kind.pulses for kind in both]),
        escaped=np.concatenate([kind.free for kind in both]),
    )


def reach_times(tables: Tables, goals: Sequence[FloatArray]) -> FloatArray:
    """When each walker reached one of ``goals`` [s], (walkers,); nan for one that never did."""
    poses, walkers = tables.poses, tables.walkers
    x, y = centres_of(tables, poses)
    within = np.zeros(len(poses), dtype=bool)
    for goal in goals:
        within |= inside(x, y, goal)
    times = np.full(len(walkers), np.nan)
    there, first = np.unique(poses["walker"][within], return_index=True)
    times[there] = poses["time_s"][within][first]
    return times


def _centres(
    tables: Tables, walker: IntArray, x: FloatArray, y: FloatArray, heading: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where the centre of each one's body is [m] when the middle of its axle is at (x, y)."""
    ahead = tables.walkers["body_ahead"][walker]
    return x + ahead * np.cos(heading), y + ahead * np.sin(heading)


def centres_of(tables: Tables, poses: RecordArray) -> tuple[FloatArray, FloatArray]:
    """Where the centres of bodies are [m] in rows of POSES."""
    headings = poses["heading"].astype(np.float64)
    return _centres(
        tables, poses["walker"], poses["x"].astype(np.float64), poses["y"].astype(np.float64), headings
    )


def _light_gains(tables: Tables, seconds: float) -> FloatArray:
    lights = tables.lights
    walker = lights["walker"]
    until = np.append(lights["time_s"][1:], seconds)
    until[:-1][walker[1:] != walker[:-1]] = seconds
    panel = lights["panel_lx"].astype(np.float64)
    dose = np.bincount(walker, weights=panel * (until - lights["time_s"]), minlength=len(tables.walkers))
    at_start = panel[np.searchsorted(walker, np.arange(len(tables.walkers)))]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(at_start > 0, dose / seconds / at_start, np.nan)


def goal_distances(
    tables: Tables, goals: Sequence[FloatArray], walker: IntArray, poses: RecordArray
) -> FloatArray:
    """How far [m] the centre of each one's body is from the nearest goal, walls notwithstanding; inf of none.

    ``poses`` has a row with ``x``, ``y`` and ``heading`` for each of the numbers in ``walker``.
    """
    headings = poses["heading"].astype(np.float64)
    x, y = _centres(tables, walker, poses["x"].astype(np.float64), poses["y"].astype(np.float64), headings)
    nearest = np.full(len(walker), np.inf)
    for goal in goals:
        nearest = np.minimum(nearest, np.hypot(*way_to(x, y, goal)))
    return nearest


def _progress(tables: Tables, goals: Sequence[FloatArray], reach_s: FloatArray) -> FloatArray:
    """Share of the way gained, (walkers,): 1 who arrived, at the least -1; nan without a way to go."""
    everyone = np.arange(len(tables.walkers))
    ends = np.searchsorted(tables.poses["walker"], everyone, side="right") - 1
    before = goal_distances(tables, goals, everyone, tables.walkers)
    after = goal_distances(tables, goals, everyone, tables.poses[ends])
    with np.errstate(divide="ignore", invalid="ignore"):
        gained = np.where(np.isnan(reach_s), np.maximum(1.0 - after / before, -1.0), 1.0)
    return np.where((before > 0.0) & (before < np.inf), gained, np.nan)


def _ways(tables: Tables, walk_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Of each walk, (walkers,): the path of the axle's middle, and the straight distance of its ends [m]."""
    poses = tables.poses
    poses = poses[poses["time_s"] <= walk_s[poses["walker"]]]
    walker = poses["walker"]
    x, y = poses["x"].astype(np.float64), poses["y"].astype(np.float64)
    steps = np.hypot(np.diff(x), np.diff(y)) * (walker[1:] == walker[:-1])
    count = len(tables.walkers)
    path: FloatArray = np.zeros(count)
    path += np.bincount(walker[1:], weights=steps, minlength=count)
    edges = np.searchsorted(walker, np.arange(count + 1))
    first, last = edges[:-1], edges[1:] - 1
    return path, np.hypot(x[last] - x[first], y[last] - y[first])


def _hardly_moving(tables: Tables, path: FloatArray, walk_s: FloatArray) -> BoolArray:
    """Whether each walked less than its body's diameter in all, or under LEAST_MOVE at most free pulses."""
    pulses = tables.pulses[tables.pulses["start_s"] < walk_s[tables.pulses["walker"]]]
    # what a wall holds is another matter
    pulses = pulses[pulses["touched"] == 0]
    short = pulses["path_m"] < LEAST_MOVE
    count = len(tables.walkers)
    fired = np.bincount(pulses["walker"], minlength=count)
    twitches = 2 * np.bincount(pulses["walker"][short], minlength=count) > fired
    hardly: BoolArray = twitches | (path < 2.0 * tables.walkers["radius"])
    return hardly


def _directness(path: FloatArray, straight: FloatArray, hardly_moved: BoolArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where((path > _NO_PATH) & ~hardly_moved, straight / path, np.nan)


def _aims(tables: Tables, goals: Sequence[FloatArray], walk_s: FloatArray) -> tuple[IntArray, FloatArray]:
    pulses = tables.pulses
    pulses = pulses[pulses["start_s"] < walk_s[pulses["walker"]]]
    x, y = pulses["x0"], pulses["y0"]
    way_x, way_y = np.zeros(len(pulses)), np.zeros(len(pulses))
    nearest = np.full(len(pulses), np.inf)
    for goal in goals:
        to_x, to_y = way_to(x, y, goal)
        distance = np.hypot(to_x, to_y)
        nearer = distance < nearest
        nearest[nearer] = distance[nearer]
        way_x[nearer], way_y[nearer] = to_x[nearer], to_y[nearer]
    move_x, move_y = pulses["x1"] - x, pulses["y1"] - y
    usable = (np.hypot(move_x, move_y) >= LEAST_MOVE) & (nearest > 0) & (nearest < np.inf)
    angle = np.arctan2(way_x * move_y - way_y * move_x, way_x * move_x + way_y * move_y)
    return pulses["walker"][usable].astype(np.int64), angle[usable]


def _begun_on_the_walk(episodes: Episodes, walk_s: FloatArray) -> Episodes:
    kept = episodes.began_s < walk_s[episodes.walker]
    return Episodes(*(getattr(episodes, field.name)[kept] for field in fields(Episodes)))


def _held_times(contacts: Episodes, walk_s: FloatArray) -> FloatArray:
    ends = np.minimum(contacts.began_s + contacts.lasted_s, walk_s[contacts.walker])
    held: FloatArray = np.zeros(len(walk_s))
    held += np.bincount(contacts.walker, weights=ends - contacts.began_s, minlength=len(walk_s))
    return held


def _stuck_times(tables: Tables, seconds: float, walk_s: FloatArray) -> FloatArray:
    pulses = tables.pulses[tables.pulses["ended"] == LET_GO]
    pulses = pulses[np.argsort(pulses["walker"], kind="stable")]
    spans = [_going_nowhere(tables, pulses), silent_spans(tables, pulses, seconds)]
    stuck = np.zeros(len(tables.walkers))
    for walker, from_s, to_s in spans:
        end = walk_s[walker]
        lasted = np.clip(to_s, 0.0, end) - np.clip(from_s, 0.0, end)
        stuck += np.bincount(walker, weights=lasted, minlength=len(stuck))
    return stuck


_Spans = tuple[IntArray, FloatArray, FloatArray]


def _going_nowhere(tables: Tables, pulses: RecordArray) -> _Spans:
    """Spans within runs of six pulses that end nowhere; they do not overlap."""
    walker = pulses["walker"].astype(np.int64)
    starts = np.arange(max(0, len(pulses) - STUCK_PULSES + 1))
    starts = starts[walker[starts] == walker[starts + STUCK_PULSES - 1]]
    x0, y0 = _centres(tables, walker, pulses["x0"], pulses["y0"], pulses["heading0"])
    x1, y1 = _centres(tables, walker, pulses["x1"], pulses["y1"], pulses["heading1"])
    farthest = np.zeros(len(starts))
    for later in range(STUCK_PULSES):
        distance = np.hypot(x1[starts + later] - x0[starts], y1[starts + later] - y0[starts])
        farthest = np.maximum(farthest, distance)
    stuck = starts[farthest < _getting_on(tables)[walker[starts]]]
    # Windows overlap: count for every pulse, and for the wait behind it, how many hold it.
    changes = np.zeros(len(pulses) + 1)
    np.add.at(changes, stuck, 1)
    wait_changes = changes.copy()
    np.add.at(changes, stuck + STUCK_PULSES, -1)
    np.add.at(wait_changes, stuck + STUCK_PULSES - 1, -1)
    held, wait_held = np.cumsum(changes)[:-1] > 0, np.cumsum(wait_changes)[:-1] > 0
    waits = np.flatnonzero(wait_held)
    return (
        np.concatenate([walker[held], walker[waits]]),
        np.concatenate([pulses["start_s"][held], pulses["rest_s"][waits]]),
        np.concatenate([pulses["rest_s"][held], pulses["start_s"][waits + 1]]),
    )


def _getting_on(tables: Tables) -> FloatArray:
    """Distance [m], (walkers,), that a walker must get away within six pulses so as not to be stuck.

    One diameter of its body; but where its design takes smaller steps, half of what six untouched pulses of
    median length would cover straight on: slow is not stuck. Steps below LEAST_MOVE count as that, so that
    who twitches on the spot is.
    """
    pulses, design = tables.pulses, tables.walkers["design"]
    moves = np.hypot(pulses["x1"] - pulses["x0"], pulses["y1"] - pulses["y0"])
    untouched = pulses["touched"] == 0
    of_design = design[pulses["walker"]]
    needed = 2.0 * tables.walkers["radius"]
    of_design, moves = of_design[untouched], moves[untouched]
    count = int(design.max(initial=-1)) + 1
    order = np.lexsort((moves, of_design))
    fired = np.bincount(of_design, minlength=count)
    first = np.cumsum(fired) - fired
    some = fired > 0
    lower, upper = first + (fired - 1) // 2, first + fired // 2
    step = np.full(count, np.inf)
    step[some] = 0.5 * (moves[order[lower[some]]] + moves[order[upper[some]]])
    return np.minimum(needed, 0.5 * STUCK_PULSES * np.maximum(step, LEAST_MOVE)[design])


def silent_spans(tables: Tables, pulses: RecordArray, seconds: float) -> _Spans:
    """From the last finished pulse to the end of the run, where that is longer than six typical waits.

    ``pulses`` are the finished ones, walker by walker. Returns whose, from when and to when [s].
    """
    count = len(tables.walkers)
    everyone = np.arange(count)
    walker, edges = pulses["walker"], np.searchsorted(pulses["walker"], np.arange(count + 1))
    previous = np.concatenate(([0.0], pulses["rest_s"][:-1])) if len(pulses) else np.zeros(0)
    first = edges[:-1][edges[1:] > edges[:-1]]
    previous[first] = 0.0
    waits = pulses["start_s"] - previous
    by_length = np.lexsort((waits, walker))
    fired = edges[1:] - edges[:-1]
    last, typical = np.zeros(count), np.zeros(count)
    some = fired > 0
    last[some] = pulses["rest_s"][edges[1:][some] - 1]
    lower, upper = edges[:-1] + (fired - 1) // 2, edges[:-1] + fired // 2
    ordered = waits[by_length]
    typical[some] = 0.5 * (ordered[lower[some]] + ordered[upper[some]])
    silent = seconds - last > STUCK_PULSES * typical
    return everyone[silent], last[silent], np.full(int(silent.sum()), seconds)
