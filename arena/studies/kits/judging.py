"""Which built copies of a design work in a range of light, and how many of those still to be built will.

A copy works where it has none of the faults of :mod:`agents.testbench.faults` at any light. How far beside a
lamp it may head before it strays is asked for anew.
"""

import math
import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_EXCEPTION, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray
from agents.design.as_built import build
from agents.design.built_copies import build_copies
from agents.design.spec import Design
from agents.errors import OptionError, raise_first
from agents.testbench.faults import BLIND_BIT, DIM_BIT, DULL_BIT, FAULTS, LOPSIDED_BIT, STRAYS_BIT
from agents.testbench.surveys import Survey, survey
from arena.studies.running.piece_journal import PieceJournal
from arena.studies.statistics.estimates import Estimate
from replays.scoring.confidence_intervals import share_interval

Progress = Callable[[float], None]


# Where a copy stands still, or something worse is told of its steering, it is not said to stray as well.
_UNTOLD = DIM_BIT | BLIND_BIT | DULL_BIT | LOPSIDED_BIT

# Copies that a thread measures in one go; a stop waits for no more than these.
TOGETHER = 128


@dataclass(frozen=True)
class Demand:
    """What is asked of a copy: to work at all ``lights`` [lx] of a ``kind``.

    Faults in ``allowed``, out of :data:`FAULTS`, do not count. ``straight`` [rad] is how far beside a lamp a
    copy may head, more than 0 and less than a right angle.
    """

    lights: tuple[float, ...]
    kind: str
    allowed: frozenset[str]
    straight: float

    def __post_init__(self) -> None:
        if not self.lights:
            raise OptionError("no light is asked for; name at least one")
        if not 0.0 < self.straight < 0.5 * math.pi:
            raise OptionError(
                f"to steer straight is to head less than {math.degrees(self.straight):g} deg beside a lamp; "
                "expected more than 0 deg and less than 90 deg"
            )
        unknown = sorted(self.allowed - set(FAULTS))
        if unknown:
            raise OptionError(f"no fault is called {unknown[0]!r}; there are {', '.join(FAULTS)}")


@dataclass(frozen=True)
class BenchResult:
    """What became of copies at lights, (copies, lights): bit k set for the k-th of :data:`FAULTS`.

    ``beside`` [rad], of the same shape, tells where each heads, as
    :class:`agents.testbench.surveys.Survey` does.
    """

    faults: IntArray
    beside: FloatArray
    works: BoolArray

    def has(self, name: str) -> BoolArray:
        """Which copies have a fault at which light, (copies, lights)."""
        return (self.faults >> FAULTS.index(name) & 1).astype(np.bool_)


@dataclass(frozen=True)
class BenchTest:
    """A design whose copies are judged by a demand."""

    design: Design
    demand: Demand

    @cached_property
    def as_drawn(self) -> BenchResult:
        """The design itself, without tolerance, as a single copy."""
        found = survey(build(self.design), self.demand.lights, self.demand.kind)
        return self._result([found])

    def results(
        self,
        many: Sequence[FloatArray],
        threads: int | None = None,
        tell: Progress | None = None,
        journal: PieceJournal | None = None,
        begun: int = 0,
    ) -> list[BenchResult]:
        """Judge several sets of copies, each given by its parts' values (copies, parts).

        The same for any number of ``threads``. ``tell`` is called with the share done, 0 to 1; what it raises
        stops the work within a moment. What the ``journal`` has is not measured again, and all else is kept
        in it, the pieces numbered from ``begun`` on.
        """
        pieces = [
            (number, first, values[first : first + TOGETHER])
            for number, values in enumerate(many)
            for first in range(0, len(values), TOGETHER)
        ]
        demand = self.demand

        def run(first: int, values: FloatArray) -> Survey:
            return survey(build_copies(self.design, values), demand.lights, demand.kind, first)

        kept = None if journal is None else _Kept(journal, begun, len(demand.lights))
        found = _side_by_side(run, [piece[1:] for piece in pieces], threads, tell, kept)
        return [
            self._result([one for (owner, *_), one in zip(pieces, found, strict=True) if owner == number])
            for number in range(len(many))
        ]

    def _result(self, found: Sequence[Survey]) -> BenchResult:
        demand = self.demand
        shape = (0, len(demand.lights))
        faults = np.concatenate([np.zeros(shape, np.int64), *(one.faults for one in found)])
        beside = np.concatenate([np.zeros(shape), *(one.beside for one in found)])
        # nan, who circles, is not within it either
        strays = ~(np.abs(beside) <= demand.straight) & ((faults & _UNTOLD) == 0)
        faults &= ~STRAYS_BIT
        faults[strays] |= STRAYS_BIT
        counting = sum(1 << number for number, name in enumerate(FAULTS) if name not in demand.allowed)
        return BenchResult(faults, beside, np.all((faults & counting) == 0, axis=1))


