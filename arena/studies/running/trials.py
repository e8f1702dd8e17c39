"""Trials: many worlds side by side on the engine, and the row of scores that each leaves behind.

Trial t of a study is repeat ``t mod R`` of setting ``t // R``. It is a world of its own, and its luck depends
on the plan's seed and the repeat alone: walker w of repeat r draws its parts, its jitter and its start as
copy ``r W + w`` of a contest, W the most walkers of any trial. So a trial is the same in whatever order,
chunk, thread or process it runs, the repeats of all settings are paired, and two seeds share no draw.
"""

import math
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError, ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from threading import Lock
from typing import Any

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.circuit.records import WALKER
from agents.design.built_copies import draw_copies
from agents.errors import InputError, OptionError
from arena.engine.assembly import WorldPlan
from arena.engine.looked_up import worth_looking_up
from arena.recording import describe_arena, walker_rows
from arena.scene.flat_arena import FlatArena, flatten
from arena.scene.placement import Footprint, Ground, footprints
from arena.scene.sky import Sky, sky_of
from arena.scene.spec import ArenaSpec
from arena.simulation import run_worlds
from arena.studies.plans.study import Setting, Study
from arena.studies.running.trial_columns import crowd_columns, trial_columns
from arena.studies.trial_scores import SCORE_COLUMNS, TRIAL
from replays.format.large_tables import join_tables
from replays.format.tables import Tables
from replays.scoring.crowd_measures import CrowdFloor, measure_crowd
from replays.scoring.measures import measure

# Trials of a chunk at the most, and walker-seconds in it [s], so that little is lost where trials take long.
MOST_IN_CHUNK = 256
CHUNK_SECONDS = 2e6
# Flat arenas and start poses that are kept, since settings share them.
KEPT_ARENAS = 64
KEPT_STARTS = 100_000


def chunk_size(study: Study) -> int:
    """Trials of one chunk of a study: the unit in which they are journaled, and sent to other machines."""
    lasts = study.seconds or max(spec.lasts for spec, _ in study.arenas)
    room = CHUNK_SECONDS / (lasts * study.walkers)
    return min(MOST_IN_CHUNK, 2 ** max(0, math.floor(math.log2(room))))


def run_chunk(study: Study, number: int, threads: int = 1, stop: IntArray | None = None) -> RecordArray:
    """Run the trials of chunk ``number`` and return their rows of TRIAL.

    Once ``stop[0]`` is not 0 the work ends within a moment, with CancelledError.
    """
    size = chunk_size(study)
    first, last = number * size, min((number + 1) * size, study.trials)
    cells = []
    while first < last:
        setting, repeat = divmod(first, study.repeats)
        until = min(study.repeats, repeat + last - first)
        cells.append((study.setting(setting), range(repeat, until)))
        first += until - repeat
    return _run(study, cells, threads, stop)


def run_trials(
    study: Study,
    settings: Sequence[Setting],
    repeats: Sequence[int],
    threads: int | None = None,
    stop: IntArray | None = None,
) -> RecordArray:
    """Run some repeats of some settings, and return their rows of TRIAL, (settings, repeats).

    ``threads`` is the number of cores to be used, all by default. ``trial`` is -1 in the rows of a setting
    without a number. Otherwise as :func:`run_chunk`.
    """
    cells = [(setting, repeats) for setting in settings]
    rows = _run(study, cells, threads or os.cpu_count() or 1, stop)
    return rows.reshape(len(settings), len(repeats))


def reason_of(study: Study, trial: int) -> str:
    """Why a trial whose row says ``impossible`` is so."""
    number, repeat = divmod(trial, study.repeats)
    setting = study.setting(number)
    return obstacle(study, setting, repeat) or _bench_of(study).loss(setting, repeat)


def obstacle(study: Study, setting: Setting, repeat: int = 0) -> str:
    """Why a repeat of a setting cannot even begin; empty where it can."""
    (world,) = _bench_of(study).worlds(setting, [repeat])
    return world if isinstance(world, str) else ""


_Cells = Sequence[tuple[Setting, Sequence[int]]]


