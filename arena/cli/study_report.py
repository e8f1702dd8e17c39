"""Tables of sweeps and searches for people, on the terminal."""

import math
from collections.abc import Container, Sequence

from rich.console import Console

from agents.arrays import BoolArray
from agents.text.units import plain_text
from arena.cli.printed_tables import NOTHING, Column, print_table, table_width, table_with, the_console
from arena.cli.terminal import printable
from arena.studies.running.result_names import SETTINGS_CSV
from arena.studies.search.tuning import Search
from arena.studies.statistics.comparison import LEVEL
from arena.studies.statistics.estimates import tell, tell_value
from arena.studies.statistics.sensitivities import Sensitivity
from arena.studies.telling.summary import Summary
from arena.studies.trial_scores import Score
from replays.words import time_words

# More settings than this are not printed; the table of settings has them all.
MOST_ROWS = 64
BEST_ROWS = 20
# Nor are more conditions than this advised on.
MOST_CONDITIONS = 12

# One that is not told from the best need not be like it: the trials leave that open.
BEST, OPEN, WORSE = "best figure", "not told from the best", "worse"
# Of a search: who led before the last repeats is not dethroned by luck in these.
WINNER = "winner"
VERDICT = "verdict"


def print_summary(summary: Summary) -> None:
    """The figures of every setting, or of the best ones, and what they come to."""
    where = the_console()
    study, scores = summary.study, summary.scores
    total = len(summary.table)
    rows = list(range(total)) if total <= MOST_ROWS else summary.order()[:BEST_ROWS]
    columns: list[Column] = [
        (one.words, [tell(one, summary.estimates[one.name][row]) for row in rows]) for one in scores
    ]
    columns.append((VERDICT, _verdicts(rows, summary.bests, summary.alike, summary.worse)))
    names = [factor.name for factor in summary.table.factors]
    _print_settings(where, names, [summary.words(row) for row in rows], columns)
    if total > len(rows):
        where.print(f"the {len(rows)} best of {total:,} settings; {SETTINGS_CSV} has them all")
    for number, reason in list(summary.outcome.impossible.items())[:BEST_ROWS]:
        where.print(f"not tried, {_setting_words(summary, number)}: {printable(reason)}")
    if len(summary.outcome.impossible) > BEST_ROWS:
        where.print(f"and {len(summary.outcome.impossible) - BEST_ROWS:,} more that were not tried")
    if summary.effects is not None:
        print_effects(where, summary.effects, scores[0])
    if summary.bests:
        each = ", in each condition by itself" if len(summary.conditions) > 1 else ""
        legend = f"as good or worse, no significant difference in {scores[0].name} at 5 %{each}"
        where.print(_legend(legend, int(summary.alike.sum()) > len(summary.bests)), style="dim")
    _print_advice(where, summary)
    kept = f", {summary.outcome.kept:,} of them from before" if summary.outcome.kept else ""
    where.print(f"{study.trials:,} trials{kept}, {time_words(summary.outcome.seconds)}", style="dim")


def _print_advice(where: Console, summary: Summary) -> None:
    if len(summary.conditions) == 1:
        advice = summary.conditions[0].advice
        for line in (advice.text, *advice.notes):
            where.print(printable(line))
        return
    for one in summary.conditions[:MOST_CONDITIONS]:
        where.print(printable(f"{one.condition}: {one.advice}"))
    left_out = len(summary.conditions) - MOST_CONDITIONS
    if left_out > 0:
        where.print(f"and {left_out:,} more conditions, each with its best in {SETTINGS_CSV}")


def _print_settings(
    where: Console, names: Sequence[str], words: Sequence[Sequence[str]], columns: Sequence[Column]
) -> None:
    """Print a row for each setting: the word of each factor, then columns."""
    labels: list[Column] = [(name, [one[number] for one in words]) for number, name in enumerate(names)]
    first, *rest = labels or [("setting", [str(row) for row in range(len(words))])]
    if (
        len(labels) > 1
        and table_width(where, table_with(first, [*rest, *columns], words=VERDICT)) > where.width
    ):
        # in parts of a table each row must still say of which setting it is
        first, rest = (", ".join(names), [", ".join(one) for one in words]), []
    print_table(where, first, [*rest, *columns], words=VERDICT)


def _legend(what_is_open: str, has_open: bool) -> str:
    return "in brackets: 95 % intervals" + (f"; {OPEN}: {what_is_open}" if has_open else "")


def _verdicts(
    rows: Sequence[int],
    bests: Container[int | None],
    alike: BoolArray,
    worse: BoolArray,
    best: str = BEST,
) -> list[str]:
    """What is to be said of each of ``rows``, settings by their number."""
    told = [OPEN if alike[row] else WORSE if worse[row] else NOTHING for row in rows]
    return [best if row in bests else word for row, word in zip(rows, told, strict=True)]


def _setting_words(summary: Summary, setting: int) -> str:
    words = zip(summary.table.factors, summary.words(setting), strict=True)
    return ", ".join(f"{factor.name} {word}" for factor, word in words) or "the plan as it is"


