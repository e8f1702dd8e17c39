"""Why each entry fared as it did in a heat: accounts, with changes tried in the very same heat.

What counts is what decides on the course (:mod:`arena.races.finishing`). Where the light dims in stages, an
entry is accounted for in the stage in which it moved last, and a change by what it does in all of them.
"""

import math
from collections.abc import Callable, Collection
from dataclasses import replace

import numpy as np

from agents.design.changing import design_text
from agents.design.spec import Design
from arena.accounts.line_up import LineUp, outlines_of
from arena.accounts.outcomes import ARRIVED, GAINED, HAD, MOVED, Deed, Judge, Outcome
from arena.accounts.telling import TRIES, Account, Meet, accounts_of
from arena.races.finishing import Deeds, deeds_of
from arena.races.heat_running import HeatRun, HeatTerms, built_walker, course_stage, run_heat, with_entry
from arena.races.results import ARRIVAL, LIGHT, LOST, MOVING, Finish
from arena.scene.sky import sky_of
from replays.causes.decisive_pulses import BY_LIGHT, BY_MOVING, BY_WAY
from replays.format.tables import Tables
from replays.words import light_words, time_words

_COUNTS = {ARRIVAL: BY_WAY, LIGHT: BY_LIGHT, MOVING: BY_MOVING}
# Below what anybody does who moves at all.
_NOTHING = -100.0


def accounts_of_heat(
    terms: HeatTerms,
    run: HeatRun | None = None,
    tries: int = TRIES,
    threads: int = 1,
    progress: Callable[[float], None] | None = None,
    only: Collection[int] | None = None,
) -> dict[int, Account]:
    """Account for every entry of a heat, or ``only`` for some, by number, in the order of places.

    ``run`` is what :func:`~arena.races.heat_running.run_heat` gave, replays kept; it is run anew if left out.
    One that the model could not follow has no account. ``progress`` is called with the share done.
    """
    if run is None or not run.replays:
        run = run_heat(terms, threads, keep=True)
    lost = {one.entry for one in run.finishes if one.status == LOST}
    # in the order in which the replay has them
    present = [one for one in terms.starters if one[0].number not in lost]
    here = replace(terms, starters=tuple(sorted(present, key=lambda one: one[0].number)))
    finish = {one.entry: one for one in run.finishes}
    stages = len(terms.course.dims)
    seconds = terms.course.seconds
    found: dict[int, Account] = {}
    chosen = [number for number in finish if number not in lost and (only is None or number in only)]
    place_of = {entry.number: place for place, (entry, _) in enumerate(here.starters)}
    outcomes = tuple(_outcome(here, finish[entry.number]) for entry, _ in here.starters)
    names = [entry.name for entry, _ in here.starters]
    for done, number in enumerate(chosen):
        stage = min(int(finish[number].moved_s // seconds), stages - 1)

        def tell(share: float, done: int = done) -> None:
            if progress is not None:
                progress((done + share) / len(chosen))

        [found[number]] = accounts_of(
            _line_up(here, stage),
            run.replays[stage],
            [place_of[number]],
            heat_judge(here, stage),
            names,
            tries,
            threads,
            tell,
            _meet(here, outcomes, stage, threads) if stages > 1 else None,
            _COUNTS[terms.course.by],
        )
    return found


def heat_judge(terms: HeatTerms, stage: int = 0) -> Judge:
    """What counts in one stage of a heat, as deeds whose order by merit is the finishing order."""
    arena, _ = course_stage(terms.course, stage)
    goals, seconds = outlines_of(arena.goals), terms.course.seconds

    def judge(tables: Tables) -> list[Deed]:
        deeds = deeds_of(tables, goals, seconds)
        return [_deed(terms, deeds, walker) for walker in range(len(tables.walkers))]

    return judge


def _deed(terms: HeatTerms, deeds: Deeds, walker: int) -> Deed:
    time, moved = float(deeds.time_s[walker]), float(deeds.moved_s[walker])
    return _told(
        terms,
        None if math.isnan(time) else time,
        float(deeds.progress[walker]),
        float(deeds.light_lx[walker]),
        moved if moved >= 0.0 else None,
    )


def _outcome(terms: HeatTerms, finish: Finish) -> Outcome:
    moved = finish.moved_s if finish.moved_s > 0.0 else None
    deed = _told(terms, finish.time_s, finish.progress, finish.light_lx, moved)
    return Outcome(finish.place, len(terms.starters), deed)


def _told(
    terms: HeatTerms, time_s: float | None, progress: float, light_lx: float, moved_s: float | None
) -> Deed:
    course = terms.course
    if moved_s is None:
        return Deed(_NOTHING, MOVED, "not at all", None)
    if course.by == ARRIVAL and time_s is not None:
        return Deed(2.0 - time_s / course.seconds, ARRIVED, f"at {time_words(time_s)}", time_s)
    if course.by == ARRIVAL:
        share = f"{100.0 * progress:.0f} % of the way at its nearest in {time_words(course.seconds)}"
        return Deed(round(progress, 2), GAINED, share, None)
    if course.by == LIGHT:
        return Deed(
            math.log(max(light_lx, 1e-9)), HAD, f"{light_words(light_lx)} on its panel on average", None
        )
    whole = course.seconds * len(course.dims)
    return Deed(moved_s / whole, MOVED, f"last at {time_words(moved_s)}", None)


def _line_up(terms: HeatTerms, stage: int) -> LineUp:
    arena, flat = course_stage(terms.course, stage)
    count = len(terms.starters)
    return LineUp(
        flat,
        outlines_of(arena.goals),
        terms.course.seconds,
        terms.seed,
        arena.air,
        terms.alone,
        tuple(entry.design for entry, _ in terms.starters),
        np.arange(count),
        np.full(count, terms.luck),
        np.concatenate(
            [built_walker(entry, terms.seed, terms.luck, arena.air)[0] for entry, _ in terms.starters]
        ),
        terms.poses[[start for _, start in terms.starters]],
        tuple(sorted(range(count), key=lambda number: terms.starters[number][1])),
        sky_of(arena, terms.course.seconds, terms.seed, terms.luck),
    )


def _meet(terms: HeatTerms, outcomes: tuple[Outcome, ...], stage: int, threads: int) -> Meet:
    dims = terms.course.dims
    part = f"stage {stage + 1} ({100.0 * dims[stage]:g} % of the light)"
    return Meet(outcomes, _again(terms, threads), stage * terms.course.seconds, part)


def _again(terms: HeatTerms, threads: int) -> Callable[[int, Design], Outcome | None]:
    def again(walker: int, design: Design) -> Outcome | None:
        entry = replace(terms.starters[walker][0], design=design, text=design_text(design))
        finishes = run_heat(with_entry(terms, entry), threads).finishes
        [finish] = [one for one in finishes if one.entry == entry.number]
        return None if finish.status == LOST else _outcome(terms, finish)

    return again
