"""What a study advises, in a sentence or two that say how sure they are."""

from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray, IntArray
from arena.studies.statistics.comparison import Comparison, repeats_needed
from arena.studies.statistics.estimates import tell, tell_value
from arena.studies.statistics.factors import Factor, Table

# Values listed by name before "and so many more".
_NAMED = 4
# A factor has an edge worth a word when there is something between its ends.
_LEAST_LEVELS = 3


@dataclass(frozen=True)
class Advice:
    """What to choose by one score.

    Attributes:
        text: one or two sentences: what does best, what cannot be told from it, and what is worse.
        notes: sentences that qualify it: the best lies at the edge of what was tried, its figure flatters it,
            some settings have no figure.
        best: number of the best setting; None where no setting has a figure.
        alike: how many others cannot be told from it.
        repeats_needed: where no difference can be told, repeats that would tell one of ten points, or of a
            tenth of the best figure; None where that is not so, or cannot be said.
    """

    text: str
    notes: tuple[str, ...]
    best: int | None
    alike: int
    repeats_needed: int | None

    def __str__(self) -> str:
        return " ".join((self.text, *self.notes))


def advise(
    table: Table, comparison: Comparison, values: FloatArray, weights: FloatArray | None = None
) -> Advice:
    """Advice from the comparison of the settings of ``table``, in its order.

    ``values`` and ``weights`` (settings, repeats) are those that were compared.
    """
    score, best = comparison.score, comparison.best
    has_figure = ~np.isnan(comparison.estimates.value)
    notes = []
    if not has_figure.all() and best is not None:
        lacking = int((~has_figure).sum())
        notes.append(f"{lacking} of {_settings(len(table))} {'has' if lacking == 1 else 'have'} no figure.")
    if best is None:
        text = f"Nothing can be said of {score.name}: no trial of any setting had anything to count."
        return Advice(text, (), None, 0, None)
    others = int(comparison.alike.sum()) - 1
    figure = tell(score, comparison.estimates[best])
    if has_figure.sum() == 1:
        return Advice(
            f"{_place(table, best)}: {score.name} {figure}; there is nothing to compare it with.",
            tuple(notes),
            best,
            0,
            None,
        )
    if not comparison.worse.any():
        text, needed = _no_difference(table, comparison, values, weights)
        return Advice(text, tuple(notes), best, others, needed)
    notes += _edges(table, best)
    note = _flattery(comparison, best)
    if note:
        notes.append(note)
    if len(table.factors) > 1:
        text = _of_several(table, comparison, best, figure)
    elif table.factors[0].is_ordered:
        text = _of_a_range(table, comparison, best, figure)
    else:
        text = _of_words(table, comparison, best, figure)
    return Advice(text, tuple(notes), best, others, None)


def _settings(count: int) -> str:
    return "1 setting" if count == 1 else f"{count:,} settings"


def listed(words: list[str], joint: str = "and") -> str:
    """Words in a row, the last one after the ``joint``; of many the first, and how many more there are."""
    if len(words) > _NAMED:
        words = [*words[: _NAMED - 1], f"{len(words) - _NAMED + 1} more"]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {joint} {words[-1]}"


def _place(table: Table, setting: int) -> str:
    """A setting in words: its values, with the names of the factors where there are several."""
    shown = [factor.shown[level] for factor, level in zip(table.factors, table.places[setting], strict=True)]
    if len(shown) == 1:
        return shown[0]
    return ", ".join(f"{factor.name} {one}" for factor, one in zip(table.factors, shown, strict=True))


def _no_difference(
    table: Table, comparison: Comparison, values: FloatArray, weights: FloatArray | None
) -> tuple[str, int | None]:
    score, best = comparison.score, comparison.best
    assert best is not None
    estimates = comparison.estimates
    goodness = estimates.value if score.more_is_better else -estimates.value
    goodness = np.where(np.isnan(goodness), np.inf, goodness)
    goodness[best] = np.inf
    last = int(np.argmin(goodness))
    factor = table.factors[0]
    levels = np.unique(table.places[~np.isnan(estimates.value)])
    if len(table.factors) > 1:
        # all trials of a factor together may well show that it matters, where no pair of settings does
        count = int((~np.isnan(estimates.value)).sum())
        head = f"No single one of {_settings(count)} is significantly worse in {score.name} than the best"
    else:
        among = f"{factor.shown[levels[0]]} and {factor.shown[levels[-1]]}"
        if not factor.is_ordered:
            among = listed([factor.shown[level] for level in levels])
        head = f"No significant difference in {score.name} between {among}"
    text = (
        f"{head}: {tell(score, estimates[best])} at the best, {_place(table, best)}, "
        f"{tell(score, estimates[last])} at the last, {_place(table, last)}."
    )
    by, amount = 0.1, "10 points"
    if score.unit != "%":
        by, amount = 0.1 * abs(float(estimates.value[best])), "a tenth"
    elif by > (estimates.value[best] if score.more_is_better else 1.0 - estimates.value[best]):
        # a share cannot be worse than none or all
        return text, None
    needed = repeats_needed(score, values, weights, comparison, by)
    if needed is None:
        return text, None
    if needed <= values.shape[1]:
        return f"{text} Had one of them been {amount} worse, it would most likely have shown.", needed
    return f"{text} To tell a difference of {amount} takes about {_about(needed):,} repeats.", needed


