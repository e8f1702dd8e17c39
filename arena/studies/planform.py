"""Reading a plan: its file, the arenas and designs that it names, and the values that it varies.

Everything is reported at once, each fault at its line; the faults of a named arena or design at theirs.
"""

import difflib
import math
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from agents.design import Design, parse_design
from agents.documents import BaseSpec, KeyedError, KeyedErrors, KeyPath, Node, fault_at, parse_document
from agents.errors import Fault, NotFoundError, SpecError
from agents.marked import load_marked, parse_marked
from agents.quantities import Number, Quantity, QuantityError, Word, quote
from agents.readers import Reader, sort_of
from agents.shipped import find_document
from arena.contest import Entrant
from arena.parts import MOST_WALKERS
from arena.spec import ArenaSpec, parse_arena
from arena.studies.paths import Parameter, parameter_at, places_set
from arena.studies.ranges import Levels, Span, read_range
from arena.studies.sampling import DRAWN, MOST_DRAWN, SAMPLINGS
from arena.studies.scores import SCORES

# A study of more trials than this takes longer than anybody waits.
MOST_TRIALS = 10_000_000
# What one core simulates in a second of its time [s]: a typical arena, one walker, from a warm cache.
TYPICAL_SPEED = 1e6

Find = Callable[[str, str], tuple[str, str]]
"""Gives name and text of the file of a design or arena (second argument) that a plan names (first)."""


@dataclass(frozen=True)
class Listing(Reader):
    """Several words or names, as a list of YAML or with commas between them; gives a tuple of text."""

    noun: str = "names"

    @property
    def expected(self) -> str:
        return f"a list of {self.noun}"

    @property
    def may_be_long(self) -> bool:
        return True

    def parse(self, text: str) -> tuple[str, ...]:
        """Return what stands between the commas."""
        return self.check([part.strip() for part in text.split(",")])

    def check(self, value: Any) -> tuple[str, ...]:
        if not isinstance(value, list | tuple) or not value or not all(isinstance(one, str) for one in value):
            raise QuantityError("an empty list" if value == [] else sort_of(value), self.expected)
        if not all(value):
            raise QuantityError("nothing between commas", self.expected)
        return tuple(value)

    def show(self, value: Any) -> str:
        return ", ".join(value)


@dataclass(frozen=True)
class Values(Reader):
    """Text of the values of one parameter, or a list of them; its parameter alone can read it."""

    @property
    def expected(self) -> str:
        return "values with commas between them, or a range like E12 10k..100k or 20 mm..80 mm in 4"

    @property
    def may_be_long(self) -> bool:
        return True

    def parse(self, text: str) -> str:
        """Return the text."""
        if not text:
            raise self._refuse(text)
        return text

    def check(self, value: Any) -> tuple[str, ...]:
        if not isinstance(value, list | tuple) or not all(isinstance(one, str) for one in value):
            raise QuantityError(sort_of(value), self.expected)
        return tuple(value)

    def show(self, value: Any) -> str:
        return value if isinstance(value, str) else ", ".join(value)


class PlanForm(BaseSpec):
    """A plan, as in ``configs/studies/*.yaml``, its keys right one by one."""

    name: str = Field(description="name of the study, as tables and plots show it")
    about: str | None = Field(None, description="the question that it is to answer")
    arenas: Annotated[tuple[str, ...], Listing("arenas")] = Field(
        description="arenas, each by the name of a shipped one or by a path"
    )
    designs: Annotated[tuple[str, ...], Listing("designs")] = Field(
        description="designs, each by the name of a shipped one or by a path"
    )
    vary: dict[str, Annotated[str | tuple[str, ...], Values()]] = Field(
        default_factory=dict, description="values to be tried, by the path of a parameter"
    )
    sampling: Annotated[str, Word(SAMPLINGS)] = Field(
        "grid", description="whether every combination is tried, or some that are drawn"
    )
    settings: Annotated[int, Number(whole=True, least=1)] | None = Field(
        None, description="how many settings are drawn"
    )
    repeats: Annotated[int, Number(whole=True, least=1)] = Field(
        100, description="trials of each setting; repeat for repeat they have the same luck"
    )
    walkers: Annotated[int, Number(whole=True, least=1, most=MOST_WALKERS)] = Field(
        1, description="built copies of the design that share the arena in a trial"
    )
    lasts: Annotated[float, Quantity("s", above=0.0, most=1e6)] | None = Field(
        None, description="how long a trial lasts; none: as long as the arena says"
    )
    seed: Annotated[int, Number(whole=True, least=0, most=2**63 - 1)] = Field(
        1, description="keys every draw of the study"
    )
    scores: Annotated[tuple[str, ...], Listing("scores")] = Field(
        ("reached",), description="scores to be told, the main one first"
    )
    marks: dict[str, dict[str, str]] = Field(
        default_factory=dict, description="lines for the plots: by path, names with their values"
    )
    budget: Annotated[int, Number(whole=True, least=1, most=MOST_TRIALS)] = Field(
        5000, description="trials that a search for the best design may spend"
    )


