"""The scores of an experiment: what one row of trials holds, and what is made of many of them.

A *trial* is one run of one world: one built copy of a design, or several that share the floor, with the luck
of one repeat. It leaves one row of :data:`TRIAL`. A :class:`Score` says which column of these rows it sums up
over the repeats of a setting, and how. How a walker is measured is said in :mod:`replays.scoring.measures`,
what an episode is in :mod:`replays.scoring.episodes`.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

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
    # 1.0 where the setting makes no design or arena, or has no room to start; all else is nan then
    "impossible",
)

TRIAL = np.dtype([("trial", "<i8"), *((name, "<f8") for name in SCORE_COLUMNS)])
"""One row a trial; counts, and times [s], are sums over the trial's walkers unless said otherwise."""

UNITS = {"reach_s": "s", "held_s": "s", "stuck_s": "s", "walk_s": "s"}
"""Units of the columns of TRIAL that have one, for headings."""


@dataclass(frozen=True)
class Score:
    """What the repeats of one setting come to.

    ``summary`` of ``column`` over the repeats: the *share* or *mean* of its values, their *median* (inf where
    more than half of them are "not within the run"), or the *ratio* of the sum of ``column`` to the sum of
    the column ``weight``, which is None for the others. Values that are nan are left out. ``unit`` is that of
    the summary: "", "s", or "%" for a share or a ratio of parts of a whole, whose value still lies from 0 to
    1.
    ``words`` complete "walkers that ..." or stand in a heading; ``definition`` is a sentence.
    """

    name: str
    words: str
    unit: str
    more_is_better: bool
    summary: Summary
    column: str
    weight: str | None
    definition: str


def in_seconds(score: Score, heading: str) -> str:
    """The heading of a column of CSV with figures of a score, with their unit where that is the second.

    Shares and ratios have none: in a table they count from 0 to 1.
    """
    return f"{heading} [s]" if score.unit == "s" else heading


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
    )
}
"""Every score by its name, as plans write it."""
