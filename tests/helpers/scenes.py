"""Random scenes for the tests of light and contact, and an independent account of their shadows.

The account uses shapely in the plan and in the plane of the shining disc, and shares nothing with the
kernels but the records.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, MultiPoint, Point, Polygon
from shapely.ops import unary_union

from arena.scene.records import ROUND, SHADE, SOURCE, SUN_DISTANCE, WALL, wall_table


@dataclass
class Scene:
    """A bench of two metres square with seed trays (walls), leaves (shades) and one grow lamp."""

    walls: np.ndarray
    shades: np.ndarray
    shade_points: np.ndarray
    source: np.void
    receiver: tuple[float, float, float]

    @property
    def standing(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Walls, shades and their points, as the light kernels take them."""
        return wall_table(self.walls), self.shades, self.shade_points


def make_walls(rows: Sequence[tuple[float, float, float, float, float]]) -> np.ndarray:
    """Return wall records from rows of ax, ay, bx, by, height [m]."""
    return np.array(list(rows), dtype=WALL)


def make_shades(
    rows: Sequence[tuple[Sequence[tuple[float, float]], float, float]],
) -> tuple[np.ndarray, np.ndarray]:
    """Return shade records and their table of points from rows of outline [m], height [m], transmission."""
    shades = np.zeros(len(rows), SHADE)
    points: list[tuple[float, float]] = []
    for i, (outline, height, passes) in enumerate(rows):
        xs, ys = zip(*outline, strict=True)
        shades[i] = (height, passes, len(points), len(outline), min(xs), min(ys), max(xs), max(ys))
        points.extend(outline)
    return shades, np.array(points, dtype=np.float64).reshape(-1, 2)


def make_lamp(
    x: float,
    y: float,
    z: float,
    candela: float,
    radius: float = 0.0,
    aim: tuple[float, float, float] = (0.0, 0.0, -1.0),
    beam: float = 0.0,
    form: int = ROUND,
    face: tuple[float, float, float] = (0.0, 0.0, -1.0),
) -> np.void:
    """Return a lamp's record; lengths in metres."""
    return np.array([(x, y, z, candela, 0, radius, *aim, beam, 0, form, *face)], dtype=SOURCE)[0]


def make_sun(azimuth: float, elevation: float, lux: float, width: float = math.radians(0.533)) -> np.void:
    """Return the record of a sun; ``azimuth`` from the x axis towards y, angles in radians."""
    level = math.cos(elevation)
    way = np.array([level * math.cos(azimuth), level * math.sin(azimuth), math.sin(elevation)])
    radius = SUN_DISTANCE * math.tan(width / 2)
    row = (*(way * SUN_DISTANCE), lux, 1, radius, *(-way), 0.0, 0, ROUND, 0.0, 0.0, 0.0)
    return np.array([row], dtype=SOURCE)[0]


def random_scene(rng: np.random.Generator, radius: float = 0.0) -> Scene:
    """Return a scene with up to 8 walls and 4 shades, so dense that a third of the rays meet something."""
    walls = []
    for _ in range(rng.integers(0, 9)):
        ax, ay = rng.uniform(-1.0, 1.0, 2)
        length, angle = rng.uniform(0.05, 1.0), rng.uniform(0.0, 2 * math.pi)
        walls.append(
            (
                ax,
                ay,
                ax + length * math.cos(angle),
                ay + length * math.sin(angle),
                rng.uniform(0.05, 0.6),
            )
        )
    leaves = []
    for _ in range(rng.integers(0, 5)):
        x, y = rng.uniform(-0.8, 0.8, 2)
        count = rng.integers(4, 9)
        # a star about its middle: never self-crossing, seldom convex
        corners = 2 * math.pi * (np.arange(count) + rng.uniform(0.0, 0.9, count)) / count
        reach = rng.uniform(0.1, 0.9, count)
        outline = [(x + r * math.cos(c), y + r * math.sin(c)) for r, c in zip(reach, corners, strict=True)]
        leaves.append((outline, rng.uniform(0.02, 0.5), rng.choice([0.0, 0.2, 0.7])))
    shades, shade_points = make_shades(leaves)
    source = make_lamp(*rng.uniform(-1.0, 1.0, 2), rng.uniform(0.05, 0.8), 10.0, radius)
    px, py = rng.uniform(-1.0, 1.0, 2)
    return Scene(make_walls(walls), shades, shade_points, source, (px, py, rng.uniform(0.0, 0.1)))


def outline_of(scene: Scene, shade: np.void) -> np.ndarray:
    """Return the outline of a shade, shape (points, 2) [m]."""
    return scene.shade_points[shade["first"] : shade["first"] + shade["count"]]


