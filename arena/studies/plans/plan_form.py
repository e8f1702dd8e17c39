"""The keys of a plan's file, each with what it takes; and how long a number of trials takes."""

import os
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field

from agents.text.quantities import Number, Quantity
from agents.text.readers import QuantityError, Reader, Word, sort_of
from agents.text.shapes import BaseSpec
from arena.scene.elements import MOST_WALKERS
from arena.studies.plans.sampling import SAMPLINGS

# A study of more trials than this takes longer than anybody waits.
MOST_TRIALS = 10_000_000
# What one core simulates in a second of its time [s], one walker, from a warm cache: from 1.4e5 in bright
# light, where pulses come fast, to 4.5e5 in dim; this is within a factor of two of either.
TYPICAL_SPEED = 2.5e5
# More values than this at once, and no number of trials tells one's doing from another's.
MOST_VARIED = 30


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
        if not isinstance(value, list | tuple):
            raise QuantityError(sort_of(value), self.expected)
        if not value or not all(isinstance(one, str) and one.strip() for one in value):
            raise QuantityError("an empty item" if value else "an empty list", self.expected)
        return tuple(one.strip() for one in value)

    def json_form(self) -> dict[str, Any]:
        one = {"type": ["string", "number"]}
        return {"anyOf": [one, {"type": "array", "items": one, "minItems": 1}]}

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

    def json_form(self) -> dict[str, Any]:
        one = {"type": ["string", "number"]}
        return {"anyOf": [one, {"type": "array", "items": one}]}

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
        None, description="how many settings are drawn, where they are not a grid"
    )
    repeats: Annotated[int, Number(whole=True, least=1)] = Field(
        100, description="trials of each setting; repeat for repeat they have the same luck"
    )
    walkers: Annotated[int, Number(whole=True, least=1, most=MOST_WALKERS)] = Field(
        1,
        description="built copies of the design that share the arena in a trial; several numbers of them are "
        "a path under vary",
    )
    lasts: Annotated[float, Quantity("s", above=0.0, most=1e6)] | None = Field(
        None, description="how long a trial lasts; none: as long as the arena says"
    )
    seed: Annotated[int, Number(whole=True, least=0, most=2**63 - 1)] = Field(
        1, description="keys every draw of the study"
    )
    scores: Annotated[tuple[str, ...], Listing("scores")] = Field(
        ("reached",), description="scores to be shown, the main one first"
    )
    marks: dict[str, dict[str, str]] = Field(
        default_factory=dict, description="lines for the plots: by path, names with their values"
    )
    budget: Annotated[int, Number(whole=True, least=1, most=MOST_TRIALS)] = Field(
        5000, description="trials that a search for the best design may spend"
    )


def counted(number: int, what: str) -> str:
    """Tell a number of things, like ``1 setting`` or ``1,200 trials``."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def time_text(seconds: float) -> str:
    """Tell a time [s] in the unit that suits it."""
    for unit, length in (("years", 31557600.0), ("days", 86400.0), ("hours", 3600.0), ("minutes", 60.0)):
        if seconds >= 2.0 * length:
            number = float(f"{seconds / length:.2g}")
            return f"{number:,.0f} {unit}" if number >= 10.0 else f"{number:g} {unit}"
    return f"{max(seconds, 1.0):.0f} s"


def typical_time(trials: int, walked: float) -> float:
    """Return the time [s] that trials of ``walked`` walker-seconds each typically take here, on all cores."""
    return trials * walked / (TYPICAL_SPEED * (os.cpu_count() or 1))
