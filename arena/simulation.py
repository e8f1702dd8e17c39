"""Running a contest: designs and an arena in, a replay out."""

import math
import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.circuit.records import WALKER
from agents.circuit.status import failure
from agents.design.built_copies import build_copies, part_chances, part_values
from agents.errors import ModelError, raise_first
from arena.engine.assembly import Known, WorldPlan, assemble
from arena.engine.batch import advance_batch
from arena.engine.looked_up import alike_among, worth_looking_up
from arena.engine.tolerances import USUAL, Tolerances
from arena.engine.world_arrays import ENDED, FRESH, FULL, LOST, LOST_PLACE, STOPPED, Batch
from arena.recording import compose
from arena.scene.contest import Contest
from arena.scene.flat_arena import FlatArena, flatten
from arena.scene.placement import Ground, footprints
from arena.scene.sky import Sky, sky_of
from replays.format.large_tables import Gathering, in_order, join_tables
from replays.format.tables import LEDGER, LIGHTS, ORDERS, POSES, PULSES, TOUCHES, Replay

# Worlds that one call of the engine runs at the most, which share the cost of putting them together, with so
# many walkers where they are several; and calls into which a world of its own is cut, so that progress can be
# told.
BATCH = 128
TOGETHER = 4096
SLICES = 100

OUTPUT_TABLES = {"pulses": PULSES, "poses": POSES, "touches": TOUCHES, "lights": LIGHTS}

Progress = Callable[[float], None]
Glimpse = Callable[[Replay, float], None]
# Takes rows of a table, by its name.
Taker = Callable[[str, RecordArray], None]
# What a walker is called, by its number in the replay.
Called = Callable[[int], str]

# Seconds between two glimpses of a run that is under way.
GLIMPSE_EVERY = 0.5


def simulate(
    contest: Contest,
    threads: int | None = None,
    progress: Progress | None = None,
    glimpse: Glimpse | None = None,
    tolerances: Tolerances = USUAL,
) -> Replay:
    """Run a contest and return its replay, the same for any number of ``threads``.

    ``progress`` is called with the share done, 0 to 1. ``glimpse`` is called now and then, where all walkers
    share a floor, with the replay as far as it goes and the time [s] up to which that is, as soon as there is
    something to see. Whatever either of them raises stops the run within a moment, as does KeyboardInterrupt.
    ``tolerances`` tell how finely it is worked out.
    Raises OptionError where the walkers have no room, ModelError where the model lost a walker, which tells
    of the same one for any ``threads``.

    >>> contest = read_contest("open-bench", ["poppy"], walkers=2, seconds=300, seed=7)
    >>> race = simulate(contest)
    >>> len(race.walkers), race.seconds, set(race.pulses["walker"].tolist())
    (2, 300.0, {0, 1})
    >>> simulate(contest, threads=1).pulses.tobytes() == race.pulses.tobytes()
    True
    """
    arena = flatten(contest.arena)
    walkers, parts = _built_copies(contest)
    poses, heats = starts_of(contest, arena, walkers)
    sky = sky_of(contest.arena, contest.seconds, contest.seed)
    plans = _plans(contest, arena, walkers, poses, heats, sky, tolerances)

    def whole(tables: dict[str, RecordArray], ledger: FloatArray) -> Replay:
        return compose(
            contest, arena, walkers, parts, poses, heats, tables, ledger, threads or os.cpu_count() or 1, sky
        )

    def look(tables: dict[str, RecordArray], until: float) -> None:
        assert glimpse is not None
        glimpse(whole(tables, np.zeros((len(walkers), len(LEDGER)))), until)

    def called(number: int) -> str:
        entrant, copy = divmod(number, contest.walkers)
        return f"{contest.entrants[entrant].design.name} {copy + 1}"

    tables, ledger = run_plans(plans, threads, progress, None if glimpse is None else look, called)
    return whole(tables, ledger)


def _built_copies(contest: Contest) -> tuple[RecordArray, list[dict[str, float]]]:
    """Every walker as built, design by design, and the parts that were drawn for it."""
    walkers = np.zeros(len(contest.entrants) * contest.walkers, WALKER)
    parts: list[dict[str, float]] = []
    for index, entrant in enumerate(contest.entrants):
        design = entrant.design
        values = part_values(design, part_chances(design, contest.seed, range(contest.walkers)))
        walkers[index * contest.walkers :][: contest.walkers] = build_copies(
            design, values, contest.arena.air
        )
        names = [spread.path for spread in design.spreads]
        parts += [dict(zip(names, row, strict=True)) for row in values.tolist()]
    return walkers, parts


