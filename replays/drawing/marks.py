"""Walkers in the picture: their marks, which side fired, and how one is drawn."""

import math
from collections.abc import Callable

import numpy as np

from agents.arrays import FloatArray
from replays.drawing.colours import INK, PAPER, STRAW, Look, look
from replays.drawing.label_placing import LabelPlacement
from replays.drawing.metres_to_points import Point, View
from replays.drawing.poses import Pose, Poses
from replays.drawing.sheet import Sheet
from replays.format.tables import LEFT

CROWD = 24
"""With more walkers than this the picture gets thinner lines and paler bodies."""

LEAST_RADIUS = 8.0
"""A smaller walker is drawn this large [points], so that it can be seen."""

# With more pulses than this in the picture their marks would cover the paths.
_MOST_PULSE_MARKS = 1500

# A larger one, on a floor that cannot hold it, so large [points], for the sake of memory.
_MOST_RADIUS = 400.0


def marks_pulses(count: int) -> bool:
    """Whether so many pulses are each drawn with a mark."""
    return 0 < count <= _MOST_PULSE_MARKS


def draw_pulse_mark(sheets: tuple[Sheet, Sheet], place: Point, heading: float, side: int, mine: Look) -> None:
    """A tick to the left or to the right of the heading [rad]: the side that fired.

    Its casing goes to the first of ``sheets``, its colour to the second.
    """
    across = heading + (math.pi / 2 if side == LEFT else -math.pi / 2)
    tip = (place[0] + 8 * math.cos(across), place[1] - 8 * math.sin(across))
    sheets[0].line([place, tip], mine.casing, 4.2)
    sheets[1].line([place, tip], mine.colour, 1.8)


def draw_mark(sheet: Sheet, place: Point, radius: float, mine: Look) -> None:
    """The mark of a design: round, or with corners."""
    if mine.corners == 0:
        sheet.disc(place, radius + 1.5, mine.casing)
        sheet.disc(place, radius, mine.colour)
        return
    for size, colour in ((radius + 3.0, mine.casing), (radius + 0.8, mine.colour)):
        corners = [
            (
                place[0] + size * math.cos(mine.turn + 2 * math.pi * corner / mine.corners),
                place[1] - size * math.sin(mine.turn + 2 * math.pi * corner / mine.corners),
            )
            for corner in range(mine.corners)
        ]
        sheet.polygon(corners, colour)


def shown_radii(radii_m: FloatArray, view: View) -> FloatArray:
    """Radii [points] as which bodies of ``radii_m`` [m] are drawn."""
    shown: FloatArray = np.clip(radii_m * view.zoom, LEAST_RADIUS, _MOST_RADIUS)
    return shown


def shown_radius(walker: np.void, view: View) -> float:
    """Radius [points] as which the body of ``walker`` is drawn."""
    return min(max(float(walker["radius"]) * view.zoom, LEAST_RADIUS), _MOST_RADIUS)


def draw_walker(
    sheet: Sheet, view: View, walker: np.void, pose: Pose, opacity: float, mine: Look | None = None
) -> None:
    """One walker, to scale unless it would be too small to see; its look is ``mine``, or its design's."""
    mine = mine or look(int(walker["design"]))
    radius = shown_radius(walker, view)
    zoom = radius / float(walker["radius"])
    middle = view(pose.x, pose.y)
    cosine, sine = math.cos(pose.heading), math.sin(pose.heading)

    def at(ahead_m: float, aside_m: float) -> Point:
        return (
            middle[0] + zoom * (ahead_m * cosine - aside_m * sine),
            middle[1] - zoom * (ahead_m * sine + aside_m * cosine),
        )

    wheel = 0.32 * float(walker["radius"])
    for side in (-0.5, 0.5):
        aside = side * float(walker["track"])
        sheet.cased_line([at(-wheel, aside), at(wheel, aside)], INK, PAPER, max(3.0, 0.18 * radius))
    body = at(float(walker["body_ahead"]), 0.0)
    rim = max(2.0, 0.14 * radius)
    sheet.veil(body, radius, PAPER, opacity)
    sheet.disc(body, radius + 1.2, None, mine.casing, rim + 2.4)
    sheet.disc(body, radius, None, mine.colour, rim)
    for side in (-1, 1):
        eye = at(float(walker["eye_ahead"]), side * float(walker["eye_aside"]))
        sheet.disc(eye, max(2.6, 0.17 * radius), STRAW, INK, 1.2)
    draw_mark(
        sheet, at(float(walker["body_ahead"]) - 0.72 * float(walker["radius"]), 0.0), 0.24 * radius, mine
    )


# Side of a cell in which rows of poses are counted [points].
_CELL = 8.0


def crowding(poses: Poses, view: View) -> Callable[[float, float, float, float], bool]:
    """A function that tells whether anyone ever comes into a rectangle: left, top, width, height [points]."""
    x, y = view(poses.rows["x"].astype(np.float64), poses.rows["y"].astype(np.float64))
    columns, rows = int(view.width / _CELL) + 2, int(view.height / _CELL) + 2
    counts, _, _ = np.histogram2d(
        (x - view.left) / _CELL, (y - view.top) / _CELL, bins=(columns, rows), range=((0, columns), (0, rows))
    )
    sums = np.pad(np.cumsum(np.cumsum(counts, axis=0), axis=1), ((1, 0), (1, 0)))

    def crowded(left: float, top: float, width: float, height: float) -> bool:
        west, north = (int(max(value, 0.0) / _CELL) for value in (left - view.left, top - view.top))
        east = min(int((left - view.left + width) / _CELL) + 1, columns)
        south = min(int((top - view.top + height) / _CELL) + 1, rows)
        return bool(sums[east, south] - sums[west, south] - sums[east, north] + sums[west, north] > 0)

    return crowded


def take_room(room: LabelPlacement, poses: Poses, view: View, time_s: float) -> None:
    """Keep names off starts and off walkers as they are at ``time_s`` [s], and if possible off the ways."""
    reach = shown_radii(poses.walkers["radius"], view) + 3.0
    x, y, _ = poses.at(time_s)
    for at_x, at_y in (
        view(poses.walkers["x"].astype(np.float64), poses.walkers["y"].astype(np.float64)),
        view(x, y),
    ):
        rows = zip(at_x.tolist(), at_y.tolist(), reach.tolist(), strict=True)
        for across, down, radius in rows:
            room.take(across - radius, down - radius, across + radius, down + radius)
    room.shun(*view(poses.rows["x"].astype(np.float64), poses.rows["y"].astype(np.float64)))
