"""Reading a plan: its file, the arenas and designs that it names, and the values that it varies.

Everything is reported at once, each fault at its line; the faults of a named arena or design at theirs.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from agents.design.spec import Design, both_sides
from agents.errors import Fault, NotFoundError, SpecError, nearest
from agents.text.keyed_errors import KeyedError, KeyedErrors, UnreadError
from agents.text.marked_yaml import KeyPath, Node, no_file_there, read_text
from agents.text.readers import QuantityError, quote, with_article
from agents.text.shipped import find_document, shipped_names
from agents.text.spec_reading import Parts, fault_at, parse_parts
from arena.scene.contest import Entrant
from arena.scene.spec import ArenaSpec
from arena.studies.plans.impossible_values import (
    Varied,
    Work,
    fits_arena,
    fits_design,
    impossible_values,
    some_of,
)
from arena.studies.plans.parameters import (
    WALKERS,
    Parameter,
    parameter_at,
    places_set,
)
from arena.studies.plans.plan_form import (
    MOST_NAMED,
    MOST_SCORES,
    MOST_TRIALS,
    MOST_VARIED,
    PlanForm,
    counted,
    time_text,
    typical_time,
)
from arena.studies.plans.ranges import Levels, Span, read_range
from arena.studies.plans.sampling import DRAWN, MOST_DRAWN
from arena.studies.trial_scores import SCORES

Find = Callable[[str, str], tuple[str, str]]
"""Gives name and text of the file of a design or arena (second argument) that a plan names (first).

