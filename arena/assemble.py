"""Putting worlds together: from flat arenas, walkers as built and start poses to the arrays of a batch."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from arena.flatten import FlatArena
from arena.layout import BODY, COUNTS, RECEPTORS, SETTINGS, SPAN, Batch, Crowd, Out, Scene
from arena.schedule import tree_size
from arena.shadow import disc_points
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
    settings = np.array([_settings(plan) for plan in plans], SETTINGS)
    counts = [len(plan.walkers) for plan in plans]
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
    walkers = np.concatenate([plan.walkers for plan in plans])
    largest = max(counts)
    scene = Scene(
        sources=np.concatenate([floor.sources for floor in floors]),
        walls=np.concatenate([floor.walls for floor in floors]),
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


def _settings(plan: WorldPlan) -> tuple[int, float, float, float, float, float, float, int, int]:
    reach = float(np.max(plan.walkers["body_reach"]))
    west, south = (float(edge) for edge in plan.arena.floor.min(axis=0))
    width, depth = (float(size) for size in np.ptp(plan.arena.floor, axis=0))
    cell = max(2.0 * reach, math.sqrt(width * depth / MOST_CELLS))
    if len(plan.walkers) == 1:
        cell = 2.0 * max(width, depth)
    columns, rows = int(width / cell) + 1, int(depth / cell) + 1
    influence = _influence(plan.arena, plan.walkers)
    return plan.seed, influence, reach, plan.until, west, south, cell, columns, rows


def _influence(arena: FlatArena, walkers: Records) -> float:
    """How far apart the axles of two walkers can be while one shades or touches the other [m]."""
    tips = np.hypot(walkers["side"]["tip_x"], walkers["side"]["tip_y"])
    offset = float(np.max(np.abs(walkers["body_x"])))
    body = float(np.max(walkers["body_reach"])) + offset
    touch = float(np.max(tips)) + body
    top = float(np.max(walkers["body_height"]))
    lowest = float(min(np.min(walkers["side"]["eye_z"]), np.min(walkers["panel_z"])))
    eyes = np.hypot(walkers["side"]["eye_x"], walkers["side"]["eye_y"])
    panels = np.abs(walkers["panel_x"]) + 0.5 * np.hypot(walkers["panel_length"], walkers["panel_width"])
    receptor = float(max(np.max(eyes), np.max(panels)))
    shadow = 0.0
    diagonal = float(np.hypot(*np.ptp(arena.floor, axis=0)))
    for source in arena.sources:
        if lowest >= top:
            break
        # farthest that any place of the floor is from the lamp, in the plan
        distance = np.max(np.hypot(arena.floor[:, 0] - source["x"], arena.floor[:, 1] - source["y"]))
        rise = max(float(source["z"]) - lowest, 1e-9)
        shadow = max(shadow, min(float(distance) * min((top - lowest) / rise, 1.0), diagonal))
    shade = float(np.max(walkers["shade_radius"])) + offset
    return max(touch, shadow + shade + receptor if shadow > 0.0 else 0.0)
