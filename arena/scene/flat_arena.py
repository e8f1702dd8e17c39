"""From what an arena's file says to the flat arrays that the kernels take."""

import math
from dataclasses import dataclass
from itertools import chain, pairwise

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.handbook.formulae import lobe_exponent
from agents.handbook.light_kinds import KINDS, kind_index
from agents.text.quantities import Pair
from arena.scene.elements import AIM, ArenaForm, Lamp, Sun
from arena.scene.records import FLAT, MATT, ROUND, SHADE, SOURCE, SUN_DISTANCE, WALL, sun_place

# Width of the sun as seen from the earth's mean distance [rad].
SUN_WIDTH = math.radians(0.533)


@dataclass(frozen=True)
class FlatArena:
    """An arena as arrays: records of :mod:`arena.scene.records`, lengths in metres.

    ``ambient`` holds the illuminance [lx] of each of agents.handbook.light_kinds.KINDS; ``shade_points`` and
    ``floor`` have shape (points, 2). The last records of ``walls`` are the floor's rim, one for each of its
    edges.
    """

    sources: RecordArray
    walls: RecordArray
    shades: RecordArray
    shade_points: FloatArray
    ambient: FloatArray
    floor: FloatArray


def flatten(spec: ArenaForm) -> FlatArena:
    """Return the arrays of an arena: lamps in the order of the file, then the sun.

    On a day the sun is there too, without light: that comes with the run's :class:`arena.scene.sky.Sky`.
    """
    sources = [_lamp_record(lamp) for lamp in spec.lamps]
    if spec.sun is not None:
        sources.append(_sun_record(spec.sun, spec.floor.outline))
    elif spec.day is not None and spec.day.has_sun:
        risen = Sun(azimuth=0.0, elevation=math.pi / 4.0, illuminance=0.0)
        sources.append(_sun_record(risen, spec.floor.outline))
    walls: list[tuple[float, ...]] = []
    for wall in spec.walls:
        walls += _edges(_closed(wall.outline) if wall.outline is not None else wall.line or (), wall.height)
    walls += _edges(_closed(spec.floor.outline), spec.floor.rim)
    shades: list[tuple[float, ...]] = []
    first = 0
    for shade in spec.shades:
        count = len(shade.outline)
        across, along = zip(*shade.outline, strict=True)
        box = (min(across), min(along), max(across), max(along))
        shades.append((shade.height, shade.passes, first, count, *box))
        first += count
    shade_points = list(chain.from_iterable(shade.outline for shade in spec.shades))
    ambient = np.zeros(len(KINDS))
    ambient[kind_index(spec.ambient.light)] = spec.ambient.illuminance
    return FlatArena(
        sources=np.array(sources, dtype=SOURCE),
        walls=np.array(walls, dtype=WALL),
        shades=np.array(shades, dtype=SHADE),
        shade_points=np.array(shade_points, dtype=np.float64).reshape(-1, 2),
        ambient=ambient,
        floor=np.array(spec.floor.outline, dtype=np.float64),
    )


def intensity_from_flux(flux: float, beam: float | None) -> float:
    """Return the luminous intensity [cd] along the aim of a lamp that gives ``flux`` [lm] in all.

    Alike all round, I = flux / 4π. With a beam that is down to a half at the angle ``beam`` [rad], the
    intensity is I cos^m θ over a half space, and flux = ∫ I cos^m θ dΩ = 2π I / (m + 1).
    """
    if beam is None:
        return flux / (4.0 * math.pi)
    return flux * (lobe_exponent(beam) + 1.0) / (2.0 * math.pi)


def _lamp_record(lamp: Lamp) -> tuple[float, ...]:
    x, y = lamp.place
    aim_x, aim_y = lamp.aim if lamp.aim is not None else lamp.place
    away = math.dist((x, y, lamp.height), (aim_x, aim_y, 0.0))
    direction = ((aim_x - x) / away, (aim_y - y) / away, -lamp.height / away)
    intensity = lamp.intensity
    if intensity is None:
        intensity = intensity_from_flux(lamp.flux or 0.0, lamp.half_angle)
    form, face = ROUND, (0.0, 0.0, 0.0)
    if lamp.is_flat:
        form, face = FLAT, direction if lamp.faces == AIM else (0.0, 0.0, -1.0)
    power = lobe_exponent(lamp.beam) if lamp.beam is not None else 0.0
    if lamp.is_flat and lamp.beam is None:
        # by Lambert's law, about the way in which it faces
        form, direction, power = MATT, face, 1.0
    kind = kind_index(lamp.light)
    radius = lamp.diameter / 2.0
    return (x, y, lamp.height, intensity, 0, radius, *direction, power, kind, form, *face)


def _sun_record(sun: Sun, outline: tuple[Pair, ...]) -> tuple[float, ...]:
    flat = math.cos(sun.elevation)
    towards = (flat * math.cos(sun.azimuth), flat * math.sin(sun.azimuth), math.sin(sun.elevation))
    place, aim = sun_place(outline, np.array([towards]))
    radius = SUN_DISTANCE * math.tan(SUN_WIDTH / 2.0)
    (x, y, z), (aim_x, aim_y, aim_z) = place[0].tolist(), aim[0].tolist()
    kind = kind_index(sun.light)
    return (x, y, z, sun.illuminance, 1, radius, aim_x, aim_y, aim_z, 0.0, kind, ROUND, 0.0, 0.0, 0.0)


def _closed(outline: tuple[Pair, ...]) -> tuple[Pair, ...]:
    return (*outline, outline[0])


def _edges(points: tuple[Pair, ...], height: float) -> list[tuple[float, ...]]:
    return [(*one, *other, height) for one, other in pairwise(points)]
