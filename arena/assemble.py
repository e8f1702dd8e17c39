"""Putting worlds together: from flat arenas, walkers as built and start poses to the arrays of a batch."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from arena.flatten import FlatArena
from arena.layout import BODY, COUNTS, RECEPTORS, SETTINGS, SPAN, Batch, Crowd, Out, Scene
from arena.schedule import tree_size
from arena.senses import TOUCH_ROOM
from arena.shadow import disc_points
from arena.world import wall_table
from replays.record import LIGHTS, POSES, PULSES, TOUCHES

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Records = npt.NDArray[np.void]

# Tables of a floor that worlds on the same floor share.
SHARED = ("sources", "walls", "shades", "shade_points")

# Cells of a grid at the most, whatever the size of the floor.
MOST_CELLS = 250_000


@dataclass(frozen=True)
class WorldPlan:
    """One world before it runs.

    ``walkers`` (N,) WALKER records; ``poses`` (N, 3) x, y [m] and heading [rad] of each at the start;
    ``numbers`` (N,) what each is called in the replay; ``chances`` (N,) what keys its draws.
    """

    arena: FlatArena
    walkers: Records
    poses: Floats
    numbers: Integers
    chances: Integers
    seed: int
    until: float


def assemble(plans: Sequence[WorldPlan]) -> tuple[Batch, Records]:
    """Return the arrays of a batch of worlds, and the span of each. Arenas used twice are stored once."""
    arenas = {id(plan.arena): plan.arena for plan in plans}
    floors = list(arenas.values())
    place = {identity: index for index, identity in enumerate(arenas)}
    counts = [len(plan.walkers) for plan in plans]
    walkers = np.concatenate([plan.walkers for plan in plans])
    settings = _settings(plans, walkers, _offsets(counts))
    offsets = {key: _offsets([len(getattr(floor, key)) for floor in floors]) for key in SHARED}
    own = {
        "walkers": _offsets(counts),
        "tree": _offsets([2 * tree_size(count) for count in counts]),
        "heads": _offsets([int(setting["columns"] * setting["rows"]) for setting in settings]),
    }
    spans = np.zeros(len(plans), SPAN)
    for number, plan in enumerate(plans):
        index = place[id(plan.arena)]
        for key in SHARED:
            spans[number][key] = offsets[key][index : index + 2]
        for key in own:
            spans[number][key] = own[key][number : number + 2]
    largest = max(counts)
    scene = Scene(
        sources=np.concatenate([floor.sources for floor in floors]),
        walls=np.concatenate([floor.walls for floor in floors]),
        wall_table=np.concatenate([wall_table(floor.walls).ravel() for floor in floors]),
        shades=np.concatenate([floor.shades for floor in floors]),
        shade_points=np.concatenate([floor.shade_points for floor in floors]),
        disc_samples=disc_points(),
        ambient=np.array([plan.arena.ambient for plan in plans]),
    )
    most_sources = max(1, *(len(floor.sources) for floor in floors))
    crowd = Crowd(
        walkers=walkers,
        bodies=_bodies(plans, walkers),
        lit=np.zeros((len(walkers), RECEPTORS, most_sources)),
        hidden=np.zeros((len(walkers), RECEPTORS, most_sources), np.int64),
        near_walls=np.zeros((len(walkers), max(len(floor.walls) for floor in floors)), np.int64),
        tree=np.full(own["tree"][-1], math.inf),
        heads=np.full(own["heads"][-1], -1, np.int64),
        settings=settings,
    )
    out = Out(
        under_way=np.zeros(len(walkers), PULSES),
        pulses=np.zeros((len(plans), 64 + 4 * largest), PULSES),
        poses=np.zeros((len(plans), 1024 + 16 * largest), POSES),
        touches=np.zeros((len(plans), 256 + 24 * largest), TOUCHES),
        lights=np.zeros((len(plans), 128 + 8 * largest), LIGHTS),
        counts=np.zeros((len(plans), COUNTS), np.int64),
        stop=np.zeros(1, np.int64),
    )
    return Batch(scene, crowd, out), spans


def _bodies(plans: Sequence[WorldPlan], walkers: Records) -> Records:
    bodies = np.zeros(len(walkers), BODY)
    bodies["number"] = np.concatenate([plan.numbers for plan in plans])
    bodies["chance"] = np.concatenate([plan.chances for plan in plans])
    bodies["x"], bodies["y"], bodies["heading"] = np.concatenate([plan.poses for plan in plans]).T
    bodies["disc_radius"] = walkers["shade_radius"]
    bodies["disc_height"] = walkers["body_height"]
    bodies["cell"] = -1
    return bodies


def _offsets(counts: Sequence[int]) -> Integers:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def _settings(plans: Sequence[WorldPlan], walkers: Records, offsets: Integers) -> Records:
    """The SETTINGS record of every world; ``walkers`` of all of them from ``offsets`` on."""
    firsts = offsets[:-1]

    def largest(values: Floats) -> Floats:
        return np.asarray(np.maximum.reduceat(values, firsts), np.float64)

    sides = walkers["side"]
    offset = largest(np.abs(walkers["body_x"]))
    reach = largest(walkers["body_reach"])
    tip = largest(np.hypot(sides["tip_x"], sides["tip_y"]).max(axis=1))
    eye = largest(np.hypot(sides["eye_x"], sides["eye_y"]).max(axis=1))
    panel = largest(
        np.abs(walkers["panel_x"]) + 0.5 * np.hypot(walkers["panel_length"], walkers["panel_width"])
    )
    # a body's middle is off its axle, the mover's as well as the neighbour's
    shade = largest(walkers["shade_radius"]) + 2.0 * offset
    top = largest(walkers["body_height"])
    lowest = -largest(-np.minimum(sides["eye_z"].min(axis=1), walkers["panel_z"]))
    floors = {id(plan.arena): _Floor(plan.arena) for plan in plans}
    settings = np.zeros(len(plans), SETTINGS)
    settings["seed"] = [plan.seed for plan in plans]
    settings["until"] = [plan.until for plan in plans]
    settings["reach"] = reach
    settings["receptors"] = np.maximum(eye, panel)
    settings["touch"] = np.maximum(tip, reach + offset) + reach + 2.0 * offset + TOUCH_ROOM
    for number, plan in enumerate(plans):
        one, floor = settings[number], floors[id(plan.arena)]
        shadow = floor.longest_shadow(float(lowest[number]), float(top[number]))
        behind = shadow + float(shade[number]) + float(one["receptors"]) if shadow > 0.0 else 0.0
        one["influence"] = max(float(one["touch"]), behind)
        cell = max(2.0 * float(reach[number]), math.sqrt(floor.width * floor.depth / MOST_CELLS))
        if len(plan.walkers) == 1:
            cell = 2.0 * max(floor.width, floor.depth)
        one["west"], one["south"], one["cell"] = floor.west, floor.south, cell
        one["columns"], one["rows"] = int(floor.width / cell) + 1, int(floor.depth / cell) + 1
    return settings


class _Floor:
    """Bounds of a floor [m], and how far its lamps throw shadows."""

    def __init__(self, arena: FlatArena) -> None:
        corners = arena.floor
        self.west, self.south = (float(edge) for edge in corners.min(axis=0))
        self.width, self.depth = (float(size) for size in np.ptp(corners, axis=0))
        # farthest that any place of the floor is from each lamp, in the plan, and the lamp's height
        across = corners[:, 0, None] - arena.sources["x"]
        along = corners[:, 1, None] - arena.sources["y"]
        self._distances = np.hypot(across, along).max(axis=0)
        self._heights = arena.sources["z"]

    def longest_shadow(self, lowest: float, top: float) -> float:
        """How far behind a body of height ``top`` an eye or panel at ``lowest`` can lie in its shadow [m]."""
        # under a lamp as low as the bodies a shadow has no end, even for an eye that looks over them
        rise = np.maximum(self._heights - lowest, 1e-9)
        shares = np.where(self._heights < top, 1.0, np.clip((top - lowest) / rise, 0.0, 1.0))
        shadows = self._distances * shares
        return min(float(np.max(shadows, initial=0.0)), math.hypot(self.width, self.depth))
