"""A study: what a plan comes to, setting by setting, without ever listing them all.

Settings are numbered from 0. In a grid the arena turns slowest, then the design, then the parameters in the
order of the plan, the last one fastest. Trial t is repeat t mod R of setting t // R, where R is the number of
repeats.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from agents.arrays import FloatArray
from agents.design.spec import Design
from agents.errors import InputError, NotFoundError
from agents.text.marked_yaml import read_text
from agents.text.readers import Word
from agents.text.shipped import find_document
from agents.text.spec_reading import LONGEST_NAME
from arena.scene.contest import Entrant
from arena.scene.spec import ArenaSpec
from arena.studies.plans.parameters import WALKERS, Parameter, values_into_arena, values_into_design
from arena.studies.plans.plan_form import MOST_TRIALS, counted, time_text, typical_time
from arena.studies.plans.plan_reading import Find, Plan, files_beside, mean_walkers, read_plan
from arena.studies.plans.ranges import Levels, Span, range_text
from arena.studies.plans.sampling import drawn_shares, grid_number, grid_place
from arena.studies.plans.winner_text import text_with_values

# Arenas and designs that are kept, since the settings of a study share them and checking them takes long.
_KEPT = 256
# Trials that a column of whole numbers can number.
_MOST_NUMBERED = 2**63


class _AsItIs:
    """What stands for a value that a design keeps as its file has it."""

    def __repr__(self) -> str:
        return "as it is"


AS_IT_IS = _AsItIs()
"""The value of a parameter in a setting that leaves it as the design's file has it."""


@dataclass(frozen=True)
class Setting:
    """One choice of everything that a study varies.

    ``arena`` and ``design`` are indices into the study's, ``values`` the SI values of its parameters in their
    order. ``number`` is -1 for one that the study itself does not try.
    """

    number: int
    arena: int
    design: int
    values: tuple[Any, ...]


