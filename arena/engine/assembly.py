"""Putting worlds together: from flat arenas, walkers as built and start poses to the arrays of a batch."""

import math
from collections.abc import Sequence
from dataclasses import astuple, dataclass, field, replace
from hashlib import blake2b

import numpy as np

from agents.arrays import BoolArray, FloatArray, IntArray, RecordArray
from agents.circuit.held_pulse import LEARNED
from agents.circuit.pulse_table import PulseTable
from agents.circuit.records import WALKER
from arena.engine.looked_up import KnownTables, joined_tables, whole_records
from arena.engine.motion import WALL_MARGIN
from arena.engine.output import LIGHTS_AT_ONCE, POSES_AT_ONCE, PULSES_AT_ONCE, TOUCHES_AT_ONCE
from arena.engine.schedule import tree_size
from arena.engine.senses import TOUCH_ROOM
from arena.engine.shadow import disc_points
from arena.engine.tolerances import USUAL, Tolerances
from arena.engine.walls import SQUARES, Walls, walls_of
from arena.engine.world_arrays import (
    BODY,
    COUNTS,
    LISTS,
    RECEPTORS,
    SETTINGS,
    SPAN,
    Batch,
    Crowd,
    Output,
    Scene,
    Weather,
)
from arena.scene.flat_arena import FlatArena
from arena.scene.records import SHADE, SKY_STEP, SOURCE, WALL
from arena.scene.sky import Sky
from replays.format.large_tables import join_tables
from replays.format.tables import LIGHTS, POSES, PULSES, TOUCHES

# Tables of a floor that worlds on the same floor share.
# Walkers learn in runs of that length [s].
LEARNING_TIME = 3600.0
SHARED = ("shades", "shade_points")

# Cells of a grid at the most, whatever the size of the floor.
MOST_CELLS = 250_000


@dataclass(frozen=True)
class WorldPlan:
    """One world before it runs.

    ``walkers`` (N,) WALKER records; ``poses`` (N, 3) x, y [m] and heading [rad] of each at the start;
    ``numbers`` (N,) what each is called in the replay; ``chances`` (N,) what keys its draws. ``sky`` is how
    light changes meanwhile, if it does. ``looked_up`` (N,) tells whose free pulses are looked up instead of
    stepped; without it none are.
    """

    arena: FlatArena
    walkers: RecordArray
    poses: FloatArray
    numbers: IntArray
    chances: IntArray
    seed: int
    until: float
    sky: Sky | None = None
    tolerances: Tolerances = USUAL
    looked_up: BoolArray | None = None


@dataclass
class Known:
    """What batches of the same plans need not work out again.

    Walls by the identity of their arena and by how far [m] its walkers reach; and tables of pulses.
    """

    walls: dict[tuple[int, float], Walls] = field(default_factory=dict)
    tables: KnownTables = field(default_factory=KnownTables)


