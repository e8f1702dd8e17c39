"""The scores of an experiment: what one row of trials holds, and what is made of many of them.

A *trial* is one run of one world: one built copy of a design, or several that share the floor, with the luck
of one repeat. It leaves one row of :data:`TRIAL`. A :class:`Score` says which column of these rows it sums up
over the repeats of a setting, and how. How a walker is measured is said in :mod:`replays.scoring.measures`,
what an episode is in :mod:`replays.scoring.episodes`.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from agents.arrays import RecordArray

Summary = Literal["share", "median", "mean", "ratio"]

SCORE_COLUMNS = (
    # share of the trial's walkers whose body's centre came into a goal, 0 to 1; nan without a goal
    "reached",
    # when they did [s], median of the walkers; inf: not within the run; nan without a goal
    "reach_s",
    # see replays.scoring.scores.DesignScore: share of the way to the goal gained, mean of the walkers
    "progress",
    # likewise: median of the walkers; mean of those that moved more than hardly
    "light_gain",
    "directness",
    # sum over the pulses that have an aim, which takes a move of 1 mm, of the cosine between move and
    # straight way to the nearest goal,
    # and the number of these pulses
    "aim_sum",
    "aims",
    # contact episodes begun before the goal, those that ended free, and the time within them [s]
    "contacts",
    "escapes",
    "held_s",
    # shade episodes, likewise
    "shades",
    "shade_escapes",
    # of the walks: time [s] spent getting nowhere, and their length; summed over the walkers
    "stuck_s",
    "walk_s",
    "pulses",
    "walkers",
    # of walkers among others, see replays.scoring.crowds.CrowdScore: share in a goal over the last tenth of
    # the run, nan without a goal; distance to the nearest over that of a random scatter, nan for one walker
    "gathered",
    "spread",
    # contacts with other walkers, time in contact with others [s], time [s, min]; summed over the walkers
    "meetings",
    "beside_s",
    "walker_s",
    "walker_min",
    # light on the panels that others took away, and with nobody in the way [lx s], summed over the walkers;
    # light on the panel, their mean [lx]; Jain's index of it, nan for one walker
    "lost_light",
    "clear_light",
    "panel_lx",
    "evenness",
    # share that came through the arena's gates, and walkers counted for the flow in how long [min]; mean and
    # sums over the gates, nan without a gate, the flow's also for one walker
    "passed",
    "passages",
    "passing_min",
    # 1.0 where the setting makes no design or arena, or has no room to start; all else is nan then
    "impossible",
)

TRIAL = np.dtype([("trial", "<i8"), *((name, "<f8") for name in SCORE_COLUMNS)])
"""One row a trial; counts, and times [s], are sums over the trial's walkers unless said otherwise."""

# What may lie below 0, and what never lies above 1.
_SIGNED = ("progress", "aim_sum", "lost_light")
_SHARES = ("reached", "progress", "directness", "gathered", "evenness", "passed", "impossible")
# Rounding may carry a share a little beyond 1.
_A_LITTLE = 1e-9

UNITS = {
    **dict.fromkeys(("reach_s", "held_s", "stuck_s", "walk_s", "beside_s", "walker_s"), "s"),
    **dict.fromkeys(("walker_min", "passing_min"), "min"),
    **dict.fromkeys(("lost_light", "clear_light"), "lx s"),
    "panel_lx": "lx",
}
"""Units of the columns of TRIAL that have one, for headings."""


def misfit_of(rows: RecordArray, first: int) -> str:
    """Why rows of TRIAL cannot be those of the trials from ``first`` on, in words; empty where they can."""
    if not np.array_equal(rows["trial"], np.arange(first, first + len(rows))):
        return "their numbers"
    return impossible_figure(rows)


def impossible_figure(rows: RecordArray) -> str:
    """The column of TRIAL ``rows``, of any trials, with a figure that no trial has; empty if none is."""
    for name in SCORE_COLUMNS:
        values = rows[name]
        most = 1.0 + _A_LITTLE if name in _SHARES else np.inf
        least = -np.inf if name in _SIGNED else 0.0
        if np.any(values < least) or np.any(values > most):
            return name
        if name != "reach_s" and np.any(np.isinf(values)):
            return name
    for part, whole in (("escapes", "contacts"), ("shade_escapes", "shades")):
        if np.any(rows[part] > rows[whole]):
            return part
    if not np.all(np.isin(rows["impossible"], (0.0, 1.0))):
        return "impossible"
    return ""


@dataclass(frozen=True)
class Score:
    """What the repeats of one setting come to.

    ``summary`` of ``column`` over the repeats: the *share* or *mean* of its values, their *median* (inf where
    more than half of them are "not within the run"), or the *ratio* of the sum of ``column`` to the sum of
    the column ``weight``, which is None for the others. Values that are nan are left out. ``unit`` is that of
    the summary: "", "s", "lx", or "%" for a share or a ratio of parts of a whole, whose value still lies from
    0 to 1. ``words`` complete "walkers that ..." or stand in a heading; ``definition`` is a sentence.
    """

    name: str
    words: str
    unit: str
    more_is_better: bool
    summary: Summary
    column: str
    weight: str | None
    definition: str


