"""The papers of a race: results, course and ways, and a page for each who raced."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from agents.errors import ModelError
from agents.testbench.bench_figures import BenchPoint, bench
from agents.testbench.diagnosis import FaultReport, diagnose
from agents.testbench.faults import fault_title
from arena.accounts.telling import Account
from arena.races.race_setup import RaceSetup
from arena.races.results import ARRIVAL, LIGHT, MOVING, CourseWords, Entry, Placing, RaceResults
from arena.reports.bench_page import fault_words
from arena.reports.bench_words import bench_columns
from arena.reports.cure_words import values_words
from arena.reports.html_page import rendered
from arena.reports.race_runs import ShownRun, shown_runs
from arena.reports.race_ways import FloorPicture, floor_picture, mark_of_entry, way_of
from replays.causes.bench_faults import EntryBench, entries_on_bench
from replays.words import NOTHING, light_words, ordinal, time_words

TRIES = 20
"""Changes tried for each walker in its race, if nobody says how many."""

# Lights of the sun [lx] at which every walker stands on the bench, beside the light that it had.
_LIGHTS = (1e3, 10e3)
# Faults that a pupil's page tells with cause and cure; the others by name, so that a page is one page.
_MOST_FAULTS = 1
# Of the time of the work, what goes into the runs.
_RUNS_SHARE = 0.75
_DECIDED_BY = {
    ARRIVAL: "who reaches the goal first",
    LIGHT: "who has most light on its panel",
    MOVING: "who is the last to move",
}

Tell = Callable[[float], None]


def race_page(
    setup: RaceSetup,
    results: RaceResults,
    tries: int = TRIES,
    threads: int = 1,
    tell: Tell | None = None,
    runs: Mapping[int, ShownRun] | None = None,
) -> str:
    """The papers of a race that has been run; ``tell`` is called with the share done, and may raise to stop.

    ``tries`` changes are tried for each walker in its last race, for the account of why it came out so;
    ``runs``, if given, are those (:func:`~arena.reports.race_runs.shown_runs`).
    """
    tell = tell or (lambda _share: None)
    if runs is None:
        runs = shown_runs(setup, results, tries, threads, lambda share: tell(_RUNS_SHARE * share))
    floors: dict[int, FloorPicture] = {}
    for run in runs.values():
        if run.replay is not None and run.course not in floors:
            floors[run.course] = floor_picture(run.replay, f"floor-{run.course + 1}")
    pupils = []
    for done, placing in enumerate(results.placings):
        tell(_RUNS_SHARE + (1.0 - _RUNS_SHARE) * done / len(results.placings))
        pupils.append(_pupil(results, placing, runs.get(placing.entry), floors))
    return rendered(
        "race.html",
        name=results.name,
        about=results.about,
        facts=_facts(results),
        courses=[_course_words(one) for one in results.courses],
        results=_results(results),
        how_sure=_how_sure(results),
        floors=list(floors.values()),
        ways=_all_ways(results, runs, floors),
        scratched=[{"file": one.file, "reasons": one.reasons} for one in results.scratched],
        outside=[
            {"name": one.name, "rules": one.broken_rules} for one in results.entries if one.broken_rules
        ],
        twins=[[results.entries[one].name for one in group] for group in results.twins],
        pupils=pupils,
    )


def _course_words(one: CourseWords) -> str:
    about = one.about.rstrip(".")
    stop = "" if about.endswith(("?", "!")) else "."
    return f"{one.arena}: {about}{stop} Decided by {_DECIDED_BY[one.by]} in {time_words(one.seconds)}."


def _facts(results: RaceResults) -> str:
    rounds = len(results.rounds)
    return (
        f"{results.format} · {len(results.entries)} walker{'' if len(results.entries) == 1 else 's'} ·"
        f" {rounds} round{'' if rounds == 1 else 's'} · seed {results.seed}"
    )


def _results(results: RaceResults) -> list[dict[str, Any]]:
    return [
        {
            "place": one.words,
            "name": results.entries[one.entry].name,
            "team": results.entries[one.entry].team,
            "mark": mark_of_entry(one.entry, 6.0),
            "points": None if one.points is None else f"{one.points:g}",
            "beaten": f"{100.0 * one.beaten:.0f} %" if one.first is not None else NOTHING,
            "wins": f"{100.0 * one.wins:.0f} %" if one.first is not None else NOTHING,
            "arrived": f"{one.arrived} of {one.starts}",
            "median": NOTHING if one.median_s is None else time_words(one.median_s),
        }
        for one in results.placings
    ]


def _how_sure(results: RaceResults) -> list[str]:
    competing = [one for one in results.placings if one.first is not None]
    sure = sum(one.is_sure for one in competing)
    told = [
        f"{sure} of {len(competing)} places are sure. A range like 2-4 holds the place, all of them at once"
        " with 95 %: whoever has one could not be told from some of the others by these rounds."
    ]
    if results.more.first is None:
        told.append("More rounds than anybody runs would be needed to tell the first from the second.")
    elif results.more.first > 0:
        told.append(f"About {results.more.first} more rounds would tell the first from the second.")
    return told


def _all_ways(
    results: RaceResults, runs: Mapping[int, ShownRun], floors: dict[int, FloorPicture]
) -> list[dict[str, Any]]:
    """For each floor the ways of all on it, or of several floors of those who did worst there."""
    whose = "The ways of all" if len(floors) == 1 else "The ways of those who did worst"
    drawn = []
    for course, floor in sorted(floors.items()):
        mine = {entry: run for entry, run in runs.items() if run.course == course and run.replay is not None}
        ways = [
            way_of(run.replay, run.walker, floor, entry)
            for entry, run in sorted(mine.items())
            if run.replay is not None and run.walker is not None
        ]
        rounds = sorted({run.round.number for run in mine.values()})
        told = f"round {rounds[0]}" if len(rounds) == 1 else f"rounds {rounds[0]} to {rounds[-1]}"
        arena = results.courses[course].arena
        drawn.append(
            {
                "floor": floor,
                "ways": ways,
                "words": (
                    f"Plan of {arena} seen from above, with the ways of {len(ways)} walkers, each from its"
                    " ring to its mark."
                ),
                "caption": f"{whose} on {arena}, in {told}: each from its ring to its mark.",
            }
        )
    return drawn


def _pupil(
    results: RaceResults, placing: Placing, run: ShownRun | None, floors: dict[int, FloorPicture]
) -> dict[str, Any]:
    """What one page tells."""
    entry = results.entries[placing.entry]
    account = None if run is None else run.account
    stood = None if run is None or run.replay is None else _stood(run, entry)
    found = [] if stood is None else _diagnosed(entry, stood)
    return {
        "number": entry.number,
        "name": entry.name,
        "team": entry.team,
        "file": entry.file,
        "mark": mark_of_entry(entry.number),
        "place": _place_words(results, placing),
        "rules": entry.broken_rules,
        "lost": "" if run is None or run.replay is not None else run.finish.note,
        **_way(results, run, floors, account, entry),
        "facts": _pupil_facts(results, placing, run),
        "why": [] if account is None else list(account.sentences),
        **_bench(entry, stood, found),
        **_experiment(account, stood, found),
    }


def _place_words(results: RaceResults, placing: Placing) -> str:
    """In a sentence, its place and how sure that is."""
    among = sum(one.first is not None for one in results.placings)
    if placing.first is None or placing.last is None:
        return "Out of competition: it raced with the others, but gets no place."
    if placing.is_sure:
        return f"{ordinal(placing.first)} of {among}, and that is sure."
    return (
        f"Between {ordinal(placing.first)} and {ordinal(placing.last)} of {among}: these rounds cannot tell"
        " it closer."
    )


def _way(
    results: RaceResults,
    run: ShownRun | None,
    floors: dict[int, FloorPicture],
    account: Account | None,
    entry: Entry,
) -> dict[str, Any]:
    if run is None or run.replay is None or run.walker is None:
        return {"way": None, "floor": None, "way_words": "", "way_caption": ""}
    floor, arena = floors[run.course], results.courses[run.course].arena
    on = f" on {arena}" if len(results.courses) > 1 else ""
    decided = None if account is None else account.decisive_time
    way = way_of(run.replay, run.walker, floor, entry.number, decided)
    finish = run.finish
    came = (
        f"it arrived after {time_words(finish.time_s)}"
        if finish.time_s is not None
        else f"it got {100.0 * finish.progress:.0f} % of the way"
    )
    cross = "; the cross is where the pulse began that decided" if decided is not None else ""
    return {
        "way": way,
        "floor": floor,
        "way_words": (
            f"Plan of the course seen from above with the way of {entry.name}, from the ring where it started"
            f" to its mark where it ended: {came}."
        ),
        "way_caption": (
            f"Round {run.round.number}{on}, from start place {finish.start + 1}: {came},"
            f" {ordinal(finish.place)} in that race. Ring: start; dots: where it stood and charged{cross}."
        ),
    }


def _pupil_facts(results: RaceResults, placing: Placing, run: ShownRun | None) -> list[tuple[str, str]]:
    facts = [
        ("arrived", f"{placing.arrived} of {placing.starts} starts"),
        ("median time", NOTHING if placing.median_s is None else time_words(placing.median_s)),
    ]
    if placing.first is not None:
        facts.append(("others beaten", f"{100.0 * placing.beaten:.0f} % a round"))
        facts.append(("wins a round", f"with a chance of {100.0 * placing.wins:.0f} %"))
    places = [finish.place for _, _, finish in results.finishes_of(placing.entry)]
    if places:
        best, worst = ordinal(min(places)), ordinal(max(places))
        facts.append(
            ("in a round", f"always {best}" if best == worst else f"{best} at best, {worst} at worst")
        )
    if run is not None and run.finish.light_lx > 0.0:
        facts.append(("light on its panel", f"{light_words(run.finish.light_lx)} on average"))
    return facts


def _stood(run: ShownRun, entry: Entry) -> EntryBench | None:
    """The entry on the bench in the light that it had."""
    assert run.replay is not None
    return next((one for one in entries_on_bench(run.replay) if one.design == entry.name), None)


def _bench(entry: Entry, stood: EntryBench | None, found: Sequence[FaultReport]) -> dict[str, Any]:
    """Its figures on the bench, and its faults in the light that it had."""
    points: list[BenchPoint] = []
    labels = []
    if stood is not None and stood.point is not None:
        points.append(stood.point)
        labels.append(f"in the race, {light_words(stood.light_lx)}")
    try:
        points += bench(entry.design, _LIGHTS)
        labels += [f"{light_words(light)} of sun" for light in _LIGHTS]
    except ModelError:
        # what is told of the race is told all the same
        pass
    return {
        "lights": labels,
        "columns": bench_columns(points) if points else [],
        "faults": [fault_words(one) for one in found[:_MOST_FAULTS]],
        "other_faults": len(found) > _MOST_FAULTS,
        "no_fault": _no_fault(stood),
    }


def _diagnosed(entry: Entry, stood: EntryBench) -> list[FaultReport]:
    """The faults that it has in the light that it had, told over the range of its table."""
    if stood.point is None or not stood.point.faults:
        return []
    lights = (min(stood.point.light, *_LIGHTS), max(stood.point.light, *_LIGHTS))
    try:
        reports = diagnose(entry.design, lights)
    except ModelError:
        return []
    return [one for one in reports if one.name in stood.point.faults]


def _no_fault(stood: EntryBench | None) -> str:
    if stood is None or math.isnan(stood.light_lx):
        return "It was not on the bench, for it did not run."
    if stood.point is None:
        return "The bench cannot follow it in the light that it had."
    if stood.point.faults:
        named = ", ".join(map(fault_title, stood.point.faults))
        return f"In the light that it had in the race, {light_words(stood.light_lx)} on its panel: {named}."
    return f"None was found in the light that it had in the race, {light_words(stood.light_lx)} on its panel."


def _experiment(
    account: Account | None, stood: EntryBench | None, found: Sequence[FaultReport]
) -> dict[str, Any]:
    """One thing to try next, with what it came to where it was tried."""
    if account is not None and account.change is not None and account.gain is not None:
        return {
            "experiment": f"Try {account.change.text}.",
            "setting": "; ".join(f"{path}: {value}" for path, value in account.change.values.items()),
            "hoped": (
                f"Tried here in the same race with the same luck: it {account.gain.deed.told_now},"
                f" {account.gain.words}. Does yours on the bench do so, too?"
            ),
        }
    # nobody is sent from one fault to the next
    cures = [one.cure for one in found if one.cure and not one.cure.stays and not one.cure.brings]
    if cures:
        return {
            "experiment": f"Try {cures[0].text}.",
            "setting": values_words(cures[0].values),
            "hoped": "It cures a fault that it has on the bench. What does it do in the race?",
        }
    tried = 0 if account is None else account.tried
    none = f"None of {tried} changes tried in the same race gained it anything. " if tried else ""
    figure = ""
    if stood is not None and stood.point is not None:
        figure = f" The bench says {stood.point.first.trigger:.2f} V in the light that it had."
    return {
        "experiment": f"{none}Measure the trigger of both sides at a window and under the lamp.",
        "setting": "",
        "hoped": f"Which side fires first, and by how much does the trigger rise with the light?{figure}",
    }
