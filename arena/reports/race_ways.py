"""The ways of a race as drawings of a page: the floor as a picture, once for all, and lines over it.

A floor is put into the page one time, and each drawing uses it from there, so that a page for each of thirty
walkers stays small.
"""

import io
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from PIL import Image

from agents.arrays import FloatArray
from arena.reports.plot_sheet import data_url
from replays.drawing.colours import Colour, look
from replays.drawing.label_placing import draw_labels
from replays.drawing.metres_to_points import View, fit
from replays.drawing.moving_picture import Stage
from replays.drawing.pictures import png
from replays.drawing.poses import Poses
from replays.drawing.sheet import Sheet, pygame
from replays.format.tables import Replay

# Size of a floor at the most [pixels], and how far a line may stray from the way [pixels].
_WIDTH, _HEIGHT = 1000.0, 520.0
_STRAY = 0.6
# Radius of a mark [pixels].
_MARK = 9.0


@dataclass(frozen=True)
class FloorPicture:
    """A floor seen from above, under the name by which drawings of the page use it; sizes in pixels."""

    name: str
    source: str
    view: View

    @property
    def width(self) -> int:
        """Width of the picture."""
        return round(self.view.width)

    @property
    def height(self) -> int:
        """Height of the picture."""
        return round(self.view.height)


@dataclass(frozen=True)
class EntryMark:
    """The mark of an entry: ``points`` of a polygon about the origin, none for a disc, and its colours."""

    points: str
    radius: float
    colour: str
    casing: str
    dashes: str


@dataclass(frozen=True)
class Way:
    """The way of a walker over a floor, as the ``d`` of paths: the line, and its rests as dots of no length.

    ``start`` and ``end`` are points of the picture, ``decided`` the one at which the deciding pulse began.
    """

    line: str
    rests: str
    start: tuple[float, float]
    end: tuple[float, float]
    decided: tuple[float, float] | None
    mark: EntryMark


def floor_picture(replay: Replay, name: str) -> FloorPicture:
    """The floor of a replay with its light, and nobody on it."""
    room = fit(replay.arena, 0.0, 0.0, _WIDTH, _HEIGHT)
    view = View(0.0, 0.0, room.width, room.height, room.west, room.south, room.zoom)
    ground = Stage(replay).begin_ground(view, 2)
    ground.advance(math.inf)
    draw_labels(Sheet(ground.surface), ground.names)
    # colours by which nobody tells the levels of light apart are not worth their bytes
    return FloorPicture(name, data_url(_small(ground.surface), "image/png"), view)


def _small(surface: pygame.Surface) -> bytes:
    """A PNG of a surface in 256 colours."""
    picture = Image.open(io.BytesIO(png(surface))).convert("RGB")
    stream = io.BytesIO()
    picture.quantize(256, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(
        stream, "PNG", optimize=True
    )
    return stream.getvalue()


def mark_of_entry(number: int, radius: float = _MARK) -> EntryMark:
    """The mark that entry ``number`` has in every picture."""
    seen = look(number)
    points = ""
    if seen.corners:
        # larger, for a polygon in a circle looks smaller than the disc
        reach = radius * (1.45 if seen.corners == 3 else 1.2)
        angles = [seen.turn + 2.0 * math.pi * corner / seen.corners for corner in range(seen.corners)]
        points = " ".join(f"{reach * math.cos(one):.1f},{-reach * math.sin(one):.1f}" for one in angles)
    dashes = " ".join(f"{part:g}" for part in seen.pattern)
    return EntryMark(points, radius, _hex(seen.colour), _hex(seen.casing), dashes)


def _hex(colour: Colour) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def way_of(
    replay: Replay, walker: int, floor: FloorPicture, entry: int, decided_s: float | None = None
) -> Way:
    """The whole way of a walker; the pulse that decided began at ``decided_s`` [s]."""
    poses = Poses(replay)
    path = poses.path(walker, replay.seconds)
    x, y = floor.view(path[:, 0], path[:, 1])
    pulses = replay.pulses[replay.pulses["walker"] == walker]
    rest_x, rest_y = floor.view(pulses["x0"].astype(np.float64), pulses["y0"].astype(np.float64))
    decided = None
    if decided_s is not None:
        # times of a race in stages go on from stage to stage, those of a replay begin with its own
        pose = poses.pose(walker, decided_s % replay.seconds)
        decided = floor.view(pose.x, pose.y)
    return Way(
        _line(np.column_stack([x, y])),
        " ".join(f"M{one:.1f} {other:.1f}h0" for one, other in zip(rest_x, rest_y, strict=True)),
        (round(float(x[0]), 1), round(float(y[0]), 1)),
        (round(float(x[-1]), 1), round(float(y[-1]), 1)),
        None if decided is None else (round(float(decided[0]), 1), round(float(decided[1]), 1)),
        mark_of_entry(entry),
    )


def _line(points: FloatArray) -> str:
    """The ``d`` of a path through points, without those that a straight line comes near enough to."""
    if len(points) < 2 or bool(np.all(points == points[0])):
        return f"M{points[0, 0]:.1f} {points[0, 1]:.1f}h0"
    line: Any = shapely.LineString(points).simplify(_STRAY, preserve_topology=False)
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line.coords)