def starts_of(contest: Contest, arena: FlatArena, walkers: RecordArray) -> tuple[FloatArray, IntArray]:
    """Start pose, (walkers, 3), and heat of every WALKER record; on a common floor designs take turns.

    Raises OptionError where the walkers have no room.
    """
    designs, copies = len(contest.entrants), contest.walkers
    prints = footprints(walkers)
    ground = Ground(contest.arena, arena)
    if not contest.alone:
        turns = [index * copies + copy for copy in range(copies) for index in range(designs)]
        poses = np.empty((len(walkers), 3))
        poses[turns] = ground.place([prints[turn] for turn in turns], contest.seed)
        return poses, np.zeros(len(walkers), np.int64)
    # alone, the largest body of each copy's number decides whether there is room
    largest = [
        max((prints[index * copies + copy] for index in range(designs)), key=lambda one: one.radius)
        for copy in range(copies)
    ]
    if contest.arena.starts.places is not None:
        poses = ground.place(largest, contest.seed)
    else:
        poses = np.array([ground.place_alone(one, contest.seed, copy) for copy, one in enumerate(largest)])
    return np.tile(poses, (designs, 1)), np.arange(len(walkers))


def plans_of(contest: Contest) -> list[WorldPlan]:
    """The worlds of a contest before they run. Raises OptionError where the walkers have no room."""
    arena = flatten(contest.arena)
    walkers, _ = _built_copies(contest)
    sky = sky_of(contest.arena, contest.seconds, contest.seed)
    return _plans(contest, arena, walkers, *starts_of(contest, arena, walkers), sky, USUAL)


def _plans(
    contest: Contest,
    arena: FlatArena,
    walkers: RecordArray,
    poses: FloatArray,
    heats: IntArray,
    sky: Sky | None,
    tolerances: Tolerances,
) -> list[WorldPlan]:
    chances = np.tile(np.arange(contest.walkers), len(contest.entrants))
    groups = [[number] for number in range(len(walkers))] if contest.alone else [list(range(len(walkers)))]
    looked_up = worth_looking_up(alike_among(walkers), contest.seconds)
    return [
        WorldPlan(
            arena,
            walkers[group],
            poses[group],
            np.array(group),
            chances[group],
            contest.seed,
            contest.seconds,
            sky,
            tolerances=tolerances,
            looked_up=looked_up[group],
        )
        for group in groups
    ]


