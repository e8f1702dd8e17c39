"""The scores of each design, from replays alone.

How a walker is measured is said in :mod:`replays.scoring.measures`, what an episode is in
:mod:`replays.scoring.episodes`, and the statistics in :mod:`replays.scoring.survival`. Where no source is
named the definition is this program's own.
"""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from agents.arrays import FloatArray
from agents.errors import ReplayError
from replays.format.tables import LET_GO, Replay
from replays.scoring.confidence_intervals import share_interval
from replays.scoring.directions import resultant_length
from replays.scoring.measures import Measures, join, measure
from replays.scoring.survival import wait_curve
from replays.scoring.turns import whole_turns

EXPLANATIONS = {
    "walkers": "walkers of this design",
    "pulses": "pulses that all of them fired",
    "reached": "walkers whose body's centre came into a goal",
    "reach_share": "share of the walkers that reached a goal",
    "reach_interval": "range that holds the true share with 95 % confidence",
    "median_reach_s": "time by which half reach a goal [s]; who never did was cut off at the end of the run",
    "progress": "share of the way to the goal gained: 1 arrived, 0 no nearer than at the start; mean of all",
    "light_gain": "light on the panel over the run, against staying at the start; median of the walkers",
    "hardly_moved": "walkers that went less than their body's width, or under 1 mm at most free pulses",
    "directness": "straight distance over the path walked; mean of the walkers that moved, more than hardly",
    "median_turn_deg": "by how much a pulse turned it [deg], whole turns counted; median of the pulses",
    "aim": "mean cosine between a pulse's move (of 1 mm or more) and the straight way to the nearest goal: "
    "1 towards, -1 away",
    "aim_resultant": "mean resultant length of the angles to that way: 1 always the same, 0 all round",
    "contacts": "times a walker got into touch, until two pulses without",
    "shades": "times a walker lost half its light to a shadow, until two pulses without",
    "escape_share": "share of contacts and shadows that ended free before the run did",
    "escape_interval": "range that holds the true share with 95 % confidence",
    "median_escape_s": "time by which half of them end free [s]; the rest was cut off at the end of the run",
    "median_escape_pulses": "pulses by which half of them end free, counted likewise",
    "stuck_share": "share of the walk's time spent getting nowhere within six pulses, twitching, or silent "
    "to the end",
}
"""One line for each score of a DesignScore, for whoever reads a table of them."""


@dataclass(frozen=True)
class DesignScore:
    """The scores of one design; None where undefined.

    Attributes:
        design: name.
        walkers: number of walkers.
        pulses: number of pulses fired by all of them.
        reached: number of walkers whose body's centre came into a goal. None without a goal.
        reach_share: reached / walkers that had a goal, 0 to 1.
        reach_interval: its 95 % interval. Wilson (1927).
        median_reach_s: [s] first time by which the Kaplan–Meier estimate of the share still under way is at
            most one half; a walker that never reached a goal was cut off at the end of its run. None when
            the estimate never falls so far. Kaplan and Meier (1958).
        progress: 1 − (distance at the end) / (distance at the start), where the distance is the straight one
            from the body's centre to the nearest point of the nearest goal, walls notwithstanding; mean over
            the walkers, −1 to 1. 1 for a walker that reached a goal, 0 for one that ended as far off as it
            began, −1 for one that ended twice as far off or farther. Walkers that start in a goal are left
            out. None without a goal.
        light_gain: (mean over the run's time of the light on the panel) / (light on the panel at time 0),
            median over the walkers, from 0; the median because one walker that starts in deep shade gains a
            thousandfold. Walkers that start in the dark are left out.
        hardly_moved: number of walkers that reached no goal and on their walk went a path shorter than their
            body's diameter, or moved less than 1 mm at most of their pulses that began untouched, the bench's
            limit for a design that hardly moves.
        directness: (straight distance from the start to the place of reaching a goal, or of the end) / (path
            of the axle's middle to there), mean over the walkers, 0 to 1, those left out that hardly moved:
            what goes nowhere has no way that could be direct. The ratio is known in studies of animal paths
            as the straightness index: Batschelet, Circular Statistics in Biology (1981), from memory.
        median_turn_deg: [deg] median over the pulses that came to rest of the size of their turn, whole turns
            counted: a pulse that turns the walker twice round counts 720, from 0.
        aim: mean cosine of the angle between a pulse's move and the straight way from its start to the
            nearest point of the nearest goal, walls notwithstanding, −1 to 1; over all pulses before the
            goal was reached that moved 1 mm or more.
        aim_resultant: mean resultant length of these angles, 0 to 1. Mardia and Jupp (2000).
        contacts: number of contact episodes that began before the walker reached a goal.
        shades: number of shade episodes, likewise.
        escape_share: share of these episodes that ended free, 0 to 1. None without an episode.
        escape_interval: its 95 % interval. Wilson (1927).
        median_escape_s: [s] Kaplan–Meier median of their length; those not ended free were cut off.
        median_escape_pulses: the same of the number of pulses fired from the episode's start to its end.
        stuck_share: share of the walks' time, 0 to 1, that lies (a) within six pulses in which the body's
            centre never came to rest farther from where the six began than one body diameter, or than half
            the way that six median untouched pulses of the design would go straight on, whichever is less,
            where a pulse below 1 mm counts as 1 mm, so that twitching on the spot is stuck;
            or (b) between a walker's last finished pulse (or its start) and the end of the run, when that is
            more than six of its median waits; a walker that never finished a pulse is stuck throughout.
    """

    design: str
    walkers: int
    pulses: int
    reached: int | None
    reach_share: float | None
    reach_interval: tuple[float, float] | None
    median_reach_s: float | None
    progress: float | None
    light_gain: float | None
    hardly_moved: int
    directness: float | None
    median_turn_deg: float | None
    aim: float | None
    aim_resultant: float | None
    contacts: int
    shades: int
    escape_share: float | None
    escape_interval: tuple[float, float] | None
    median_escape_s: float | None
    median_escape_pulses: float | None
    stuck_share: float | None

    def as_dict(self) -> dict[str, Any]:
        """The scores by name, for JSON; intervals as lists, None where undefined."""
        return {
            name: list(value) if isinstance(value, tuple) else value for name, value in asdict(self).items()
        }


