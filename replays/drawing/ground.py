"""The arena from above: shades, walls, lamps, goals and gates."""

import math
from typing import Any

import numpy as np

from replays.drawing.colours import INK, LEAF_DARK, LEAF_PALE, PAPER, STRAW, TRAY, WHITE, WOOD
from replays.drawing.label_placing import LABEL_SIZE, Label, LabelPlacement, plate_size
from replays.drawing.metres_to_points import Point, View
from replays.drawing.sheet import Sheet
from replays.scoring.outline import inside


def draw_ground(sheet: Sheet, view: View, arena: dict[str, Any], room: LabelPlacement) -> None:
    """Everything that stands, hangs or is marked on the floor; what it covers is taken from ``room``."""
    floor = view.line(arena["floor"])
    sheet.line(floor, WOOD, 7, closed=True)
    sheet.line(floor, INK, 1.2, closed=True)
    for goal in arena["goals"]:
        outline = view.line(goal["outline"])
        draw_goal(sheet, outline)
        _take_outline(room, view, outline)
    for shade in arena["shades"]:
        draw_shade(sheet, view.line(shade["outline"]))
    for wall in arena["walls"]:
        points = view.line(wall["points"])
        draw_wall(sheet, points, closed=wall["closed"])
        room.take_line([*points, points[0]] if wall["closed"] else points, 5)
    for gate in arena.get("gates", ()):
        points = view.line(gate["line"])
        draw_gate(sheet, points)
        room.take_line(points, 5)
    for lamp in arena["lamps"]:
        _draw_lamp(sheet, view, lamp, arena["floor"], room)


# A goal that covers more of the view than this cannot be kept free.
_MOST_KEPT = 0.25


def _take_outline(room: LabelPlacement, view: View, outline: list[Point]) -> None:
    """Keep names off the upright rectangle round ``outline`` [points], unless that is most of the view."""
    across, down = zip(*outline, strict=True)
    west, north, east, south = min(across), min(down), max(across), max(down)
    if (east - west) * (south - north) <= _MOST_KEPT * view.width * view.height:
        room.take(west - 3, north - 3, east + 3, south + 3)


EVERYTHING, GOALS = ("lamps", "goals", "gates", "walls", "shades"), ("goals",)
"""What is named on the floor."""


def names_of_things(
    sheet: Sheet,
    view: View,
    arena: dict[str, Any],
    room: LabelPlacement,
    kinds: tuple[str, ...] = EVERYTHING,
) -> list[Label]:
    """Names of lamps, goals, gates, walls and shades, or of these ``kinds`` only, where ``room`` is left."""
    arena = {kind: arena.get(kind, []) if kind in kinds else [] for kind in EVERYTHING}
    named: list[tuple[str, str, list[Point]]] = []
    for lamp in arena["lamps"]:
        named.append(
            (lamp["name"], f", {lamp['intensity_cd']:,.0f} cd", [_held(view, view(lamp["x"], lamp["y"]))])
        )
    named += [(goal["name"], "", _closed(view.line(goal["outline"]))) for goal in arena["goals"]]
    named += [(gate["name"], "", view.line(gate["line"])) for gate in arena["gates"]]
    for wall in arena["walls"]:
        points = view.line(wall["points"])
        named.append((wall["name"], "", _closed(points) if wall["closed"] else points))
    for shade in arena["shades"]:
        more = f", passes {100 * shade['passes']:.3g} %"
        named.append((shade["name"], more, _closed(view.line(shade["outline"]))))
    placed: list[Label] = []
    longest = 0.4 * view.width
    for name, more, outline in named:
        place = _middle(outline[:-1] or outline)
        # the bare name says more than the start of it and what it does
        fits = sheet.text_size(name + more, LABEL_SIZE)[0] <= longest
        words = sheet.shorten(name + more if fits else name, LABEL_SIZE, longest)
        if not words.strip(". ") or not _is_seen(view, place):
            continue
        label = room.place(words, place, *plate_size(sheet, words), outline=outline)
        if label is not None:
            placed.append(label)
    return placed


def _is_seen(view: View, place: Point) -> bool:
    """Whether ``place`` [points] is in view, so that a leader could go there."""
    return view.left <= place[0] <= view.left + view.width and view.top <= place[1] <= view.top + view.height


