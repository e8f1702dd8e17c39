"""A search for the design that does best in a plan's first score, among values that can be bought.

What the plan varies of designs is searched. Arenas, and what is varied of them, are conditions that a design
has to cope with (:mod:`arena.studies.plans.conditions`). So many repeats run in each as in any other;
a design is judged by all alike.
"""

import math
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from agents.arrays import RecordArray
from agents.design.values_by_path import expanded
from agents.errors import OptionError
from arena.simulation import Progress
from arena.studies.plans.conditions import Conditions, given_and_chosen
from arena.studies.plans.parameters import Parameter
from arena.studies.plans.ranges import Levels
from arena.studies.plans.study import AS_IT_IS, Setting, Study
from arena.studies.running.results import csv_bytes
from arena.studies.running.results_folder import check_own, publish, remove_own, tidy
from arena.studies.running.search_manifest import FILE as MANIFEST
from arena.studies.running.search_manifest import Manifest
from arena.studies.running.trials import obstacle, run_trials
from arena.studies.search.heats import Place
from arena.studies.search.racing import RacingResult, least_budget, race
from arena.studies.statistics.estimates import FEWEST, tell
from arena.studies.statistics.factors import Table, table_of
from arena.studies.statistics.head_to_head import HeadToHead, head_to_head
from arena.studies.statistics.sensitivities import Sensitivity, sensitivity
from arena.studies.telling.plots import history
from arena.studies.trial_scores import SCORES, TRIAL, Score, with_unit_of
from replays.format.whole_files import check_writable, make_folder, write_whole

# Of the budget, for the design as its file has it, and trials for that at the least and most.
_AS_IT_IS_SHARE, _LEAST_AS_IT_IS, _MOST_AS_IT_IS = 0.08, 30, 1000
# Trials of one call of the engine, so that progress is told.
_AT_ONCE = 512

WINNER, FINALISTS, ROUNDS, PICTURE = "winner.yaml", "finalists.csv", "rounds.csv", "rounds.png"
"""Names of the files of a search in its folder."""


@dataclass(frozen=True)
class Search:
    """What a search found.

    ``factors`` are what was searched: the design where the plan names several, then the varied values of
    designs. ``conditions`` counts the arenas, with what is varied of them. ``gain`` compares the best of the
    finalists with the design that it began from, as its file has it, on repeats that the search never saw;
    None where the budget is too small for that. ``winner_text`` is a design's file where the best is told
    better than that beginning, and None else. ``effects`` come from the first settings
    tried, evenly spread. ``obstacle`` says why the first of them could not be run, if so.
    """

    study: Study
    factors: tuple[Parameter, ...]
    conditions: int
    settings: int
    budget: int
    race: RacingResult
    finalists: Table | None
    effects: Sensitivity | None
    gain: HeadToHead | None
    winner_text: str | None
    obstacle: str

    @property
    def score(self) -> Score:
        """The score that was searched by."""
        return SCORES[self.study.scores[0]]

    @property
    def beginning(self) -> str:
        """The name of the design from which the best of the finalists was made."""
        designs = self.study.designs
        several = len(designs) > 1 and self.race.winner is not None
        return designs[self.race.winner[0] if several and self.race.winner else 0].design.name

    @property
    def order(self) -> list[int]:
        """The finalists from best to worst."""
        if self.race.comparison is None:
            return []
        sign = -1.0 if self.score.more_is_better else 1.0
        keyed = sign * self.race.comparison.estimates.value
        best = self.race.comparison.best
        return sorted(range(len(keyed)), key=lambda one: (one != best, math.isnan(keyed[one]), keyed[one]))

    def own_values(self) -> list[Any]:
        """The value of each factor that the design has in its file; empty text where its sides differ."""
        design = next(one.design for one in self.study.designs if one.design.name == self.beginning)
        found: list[Any] = []
        for factor in self.factors:
            if factor.path == "design":
                found.append(design.name)
                continue
            values = set(map(design.value_at, expanded(factor.label())))
            found.append(values.pop() if len(values) == 1 and not factor.is_tolerance else "")
        return found

    def own_words(self) -> list[str]:
        """As :meth:`own_values`, in words."""
        values = zip(self.factors, self.own_values(), strict=True)
        return [value if isinstance(value, str) else factor.show(value) for factor, value in values]

    def words(self, finalist: int) -> list[str]:
        """The value of each factor of a finalist, in words."""
        assert self.finalists is not None
        places = self.finalists.places[finalist].tolist()
        return [factor.shown[place] for factor, place in zip(self.finalists.factors, places, strict=True)]

    def as_dict(self) -> dict[str, Any]:
        """The search for JSON; values in SI units."""
        comparison, table = self.race.comparison, self.finalists
        finalists = []
        if comparison is not None and table is not None:
            for one in self.order:
                values = [
                    factor.levels[place]
                    for factor, place in zip(table.factors, table.places[one].tolist(), strict=True)
                ]
                named = dict(zip((factor.name for factor in table.factors), values, strict=True))
                finalists.append(
                    {
                        **named,
                        "figure": vars(comparison.estimates[one]),
                        "best": one == comparison.best,
                        "alike": bool(comparison.alike[one]),
                    }
                )
        return {
            "study": self.study.name,
            "score": self.score.name,
            "settings": self.settings,
            "conditions": self.conditions,
            "budget": self.budget,
            "trials": self.race.trials,
            "tried": self.race.tried,
            "told_worse": self.race.told_worse,
            "without_figure": self.race.without_figure,
            "began_from": self.beginning,
            "as_it_is": None if self.gain is None else vars(self.gain.other),
            "gain": None if self.gain is None else _gain_dict(self.gain),
            "finalists": finalists,
            "effects": None if self.effects is None else [vars(one) for one in self.effects],
            "winner": self.winner_text,
            "obstacle": self.obstacle or None,
        }


