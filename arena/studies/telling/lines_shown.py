"""Which lines a picture of a score against one factor needs, so that none hides what the others do.

A line over all values of another factor would show the mean of a design that comes through and of one that
does not, and so neither. Hence each level of a factor that matters has a line, or a plot, of its own; only
those that were not told to matter are thrown together.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from agents.arrays import FloatArray, IntArray
from agents.text.units import format_quantity
from arena.studies.statistics.by_factor import MOST_LEVELS, margin
from arena.studies.statistics.comparison import compare
from arena.studies.statistics.estimates import Estimates
from arena.studies.statistics.factors import Factor, Table
from arena.studies.statistics.sensitivities import Effect, Sensitivity
from arena.studies.telling.findings import Found, by_intervals
from arena.studies.trial_scores import Score

MOST_SERIES = 6
"""A factor with more levels than this has lines for so many of them."""

# Plots below one another.
_MOST_PANELS = 6
# Ranges that drawn values of a factor are thrown together into, where it has lines of its own.
_DRAWN = 3
_SPACED = "design.both.eye.aside"


@dataclass(frozen=True)
class Shown:
    """The lines of a picture.

    ``lines`` (panels, series) are estimates at every level of ``factor``; ``panels`` and ``series`` name
    them, ``[""]`` where there is but one. ``found`` says of each line, in that order, what is told apart;
    ``notes`` what else one has to know.
    """

    factor: Factor
    panels: tuple[str, ...]
    series: tuple[str, ...]
    lines: tuple[tuple[Estimates, ...], ...]
    found: tuple[tuple[str, Found], ...]
    notes: tuple[str, ...]


def spoken(factor: Factor, path: str) -> tuple[Factor, float]:
    """A factor as one speaks of it, and what its values are multiplied with for that.

    A plan sets how far each eye is from the middle; one says how far the eyes are from one another.
    """
    if path != _SPACED or not factor.is_ordered:
        return factor, 1.0
    levels = tuple(2.0 * level for level in factor.levels)
    shown = tuple(format_quantity(level, "m", 6) for level in levels)
    name = f"twice {factor.name}"
    return replace(factor, name=name, levels=levels, shown=shown, title="eye spacing"), 2.0


def lines_shown(
    score: Score,
    values: FloatArray,
    weights: FloatArray | None,
    table: Table,
    number: int,
    effects: Sensitivity | None,
) -> Shown:
    """The lines for a score against the factor ``number`` of the table.

    ``values`` and ``weights`` are (settings, repeats); ``effects`` say which factors mattered for the score,
    None where nobody asked, which takes it that all did.
    """
    is_grid = table.is_grid
    if not is_grid and len(table.factors[number].levels) > MOST_LEVELS:
        table = table.binned(number, MOST_LEVELS // 2)
    others = [one for one in range(len(table.factors)) if one != number]
    split = others if effects is None or (is_grid and len(others) == 1) else _mattering(effects, others)
    pooled = [one for one in others if one not in split]
    if not is_grid:
        # the fewer settings have a line, the less it says
        split, left = split[:2], split[2:]
        pooled += left
        for one in split:
            table = table.binned(one, _DRAWN)
    notes = []
    if pooled:
        names = " and of ".join(table.factors[one].words for one in pooled)
        verb = "is" if len(pooled) == 1 else "are"
        # of drawn settings a factor that matters somewhat may have no line either
        why = f", which {verb} not told to matter" if is_grid else ""
        notes.append(f"over all values of {names}{why}")
    chosen = [_picked_levels(table.factors[one], MOST_SERIES) for one in split[:1]]
    chosen += _panel_levels([table.factors[one] for one in split[1:]])
    for one, levels in zip(split, chosen, strict=True):
        factor = table.factors[one]
        if len(levels) < len(factor.levels):
            notes.append(f"{len(levels)} of {len(factor.levels)} values of {factor.words}")
    options = [[(one, level) for level in levels] for one, levels in zip(split, chosen, strict=True)]
    series = [[one] for one in options[0]] if options else [[]]
    panels = [list(one) for one in itertools.product(*options[1:])]
    lines, found = [], []
    for panel in panels:
        of_panel = [_line(score, values, weights, table, number, pooled, [*one, *panel]) for one in series]
        lines.append(tuple(estimates for estimates, _ in of_panel))
        found += [
            (_named(table, [*one, *panel]), told) for one, (_, told) in zip(series, of_panel, strict=True)
        ]
    return Shown(
        table.factors[number],
        tuple(_named(table, one) for one in panels),
        tuple(_named(table, one) for one in series),
        tuple(lines),
        tuple(found),
        tuple(notes),
    )


def _mattering(effects: Sensitivity, others: Sequence[int]) -> list[int]:
    """Of ``others`` those that are told to matter, the most first."""

    def low(effect: Effect) -> float:
        return effect.first_low if math.isnan(effect.total_low) else effect.total_low

    def size(effect: Effect) -> float:
        return effect.first if math.isnan(effect.total) else effect.total

    told = [one for one in others if low(effects.effects[one]) > 0.0]
    return sorted(told, key=lambda one: -size(effects.effects[one]))


def _picked_levels(factor: Factor, most: int) -> list[int]:
    """At most so many levels, evenly picked, with both ends."""
    count = len(factor.levels)
    return sorted({round(place) for place in np.linspace(0, count - 1, min(count, most)).tolist()})


def _panel_levels(factors: Sequence[Factor]) -> list[list[int]]:
    """Levels of each factor, whose combinations are no more than there is room for."""
    most = [len(factor.levels) for factor in factors]
    while math.prod(most) > _MOST_PANELS and max(most) > 1:
        most[most.index(max(most))] -= 1
    return [_picked_levels(factor, count) for factor, count in zip(factors, most, strict=True)]


def _named(table: Table, fixed: Sequence[tuple[int, int]]) -> str:
    return ", ".join(f"{table.factors[one].words} {table.factors[one].shown[level]}" for one, level in fixed)


def _line(
    score: Score,
    values: FloatArray,
    weights: FloatArray | None,
    table: Table,
    number: int,
    pooled: Sequence[int],
    fixed: Sequence[tuple[int, int]],
) -> tuple[Estimates, Found]:
    """One line: at every level of factor ``number`` where others have these levels, over all ``pooled``."""
    kept = np.ones(len(table), dtype=np.bool_)
    for one, level in fixed:
        kept &= table.places[:, one] == level
    columns = [number, *pooled]
    places: IntArray = table.places[kept][:, columns]
    part = Table(tuple(table.factors[one] for one in columns), places)
    mine, weighed = values[kept], None if weights is None else weights[kept]
    levels = len(table.factors[number].levels)
    if not pooled and len(part) == levels == len(np.unique(places)):
        order = np.argsort(places[:, 0])
        told = compare(score, mine[order], None if weighed is None else weighed[order])
        return told.estimates, Found(told.best, told.alike, told.worse, told.estimates)
    _, estimates = margin(score, mine, weighed, part, 0)
    return estimates, by_intervals(score, estimates)