def _closed(points: list[Point]) -> list[Point]:
    return [*points, points[0]]


def _middle(points: list[Point]) -> Point:
    return (sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points))


def draw_wall(sheet: Sheet, points: list[Point], *, closed: bool) -> None:
    """A wall along ``points`` [points]; a closed one is filled."""
    if closed and len(points) > 2:
        sheet.polygon(points, WOOD)
    sheet.line(points, PAPER, 8, closed=closed)
    sheet.line(points, TRAY, 5.5, closed=closed)


def draw_goal(sheet: Sheet, points: list[Point]) -> None:
    """A goal within the outline ``points`` [points]."""
    sheet.polygon(points, WHITE, 0.35)
    sheet.line(points, INK, 4, closed=True)
    sheet.cased_line(points, WHITE, INK, 2.4, pattern=(9, 9), closed=True)


def draw_gate(sheet: Sheet, points: list[Point]) -> None:
    """A gate along ``points`` [points]: a dashed line between two posts."""
    sheet.cased_line(points, WHITE, INK, 1.6, pattern=(3, 6))
    for end in (points[0], points[-1]):
        sheet.disc(end, 5.0, WHITE, INK, 2.0)


def draw_shade(sheet: Sheet, points: list[Point]) -> None:
    """A shade within the outline ``points`` [points]."""
    for start, end in hatching(points, 13.0, 0.0, float(sum(sheet.size))):
        # Two tones side by side: one of them shows on any light.
        sheet.line([start, end], LEAF_DARK, 1.5)
        sheet.line([(start[0] + 1.5, start[1]), (end[0] + 1.5, end[1])], LEAF_PALE, 1.5)
    sheet.cased_line(points, LEAF_DARK, LEAF_PALE, 2.4, closed=True)


def hatching(points: list[Point], spacing: float, lowest: float, highest: float) -> list[tuple[Point, Point]]:
    """Slanting lines, ``spacing`` apart, within the outline ``points`` of any shape.

    Along each of them x + y is the same; only those with a sum from ``lowest`` to ``highest`` are made.
    """
    sums = [x + y for x, y in points]
    lines = []
    first = math.ceil(max(min(sums), lowest) / spacing)
    last = math.floor(min(max(sums), highest) / spacing)
    for number in range(first, last + 1):
        # Off the round number, so that no corner lies exactly on the line.
        level = (number + 1e-7) * spacing
        crossings = []
        for (ax, ay), (bx, by) in zip(points, [*points[1:], points[0]], strict=True):
            a, b = ax + ay - level, bx + by - level
            if (a > 0) != (b > 0):
                share = a / (a - b)
                crossings.append((ax + share * (bx - ax), ay + share * (by - ay)))
        # The line enters and leaves the outline by turns.
        crossings.sort()
        lines += list(zip(crossings[::2], crossings[1::2], strict=False))
    return lines


def draw_lamp_mark(sheet: Sheet, middle: Point, radius: float = 11.0) -> None:
    """A lamp as circuit diagrams show it: a cross in a circle (IEC 60617)."""
    sheet.disc(middle, radius + 1.5, WHITE)
    sheet.disc(middle, radius, STRAW, INK, 2.2)
    reach = radius * math.sqrt(0.5) - 1
    for slant in (-1, 1):
        start = (middle[0] - reach, middle[1] - slant * reach)
        sheet.line([start, (middle[0] + reach, middle[1] + slant * reach)], INK, 2.2)


def draw_aim(sheet: Sheet, lamp: Point, aim: Point) -> None:
    """The way from a lamp to the place at which its beam is aimed."""
    sheet.cased_line([lamp, aim], INK, STRAW, 1.5, pattern=(2, 5))
    sheet.disc(aim, 4, STRAW, INK, 1.5)


def draw_beam_edge(sheet: Sheet, start: Point, end: Point) -> None:
    """One dash of the line round what a beam lights up."""
    sheet.line([start, end], STRAW, 2.6)
    sheet.line([start, end], INK, 1.0)


def _held(view: View, place: Point) -> Point:
    """The place, or the nearest one well inside the view."""
    return (
        min(max(place[0], view.left + 14), view.left + view.width - 14),
        min(max(place[1], view.top + 14), view.top + view.height - 14),
    )


