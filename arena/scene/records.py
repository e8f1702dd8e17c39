"""The flat records in which the kernels see an arena.

Lengths are in metres, heights above the floor too; angles in radians; light in lux or candela. The floor is
the plane z = 0, x runs along it to the right and y away from the viewer of the picture.
"""

from collections.abc import Sequence

import numpy as np

from agents.arrays import FloatArray, RecordArray

SOURCE = np.dtype(
    [
        ("x", np.float64),
        ("y", np.float64),
        ("z", np.float64),
        # cd along the aim for a lamp; lux on a surface square to the rays for the sun
        ("intensity", np.float64),
        # 1 for the sun: no falling off with distance
        ("is_sun", np.int64),
        # radius of the shining disc; 0 for a point
        ("radius", np.float64),
        ("aim_x", np.float64),
        ("aim_y", np.float64),
        ("aim_z", np.float64),
        # intensity falls as cos^beam of the angle off the aim; 0 shines alike all round
        ("beam", np.float64),
        # index into agents.handbook.light_kinds.KINDS
        ("kind", np.int64),
        # ROUND, FLAT or MATT
        ("form", np.int64),
        # where a flat or matt disc faces, a unit vector
        ("face_x", np.float64),
        ("face_y", np.float64),
        ("face_z", np.float64),
    ],
    align=True,
)

# A disc that looks as wide from everywhere, as a globe and the sun do; a flat one with its beam; and one that
# shines as a matt surface does.
ROUND, FLAT, MATT = range(3)

WALL = np.dtype(
    [
        ("ax", np.float64),
        ("ay", np.float64),
        ("bx", np.float64),
        ("by", np.float64),
        ("height", np.float64),
    ],
    align=True,
)

# A shade's outline is the points first .. first + count - 1 of a table of shape (points, 2), not closed.
SHADE = np.dtype(
    [
        ("height", np.float64),
        ("passes", np.float64),
        ("first", np.int64),
        ("count", np.int64),
        # bounding box of the outline
        ("west", np.float64),
        ("south", np.float64),
        ("east", np.float64),
        ("north", np.float64),
    ],
    align=True,
)

# One step of a sky that changes; it holds until the next one starts.
SKY_STEP = np.dtype(
    [
        ("start", np.float64),  # [s]
        # where the sun stands, and where its light goes, as in SOURCE
        ("sun_x", np.float64),
        ("sun_y", np.float64),
        ("sun_z", np.float64),
        ("aim_x", np.float64),
        ("aim_y", np.float64),
        ("aim_z", np.float64),
        ("sun", np.float64),  # light of its disc on a surface square to it [lx]
        ("clear_sky", np.float64),  # light of the blue and of the clouded part of the sky [lx]
        ("overcast_sky", np.float64),
        ("air", np.float64),  # temperature of the air [K]
    ],
    align=True,
)

# The sun stands this far away [m], so that its rays are parallel to within a micrometre across an arena.
SUN_DISTANCE = 1.0e6


def sun_place(outline: Sequence[tuple[float, float]], towards: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return place [m] and aim of suns over a floor's ``outline``, (n, 3) each, ``towards`` unit vectors.

    Placed as seen from the middle of the floor, so that the rays are most nearly parallel there.
    """
    corners = np.array(outline)
    middle = 0.5 * (corners.min(axis=0) + corners.max(axis=0))
    place = SUN_DISTANCE * towards
    place[:, :2] += middle
    return place, -towards


def wall_table(walls: RecordArray) -> FloatArray:
    """Return WALL records as rows ax, ay, bx, by and height, shape (5, walls), for the light kernels."""
    return np.stack([walls[name] for name in ("ax", "ay", "bx", "by", "height")])