def _run(study: Study, cells: _Cells, threads: int, stop: IntArray | None) -> RecordArray:
    stop = np.zeros(1, np.int64) if stop is None else stop
    bench = _bench_of(study)
    count = sum(len(repeats) for _, repeats in cells)
    size = min(chunk_size(study), math.ceil(count / max(1, threads)))
    if count <= size:
        return bench.run(cells, stop)
    with ThreadPoolExecutor(threads) as pool:
        futures = [pool.submit(bench.run, piece, stop) for piece in _pieces(cells, size)]
        try:
            return np.concatenate([future.result() for future in futures])
        except BaseException:
            # whatever went wrong, nobody is to wait for the other trials
            stop[0] = 1
            for future in futures:
                future.cancel()
            raise


def _pieces(cells: _Cells, size: int) -> Iterator[_Cells]:
    """Cut cells into pieces of ``size`` trials."""
    piece: list[tuple[Setting, Sequence[int]]] = []
    room = size
    for setting, repeats in cells:
        begun = 0
        while begun < len(repeats):
            some = repeats[begun : begun + room]
            piece.append((setting, some))
            begun += len(some)
            room -= len(some)
            if room == 0:
                yield piece
                piece, room = [], size
    if piece:
        yield piece


@dataclass(frozen=True)
class _Floor:
    """An arena as it is run, in ``air`` of a temperature [K].

    ``crowd`` is what scores need to know of it, and ``marked`` the parts of its file that decide that;
    ``sky`` is how light changes, where it is the same in every repeat.
    """

    spec: ArenaSpec
    arena: FlatArena
    sky: Sky | None
    air: float
    ground: Ground
    ground_number: int
    seconds: float
    marked: tuple[Any, ...]
    crowd: CrowdFloor


@dataclass(frozen=True)
class _World:
    """What one trial runs: WALKER records and their copies' numbers, (W,), and start poses, (W, 3).

    ``alike`` is how many walkers of the study's setting are built as each of them is.
    """

    floor: _Floor
    walkers: RecordArray
    copies: IntArray
    poses: FloatArray
    sky: Sky | None
    alike: int


def _has_clouds(spec: ArenaSpec) -> bool:
    return spec.day is not None and spec.day.clouds is not None