def passes_by_plan(scene: Scene) -> tuple[float, bool]:
    """Return what gets from a point source to the receiver, and whether a knife's edge makes that a toss-up.

    Rays that pass a wall's end or top, or a shade's outline, within 1e-9 m are toss-ups.
    """
    px, py, pz = scene.receiver
    qx, qy, qz = (float(scene.source[name]) for name in ("x", "y", "z"))
    ray = LineString([(px, py), (qx, qy)])
    passes, toss_up = 1.0, False
    for wall in scene.walls:
        line = LineString([(wall["ax"], wall["ay"]), (wall["bx"], wall["by"])])
        toss_up |= any(ray.distance(Point(end)) < 1e-9 for end in line.coords)
        if ray.intersects(line):
            meeting = ray.intersection(line)
            z = pz + (qz - pz) * Point(px, py).distance(meeting) / ray.length
            toss_up |= abs(z - wall["height"]) < 1e-9
            if z < wall["height"]:
                passes = 0.0
    for shade in scene.shades:
        low, high = sorted((pz, qz))
        if low < shade["height"] < high:
            pierced = ray.interpolate((shade["height"] - pz) / (qz - pz), normalized=True)
            leaf = Polygon(outline_of(scene, shade))
            toss_up |= leaf.exterior.distance(pierced) < 1e-9
            if leaf.contains(pierced):
                passes *= shade["passes"]
    return passes, toss_up


def _clip(corners: np.ndarray, axis: np.ndarray, depth: float, keep_beyond: bool) -> np.ndarray:
    """Cut a flat polygon in space at the plane axis · corner = depth."""
    side = (corners @ axis - depth) * (1.0 if keep_beyond else -1.0)
    kept = []
    for i in range(len(corners)):
        j = (i + 1) % len(corners)
        if side[i] >= 0.0:
            kept.append(corners[i])
        if (side[i] > 0.0) != (side[j] > 0.0) and side[i] != side[j]:
            kept.append(corners[i] + (corners[j] - corners[i]) * side[i] / (side[i] - side[j]))
    return np.array(kept).reshape(-1, 3)


def passes_by_area(scene: Scene) -> float:
    """Return what gets from a disc to the receiver, by areas of what it sees projected on the disc's plane.

    That is square to the line of sight, or lies as a flat disc does. The disc stands for a polygon of 512
    sides, so areas are good to 3e-5.
    """
    eye = np.array(scene.receiver)
    lamp = np.array([scene.source["x"], scene.source["y"], scene.source["z"]])
    axis = (lamp - eye) / float(np.linalg.norm(lamp - eye))
    if scene.source["form"] != ROUND:
        axis = -np.array([scene.source["face_x"], scene.source["face_y"], scene.source["face_z"]])
    distance = float((lamp - eye) @ axis)
    helper = np.eye(3)[np.argmin(np.abs(axis))]
    right = np.cross(axis, helper)
    right /= np.linalg.norm(right)
    up = np.cross(right, axis)

    def project(corners: np.ndarray) -> Polygon:
        relative = _clip(_clip(corners - eye, axis, 1e-7, True), axis, distance, False)
        if len(relative) < 3:
            return Polygon()
        scale = distance / (relative @ axis)
        flat = Polygon(np.column_stack([relative @ right * scale, relative @ up * scale]))
        return flat if flat.is_valid else flat.buffer(0)

    middle = Point((lamp - eye) @ right, (lamp - eye) @ up)
    disc = middle.buffer(float(scene.source["radius"]), quad_segs=128)
    sheets = []
    for wall in scene.walls:
        a, b = (wall["ax"], wall["ay"]), (wall["bx"], wall["by"])
        # A sheet goes down without end, as far as the lamp is concerned.
        sheets.append(project(np.array([(*a, -9.0), (*b, -9.0), (*b, wall["height"]), (*a, wall["height"])])))
    parts = [(disc.difference(unary_union(sheets)), 1.0)]
    for shade in scene.shades:
        outline = outline_of(scene, shade)
        leaf = project(np.column_stack([outline, np.full(len(outline), shade["height"])]))
        parts = [
            piece
            for part, weight in parts
            for piece in (
                (part.intersection(leaf), weight * float(shade["passes"])),
                (part.difference(leaf), weight),
            )
        ]
    return float(sum(part.area * weight for part, weight in parts) / disc.area)


def place_points(core: np.ndarray, count: int, x: float, y: float, heading: float, out: np.ndarray) -> None:
    """Write to ``out`` the first ``count`` points of the ``core`` [m] of a body that is at (x, y)."""
    placed = affinity.rotate(MultiPoint(core[:count]), heading, (0, 0), use_radians=True)
    out[:count] = [(point.x + x, point.y + y) for point in placed.geoms]