class Study:
    """What a plan comes to.

    ``settings`` is their number S, ``repeats`` R, ``trials`` S R. ``seconds`` [s] a trial lasts, or None for
    as long as its arena says; ``walkers`` share its floor at the most. ``factors`` are what distinguishes
    settings: the arena and the design where several are named, then the parameters. ``marks`` holds SI
    values by name by path. A study can be pickled.
    """

    def __init__(self, plan: Plan, text: str, file: str) -> None:
        form = plan.form
        self.plan, self.text, self.file = plan, text, file
        self.name, self.about = form.name, form.about or ""
        self.arenas: tuple[tuple[ArenaSpec, str], ...] = plan.arenas
        self.designs: tuple[Entrant, ...] = plan.designs
        self.parameters: tuple[Parameter, ...] = plan.parameters
        self.ranges: tuple[Levels | Span, ...] = plan.ranges
        self.settings, self.repeats = plan.settings, form.repeats
        self.trials = self.settings * self.repeats
        self.seconds, self.seed = form.lasts, form.seed
        self._number_at = next(
            (number for number, one in enumerate(plan.parameters) if one.path == WALKERS), None
        )
        self.walkers = form.walkers
        if self._number_at is not None:
            numbers = plan.ranges[self._number_at]
            assert isinstance(numbers, Levels)
            self.walkers = max(numbers.values)
        self.sampling, self.scores, self.budget = form.sampling, form.scores, form.budget
        self.marks: Mapping[str, Mapping[str, Any]] = plan.marks
        self.says_budget = "budget" in form.model_fields_set
        names = tuple(spec.name for spec, _ in self.arenas), tuple(one.design.name for one in self.designs)
        self.factors: tuple[Parameter, ...] = (
            *(
                Parameter(what, Word(one), is_ordered=False)
                for what, one in zip(("arena", "design"), names, strict=True)
                if len(one) > 1
            ),
            *self.parameters,
        )
        self._names = names
        self._arena_at = lru_cache(_KEPT)(self._make_arena)
        self._design_at = lru_cache(_KEPT)(self._make_design)

    def __reduce__(self) -> tuple[Any, ...]:
        return Study.from_payload, (self.payload(),)

    @property
    def _counts(self) -> list[int]:
        """Levels of each axis of the grid: arenas, designs, parameters."""
        levels = [len(one.values) for one in self.ranges if isinstance(one, Levels)]
        return [len(self.arenas), len(self.designs), *levels]

    @cached_property
    def _shares(self) -> FloatArray:
        """Drawn shares, (settings, axes), for arena and design too where there are several."""
        owners = sum(len(one) > 1 for one in (self.arenas, self.designs))
        return drawn_shares(self.sampling, self.settings, owners + len(self.ranges), self.seed)

    def setting(self, number: int) -> Setting:
        """Return setting ``number``, 0 to ``settings`` - 1. Raises IndexError outside of that."""
        if not 0 <= number < self.settings:
            raise IndexError(f"setting {number} of {self.settings}")
        if self.sampling == "grid":
            arena, design, *levels = grid_place(number, self._counts)
            values = (
                one.values[level]
                for one, level in zip(self.ranges, levels, strict=True)
                if isinstance(one, Levels)
            )
            return Setting(number, arena, design, tuple(values))
        shares = [float(share) for share in self._shares[number]]
        owners = [Levels(tuple(range(len(one)))) for one in (self.arenas, self.designs)]
        arena, design = (one.at(shares.pop(0)) if len(one.values) > 1 else 0 for one in owners)
        values = (one.at(share) for one, share in zip(self.ranges, shares, strict=True))
        return Setting(number, arena, design, tuple(values))

    def setting_of(self, values: Sequence[Any], arena: int = 0, design: int = 0) -> Setting:
        """Return the setting with these values, each one of the parameter's levels, or within its span.

        Its number is that of the whole grid of levels, or -1 where a parameter has a span, or the grid is too
        large for its trials to be numbered. Raises ValueError for a value that the plan does not allow.
        """
        levels = []
        for parameter, allowed, value in zip(self.parameters, self.ranges, values, strict=True):
            if isinstance(allowed, Levels):
                if value not in allowed.values:
                    raise ValueError(f"{parameter.path}: {value!r} is none of the plan's values")
                levels.append(allowed.values.index(value))
            elif not allowed.low <= value <= allowed.high:
                raise ValueError(f"{parameter.path}: {value!r} is outside of the plan's range")
        whole = len(levels) == len(self.ranges)
        number = grid_number((arena, design, *levels), self._counts) if whole else -1
        if number >= _MOST_NUMBERED // self.repeats:
            number = -1
        return Setting(number, arena, design, tuple(values))

    def factor_values(self, setting: Setting) -> tuple[Any, ...]:
        """Return the value of each of ``factors``: names of arena and design, SI values."""
        owners = zip(self._names, (setting.arena, setting.design), strict=True)
        return (*(names[index] for names, index in owners if len(names) > 1), *setting.values)

    def arena_key(self, setting: Setting) -> tuple[Any, ...]:
        """Return what tells one arena of the study from another: its index and its varied values."""
        return (setting.arena, *self._values(setting, of_arena=True))

    def arena_of(self, setting: Setting) -> ArenaSpec:
        """Return the arena of a setting, the same object for the same one as long as it is kept.

        Raises InputError with the reason where the values make no arena.
        """
        made = self._arena_at(setting.arena, self._values(setting, of_arena=True))
        if isinstance(made, str):
            raise InputError(made)
        return made

    def design_of(self, setting: Setting) -> Design:
        """Return the design of a setting, as :meth:`arena_of` does its arena."""
        made = self._design_at(setting.design, self._values(setting, of_arena=False))
        if isinstance(made, str):
            raise InputError(made)
        return made

    def walkers_of(self, setting: Setting) -> int:
        """Return how many walkers share the arena in a trial of a setting."""
        return self.walkers if self._number_at is None else int(setting.values[self._number_at])

    def _values(self, setting: Setting, of_arena: bool) -> tuple[Any, ...]:
        return tuple(
            value
            for parameter, value in zip(self.parameters, setting.values, strict=True)
            if (parameter.is_of_arena if of_arena else not parameter.is_given)
        )

    def _make_arena(self, index: int, values: tuple[Any, ...]) -> ArenaSpec | str:
        """Make an arena, or the reason why there is none."""
        spec = self.arenas[index][0]
        if not values:
            return spec
        parameters = [one for one in self.parameters if one.is_of_arena]
        try:
            return values_into_arena(spec, {one.path: v for one, v in zip(parameters, values, strict=True)})
        except InputError as error:
            return str(error)

    def _make_design(self, index: int, values: tuple[Any, ...]) -> Design | str:
        """Make a design, or the reason why there is none."""
        design = self.designs[index].design
        if not values:
            return design
        parameters = [one for one in self.parameters if not one.is_given]
        try:
            put = {
                one.path: one.put(value)
                for one, value in zip(parameters, values, strict=True)
                if value is not AS_IT_IS
            }
            return values_into_design(design, put)
        except InputError as error:
            return str(error)

    def design_text(self, setting: Setting, name: str | None = None) -> str:
        """Return the text of the setting's design: the file's own, with the values and a new name in it.

        Raises InputError where the values make no design, WorkError where the text cannot be changed.
        """
        entrant = self.designs[setting.design]
        ending = f" of setting {setting.number}"
        name = name or f"{entrant.design.name[: LONGEST_NAME - len(ending)]}{ending}"
        pairs = zip(self.parameters, setting.values, strict=True)
        values = {parameter: value for parameter, value in pairs if not parameter.is_given}
        return text_with_values(entrant.text, values, name, self.design_of(setting))

    def seconds_of(self, setting: Setting) -> float:
        """Return how long the trials of a setting last [s]. Raises InputError where it makes no arena."""
        return self.arena_of(setting).lasts if self.seconds is None else self.seconds

    @property
    def typical_time(self) -> float:
        """How long all trials typically take on this machine [s]; a guess, before anything is run."""
        lasts = max(self.seconds or spec.lasts for spec, _ in self.arenas)
        varied = tuple(zip(self.parameters, self.ranges, strict=True))
        return typical_time(self.trials, lasts * mean_walkers(self.plan.form.walkers, varied))

    @property
    def size_text(self) -> str:
        """Settings, repeats, trials and typical time, in words."""
        return (
            f"{counted(self.settings, 'setting')}, {counted(self.repeats, 'repeat')}: "
            f"{counted(self.trials, 'trial')}, "
            f"about {time_text(self.typical_time)} here"
        )

    @cached_property
    def parts(self) -> dict[str, str]:
        """SHA-256 of each part that decides the results: plan, arenas, designs, drawn settings, program."""
        plan = {
            "vary": {
                parameter.path: range_text(values, parameter)
                for parameter, values in zip(self.parameters, self.ranges, strict=True)
            },
            "order": [parameter.path for parameter in self.parameters],
            "sampling": [self.sampling, self.settings, self.repeats, self.walkers, self.seed],
            "lasts": None if self.seconds is None else self.seconds.hex(),
        }
        parts = {"plan": _digest(json.dumps(plan, sort_keys=True))}
        parts |= {f"arena {spec.name}": _digest(text) for spec, text in self.arenas}
        parts |= {f"design {one.design.name}": _digest(one.text) for one in self.designs}
        if self.sampling != "grid":
            # another scipy may draw otherwise
            parts["drawn"] = hashlib.sha256(self._shares.tobytes()).hexdigest()
        parts["program"] = _digest(f"{version('photodrome')} {sources_digest()}")
        return parts

    @property
    def digest(self) -> str:
        """SHA-256 of all that decides the results, so not of name, about, marks, scores and budget."""
        return _digest(json.dumps(list(self.parts.items())))

    def payload(self) -> str:
        """Return all that it takes to have the same study elsewhere, without files, as JSON."""
        form = self.plan.form
        named = {
            "arena": dict(zip(form.arenas, (text for _, text in self.arenas), strict=True)),
            "design": dict(zip(form.designs, (one.text for one in self.designs), strict=True)),
        }
        return json.dumps({"file": self.file, "plan": self.text, "named": named, "parts": self.parts})

    @classmethod
    def from_payload(cls, text: str) -> "Study":
        """Return the study of a :meth:`payload`.

        Raises InputError where its trials would not come out the same here, with another program or library.
        """
        payload = json.loads(text)

        def find(name: str, kind: str) -> tuple[str, str]:
            texts = payload["named"][kind]
            if name not in texts:
                raise NotFoundError(f"{name}: not sent with the study")
            return name, texts[name]

        study = _made(payload["plan"], payload["file"], find, None)
        changed = [part for part, digest in study.parts.items() if payload["parts"].get(part) != digest]
        if changed:
            raise InputError(
                f"{study.name}: {', '.join(changed)} differ here from where the study was sent; "
                "use the same version of the program and its libraries on every machine"
            )
        return study


