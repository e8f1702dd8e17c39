"""The best values for a design out of a drawer, for the light in which it is to walk.

What is best is found by trying, in this order: fewest lights with a fault; fewest at which a latch releases
above 1 V or a third of a pulse goes into the bases; fewest at which a pulse turns the walker by more than
85 degrees, beyond which it swings past the light (the study ``storage-steering``); fewest of a dozen
copies, built with the tolerances of design and drawer, that have a fault; the greatest pace, to within 5 %,
which is the step of a pulse over the time from one to the next, by its geometric mean over the lights;
fewest parts that are not those of the design; the lowest cost.

Parts are exchanged one at a time and two at a time for as long as that makes it better, from the parts
nearest to what the design has and from a few other beginnings. So no exchange of one or two parts betters
what comes out; that nothing else in the drawer does is likely and not proven.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations, product
from typing import Any

import numpy as np

from agents.design.as_built import build
from agents.design.built_copies import draw_copies
from agents.design.spec import FASTEST_DISCHARGE, Design, Tolerance, part_reader
from agents.design.values_by_path import expanded, of_both
from agents.drawer.contents import Drawer
from agents.drawer.stock import (
    PLACES,
    Choice,
    PartRow,
    Place,
    choices,
    lacking,
    lasts_for,
    parts_list,
    total_cost,
)
from agents.errors import ModelError, OptionError, nearest, refusal
from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.testbench.bench_figures import LIGHTS, BenchPoint, bench_record
from agents.testbench.measuring import SidePoint
from agents.testbench.surveys import survey
from agents.testbench.weighing import MOST_BASE_SHARE, MOST_LET_GO
from agents.text.keyed_errors import KeyedError
from agents.text.readers import QuantityError

# Beyond this turn a pulse [rad] swings past the light: the study storage-steering.
MOST_TURN = math.radians(85.0)
# Paces, and values of a part, that differ by less than this in the logarithm are alike.
ALIKE = math.log(1.05)
# Copies that are built to see whether a choice bears the tolerances of its parts.
COPIES = 12
# Beginnings beside the design's own values.
BEGINNINGS = 3

FEELER = "both.feeler"

Progress = Callable[[float], None]
_Chosen = tuple[Choice, ...]


@dataclass(frozen=True)
class Merit:
    """How good a choice is, the less the better: see the head of this module."""

    faulty_lights: int
    faults: int
    poor_pulses: int
    wide_turns: int
    slowness: float
    exchanged: int
    cost: Decimal

    @property
    def first(self) -> tuple[int, ...]:
        """What counts before the copies."""
        return self.faulty_lights, self.faults, self.poor_pulses, self.wide_turns

    @property
    def last(self) -> tuple[float, int, Decimal]:
        """What counts after them."""
        pace = round(self.slowness / ALIKE) if math.isfinite(self.slowness) else math.inf
        return pace, self.exchanged, self.cost


@dataclass(frozen=True)
class Picked:
    """What was picked out of a drawer for a design.

    ``design`` has the picked values in place, ``values`` are these by path [SI]. ``points`` are the bench of
    it at the lights asked for. ``missing`` says in words which places the drawer cannot fill: there the
    design's own values stay. ``tried`` is how many choices were put on the bench.
    """

    design: Design
    values: Mapping[str, Any]
    chosen: tuple[Choice, ...]
    points: tuple[BenchPoint, ...]
    missing: tuple[str, ...]
    tried: int

    @property
    def own_values(self) -> dict[str, Any]:
        """The values [SI] as a file says them: under ``both`` what the two sides have alike."""
        said: dict[str, Any] = {}
        for path, value in self.values.items():
            both = of_both(path)
            alike = {self.values.get(one) for one in expanded(both)} == {value}
            said[both if alike else path] = value
        return said

    @property
    def parts(self) -> list[PartRow]:
        """The parts list."""
        return parts_list(self.chosen)

    @property
    def cost(self) -> Decimal:
        """What all parts with a price cost together."""
        return total_cost(self.parts)

    @property
    def is_healthy(self) -> bool:
        """Whether the bench finds no fault at any of the lights."""
        return not any(point.faults for point in self.points)

    def as_dict(self, currency: str) -> dict[str, Any]:
        """Return it for JSON: values in SI by path, prices in ``currency``."""
        return {
            "design": self.design.name,
            "healthy": self.is_healthy,
            "values": {path: value for path, value in self.own_values.items() if value != ()},
            "parts": [
                {
                    "place": choice.place.path,
                    "pieces": list(choice.labels),
                    "price": None if choice.price is None else float(choice.price),
                }
                for choice in self.chosen
            ],
            "missing": list(self.missing),
            "currency": currency,
            "cost": float(self.cost),
            "points": [point.as_dict() for point in self.points],
            "tried": self.tried,
        }


class _Trials:
    """Choices put on the bench, each once."""

    def __init__(
        self, design: Design, lights: Sequence[float], kind: str, air: float = ROOM_TEMPERATURE
    ) -> None:
        self._design, self._lights, self._kind, self._air = design, lights, kind, air
        self._known: dict[tuple[Any, ...], Merit] = {}
        self._failing: dict[tuple[Any, ...], int] = {}

    def __len__(self) -> int:
        return len(self._known)

    def merit(self, chosen: _Chosen) -> Merit:
        key = _key(chosen)
        if key not in self._known:
            self._known[key] = self._tried(chosen)
        return self._known[key]

    def is_better(self, one: _Chosen, other: _Chosen) -> bool:
        """Whether the one choice is better than the other; copies are built only where they decide."""
        merit, against = self.merit(one), self.merit(other)
        if merit.first != against.first:
            return merit.first < against.first
        if not self.failing(other) and merit.last >= against.last:
            return False
        return (self.failing(one), merit.last) < (self.failing(other), against.last)

    def failing(self, chosen: _Chosen) -> int:
        """How many of :data:`COPIES` built copies have a fault that the choice itself has not."""
        key = _key(chosen)
        if key not in self._failing:
            design = made_of(self._design, chosen)
            copies = draw_copies(design, 0, range(COPIES), self._air)
            records = np.concatenate([build(design, self._air), copies])
            try:
                faults = survey(records, self._lights, self._kind).faults
            except ModelError:
                return COPIES + 1
            self._failing[key] = int(np.count_nonzero(np.any(faults[1:] & ~faults[0], axis=1)))
        return self._failing[key]

    def points(self, design: Design) -> tuple[BenchPoint, ...]:
        walker = build(design, self._air)[0]
        return tuple(bench_record(walker, light, self._kind) for light in self._lights)

    def _tried(self, chosen: _Chosen) -> Merit:
        cost = sum((choice.price * choice.place.pieces for choice in chosen if choice.price), Decimal(0))
        exchanged = sum(_distance(self._design, choice) > ALIKE for choice in chosen)
        unfit = Merit(len(self._lights) + 1, 0, 0, 0, math.inf, exchanged, cost)
        if not lasts_for(chosen):
            return unfit
        design = made_of(self._design, chosen)
        if design.discharge_rate > FASTEST_DISCHARGE:
            return unfit
        try:
            points = self.points(design)
        except ModelError:
            return unfit
        if any(choice.rated < max(point.measured.open_circuit for point in points) for choice in chosen):
            return unfit
        return Merit(
            sum(bool(point.faults) for point in points),
            sum(len(point.faults) for point in points),
            sum(any(map(_is_poor, point.measured.sides)) for point in points),
            sum(max(abs(side.turn or 0.0) for side in point.measured.sides) > MOST_TURN for point in points),
            _slowness(points),
            exchanged,
            cost,
        )


def _is_poor(side: SidePoint) -> bool:
    """Whether a pulse ends too early, or goes too much into the bases, by the bench's limits."""
    return (side.let_go or 0.0) > MOST_LET_GO or (side.base_share or 0.0) > MOST_BASE_SHARE


