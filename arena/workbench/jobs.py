"""What the workbench has worked out on threads of its own: the race, the map of light, and a pulse ahead."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from agents.arrays import FloatArray
from agents.design.as_built import build
from agents.design.spec import Design
from agents.errors import OptionError
from agents.handbook.light_kinds import KINDS, SUN, kind_index, panel_weights
from agents.testbench.bench_figures import BenchPoint, bench_record
from agents.testbench.fault_causes import fault_cause
from agents.testbench.measuring import BRIGHTEST
from agents.text.quantities import Pair
from arena.engine.light import Lights, light_map
from arena.engine.shadow import Standing, disc_points
from arena.recording import map_of
from arena.scene.contest import Contest, Entrant
from arena.scene.elements import MOST_WALKERS
from arena.scene.flat_arena import flatten
from arena.scene.placement import start_count
from arena.scene.records import wall_table
from arena.scene.spec import ArenaSpec
from arena.scene.still_arena import arena_at
from arena.simulation import simulate, starts_of
from arena.workbench.latest_worker import ProgressReport
from replays.format.tables import Replay
from replays.scoring.scores import DesignScore
from replays.scoring.scores import score as score_one

# Width of the one cell of a map that stands for a place [m].
_SPOT = 1e-3


@dataclass(frozen=True)
class RaceTerms:
    """How races are run; None is taken from the arena, or all cores.

    ``rounds`` are run of each race, with ``seed`` and as many others as it takes.
    """

    walkers: int | None = None
    seconds: float | None = None
    seed: int = 1
    alone: bool = False
    threads: int | None = None
    rounds: int = 8


def contest_of(spec: ArenaSpec, text: str, entrants: Sequence[Entrant], terms: RaceTerms) -> Contest:
    """A contest on these terms. Raises OptionError where there cannot be one."""
    names = [entrant.design.name for entrant in entrants]
    for name in names:
        if names.count(name) > 1:
            raise OptionError(f"{names.count(name)} designs have the name {name!r}; give each its own")
    walkers = terms.walkers or start_count(spec, len(entrants), terms.alone)
    if walkers * len(entrants) > MOST_WALKERS:
        raise OptionError(f"{walkers * len(entrants)} walkers are to run; the most is {MOST_WALKERS}")
    return Contest(spec, text, tuple(entrants), walkers, terms.seconds or spec.lasts, terms.seed, terms.alone)


def check_room(contest: Contest) -> None:
    """Raise OptionError where the walkers of a contest have no room to start."""
    each = np.concatenate([build(entrant.design) for entrant in contest.entrants])
    starts_of(contest, flatten(contest.arena), np.repeat(each, contest.walkers))


@dataclass(frozen=True)
class RaceJob:
    """A race to be run."""

    contest: Contest
    threads: int | None


@dataclass(frozen=True)
class RaceResult:
    """A race that has been run, or as much of it as has: up to ``until`` [s], then without scores."""

    replay: Replay
    scores: tuple[DesignScore, ...]
    until: float


def run_race(race: RaceJob, report: ProgressReport[RaceResult]) -> RaceResult:
    """Run it. Raises OptionError where the walkers have no room, ModelError, and what ``report`` raises."""
    seconds = race.contest.seconds
    replay = simulate(
        race.contest,
        race.threads,
        lambda done: report(done),
        lambda part, until: report(until / seconds, RaceResult(part, (), until)),
    )
    scores = tuple(score_one(replay))
    report(1.0)
    return RaceResult(replay, scores, seconds)


@dataclass(frozen=True)
class LightMapJob:
    """An arena of which the map of light is wanted, at the panels' ``height`` [m]."""

    spec: ArenaSpec
    height: float


def map_illuminance(
    wanted: LightMapJob, report: ProgressReport[npt.NDArray[np.float32]]
) -> npt.NDArray[np.float32]:
    """The map of light [lx], as a replay holds it."""
    report(0.0)
    return map_of(wanted.spec, wanted.height).astype(np.float32)


@dataclass(frozen=True)
class ForecastJob:
    """A design at a ``place`` [m] of an arena."""

    spec: ArenaSpec
    design: Design
    place: Pair


@dataclass(frozen=True)
class PulseForecast:
    """What a pulse will be at a spot: ``light`` [lx] there on a level surface, of ``kinds`` by share.

    ``causes`` are the faults by name, each with its cause in words.
    """

    design: Design
    light: float
    kinds: tuple[tuple[str, float], ...]
    point: BenchPoint
    causes: tuple[tuple[str, str], ...]


def forecast_pulse(spot: ForecastJob, report: ProgressReport[PulseForecast]) -> PulseForecast:
    """Measure the design on the bench in the light of the spot, at the height of its panel.

    The bench knows one kind of light at a time. A mixture is put to it as sun of the same illuminance, with a
    panel that takes from a lux what it takes from a lux of the mixture, E = Σ w_kind E_kind, and is warmed by
    it likewise.
    """
    report(0.0)
    by_kind = light_by_kind(spot.spec, spot.place, spot.design.panel.height)
    light = min(float(by_kind.sum()), BRIGHTEST)
    walkers = build(spot.design, spot.spec.air)
    walker = walkers[0]
    if light > 0.0:
        weights = np.array(panel_weights(spot.design.panel.response))
        walker["response"][kind_index(SUN)] = float(by_kind @ weights / by_kind.sum())
        walker["warming"][kind_index(SUN)] = float(by_kind @ walker["warming"] / by_kind.sum())
    point = bench_record(walker, light)
    causes = tuple((name, fault_cause(name, walker, point.measured)) for name in point.faults)
    shares = sorted(
        zip(KINDS, by_kind / max(float(by_kind.sum()), 1e-12), strict=True), key=lambda one: -one[1]
    )
    kinds = tuple((kind, float(share)) for kind, share in shares if share > 0.005)
    return PulseForecast(spot.design, light, kinds, point, causes)


def light_by_kind(spec: ArenaSpec, place: Pair, height: float) -> FloatArray:
    """Illuminance [lx] on a level surface at a place and ``height`` [m], for each kind of light."""
    arena = flatten(arena_at(spec))
    found = arena.ambient.copy()
    x, y = place
    spot = (x - _SPOT / 2, y - _SPOT / 2, x + _SPOT / 2, y + _SPOT / 2)
    standing = Standing(wall_table(arena.walls), arena.shades, arena.shade_points, disc_points())
    for kind in range(len(KINDS)):
        weights = (arena.sources["kind"] == kind).astype(np.float64)
        if weights.any():
            found[kind] += light_map(spot, _SPOT, height, Lights(arena.sources, weights, 0.0), standing)[0, 0]
    return found
