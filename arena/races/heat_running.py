"""Running one race: entries from their start places on a course, with the luck of a round, to places.

All entries of a round have the same luck: each draws its parts at the same quantiles of its spreads, and its
jitter from the same numbers.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.design.built_copies import build_copies, part_chances, part_values
from agents.errors import ModelError
from arena.engine.assembly import WorldPlan
from arena.engine.looked_up import alike_among, worth_looking_up
from arena.races.finishing import Deeds, deeds_of, finishing_order, in_stages, lost_finish
from arena.races.race_plan import RaceCourse
from arena.races.results import Entry, Finish
from arena.recording import compose, goal_outline, walker_rows
from arena.scene.contest import Contest, Entrant
from arena.scene.flat_arena import FlatArena, flatten
from arena.scene.sky import sky_of
from arena.scene.spec import ArenaSpec
from arena.simulation import run_plans
from replays.format.tables import Replay, Tables

Starter = tuple[Entry, int]
"""An entry with the number of its start place."""


@dataclass(frozen=True)
class HeatTerms:
    """What a race is run by.

    ``poses`` (places, 3) x, y [m], heading [rad] of the start places; ``alone``: every entry has the course
    to itself. ``luck`` is the number of the built copy that every entry sends.
    """

    course: RaceCourse
    starters: tuple[Starter, ...]
    poses: FloatArray
    alone: bool
    seed: int
    luck: int


@dataclass(frozen=True)
class HeatRun:
    """What came of a race: the finishes in the order of places, and a replay of each stage, if kept."""

    finishes: tuple[Finish, ...]
    replays: tuple[Replay, ...]


def run_heat(
    terms: HeatTerms,
    threads: int = 1,
    keep: bool = False,
    progress: Callable[[float], None] | None = None,
) -> HeatRun:
    """Run a race; the same for any number of ``threads``.

    One whom the model cannot follow is taken out, the others race anew without it; it comes last, with the
    reason. ``keep``: make replays too. What ``progress`` raises, called with the share done, stops it.
    """
    # in the order of the entries, as all that is told of them
    starters, lost = sorted(terms.starters, key=lambda one: one[0].number), []
    while starters:
        stages: list[Deeds] = []
        replays: list[Replay] = []
        try:
            for number in range(len(terms.course.dims)):
                run = _Stage(terms, starters, number)
                stages.append(run.deeds(threads, progress))
                if keep:
                    replays.append(run.replay(threads))
        except _Gone as gone:
            lost.append((starters.pop(gone.number), str(gone.error)))
            continue
        entries, starts = [one.number for one, _ in starters], [start for _, start in starters]
        deeds = in_stages(stages, terms.course.seconds)
        finishes = finishing_order(deeds, entries, starts, terms.course.by)
        break
    else:
        finishes, replays = [], []
    last = len(finishes) + 1
    finishes += [lost_finish(entry.number, start, last, why) for (entry, start), why in lost]
    return HeatRun(tuple(finishes), tuple(replays))


class _Gone(Exception):  # noqa: N818 - it is one that is gone
    """The model could not follow starter ``number``."""

    def __init__(self, number: int, error: ModelError) -> None:
        self.number, self.error = number, error
        super().__init__(str(error))


class _Stage:
    """One stage of a race under way."""

    def __init__(self, terms: HeatTerms, starters: Sequence[Starter], number: int) -> None:
        self.terms, self.starters = terms, starters
        self.arena, self.flat = course_stage(terms.course, number)
        built = [built_walker(entry, terms.seed, terms.luck, self.arena.air) for entry, _ in starters]
        self.walkers = np.concatenate([record for record, _ in built])
        self.parts = [drawn for _, drawn in built]
        self.poses = terms.poses[[start for _, start in starters]]
        self.sky = sky_of(self.arena, terms.course.seconds, terms.seed, terms.luck)
        count = len(starters)
        self.heats = np.arange(count) if terms.alone else np.zeros(count, np.int64)

    def deeds(self, threads: int, progress: Callable[[float], None] | None) -> Deeds:
        """Run it, and return what the walkers did."""
        terms, count = self.terms, len(self.starters)
        # who comes first where two events fall together is a matter of start places, in which all take turns
        by_start = sorted(range(count), key=lambda number: self.starters[number][1])
        groups = [[number] for number in range(count)] if terms.alone else [by_start]
        looked_up = worth_looking_up(alike_among(self.walkers), terms.course.seconds)
        plans = [
            WorldPlan(
                self.flat,
                self.walkers[group],
                self.poses[group],
                np.array(group),
                np.full(len(group), terms.luck),
                terms.seed,
                terms.course.seconds,
                self.sky,
                looked_up=looked_up[group],
            )
            for group in groups
        ]
        asked: list[int] = []

        def called(number: int) -> str:
            asked.append(number)
            return self.starters[number][0].name

        try:
            self.tables, ledger = run_plans(plans, threads, progress, None, called)
        except ModelError as error:
            raise _Gone(asked[-1], error) from None
        self.ledger = np.empty_like(ledger)
        self.ledger[[number for group in groups for number in group]] = ledger
        rows = walker_rows(self.walkers, self.poses, self.heats, 1)
        done = Tables(walkers=rows, **self.tables)
        goals = [np.array(goal_outline(goal), np.float64) for goal in self.arena.goals]
        return deeds_of(done, goals, terms.course.seconds)

    def replay(self, threads: int) -> Replay:
        """The replay of what has been run."""
        terms = self.terms
        entrants = tuple(
            Entrant(entry.design, entry.text, entry.number, entry.team) for entry, _ in self.starters
        )
        course = terms.course
        contest = Contest(self.arena, course.text, entrants, 1, course.seconds, terms.seed, terms.alone)
        return compose(
            contest,
            self.flat,
            self.walkers,
            self.parts,
            self.poses,
            self.heats,
            self.tables,
            self.ledger,
            threads,
            self.sky,
        )


def built_walker(entry: Entry, seed: int, luck: int, air: float) -> tuple[RecordArray, dict[str, float]]:
    """The WALKER record, (1,), of built copy ``luck`` of an entry, and the parts drawn for it by path, SI."""
    design = entry.design
    values = part_values(design, part_chances(design, seed, [luck]))
    names = [spread.path for spread in design.spreads]
    return build_copies(design, values, air), dict(zip(names, values[0].tolist(), strict=True))


@cache
def course_stage(course: RaceCourse, number: int) -> tuple[ArenaSpec, FlatArena]:
    """The arena of a course in one of its stages."""
    arena = dimmed(course.arena, course.dims[number])
    return arena, flatten(arena)


def dimmed(arena: ArenaSpec, share: float) -> ArenaSpec:
    """The arena with this share of its light, of whatever sort."""
    if share == 1.0:
        return arena
    lamps = tuple(
        lamp.model_copy(
            update={
                "intensity": None if lamp.intensity is None else share * lamp.intensity,
                "flux": None if lamp.flux is None else share * lamp.flux,
            }
        )
        for lamp in arena.lamps
    )
    sun = arena.sun
    if sun is not None:
        sun = sun.model_copy(update={"illuminance": share * sun.illuminance})
    ambient = arena.ambient.model_copy(update={"illuminance": share * arena.ambient.illuminance})
    day = arena.day
    if day is not None:
        day = day.model_copy(update={"glass": share * day.glass})
    return arena.model_copy(update={"lamps": lamps, "sun": sun, "ambient": ambient, "day": day})


def with_entry(terms: HeatTerms, entry: Entry) -> HeatTerms:
    """The same race, places and luck, with another walker in place of the entry of its number."""
    starters = tuple((entry if one.number == entry.number else one, start) for one, start in terms.starters)
    return replace(terms, starters=starters)