def with_unit_of(score: Score, heading: str) -> str:
    """The heading of a column of CSV with figures of a score, with their unit where they have one.

    Shares and ratios have none: in a table they count from 0 to 1.
    """
    return f"{heading} [{score.unit}]" if score.unit in ("s", "lx") else heading


SCORES = {
    score.name: score
    for score in (
        Score(
            "reached",
            "reached the goal",
            "%",
            True,
            "share",
            "reached",
            None,
            "share of the walkers whose body's centre came into a goal before the run was over",
        ),
        Score(
            "reach time",
            "time to the goal",
            "s",
            False,
            "median",
            "reach_s",
            None,
            "time by which half of the trials reach a goal",
        ),
        Score(
            "progress",
            "progress to the goal",
            "",
            True,
            "mean",
            "progress",
            None,
            "share of the straight way to the nearest goal that was gained: 1 arrived, "
            "0 no nearer than at the start, -1 twice as far off or farther; mean of the trials",
        ),
        Score(
            "light gain",
            "light gained",
            "",
            True,
            "median",
            "light_gain",
            None,
            "light on the panel over the run, against staying at the start; median of the trials",
        ),
        Score(
            "directness",
            "directness of the way",
            "",
            True,
            "mean",
            "directness",
            None,
            "straight distance over the path walked, to the goal or the end; mean of the trials, but for "
            "those whose walkers hardly moved",
        ),
        Score(
            "aim",
            "aim at the goal",
            "",
            True,
            "ratio",
            "aim_sum",
            "aims",
            "mean cosine, over all pulses on the way that moved 1 mm or more, between a pulse's move and the "
            "straight way to the nearest goal: 1 towards it, -1 away from it",
        ),
        Score(
            "contacts",
            "contacts",
            "",
            False,
            "mean",
            "contacts",
            None,
            "times that a trial's walkers got into touch with something, until two pulses without; mean of "
            "the trials",
        ),
        Score(
            "escape",
            "escaped from contacts",
            "%",
            True,
            "ratio",
            "escapes",
            "contacts",
            "share of the contacts that ended free before the run did",
        ),
        Score(
            "held",
            "held in contact",
            "%",
            False,
            "ratio",
            "held_s",
            "walk_s",
            "share of the walk's time, to the goal or the end, from getting into touch to being free again",
        ),
        Score(
            "shades",
            "times shaded",
            "",
            False,
            "mean",
            "shades",
            None,
            "times that a trial's walkers lost half their light to a shadow, until two pulses without; mean "
            "of the trials",
        ),
        Score(
            "stuck",
            "stuck",
            "%",
            False,
            "ratio",
            "stuck_s",
            "walk_s",
            "share of the walk's time spent getting nowhere within six pulses, twitching on the spot, or "
            "silent to the end",
        ),
        Score(
            "pulses",
            "pulses",
            "",
            True,
            "mean",
            "pulses",
            None,
            "pulses that a trial's walkers fired; mean of the trials",
        ),
        Score(
            "gathered",
            "gathered in the goal",
            "%",
            True,
            "share",
            "gathered",
            None,
            "share of the walkers whose body's centre was in a goal, over the last tenth of the run",
        ),
        Score(
            "spread",
            "spread",
            "",
            True,
            "mean",
            "spread",
            None,
            "mean distance to the nearest other over that of a random scatter on the same floor (Clark and "
            "Evans 1954), in the last tenth of the run: 1 as by chance, 0 all in one place; mean of the "
            "trials",
        ),
        Score(
            "crowding",
            "contacts with others a minute",
            "",
            False,
            "ratio",
            "meetings",
            "walker_min",
            "contacts with other walkers, each until two pulses without, a walker and minute",
        ),
        Score(
            "contact time",
            "time in contact with others",
            "%",
            False,
            "ratio",
            "beside_s",
            "walker_s",
            "share of the walkers' time in which another walker was in contact with them",
        ),
        Score(
            "shading",
            "light lost to others",
            "%",
            False,
            "ratio",
            "lost_light",
            "clear_light",
            "share of the light on the panels that other walkers took away",
        ),
        Score(
            "light",
            "light on the panel",
            "lx",
            True,
            "mean",
            "panel_lx",
            None,
            "light on the panel over the run, mean of the walkers and of the trials",
        ),
        Score(
            "evenness",
            "evenness of the light",
            "",
            True,
            "mean",
            "evenness",
            None,
            "how evenly the walkers shared that light (Jain's index 1984): 1 all alike, 1 over their number "
            "if one had it all; mean of the trials",
        ),
        Score(
            "passed",
            "came through the gate",
            "%",
            True,
            "share",
            "passed",
            None,
            "share of the walkers whose body's centre crossed the arena's gate; of several gates their mean",
        ),
        Score(
            "flow",
            "walkers a minute through the gate",
            "",
            True,
            "ratio",
            "passages",
            "passing_min",
            "walkers a minute through the gate, from the first until half of all were through, or to the end "
            "of the run where fewer came",
        ),
    )
}
"""Every score by its name, as plans write it."""
