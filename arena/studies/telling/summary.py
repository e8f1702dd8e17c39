"""What a sweep came to: a figure with its interval for every setting and score, which settings can be told
from the best, a sentence of advice, and pictures.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray
from arena.studies.plans.conditions import by_condition, given_and_chosen
from arena.studies.plans.study import Study
from arena.studies.plans.titles import title_of
from arena.studies.running.result_names import SETTINGS_CSV, file_words, map_name, picture_name
from arena.studies.running.results import csv_bytes
from arena.studies.running.results_folder import publish
from arena.studies.running.sweeping import SweepResult
from arena.studies.statistics.comparison import Comparison, compare
from arena.studies.statistics.estimates import Estimates, estimate_all
from arena.studies.statistics.factors import Table, table_of
from arena.studies.statistics.sensitivities import Sensitivity, sensitivity
from arena.studies.telling.advice import Advice, advise
from arena.studies.telling.curves import curves
from arena.studies.telling.findings import finding, finding_of_map
from arena.studies.telling.frames import path_words
from arena.studies.telling.lines_shown import Shown, lines_shown, spoken
from arena.studies.telling.plots import bars
from arena.studies.telling.score_maps import heat_map
from arena.studies.trial_scores import SCORES, Score, with_unit_of
from replays.format.whole_files import write_whole


@dataclass(frozen=True)
class WithinCondition:
    """The settings of one condition, compared by themselves.

    ``condition`` is told in words, empty where there is but one. ``settings`` are their numbers in the study;
    ``comparison``, by the main score, and ``advice`` count from the first of them.
    """

    condition: str
    settings: IntArray
    comparison: Comparison
    advice: Advice

    @property
    def best(self) -> int | None:
        """Number of the best setting in the study; None where none has a figure."""
        return None if self.comparison.best is None else int(self.settings[self.comparison.best])


@dataclass(frozen=True)
class Summary:
    """A sweep, summed up.

    ``values`` holds, by score, the trials' values and weights, each (settings, repeats); weights are None but
    for a ratio. ``conditions`` compare by the main score, the first one of the plan: one for each condition
    of a grid that varies both arenas and designs, else a single one. ``effects`` say which factors mattered
    for it; None where there is but one factor, or one setting.
    """

    outcome: SweepResult
    table: Table
    values: dict[str, tuple[FloatArray, FloatArray | None]]
    estimates: dict[str, Estimates]
    conditions: tuple[WithinCondition, ...]
    effects: Sensitivity | None

    @property
    def bests(self) -> list[int]:
        """The best setting of each condition that has one."""
        return [one.best for one in self.conditions if one.best is not None]

    @property
    def alike(self) -> BoolArray:
        """Whether each setting (settings,) is the best of its condition, or cannot be told from it."""
        return self._gathered("alike")

    @property
    def worse(self) -> BoolArray:
        """Whether each setting (settings,) is told worse than the best of its condition."""
        return self._gathered("worse")

    def _gathered(self, name: str) -> BoolArray:
        found = np.zeros(len(self.table), dtype=np.bool_)
        for one in self.conditions:
            found[one.settings] = getattr(one.comparison, name)
        return found

    @property
    def study(self) -> Study:
        """The study that was swept."""
        return self.outcome.study

    @property
    def scores(self) -> list[Score]:
        """The scores of the plan, the main one first."""
        return [SCORES[name] for name in self.study.scores]

    def words(self, setting: int) -> list[str]:
        """The value of each factor in a setting, in words."""
        places = self.table.places[setting].tolist()
        return [factor.shown[place] for factor, place in zip(self.table.factors, places, strict=True)]

    def levels(self, setting: int) -> list[Any]:
        """The value of each factor in a setting: SI, or words."""
        places = self.table.places[setting].tolist()
        return [factor.levels[place] for factor, place in zip(self.table.factors, places, strict=True)]

    def order(self) -> list[int]:
        """The settings from best to worst by the main score; those without a figure last."""
        value = self.estimates[self.scores[0].name].value
        sign = -1.0 if self.scores[0].more_is_better else 1.0
        keyed = np.where(np.isnan(value), np.inf, sign * value)
        return [int(one) for one in np.lexsort((np.arange(len(value)), keyed, np.isnan(value)))]

    def as_dict(self) -> dict[str, Any]:
        """The summary for JSON: every setting with its values in SI units and its figures by score."""
        return {
            "study": self.study.name,
            "settings": [self._setting_dict(number) for number in range(len(self.table))],
            "repeats": self.study.repeats,
            "trials": self.study.trials,
            "trials_kept_from_before": self.outcome.kept,
            "seconds": self.outcome.seconds,
            "main_score": self.scores[0].name,
            "conditions": [
                {
                    "condition": one.condition or None,
                    "best": one.best,
                    "alike": one.settings[one.comparison.alike].tolist(),
                    "test": one.comparison.test,
                    "advice": str(one.advice),
                }
                for one in self.conditions
            ],
            "effects": None if self.effects is None else [vars(one) for one in self.effects],
            "impossible": {str(number): reason for number, reason in self.outcome.impossible.items()},
        }

    def _setting_dict(self, number: int) -> dict[str, Any]:
        names = [factor.name for factor in self.table.factors]
        figures = {
            name: {**vars(found[number]), "not_within_run": math.isinf(found[number].value)}
            for name, found in self.estimates.items()
        }
        return {"setting": number, **dict(zip(names, self.levels(number), strict=True)), "scores": figures}


def summarise(outcome: SweepResult) -> Summary:
    """Sum up a sweep that is through."""
    study = outcome.study
    table = _titled(
        study,
        table_of(
            study.factors, [study.factor_values(study.setting(number)) for number in range(study.settings)]
        ),
    )
    values: dict[str, tuple[FloatArray, FloatArray | None]] = {}
    for name in study.scores:
        score = SCORES[name]
        wanted = [score.column] if score.weight is None else [score.column, score.weight]
        found = outcome.columns(wanted)
        values[name] = found[score.column], None if score.weight is None else found[score.weight]
    estimates = {name: estimate_all(SCORES[name], *values[name]) for name in study.scores}
    main = SCORES[study.scores[0]]
    effects = sensitivity(main, *values[main.name], table) if len(table.factors) > 1 < len(table) else None
    conditions = tuple(_within_conditions(study, table, main, *values[main.name], estimates[main.name]))
    return Summary(outcome, table, values, estimates, conditions, effects)


def _titled(study: Study, table: Table) -> Table:
    """The table with what plots call each of its factors."""
    arena = study.arenas[0][0]
    titles = [title_of(one.path, arena) for one in study.factors]
    return replace(
        table,
        factors=tuple(
            replace(factor, title=title) for factor, title in zip(table.factors, titles, strict=True)
        ),
    )


def _within_conditions(
    study: Study,
    table: Table,
    score: Score,
    values: FloatArray,
    weights: FloatArray | None,
    estimates: Estimates,
) -> Iterator[WithinCondition]:
    given, chosen = given_and_chosen(study.factors)
    if not (given and chosen and table.is_grid):
        given, chosen = [], list(range(len(study.factors)))
    choices = tuple(table.factors[number] for number in chosen)
    for settings in by_condition(table.places[:, given]):
        first = int(settings[0])
        words = (
            f"{table.factors[one].name} {table.factors[one].shown[table.places[first, one]]}" for one in given
        )
        mine = values[settings], None if weights is None else weights[settings]
        comparison = compare(score, *mine, estimates=_picked(estimates, settings.tolist()))
        advice = advise(Table(choices, table.places[settings][:, chosen]), comparison, *mine)
        yield WithinCondition(", ".join(words), settings, comparison, advice)


def publish_summary(summary: Summary, pictures: bool = True) -> list[Path]:
    """Put the table of settings in the folder of the sweep, then the pictures; return the files.

    Raises OutputError where one cannot be written, and leaves what is not ours.
    """
    outcome = summary.outcome
    folder = outcome.folder
    with outcome.journal() as journal:
        with publish(folder, journal) as stage:
            table = write_summary(summary, stage / SETTINGS_CSV)
        drawn = []
        if pictures:
            with publish(folder, journal) as stage:
                drawn = draw_summary(summary, stage)
    return [folder / path.name for path in (table, *drawn)]


def write_summary(summary: Summary, path: Path) -> Path:
    """Write a row for every setting: its values, then figure and ends of interval for every score; CSV.

    The last column is 1 for the best of each condition, and for each setting that cannot be told from it.
    """
    scores = summary.scores
    headings = [
        "setting",
        *(f"{one.name} [{one.unit}]" if one.unit else one.name for one in summary.table.factors),
        *(
            heading
            for one in scores
            for heading in (
                *(with_unit_of(one, f"{one.name} {part}") for part in ("figure", "low", "high")),
                f"{one.name} trials",
            )
        ),
        "best or open",
    ]
    alike = summary.alike
    rows = []
    for number in range(len(summary.table)):
        figures = [summary.estimates[one.name][number] for one in scores]
        cells = [cell for one in figures for cell in (one.value, one.low, one.high, one.count)]
        rows.append([number, *summary.levels(number), *cells, int(alike[number])])
    write_whole(path, csv_bytes(headings, rows))
    return path


def draw_summary(summary: Summary, folder: Path) -> list[Path]:
    """Draw every score against every factor; where two ordered ones make a grid, also as a map of both."""
    said = [
        spoken(factor, one.path)
        for factor, one in zip(summary.table.factors, summary.study.factors, strict=True)
    ]
    table = replace(summary.table, factors=tuple(factor for factor, _ in said))
    ordered = [number for number, factor in enumerate(table.factors) if factor.is_ordered]
    is_map = table.is_grid and len(table.factors) == 2 == len(ordered)
    words = file_words([factor.name for factor in summary.table.factors])
    drawn = []
    for score in summary.scores:
        effects = _effects(summary, score)
        for number, (_, times) in enumerate(said):
            path = folder / picture_name(score.name, words[number])
            shown = lines_shown(score, *summary.values[score.name], table, number, effects)
            at = summary.study.marks.get(summary.study.factors[number].path, {})
            marks = {name: times * float(value) for name, value in at.items()}
            _draw_factor(summary.study, score, table, shown, marks, path)
            drawn.append(path)
        if is_map:
            path = folder / map_name(score.name)
            _draw_map(summary, score, table, path)
            drawn.append(path)
    return drawn


def _effects(summary: Summary, score: Score) -> Sensitivity | None:
    """Which factors mattered for a score; None where that makes no difference to what is drawn."""
    table = summary.table
    if score == summary.scores[0]:
        return summary.effects
    if len(table.factors) < 3 and table.is_grid:
        return None
    return sensitivity(score, *summary.values[score.name], table)


def _draw_map(summary: Summary, score: Score, table: Table, path: Path) -> None:
    along, across = table.factors
    order = np.lexsort(table.places.T[::-1])
    is_main = score == summary.scores[0]
    alike = summary.alike[order] if is_main else None
    values, weights = summary.values[score.name]
    if is_main and len(summary.conditions) > 1:
        # which of the two is chosen, and for which conditions
        chosen = given_and_chosen(summary.study.factors)[1][0]
        shown = lines_shown(score, values, weights, table, chosen, None)
        title = finding(score, shown.factor, shown.found)
    else:
        estimates = summary.estimates[score.name]
        title = finding_of_map(table, compare(score, values, weights, estimates=estimates))
    estimates = _picked(summary.estimates[score.name], order.tolist())
    note = f"seed {summary.study.seed}"
    heat_map(path, title, score, across, along, estimates, alike, note, summary.study.name)


def _draw_factor(
    study: Study, score: Score, table: Table, shown: Shown, marks: Mapping[str, float], path: Path
) -> None:
    """One score against one factor, in as many lines and plots as there have to be."""
    factor = shown.factor
    title = finding(score, factor, shown.found)
    paths = [
        f"{one.words}: {path_words(one)}"
        for one in table.factors
        if path_words(one) and one.name != factor.name
    ]
    note = "; ".join([*shown.notes, *paths, f"seed {study.seed}"])
    if not factor.is_ordered and len(shown.found) == 1:
        bars(path, title, score, factor, shown.lines[0][0], note, study.name)
        return
    series = shown.series if len(shown.series) > 1 or shown.series[0] else ()
    panels = list(zip(shown.panels, shown.lines, strict=True))
    curves(path, title, score, factor, panels, series, marks, note, study.name)


def _picked(estimates: Estimates, order: Sequence[int]) -> Estimates:
    return Estimates(
        estimates.value[order],
        estimates.low[order],
        estimates.high[order],
        estimates.count[order],
        tuple(estimates.method[one] for one in order),
    )
