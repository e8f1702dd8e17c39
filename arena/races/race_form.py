"""The keys of a race's file, each with what it takes."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any

from pydantic import Field

from agents.text.json_schemas import several
from agents.text.keyed_errors import KeyedError, cross_check
from agents.text.quantities import Fraction, Number, Quantity
from agents.text.readers import QuantityError, Reader, Word
from agents.text.shapes import BaseSpec
from arena.races.results import ARRIVAL, LIGHT, MOVING
from arena.scene.elements import MOST_WALKERS
from arena.studies.plans.plan_form import Listing, Values

TIME_TRIAL, TOGETHER, FINAL, PAIRS, RELAY = "time trial", "together", "heats and final", "pairs", "relay"
FORMATS = (TIME_TRIAL, TOGETHER, FINAL, PAIRS, RELAY)
DECIDERS = (ARRIVAL, LIGHT, MOVING)

MOST_COURSES = 50
# Paths under values, or prices, of the rules; a design has about as many values.
MOST_PATHS = 200

# What the places of a relay's arena bring, from the first on, if the plan does not say.
POINTS = (10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0)


@dataclass(frozen=True)
class Numbers(Listing):
    """Several numbers with commas between them, each read by ``reader``; gives a tuple of floats."""

    reader: Reader = Number(least=0.0, most=1e6)  # noqa: RUF009 - it is frozen

    def check(self, value: Any) -> tuple[Any, ...]:
        if isinstance(value, list | tuple) and value and all(isinstance(one, float) for one in value):
            return tuple(self.reader.check(one) for one in value)
        return tuple(self.reader.read(one) for one in super().check(value))

    def json_form(self) -> dict[str, Any]:
        return several(self.reader.json_form())

    def show(self, value: Any) -> str:
        return ", ".join(self.reader.show(one) for one in value)


@dataclass(frozen=True)
class Shares(Reader):
    """Falling shares of the light, like ``100 %, 50 %, 25 %``; gives a tuple of floats."""

    @property
    def expected(self) -> str:
        return "falling shares of the light with commas between them, like 100 %, 50 %, 25 %"

    @property
    def may_be_long(self) -> bool:
        return True

    def parse(self, text: str) -> tuple[float, ...]:
        return self.check([part.strip() for part in text.split(",")])

    def json_form(self) -> dict[str, Any]:
        return several(Fraction().json_form())

    def check(self, value: Any) -> tuple[float, ...]:
        if not isinstance(value, list | tuple) or not value:
            raise QuantityError("nothing of the sort", self.expected)
        reader = Fraction(least=0.0, most=1.0)
        shares = tuple(one if isinstance(one, float) else float(reader.read(one)) for one in value)
        if any(later >= earlier for earlier, later in pairwise(shares)):
            raise QuantityError(self.show(shares), self.expected)
        return shares

    def show(self, value: Any) -> str:
        return ", ".join(f"{100.0 * one:g} %" for one in value)


class CourseForm(BaseSpec):
    """An arena to race in, and what decides there."""

    example = "{arena: sprint-to-the-lamp, by: arrival}"

    arena: str = Field(description="the arena, by the name of a shipped one or by a path")
    by: Annotated[str, Word(DECIDERS)] = Field(ARRIVAL, description="what decides who is ahead")
    lasts: Annotated[float, Quantity("s", above=0.0, most=1e6)] | None = Field(
        None, description="how long it is run; none: as long as the arena says"
    )
    dims: Annotated[tuple[float, ...], Shares()] = Field(
        (1.0,), description="stages of ever dimmer light, each of this length, as shares of the arena's light"
    )

    @cross_check
    def _check_dims(self) -> Iterator[KeyedError]:
        if len(self.dims) > 1 and self.by != MOVING:
            yield KeyedError(("dims",), "stages of light", f"by: {MOVING} beside them, or no stages")


class RulesForm(BaseSpec):
    """Rules of the class: who breaks one races out of competition."""

    storage: Annotated[float, Quantity("F", above=0.0, most=10.0)] | None = Field(
        None, description="the largest storage capacitor that is allowed"
    )
    cells: Annotated[int, Number(whole=True, least=1, most=100)] | None = Field(
        None, description="the most silicon cells in series, at 0.7 V in full sun each"
    )
    cost: Annotated[float, Number(least=0.0, most=1e6)] | None = Field(
        None, description="the most that all parts may cost, by the prices below"
    )
    prices: dict[str, dict[str, str]] = Field(
        default_factory=dict,
        max_length=MOST_PATHS,
        description="prices by the path of a value: for each value that is sold, what one costs",
    )
    drawer: str | None = Field(
        None,
        description="the drawer whose parts alone may be used, by the name of a shipped one or by a path",
    )
    values: dict[str, Annotated[str | tuple[str, ...], Values()]] = Field(
        default_factory=dict,
        max_length=MOST_PATHS,
        description="values that are allowed, by path, as a plan varies them: both.latch: E12 1k..47k",
    )


class RaceForm(BaseSpec):
    """A race, as in ``configs/races/*.yaml``."""

    name: str = Field(description="name of the race")
    about: str | None = Field(None, description="what it puts to the test")
    entries: Annotated[tuple[str, ...], Listing("folders, patterns or files")] | None = Field(
        None, description="folders, patterns or files of those who race; none: named by the command"
    )
    format: Annotated[str, Word(FORMATS)] = Field(TIME_TRIAL, description="who meets whom")
    courses: tuple[CourseForm, ...] = Field(
        max_length=MOST_COURSES, description="where they race; several for a relay"
    )
    rounds: Annotated[int, Number(whole=True, least=1, most=10_000)] | None = Field(
        None, description="rounds to be run; none: a turn at each start place, and enough to tell places"
    )
    final_rounds: Annotated[int, Number(whole=True, least=1, most=10_000)] | None = Field(
        None, description="rounds of the final, where there is one; none: as many as of heats"
    )
    finalists: Annotated[int, Number(whole=True, least=2, most=MOST_WALKERS)] = Field(
        6, description="how many go on to the final"
    )
    heat: Annotated[int, Number(whole=True, least=2, most=MOST_WALKERS)] | None = Field(
        None, description="how many meet at once at the most; none: as many as the arena has room for"
    )
    points: Annotated[tuple[float, ...], Numbers("numbers")] = Field(
        POINTS, description="what the places of each arena of a relay bring, from the first on"
    )
    seed: Annotated[int, Number(whole=True, least=0, most=2**63 - 1)] = Field(
        1, description="keys every draw of the race"
    )
    rules: RulesForm = Field(RulesForm(), description="rules of the class")

    @cross_check
    def _check_courses(self) -> Iterator[KeyedError]:
        if not self.courses:
            yield KeyedError(("courses",), "an empty list", "at least one course")
        elif len(self.courses) > 1 and self.format != RELAY:
            got = f"{len(self.courses)} courses for a {self.format}"
            yield KeyedError(("courses",), got, "one, or format: relay")