@cache
def sources_digest() -> str:
    """Return the digest (SHA-256, hexadecimal) of the whole program's text, kernels and all else."""
    digest = hashlib.sha256()
    root = Path(__file__).resolve().parents[3]
    for package in ("agents", "replays", "arena"):
        for path in sorted((root / package).rglob("*.py")):
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def read_study(name_or_path: str | Path, most_trials: int | None = MOST_TRIALS) -> Study:
    """Read a plan by the name of a shipped one or by the path of a file.

    A plan of more than ``most_trials`` trials is refused; None lets any pass, for a search that will try few
    of them. Raises SpecError with all that is wrong, and NotFoundError.

    >>> study = read_study("feeler-escape")
    >>> study.settings, study.repeats, [one.label() for one in study.parameters]
    (20, 200, ['both.feeler', 'both.latch'])
    """
    path = find_document(str(name_or_path), "study")
    return _made(read_text(path, str(path)), str(path), files_beside(path.parent), most_trials)


def parse_study(
    text: str, file: str = "plan", folder: str | Path = ".", most_trials: int | None = MOST_TRIALS
) -> Study:
    """As :func:`read_study` for the ``text`` of a plan that lies in ``folder``."""
    return _made(text, file, files_beside(Path(folder)), most_trials)


def _made(text: str, file: str, find: Find, most_trials: int | None) -> Study:
    return Study(read_plan(text, file, find, most_trials), text, file)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
