"""The arena from above: light, shades, walls, lamps and goals."""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from replays.colours import (
    INK,
    LEAF_DARK,
    LEAF_PALE,
    LIGHT_STEPS,
    PAPER,
    STRAW,
    TRAY,
    WHITE,
    WOOD,
    LightScale,
    light_colours,
)
from replays.outline import inside
from replays.record import Replay
from replays.sheet import Sheet, pygame
from replays.view import Point, Room, View

LABEL_SIZE = 14


def draw_light(sheet: Sheet, view: View, replay: Replay, scale: LightScale) -> None:
    """The light map within the floor, with a fine line at each tick of ``scale``."""
    x, y = view.columns(), view.rows()
    share = scale.share(np.exp(_between_cells(replay, x, y)))
    index = np.round(share * (LIGHT_STEPS - 1)).astype(np.intp)
    picture = light_colours()[index].astype(np.float64)
    ticks = scale.share(np.array(scale.ticks()))
    band = np.searchsorted(ticks, share)
    edge = np.zeros(band.shape, dtype=bool)
    edge[:, :-1] |= band[:, :-1] != band[:, 1:]
    edge[:-1, :] |= band[:-1, :] != band[1:, :]
    picture[edge] = _fine_line(picture[edge])
    grid_x, grid_y = np.meshgrid(x, y)
    floor = inside(grid_x.ravel(), grid_y.ravel(), np.array(replay.arena["floor"], dtype=np.float64))
    picture[~floor.reshape(band.shape)] = PAPER
    image = pygame.surfarray.make_surface(picture.round().astype(np.uint8).swapaxes(0, 1))
    large = pygame.transform.scale(image, (image.get_width() * sheet.scale, image.get_height() * sheet.scale))
    sheet.surface.blit(large, (round(view.left * sheet.scale), round(view.top * sheet.scale)))


def _fine_line(colours: NDArray[Any]) -> NDArray[np.float64]:
    """Colours of a fine line over ``colours``."""
    line: NDArray[np.float64] = 0.72 * colours + 0.28 * np.array(INK)
    return line


