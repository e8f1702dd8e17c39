"""What is worked out while the viewer goes on: one worker each for races, maps of light, pulses ahead,
cures, and rounds with other luck."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from agents.design.spec import Design
from agents.text.quantities import Pair
from arena.scene.contest import Contest
from arena.scene.spec import ArenaSpec
from arena.workbench.cure_jobs import CureJob, CureResult, find_cures
from arena.workbench.jobs import (
    ForecastJob,
    LightMapJob,
    PulseForecast,
    RaceJob,
    RaceResult,
    forecast_pulse,
    map_illuminance,
    run_race,
)
from arena.workbench.latest_worker import LatestWorker
from arena.workbench.rounds import RoundsJob, RoundsResult, RoundsRunner
from replays.scoring.scores import DesignScore

# All of an arena on which its map of light depends.
_LIGHT_KEYS = ("floor", "walls", "shades", "lamps", "sun", "ambient", "day", "cell")


class Background:
    """The workers, and the last that each has brought.

    ``race`` is the last race that was finished, or the first one as far as it goes, and stays until the next
    one is there; ``scores_before`` are the scores of the one before it. ``light`` [lx] is the map of light,
    of the arena ``light_spec``.
    ``cures`` are those of what lies on the bench, ``rounds`` its figures with the luck of several seeds; None
    as long as they are not known.
    """

    def __init__(self) -> None:
        self.races: LatestWorker[RaceJob, RaceResult] = LatestWorker("race", run_race)
        self.light_maps: LatestWorker[LightMapJob, npt.NDArray[np.float32]] = LatestWorker(
            "light", map_illuminance
        )
        self.forecasts: LatestWorker[ForecastJob, PulseForecast] = LatestWorker("pulse", forecast_pulse)
        self.cure_searches: LatestWorker[CureJob, CureResult] = LatestWorker("cures", find_cures)
        self.round_runs: LatestWorker[RoundsJob, RoundsResult] = LatestWorker("rounds", RoundsRunner().run)
        self.cures: CureResult | None = None
        self.rounds: RoundsResult | None = None
        self.race: RaceResult | None = None
        self.scores_before: tuple[DesignScore, ...] = ()
        self.race_fault = ""
        self.light: npt.NDArray[np.float32] | None = None
        self.light_spec: ArenaSpec | None = None
        self.forecast: PulseForecast | None = None
        self._mapped: LightMapJob | None = None

    @property
    def is_busy(self) -> bool:
        """Whether anything is being worked out."""
        return self.races.busy or self.light_maps.busy or self.forecasts.busy

    @property
    def is_live(self) -> bool:
        """Whether the race on show is still under way."""
        return self.race is not None and self.race.until < self.race.replay.seconds

    def ask_for_race(self, contest: Contest, threads: int | None) -> None:
        """Run a contest in place of any other."""
        self.race_fault = ""
        self.races.ask(RaceJob(contest, threads))

    def drop_race(self, fault: str = "") -> None:
        """Run none, because of a ``fault`` of the contest, or empty."""
        self.race_fault = fault
        self.races.drop()

    def ask_for_light_map(self, spec: ArenaSpec, designs: Sequence[Design]) -> None:
        """Map the light as a replay of ``designs`` has it, unless nothing on which it depends has changed."""
        job = LightMapJob(spec, float(np.median([design.panel.height for design in designs])))
        known = self._mapped
        if (
            known is None
            or job.height != known.height
            or any(getattr(job.spec, key) != getattr(known.spec, key) for key in _LIGHT_KEYS)
        ):
            self._mapped = job
            self.light_maps.ask(job)

    def ask_for_forecast(self, spec: ArenaSpec, design: Design, place: Pair) -> None:
        """Ask what a pulse of a design will be at a place [m]."""
        self.forecasts.ask(ForecastJob(spec, design, place))

    def drop_findings(self) -> None:
        """What lies on the bench has changed: what was found out about it holds no longer."""
        self.cures = self.rounds = None
        self.cure_searches.drop()
        self.round_runs.drop()

    def take_findings(self) -> None:
        """Take in what has come out of searches for cures and of rounds."""
        cures = self.cure_searches.take()
        if cures is not None and cures.result is not None:
            self.cures = cures.result
        rounds = self.round_runs.take()
        if rounds is not None and rounds.result is not None:
            self.rounds = rounds.result
        elif self.round_runs.busy and self.round_runs.so_far is not None:
            self.rounds = self.round_runs.so_far

    def take_results(self) -> RaceResult | None:
        """Take in what has come out; returns the race that is now on show if it is another than before."""
        fresh: RaceResult | None = None
        race = self.races.take()
        if race is not None:
            self.race_fault = race.fault
            fresh = race.result
        elif self.races.so_far is not None and (self.race is None or self.is_live):
            # there is no older race to look at meanwhile
            fresh = self.races.so_far
        light = self.light_maps.take()
        if light is not None and light.result is not None:
            self.light, self.light_spec = light.result, light.job.spec
        forecast = self.forecasts.take()
        if forecast is not None:
            self.forecast = forecast.result
        if fresh is None or fresh is self.race:
            return None
        if self.race is not None and self.race.scores:
            self.scores_before = self.race.scores
        self.race = fresh
        return fresh

    def close(self) -> None:
        """Stop what is under way; nothing new is taken."""
        for worker in self._workers:
            worker.close()

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait for the threads to end, each at most ``timeout_s`` [s]; returns whether they have."""
        ended = [worker.join(timeout_s) for worker in self._workers]
        return all(ended)

    @property
    def _workers(self) -> tuple[LatestWorker[Any, Any], ...]:
        return self.races, self.light_maps, self.forecasts, self.cure_searches, self.round_runs
