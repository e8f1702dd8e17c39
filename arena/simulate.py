"""Running a contest: designs and an arena in, a replay out."""

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait

import numpy as np
import numpy.typing as npt

from agents.build import fill
from agents.errors import ModelError
from agents.walker import WALKER
from arena.assemble import WorldPlan, assemble, joined
from arena.batch import advance_batch
from arena.contest import Contest
from arena.flatten import FlatArena, flatten
from arena.layout import ENDED, FRESH, FULL, LOST, STOPPED, Batch, Records
from arena.placement import footprints, place_walkers
from arena.record import compose
from replays.record import LIGHTS, POSES, PULSES, TOUCHES, Replay

# Worlds that one call of the engine runs at the most, and calls into which a world of its own is cut, so that
# progress can be told.
BATCH = 16
SLICES = 100

TABLES = {"pulses": PULSES, "poses": POSES, "touches": TOUCHES, "lights": LIGHTS}

Progress = Callable[[float], None]


def simulate(contest: Contest, threads: int | None = None, progress: Progress | None = None) -> Replay:
    """Run a contest and return its replay, the same for any number of ``threads``.

    ``progress`` is called with the share done, 0 to 1. Raises OptionError where the walkers have no room,
    ModelError where the model lost a walker; KeyboardInterrupt stops the run within a moment.
    """
    arena = flatten(contest.arena)
    walkers, parts = _built_copies(contest)
    poses, heats = _starts(contest, arena, walkers)
    plans = _plans(contest, arena, walkers, poses, heats)
    tables, ledger = run_plans(plans, threads, progress)
    return compose(
        contest, arena, walkers, parts, poses, heats, tables, ledger, threads or os.cpu_count() or 1
    )


def _built_copies(contest: Contest) -> tuple[Records, list[dict[str, float]]]:
    """Every walker as built, design by design, and the parts that were drawn for it."""
    walkers = np.zeros(len(contest.entrants) * contest.walkers, WALKER)
    parts: list[dict[str, float]] = []
    for index, entrant in enumerate(contest.entrants):
        first = index * contest.walkers
        for copy in range(contest.walkers):
            drawn = entrant.design.drawn_parts(contest.seed, copy)
            if drawn or copy == 0:
                fill(walkers[first + copy], entrant.design.with_values(drawn))
            else:
                walkers[first + copy] = walkers[first]
            parts.append(drawn)
    return walkers, parts


def _starts(
    contest: Contest, arena: FlatArena, walkers: Records
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]:
    """Start pose and heat of every walker; on a common floor, designs take turns at the places."""
    designs, copies = len(contest.entrants), contest.walkers
    prints = footprints(walkers)
    if not contest.alone:
        turns = [index * copies + copy for copy in range(copies) for index in range(designs)]
        poses = np.empty((len(walkers), 3))
        poses[turns] = place_walkers(contest.arena, arena, [prints[turn] for turn in turns], contest.seed)
        return poses, np.zeros(len(walkers), np.int64)
    # alone, the largest body of each copy's number decides whether there is room
    largest = [
        max((prints[index * copies + copy] for index in range(designs)), key=lambda one: one.radius)
        for copy in range(copies)
    ]
    if contest.arena.starts.places is not None:
        poses = place_walkers(contest.arena, arena, largest, contest.seed)
    else:
        poses = np.concatenate(
            [
                place_walkers(contest.arena, arena, [one], contest.seed + copy)
                for copy, one in enumerate(largest)
            ]
        )
    return np.tile(poses, (designs, 1)), np.arange(len(walkers))


def _plans(
    contest: Contest,
    arena: FlatArena,
    walkers: Records,
    poses: npt.NDArray[np.float64],
    heats: npt.NDArray[np.int64],
) -> list[WorldPlan]:
    chances = np.tile(np.arange(contest.walkers), len(contest.entrants))
    groups = [[number] for number in range(len(walkers))] if contest.alone else [list(range(len(walkers)))]
    return [
        WorldPlan(
            arena,
            walkers[group],
            poses[group],
            np.array(group),
            chances[group],
            contest.seed,
            contest.seconds,
        )
        for group in groups
    ]