def _slowness(points: Sequence[BenchPoint]) -> float:
    """The mean logarithm of time over step, inf where there is a light at which it does not walk."""
    total = 0.0
    for point in points:
        first = point.first
        if not first.between or not first.advance:
            return math.inf
        total += math.log(first.between / abs(first.advance))
    return total / len(points)


def chosen_values(design: Design, chosen: Sequence[Choice]) -> dict[str, Any]:
    """Return the values [SI] that a choice sets of ``design``, by path, in the order of the places.

    An eye out of the drawer has its own formula, so a bench table that the design gives is set aside.
    """
    values: dict[str, Any] = {}
    for choice in chosen:
        values |= choice.values
        if choice.place.section == "eyes":
            sides = [path.partition(".")[0] for path in expanded(choice.place.path)]
            tables = {f"{side}.eye.table": () for side in sides}
            values |= {path: empty for path, empty in tables.items() if design.value_at(path)}
    return values


def made_of(design: Design, chosen: Sequence[Choice]) -> Design:
    """Return the design with what was chosen in place, and with the tolerances of these parts.

    A piece that was measured has none.
    """
    spread = dict(design.spread)
    for choice in chosen:
        # of pieces by their own readings, and of no tape at all, nothing strays
        is_exact = len(set(choice.labels)) != 1
        for path in choice.values:
            for own in (path, of_both(path)):
                if own in spread and own not in choice.spread and is_exact:
                    del spread[own]
        spread |= {path: Tolerance(uniform=f"{100.0 * share:g} %") for path, share in choice.spread.items()}
    made = design.with_values(chosen_values(design, chosen))
    return made.with_spread(spread)


def _misfit(design: Design, choice: Choice) -> str:
    """Say why ``design`` cannot take a choice, whose values or tolerances leave its ranges; or empty."""
    try:
        for path, value in choice.values.items():
            if value is not None and (reader := part_reader(path)) is not None:
                reader.check(value)
        _ = made_of(design, [choice]).spreads
    except (QuantityError, KeyedError) as error:
        return f"{choice.place.title}: {choice.name}: {refusal(error.got, error.expected)}"
    return ""