Raises NotFoundError, and SpecError where the file holds no text.
"""


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
        path = beside if _is_path(name) and not no_file_there(beside) else find_document(name, kind)
        return str(path), read_text(path, str(path))

    return find


def read_plan(text: str, file: str, find: Find, most_trials: int | None = MOST_TRIALS) -> Plan:
    """Read the ``text`` of a plan; ``file`` is what faults call it. Raises SpecError with all its faults."""
    reading = _Reading(file, parse_parts(text, file, PlanForm, "study"), find)
    plan = reading.plan(most_trials)
    if plan is None:
        raise SpecError(dict.fromkeys(reading.faults), reading.more)
    return plan


def _is_path(name: str) -> bool:
    return "/" in name or "\\" in name or Path(name).suffix.lower() in (".yaml", ".yml")


@dataclass(frozen=True)
class _Named:
    """A file that a plan names, as far as it could be read, with its text and the number of its values."""

    spec: Any
    text: str
    label: str
    is_sound: bool
    size: int


class _Reading:
    """One plan on its way from the parts of its file, gathering faults.

    It goes by the tree where it can, so that a fault in one key hides none in another.
    """

    def __init__(self, file: str, parts: Parts, find: Find) -> None:
        self.file, self.find = file, find
        self.tree, self.form = parts.tree, parts.spec
        self.faults, self.more = list(parts.faults), parts.more
        self.known: dict[str, Parameter] = {}
        # whether all that is named, and varied, of designs and of arenas is known and can be read
        self.is_sound = {"design": True, "arena": True}
        self.work = Work()

    def fault(self, path: KeyPath, got: str, expected: str, near: str = "", at_key: bool = False) -> None:
        self.faults.append(fault_at(self.file, self.tree, path, got, expected, near, at_key))

    def plan(self, most_trials: int | None) -> Plan | None:
        """Return the plan, or None where there are faults enough to have none."""
        arenas = self._named("arenas", "arena", ArenaSpec)
        designs = self._named("designs", "design", Design, both_sides)
        found = list(self._varied([one.spec for one in designs], [one.spec for one in arenas]))
        self._scores()
        marks = self._marks()
        with suppress(UnreadError):
            if self.form.is_given("lasts") and "arena.lasts" in self.form.vary:
                self.fault(("lasts",), "lasts beside arena.lasts", "only one of the two", at_key=True)
        with suppress(UnreadError):
            if WALKERS in self.form.vary and WALKERS in self.form.model_fields_set:
                got = "walkers beside walkers under vary"
                self.fault((WALKERS,), got, "only one of the two", at_key=True)
        settings = 0
        with suppress(UnreadError):
            settings = self._settings(self.form, found, len(arenas) * len(designs))
            if all(self.is_sound.values()):
                longest = max((self.form.lasts or one.spec.lasts for one in arenas), default=0.0)
                walkers = mean_walkers(self.form.walkers, found)
                self._limit(self.form, settings, longest * walkers, most_trials)
        self._possible([one for one in found if not one[0].is_given], designs, "design")
        self._possible([one for one in found if one[0].is_of_arena], arenas, "arena")
        if self.faults:
            return None
        return Plan(
            self.form,
            tuple((one.spec, one.text) for one in arenas),
            tuple(Entrant(one.spec, one.text) for one in designs),
            tuple(one for one, _ in found),
            tuple(one for _, one in found),
            marks,
            settings,
            tuple(one.label for one in (*arenas, *designs)),
        )

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

    def _named(
        self, key: str, kind: str, model: type[BaseModel], prepare: Callable[[Node], Node] | None = None
    ) -> list[_Named]:
        """Read the files that a list names, as far as they can be had."""
        texts = self._texts(key)
        if len(texts) > MOST_NAMED:
            # the form has told of it
            self.is_sound[kind] = False
            return []
        read: list[_Named] = []
        names: dict[str, str] = {}
        given: set[str] = set()
        for path, name in texts:
            if name in given:
                self.fault(path, f"{name} a second time", f"each {kind} once")
                continue
            given.add(name)
            try:
                label, text = self.find(name, kind)
                parts = parse_parts(text, label, model, kind, prepare)
            except NotFoundError as error:
                self._missing(path, name, kind, str(error))
                self.is_sound[kind] = False
                continue
            except SpecError as error:
                self._take(error.faults, error.more, kind)
                continue
            self._take(parts.faults, parts.more, kind)
            with suppress(UnreadError):
                own = parts.spec.name
                if own in names:
                    got = f"{name}, which like {names[own]} is called {own!r}"
                    self.fault(path, got, f"{kind}s with names of their own")
                names.setdefault(own, name)
            read.append(_Named(parts.spec, text, label, parts.is_sound, parts.tree.size))
        return read

    def _take(self, faults: Sequence[Fault], more: int, kind: str) -> None:
        """Take over the faults of a named file."""
        self.faults += faults
        self.more += more
        self.is_sound[kind] &= not faults

    def _missing(self, path: KeyPath, name: str, kind: str, why: str) -> None:
        if _is_path(name):
            expected = "the path of a file, from the folder of the plan or from the working folder"
            what = next((one for one in ("a folder", "no ordinary file") if f"is {one}" in why), "")
            got = f"{quote(name)}, which is {what}" if what else f"{quote(name)}, where no file can be read"
            self.fault(path, got, expected)
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
                self.is_sound = dict.fromkeys(self.is_sound, False)
                continue
            head = path.partition(".")[0]
            # where what it is about cannot be read, nothing can be said about the path
            if {"design": designs, "arena": arenas}.get(head, True) == []:
                continue
            try:
                text = value if isinstance(value, str) else ", ".join(value)
                parameter = parameter_at(path, designs, arenas, text)
                sets = places_set(path, designs, arenas)
            except UnreadError:
                continue
            except KeyedError as error:
                self.is_sound[head if head == "arena" else "design"] = False
                self.fault(("vary", path), error.got, error.expected, error.near, at_key=True)
                continue
            if path == "arena.starts.zone.number":
                expected = f"{WALKERS}, which is how many share the arena in a trial"
                self.fault(("vary", path), path, expected, at_key=True)
                continue
            self.known[path] = parameter
            if twice := sorted({taken[one] for one in sets if one in taken}):
                got = f"{path}, which sets what {' and '.join(twice)} sets"
                self.fault(("vary", path), got, "each value varied once", at_key=True)
            taken |= dict.fromkeys(sets, path)
            try:
                values = read_range(value, parameter)
            except KeyedErrors as errors:
                self.is_sound[head] = False
                for one in errors.errors:
                    self.fault(("vary", path, *one.path), one.got, one.expected, one.near)
                continue
            if isinstance(values, Levels) and None in values.values:
                self.known[path] = parameter = replace(parameter, is_ordered=False)
            yield parameter, values

    def _scores(self) -> None:
        given: set[str] = set()
        for path, name in self._texts("scores")[:MOST_SCORES]:
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

    def _possible(self, found: Sequence[Varied], owners: Sequence[_Named], kind: str) -> None:
        """Report values that make no design, or no arena, whatever the other values are."""
        if not (owners and self.is_sound[kind]):
            return
        fits = fits_design if kind == "design" else fits_arena
        specs = [(one.spec, one.size) for one in owners]
        for parameter, index, reason in impossible_values(found, specs, fits, self.work):
            node = self.tree.child("vary")
            below = node.child(parameter.path) if node else None
            is_item = below is not None and isinstance(below.value, list)
            place = ("vary", parameter.path, index) if is_item else ("vary", parameter.path)
            values = next(one for other, one in found if other is parameter)
            shown = parameter.show(some_of(values)[index])
            got = f"{shown}, which makes no {kind} ({reason})"
            self.fault(place, got, "values with which there can be one")


def mean_walkers(walkers: int, varied: Sequence[Varied]) -> float:
    """How many walkers share the arena in a trial, in the mean of what is ``varied``."""
    lists = [one.values for parameter, one in varied if parameter.path == WALKERS and isinstance(one, Levels)]
    return sum(lists[0]) / len(lists[0]) if lists else float(walkers)