def _gain_dict(gain: HeadToHead) -> dict[str, Any]:
    names = ("difference", "low", "high", "p_value", "test", "repeats", "is_better")
    return {name: getattr(gain, name) for name in names}


def tune(
    study: Study, budget: int | None = None, threads: int | None = None, progress: Progress | None = None
) -> Search:
    """Search within ``budget`` trials; the plan's own budget if left out.

    ``progress`` is called with the share of the budget that is used, 0 to 1. Raises OptionError where the
    plan leaves nothing to search, gives a range without steps or names too many conditions, InputError for
    too small a budget.
    """
    budget = study.budget if budget is None else budget
    field = _Field(study, threads or os.cpu_count() or 1, budget, progress)
    score = SCORES[study.scores[0]]
    # what the race itself needs is its own, so that it never refuses another budget than was asked for
    spare = budget - least_budget(field.conditions.count)
    wanted = min(max(int(_AS_IT_IS_SHARE * budget), _LEAST_AS_IT_IS, field.conditions.count), _MOST_AS_IT_IS)
    kept = min(wanted, max(spare, 0))
    found = race(
        field.levels,
        field.evaluate,
        budget - kept,
        score,
        seed=study.seed,
        ordered=[factor.is_ordered for factor in field.factors],
        conditions=field.conditions.count,
    )
    pool = table_of(field.factors, [field.values(tuple(place)) for place in found.pool.tolist()])
    effects = None
    if len(pool.factors) > 1 < len(pool):
        effects = sensitivity(score, found.pool_values, found.pool_weights, pool)
    finalists = text = gain = None
    reason = ""
    if found.winner is None:
        reason = obstacle(study, field.setting(tuple(found.pool[0].tolist()), 0))
    else:
        finalists = table_of(field.factors, [field.values(place) for place in found.finalists])
        setting = field.setting(found.winner, 0)
        gain = field.gain(score, found, kept, setting.design)
        if gain is not None and gain.is_better:
            name = study.designs[setting.design].design.name
            text = study.design_text(setting, f"{name[:34]} tuned")
    settings = math.prod(field.levels)
    return Search(
        study=study,
        factors=field.factors,
        conditions=field.conditions.count,
        settings=settings,
        budget=budget,
        race=found,
        finalists=finalists,
        effects=effects,
        gain=gain,
        winner_text=text,
        obstacle=reason,
    )


