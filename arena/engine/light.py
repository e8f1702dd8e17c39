"""Light at a point of the arena: Σ intensity / d² · beam · cos^m(incidence) · visible fraction + ambient.

Lengths are in metres, illuminances in lux. Floors and walls reflect nothing; what of the light gets past
walls, shades and bodies is told by :mod:`arena.engine.shadow`.
"""

import math
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import numpy.typing as npt

from agents.compiled import kernel
from arena.engine.shadow import visible_fraction

Floats = npt.NDArray[np.float64]
Records = npt.NDArray[np.void]


@kernel
def ambient_share(power: float) -> float:
    """Return what a cos^``power`` lobe gets of uniform surroundings, over what a flat receiver reads [-].

    Surroundings of luminance L on all sides give a lobe ∫ L cos^m θ dΩ = 2π L ∫ cos^m θ sin θ dθ, over
    0 < θ < π/2, that is 2π L / (m + 1). A flat receiver has m = 1 and reads E = π L. So the share is
    2 / (m + 1).
    """
    return 2.0 / (power + 1.0)


@kernel
def open_light(
    px: float, py: float, pz: float, nx: float, ny: float, nz: float, power: float, source: np.void
) -> float:
    """Return the light [lx] from ``source`` at P [m] as if nothing stood between.

    The receiver looks along the unit vector n and weighs by cos^``power`` of the angle off it: 1 for a flat
    panel, :func:`lobe_exponent` for an eye. A lamp gives I / d² · cos^beam · cos^power, the sun E ·
    cos^power; a disc is measured from its centre, so its distance should be five times its diameter at least
    (common practice in photometry, no source). 0 at the lamp itself.
    """
    dx = source["x"] - px
    dy = source["y"] - py
    dz = source["z"] - pz
    square = dx * dx + dy * dy + dz * dz
    facing = dx * nx + dy * ny + dz * nz
    if square == 0.0 or facing <= 0.0:
        return 0.0
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
def direct_illuminance(
    px: float,
    py: float,
    pz: float,
    nx: float,
    ny: float,
    nz: float,
    power: float,
    source: np.void,
    walls: Floats,
    shades: Records,
    shade_points: Floats,
    disc_samples: Floats,
) -> float:
    """Return the direct light [lx] from ``source`` at P: :func:`open_light` · :func:`visible_fraction`."""
    light = open_light(px, py, pz, nx, ny, nz, power, source)
    if light <= 0.0:
        return 0.0
    return light * visible_fraction(px, py, pz, source, walls, shades, shade_points, disc_samples)


@kernel
def light_map_rows(
    west: float,
    south: float,
    cell: float,
    height: float,
    first_row: int,
    last_row: int,
    sources: Records,
    weights: Floats,
    ambient: float,
    walls: Floats,
    shades: Records,
    shade_points: Floats,
    disc_samples: Floats,
    out: Floats,
) -> None:
    """Fill rows ``first_row`` .. ``last_row`` − 1 of ``out`` as :func:`light_map` says."""
    for row in range(first_row, last_row):
        y = south + (row + 0.5) * cell
        for column in range(out.shape[1]):
            x = west + (column + 0.5) * cell
            light = ambient
            for k in range(len(sources)):
                light += weights[k] * direct_illuminance(
                    x,
                    y,
                    height,
                    0.0,
                    0.0,
                    1.0,
                    1.0,
                    sources[k],
                    walls,
                    shades,
                    shade_points,
                    disc_samples,
                )
            out[row, column] = light


def light_map(
    bounds: tuple[float, float, float, float],
    cell: float,
    height: float,
    sources: Records,
    weights: Floats,
    ambient: float,
    walls: Floats,
    shades: Records,
    shade_points: Floats,
    disc_samples: Floats,
    threads: int = 1,
) -> Floats:
    """Return the light [lx] on a surface facing up, at the middle of every cell of a floor.

    ``bounds`` are west, south, east and north of the floor [m], ``cell`` the width of a cell [m], ``height``
    that of the surface [m]. ``weights`` [-] multiply the sources one by one: ones for illuminance, figures
    of :func:`agents.handbook.light_kinds.panel_weights` for what a panel makes of it. The result has shape
    (rows, columns), row 0 in the south; it is the same for any number of ``threads``.
    """
    west, south, east, north = bounds
    # a floor that is a whole number of cells wide must not gain one by rounding
    rows = max(1, math.ceil((north - south) / cell - 1e-9))
    columns = max(1, math.ceil((east - west) / cell - 1e-9))
    out = np.empty((rows, columns))

    def fill(first_row: int) -> None:
        last_row = min(first_row + 8, rows)
        light_map_rows(
            west,
            south,
            cell,
            height,
            first_row,
            last_row,
            sources,
            weights,
            ambient,
            walls,
            shades,
            shade_points,
            disc_samples,
            out,
        )

    with ThreadPoolExecutor(max(1, threads)) as pool:
        # exhausting the results brings up what a band raised
        for _ in pool.map(fill, range(0, rows, 8)):
            pass
    return out