def _key(chosen: _Chosen) -> tuple[Any, ...]:
    return tuple((choice.place.path, choice.sort) for choice in chosen)


def pick_parts(
    design: Design,
    drawer: Drawer,
    lights: Sequence[float] = LIGHTS[1:5],
    kind: str = "daylight",
    keep: Sequence[str] = (),
    tell: Progress | None = None,
    air: float = ROOM_TEMPERATURE,
) -> Picked:
    """Pick the best values for ``design`` out of ``drawer`` for ``lights`` [lx] of a ``kind``.

    ``keep`` names places, out of :data:`agents.drawer.stock.PLACES`, that stay as the design has them.
    ``tell`` is called with the share of the work that is done, 0 to 1; ``air`` is the temperature of the air
    [K]. Raises
    :class:`~agents.errors.OptionError` where no place can be filled, for a place that is none, and for lights
    or kinds that cannot be.

    >>> from agents.drawer.contents import read_drawer
    >>> poppy, drawer = read_design("poppy"), read_drawer("potting-shed")
    >>> places = ["both.motor", "both.npn", "both.pnp", "both.eye", "panel", "both.tyre", "both.coupling"]
    >>> picked = pick_parts(poppy, drawer, [3e3], keep=[*places, "both.series", "both.eye.tape"])
    >>> picked.is_healthy, picked.design.storage.capacitance
    (True, 0.0022)
    """
    known = {place.path: place for place in PLACES}
    for path in keep:
        if path not in known:
            raise OptionError(refusal(repr(path), f"one of {', '.join(known)}", nearest(path, known)))
    options: list[list[Choice]] = []
    missing = []
    for place in PLACES:
        if place.path in keep or (place.path == FEELER and not _has_feelers(design)):
            continue
        found = choices(drawer, place)
        if place.section == "tapes":
            found = [*_bare(place), *found]
        misfits = {choice.sort: _misfit(design, choice) for choice in found}
        fitting = [choice for choice in found if not misfits[choice.sort]]
        if fitting:
            options.append(fitting)
        else:
            missing.append(next(iter(misfits.values()), lacking(drawer, place)))
    if not any(choice.labels for found in options for choice in found):
        raise OptionError("\n".join([f"drawer {drawer.name}: nothing in it can be used", *missing]))
    trials = _Trials(design, lights, kind, air)
    beginnings = _beginnings(design, options)
    best: _Chosen | None = None
    for number, chosen in enumerate(beginnings):
        bettered = _bettered(chosen, options, trials)
        if best is None or trials.is_better(bettered, best):
            best = bettered
        if tell is not None:
            tell((number + 1) / len(beginnings))
    assert best is not None
    values = chosen_values(design, best)
    made = made_of(design, best)
    chosen = tuple(choice for choice in best if choice.labels)
    return Picked(made, values, chosen, trials.points(made), tuple(missing), len(trials))


def _has_feelers(design: Design) -> bool:
    return any(side.feeler is not None for side in (design.left, design.right))


def _bare(place: Place) -> Iterator[Choice]:
    """The eyes without any tape, of which no drawer can run out."""
    values = dict.fromkeys(expanded(place.path), 1.0)
    yield Choice(place, (place.section, "bare"), (), values, place.pieces, None)


def _beginnings(design: Design, options: Sequence[Sequence[Choice]]) -> list[_Chosen]:
    """The choice nearest to the design, and some that are spread over the drawer."""
    nearest_ones = tuple(min(found, key=lambda choice: _distance(design, choice)) for found in options)
    spread = [
        tuple(found[(number * (len(found) - 1)) // max(1, BEGINNINGS - 1)] for found in options)
        for number in range(BEGINNINGS)
    ]
    return list(dict.fromkeys([nearest_ones, *spread]))


def _distance(design: Design, choice: Choice) -> float:
    """How far a choice is from what a design has: the sum of the logarithms of all ratios."""
    distance = 0.0
    for path, value in choice.values.items():
        own = design.value_at(path)
        if isinstance(value, float) and isinstance(own, float) and value > 0.0 and own > 0.0:
            distance += abs(math.log(value / own))
    return distance


def _bettered(chosen: _Chosen, options: Sequence[Sequence[Choice]], trials: _Trials) -> _Chosen:
    """Exchange one part or two for as long as that makes it better."""
    best = chosen
    while True:
        before = best
        for swap in _swaps(options):
            candidate = tuple(swap.get(place, choice) for place, choice in enumerate(best))
            if trials.is_better(candidate, best):
                best = candidate
        if best is before:
            return best


def _swaps(options: Sequence[Sequence[Choice]]) -> Iterator[dict[int, Choice]]:
    for place, found in enumerate(options):
        for choice in found:
            yield {place: choice}
    for one, other in combinations(range(len(options)), 2):
        for pair in product(options[one], options[other]):
            yield dict(zip((one, other), pair, strict=True))
