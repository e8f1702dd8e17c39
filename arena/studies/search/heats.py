"""Who races in a search, what they have shown, and who drops out: the parts of a :mod:`race <.racing>`."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from agents.arrays import FloatArray
from arena.studies.statistics.comparison import LEVEL, pair_tests
from arena.studies.statistics.estimates import estimate, values_of
from arena.studies.trial_scores import Score

Place = tuple[int, ...]
"""A setting: the index of its level of each factor."""

FIRST_REPEATS = 10
"""Repeats by which a setting is first judged, or the next number with all conditions equally often."""

_LEADERS = 3


class Columns(Protocol):
    """Columns of trials by name, each (settings, repeats), like the records of :data:`scores.TRIAL`."""

    def __getitem__(self, name: str, /) -> FloatArray:
        """The column of that name."""
        ...


Evaluate = Callable[[Sequence[Place], range], Columns]
"""What runs trials: some repeats of some settings."""


@dataclass(frozen=True)
class Step:
    """The race after a round: ``trials`` used, ``repeats`` that all alive have had, how many are ``alive``.

    ``leader`` and the estimate of its figure so far; ``is_final`` on the finalists' fresh repeats.
    """

    trials: int
    repeats: int
    alive: int
    leader: Place
    value: float
    low: float
    high: float
    is_final: bool


class Neighbours:
    """Settings that differ in one factor: by one level, and at first also by a stride; any of a kind.

    A stride is an eighth of a factor's levels, and halved after every round.
    """

    def __init__(self, levels: Sequence[int], ordered: Sequence[bool]) -> None:
        self._levels, self._ordered = tuple(levels), tuple(ordered)
        self._strides = [count // 8 for count in levels]

    def draw_in(self) -> None:
        """Halve the strides."""
        self._strides = [stride // 2 for stride in self._strides]

    def of(self, place: Place) -> Iterable[Place]:
        """The neighbours of a setting."""
        for factor, level in enumerate(place):
            count, stride = self._levels[factor], self._strides[factor]
            others: Iterable[int] = range(count)
            if self._ordered[factor]:
                others = (level - 1, level + 1, level - stride, level + stride)
            for other in others:
                if other != level and 0 <= other < count:
                    yield (*place[:factor], other, *place[factor + 1 :])


@dataclass
class Heats:
    """Who races, with what they have shown; ``limit``: trials that the search may use.

    Repeats come in whole numbers of ``conditions``, so that each is met equally often.
    """

    evaluate: Evaluate
    score: Score
    budget: int
    limit: int
    seed: int
    conditions: int = 1
    used: int = 0
    repeats: int = 0
    alive: list[Place] = field(default_factory=list)
    shown: dict[Place, tuple[FloatArray, FloatArray | None]] = field(default_factory=dict)
    told_worse: int = 0
    aside: list[Place] = field(default_factory=list)
    without_figure: int = 0
    history: list[Step] = field(default_factory=list)

    def run(self, places: Sequence[Place], repeats: range) -> tuple[FloatArray, FloatArray | None]:
        """Values and weights (places, repeats) of new trials."""
        cost = len(places) * len(repeats)
        if cost == 0:
            nothing = np.empty((len(places), len(repeats)))
            return nothing, None if self.score.weight is None else nothing
        assert self.used + cost <= self.budget, "beyond the budget"
        self.used += cost
        found = self.evaluate(places, repeats)
        values = np.array(found[self.score.column], dtype=np.float64)
        weight = self.score.weight
        return values, None if weight is None else np.array(found[weight], dtype=np.float64)

    @property
    def first(self) -> int:
        """Repeats by which a setting is first judged."""
        return -(-FIRST_REPEATS // self.conditions) * self.conditions

    def whole(self, repeats: int) -> int:
        """As many of ``repeats`` as run in all conditions equally often."""
        return repeats // self.conditions * self.conditions

    @property
    def left(self) -> int:
        """Trials that the search may still use."""
        return self.limit - self.used

    def enter(self, places: list[Place], repeats: int) -> None:
        """Take the first settings in, with their first repeats."""
        self.repeats = repeats
        self._add(places, *self.run(places, range(repeats)))
        self._drop_without_figure()

    def _add(self, places: Sequence[Place], values: FloatArray, weights: FloatArray | None) -> None:
        for number, place in enumerate(places):
            self.shown[place] = (values[number], None if weights is None else weights[number])
            self.alive.append(place)

    def go_on(self, block: int) -> None:
        """Give all alive a further block of repeats."""
        values, weights = self.run(self.alive, range(self.repeats, self.repeats + block))
        for number, place in enumerate(self.alive):
            before, before_weights = self.shown[place]
            joined = None
            if weights is not None and before_weights is not None:
                joined = np.concatenate([before_weights, weights[number]])
            self.shown[place] = (np.concatenate([before, values[number]]), joined)
        self.repeats += block

    def columns(self, places: Sequence[Place]) -> tuple[FloatArray, FloatArray | None]:
        """Values and weights (places, repeats) shown by settings that had the same repeats."""
        values = np.stack([self.shown[place][0] for place in places])
        if self.score.weight is None:
            return values, None
        return values, np.stack([self.shown[place][1] for place in places])  # type: ignore[misc]

    def rank(self) -> None:
        """Put the best of those alive first."""
        if self.alive:
            goodness = self._goodness(self.alive)
            self.alive = [self.alive[number] for number in np.argsort(-goodness, kind="stable")]

    def _goodness(self, places: Sequence[Place]) -> FloatArray:
        values, weights = self.columns(places)
        figures = values_of(self.score, values, weights)
        if self.score.summary == "median":
            # Medians that no one reaches within the run are told apart by how many arrive at all.
            arrived = np.isfinite(values).mean(axis=1)
            figures = np.where(np.isinf(figures), 1e300 * (2.0 - arrived), figures)
        return figures if self.score.more_is_better else -figures

    def _drop_without_figure(self) -> None:
        if not self.alive:
            return
        has_figure = np.isfinite(self._goodness(self.alive))
        good = [place for place, has in zip(self.alive, has_figure, strict=True) if has]
        self.without_figure += len(self.alive) - len(good)
        self.alive = good

    def drop_worse(self, looks: int) -> None:
        """Drop who is told worse than the leader, so that in 19 of 20 races the best stays in.

        The best could lose to any other at any of the ``looks``, and is dropped only where one is ahead:
        the level of each test is that of the whole over both numbers.
        """
        if len(self.alive) < 2:
            return
        values, weights = self.columns(self.alive)
        pairs = pair_tests(self.score, values, weights, 0)
        level = 2.0 * LEVEL / (looks * (len(self.alive) - 1))
        is_out = pairs.is_worse & (pairs.p_value <= level)
        is_out[0] = False
        self.told_worse += int(is_out.sum())
        self.alive = [place for place, out in zip(self.alive, is_out, strict=True) if not out]

    def keep(self, most: int) -> None:
        """Let all but the first ``most`` go."""
        self.aside = self.alive[most:] + self.aside
        self.alive = self.alive[:most]

    @property
    def set_aside(self) -> int:
        """How many were let go without being told worse."""
        return len(self.aside)

    def recall(self, most: int) -> None:
        """Take back those that were let go last, the best first, until ``most`` are alive."""
        count = max(most - len(self.alive), 0)
        self.alive, self.aside = self.alive + self.aside[:count], self.aside[count:]

    def tell(self) -> None:
        """Note how the race stands."""
        if not self.alive:
            return
        leader = self.alive[0]
        figure = estimate(self.score, *self.shown[leader], self.seed)
        self.note(leader, len(self.alive), self.repeats, figure.value, figure.low, figure.high, False)

    def note(
        self, leader: Place, alive: int, repeats: int, value: float, low: float, high: float, is_final: bool
    ) -> None:
        self.history.append(Step(self.used, repeats, alive, leader, value, low, high, is_final))

    def explore(self, near: Neighbours, purse: int) -> None:
        """Let neighbours of the leaders catch up, as long as new ones come up and the purse holds out."""
        end = self.used + min(purse, self.left)
        while self.alive:
            fresh = list(
                dict.fromkeys(
                    place
                    for leader in self.alive[:_LEADERS]
                    for place in near.of(leader)
                    if place not in self.shown
                )
            )
            first = min(self.first, self.repeats)
            fresh = fresh[: max(end - self.used, 0) // self.repeats]
            if not fresh:
                return
            values, weights = self.run(fresh, range(first))
            hopeful = self._hopeful(values, weights, first)
            rest, rest_weights = self.run([fresh[number] for number in hopeful], range(first, self.repeats))
            for number, place in enumerate(fresh):
                mine = None if weights is None else weights[number]
                self.shown[place] = (values[number], mine)
            self.told_worse += len(fresh) - len(hopeful)
            for row, number in enumerate(hopeful):
                joined = None
                if weights is not None and rest_weights is not None:
                    joined = np.concatenate([weights[number], rest_weights[row]])
                self.shown[fresh[number]] = (np.concatenate([values[number], rest[row]]), joined)
                self.alive.append(fresh[number])
            self._drop_without_figure()
            self.rank()

    def _hopeful(self, values: FloatArray, weights: FloatArray | None, first: int) -> list[int]:
        """Rows of newcomers that their first repeats do not tell worse than the leader, with ease."""
        leader_values, leader_weights = self.shown[self.alive[0]]
        both = np.concatenate([leader_values[None, :first], values])
        both_weights = None
        if weights is not None and leader_weights is not None:
            both_weights = np.concatenate([leader_weights[None, :first], weights])
        pairs = pair_tests(self.score, both, both_weights, 0)
        is_out = np.isnan(pairs.p_value) | (pairs.is_worse & (pairs.p_value <= LEVEL / len(values)))
        return [int(row) for row in np.flatnonzero(~is_out[1:])]