def _about(count: int) -> int:
    """A count to two digits, upwards."""
    step = 10 ** max(len(str(count)) - 2, 0)
    return -(-count // step) * step


def _edges(table: Table, best: int) -> list[str]:
    """A sentence on each factor of which the best takes the first or the last value tried."""
    found = []
    for factor, level in zip(table.factors, table.places[best], strict=True):
        if not factor.is_ordered or len(factor.levels) < _LEAST_LEVELS:
            continue
        name = f"{factor.name} " if len(table.factors) > 1 else ""
        if level == 0:
            found.append(f"{name}{factor.shown[level]} is the least that was tried; less may do better.")
        elif level == len(factor.levels) - 1:
            found.append(f"{name}{factor.shown[level]} is the most that was tried; more may do better.")
    return found


def _flattery(comparison: Comparison, best: int) -> str:
    """A sentence on the figure of the best where picking it has lifted it by much of its interval."""
    figure = comparison.estimates[best]
    if not comparison.optimism > 0.15 * (figure.high - figure.low):
        return ""
    score = comparison.score
    if score.unit == "%":
        amount = f"{100.0 * comparison.optimism:.2g} points"
    else:
        amount = tell_value(score, comparison.optimism)
    return f"Picked from {_settings(len(comparison.alike))}, its figure flatters it by about {amount}."


def levels_words(factor: Factor, first: int, last: int) -> str:
    """The levels from ``first`` to ``last`` of an ordered factor, like ``33k or less``."""
    shown = factor.shown
    if first == last:
        return shown[first]
    if first == 0:
        return f"{shown[last]} or less"
    if last == len(shown) - 1:
        return f"{shown[first]} or more"
    return f"{shown[first]} to {shown[last]}"


def _of_a_range(table: Table, comparison: Comparison, best: int, figure: str) -> str:
    """Advice on one ordered factor: the unbroken range round the best that cannot be told from it."""
    factor, score = table.factors[0], comparison.score
    setting_at = np.full(len(factor.levels), -1)
    # A value drawn twice stands for itself by its last setting; the best always does.
    setting_at[table.places[:, 0]] = np.arange(len(table))
    setting_at[table.places[best, 0]] = best
    alike, worse = comparison.alike[setting_at], comparison.worse[setting_at]
    place = int(table.places[best, 0])
    first = last = place
    while first > 0 and alike[first - 1]:
        first -= 1
    while last + 1 < len(alike) and alike[last + 1]:
        last += 1
    head = f"{levels_words(factor, first, last)}: {score.name} {figure}"
    if first != last:
        head += f" at {factor.shown[place]}"
    beyond = [level for level in (first - 1, last + 1) if 0 <= level < len(worse) and worse[level]]
    parts = [head] + [
        f"{factor.shown[level]} is worse: {tell(score, comparison.estimates[int(setting_at[level])])}"
        for level in beyond
    ]
    if first != last:
        parts.append(f"no significant difference between {factor.shown[first]} and {factor.shown[last]}")
    text = f"{'; '.join(parts)}."
    apart = [level for level in np.flatnonzero(alike) if not first <= level <= last]
    if apart:
        verb = "is" if len(apart) == 1 else "are"
        text += f" Nor {verb} {listed([factor.shown[level] for level in apart], 'or')} significantly worse."
    return text


def _of_words(table: Table, comparison: Comparison, best: int, figure: str) -> str:
    """Advice on one factor without an order."""
    score, shown = comparison.score, table.factors[0].shown
    value = comparison.estimates.value
    order = np.argsort(-value if score.more_is_better else value, kind="stable")
    parts = [f"{shown[table.places[best, 0]]}: {score.name} {figure}"]
    worse = [setting for setting in order if comparison.worse[setting]]
    parts += [
        f"{shown[table.places[setting, 0]]} is worse: {tell(score, comparison.estimates[int(setting)])}"
        for setting in worse[: _NAMED - 1]
    ]
    if len(worse) > _NAMED - 1:
        parts.append(f"{len(worse) - _NAMED + 1} more are worse too")
    alike = [
        shown[table.places[setting, 0]] for setting in order if comparison.alike[setting] and setting != best
    ]
    if alike:
        parts.append(f"no significant difference from {listed(alike)}")
    return f"{'; '.join(parts)}."


def _of_several(table: Table, comparison: Comparison, best: int, figure: str) -> str:
    """Advice on several factors: the best setting, and the values that occur among those like it."""
    count = int((~np.isnan(comparison.p_value)).sum()) - 1
    alike = np.flatnonzero(comparison.alike)
    head = f"{_place(table, best)}: {comparison.score.name} {figure}"
    if len(alike) == 1:
        return f"{head}; the other {_settings(count)} {'is' if count == 1 else 'are'} worse."
    told, free = [], []
    for factor, levels in zip(table.factors, table.places[alike].T, strict=True):
        words = _occurring(factor, levels)
        if words is None:
            free.append(factor.name)
        else:
            told.append(f"{factor.name} is {words}")
    if free:
        # shortened, a list of names would hide of which factor nothing is said
        told.append(f"every value of {' and of '.join(free)} is found")
    return (
        f"{head}; {len(alike) - 1:,} of the other {_settings(count)} are not significantly worse. "
        f"Among them {'; '.join(told)}."
    )


def _occurring(factor: Factor, levels: IntArray) -> str | None:
    """The levels that occur, in words: a range, or a list; None where all do."""
    used = np.unique(levels)
    if len(used) == len(factor.levels) > 1:
        return None
    is_unbroken = len(used) == used[-1] - used[0] + 1
    if factor.is_ordered and (is_unbroken or len(used) > _NAMED):
        return levels_words(factor, int(used[0]), int(used[-1]))
    return listed([factor.shown[level] for level in used], "or")
