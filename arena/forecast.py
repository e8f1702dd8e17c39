"""What a run will cost, told before it: pulses, time, memory and room on the disk.

Walkers go to the light and stay there, so a design counts as firing as often as it does in that part of the
floor in which it fires most, measured on the bench; in a day that is told for some hours of its sky, in the
open and in shades of several depths. How long a pulse takes, and how many rows it leaves, is
told by the run's own first pulses; those of a crowd that has gathered come to 0.6 to 1.0 of that in the
shipped arenas. It is a forecast within a factor of two, as a rule.
"""

import math
import shutil
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from agents.arrays import FloatArray
from agents.design.spec import Design
from agents.errors import OptionError
from agents.testbench.bench_figures import bench_point
from arena.recording import map_of
from arena.scene.contest import Contest
from arena.scene.sky import sky_of
from arena.simulation import plans_of, run_plans
from replays.format.large_tables import memory_room, spill_folder
from replays.words import bytes_words, time_words

LONG = 600.0
"""A run that takes longer [s] says so before it starts."""

# A run of fewer walker-seconds is soon over whatever its walkers are.
_SOON_OVER = 2e5
# Pulses of a run that are tried, worlds of those that stand alone, and for how long at the most [s].
_TRIED = 1500
_WORLDS = 32
_PATIENCE = 3.0
# Parts of the floor whose light is told apart, and the share of the floor that is its very brightest.
_LIGHTS = 9
_BRIGHTEST = 0.005
# Moments of a day whose light is told, and what of it comes to places in the open and in shades.
_HOURS = 12
_SHADES = (1.0, 0.5, 0.25, 0.1)
# A day is tried for that share of it at least, as in its first hours the sky costs more than pulses do; or
# until that takes so long [s].
_DAY_SHARE, _DAY_PATIENCE = 0.25, 1.0
# A run is tried for this share of its time at first where it fires less than that takes.
_FIRST_SHARE = 1.0 / 16.0
# Cells of the map by which the light is told, along the longer side of the floor.
_CELLS = 40
# A byte of rows comes to so many in the columns that are packed, and in the file.
_PACKED, _FILED = 0.4, 0.08


@dataclass(frozen=True)
class RunForecast:
    """About how much a run comes to: ``pulses``, ``seconds`` [s] on this machine, ``rows`` [bytes] of tables.

    ``file`` [bytes] is what the replay will be, ``room`` [bytes] what tables may take of the memory; what is
    beyond goes to the disk.
    """

    pulses: float
    seconds: float
    rows: float
    file: float
    room: float

    @property
    def on_disk(self) -> float:
        """How much the disk has to take beside the replay for a while [bytes]."""
        return 0.0 if self.rows < self.room else (2.0 + _PACKED) * self.rows

    @property
    def is_large(self) -> bool:
        """Whether this is to be told before the run starts."""
        return self.seconds > LONG or self.rows > self.room

    def words(self) -> str:
        """What it comes to, in a sentence."""
        pulses = float(f"{self.pulses:.2g}")
        told = (
            f"about {pulses:,.0f} pulses: {time_words(self.seconds)} on this machine, and a replay of "
            f"{bytes_words(self.file)}"
        )
        if self.on_disk:
            told += (
                f"; as its tables are larger than a quarter of the free memory, {spill_folder()} takes "
                f"{bytes_words(self.on_disk)} of them meanwhile"
            )
        return told

    def check_room(self, out: Path) -> None:
        """Raise OptionError, with figures, where the disk cannot take what this leaves at ``out``."""
        here, there = out.resolve().parent, spill_folder()
        needed = {here: self.file}
        needed[there] = needed.get(there, 0.0) + self.on_disk
        for folder, size in needed.items():
            free = shutil.disk_usage(folder).free
            if size > free:
                raise OptionError(
                    f"{folder}: the run would take {bytes_words(size)} there, where {bytes_words(free)} are "
                    f"free ({self.words()}); ask for fewer walkers or a shorter run, or go on with --anyway"
                )