def run_plans(
    plans: Sequence[WorldPlan],
    threads: int | None = None,
    progress: Progress | None = None,
    look: Callable[[dict[str, RecordArray], float], None] | None = None,
    called: Called = lambda number: f"walker {number + 1}",
) -> tuple[dict[str, RecordArray], FloatArray]:
    """Run worlds side by side; returns their output tables, sorted, and the ledger of every walker.

    The ledger [J] has the columns of replays.format.tables.LEDGER; its rows are in the order of the plans'
    walkers. ``look`` is called now and then with the tables of a single world so far, and until when [s] they
    go. Raises the ModelError of the first of the plans whose world lost a walker, which goes by what it is
    ``called``.
    """
    workers = max(1, threads or os.cpu_count() or 1)
    # few worlds are dealt out so that nobody stands idle
    largest = max(len(plan.walkers) for plan in plans)
    size = max(1, min(BATCH, TOGETHER // largest, math.ceil(len(plans) / (4 * workers))))
    groups = [plans[first : first + size] for first in range(0, len(plans), size)]
    whole = sum(float(plan.until) for plan in plans)
    done = [0.0] * len(groups)
    rows = Gathering(OUTPUT_TABLES, ORDERS)
    stop = np.zeros(1, np.int64)
    known = Known()
    looked = time.monotonic()

    def run(number: int) -> FloatArray:
        batch, spans = assemble(groups[number], known)
        batch = batch._replace(out=batch.out._replace(stop=stop))

        def report(reached: float) -> None:
            done[number] = reached * len(spans)

        codes = _run_batch(batch, spans, rows.add, report)
        for place in np.flatnonzero(codes == LOST).tolist():
            raise _loss(batch, spans, place, called)
        return _ledger(batch)

    with ThreadPoolExecutor(workers) as pool:
        futures = [pool.submit(run, number) for number in range(len(groups))]
        try:
            waiting = set(futures)
            while waiting:
                finished, waiting = wait(waiting, timeout=0.1, return_when=FIRST_EXCEPTION)
                raise_first(futures, finished)
                if progress is not None:
                    progress(min(sum(done) / whole, 1.0))
                # rows written since may be there already; those up to this time surely are, which at time 0,
                # as long as kernels are being compiled, is not a single one
                until = done[0]
                due = time.monotonic() - looked > GLIMPSE_EVERY
                if look is not None and len(plans) == 1 and until > 0.0 and due and not rows.on_disk:
                    looked = time.monotonic()
                    look({name: rows.so_far(name) for name in OUTPUT_TABLES}, until)
        except BaseException:
            # whatever went wrong, nobody is to wait for the other worlds
            stop[0] = 1
            for future in futures:
                future.cancel()
            raise
    ledger = np.concatenate([future.result() for future in futures])
    return {name: rows.table(name) for name in OUTPUT_TABLES}, ledger


def run_worlds(
    plans: Sequence[WorldPlan], stop: IntArray
) -> tuple[dict[str, RecordArray], dict[int, ModelError]]:
    """Run worlds one after the other in this thread, for whoever runs many threads of them.

    Returns the output tables, where each walker's rows are in order of time and follow the world before, and
    by the places of the plans whose world lost a walker what that came to. Ends early, with half the rows,
    once ``stop[0]`` is not 0.
    """
    found: dict[str, list[RecordArray]] = {name: [] for name in OUTPUT_TABLES}
    lost: dict[int, ModelError] = {}
    known = Known()
    for first in range(0, len(plans), BATCH):
        if stop[0]:
            break
        batch, spans = assemble(plans[first : first + BATCH], known)
        batch = batch._replace(out=batch.out._replace(stop=stop))
        codes = _run_batch(batch, spans, lambda name, rows: found[name].append(rows))
        for place in np.flatnonzero(codes == LOST).tolist():
            lost[first + place] = _loss(batch, spans, place)
    tables = {name: join_tables(found[name], kind) for name, kind in OUTPUT_TABLES.items()}
    # the other tables are put in order by whoever reads them
    tables |= {name: in_order(tables[name], *ORDERS[name]) for name in ("poses", "lights")}
    return tables, lost


def _loss(batch: Batch, spans: RecordArray, place: int, called: Called | None = None) -> ModelError:
    """The error of the world at ``place`` of a batch, which has lost a walker.

    What it is ``called`` by its number in the replay; otherwise it goes by its place in its world.
    """
    own = int(batch.out.counts[place, LOST_PLACE]) - 1
    number = int(spans[place]["walkers"][0]) + own
    body = batch.crowd.bodies[number]
    walker = batch.crowd.walkers[body["built"]]
    known = {
        "time": float(body["lost_at"]),
        **{name: float(body[name]) for name in ("photocurrent", "left_light", "right_light", "panel_light")},
    }
    state = body["state"]
    who = called(int(body["number"])) if called is not None else f"walker {own + 1}"
    return failure(int(state["status"]), who, walker, int(body["side"]), float(state["rail"]), **known)


def _run_batch(batch: Batch, spans: RecordArray, take: Taker, report: Progress | None = None) -> IntArray:
    """Run the worlds of one batch to their end; ``take`` is given their output by table whenever it is full.

    Returns what stopped each of them: ENDED, LOST or STOPPED.
    """
    last = float(np.max(batch.crowd.settings["until"]))
    slices = SLICES if report is not None and len(spans) == 1 else 1
    codes = np.full(len(spans), FRESH)
    for step in range(1, slices + 1):
        until = last * step / slices if step < slices else math.inf
        while True:
            advance_batch(batch, spans, codes, until)
            _empty(batch, take)
            if not np.any(codes == FULL):
                break
        if np.any(codes == STOPPED) or np.any(codes == LOST):
            return codes
        if report is not None:
            report(min(until, last))
    assert np.all(codes == ENDED)
    return codes


def _empty(batch: Batch, take: Taker) -> None:
    """Hand on what the worlds have written."""
    for place, (name, kind) in enumerate(OUTPUT_TABLES.items()):
        table = getattr(batch.out, name)
        counts = batch.out.counts[:, place].tolist()
        take(name, join_tables([table[number, :count] for number, count in enumerate(counts)], kind))
    batch.out.counts[:, : len(OUTPUT_TABLES)] = 0


def _ledger(batch: Batch) -> FloatArray:
    state, built = batch.crowd.bodies["state"], batch.crowd.bodies["built"]
    capacitance, start = (batch.crowd.walkers[name][built] for name in ("capacitance", "start_rail"))
    stored = 0.5 * capacitance * (state["rail"] ** 2 - start**2)
    spent = [state[f"{name}_energy"] for name in ("motor", "base", "eye", "leak", "esr")]
    return np.column_stack([state["panel_energy"], stored, *spent])