def score(replay: Replay) -> list[DesignScore]:
    """The scores of each design of ``replay``, in the header's order.

    >>> from arena import read_contest, simulate
    >>> race = simulate(read_contest("open-bench", ["poppy", "lentil"], walkers=2, seconds=300))
    >>> [(one.design, one.walkers, one.reached) for one in score(race)]
    [('poppy', 2, 0), ('lentil', 2, 0)]
    """
    return score_many([replay])


def score_many(replays: Sequence[Replay]) -> list[DesignScore]:
    """The scores of each design over all ``replays`` together, in order of first appearance.

    Designs are alike when their names are. Raises ReplayError when designs of one name were read from
    different texts, for their walkers cannot be thrown together.

    >>> from arena import read_contest, simulate
    >>> races = [simulate(read_contest("open-bench", ["poppy"], 2, 300, seed)) for seed in range(3)]
    >>> [(one.design, one.walkers) for one in score_many(races)]
    [('poppy', 6)]
    """
    texts: dict[str, str] = {}
    for replay in replays:
        for design in replay.header["designs"]:
            if texts.setdefault(design["name"], design["yaml"]) != design["yaml"]:
                raise ReplayError(
                    f"the replays hold different designs by the name of {design['name']}; score them apart"
                )
    names = list(texts)
    if not replays:
        return []
    everything = join(
        [
            measure(
                replay,
                replay.goals,
                replay.seconds,
                np.array([names.index(one) for one in replay.design_names], dtype=np.int64),
            )
            for replay in replays
        ]
    )
    turns = [_turns_by_design(replay) for replay in replays]
    return [
        _sum_up(name, number, everything, np.concatenate([one.get(name, np.zeros(0)) for one in turns]))
        for number, name in enumerate(names)
    ]


def _turns_by_design(replay: Replay) -> dict[str, FloatArray]:
    """The size [rad] of the turn of every pulse that came to rest, by the name of its design."""
    rested = replay.pulses["ended"] == LET_GO
    sizes = np.abs(whole_turns(replay))
    design = replay.walkers["design"][replay.pulses["walker"]]
    return {name: sizes[rested & (design == number)] for number, name in enumerate(replay.design_names)}


def _sum_up(name: str, number: int, measures: Measures, turns: FloatArray) -> DesignScore:
    mine = measures.design == number
    with_goal = mine & measures.has_goal
    goals = int(with_goal.sum())
    reach_s = measures.reach_s[with_goal]
    has_reached = ~np.isnan(reach_s)
    reached = int(has_reached.sum())
    angles = measures.aim_angle[measures.aim_design == number]
    in_episode = measures.episode_design == number
    is_contact = measures.is_contact[in_episode]
    escaped = measures.escaped[in_episode]
    walk_s = float(measures.walk_s[mine].sum())
    return DesignScore(
        design=name,
        walkers=int(mine.sum()),
        pulses=int(measures.pulses[mine].sum()),
        reached=reached if goals else None,
        reach_share=reached / goals if goals else None,
        reach_interval=share_interval(reached, goals),
        median_reach_s=wait_curve(
            np.where(has_reached, reach_s, measures.seconds[with_goal]), has_reached
        ).median,
        progress=_of_defined(measures.progress[mine], np.mean),
        light_gain=_of_defined(measures.light_gain[mine], np.median),
        hardly_moved=int(measures.hardly_moved[mine].sum()),
        directness=_of_defined(measures.directness[mine], np.mean),
        median_turn_deg=math.degrees(float(np.median(turns))) if turns.size else None,
        aim=float(np.cos(angles).mean()) if angles.size else None,
        aim_resultant=resultant_length(angles),
        contacts=int(is_contact.sum()),
        shades=int((~is_contact).sum()),
        escape_share=float(escaped.mean()) if escaped.size else None,
        escape_interval=share_interval(int(escaped.sum()), escaped.size),
        median_escape_s=wait_curve(measures.escape_s[in_episode], escaped).median,
        median_escape_pulses=wait_curve(
            measures.escape_pulses[in_episode].astype(np.float64), escaped
        ).median,
        stuck_share=float(measures.stuck_s[mine].sum()) / walk_s if walk_s > 0 else None,
    )


def _of_defined(values: FloatArray, summary: Any) -> float | None:
    defined = values[~np.isnan(values)]
    return float(summary(defined)) if defined.size else None
