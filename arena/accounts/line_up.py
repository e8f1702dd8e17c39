"""Who starts where, with which luck: a race that can be run anew with one entry changed."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.design.built_copies import draw_copies
from agents.design.spec import Design
from arena.engine.assembly import WorldPlan
from arena.engine.looked_up import alike_among, worth_looking_up
from arena.recording import goal_outline, walker_rows
from arena.scene.contest import Contest
from arena.scene.elements import Goal
from arena.scene.flat_arena import FlatArena, flatten
from arena.scene.sky import Sky, sky_of
from arena.simulation import run_plans, run_worlds, starts_of
from replays.format.tables import Tables


@dataclass(frozen=True, eq=False)
class LineUp:
    """A race as it starts.

    ``designs`` are the entries; per walker, (walkers,): ``entry``, by number, ``luck``, the number of its
    built copy, its WALKER record ``walkers`` and its start ``poses`` (walkers, 3). ``alone``: each has the
    arena to itself. ``goals`` are outlines (points, 2) [m], ``seconds`` [s] how long it lasts at the most,
    ``air`` the temperature [K] in which the walkers stand. ``order`` is that of the walkers in a shared
    arena, which decides where two events fall together; that of their numbers if left out. ``sky`` is how
    light changes, if it does.
    """

    arena: FlatArena
    goals: tuple[FloatArray, ...]
    seconds: float
    seed: int
    air: float
    alone: bool
    designs: tuple[Design, ...]
    entry: IntArray
    luck: IntArray
    walkers: RecordArray
    poses: FloatArray
    order: tuple[int, ...] = ()
    sky: Sky | None = None

    @property
    def groups(self) -> IntArray:
        """Who races with whom, (walkers,), by like numbers: all, or each start alone with its luck."""
        return self.luck if self.alone else np.zeros(len(self.luck), np.int64)

    def rebuilt(self, entry: int, design: Design) -> RecordArray | None:
        """WALKER records with ``design`` for an entry, with the same luck; None where its body is another.

        A body of other size would start from other places, so that the race was not the same.
        """
        mine = self.entry == entry
        copies = draw_copies(design, self.seed, self.luck[mine], self.air)
        if any(np.any(copies[name] != self.walkers[name][mine]) for name in ("body_reach", "body_ahead")):
            return None
        walkers = self.walkers.copy()
        walkers[mine] = copies
        return walkers

    def run(self, walkers: RecordArray, threads: int | None = None) -> Tables:
        """Run the whole race with these WALKER records. Raises ModelError where the model loses one."""
        count = len(walkers)
        groups = [[number] for number in range(count)] if self.alone else [list(self.order or range(count))]
        alike = alike_among(walkers)
        plans = [self._plan(walkers[group], group, group, alike[group]) for group in groups]
        tables, _ = run_plans(plans, threads)
        return Tables(walkers=self._rows(walkers, self.poses), **tables)

    def run_apart(
        self, walker: int, records: Sequence[RecordArray], threads: int
    ) -> tuple[Tables, tuple[int, ...]]:
        """Run one walker by itself, once with each of WALKER ``records`` (1,), from its place with its luck.

        Returns tables in which record k is walker k, and the numbers of those that the model lost.
        """
        plans = [
            self._plan(record, [walker], [number], np.ones(1, np.int64))
            for number, record in enumerate(records)
        ]
        chunks = [plans[first::threads] for first in range(min(threads, len(plans)))]
        stop = np.zeros(1, np.int64)
        with ThreadPoolExecutor(threads) as pool:
            found = list(pool.map(lambda chunk: run_worlds(chunk, stop), chunks))
        tables = {}
        for name in found[0][0]:
            table = np.concatenate([one[name] for one, _ in found])
            tables[name] = table[np.argsort(table["walker"], kind="stable")]
        lost = tuple(
            chunks[place][number].numbers[0] for place, (_, bad) in enumerate(found) for number in bad
        )
        rows = self._rows(
            np.concatenate(records), np.repeat(self.poses[walker : walker + 1], len(records), 0)
        )
        return Tables(walkers=rows, **tables), tuple(int(one) for one in lost)

    def _plan(
        self, walkers: RecordArray, places: Sequence[int], numbers: Sequence[int], alike: IntArray
    ) -> WorldPlan:
        return WorldPlan(
            self.arena,
            walkers,
            self.poses[list(places)],
            np.array(numbers),
            self.luck[list(places)],
            self.seed,
            self.seconds,
            self.sky,
            looked_up=worth_looking_up(alike, self.seconds),
        )

    def _rows(self, walkers: RecordArray, poses: FloatArray) -> RecordArray:
        return walker_rows(walkers, poses, np.zeros(len(walkers), np.int64), 1)


def line_up(contest: Contest) -> LineUp:
    """The race that a contest is. Raises OptionError where the walkers have no room."""
    arena = flatten(contest.arena)
    luck = np.arange(contest.walkers)
    air = contest.arena.air
    walkers = np.concatenate([draw_copies(one.design, contest.seed, luck, air) for one in contest.entrants])
    poses, _ = starts_of(contest, arena, walkers)
    return LineUp(
        arena,
        outlines_of(contest.arena.goals),
        contest.seconds,
        contest.seed,
        air,
        contest.alone,
        tuple(one.design for one in contest.entrants),
        np.repeat(np.arange(len(contest.entrants)), contest.walkers),
        np.tile(luck, len(contest.entrants)),
        walkers,
        poses,
        sky=sky_of(contest.arena, contest.seconds, contest.seed),
    )


def outlines_of(goals: Sequence[Goal]) -> tuple[FloatArray, ...]:
    """The outlines (points, 2) [m] of goals."""
    return tuple(np.array(goal_outline(goal), np.float64) for goal in goals)