def _draw_lamp(
    sheet: Sheet, view: View, lamp: dict[str, Any], floor: list[list[float]], room: LabelPlacement
) -> None:
    place = view(lamp["x"], lamp["y"])
    shown = _held(view, place)
    radius = max(11.0, 0.5 * lamp["diameter"] * view.zoom)
    if radius > 11.0:
        sheet.disc(shown, radius, None, INK, 1.5)
    aim = _held(view, view(*lamp["aim"]))
    if lamp["beam_half_angle_rad"] is not None and math.dist(aim, shown) > 2 * radius:
        draw_aim(sheet, shown, aim)
        room.take_line([shown, aim], 3)
    if lamp["beam_half_angle_rad"] is not None:
        for piece in beam_on_floor(lamp, floor):
            line = view.line(piece)
            for start, end in zip(line[::2], line[1::2], strict=False):
                draw_beam_edge(sheet, start, end)
    draw_lamp_mark(sheet, shown)
    if shown != place:
        # The lamp stands outside: an arrow says which way.
        angle = math.atan2(place[1] - shown[1], place[0] - shown[0])
        tip = (shown[0] + 24 * math.cos(angle), shown[1] + 24 * math.sin(angle))
        wings = [(tip[0] - 8 * math.cos(angle + s), tip[1] - 8 * math.sin(angle + s)) for s in (-0.5, 0.5)]
        sheet.cased_line([wings[0], tip, wings[1]], INK, PAPER, 2)
    room.take(shown[0] - 14, shown[1] - 14, shown[0] + 14, shown[1] + 14)


def beam_on_floor(lamp: dict[str, Any], floor: list[list[float]]) -> list[list[Point]]:
    """Where the cone of a lamp's beam, within which it gives half its light or more, meets ``floor`` [m].

    The pieces of that line, finely divided, which lie within the outline ``floor``; none for a lamp that
    lies on it.
    """
    x, y, height, half = lamp["x"], lamp["y"], lamp["height"], lamp["beam_half_angle_rad"]
    if height <= 0.0:
        return []
    to_x, to_y = lamp["aim"][0] - x, lamp["aim"][1] - y
    away = math.hypot(to_x, to_y)
    length = math.hypot(away, height)
    ahead = (to_x / away, to_y / away) if away > 0.0 else (1.0, 0.0)
    # the axis leans by this from straight down
    lean_sine, lean_cosine = away / length, height / length
    turns = np.linspace(0.0, 2.0 * math.pi, 361)
    up, aside = math.sin(half) * np.cos(turns), math.sin(half) * np.sin(turns)
    forward = math.cos(half) * lean_sine + up * lean_cosine
    down = math.cos(half) * lean_cosine - up * lean_sine
    meets = down > 1e-3
    reach, across = (height * part / np.where(meets, down, 1.0) for part in (forward, aside))
    on_x = x + reach * ahead[0] - across * ahead[1]
    on_y = y + reach * ahead[1] + across * ahead[0]
    meets &= inside(on_x, on_y, np.array(floor, dtype=np.float64))
    runs = np.split(np.arange(len(turns)), np.flatnonzero(meets[1:] != meets[:-1]) + 1)
    return [
        list(zip(on_x[run].tolist(), on_y[run].tolist(), strict=True))
        for run in runs
        if meets[run[0]] and len(run) > 1
    ]


def draw_sun_mark(sheet: Sheet, middle: Point, azimuth_rad: float) -> None:
    """The way the sunlight takes over the floor; ``azimuth_rad`` [rad] is where the sun stands."""
    away = (-math.cos(azimuth_rad), math.sin(azimuth_rad))

    def at(along: float, aside: float) -> Point:
        return middle[0] + along * away[0] - aside * away[1], middle[1] + along * away[1] + aside * away[0]

    for aside in (-7.0, 0.0, 7.0):
        sheet.line([at(-2, aside), at(12, aside)], sheet.theme.ink, 1.8)
        sheet.line([at(8, aside - 3), at(12, aside), at(8, aside + 3)], sheet.theme.ink, 1.8)
    sheet.disc(at(-9, 0), 5, STRAW, INK, 1.5)