@dataclass(frozen=True)
class Plan:
    """A plan whose every part is right, with all that it names."""

    form: PlanForm
    arenas: tuple[tuple[ArenaSpec, str], ...]
    designs: tuple[Entrant, ...]
    parameters: tuple[Parameter, ...]
    ranges: tuple[Levels | Span, ...]
    marks: Mapping[str, Mapping[str, Any]]
    settings: int


def files_beside(folder: Path) -> Find:
    """Return a finder of shipped files by their names, and of others by path.

    A path is relative to ``folder``, or where nothing is there, to the working folder.
    """

    def find(name: str, kind: str) -> tuple[str, str]:
        beside = folder / name
        path = beside if Path(name).suffix and beside.is_file() else find_document(name, kind)
        try:
            return str(path), path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError):
            # tells it as for every other file
            load_marked(path, str(path))
            raise

    return find


def read_plan(text: str, file: str, find: Find, most_trials: int | None = MOST_TRIALS) -> Plan:
    """Read the ``text`` of a plan; ``file`` is what faults call it. Raises SpecError with all its faults."""
    reading = _Reading(file, parse_marked(text, file)[0], find)
    try:
        reading.form = parse_document(text, file, PlanForm, "study")
    except SpecError as error:
        head = reading.tree.child("photodrome")
        if head is None or not isinstance(head.value, str) or not head.value.startswith("study "):
            raise
        reading.faults += error.faults
    plan = reading.plan(most_trials)
    if plan is None or reading.faults:
        raise SpecError(list(dict.fromkeys(reading.faults)))
    return plan


def time_text(seconds: float) -> str:
    """Tell a time [s] in the unit that suits it."""
    for unit, length in (("years", 31557600.0), ("days", 86400.0), ("hours", 3600.0), ("minutes", 60.0)):
        if seconds >= 2.0 * length:
            return f"{float(f'{seconds / length:.2g}'):,.0f} {unit}"
    return f"{max(seconds, 1.0):.0f} s"


def typical_time(trials: int, walkers: int, lasts: float) -> float:
    """Return the time [s] that so many trials typically take here, on all cores."""
    return trials * walkers * lasts / (TYPICAL_SPEED * (os.cpu_count() or 1))