def assemble(plans: Sequence[WorldPlan], known: Known | None = None) -> tuple[Batch, RecordArray]:
    """Return the arrays of a batch of worlds, and the span of each. Arenas used twice are stored once.

    ``known`` is what other batches of the same plans have worked out; what this one has is added.
    """
    known = Known() if known is None else known
    arenas = {id(plan.arena): plan.arena for plan in plans}
    floors = list(arenas.values())
    place = {identity: index for index, identity in enumerate(arenas)}
    stands_on = np.array([place[id(plan.arena)] for plan in plans])
    counts = [len(plan.walkers) for plan in plans]
    walkers = plans[0].walkers if len(plans) == 1 else join_tables([plan.walkers for plan in plans], WALKER)
    kinds, digests, built = _alike(walkers, np.repeat([_has_own_air(plan) for plan in plans], counts))
    settings = _settings(plans, walkers, _offsets(counts), floors, stands_on)
    own = {
        "sources": _offsets([len(plan.arena.sources) for plan in plans]),
        "walkers": _offsets(counts),
        # the sky is one more that has its times
        "tree": _offsets([2 * tree_size(len(plan.walkers) + (plan.sky is not None)) for plan in plans]),
        "heads": _offsets(settings["columns"] * settings["rows"]),
    }
    spans = np.zeros(len(plans), SPAN)
    for key in SHARED:
        offsets = _offsets([len(getattr(floor, key)) for floor in floors])
        spans[key] = np.column_stack([offsets[stands_on], offsets[stands_on + 1]])
    for key, offsets in own.items():
        spans[key] = np.column_stack([offsets[:-1], offsets[1:]])
    reaches = np.maximum.reduceat(_reaches(walkers), _offsets(counts)[:-1])
    farthest = np.zeros(len(floors))
    np.maximum.at(farthest, stands_on, reaches)
    walls = [
        _known_walls(known.walls, floor, reach)
        for floor, reach in zip(floors, farthest.tolist(), strict=True)
    ]
    for key, lengths in {
        "walls": [len(one.records) for one in walls],
        "floor": [1] * len(walls),
        "squares": [len(one.firsts) for one in walls],
        "near": [len(one.near) for one in walls],
    }.items():
        offsets = _offsets(lengths)
        spans[key] = np.column_stack([offsets[stands_on], offsets[stands_on + 1]])
    largest = max(counts)
    weather = _weather(plans, spans)
    scene = Scene(
        sources=join_tables([plan.arena.sources for plan in plans], SOURCE),
        walls=Walls(
            records=join_tables([one.records for one in walls], WALL),
            table=np.concatenate([one.table.ravel() for one in walls]),
            squares=join_tables([one.squares for one in walls], SQUARES),
            firsts=np.concatenate([one.firsts for one in walls]),
            near=np.concatenate([one.near for one in walls]),
            near_tables=np.concatenate([one.near_tables for one in walls]),
            # room of this batch alone, since others may be run beside it
            chosen=np.zeros_like(walls[0].chosen),
            chosen_table=np.zeros_like(walls[0].chosen_table),
        ),
        shades=join_tables([floor.shades for floor in floors], SHADE),
        shade_points=np.concatenate([floor.shade_points for floor in floors]),
        disc_samples=disc_points(),
        ambient=np.array([plan.arena.ambient for plan in plans]),
    )
    most_sources = max(1, *(len(floor.sources) for floor in floors))
    bodies = _bodies(plans, walkers, built)
    pulses = _look_up(plans, digests, kinds, bodies, known.tables)
    crowd = Crowd(
        walkers=kinds,
        bodies=bodies,
        lit=np.zeros((len(walkers), RECEPTORS, most_sources)),
        hidden=np.zeros((len(walkers), RECEPTORS, most_sources), np.int16),
        lists=np.zeros((len(walkers), LISTS), np.int32),
        tree=np.full(own["tree"][-1], math.inf),
        heads=np.full(own["heads"][-1], -1, np.int32),
        settings=settings,
    )
    # what one event can write at most, and some more, so that they are not emptied all the time
    spare = min(largest, max(256, largest // 16))

    def rows(at_once: tuple[int, int], more: int) -> tuple[int, int]:
        return len(plans), at_once[0] * largest + at_once[1] + more

    out = Output(
        under_way=np.zeros(len(walkers), PULSES),
        pulses=np.zeros(rows(PULSES_AT_ONCE, 64 + 4 * spare), PULSES),
        poses=np.zeros(rows(POSES_AT_ONCE, 1024 + 16 * spare), POSES),
        touches=np.zeros(rows(TOUCHES_AT_ONCE, 256 + 4 * spare), TOUCHES),
        lights=np.zeros(rows(LIGHTS_AT_ONCE, 128 + 6 * spare), LIGHTS),
        counts=np.zeros((len(plans), COUNTS), np.int64),
        stop=np.zeros(1, np.int64),
    )
    return Batch(scene, crowd, out, weather, pulses, _held(plans, bodies)), spans


def _known_walls(known: dict[tuple[int, float], Walls], floor: FlatArena, reach: float) -> Walls:
    """The walls of a floor whose walkers ``reach`` so far [m], put by squares once for all batches."""
    key = id(floor), reach
    if key not in known:
        known[key] = walls_of(floor.walls, floor.floor, WALL_MARGIN + reach)
    return known[key]


def _has_own_air(plan: WorldPlan) -> bool:
    """Whether the air of a world is not that for which its walkers were made, and so changes them."""
    return plan.sky is not None and bool(np.any(plan.sky.steps["air"] != plan.walkers["air"][0]))


def _alike(walkers: RecordArray, apart: BoolArray) -> tuple[RecordArray, list[bytes], IntArray]:
    """The records that differ, their digests, and which of them each of the ``walkers`` is.

    Those that are to be kept ``apart`` have one of their own.
    """
    known: dict[bytes, int] = {}
    digests = [blake2b(one, digest_size=16).digest() for one in whole_records(walkers)]
    keys = (b"%d" % n if apart[n] else digest for n, digest in enumerate(digests))
    built = np.array([known.setdefault(key, len(known)) for key in keys])
    _, firsts = np.unique(built, return_index=True)
    return walkers[firsts], [digests[first] for first in firsts.tolist()], built


def _bodies(plans: Sequence[WorldPlan], walkers: RecordArray, built: IntArray) -> RecordArray:
    bodies = np.zeros(len(walkers), BODY)
    bodies["built"] = built
    bodies["number"] = np.concatenate([plan.numbers for plan in plans])
    bodies["chance"] = np.concatenate([plan.chances for plan in plans])
    bodies["x"], bodies["y"], bodies["heading"] = np.concatenate([plan.poses for plan in plans]).T
    bodies["disc_radius"] = walkers["shade_radius"]
    bodies["disc_height"] = walkers["body_height"]
    bodies["span"] = _reaches(walkers)
    bodies["cell"] = -1
    return bodies


def _look_up(
    plans: Sequence[WorldPlan],
    digests: Sequence[bytes],
    kinds: RecordArray,
    bodies: RecordArray,
    known: KnownTables,
) -> PulseTable:
    """The tables of all whose pulses are looked up; writes into ``bodies`` which are whose.

    ``digests`` are those of the ``kinds`` of walkers as built.
    """
    bodies["tables"] = -1
    asked = np.concatenate(
        [
            # tables are made for one temperature of the air
            np.zeros(len(plan.walkers), np.bool_)
            if plan.looked_up is None or _has_own_air(plan)
            else plan.looked_up
            for plan in plans
        ]
    )
    if not asked.any():
        return joined_tables([])[0]
    grounds = {(id(plan.arena), id(plan.sky)): plan for plan in plans}
    place = {ground: number for number, ground in enumerate(grounds)}
    stands_on = [place[id(plan.arena), id(plan.sky)] for plan in plans]
    on = np.repeat(stands_on, [len(plan.walkers) for plan in plans])
    cases, which = np.unique(on[asked] * len(kinds) + bodies["built"][asked], return_inverse=True)
    plan_of = list(grounds.values())
    pairs = []
    for case in cases.tolist():
        ground, kind = divmod(case, len(kinds))
        plan = plan_of[ground]
        pairs.append(known.of(digests[kind], kinds[kind : kind + 1], plan.arena, plan.sky))
    tables = {id(table): table for pair in pairs for table in pair if table is not None}
    pulses, firsts = joined_tables(list(tables.values()))
    roots = {id(None): -1, **dict(zip(tables, firsts, strict=True))}
    bodies["tables"][asked] = np.array([[roots[id(table)] for table in pair] for pair in pairs])[which]
    return pulses


def _held(plans: Sequence[WorldPlan], bodies: RecordArray) -> RecordArray:
    """Room for what walkers learn of pulses in which others hold them; writes into ``bodies`` whose is where.

    It takes as much as some tens of pulses in a replay, so only those of long runs learn.
    """
    learn = [len(plan.walkers) > 1 and plan.until >= LEARNING_TIME for plan in plans]
    learns = np.repeat(learn, [len(plan.walkers) for plan in plans])
    rows = 4 * np.cumsum(learns)
    bodies["learns"] = np.where(learns, rows - 4, -1)
    return np.zeros(int(rows[-1]), LEARNED)


def _weather(plans: Sequence[WorldPlan], spans: RecordArray) -> Weather:
    """The skies of all worlds, one used twice stored once; writes down in ``spans`` whose is where."""
    skies = {id(plan.sky): (plan.sky, plan.arena) for plan in plans if plan.sky is not None}
    place = {identity: number for number, identity in enumerate(skies)}
    steps = _offsets([len(sky.steps) for sky, _ in skies.values()])
    lamps = _offsets([len(sky.steps) * len(arena.sources) for sky, arena in skies.values()])
    for number, plan in enumerate(plans):
        if plan.sky is not None:
            which = place[id(plan.sky)]
            spans[number]["steps"] = steps[which : which + 2]
            spans[number]["step_lamps"] = lamps[which : which + 2]
    given = [np.zeros(0)]
    for sky, arena in skies.values():
        # the sun, last of the sources, goes by the steps themselves
        shares = np.ones((len(sky.steps), len(arena.sources)))
        shares[:, : sky.lamps.shape[1]] = sky.lamps
        given.append((shares * arena.sources["intensity"]).ravel())
    return Weather(
        steps=join_tables([sky.steps for sky, _ in skies.values()], SKY_STEP),
        lamps=np.concatenate(given),
        ambient=np.array([plan.arena.ambient for plan in plans]),
    )


def _tips(walkers: RecordArray) -> FloatArray:
    """How far the ends of a walker's whiskers are from the middle of its axle [m]."""
    sides = walkers["side"]
    return np.asarray(np.hypot(sides["tip_ahead"], sides["tip_aside"]).max(axis=1), np.float64)


def _reaches(walkers: RecordArray) -> FloatArray:
    """How far any part of a walker is from the middle of its axle at the most [m]."""
    bodies = np.abs(walkers["body_ahead"]) + walkers["body_reach"]
    return np.asarray(np.maximum(bodies, _tips(walkers)), np.float64)


def _offsets(counts: Sequence[int] | IntArray) -> IntArray:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def _settings(
    plans: Sequence[WorldPlan],
    walkers: RecordArray,
    offsets: IntArray,
    floors: Sequence[FlatArena],
    stands_on: IntArray,
) -> RecordArray:
    """The SETTINGS record of every world; ``walkers`` of all of them from ``offsets`` on.

    ``stands_on`` (worlds,) tells which of the ``floors`` is whose.
    """
    firsts = offsets[:-1]

    def largest(values: FloatArray) -> FloatArray:
        return np.asarray(np.maximum.reduceat(values, firsts), np.float64)

    sides = walkers["side"]
    offset = largest(np.abs(walkers["body_ahead"]))
    reach = largest(walkers["body_reach"])
    tip = largest(_tips(walkers))
    eye = largest(np.hypot(sides["eye_ahead"], sides["eye_aside"]).max(axis=1))
    panel = largest(
        np.abs(walkers["panel_ahead"]) + 0.5 * np.hypot(walkers["panel_length"], walkers["panel_width"])
    )
    # a body's middle is off its axle, the mover's as well as the neighbour's
    shade = largest(walkers["shade_radius"]) + 2.0 * offset
    top = largest(walkers["body_height"])
    lowest = -largest(-np.minimum(sides["eye_height"].min(axis=1), walkers["panel_height"]))
    settings = np.zeros(len(plans), SETTINGS)
    settings["seed"] = [plan.seed for plan in plans]
    settings["until"] = [plan.until for plan in plans]
    finenesses = {one: astuple(one) for one in {plan.tolerances for plan in plans}}
    settings["tolerances"] = [finenesses[plan.tolerances] for plan in plans]
    settings["reach"] = reach
    receptors = np.maximum(eye, panel)
    touch = np.maximum(tip, reach + offset) + reach + 2.0 * offset + TOUCH_ROOM
    influence = touch.copy()
    is_crowd = np.diff(offsets) > 1
    for number in np.flatnonzero(is_crowd).tolist():
        shadow = longest_shadow(_steady(plans[number]), float(lowest[number]), float(top[number]))
        if shadow > 0.0:
            influence[number] = max(influence[number], shadow + shade[number] + receptors[number])
    settings["receptors"], settings["touch"], settings["influence"] = receptors, touch, influence
    settings["steady_influence"] = influence
    settings["shade_height"], settings["shade_room"] = (
        np.where(is_crowd, top - lowest, 0.0),
        shade + receptors,
    )
    settings["sky_sun"] = [plan.sky is not None and plan.sky.has_sun for plan in plans]
    corners = np.concatenate([floor.floor for floor in floors])
    edges = _offsets([len(floor.floor) for floor in floors])[:-1]
    corner = np.minimum.reduceat(corners, edges)[stands_on]
    size = np.maximum.reduceat(corners, edges)[stands_on] - corner
    settings["width"] = np.hypot(*size.T)
    # one that is alone has no neighbours to look up
    crowded = np.maximum(
        np.maximum(2.0 * reach, 0.5 * influence), np.sqrt(size[:, 0] * size[:, 1] / MOST_CELLS)
    )
    cell = np.where(is_crowd, crowded, 2.0 * size.max(axis=1))
    settings["west"], settings["south"], settings["cell"] = corner[:, 0], corner[:, 1], cell
    settings["columns"], settings["rows"] = (size / cell[:, None]).astype(np.int64).T + 1
    return settings


def _steady(plan: WorldPlan) -> FlatArena:
    """The arena of a world without a sun that moves."""
    if plan.sky is None or not plan.sky.has_sun:
        return plan.arena
    return replace(plan.arena, sources=plan.arena.sources[:-1])


def longest_shadow(arena: FlatArena, lowest: float, top: float) -> float:
    """How far behind a body of height ``top`` an eye or panel at ``lowest`` can lie in its shadow [m]."""
    corners, heights = arena.floor, arena.sources["z"]
    # farthest that any place of the floor is from each lamp, in the plan
    across = corners[:, 0, None] - arena.sources["x"]
    along = corners[:, 1, None] - arena.sources["y"]
    distances = np.hypot(across, along).max(axis=0)
    # under a lamp as low as the bodies a shadow has no end, even for an eye that looks over them
    rise = np.maximum(heights - lowest, 1e-9)
    shares = np.where(heights < top, 1.0, np.clip((top - lowest) / rise, 0.0, 1.0))
    return min(float(np.max(distances * shares, initial=0.0)), math.hypot(*np.ptp(corners, axis=0)))
