"""The same contest with the luck of several seeds, for what lies on the bench and for what was pinned.

Round k has seed + k for both, so that copy k of a design has the same luck in either, and of all designs:
they are compared in pairs.
"""

from collections import OrderedDict
from dataclasses import dataclass, replace

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray
from agents.errors import OptionError
from arena.scene.contest import Contest
from arena.scene.placement import repeat_seed
from arena.simulation import simulate
from arena.workbench.latest_worker import ProgressReport
from replays.format.tables import Replay
from replays.scoring.measures import measure

# Rounds that are remembered, so that who takes a change back has its figures at once.
_KEPT = 600


@dataclass(frozen=True)
class RoundFigures:
    """What a round came to, each (designs, walkers): ``reach_s`` [s], nan for one that never arrived;
    ``progress`` and ``light_gain``."""

    has_goal: bool
    reach_s: FloatArray
    progress: FloatArray
    light_gain: FloatArray

    def order(self) -> FloatArray:
        """A figure of each walker, the more the better; nan where it has none.

        Who arrives comes before who does not, and sooner before later; of others, who has more of the way
        behind it. Where there is no goal it is light gained.
        """
        if not self.has_goal:
            return self.light_gain
        return np.where(np.isnan(self.reach_s), self.progress, 2.0 + 1.0 / (1.0 + self.reach_s))


@dataclass(frozen=True)
class RoundsJob:
    """How many ``rounds`` are wanted of the contest on the bench, and of the pinned one."""

    now: Contest
    pinned: Contest | None
    rounds: int
    threads: int | None


@dataclass(frozen=True)
class RoundsResult:
    """The rounds that both have been run, of as many as were ``wanted``; ``pinned`` is empty without one."""

    names: tuple[str, ...]
    now: tuple[RoundFigures, ...]
    pinned: tuple[RoundFigures, ...]
    wanted: int

    def __len__(self) -> int:
        return len(self.now)


class RoundsRunner:
    """Runs rounds, and remembers them."""

    def __init__(self) -> None:
        self._known: OrderedDict[tuple[object, ...], RoundFigures] = OrderedDict()

    def run(self, job: RoundsJob, report: ProgressReport[RoundsResult]) -> RoundsResult:
        """Run all rounds; what was pinned is left out where it has no room to start.

        Raises OptionError where there is no room on the bench, ModelError, and what ``report`` raises.
        """
        now: list[RoundFigures] = []
        pinned: list[RoundFigures] = []
        names = tuple(entrant.design.name for entrant in job.now.entrants)
        report(0.0)
        other = job.pinned
        for number in range(job.rounds):
            now.append(self._round(job.now, number, job.threads, report, number / job.rounds))
            if other is not None:
                try:
                    half = (number + 0.5) / job.rounds
                    pinned.append(self._round(other, number, job.threads, report, half))
                except OptionError:
                    other = None
                    pinned.clear()
            so_far = RoundsResult(names, tuple(now), tuple(pinned), job.rounds)
            report((number + 1) / job.rounds, so_far)
        return RoundsResult(names, tuple(now), tuple(pinned), job.rounds)

    def _round(
        self,
        contest: Contest,
        number: int,
        threads: int | None,
        report: ProgressReport[RoundsResult],
        done: float,
    ) -> RoundFigures:
        contest = replace(contest, seed=repeat_seed(contest.seed, number))
        key = key_of(contest)
        figures = self._known.get(key)
        if figures is None:
            figures = figures_of(simulate(contest, threads, lambda _: report(done)), len(contest.entrants))
            self._known[key] = figures
            if len(self._known) > _KEPT:
                self._known.popitem(last=False)
        return figures


def key_of(contest: Contest) -> tuple[object, ...]:
    """All on which a run depends."""
    texts = tuple(entrant.text for entrant in contest.entrants)
    return contest.text, texts, contest.walkers, contest.seconds, contest.seed, contest.alone


def figures_of(replay: Replay, designs: int) -> RoundFigures:
    """The figures of a run, a row for each design. Raises OptionError where designs start unlike many."""
    measures = measure(replay, replay.goals, replay.seconds, np.arange(designs))
    counts = np.bincount(measures.design, minlength=designs)
    if len(set(counts.tolist())) != 1:
        raise OptionError("designs with unlike numbers of walkers cannot be compared in pairs")
    rows: IntArray = np.argsort(measures.design, kind="stable").reshape(designs, -1)
    return RoundFigures(
        bool(replay.goals), measures.reach_s[rows], measures.progress[rows], measures.light_gain[rows]
    )


def arrived(rounds: tuple[RoundFigures, ...], design: int) -> BoolArray:
    """Which walkers of a design have reached a goal, (rounds, walkers)."""
    return ~np.isnan(np.array([one.reach_s[design] for one in rounds]))