def run_plans(
    plans: Sequence[WorldPlan], threads: int | None = None, progress: Progress | None = None
) -> tuple[dict[str, Records], npt.NDArray[np.float64]]:
    """Run worlds side by side; returns their output tables, sorted, and the ledger of every walker.

    The ledger [J] has the columns of replays.record.LEDGER; its rows are in the order of the plans' walkers.
    """
    workers = max(1, threads or os.cpu_count() or 1)
    # few worlds are dealt out so that nobody stands idle
    size = max(1, min(BATCH, math.ceil(len(plans) / (2 * workers))))
    groups = [plans[first : first + size] for first in range(0, len(plans), size)]
    whole = sum(float(plan.until) for plan in plans)
    done = [0.0] * len(groups)
    stop = np.zeros(1, np.int64)

    def run(number: int) -> tuple[dict[str, list[Records]], npt.NDArray[np.float64]]:
        batch, spans = assemble(groups[number])
        batch = batch._replace(out=batch.out._replace(stop=stop))

        def tell(time: float) -> None:
            done[number] = time * len(spans)

        return _run_batch(batch, spans, tell), _ledger(batch)

    with ThreadPoolExecutor(workers) as pool:
        futures = [pool.submit(run, number) for number in range(len(groups))]
        try:
            waiting = set(futures)
            while waiting:
                finished, waiting = wait(waiting, timeout=0.1, return_when=FIRST_EXCEPTION)
                for future in finished:
                    future.result()
                if progress is not None:
                    progress(min(sum(done) / whole, 1.0))
        except BaseException:
            # whatever went wrong, nobody is to wait for the other worlds
            stop[0] = 1
            for future in futures:
                future.cancel()
            raise
    results = [future.result() for future in futures]
    tables = {name: _sorted(name, [one for chunks, _ in results for one in chunks[name]]) for name in TABLES}
    return tables, np.concatenate([ledger for _, ledger in results])


def _run_batch(batch: Batch, spans: Records, tell: Progress) -> dict[str, list[Records]]:
    """Run the worlds of one batch to their end, emptying their output whenever it is full."""
    chunks: dict[str, list[Records]] = {name: [] for name in TABLES}
    last = float(np.max(batch.crowd.settings["until"]))
    slices = SLICES if len(spans) == 1 else 1
    codes = np.full(len(spans), FRESH)
    for step in range(1, slices + 1):
        until = last * step / slices if step < slices else math.inf
        while True:
            advance_batch(batch, spans, codes, until)
            _empty(batch, chunks)
            if not np.any(codes == FULL):
                break
        if np.any(codes == STOPPED):
            return chunks
        if np.any(codes == LOST):
            raise ModelError("the model lost a walker: its circuit came to a state that is no number")
        tell(min(until, last))
    assert np.all(codes == ENDED)
    return chunks


def _empty(batch: Batch, chunks: dict[str, list[Records]]) -> None:
    """Move what the worlds have written to ``chunks``."""
    for place, (name, kind) in enumerate(TABLES.items()):
        table = getattr(batch.out, name)
        counts = batch.out.counts[:, place].tolist()
        chunks[name].append(joined([table[number, :count] for number, count in enumerate(counts)], kind))
    batch.out.counts[:, : len(TABLES)] = 0


def _sorted(name: str, chunks: list[Records]) -> Records:
    table = joined(chunks, TABLES[name])
    keys = {
        "pulses": ("walker", "start_s"),
        "poses": ("time_s", "walker"),
        "touches": ("walker", "time_s"),
        "lights": ("time_s", "walker"),
    }[name]
    order = np.lexsort([table[key] for key in keys])
    # as bytes, not field by field
    return table.view(np.dtype((np.void, table.itemsize)))[order].view(table.dtype)


def _ledger(batch: Batch) -> npt.NDArray[np.float64]:
    state, walkers = batch.crowd.bodies["state"], batch.crowd.walkers
    stored = 0.5 * walkers["capacitance"] * (state["rail"] ** 2 - walkers["start_rail"] ** 2)
    spent = [state[f"{name}_energy"] for name in ("motor", "base", "eye", "leak", "esr")]
    return np.column_stack([state["panel_energy"], stored, *spent])