def forecast(contest: Contest, threads: int | None = None) -> RunForecast | None:
    """What running ``contest`` will cost; None where it is so little that nobody need know.

    Raises what :func:`~arena.simulation.simulate` raises where walkers have no room.
    """
    walkers = contest.walkers * len(contest.entrants)
    if walkers * contest.seconds < _SOON_OVER:
        return None
    lights, kind = _floor_lights(contest)
    rates = [_rate(one.design, lights, kind, contest.arena.air) for one in contest.entrants]
    if contest.arena.day is not None:
        # by its lamps, or by its sky
        rates = np.maximum(rates, _rates_of_day(contest)).tolist()
    expected = contest.walkers * float(np.sum(rates)) * contest.seconds
    pulses, seconds, rows = _tried(contest, expected, threads)
    share = expected / max(pulses, 1)
    return RunForecast(
        pulses=expected,
        seconds=share * seconds,
        rows=share * rows,
        file=_FILED * share * rows,
        room=memory_room(),
    )


def _floor_lights(contest: Contest) -> tuple[FloatArray, str]:
    """Light [lx] amid each ninth of the floor, and where it is brightest; the kind of most of it."""
    arena = contest.arena
    width, depth = np.ptp(np.array(arena.floor.outline), axis=0).tolist()
    cell = max(arena.cell, max(width, depth) / _CELLS)
    light = map_of(arena.model_copy(update={"cell": cell}), 0.05)
    kinds: dict[str, float] = {arena.ambient.light: arena.ambient.illuminance}
    if arena.sun is not None:
        kinds[arena.sun.light] = kinds.get(arena.sun.light, 0.0) + arena.sun.illuminance
    for lamp in arena.lamps:
        kinds[lamp.light] = kinds.get(lamp.light, 0.0) + float(light.max())
    parts = np.quantile(light, [*((np.arange(_LIGHTS) + 0.5) / _LIGHTS), 1.0 - _BRIGHTEST])
    return np.minimum(parts, 1e6), max(kinds, key=lambda kind: kinds[kind])


def _rates_of_day(contest: Contest) -> list[float]:
    """Pulses a second of each design in the mean of a day, by the light of its sky alone."""
    sky = sky_of(contest.arena, contest.seconds, contest.seed)
    assert sky is not None
    hours = (np.arange(_HOURS) + 0.5) / _HOURS * contest.seconds
    steps = sky.steps[np.searchsorted(sky.steps["start"], hours, "right") - 1]
    # on a panel that lies flat
    open_lights = steps["sun"] * np.maximum(-steps["aim_z"], 0.0) + steps["clear_sky"] + steps["overcast_sky"]
    shades = np.array(_SHADES)
    return [
        float(
            np.mean(
                [
                    _rate(one.design, np.minimum(light * shades, 1e6), "sun", float(air))
                    for light, air in zip(open_lights.tolist(), steps["air"].tolist(), strict=True)
                ]
            )
        )
        for one in contest.entrants
    ]


def _rate(design: Design, lights: FloatArray, kind: str, air: float) -> float:
    """Pulses a second of a design in that one of ``lights`` [lx] in which it fires most."""
    between = [bench_point(design, light, kind, air).measured.first.between for light in lights.tolist()]
    return max(1.0 / wait if wait else 0.0 for wait in between)


def _tried(contest: Contest, expected: float, threads: int | None) -> tuple[int, float, int]:
    """Pulses, seconds [s] of work and bytes of rows of the run's first pulses."""
    plans = plans_of(contest)
    if contest.alone:
        # from all over the list, so that every design is among them
        plans = plans[:: math.ceil(len(plans) / _WORLDS)]
    share = sum(len(plan.walkers) for plan in plans) / (contest.walkers * len(contest.entrants))
    until = contest.seconds * min(_TRIED / max(share * expected, 1.0), _FIRST_SHARE)
    # compiled, or fetched from the disk, before it counts
    run_plans([replace(plan, until=1e-3) for plan in plans[:1]], threads)
    while True:
        begun = time.perf_counter()
        tables, _ = run_plans([replace(plan, until=until) for plan in plans], threads)
        seconds = time.perf_counter() - begun
        pulses = len(tables["pulses"])
        is_typical = (
            contest.arena.day is None or until > _DAY_SHARE * contest.seconds or seconds > _DAY_PATIENCE
        )
        enough = pulses >= _TRIED // 2 and is_typical
        if enough or until >= contest.seconds or seconds > _PATIENCE:
            return pulses, seconds, sum(table.nbytes for table in tables.values())
        until = min(2.0 * until, contest.seconds)
