"""What is printed of a race: before it who can race, after it the places and how sure they are."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import click

from arena.cli.printed_tables import NOTHING, Column, print_table, the_console
from arena.cli.terminal import command_word, printable
from arena.races.race_form import FINAL, PAIRS
from arena.races.race_setup import RaceSetup
from arena.races.results import ARRIVAL, LIGHT, Entry, Placing, RaceResults, Scratching
from arena.studies.plans.plan_form import counted, time_text
from replays.words import time_words

# Longer names are cut in tables.
_WIDEST = 40


def setup_dict(setup: RaceSetup, seconds: float) -> dict[str, Any]:
    """What is known before a race, for JSON."""
    return {
        "name": setup.terms.name,
        "format": setup.terms.format,
        "courses": [asdict(one.words) for one in setup.terms.courses],
        "entries": [one.as_dict() for one in setup.entries],
        "scratched": [one.as_dict() for one in setup.scratched],
        "left_aside": list(setup.aside),
        "same_walker": [list(one) for one in setup.twins],
        "start_places": setup.turn,
        "heats": setup.heats,
        "rounds": setup.rounds,
        "final_rounds": setup.final_rounds,
        "expected_s": seconds,
    }


def print_setup(setup: RaceSetup, seconds: float) -> None:
    """Tell who can race, and how long the race takes."""
    print_notes(setup)
    names: Column = ("walker", [_cut(one.name) for one in setup.entries])
    columns: list[Column] = [
        ("team", [_cut(one.team) or NOTHING for one in setup.entries]),
        ("file", [_cut(one.file) for one in setup.entries]),
        ("rules", ["kept" if one.competes else "broken" for one in setup.entries]),
    ]
    print_table(the_console(), names, columns)
    _say(f"{counted(len(setup.entries), 'walker')} can race, {len(setup.scratched)} scratched")
    _say(_shape_words(setup))
    _say(f"the race takes about {time_text(seconds)} on this machine (measured on the beginning of a round)")


def print_notes(setup: RaceSetup) -> None:
    """Tell what the race is, who is scratched, who breaks rules, and who is the same walker."""
    terms = setup.terms
    for course in terms.courses:
        words = course.words
        dims = f", light in stages: {', '.join(f'{100 * one:g} %' for one in words.dims)}"
        _say(
            f"{terms.name}: {words.arena}, {terms.format}, decided by {words.by}, {time_words(words.seconds)}"
            f"{dims if len(words.dims) > 1 else ''}"
        )
    print_scratched(setup.scratched)
    for one in setup.aside:
        _say(one)
    for entry in setup.entries:
        for rule in entry.broken_rules:
            _say(f"{entry.name} races out of competition: {rule}")
    _print_twins(setup.twins, setup.entries)


def print_scratched(scratched: Sequence[Scratching]) -> None:
    """Tell who is scratched, and why."""
    for one in scratched:
        for number, reason in enumerate(one.reasons):
            _say(f"scratched: {one.file}: {reason}" if number == 0 else f"  {reason}")


def _print_twins(twins: Sequence[Sequence[int]], entries: Sequence[Entry]) -> None:
    named = {one.number: one for one in entries}
    for group in twins:
        told = [f"{named[one].name} ({named[one].file})" for one in group]
        _say(f"the same walker: {', '.join(told)}")


def _shape_words(setup: RaceSetup) -> str:
    terms = setup.terms
    rounds = counted(setup.rounds, "round")
    if terms.format == FINAL:
        rounds = f"{rounds} of heats and {setup.final_rounds} of the final"
    if terms.format == PAIRS:
        return f"{rounds} of {counted(setup.heats, 'pair')}"
    if terms.alone:
        return f"{rounds}, each alone on the floor, in turn from {counted(setup.turn, 'start place')}"
    turn = f"in turn from {counted(setup.turn, 'start place')}"
    return f"{rounds} of {counted(setup.heats, 'heat')}, {turn}"


def print_race(results: RaceResults) -> None:
    """Print the standings, and what can be told and what not."""
    entries = results.entries
    by = results.courses[0].by
    placings = results.placings
    names: Column = ("place", [one.words for one in placings])
    columns: list[Column] = [("walker", [_cut(entries[one.entry].name) for one in placings])]
    if any(one.team for one in entries):
        columns.append(("team", [_cut(entries[one.entry].team) or NOTHING for one in placings]))
    if any(one.points is not None for one in placings):
        columns.append(("points", [NOTHING if one.points is None else f"{one.points:g}" for one in placings]))
    columns.append(("others\nbeaten", [_share(one, one.beaten) for one in placings]))
    columns.append(("wins\na round", [_share(one, one.wins) for one in placings]))
    if by == ARRIVAL:
        columns.append(("arrived", [f"{one.arrived} of {one.starts}" for one in placings]))
        times = [NOTHING if one.median_s is None else time_words(one.median_s) for one in placings]
        columns.append(("median\ntime", times))
    elif by == LIGHT:
        columns.append(("mean light", [_light(results, one) for one in placings]))
    else:
        columns.append(("moved last,\nmedian", [_moved(results, one) for one in placings]))
    print_table(the_console(), names, columns, words="walker")
    for line in verdict(results):
        _say(line)
    if results.scratched:
        _say(f"{counted(len(results.scratched), 'file')} scratched, for the reasons told above")
    _say(f"standings, all rounds and replays: {results.folder}")
    for replay in results.replays[-1:]:
        _say(f"to see it: photodrome watch {command_word(replay.path)}")


def verdict(results: RaceResults) -> list[str]:
    """What can be said of the places, in sentences."""
    ranked = [one for one in results.placings if one.first is not None]
    name = {one.number: one.name for one in results.entries}
    rounds = len(results.rounds)
    if not ranked:
        return ["nobody competes: every walker breaks a rule of the class"]
    if len(ranked) == 1:
        return [f"{name[ranked[0].entry]} is alone in the competition"]
    first = [one for one in ranked if one.first == 1]
    lines = []
    if len(first) == 1:
        lines.append(f"{name[first[0].entry]} has won; that is sure")
    else:
        told = ", ".join(name[one.entry] for one in first[:6])
        more = f" and {len(first) - 6} more" if len(first) > 6 else ""
        lines.append(
            f"the first place is shared: {told}{more} cannot be told apart in {counted(rounds, 'round')}"
        )
    sure = sum(one.is_sure for one in ranked)
    lines.append(
        f"{sure} of {len(ranked)} places are sure; a range like 2-4 holds the place, all of them at once "
        "with 95 %"
    )
    lines += _more_words(results)
    if rounds < results.starts:
        lines.append(
            f"each walker has run from {rounds} of {results.starts} start places; "
            f"--rounds {results.starts} lets each run from all"
        )
    return lines


def _more_words(results: RaceResults) -> list[str]:
    more, rounds = results.more, len(results.rounds)
    lines = []
    if more.first is None:
        lines.append(
            "first and second are so alike so far that it takes more than 1,000 rounds to tell them apart"
        )
    elif more.first > 0:
        lines.append(
            f"about {counted(more.first, 'more round')} would tell the first from the second "
            f"(--rounds {rounds + more.first})"
        )
    if more.all is None:
        lines.append(
            "some neighbours in the ranking are so alike so far that 1,000 rounds would not tell them apart"
        )
    elif more.all > 0 and more.all != more.first:
        lines.append(
            f"about {counted(more.all, 'more round')} would tell all neighbours apart "
            f"(--rounds {rounds + more.all})"
        )
    return lines


def _share(one: Placing, value: float) -> str:
    return NOTHING if one.first is None else f"{100.0 * value:.0f} %"


def _light(results: RaceResults, one: Placing) -> str:
    found = [finish.light_lx for _, _, finish in results.finishes_of(one.entry)]
    return f"{sum(found) / len(found):,.0f} lx" if found else NOTHING


def _moved(results: RaceResults, one: Placing) -> str:
    found = sorted(finish.moved_s for _, _, finish in results.finishes_of(one.entry))
    return time_words(found[len(found) // 2]) if found else NOTHING


def _cut(text: str) -> str:
    shown = printable(text)
    return shown if len(shown) <= _WIDEST else shown[: _WIDEST - 1] + "…"


def _say(text: str) -> None:
    click.echo(printable(text))
