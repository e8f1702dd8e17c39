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
from arena.scene.sky import Sky
from arena.scene.spec import ArenaSpec
from arena.scene.still_arena import arena_at
from replays.format.grains import (
    ENERGY_DIGITS,
    MAP_DIGITS,
    METRE,
    PART_DIGITS,
    RADIAN,
    grains,
    to_digits,
    turn_grains,
)
from replays.format.header import FORMAT, VERSION
from replays.format.tables import WALKERS, Replay

# Corners of the polygon that stands for a round goal.
ROUND_CORNERS = 48
# The map of light has no more cells than a picture shows, and under many lamps no more than are worked out in
# some seconds, though at least so many as show where the light is.
_MOST_CELLS, _LEAST_CELLS = 1 << 18, 20_000
_MOST_RAYS = 2_000_000


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
    sky: Sky | None = None,
) -> Replay:
    """Return the replay of a contest that has been run, under a ``sky`` that changes or a still light.

    ``walkers`` WALKER records in the order of the replay, ``parts`` what was drawn for each, ``poses`` their
    start poses (walkers, 3), ``tables`` the output of the engine, ``ledger`` (walkers, 7) [J].
    """
    still = arena_at(contest.arena, None, sky)
    height = float(np.median(walkers["panel_height"]))
    names = sorted({name for drawn in parts for name in drawn})
    built = np.array([[drawn.get(name, math.nan) for name in names] for drawn in parts])
    west, south = arena.floor.min(axis=0)
    header: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "program": contest.program,
        "seed": contest.seed,
        "seconds": contest.seconds,
        "alone": contest.alone,
        "built_names": names,
        "light_map": {"x": float(west), "y": float(south), "cell": map_cell(contest.arena)},
        "designs": [
            {"name": one.design.name, "about": one.design.about or "-", "yaml": one.text}
            | ({} if one.mark is None else {"mark": one.mark, "team": one.team})
            for one in contest.entrants
        ],
        "arena": describe_arena(still.model_copy(update={"lamps": contest.arena.lamps}), contest.text),
    }
    if sky is not None:
        header["arena"] |= describe_day(contest.arena, sky, height)
    return Replay(
        header=header,
        walkers=walker_rows(walkers, poses, heats, contest.walkers),
        pulses=tables["pulses"],
        poses=tables["poses"],
        touches=tables["touches"],
        lights=tables["lights"],
        built=to_digits(built.reshape(len(walkers), len(names)), PART_DIGITS),
        light_map=to_digits(map_of(still, height, threads), MAP_DIGITS).astype(np.float32),
        ledger=to_digits(ledger, ENERGY_DIGITS),
    )


def map_of(spec: ArenaSpec, height: float, threads: int = 1) -> FloatArray:
    """Illuminance [lx] on a surface facing up at ``height`` [m], a value for each cell of the floor.

    On a day that is the light of its brightest time.
    """
    arena = flatten(arena_at(spec))
    west, south = (float(edge) for edge in arena.floor.min(axis=0))
    east, north = (float(edge) for edge in arena.floor.max(axis=0))
    return light_map(
        (west, south, east, north),
        map_cell(spec),
        height,
        Lights(arena.sources, np.ones(len(arena.sources)), float(np.sum(arena.ambient))),
        Standing(wall_table(arena.walls), arena.shades, arena.shade_points, disc_points()),
        threads,
    )


def map_cell(spec: ArenaSpec) -> float:
    """How wide a cell of the map of light is [m]: as the arena says, or wider where that made too many.

    There are no more than 2^18 cells, and no more than 2 million over the number of lamps and sun, but 20,000
    in any case.
    """
    width, depth = np.ptp(np.array(spec.floor.outline), axis=0).tolist()
    sources = len(spec.lamps) + (spec.sun is not None or spec.day is not None)
    most = min(_MOST_CELLS, max(_LEAST_CELLS, _MOST_RAYS // max(sources, 1)))
    return float(max(spec.cell, math.sqrt(width * depth / most)))


def walker_rows(walkers: RecordArray, poses: FloatArray, heats: IntArray, copies: int) -> RecordArray:
    """The replay's row of every WALKER record; ``copies`` of each design stand one behind the other."""
    rows = np.zeros(len(walkers), WALKERS)
    rows["design"] = np.arange(len(walkers)) // copies
    rows["heat"] = heats
    rows["x"], rows["y"] = grains(poses.T[:2], METRE) / METRE
    rows["heading"] = turn_grains(poses.T[2]) / RADIAN
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
                # one name for all that stands of it
                "name": wall.name if number == 0 else "",
                "points": _points(piece),
                "closed": wall.outline is not None,
                "height": wall.height,
            }
            for wall in spec.walls
            for number, piece in enumerate(wall.pieces)
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


def describe_day(spec: ArenaSpec, sky: Sky, height: float) -> dict[str, Any]:
    """The day of an arena, as :mod:`replays.format.daylight` describes it; ``height`` [m] is that of its map.

    Angles to a hundredth of a degree, light to four figures.
    """
    day, steps = spec.day, sky.steps
    assert day is not None
    towards = np.column_stack([-steps["aim_x"], -steps["aim_y"], -steps["aim_z"]])
    azimuth = np.arctan2(towards[:, 1], towards[:, 0])
    elevation = np.where(steps["risen"], 1.0, -1.0) * np.arcsin(np.clip(towards[:, 2], 0.0, 1.0))
    columns = {
        "sun_azimuth_rad": np.round(azimuth, 4),
        "sun_elevation_rad": np.round(elevation, 4),
        "sun_lx": _figures(steps["sun"]),
        "sky_lx": _figures(steps["clear_sky"]),
        "overcast_lx": _figures(steps["overcast_sky"]),
        "air_K": np.round(steps["air"], 2),
    }
    told = {
        "begins_s": day.begins,
        "offset_s": day.clock,
        "date": None if day.date is None else str(day.date),
        "latitude_rad": day.latitude,
        "longitude_rad": day.longitude,
        "north_rad": day.north,
        "height_m": height,
        # to the last bit, so that it is known which step a row of light belongs to
        "times_s": steps["start"].tolist(),
        **{name: column.tolist() for name, column in columns.items()},
        "lamps": np.round(sky.lamps, 4).T.tolist(),
    }
    return {"day": told, "ambient_own_lx": spec.ambient.illuminance}


def _figures(values: FloatArray) -> FloatArray:
    """Values [lx] to four figures, and to a hundredth of a lux."""
    size = np.floor(np.log10(np.maximum(values, 1.0)))
    unit = 10.0 ** (size - 3.0)
    return np.asarray(np.round(np.round(values / unit) * unit, 3))


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