@dataclass(frozen=True)
class _Kept:
    """What a journal has of the pieces of some work, those numbered from ``begun`` on, at so many lights."""

    journal: PieceJournal
    begun: int
    lights: int

    @property
    def _kind(self) -> np.dtype[np.void]:
        return np.dtype([("faults", "<i8", (self.lights,)), ("beside", "<f8", (self.lights,))])

    def survey_of(self, number: int, copies: int) -> Survey | None:
        """What was found of a piece of so many copies, if it is there."""
        rows = self.journal.piece(self.begun + number, self._kind, copies)
        return None if rows is None else Survey(rows["faults"], rows["beside"])

    def keep(self, found: Mapping[int, Survey]) -> None:
        """Keep what was found of pieces, by their number."""
        rows = []
        for number, one in sorted(found.items()):
            table = np.zeros(len(one.faults), self._kind)
            table["faults"], table["beside"] = one.faults, one.beside
            rows.append((self.begun + number, table))
        if rows:
            self.journal.keep(rows)


def _side_by_side(
    run: Callable[[int, FloatArray], Survey],
    pieces: Sequence[tuple[int, FloatArray]],
    threads: int | None,
    tell: Progress | None,
    kept: _Kept | None,
) -> list[Survey]:
    done: dict[int, Survey] = {}
    if kept is not None:
        for number, (_, values) in enumerate(pieces):
            before = kept.survey_of(number, len(values))
            if before is not None:
                done[number] = before
    with ThreadPoolExecutor(max(1, threads or os.cpu_count() or 1)) as pool:
        wanted = [number for number in range(len(pieces)) if number not in done]
        futures: list[Future[Survey]] = [pool.submit(run, *pieces[number]) for number in wanted]
        number_of = dict(zip(futures, wanted, strict=True))
        try:
            waiting = set(futures)
            while waiting:
                finished, waiting = wait(waiting, timeout=0.1, return_when=FIRST_EXCEPTION)
                found = {number_of[future]: future.result() for future in finished if not future.exception()}
                if kept is not None:
                    kept.keep(found)
                done |= found
                raise_first(futures, finished)
                if tell is not None:
                    tell(len(done) / len(pieces))
        except BaseException:
            for future in futures:
                future.cancel()
            raise
    return [done[number] for number in range(len(pieces))]


def share_of(works: BoolArray) -> Estimate:
    """Share of copies that work, with its Wilson interval."""
    hits, count = int(np.count_nonzero(works)), len(works)
    low, high = share_interval(hits, count) or (math.nan, math.nan)
    return Estimate(hits / count if count else math.nan, low, high, count, "Wilson")


def expected_of(works: int, copies: int, kits: int) -> tuple[int, int, int]:
    """How many of ``kits`` will work, as (median, low, high), after ``works`` of ``copies`` have.

    The middle and the ends of the range that holds it with 95 %: of the beta-binomial distribution, with the
    beta distribution that the copies leave of Jeffreys' prior, of one half and one half. Bounds are the least
    numbers whose chance of no more is 0.025, 0.5 and 0.975 at least.

    Gelman et al., Bayesian Data Analysis, third edition (2013), sections 2.1 and 2.8.
    """
    above, below = works + 0.5, copies - works + 0.5
    whole = _log_beta(above, below)
    found: list[int] = []
    total = 0.0
    for number in range(kits + 1):
        ways = -math.log(kits + 1) - _log_beta(kits - number + 1, number + 1)
        total += math.exp(ways + _log_beta(number + above, kits - number + below) - whole)
        while len(found) < 3 and total >= (0.025, 0.5, 0.975)[len(found)]:
            found.append(number)
    # the sum of all may miss 1 by its last digits, never by a fortieth
    low, median, high = found
    return median, low, high


def _log_beta(one: float, other: float) -> float:
    return math.lgamma(one) + math.lgamma(other) - math.lgamma(one + other)