class _Bench:
    """Sets up and runs the trials of one study, and keeps what its settings share. Threads may share it."""

    def __init__(self, study: Study) -> None:
        self._study = study
        self._floors: dict[Any, _Floor] = {}
        self._grounds: dict[Any, tuple[int, Ground]] = {}
        self._starts: dict[Any, FloatArray | str] = {}
        self._ground_count = 0
        self._lock = Lock()

    def run(self, cells: _Cells, stop: IntArray) -> RecordArray:
        """Run trials and return their rows, cell by cell."""
        rows = np.zeros(sum(len(repeats) for _, repeats in cells), TRIAL)
        for name in SCORE_COLUMNS:
            rows[name] = np.nan
        rows["impossible"] = 1.0
        # what the scores of a world need to know of its arena, and how many are in it
        alike: dict[Any, list[tuple[int, _World]]] = {}
        first = 0
        for setting, repeats in cells:
            numbers = np.array(repeats, np.int64) + setting.number * self._study.repeats
            rows["trial"][first : first + len(repeats)] = numbers if setting.number >= 0 else -1
            for place, world in enumerate(self.worlds(setting, repeats), first):
                if not isinstance(world, str):
                    key = (world.floor.marked, world.floor.seconds, len(world.walkers))
                    alike.setdefault(key, []).append((place, world))
            first += len(repeats)
        for group in alike.values():
            self._run_alike(group, rows, stop)
        return rows

    def worlds(self, setting: Setting, repeats: Sequence[int]) -> list[_World | str]:
        """Set up some repeats of a setting; for each that is impossible, say why."""
        study, count = self._study, self._study.walkers_of(setting)
        try:
            floor = self._floor(setting)
            design = study.design_of(setting)
        except InputError as error:
            return [str(error)] * len(repeats)
        numbers = (np.array(repeats, np.int64)[:, None] * study.walkers + np.arange(count)).ravel()
        walkers = draw_copies(design, study.seed, numbers, floor.air)
        alike = 1 if design.spreads else count * study.repeats
        prints = footprints(walkers)
        worlds: list[_World | str] = []
        for index, repeat in enumerate(repeats):
            mine = slice(index * count, (index + 1) * count)
            poses = self._start(floor, tuple(prints[mine]), repeat)
            worlds.append(
                poses
                if isinstance(poses, str)
                else _World(floor, walkers[mine], numbers[mine], poses, self._sky(floor, repeat), alike)
            )
        return worlds

    def _sky(self, floor: _Floor, repeat: int) -> Sky | None:
        """How light changes in a repeat, the same for every design: its clouds are drawn by its number."""
        if not _has_clouds(floor.spec):
            return floor.sky
        return sky_of(floor.spec, floor.seconds, self._study.seed, repeat)

    def _floor(self, setting: Setting) -> _Floor:
        key = (self._study.arena_key(setting), self._study.seconds_of(setting))
        with self._lock:
            floor = self._floors.get(key)
            if floor is None:
                floor = self._make_floor(self._study.arena_of(setting), key[1])
                if len(self._floors) == KEPT_ARENAS:
                    del self._floors[next(iter(self._floors))]
                self._floors[key] = floor
        return floor

    def _make_floor(self, spec: ArenaSpec, seconds: float) -> _Floor:
        arena = flatten(spec)
        # lamps may differ on the same ground
        key = (spec.name, spec.floor, spec.walls, spec.starts)
        if key not in self._grounds:
            if len(self._grounds) == KEPT_ARENAS:
                del self._grounds[next(iter(self._grounds))]
            self._grounds[key] = (self._ground_count, Ground(spec, arena))
            self._ground_count += 1
        number, ground = self._grounds[key]
        marked = (spec.floor, spec.walls, spec.goals, spec.gates)
        sky = None if _has_clouds(spec) else sky_of(spec, seconds)
        crowd = CrowdFloor.of(describe_arena(spec, ""))
        return _Floor(spec, arena, sky, spec.air, ground, number, seconds, marked, crowd)

    def _start(self, floor: _Floor, prints: tuple[Footprint, ...], repeat: int) -> FloatArray | str:
        """Start poses (W, 3) of a repeat, or why there is no room."""
        key = (floor.ground_number, prints, repeat)
        poses = self._starts.get(key)
        if poses is None:
            try:
                most, seed = self._study.walkers, self._study.seed
                if most == 1:
                    poses = np.array([floor.ground.place_alone(prints[0], seed, repeat)])
                else:
                    poses = floor.ground.place(list(prints), seed, repeat * most)
            except OptionError as error:
                poses = str(error)
            if len(self._starts) * len(prints) > KEPT_STARTS:
                self._starts.clear()
            self._starts[key] = poses
        return poses

    def _plans(self, worlds: Sequence[_World]) -> list[WorldPlan]:
        # those that are put together are alike in number
        count, seed = len(worlds[0].walkers), self._study.seed
        return [
            WorldPlan(
                world.floor.arena,
                world.walkers,
                world.poses,
                np.arange(place * count, (place + 1) * count),
                world.copies,
                seed,
                world.floor.seconds,
                world.sky,
                looked_up=np.full(count, worth_looking_up(world.alike, world.floor.seconds)),
            )
            for place, world in enumerate(worlds)
        ]

    def loss(self, setting: Setting, repeat: int) -> str:
        """What the model says of a repeat in which it lost a walker; empty where it did not."""
        (world,) = self.worlds(setting, [repeat])
        assert isinstance(world, _World)
        _, lost = run_worlds(self._plans([world]), np.zeros(1, np.int64))
        return str(lost[0]) if lost else ""

    def _run_alike(self, group: list[tuple[int, _World]], rows: RecordArray, stop: IntArray) -> None:
        """Run worlds of the same length with as many walkers and the same goals; write their rows."""
        count = len(group[0][1].walkers)
        tables, lost = run_worlds(self._plans([world for _, world in group]), stop)
        if stop[0]:
            raise CancelledError
        if lost:
            # half a run is worth nothing; the others run again without it, which is rare
            kept = [one for number, one in enumerate(group) if number not in lost]
            if kept:
                self._run_alike(kept, rows, stop)
            return
        floor = group[0][1].floor
        walkers = walker_rows(
            join_tables([world.walkers for _, world in group], WALKER),
            np.concatenate([world.poses for _, world in group]),
            np.repeat(np.arange(len(group)), count),
            count,
        )
        # each trial goes for a design of its own, so that nothing of it depends on its neighbours
        told = Tables(walkers=walkers, **tables)
        measures = measure(told, floor.crowd.goals, floor.seconds, np.arange(len(group)))
        found = trial_columns(measures, len(group))
        found |= crowd_columns(measure_crowd(told, floor.crowd, floor.seconds), floor.crowd, len(group))
        places = np.array([place for place, _ in group])
        for name, values in found.items():
            rows[name][places] = values


@lru_cache(maxsize=2)
def _bench_of(study: Study) -> _Bench:
    return _Bench(study)
