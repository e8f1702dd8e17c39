"""How walkers came out of a race: what each did, in a figure and in words, and in which place that put it."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray, IntArray
from replays.format.tables import Tables
from replays.scoring.measures import measure
from replays.words import light_words, ordinal, time_words

LEAST_GAIN = 0.01
"""A gain in merit below this is not worth telling."""


@dataclass(frozen=True)
class Deed:
    """What one walker did in a race.

    The greater its ``merit`` the better; LEAST_GAIN is the least difference worth telling. ``verb`` and
    ``words`` say it: *arrived* and *at 17 min 03 s*. ``reach_s`` [s] is when it reached a goal, or None.
    """

    merit: float
    verb: str
    words: str
    reach_s: float | None

    @property
    def told(self) -> str:
        """What it did: *arrived at 17 min 03 s*."""
        return f"{self.verb} {self.words}"

    @property
    def told_now(self) -> str:
        """As said of what would be: *arrives at 17 min 03 s*."""
        return f"{_NOW[self.verb]} {self.words}"


ARRIVED, GAINED, LOST, HAD, MOVED = "arrived", "gained", "lost", "had", "moved"
_NOW = {ARRIVED: "arrives", GAINED: "gains", LOST: "loses", HAD: "has", MOVED: "moves"}

Judge = Callable[[Tables], list[Deed]]
"""What every walker of a run did, by what counts in this race."""


@dataclass(frozen=True)
class Outcome:
    """The ``place`` in which a deed put a walker among those with whom it raced, itself counted."""

    place: int
    among: int
    deed: Deed

    @property
    def words(self) -> str:
        """The place, like *4th of 12*."""
        return f"{ordinal(self.place)} of {self.among}"

    def as_dict(self) -> dict[str, object]:
        """For JSON."""
        return {
            "place": self.place,
            "among": self.among,
            "reach_s": self.deed.reach_s,
            "merit": self.deed.merit,
            "words": self.deed.told,
        }


def usual_judge(goals: Sequence[FloatArray], seconds: float) -> Judge:
    """Who arrives first, then who gained most of the way; where there is no goal, who had most light.

    ``goals`` are outlines (points, 2) [m]; the race lasts ``seconds`` [s].
    """

    def by_arrival(tables: Tables) -> list[Deed]:
        found = measure(tables, goals, seconds, np.arange(len(tables.walkers)))
        deeds = []
        for reach_s, progress in zip(found.reach_s.tolist(), found.progress.tolist(), strict=True):
            if not math.isnan(reach_s):
                merit = 2.0 - reach_s / seconds
                deeds.append(Deed(merit, ARRIVED, f"at {time_words(reach_s)}", reach_s))
            else:
                percent = round(100.0 * progress) if progress == progress else 0
                verb = LOST if percent < 0 else GAINED
                share = f"{abs(percent)} % of the way in {time_words(seconds)}"
                # who stood still stands where the others stood, whatever the last digits say
                merit = round(progress, 3) if progress == progress else 0.0
                deeds.append(Deed(merit, verb, share, None))
        return deeds

    def by_light(tables: Tables) -> list[Deed]:
        return [
            Deed(math.log(max(light, 1e-9)), HAD, f"{light_words(light)} on its panel on average", None)
            for light in mean_lights(tables, seconds).tolist()
        ]

    return by_arrival if goals else by_light


def mean_lights(tables: Tables, seconds: float) -> FloatArray:
    """Mean over the run of the light on each panel [lx], (walkers,)."""
    lights = tables.lights
    walker = lights["walker"]
    until = np.append(lights["time_s"][1:], seconds)
    until[:-1][walker[1:] != walker[:-1]] = seconds
    dose = lights["panel_lx"].astype(np.float64) * (until - lights["time_s"])
    means: FloatArray = np.bincount(walker, weights=dose, minlength=len(tables.walkers)) / seconds
    return means


def outcomes_of(deeds: Sequence[Deed], groups: IntArray) -> list[Outcome]:
    """The place of each deed among those of like number in ``groups``; deeds alike share the better place."""
    merits = np.array([one.merit for one in deeds])
    found = []
    for deed, group in zip(deeds, groups.tolist(), strict=True):
        rivals = merits[groups == group]
        found.append(Outcome(1 + int(np.count_nonzero(rivals > deed.merit)), len(rivals), deed))
    return found


def first_of(deeds: Sequence[Deed], groups: IntArray) -> IntArray:
    """For each walker the number of the one that came in first in its group; of several the first of them."""
    merits = np.array([one.merit for one in deeds])
    first = np.zeros(len(merits), np.int64)
    for group in np.unique(groups).tolist():
        mine = np.flatnonzero(groups == group)
        first[mine] = mine[np.argmax(merits[mine])]
    return first