def draw_equal_light(sheet: Sheet, box: list[Point]) -> None:
    """A piece of the light map with a fine line across, where ``box`` [points] has its opposite corners."""
    (west, north), (east, south) = box[0], box[2]
    ground = light_colours()[LIGHT_STEPS // 2]
    red, green, blue = (int(part) for part in ground)
    sheet.fill((west, north), (east - west, south - north), (red, green, blue))
    red, green, blue = (round(float(part)) for part in _fine_line(ground))
    middle = 0.5 * (north + south)
    sheet.line([(west, middle), (east, middle)], (red, green, blue), 1)


def _between_cells(replay: Replay, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Logarithm of the light [ln lx] at columns ``x`` and rows ``y`` [m], evenly blended between cells."""
    grid = replay.header["light_map"]
    # Darkness has no logarithm; anything this dim lies below every scale.
    light = np.log(np.maximum(replay.light_map.astype(np.float64), 1e-6))
    if light.size == 0:
        return np.full((len(y), len(x)), math.log(1e-6))
    rows, columns = light.shape
    across = np.clip((x - grid["x"]) / grid["cell"] - 0.5, 0, columns - 1)
    up = np.clip((y - grid["y"]) / grid["cell"] - 0.5, 0, rows - 1)
    column, row = across.astype(np.intp), up.astype(np.intp)
    next_column, next_row = np.minimum(column + 1, columns - 1), np.minimum(row + 1, rows - 1)
    part, rest = across - column, (up - row)[:, None]
    lower = light[np.ix_(row, column)] * (1 - part) + light[np.ix_(row, next_column)] * part
    upper = light[np.ix_(next_row, column)] * (1 - part) + light[np.ix_(next_row, next_column)] * part
    blended: NDArray[np.float64] = lower * (1 - rest) + upper * rest
    return blended


def draw_ground(sheet: Sheet, view: View, arena: dict[str, Any], room: Room) -> None:
    """Everything that stands, hangs or is marked on the floor; what it covers is taken from ``room``."""
    floor = view.line(arena["floor"])
    sheet.line(floor, WOOD, 7, closed=True)
    sheet.line(floor, INK, 1.2, closed=True)
    for goal in arena["goals"]:
        draw_goal(sheet, view.line(goal["outline"]))
    for shade in arena["shades"]:
        draw_shade(sheet, view.line(shade["outline"]))
    for wall in arena["walls"]:
        points = view.line(wall["points"])
        draw_wall(sheet, points, closed=wall["closed"])
        room.take_line([*points, points[0]] if wall["closed"] else points, 5)
    for lamp in arena["lamps"]:
        _draw_lamp(sheet, view, lamp, room)


def names_of_things(sheet: Sheet, view: View, arena: dict[str, Any], room: Room) -> list[tuple[str, Point]]:
    """Names of lamps, goals, walls and shades, and their corners [points] where ``room`` is left for them."""
    named: list[tuple[str, Point]] = []
    for lamp in arena["lamps"]:
        words = f"{lamp['name']}, {lamp['intensity_cd']:,.0f} cd"
        named.append((words, _held(view, view(lamp["x"], lamp["y"]))))
    placed: list[tuple[str, Point]] = []
    named += [(goal["name"], _middle(view.line(goal["outline"]))) for goal in arena["goals"]]
    named += [(wall["name"], _middle(view.line(wall["points"]))) for wall in arena["walls"]]
    for shade in arena["shades"]:
        words = f"{shade['name']}, passes {100 * shade['passes']:.3g} %"
        named.append((words, _middle(view.line(shade["outline"]))))
    for words, place in named:
        short = sheet.shorten(words, LABEL_SIZE, 0.4 * view.width)
        width, height = sheet.text_size(short, LABEL_SIZE)
        corner = room.find(place, width + 10, height + 6)
        if corner is not None and short.strip(". "):
            placed.append((short, corner))
    return placed


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


def _held(view: View, place: Point) -> Point:
    """The place, or the nearest one well inside the view."""
    return (
        min(max(place[0], view.left + 14), view.left + view.width - 14),
        min(max(place[1], view.top + 14), view.top + view.height - 14),
    )


def _draw_lamp(sheet: Sheet, view: View, lamp: dict[str, Any], room: Room) -> None:
    place = view(lamp["x"], lamp["y"])
    shown = _held(view, place)
    radius = max(11.0, 0.5 * lamp["diameter"] * view.zoom)
    if radius > 11.0:
        sheet.disc(shown, radius, None, INK, 1.5)
    aim = _held(view, view(*lamp["aim"]))
    if lamp["beam_half_angle_rad"] is not None and math.dist(aim, shown) > 2 * radius:
        draw_aim(sheet, shown, aim)
    draw_lamp_mark(sheet, shown)
    if shown != place:
        # The lamp stands outside: an arrow says which way.
        angle = math.atan2(place[1] - shown[1], place[0] - shown[0])
        tip = (shown[0] + 24 * math.cos(angle), shown[1] + 24 * math.sin(angle))
        wings = [(tip[0] - 8 * math.cos(angle + s), tip[1] - 8 * math.sin(angle + s)) for s in (-0.5, 0.5)]
        sheet.cased_line([wings[0], tip, wings[1]], INK, PAPER, 2)
    room.take(shown[0] - 14, shown[1] - 14, shown[0] + 14, shown[1] + 14)


def draw_sun_mark(sheet: Sheet, middle: Point, azimuth_rad: float) -> None:
    """The way the sunlight takes over the floor; ``azimuth_rad`` [rad] is where the sun stands."""
    away = (-math.cos(azimuth_rad), math.sin(azimuth_rad))

    def at(along: float, aside: float) -> Point:
        return middle[0] + along * away[0] - aside * away[1], middle[1] + along * away[1] + aside * away[0]

    for aside in (-7.0, 0.0, 7.0):
        sheet.line([at(-2, aside), at(12, aside)], INK, 1.8)
        sheet.line([at(8, aside - 3), at(12, aside), at(8, aside + 3)], INK, 1.8)
    sheet.disc(at(-9, 0), 5, STRAW, INK, 1.5)
