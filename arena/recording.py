"""Putting a replay together: what a run wrote, with the geometry, the designs and the map of light."""

import math
from typing import Any

import numpy as np

from agents.arrays import FloatArray, IntArray, RecordArray
from arena.engine.light import Lights, light_map
from arena.engine.shadow import Standing, disc_points
from arena.scene.contest import Contest
from arena.scene.elements import Goal, Lamp
from arena.scene.flat_arena import FlatArena, flatten
from arena.scene.records import wall_table
from arena.scene.spec import ArenaSpec
from replays.format.header import FORMAT, VERSION
from replays.format.tables import WALKERS, Replay

# Corners of the polygon that stands for a round goal.
ROUND_CORNERS = 48


def compose(
    contest: Contest,
    arena: FlatArena,
    walkers: RecordArray,
    parts: list[dict[str, float]],
    poses: FloatArray,
    heats: IntArray,
    tables: dict[str, RecordArray],
    ledger: FloatArray,
    threads: int,
) -> Replay:
    """Return the replay of a contest that has been run.

    ``walkers`` WALKER records in the order of the replay, ``parts`` what was drawn for each, ``poses`` their
    start poses (walkers, 3), ``tables`` the output of the engine, ``ledger`` (walkers, 7) [J].
    """
    names = sorted({name for drawn in parts for name in drawn})
    built = np.array([[drawn.get(name, math.nan) for name in names] for drawn in parts])
    west, south = arena.floor.min(axis=0)
    header = {
        "format": FORMAT,
        "version": VERSION,
        "program": contest.program,
        "seed": contest.seed,
        "seconds": contest.seconds,
        "alone": contest.alone,
        "built_names": names,
        "light_map": {"x": float(west), "y": float(south), "cell": contest.arena.cell},
        "designs": [
            {"name": one.design.name, "about": one.design.about or "-", "yaml": one.text}
            | ({} if one.mark is None else {"mark": one.mark, "team": one.team})
            for one in contest.entrants
        ],
        "arena": describe_arena(contest.arena, contest.text),
    }
    height = float(np.median(walkers["panel_height"]))
    return Replay(
        header=header,
        walkers=walker_rows(walkers, poses, heats, contest.walkers),
        pulses=tables["pulses"],
        poses=tables["poses"],
        touches=tables["touches"],
        lights=tables["lights"],
        built=built.reshape(len(walkers), len(names)),
        light_map=map_of(contest.arena, height, threads).astype(np.float32),
        ledger=ledger,
    )


def map_of(spec: ArenaSpec, height: float, threads: int = 1) -> FloatArray:
    """Illuminance [lx] on a surface facing up at ``height`` [m], a value for each cell of the floor."""
    arena = flatten(spec)
    west, south = (float(edge) for edge in arena.floor.min(axis=0))
    east, north = (float(edge) for edge in arena.floor.max(axis=0))
    return light_map(
        (west, south, east, north),
        spec.cell,
        height,
        Lights(arena.sources, np.ones(len(arena.sources)), float(np.sum(arena.ambient))),
        Standing(wall_table(arena.walls), arena.shades, arena.shade_points, disc_points()),
        threads,
    )


def walker_rows(walkers: RecordArray, poses: FloatArray, heats: IntArray, copies: int) -> RecordArray:
    """The replay's row of every WALKER record; ``copies`` of each design stand one behind the other."""
    rows = np.zeros(len(walkers), WALKERS)
    rows["design"] = np.arange(len(walkers)) // copies
    rows["heat"] = heats
    rows["x"], rows["y"], rows["heading"] = poses.T
    rows["radius"] = walkers["body_reach"]
    rows["body_ahead"] = walkers["body_ahead"]
    rows["track"] = walkers["track"]
    rows["eye_ahead"] = walkers["side"]["eye_ahead"][:, 0]
    rows["eye_aside"] = walkers["side"]["eye_aside"][:, 0]
    return rows


def describe_arena(spec: ArenaSpec, text: str) -> dict[str, Any]:
    """The arena's geometry as :mod:`replays.format.header` describes it; ``text`` is what its file says."""
    sources = flatten(spec).sources
    sun = spec.sun
    return {
        "name": spec.name,
        "about": spec.about or "-",
        "yaml": text,
        "floor": _points(spec.floor.outline),
        "walls": [
            {
                "name": wall.name,
                "points": _points(wall.outline or wall.line or ()),
                "closed": wall.outline is not None,
                "height": wall.height,
            }
            for wall in spec.walls
        ],
        "shades": [
            {
                "name": shade.name,
                "outline": _points(shade.outline),
                "height": shade.height,
                "passes": shade.passes,
            }
            for shade in spec.shades
        ],
        "lamps": [
            _lamp(lamp, float(source["intensity"]))
            for lamp, source in zip(spec.lamps, sources[: len(spec.lamps)], strict=True)
        ],
        "sun": None
        if sun is None
        else {
            "azimuth_rad": sun.azimuth,
            "elevation_rad": sun.elevation,
            "illuminance_lx": sun.illuminance,
            "light": sun.light,
        },
        "ambient_lx": spec.ambient.illuminance,
        "ambient_light": spec.ambient.light,
        "air_K": spec.air,
        "goals": [{"name": goal.name, "outline": goal_outline(goal)} for goal in spec.goals],
        "gates": [{"name": gate.name, "line": _points(gate.line)} for gate in spec.gates],
    }


def _points(outline: tuple[tuple[float, float], ...]) -> list[list[float]]:
    return [[x, y] for x, y in outline]


def _lamp(lamp: Lamp, intensity: float) -> dict[str, Any]:
    return {
        "name": lamp.name,
        "x": lamp.place[0],
        "y": lamp.place[1],
        "height": lamp.height,
        "intensity_cd": intensity,
        "diameter": lamp.diameter,
        "beam_half_angle_rad": lamp.half_angle,
        "aim": list(lamp.aim or lamp.place),
        "light": lamp.light,
    }


def goal_outline(goal: Goal) -> list[list[float]]:
    """The corners of a goal [m], a polygon's for a round one."""
    if goal.outline is not None:
        return _points(goal.outline)
    assert goal.centre is not None
    assert goal.radius is not None
    turns = np.linspace(0.0, 2.0 * math.pi, ROUND_CORNERS, endpoint=False)
    return [
        [goal.centre[0] + goal.radius * math.cos(turn), goal.centre[1] + goal.radius * math.sin(turn)]
        for turn in turns
    ]
