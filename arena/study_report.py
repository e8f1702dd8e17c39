"""Tables of sweeps and searches for people, on the terminal."""

import math

from rich.console import Console

from arena.studies.compare import Comparison
from arena.studies.estimates import tell
from arena.studies.scores import Score
from arena.studies.sensitivity import Sensitivity
from arena.studies.summary import Summary
from arena.studies.tune import Search
from arena.tables import NOTHING, Column, print_table, the_console
from arena.terminal import printable
from replays.colours import time_words

# More settings than this are not printed; the table of settings has them all.
MOST_ROWS = 40
BEST_ROWS = 20

BEST, ALIKE, WORSE = "best", "alike", "worse"
VERDICT = "verdict"


def print_summary(summary: Summary) -> None:
    """The figures of every setting, or of the best ones, and what they come to."""
    where = the_console()
    study, comparison, scores = summary.study, summary.comparison, summary.scores
    total = len(summary.table)
    rows = list(range(total)) if total <= MOST_ROWS else summary.order()[:BEST_ROWS]
    # the words of the first factor stand where a table has its labels
    words = [summary.words(row) for row in rows]
    factors = summary.table.factors
    columns: list[Column] = [
        (factor.name, [one[number] for one in words]) for number, factor in enumerate(factors)
    ]
    columns += [(one.words, [tell(one, summary.estimates[one.name][row]) for row in rows]) for one in scores]
    columns.append((VERDICT, [_verdict(comparison, row) for row in rows]))
    first, *rest = columns if factors else [("setting", [str(row) for row in rows]), *columns]
    print_table(where, first, rest, words=VERDICT)
    if total > len(rows):
        where.print(f"the {len(rows)} best of {total:,} settings; settings.csv has them all")
    for number, reason in list(summary.outcome.impossible.items())[:BEST_ROWS]:
        where.print(f"not tried, {_setting_words(summary, number)}: {printable(reason)}")
    if len(summary.outcome.impossible) > BEST_ROWS:
        where.print(f"and {len(summary.outcome.impossible) - BEST_ROWS:,} more that were not tried")
    if summary.effects is not None:
        print_effects(where, summary.effects, scores[0])
    if comparison.best is not None:
        where.print(
            f"in brackets: 95 % intervals; {ALIKE}: cannot be told from the best by {scores[0].name}, at 5 %",
            style="dim",
        )
    for line in (summary.advice.text, *summary.advice.notes):
        where.print(printable(line))
    kept = f", {summary.outcome.kept:,} of them from before" if summary.outcome.kept else ""
    where.print(f"{study.trials:,} trials{kept}, {time_words(summary.outcome.seconds)}", style="dim")


def _verdict(comparison: Comparison, setting: int) -> str:
    if setting == comparison.best:
        return BEST
    if comparison.alike[setting]:
        return ALIKE
    return WORSE if comparison.worse[setting] else NOTHING


def _setting_words(summary: Summary, setting: int) -> str:
    words = zip(summary.table.factors, summary.words(setting), strict=True)
    return ", ".join(f"{factor.name} {word}" for factor, word in words) or "the plan as it is"


def print_effects(where: Console, effects: Sensitivity, score: Score) -> None:
    """Which factors mattered."""
    if not effects.tells:
        where.print(
            f"settings differ in {score.name} by no more than luck, so no factor can be said to matter"
        )
        return
    found = sorted(effects, key=lambda one: -one.first)
    columns: list[Column] = [
        ("by itself", [_interval(one.first, one.first_low, one.first_high) for one in found]),
    ]
    if effects.is_grid:
        columns.append(
            ("with others", [_interval(one.total, one.total_low, one.total_high) for one in found])
        )
    columns.append(("rank correlation", [_signed(one.rank) for one in found]))
    print_table(where, (f"what {score.name} hangs on", [one.factor for one in found]), columns)


def _interval(value: float, low: float, high: float) -> str:
    if math.isnan(value):
        return NOTHING
    ends = "" if math.isnan(low) else f" [{100.0 * low:.0f}, {100.0 * high:.0f}]"
    return f"{100.0 * value:.0f} %{ends}"


def _signed(value: float) -> str:
    return NOTHING if math.isnan(value) else f"{value:+.2f}"


def print_search(search: Search) -> None:
    """The finalists of a search, what mattered, and what to build."""
    where = the_console()
    found, score = search.race, search.score
    if found.comparison is None or search.finalists is None:
        where.print(f"none of the {found.tried:,} settings that were tried says anything about {score.name}")
        return
    order, factors = search.order, search.finalists.factors
    words = [search.words(one) for one in order]
    columns: list[Column] = [
        (factor.name, [one[number] for one in words]) for number, factor in enumerate(factors)
    ]
    columns.append((score.words, [tell(score, found.comparison.estimates[one]) for one in order]))
    columns.append((VERDICT, [_verdict(found.comparison, one) for one in order]))
    first, *rest = columns
    print_table(where, first, rest, words=VERDICT)
    if search.effects is not None:
        print_effects(where, search.effects, score)
    where.print(f"in brackets: 95 % intervals; {ALIKE}: cannot be told from the best at 5 %", style="dim")
    best = ", ".join(f"{factor.name} {word}" for factor, word in zip(factors, words[0], strict=True))
    figure = tell(score, found.comparison.estimates[order[0]])
    others = int(found.comparison.alike.sum()) - 1
    alike = f"; {others} of the other {len(order) - 1} finalists cannot be told from it" if others else ""
    if found.overturned:
        where.print(printable(f"{best}: {score.name} {figure}{alike}."))
        where.print(
            "The last repeats overturned what the search had led with; the best was picked by these same "
            "repeats, so its figure flatters it a little."
        )
    else:
        where.print(printable(f"{best}: {score.name} {figure} on repeats that nobody was picked for{alike}."))
    if search.as_it_is is not None:
        name = search.study.designs[0].design.name
        where.print(printable(f"{name} as it is: {score.name} {tell(score, search.as_it_is)}."))
    conditions = f" in {search.conditions} conditions" if search.conditions > 1 else ""
    where.print(
        f"{found.trials:,} trials{conditions}: {found.tried:,} of {search.settings:,} settings tried, "
        f"{found.told_worse:,} told worse, {found.set_aside:,} let go because the budget did not reach"
        + (f", {found.without_figure:,} impossible or silent" if found.without_figure else ""),
        style="dim",
    )
