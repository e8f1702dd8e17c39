"""What a picture of a study shows, in a sentence for its title.

A title says no more than the statistics do: a level is called worse only where it is told worse than the best
of its line at 5 %, and where nothing is told apart the title says that.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from agents.arrays import BoolArray
from arena.studies.statistics.comparison import LEVEL, Comparison, corrected
from arena.studies.statistics.estimates import NOT_WITHIN, Estimates, tell
from arena.studies.statistics.factors import Factor, Table
from arena.studies.telling.advice import levels_words, listed
from arena.studies.trial_scores import Score

# Lines of which a title tells one by one.
_MOST_GROUPS = 3
# Two figures whose intervals of 95 % just touch differ by 2.77 standard errors.
_NOT_MEETING = 0.006
# What three lines of a title have room for, with the factor and the names of the lines.
_MOST_LETTERS = 210
# An interval of 95 % reaches so many standard errors to either side of its figure.
_REACH = 1.959964


@dataclass(frozen=True)
class Found:
    """What is told apart along one line.

    ``best`` is the level with the best figure, None where none has one; ``alike`` and ``worse`` (levels,)
    say which cannot be told from it and which are told worse, of these ``estimates``.
    """

    best: int | None
    alike: BoolArray
    worse: BoolArray
    estimates: Estimates


def by_intervals(score: Score, estimates: Estimates) -> Found:
    """What the intervals alone tell apart, for levels of which each holds many settings.

    The errors of two levels add up by their squares, each taken from the end of its interval that faces the
    other; corrected as :func:`comparison.corrected` does.
    """
    sign = 1.0 if score.more_is_better else -1.0
    count = len(estimates)
    ends = np.isfinite(estimates.low) & np.isfinite(estimates.high)
    is_finite, is_endless = np.isfinite(estimates.value) & ends, np.isposinf(estimates.value)
    known = is_finite | is_endless
    nothing = np.zeros(count, dtype=np.bool_)
    if not is_finite.any():
        return Found(None, nothing, nothing, estimates)
    goodness = np.where(is_finite, sign * estimates.value, -np.inf)
    best = int(np.argmax(goodness))
    low, high = (estimates.low, estimates.high) if score.more_is_better else (estimates.high, estimates.low)
    with np.errstate(invalid="ignore", divide="ignore"):
        mine, theirs = abs(estimates.value[best] - low[best]), np.abs(high - estimates.value)
        # trials that all say the same have no spread of their own, which does not make them certain
        mine, theirs = np.where(mine > 0.0, mine, theirs), np.where(theirs > 0.0, theirs, mine)
        deviate = (goodness[best] - goodness) / (np.hypot(mine, theirs) / _REACH)
        p_value = np.where(is_finite, 2.0 * special.ndtr(-np.abs(deviate)), np.nan)
    # a time without end has no distance from another; intervals that do not meet tell them apart
    is_beyond = is_endless & (estimates.low > estimates.high[best])
    p_value = np.where(is_endless, np.where(is_beyond, _NOT_MEETING, 1.0), p_value)
    floor = 2.0 ** (1.0 - np.minimum(estimates.count, estimates.count[best]))
    p_value = np.maximum(p_value, np.minimum(floor, 1.0))
    p_value[best] = 1.0
    p_value[known & np.isnan(p_value)] = 1.0
    worse = np.nan_to_num(corrected(p_value, best, is_chosen=True), nan=1.0) <= LEVEL
    worse[best] = False
    return Found(best, known & ~worse, worse, estimates)


def finding(score: Score, factor: Factor, found: Sequence[tuple[str, Found]]) -> str:
    """A sentence on a score against a factor; ``found`` are lines by name, empty for one without.

    >>> import numpy as np
    >>> from arena.studies.trial_scores import SCORES
    >>> figures = np.array([0.8, 0.8, 0.3])
    >>> many = Estimates(figures, figures - 0.05, figures + 0.05, np.full(3, 200), ("Wilson",) * 3)
    >>> feeler = Factor("feeler", (1e3, 2e3, 5e3), ("1k", "2k", "5k"), True, True, "ohm")
    >>> finding(SCORES["reached"], feeler, [("", by_intervals(SCORES["reached"], many))])
    'Feeler: 2k or less is best, 80 % [75, 85] at 1k; worse from 5k on, 30 % [25, 35] at 5k'
    """
    if len(found) == 1:
        words = _of_line(score, factor, found[0][1], is_alone=True)
        return f"{_raised(factor.words)}: {words}"
    groups: dict[str, list[str]] = {}
    head, *names = _parted([name for name, _ in found])
    for name, (_, one) in zip(names, found, strict=True):
        groups.setdefault(_of_line(score, factor, one, is_alone=False), []).append(name)
    if len(groups) == 1:
        return f"{_raised(factor.words)}: {next(iter(groups))}, on every line"
    told = [f"with {listed(group)}: {words}" for words, group in groups.items()]
    told[0] = told[0].replace("with ", f"with {head} " if head else "with ", 1)
    if len(told) > _MOST_GROUPS or sum(map(len, told)) > _MOST_LETTERS:
        # the lines of a factor ascend, so that the ends say which way it goes
        more = ["the other lines differ"] if len(told) > 2 else []
        told = [told[0], told[-1], *more]
    return f"{_raised(factor.words)} {'; '.join(told)}"


def _raised(words: str) -> str:
    return words[:1].upper() + words[1:]


def _parted(names: Sequence[str]) -> list[str]:
    """The words that all names begin with, then what is left of each of them."""
    split = [name.split(" ") for name in names]
    count = 0
    while all(len(words) > count + 1 and words[count] == split[0][count] for words in split):
        count += 1
    return [" ".join(split[0][:count]), *(" ".join(words[count:]) for words in split)]


def _of_line(score: Score, factor: Factor, one: Found, *, is_alone: bool) -> str:
    if one.best is None:
        is_endless = bool(np.isposinf(one.estimates.value).any())
        return f"{NOT_WITHIN}, at any value" if is_endless else "nothing can be said"
    if not one.worse.any():
        has_figure = np.flatnonzero(one.alike)
        if len(has_figure) < 2:
            return "nothing to compare"
        ends = f"{_ends(factor, has_figure[0])[0]} and {_ends(factor, has_figure[-1])[1]}"
        if not factor.is_ordered:
            ends = listed([factor.shown[level] for level in has_figure])
        return f"no significant difference between {ends}"
    return (_of_range if factor.is_ordered else _of_names)(score, factor, one, is_alone)


def _of_range(score: Score, factor: Factor, one: Found, is_alone: bool) -> str:
    assert one.best is not None
    first = last = one.best
    while first > 0 and one.alike[first - 1]:
        first -= 1
    while last + 1 < len(one.alike) and one.alike[last + 1]:
        last += 1
    if len(factor.levels) == 2:
        other = 1 - one.best
        words = f"{factor.shown[one.best]} is better than {factor.shown[other]}"
        figures = [tell(score, one.estimates[level]) for level in (one.best, other)]
        return f"{words}, {figures[0]} against {figures[1]}" if is_alone else words
    words = f"{_range(factor, first, last)} is best"
    if is_alone:
        words += f", {tell(score, one.estimates[one.best])}"
        words += "" if first == last else f" at {factor.shown[one.best]}"
    sides = []
    for near, far, ending in ((first - 1, 0, "and less"), (last + 1, len(one.worse) - 1, "on")):
        beyond = list(range(near, far + 1)) if ending == "on" else list(range(near, far - 1, -1))
        if not beyond or not one.worse[near]:
            continue
        run = [near]
        while len(run) < len(beyond) and one.worse[beyond[len(run)]]:
            run.append(beyond[len(run)])
        reaches = len(run) == len(beyond)
        place = _ends(factor, near)[0 if ending == "on" else 1]
        where = (
            f"at {place}" if not reaches else f"from {place} on" if ending == "on" else f"at {place} and less"
        )
        if reaches and len(run) == 1 and ending != "on":
            where = f"at {place}"
        told = f"{_worse_words(score, one, run, ending)} {where}"
        if is_alone:
            told += f", {tell(score, one.estimates[run[-1]])} at {factor.shown[run[-1]]}"
        sides.append(told)
    return "; ".join([words, *sides]) if is_alone else ", ".join([words, *sides])


def _ends(factor: Factor, level: int) -> tuple[str, str]:
    """The first and the last value of a level, which are the same unless it is a range of values."""
    shown = factor.shown[level]
    first, _, last = shown.partition(" to ")
    return (first, last) if factor.is_binned and last else (shown, shown)


def _range(factor: Factor, first: int, last: int) -> str:
    if not factor.is_binned or first == last:
        return levels_words(factor, first, last)
    low, high = _ends(factor, first)[0], _ends(factor, last)[1]
    if first == 0:
        return f"{high} or less"
    return f"{low} or more" if last == len(factor.levels) - 1 else f"{low} to {high}"


def _worse_words(score: Score, one: Found, run: Sequence[int], ending: str) -> str:
    """Whether it is merely worse, or goes on getting worse: falls from figure to figure, and is told to."""
    figures = one.estimates.value[list(run)] * (1.0 if score.more_is_better else -1.0)
    if len(run) < 3 or not bool((np.diff(figures) < 0.0).all()):
        return "worse"
    near, far = one.estimates[run[0]], one.estimates[run[-1]]
    # intervals that do not meet tell the ends apart
    is_told = far.high < near.low if score.more_is_better else far.low > near.high
    return ("the more the worse" if ending == "on" else "the less the worse") if is_told else "worse"


def _of_names(score: Score, factor: Factor, one: Found, is_alone: bool) -> str:
    assert one.best is not None
    words = f"{factor.shown[one.best]} is best"
    if is_alone:
        words += f", {tell(score, one.estimates[one.best])}"
    sign = -1.0 if score.more_is_better else 1.0
    order = np.argsort(sign * np.nan_to_num(one.estimates.value, nan=np.inf), kind="stable").tolist()
    worse = [factor.shown[level] for level in order if one.worse[level]]
    alike = [factor.shown[level] for level in order if one.alike[level] and level != one.best]
    words += f"; {listed(worse)} {'is' if len(worse) == 1 else 'are'} worse"
    return f"{words}; not told from it: {listed(alike)}" if alike else words


def finding_of_map(table: Table, comparison: Comparison) -> str:
    """A sentence on all settings of a table of several factors, as they were compared."""
    score, best = comparison.score, comparison.best
    if best is None:
        return f"{_raised(score.words)}: nothing can be said"
    others = int((~np.isnan(comparison.p_value)).sum()) - 1
    if not comparison.worse.any():
        return f"{_raised(score.words)}: no significant difference between any of {others + 1} settings"
    at = " with ".join(
        f"{factor.words} {factor.shown[level]}"
        for factor, level in zip(table.factors, table.places[best].tolist(), strict=True)
    )
    alike = int(comparison.alike.sum()) - 1
    words = f"{_raised(at)} is best, {tell(score, comparison.estimates[best])}"
    return f"{words}; {alike or 'none'} of the other {others} cannot be told from it"