class _Reading:
    """One plan on its way from the tree of its file, gathering faults."""

    def __init__(self, file: str, tree: Node, find: Find) -> None:
        self.file, self.tree, self.find = file, tree, find
        self.form: PlanForm | None = None
        self.faults: list[Fault] = []

    def fault(self, path: KeyPath, got: str, expected: str, near: str = "", at_key: bool = False) -> None:
        self.faults.append(fault_at(self.file, self.tree, path, got, expected, near, at_key))

    def plan(self, most_trials: int | None) -> Plan | None:
        """Return the plan, or None where there are faults enough to have none."""
        arenas = self._named("arenas", "arena", parse_arena)
        designs = self._named("designs", "design", parse_design)
        found = list(self._varied([one for one, _ in designs or ()], [one for one, _ in arenas or ()]))
        self._scores()
        marks = self._marks({parameter.path: parameter for parameter, _ in found})
        form = self.form
        if form is None or self.faults:
            return None
        assert arenas is not None and designs is not None
        parameters, ranges = tuple(one for one, _ in found), tuple(one for _, one in found)
        if form.lasts is not None and "arena.lasts" in form.vary:
            self.fault(("lasts",), "lasts beside arena.lasts", "only one of the two", at_key=True)
        settings = self._settings(form, parameters, ranges, len(arenas) * len(designs))
        longest = form.lasts or max(spec.lasts for spec, _ in arenas)
        trials = settings * form.repeats
        if most_trials is not None and trials > most_trials:
            took = time_text(typical_time(trials, form.walkers, longest))
            got = f"{trials:,} trials ({settings:,} settings, {form.repeats:,} repeats), about {took} here"
            self.fault(
                ("vary",) if form.vary else ("repeats",), got, f"at most {most_trials:,} trials", at_key=True
            )
        if self.faults:
            return None
        entrants = tuple(Entrant(design, text) for design, text in designs)
        return Plan(form, tuple(arenas), entrants, parameters, ranges, marks, settings)

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

    def _named(self, key: str, kind: str, parse: Callable[[str, str], Any]) -> list[tuple[Any, str]] | None:
        """Read the files that a list names; None where one of them cannot be had."""
        texts = self._texts(key)
        read: list[tuple[Any, str]] = []
        names: dict[str, str] = {}
        given: set[str] = set()
        complete = bool(texts)
        for path, name in texts:
            if name in given:
                self.fault(path, f"{name} a second time", f"each {kind} once")
                continue
            given.add(name)
            try:
                label, text = self.find(name, kind)
                spec = parse(text, label)
            except NotFoundError as error:
                self.fault(path, str(error), f"the name of a shipped {kind}, or the path of a file")
                complete = False
                continue
            except SpecError as error:
                self.faults += error.faults
                complete = False
                continue
            if spec.name in names:
                got = f"{name}, which like {names[spec.name]} is called {spec.name!r}"
                self.fault(path, got, f"{kind}s with names of their own")
            names.setdefault(spec.name, name)
            read.append((spec, text))
        return read if complete else None

    def _varied(
        self, designs: Sequence[Design], arenas: Sequence[ArenaSpec]
    ) -> Iterator[tuple[Parameter, Levels | Span]]:
        node = self.tree.child("vary")
        taken: dict[tuple[int, KeyPath], str] = {}
        for path, below in node.children() if node and isinstance(node.value, dict) else ():
            value = below.plain()
            head = str(path).partition(".")[0]
            if not isinstance(value, str | list) or not all(isinstance(one, str) for one in value):
                continue
            # where what it is about cannot be read, nothing can be said about the path
            if (head == "design" and not designs) or (head == "arena" and not arenas):
                continue
            place = ("vary", str(path))
            text = value if isinstance(value, str) else ", ".join(value)
            try:
                parameter = parameter_at(str(path), designs, arenas, text)
            except KeyedError as error:
                self.fault(place, error.got, error.expected, error.near, at_key=True)
                continue
            sets = places_set(parameter.path, designs, arenas)
            if twice := next((taken[one] for one in sets if one in taken), None):
                got = f"{path}, which sets what {twice} sets"
                self.fault(place, got, "each value varied once", at_key=True)
            taken |= dict.fromkeys(sets, str(path))
            try:
                values = read_range(value, parameter)
            except KeyedErrors as errors:
                for one in errors.errors:
                    self.fault((*place, *one.path), one.got, one.expected, one.near)
                continue
            if isinstance(values, Levels) and None in values.values:
                parameter = replace(parameter, is_ordered=False)
            yield parameter, values

    def _scores(self) -> None:
        given: set[str] = set()
        for path, name in self._texts("scores"):
            if name not in SCORES:
                near = difflib.get_close_matches(name, SCORES, n=1)
                self.fault(path, quote(name), f"one of {', '.join(SCORES)}", near[0] if near else "")
            elif name in given:
                self.fault(path, f"{name} a second time", "each score once")
            given.add(name)

    def _marks(self, parameters: Mapping[str, Parameter]) -> dict[str, dict[str, Any]]:
        marks: dict[str, dict[str, Any]] = {}
        node = self.tree.child("marks")
        vary = self.tree.child("vary")
        varied = [str(key) for key, _ in vary.children()] if vary else []
        for path, below in node.children() if node and isinstance(node.value, dict) else ():
            parameter = parameters.get(str(path))
            if parameter is None:
                if path not in varied:
                    near = difflib.get_close_matches(str(path), varied, n=1)
                    got, expected = "a path that is not varied", "one of those under vary"
                    self.fault(("marks", str(path)), got, expected, near[0] if near else "", at_key=True)
                continue
            for name, value in below.children():
                if isinstance(value.value, str) and isinstance(name, str):
                    try:
                        marks.setdefault(str(path), {})[name] = parameter.reader.read(value.value)
                    except QuantityError as error:
                        self.fault(("marks", str(path), name), error.got, error.expected, error.near)
        return marks

    def _settings(
        self, form: PlanForm, parameters: Sequence[Parameter], ranges: Sequence[Levels | Span], owners: int
    ) -> int:
        """Return the number of settings."""
        if form.sampling in DRAWN:
            if not parameters and owners == 1:
                self.fault(("sampling",), f"{form.sampling} with nothing to vary", "something under vary")
            if form.settings is None:
                expected = "how many are to be drawn, like settings: 256"
                self.fault(("settings",), "nothing", expected)
            elif form.settings > MOST_DRAWN:
                self.fault(("settings",), f"{form.settings:,}", f"at most {MOST_DRAWN:,} that are drawn")
            return form.settings or 1
        if form.settings is not None:
            got = "settings beside a grid, which has a setting for every combination"
            self.fault(("settings",), got, f"sampling: {', '.join(DRAWN)}; or no settings", at_key=True)
        for parameter, values in zip(parameters, ranges, strict=True):
            if isinstance(values, Span):
                low, high = parameter.exact(values.low), parameter.exact(values.high)
                got = f"{low}..{high} without a number of steps, in a grid"
                ratio = " by ratio" if values.by_ratio else ""
                expected = f"a number of steps, like {low}..{high} in 5{ratio}; or sampling: sobol"
                self.fault(("vary", parameter.path), got, expected)
        return owners * math.prod(len(one.values) for one in ranges if isinstance(one, Levels))
