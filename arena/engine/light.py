"""Light at a point of the arena: Σ intensity / d² · beam · cos^m(incidence) · visible fraction + ambient.

Lengths are in metres, illuminances in lux. Floors and walls reflect nothing; what of the light gets past
walls, shades and bodies is told by :mod:`arena.engine.shadow`.
"""

import math
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.compiled import kernel
from arena.engine.flat_lamps import Facing, flat_light
from arena.engine.shadow import Standing, visible_fraction
from arena.scene.records import ROUND


class Receiver(NamedTuple):
    """Where light is taken: at P [m], looking along the unit vector n, weighed by cos^power off it.

    ``power`` is 1 for a flat panel, that of :func:`lobe_exponent` for an eye.
    """

    px: float
    py: float
    pz: float
    nx: float
    ny: float
    nz: float
    power: float


class Lights(NamedTuple):
    """SOURCE records, what each is multiplied by, (sources,) [-], and even light from all sides [lx]."""

    sources: RecordArray
    weights: FloatArray
    ambient: float


class Raster(NamedTuple):
    """Where a map of light lies [m]: its south-west corner, the width of a cell, its height."""

    west: float
    south: float
    cell: float
    height: float


@kernel
def ambient_share(power: float) -> float:
    """Return what a cos^``power`` lobe gets of uniform surroundings, over what a flat receiver reads [-].

    Surroundings of luminance L on all sides give a lobe ∫ L cos^m θ dΩ = 2π L ∫ cos^m θ sin θ dθ, over
    0 < θ < π/2, that is 2π L / (m + 1). A flat receiver has m = 1 and reads E = π L. So the share is
    2 / (m + 1).
    """
    return 2.0 / (power + 1.0)


@kernel
def open_light(receiver: Receiver, source: np.void) -> float:
    """Return the light [lx] from ``source`` at a receiver as if nothing stood between.

    A lamp gives I / d² · cos^beam · cos^power, the sun E · cos^power. A globe is measured from its centre,
    which is exact for a flat receiver that sees all of it (:mod:`arena.engine.flat_lamps` names the source);
    flat discs are told there. 0 at the lamp itself.
    """
    px, py, pz, nx, ny, nz, power = receiver
    dx = source["x"] - px
    dy = source["y"] - py
    dz = source["z"] - pz
    square = dx * dx + dy * dy + dz * dz
    facing = dx * nx + dy * ny + dz * nz
    if square == 0.0 or facing <= 0.0:
        return 0.0
    if source["form"] != ROUND:
        return flat_light(Facing(dx, dy, dz, nx, ny, nz, power), source)
    distance = math.sqrt(square)
    cosine = facing / distance
    light = source["intensity"] * (cosine if power == 1.0 else cosine**power)
    if source["is_sun"] == 1:
        return float(light)
    if source["beam"] > 0.0:
        off = -(dx * source["aim_x"] + dy * source["aim_y"] + dz * source["aim_z"]) / distance
        if off <= 0.0:
            return 0.0
        light *= off ** source["beam"]
    return float(light / square)


@kernel
def direct_illuminance(receiver: Receiver, source: np.void, standing: Standing) -> float:
    """Return the direct light [lx] from ``source``: :func:`open_light` · :func:`visible_fraction`."""
    light = open_light(receiver, source)
    if light <= 0.0:
        return 0.0
    return light * visible_fraction(receiver.px, receiver.py, receiver.pz, source, standing)


@kernel
def light_map_rows(
    raster: Raster, first_row: int, last_row: int, lights: Lights, standing: Standing, out: FloatArray
) -> None:
    """Fill rows ``first_row`` .. ``last_row`` − 1 of ``out`` as :func:`light_map` says."""
    for row in range(first_row, last_row):
        y = raster.south + (row + 0.5) * raster.cell
        for column in range(out.shape[1]):
            x = raster.west + (column + 0.5) * raster.cell
            receiver = Receiver(x, y, raster.height, 0.0, 0.0, 1.0, 1.0)
            light = lights.ambient
            for k in range(len(lights.sources)):
                light += lights.weights[k] * direct_illuminance(receiver, lights.sources[k], standing)
            out[row, column] = light


def light_map(
    bounds: tuple[float, float, float, float],
    cell: float,
    height: float,
    lights: Lights,
    standing: Standing,
    threads: int = 1,
) -> FloatArray:
    """Return the light [lx] on a surface facing up, at the middle of every cell of a floor.

    ``bounds`` are west, south, east and north of the floor [m], ``cell`` the width of a cell [m], ``height``
    that of the surface [m]. The weights of ``lights`` are ones for illuminance, figures of
    :func:`agents.handbook.light_kinds.panel_weights` for what a panel makes of it. The result has shape
    (rows, columns), row 0 in the south; it is the same for any number of ``threads``.
    """
    west, south, east, north = bounds
    # a floor that is a whole number of cells wide must not gain one by rounding
    rows = max(1, math.ceil((north - south) / cell - 1e-9))
    columns = max(1, math.ceil((east - west) / cell - 1e-9))
    out = np.empty((rows, columns))

    raster = Raster(west, south, cell, height)

    def fill(first_row: int) -> None:
        light_map_rows(raster, first_row, min(first_row + 8, rows), lights, standing, out)

    with ThreadPoolExecutor(max(1, threads)) as pool:
        # exhausting the results brings up what a band raised
        for _ in pool.map(fill, range(0, rows, 8)):
            pass
    return out
