"""Reading a plan: its file, the arenas and designs that it names, and the values that it varies.

Everything is reported at once, each fault at its line; the faults of a named arena or design at theirs.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

from agents.design.spec import Design, parse_design
from agents.errors import Fault, InputError, NotFoundError, SpecError, nearest
from agents.text.marked_yaml import KeyPath, parse_marked, read_text
from agents.text.readers import QuantityError, quote, with_article
from agents.text.shipped import find_document, shipped_names
from agents.text.spec_reading import KeyedError, KeyedErrors, fault_at, parse_document
from arena.scene.contest import Entrant
from arena.scene.spec import ArenaSpec, parse_arena
from arena.studies.plans.parameters import (
    WALKERS,
    Parameter,
    parameter_at,
    places_set,
    values_into_arena,
    values_into_design,
)
from arena.studies.plans.plan_form import MOST_TRIALS, MOST_VARIED, PlanForm, counted, time_text, typical_time
from arena.studies.plans.ranges import Levels, Span, read_range
from arena.studies.plans.sampling import DRAWN, MOST_DRAWN
from arena.studies.trial_scores import SCORES

Find = Callable[[str, str], tuple[str, str]]
"""Gives name and text of the file of a design or arena (second argument) that a plan names (first).

Raises NotFoundError, and SpecError where the file holds no text.
"""

# Values of one parameter, and combinations of the others, that are tried before a plan is accepted.
_MOST_TRIED = 200
_MOST_COMBINED = 64

Varied = tuple[Parameter, Levels | Span]


@dataclass(frozen=True)
class Plan:
    """A plan whose every part is right, with all that it names; ``settings`` is their number.

    ``files`` are those of the arenas and designs, as the finder of files calls them.
    """

    form: PlanForm
    arenas: tuple[tuple[ArenaSpec, str], ...]
    designs: tuple[Entrant, ...]
    parameters: tuple[Parameter, ...]
    ranges: tuple[Levels | Span, ...]
    marks: Mapping[str, Mapping[str, Any]]
    settings: int
    files: tuple[str, ...]


def files_beside(folder: Path) -> Find:
    """Return a finder of shipped files by their names, and of others by path.

    A path is relative to ``folder``, or where nothing is there, to the working folder.
    """

    def find(name: str, kind: str) -> tuple[str, str]:
        beside = folder / name
        path = beside if _is_path(name) and beside.is_file() else find_document(name, kind)
        return str(path), read_text(path, str(path))

    return find


def read_plan(text: str, file: str, find: Find, most_trials: int | None = MOST_TRIALS) -> Plan:
    """Read the ``text`` of a plan; ``file`` is what faults call it. Raises SpecError with all its faults."""
    reading = _Reading(file, text, find)
    try:
        reading.form = parse_document(text, file, PlanForm, "study")
    except SpecError as error:
        head = reading.tree.child("photodrome")
        if head is not None and not (isinstance(head.value, str) and head.value.startswith("study ")):
            raise
        reading.faults += error.faults
    plan = reading.plan(most_trials)
    if plan is None or reading.faults:
        raise SpecError(list(dict.fromkeys(reading.faults)))
    return plan


def _is_path(name: str) -> bool:
    return "/" in name or "\\" in name or Path(name).suffix.lower() in (".yaml", ".yml")


class _Reading:
    """One plan on its way from the tree of its file, gathering faults.

    It goes by the tree and not by the form, so that a fault in one key hides none in another.
    """

    def __init__(self, file: str, text: str, find: Find) -> None:
        self.file, self.find = file, find
        self.tree = parse_marked(text, file)[0]
        self.form: PlanForm | None = None
        self.faults: list[Fault] = []
        self.known: dict[str, Parameter] = {}
        self.files: list[str] = []

    def fault(self, path: KeyPath, got: str, expected: str, near: str = "", at_key: bool = False) -> None:
        self.faults.append(fault_at(self.file, self.tree, path, got, expected, near, at_key))

    def plan(self, most_trials: int | None) -> Plan | None:
        """Return the plan, or None where there are faults enough to have none."""
        arenas = self._named("arenas", "arena", parse_arena)
        designs = self._named("designs", "design", parse_design)
        specs, models = [one for one, _ in arenas], [one for one, _ in designs]
        found = list(self._varied(models, specs))
        self._scores()
        marks = self._marks()
        form = self.form
        if form is None or self.faults:
            return None
        if WALKERS in form.vary and WALKERS in form.model_fields_set:
            self.fault((WALKERS,), "walkers beside walkers under vary", "only one of the two", at_key=True)
        if form.lasts is not None and "arena.lasts" in form.vary:
            self.fault(("lasts",), "lasts beside arena.lasts", "only one of the two", at_key=True)
        settings = self._settings(form, found, len(arenas) * len(designs))
        longest = max((form.lasts or spec.lasts for spec in specs), default=0.0)
        self._limit(form, settings, longest * mean_walkers(form.walkers, found), most_trials)
        if not self.faults:
            self._possible([one for one in found if not one[0].is_given], models, "design", _fits_design)
            self._possible([one for one in found if one[0].is_of_arena], specs, "arena", _fits_arena)
        parameters, ranges = tuple(one for one, _ in found), tuple(one for _, one in found)
        entrants = tuple(Entrant(design, text) for design, text in designs)
        files = tuple(self.files)
        return Plan(form, tuple(arenas), entrants, parameters, ranges, marks, settings, files)

    def _texts(self, key: str) -> list[tuple[KeyPath, str]]:
        """The texts of a list, with their paths, as far as they are sound."""
        node = self.tree.child(key)
        if node is None:
            return []
        if isinstance(node.value, str):
            return [((key,), part.strip()) for part in node.value.split(",") if part.strip()]
        return [
            ((key, index), one.value.strip())
            for index, one in node.children()
            if isinstance(one.value, str) and one.value
        ]

    def _named(self, key: str, kind: str, parse: Callable[[str, str], Any]) -> list[tuple[Any, str]]:
        """Read the files that a list names, as far as they can be had; each with its text."""
        texts = self._texts(key)
        read: list[tuple[Any, str]] = []
        names: dict[str, str] = {}
        given: set[str] = set()
        for path, name in texts:
            if name in given:
                self.fault(path, f"{name} a second time", f"each {kind} once")
                continue
            given.add(name)
            try:
                label, text = self.find(name, kind)
                self.files.append(label)
                spec = parse(text, label)
            except NotFoundError:
                self._missing(path, name, kind)
                continue
            except SpecError as error:
                self.faults += error.faults
                continue
            if spec.name in names:
                got = f"{name}, which like {names[spec.name]} is called {spec.name!r}"
                self.fault(path, got, f"{kind}s with names of their own")
            names.setdefault(spec.name, name)
            read.append((spec, text))
        return read

    def _missing(self, path: KeyPath, name: str, kind: str) -> None:
        if _is_path(name):
            expected = "the path of a file, from the folder of the plan or from the working folder"
            self.fault(path, f"{quote(name)}, where no file can be read", expected)
            return
        names = shipped_names(kind)
        others = [other for other in ("arena", "design", "study") if name in shipped_names(other)]
        got = quote(name) + "".join(f", the name of {with_article(other)}" for other in others)
        self.fault(path, got, f"one of {', '.join(names)}, or a path", nearest(name, names))

    def _varied(self, designs: Sequence[Design], arenas: Sequence[ArenaSpec]) -> Iterator[Varied]:
        """Yield what is varied, as far as it is right."""
        node = self.tree.child("vary")
        entries = list(node.children()) if node and isinstance(node.value, dict) else []
        if len(entries) > MOST_VARIED:
            self.fault(("vary",), f"{len(entries)} values varied", f"at most {MOST_VARIED}", at_key=True)
            return
        taken: dict[tuple[int, KeyPath], str] = {}
        for key, below in entries:
            path, value = str(key), below.plain()
            if (
                value == ""
                or not isinstance(value, str | list)
                or not all(isinstance(one, str) for one in value)
            ):
                # the form has told of it
                continue
            # where what it is about cannot be read, nothing can be said about the path
            if {"design": designs, "arena": arenas}.get(path.partition(".")[0], True) == []:
                continue
            try:
                text = value if isinstance(value, str) else ", ".join(value)
                parameter = parameter_at(path, designs, arenas, text)
            except KeyedError as error:
                self.fault(("vary", path), error.got, error.expected, error.near, at_key=True)
                continue
            if path == "arena.starts.zone.number":
                expected = f"{WALKERS}, which is how many share the arena in a trial"
                self.fault(("vary", path), path, expected, at_key=True)
                continue
            self.known[path] = parameter
            sets = places_set(path, designs, arenas)
            if twice := sorted({taken[one] for one in sets if one in taken}):
                got = f"{path}, which sets what {' and '.join(twice)} sets"
                self.fault(("vary", path), got, "each value varied once", at_key=True)
            taken |= dict.fromkeys(sets, path)
            try:
                values = read_range(value, parameter)
            except KeyedErrors as errors:
                for one in errors.errors:
                    self.fault(("vary", path, *one.path), one.got, one.expected, one.near)
                continue
            if isinstance(values, Levels) and None in values.values:
                self.known[path] = parameter = replace(parameter, is_ordered=False)
            yield parameter, values

    def _scores(self) -> None:
        given: set[str] = set()
        for path, name in self._texts("scores"):
            if name not in SCORES:
                self.fault(path, quote(name), f"one of {', '.join(SCORES)}", nearest(name, SCORES))
            elif name in given:
                self.fault(path, f"{name} a second time", "each score once")
            given.add(name)

    def _marks(self) -> dict[str, dict[str, Any]]:
        marks: dict[str, dict[str, Any]] = {}
        node, vary = self.tree.child("marks"), self.tree.child("vary")
        varied = [str(key) for key, _ in vary.children()] if vary else []
        for path, below in node.children() if node and isinstance(node.value, dict) else ():
            parameter = self.known.get(str(path))
            if parameter is None:
                if path not in varied:
                    near = nearest(str(path), varied)
                    got, expected = "a path that is not varied", "one of those under vary"
                    self.fault(("marks", str(path)), got, expected, near, at_key=True)
                continue
            if not parameter.is_ordered:
                got, expected = (
                    f"{path}, whose values are not all numbers",
                    "a path whose values make an axis",
                )
                self.fault(("marks", str(path)), got, expected, at_key=True)
                continue
            for name, value in below.children():
                if isinstance(value.value, str) and isinstance(name, str):
                    try:
                        marks.setdefault(str(path), {})[name] = parameter.reader.read(value.value)
                    except QuantityError as error:
                        self.fault(("marks", str(path), name), error.got, error.expected, error.near)
        return marks

    def _settings(self, form: PlanForm, found: Sequence[Varied], owners: int) -> int:
        """Return the number of settings."""
        if form.sampling in DRAWN:
            if not found and owners == 1:
                self.fault(("sampling",), f"{form.sampling} with nothing to vary", "something under vary")
            if form.settings is None:
                self.fault(("settings",), "nothing", "how many are to be drawn, like settings: 256")
            elif form.settings > MOST_DRAWN:
                got = f"{form.settings:,} settings"
                self.fault(("settings",), got, f"at most {MOST_DRAWN:,} that are drawn")
            return form.settings or 1
        if form.settings is not None:
            got = "settings beside a grid, which has one for every combination"
            self.fault(("settings",), got, f"sampling: {', '.join(DRAWN)}; or no settings", at_key=True)
        for parameter, values in found:
            if isinstance(values, Span):
                ends = f"{parameter.exact(values.low)}..{parameter.exact(values.high)}"
                expected = f"{ends} in 5{' by ratio' if values.by_ratio else ''}; or sampling: sobol"
                got = f"{ends} without a number of values, in a grid"
                self.fault(("vary", parameter.path), got, expected)
        return owners * math.prod(len(one.values) for _, one in found if isinstance(one, Levels))

    def _limit(self, form: PlanForm, settings: int, walked: float, most: int | None) -> None:
        trials = settings * form.repeats
        if most is None or trials <= most:
            return
        took = time_text(typical_time(trials, walked))
        sizes = f"{counted(settings, 'setting')}, {counted(form.repeats, 'repeat')}"
        got = f"{counted(trials, 'trial')} ({sizes}), about {took} here"
        key = "repeats" if form.repeats >= settings else "settings" if form.settings else "vary"
        self.fault((key,), got, f"at most {most:,} trials", at_key=True)

    def _possible(
        self,
        found: Sequence[Varied],
        owners: Sequence[Any],
        kind: str,
        fits: Callable[[Any, Mapping[Parameter, Any]], str],
    ) -> None:
        """Report each value that makes no design, or no arena, whatever the other values are.

        That is tried out for as many values as can be tried in a moment; what is left over shows in the
        results as impossible.
        """
        for number, (parameter, values) in enumerate(found):
            others = [one for index, one in enumerate(found) if index != number]
            choices = [_some(one) for _, one in others]
            # between the ends of a span there may be a way that no trying finds
            is_sure = all(isinstance(one, Levels) for _, one in others)
            is_sure = is_sure and math.prod(len(one) for one in choices) <= _MOST_COMBINED
            some = _some(values)
            # of very many, as many as can be tried, and the last one
            for index in sorted({*range(0, len(some), len(some) // _MOST_TRIED + 1), len(some) - 1}):
                value = some[index]
                reasons = [fits(owner, {parameter: value}) for owner in owners]
                if not all(reasons) or not is_sure:
                    continue
                combined = (
                    {parameter: value, **dict(zip((one for one, _ in others), choice, strict=True))}
                    for choice in product(*choices)
                )
                if others and not all(fits(owner, one) for one in combined for owner in owners):
                    continue
                is_item = isinstance(values, Levels) and isinstance(
                    getattr(self.tree.child("vary"), "value", {})[parameter.path].value, list
                )
                place = ("vary", parameter.path, index) if is_item else ("vary", parameter.path)
                got = f"{parameter.show(value)}, which makes no {kind} ({reasons[0]})"
                self.fault(place, got, "values with which there can be one")
                break


def mean_walkers(walkers: int, varied: Sequence[Varied]) -> float:
    """How many walkers share the arena in a trial, in the mean of what is ``varied``."""
    lists = [one.values for parameter, one in varied if parameter.path == WALKERS and isinstance(one, Levels)]
    return sum(lists[0]) / len(lists[0]) if lists else float(walkers)


def _some(values: Levels | Span) -> Sequence[Any]:
    return values.values if isinstance(values, Levels) else (values.low, values.at(0.5), values.high)


def _fits_design(design: Design, values: Mapping[Parameter, Any]) -> str:
    """Return why the values make no design, or empty text."""
    try:
        values_into_design(design, {one.path: one.put(value) for one, value in values.items()})
    except InputError as error:
        return str(error)
    return ""


def _fits_arena(spec: ArenaSpec, values: Mapping[Parameter, Any]) -> str:
    """Return why the values make no arena, or empty text."""
    try:
        values_into_arena(spec, {one.path: value for one, value in values.items()})
    except InputError as error:
        return str(error)
    return ""
