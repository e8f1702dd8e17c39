"""Walkers in the picture: where they started, how they went, which side fired, and where they are."""

import math
from dataclasses import dataclass

import numpy as np

from replays.colours import INK, PAPER, STRAW, Look, look
from replays.record import LEFT, Replay
from replays.sheet import Sheet
from replays.view import Point, Room, View

# Rows farther apart than this are a rest, not a move [s].
_LONGEST_STEP = 0.1

# With more pulses than this in the picture their marks would cover the paths.
_MOST_PULSE_MARKS = 1500

# With more walkers than this the picture gets thinner lines and paler bodies.
_CROWD = 24

# A smaller walker is drawn this large [points], so that it can be seen.
_LEAST_RADIUS = 8.0

# A larger one, on a floor that cannot hold it, so large [points], for the sake of memory.
_MOST_RADIUS = 400.0


@dataclass(frozen=True)
class Pose:
    """Where a walker stands [m] and heads [rad]."""

    x: float
    y: float
    heading: float


class Tracks:
    """All walkers of a replay, ready to be asked where they were."""

    def __init__(self, replay: Replay, view: View) -> None:
        self.walkers = replay.walkers
        self.pulses = replay.pulses
        self.view = view
        self._poses = replay.poses
        everyone = np.arange(len(replay.walkers) + 1)
        self._edges = np.searchsorted(replay.poses["walker"], everyone)
        # Of a path only those rows that bring it to another point of the picture.
        x, y = view(replay.poses["x"], replay.poses["y"])
        here = np.stack((np.round(x), np.round(y)))
        kept = np.ones(len(replay.poses), dtype=bool)
        kept[1:] = (here[:, 1:] != here[:, :-1]).any(axis=0)
        kept[self._edges[:-1]] = True
        self._path = np.stack((x[kept], y[kept]), axis=1)
        self._path_s = replay.poses["time_s"][kept]
        self._path_edges = np.searchsorted(replay.poses["walker"][kept], everyone)

    def pose(self, walker: int, time_s: float) -> Pose:
        """Where ``walker`` is at ``time_s`` [s]: between rows of a move in proportion, else at rest."""
        rows = self._poses[self._edges[walker] : self._edges[walker + 1]]
        after = int(np.searchsorted(rows["time_s"], time_s, side="right"))
        before = rows[max(after - 1, 0)]
        if after == len(rows) or rows[after]["time_s"] - before["time_s"] > _LONGEST_STEP:
            return Pose(float(before["x"]), float(before["y"]), float(before["heading"]))
        following = rows[after]
        share = float((time_s - before["time_s"]) / (following["time_s"] - before["time_s"]))
        # The short way round, should the heading have been kept within one turn.
        turn = math.remainder(float(following["heading"]) - float(before["heading"]), 2 * math.pi)
        return Pose(
            float(before["x"]) + share * (float(following["x"]) - float(before["x"])),
            float(before["y"]) + share * (float(following["y"]) - float(before["y"])),
            float(before["heading"]) + share * turn,
        )

    def path(self, walker: int, time_s: float) -> list[Point]:
        """The way of ``walker`` until ``time_s`` [s] in the picture [points]."""
        first, last = self._path_edges[walker], self._path_edges[walker + 1]
        shown = int(np.searchsorted(self._path_s[first:last], time_s, side="right"))
        pose = self.pose(walker, time_s)
        return [*map(tuple, self._path[first : first + shown].tolist()), self.view(pose.x, pose.y)]


def draw_paths(sheet: Sheet, tracks: Tracks, time_s: float) -> None:
    """Paths until ``time_s`` [s], start marks, and the side of each pulse while there are not too many."""
    crowd = len(tracks.walkers) > _CROWD
    for walker, design in enumerate(tracks.walkers["design"]):
        mine = look(int(design))
        path = tracks.path(walker, time_s)
        if crowd:
            sheet.thin_line(path, mine.colour, mine.casing)
        else:
            sheet.cased_line(path, mine.colour, mine.casing, 2.6, pattern=mine.pattern)
    if marks_pulses(len(tracks.pulses)):
        for pulse in tracks.pulses[tracks.pulses["start_s"] <= time_s]:
            mine = look(int(tracks.walkers["design"][pulse["walker"]]))
            place = tracks.view(float(pulse["x0"]), float(pulse["y0"]))
            draw_pulse_mark(sheet, place, float(pulse["heading0"]), int(pulse["side"]), mine)
    for walker in tracks.walkers:
        place = tracks.view(float(walker["x"]), float(walker["y"]))
        draw_mark(sheet, place, 4.0 if crowd else 6.5, look(int(walker["design"])))


def marks_pulses(count: int) -> bool:
    """Whether so many pulses are each drawn with a mark."""
    return 0 < count <= _MOST_PULSE_MARKS


def draw_pulse_mark(sheet: Sheet, place: Point, heading: float, side: int, mine: Look) -> None:
    """A tick to the left or to the right of the heading [rad]: the side that fired."""
    across = heading + (math.pi / 2 if side == LEFT else -math.pi / 2)
    tip = (place[0] + 8 * math.cos(across), place[1] - 8 * math.sin(across))
    sheet.cased_line([place, tip], mine.colour, mine.casing, 1.8)


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


def draw_walkers(sheet: Sheet, tracks: Tracks, time_s: float) -> None:
    """Every walker at ``time_s`` [s]: body, two wheels, two eyes, and the mark of its design."""
    opacity = 0.4 if len(tracks.walkers) > _CROWD else 0.85
    for number, walker in enumerate(tracks.walkers):
        draw_walker(sheet, tracks.view, walker, tracks.pose(number, time_s), opacity)


def draw_walker(sheet: Sheet, view: View, walker: np.void, pose: Pose, opacity: float) -> None:
    """One walker, to scale unless it would be too small to see."""
    mine = look(int(walker["design"]))
    radius = min(max(float(walker["radius"]) * view.zoom, _LEAST_RADIUS), _MOST_RADIUS)
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
        sheet, at(float(walker["body_ahead"]) - 0.3 * float(walker["radius"]), 0.0), 0.26 * radius, mine
    )


def take_room(room: Room, tracks: Tracks, time_s: float) -> None:
    """Keep names off starts and walkers, and off the paths while these are few."""
    view = tracks.view
    for number, walker in enumerate(tracks.walkers):
        pose = tracks.pose(number, time_s)
        reach = max(float(walker["radius"]) * view.zoom, _LEAST_RADIUS) + 3
        for x, y in (view(float(walker["x"]), float(walker["y"])), view(pose.x, pose.y)):
            room.take(x - reach, y - reach, x + reach, y + reach)
    if len(tracks.walkers) <= _CROWD:
        for number in range(len(tracks.walkers)):
            path = tracks.path(number, time_s)
            kept = path[:1]
            for point in path[1:]:
                if math.dist(kept[-1], point) >= 15.0:
                    kept.append(point)
            room.take_line(kept, 4)