def print_effects(where: Console, effects: Sensitivity, score: Score) -> None:
    """Which factors mattered."""
    if not effects.tells:
        where.print(
            f"settings differ in {score.name} by no more than chance, so no factor has an effect that shows"
        )
        return
    found = sorted(effects, key=lambda one: -one.first)
    columns: list[Column] = [
        ("main effect", [_interval(one.first, one.first_low, one.first_high) for one in found]),
    ]
    if effects.is_grid:
        columns.append(
            ("total effect", [_interval(one.total, one.total_low, one.total_high) for one in found])
        )
    columns.append(("rank correlation", [_signed(one.rank) for one in found]))
    print_table(where, (f"sensitivity of {score.name}", [one.factor for one in found]), columns)


def _interval(value: float, low: float, high: float) -> str:
    if math.isnan(value):
        return NOTHING
    ends = "" if math.isnan(low) else f" [{100.0 * low:.0f}, {100.0 * high:.0f}]"
    return f"{100.0 * value:.0f} %{ends}"


def _signed(value: float) -> str:
    return NOTHING if math.isnan(value) else f"{value:+.2f}"


def gain_sentence(search: Search) -> str:
    """How the best of a search compares with the design it began from, and what follows from that."""
    gain, score, name = search.gain, search.score, search.beginning
    if gain is None:
        return (
            f"No winner: the budget did not reach for comparing it with {name} as it is; "
            "no design was written. Give a larger --budget."
        )
    figures = f"{tell_value(score, gain.one.value)} against {tell_value(score, gain.other.value)}"
    apart = ""
    if not math.isnan(gain.low):
        low, high = (_difference(score, end) for end in (gain.low, gain.high))
        apart = f", a difference of {_difference(score, gain.difference)} [{low}, {high}]"
    chance = "" if math.isnan(gain.p_value) else f", p = {plain_text(gain.p_value, 2)} ({gain.test})"
    met = (
        f"on {gain.repeats:,} repeats that nobody was picked for"
        if not search.race.overturned
        else (f"on the same {gain.repeats:,} repeats")
    )
    if gain.is_better:
        return f"Better than {name} as it is, {met}: {figures}{apart}{chance}."
    if gain.p_value <= LEVEL:
        told, hint = "is worse", ""
    else:
        told, hint = "is not significantly better", " A larger --budget tells smaller differences."
    return (
        f"No winner: the best that was found {told} than {name} as it is, {met}: {figures}{apart}{chance}. "
        f"So keep {name}; no design was written.{hint}"
    )


def _difference(score: Score, value: float) -> str:
    """A difference of figures with its sign; points of percent for a share."""
    sign = "-" if value < 0.0 else "+"
    if score.unit == "%":
        return f"{100.0 * value:+.1f} points"
    return f"{sign}{tell_value(score, abs(value))}"


def print_search(search: Search) -> None:
    """The finalists of a search, what mattered, and what to build."""
    where = the_console()
    found, score = search.race, search.score
    if found.comparison is None or search.finalists is None:
        where.print(f"none of the {found.tried:,} settings that were tried says anything about {score.name}")
        if search.obstacle:
            where.print(printable(f"the first of them cannot be run at all: {search.obstacle}"))
        return
    order, factors = search.order, search.finalists.factors
    words = [search.words(one) for one in order]
    compared, gain = found.comparison, search.gain
    best_word = WINNER if search.winner_text is not None else BEST
    figures = [tell(score, found.comparison.estimates[one]) for one in order]
    verdicts = _verdicts(order, [compared.best], compared.alike, compared.worse, best_word)
    if gain is not None:
        words.append(search.own_words())
        figures.append(tell(score, gain.other))
        verdicts.append(f"{search.beginning} as it is")
    columns: list[Column] = [(score.words, figures), (VERDICT, verdicts)]
    _print_settings(where, [factor.name for factor in factors], words, columns)
    if search.effects is not None:
        print_effects(where, search.effects, score)
    others = int(found.comparison.alike.sum()) - 1
    legend = f"better or worse than the {best_word}, no significant difference in {score.name} at 5 %"
    where.print(_legend(legend, others > 0), style="dim")
    best = ", ".join(f"{factor.name} {word}" for factor, word in zip(factors, words[0], strict=True))
    figure = tell(score, found.comparison.estimates[order[0]])
    fresh = "" if found.overturned else " on repeats that nobody was picked for"
    text = f"{best}: {score.name} {figure}{fresh}"
    if others:
        verb = "is" if others == 1 else "are"
        among = (
            "the other finalist" if len(order) == 2 else f"{others} of the other {len(order) - 1} finalists"
        )
        text += f"; {among} {verb} not significantly worse"
    if found.set_aside:
        verb = "was" if found.set_aside == 1 else "were"
        text += f"; {found.set_aside:,} more {verb} dropped without being significantly worse"
    where.print(printable(f"{text}."))
    if found.overturned:
        where.print(
            "The last repeats overturned what the search had led with; the best was picked by these same "
            "repeats, so its figure flatters it a little."
        )
    where.print(printable(gain_sentence(search)))
    conditions = f" in {search.conditions:,} conditions" if search.conditions > 1 else ""
    where.print(
        f"{found.trials:,} trials{conditions}: {found.tried:,} of {search.settings:,} settings tried, "
        f"{found.told_worse:,} significantly worse, {found.set_aside:,} dropped as the budget did not reach"
        + (f", {found.without_figure:,} impossible or silent" if found.without_figure else ""),
        style="dim",
    )