class _Field:
    """What is searched, and how trials of it are run."""

    def __init__(self, study: Study, threads: int, budget: int, progress: Progress | None) -> None:
        self._study, self._threads, self._budget, self._progress = study, threads, budget, progress
        self.used = 0
        self._several = len(study.designs) > 1
        lists: list[tuple[Any, ...]] = []
        for parameter, values in zip(study.parameters, study.ranges, strict=True):
            if not isinstance(values, Levels):
                raise OptionError(
                    f"{parameter.path}: a search tries single values only; give the range steps, "
                    "or a series like E12"
                )
            lists.append(values.values)
        _, self._chosen = given_and_chosen(study.parameters)
        self._lists = [
            *([tuple(range(len(study.designs)))] if self._several else []),
            *(lists[number] for number in self._chosen),
        ]
        if not self._lists:
            raise OptionError(f"{study.name}: the plan varies no design, so there is nothing to search")
        self.conditions = Conditions(study)
        of_designs = [one for one in study.factors if one.path == "design"]
        self.factors = (*of_designs, *(study.parameters[number] for number in self._chosen))

    @property
    def levels(self) -> list[int]:
        """How many levels each factor has."""
        return [len(one) for one in self._lists]

    def values(self, place: Place) -> list[Any]:
        """The value of each factor: a design's name, SI values."""
        found = [one[level] for one, level in zip(self._lists, place, strict=True)]
        if self._several:
            found[0] = self._study.designs[found[0]].design.name
        return found

    def setting(self, place: Place, condition: int) -> Setting:
        """The setting of a place of the race in a condition."""
        found = [one[level] for one, level in zip(self._lists, place, strict=True)]
        design = found.pop(0) if self._several else 0
        return self.conditions.setting(condition, design, dict(zip(self._chosen, found, strict=True)))

    def evaluate(self, places: Sequence[Place], repeats: range) -> RecordArray:
        """Rows of TRIAL, (places, repeats)."""
        return self._run(
            len(places), repeats, lambda number, condition: self.setting(places[number], condition)
        )

    def gain(self, score: Score, found: RacingResult, most: int, design: int) -> HeadToHead | None:
        """The winner against a design as its file has it, on up to ``most`` of the finalists' fresh repeats.

        None where these are too few to tell anything.
        """
        assert found.winner is not None
        repeats = found.fresh[: self.conditions.whole(min(most, len(found.fresh)))]
        if len(repeats) < FEWEST:
            return None
        own = dict.fromkeys(self._chosen, AS_IT_IS)
        rows = self._run(
            1,
            repeats,
            lambda _, condition: self.conditions.setting(condition, design, own, is_of_plan=False),
        )
        one = found.finalists.index(found.winner)
        met = slice(0, len(repeats))
        values = np.stack([found.values[one, met], rows[score.column][0].astype(np.float64)])
        weights = None
        if score.weight is not None and found.weights is not None:
            weights = np.stack([found.weights[one, met], rows[score.weight][0].astype(np.float64)])
        picked = len(found.finalists) if found.overturned else 1
        return head_to_head(score, values, weights, self._study.seed, picked)

    def _run(self, count: int, repeats: range, setting: Callable[[int, int], Setting]) -> RecordArray:
        found = np.zeros((count, len(repeats)), TRIAL)
        places: dict[int, list[int]] = {}
        for place, repeat in enumerate(repeats):
            places.setdefault(self.conditions.of_repeat(repeat), []).append(place)
        for condition, mine in sorted(places.items()):
            settings = [setting(number, condition) for number in range(count)]
            at_once = max(1, _AT_ONCE // len(mine))
            for first in range(0, count, at_once):
                some = settings[first : first + at_once]
                rows = run_trials(self._study, some, [repeats[one] for one in mine], self._threads)
                found[first : first + len(some), mine] = rows
                self.used += rows.size
                if self._progress is not None:
                    self._progress(min(1.0, self.used / self._budget))
        return found


def prepared(study: Study, folder: Path) -> Path:
    """Make the folder of a search, so that nothing is searched that could not be written; return it.

    Raises OutputError; InputError where the folder holds what is not of a search of this plan, and
    OptionError where the winner would be written over what the plan reads.
    """
    _manifest(study, folder)
    check_writable(folder / WINNER)
    return folder


def _manifest(study: Study, folder: Path) -> Manifest:
    """The list of files of a search, in its folder, which is made; all that we write is free, or ours."""
    make_folder(folder)
    winner = folder / WINNER
    for name in study.plan.files:
        if winner.exists() and Path(name).exists() and winner.samefile(name):
            raise OptionError(f"{winner}: is an input of this very search; choose another --folder")
    manifest = Manifest(folder, study.name)
    names = (WINNER, FINALISTS, ROUNDS, PICTURE)
    check_own(folder, names, manifest.claimed())
    tidy(folder, {MANIFEST, *names})
    return manifest


def write_search(search: Search, folder: Path) -> list[Path]:
    """Write the winning design, the finalists, and how the search went, and return the files.

    Where nothing has won, a winner that an earlier search left there is removed. Raises OutputError, and
    InputError as :func:`prepared` does.
    """
    manifest = _manifest(search.study, folder)
    if search.winner_text is None:
        remove_own(folder, (WINNER, PICTURE), manifest)
    with publish(folder, manifest) as stage:
        written = _write(search, stage)
    return [folder / path.name for path in written]


def _write(search: Search, folder: Path) -> list[Path]:
    written = []
    if search.winner_text is not None:
        written.append(folder / WINNER)
        write_whole(written[0], search.winner_text.encode())
    names = [f"{one.label()} [{one.unit}]" if one.unit else one.label() for one in search.factors]
    rows: list[list[Any]] = []
    ends = ("value", "low", "high", "count")
    for one in search.as_dict()["finalists"]:
        figure = one.pop("figure")
        verdict = [int(one.pop("best")), int(one.pop("alike")), 0]
        rows.append([*one.values(), *(figure[key] for key in ends), *verdict])
    if search.gain is not None:
        figures_of = [getattr(search.gain.other, key) for key in ends]
        rows.append([*search.own_values(), *figures_of, 0, int(not search.gain.is_better), 1])
    figures = [with_unit_of(search.score, part) for part in (search.score.name, "low", "high")]
    headings = [*names, *figures, "trials", "best", "alike", "as it is"]
    steps = [
        [step.trials, step.repeats, step.alive, step.value, step.low, step.high]
        for step in search.race.history
    ]
    for name, head, body in (
        (FINALISTS, headings, rows),
        (ROUNDS, ["trials", "repeats", "settings left", *figures], steps),
    ):
        written.append(folder / name)
        write_whole(folder / name, csv_bytes(head, body))
    return written


def draw_search(search: Search, folder: Path) -> list[Path]:
    """Draw how the search went; returns the files. Raises OutputError."""
    steps = search.race.history
    if not steps:
        return []
    with publish(folder, _manifest(search.study, folder)) as stage:
        history(
            stage / PICTURE,
            _finding(search),
            search.score,
            [step.trials for step in steps],
            [step.value for step in steps],
            [step.alive for step in steps],
            note="Bars: the interval that holds the true figure with 95 % confidence; a leader's flatters it "
            f"where it was picked by the same trials; the last round has others; seed {search.study.seed}",
            ends=([step.low for step in steps], [step.high for step in steps]),
            study=search.study.name,
        )
    return [folder / PICTURE]


def _finding(search: Search) -> str:
    """What the search found, as the title of its picture: no more than the fresh repeats say."""
    gain, score, table = search.gain, search.score, search.finalists
    if gain is None or table is None or search.race.comparison is None:
        return f"{score.words}: the budget was too small to say whether anything is better"
    own = f"{search.beginning} as it is: {tell(score, gain.other)}"
    if not gain.is_better:
        return f"No setting told better than {own}"
    places = table.places[search.order[0]].tolist()
    best = [f"{one.words} {one.shown[level]}" for one, level in zip(table.factors, places, strict=True)]
    return f"{', '.join(best)}: {tell(score, gain.one)}, better than {own}"
