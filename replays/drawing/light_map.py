"""The light on the floor as a map: smooth between cells, with a labelled line at each round value."""

import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray
from replays.drawing.colours import (
    LIGHT_STEPS,
    Colour,
    LightScale,
    light_colours,
    light_scale,
    line_colours,
    readable_on,
)
from replays.drawing.label_placing import LABEL_SIZE, LabelPlacement
from replays.drawing.metres_to_points import View
from replays.drawing.sheet import Point, Sheet, pygame
from replays.format.tables import Replay
from replays.scoring.outline import inside
from replays.words import light_words

# Darkness has no logarithm; anything this dim [lx] lies below every scale.
_DIMMEST = 1e-6
# While the view moves one sample stands for so many points across and down.
COARSE = 4
# Steps of the scale at which the nearest line is looked up.
_TICK_STEPS = 1 << 12
# Names of a line are this far apart [points] along it.
_NAMES_APART = 420.0

Floats = NDArray[np.float32]

Crowded = Callable[[float, float, float, float], bool]
"""Whether much is drawn in a rectangle: left, top, width, height [points]."""


class LightMap:
    """The light of a replay, ready to be painted into any view."""

    def __init__(self, light_map_lx: NDArray[np.float32], placed: dict[str, float]) -> None:
        """``light_map_lx`` (rows, columns) [lx] with ``placed`` as the header's ``light_map`` places it."""
        self.scale: LightScale = light_scale(light_map_lx)
        self._x, self._y, self._cell = placed["x"], placed["y"], placed["cell"]
        # blended in the logarithm, as the eye and the scale see it
        logarithm = np.log(np.maximum(light_map_lx.astype(np.float64), _DIMMEST))
        if logarithm.size == 0:
            logarithm = np.full((1, 1), math.log(_DIMMEST))
        low, high = math.log(self.scale.low_lx), math.log(self.scale.high_lx)
        self._share: Floats = ((logarithm - low) / (high - low)).astype(np.float32)
        self._ticks = line_levels(self.scale)
        self._colours = light_colours()
        ticks = self.scale.share(np.array(self._ticks, dtype=np.float64))
        self._tick_shares: Floats = ticks.astype(np.float32)
        # of a fine scale, which line is the nearest
        fine = np.linspace(0.0, 1.0, _TICK_STEPS, dtype=np.float32)
        halves = 0.5 * (self._tick_shares[1:] + self._tick_shares[:-1])
        self._nearest = np.searchsorted(halves, fine)
        if self._ticks:
            self._nearest_share = self._tick_shares[self._nearest]
        # beside the lines the ground is as bright as they say
        self._inks = line_colours()[np.round(ticks * (LIGHT_STEPS - 1)).astype(np.intp)]

    @classmethod
    def of(cls, replay: Replay) -> "LightMap":
        """The light map of ``replay``."""
        return cls(replay.light_map, replay.header["light_map"])

    def shares(self, x: FloatArray, y: FloatArray) -> Floats:
        """Places on the scale, below 0 and above 1 beyond its ends, at columns ``x`` and rows ``y`` [m]."""
        rows, columns = self._share.shape
        across = np.clip((x - self._x) / self._cell - 0.5, 0, columns - 1)
        up = np.clip((y - self._y) / self._cell - 0.5, 0, rows - 1)
        column, row = across.astype(np.intp), up.astype(np.intp)
        next_column, next_row = np.minimum(column + 1, columns - 1), np.minimum(row + 1, rows - 1)
        part = (across - column).astype(np.float32)
        rest = (up - row).astype(np.float32)[:, None]
        # first along the rows that are needed, each once, then between them
        first, last = int(row.min()), int(next_row.max())
        band = self._share[first : last + 1]
        wide = band[:, column] * (1 - part) + band[:, next_column] * part
        blended: Floats = wide[row - first] * (1 - rest) + wide[next_row - first] * rest
        return blended

    def paint_coarsely(self, sheet: Sheet, view: View, floor: list[list[float]]) -> None:
        """Fill ``view`` with the light on ``floor`` [m], its outline, from few samples and without lines."""
        x, y = view.columns()[COARSE // 2 :: COARSE], view.rows()[COARSE // 2 :: COARSE]
        if not len(x) or not len(y):
            return
        picture = self._colours[_steps(self.shares(x, y))]
        image = pygame.surfarray.make_surface(picture.swapaxes(0, 1))
        points = (round(view.width), round(view.height))
        image = pygame.transform.smoothscale(image, points)
        corner = (round(view.left * sheet.scale), round(view.top * sheet.scale))
        cut_out(image, [(px - view.left, py - view.top) for px, py in view.line(floor)], sheet.theme.paper)
        size = (round(view.width * sheet.scale), round(view.height * sheet.scale))
        if size != points:
            # no smoother, for a large screen has many pixels
            image = pygame.transform.scale(image, size)
        sheet.surface.blit(image, corner)

    def paint_rows(self, surface: pygame.Surface, view: View, scale: float, first: int, last: int) -> None:
        """Fill the rows from ``first`` up to ``last`` of ``surface``, which has 32 bits a pixel, with light.

        The whole surface is ``view``, at ``scale`` pixels a point. What is painted row by row has no seams.
        """
        columns, rows = surface.get_size()
        # a row more on either side tells how steep the light is
        above, below = max(first - 1, 0), min(last + 1, rows)
        x = view.west + (np.arange(columns, dtype=np.float64) + 0.5) / (view.zoom * scale)
        y = view.south + (view.height - (np.arange(above, below, dtype=np.float64) + 0.5) / scale) / view.zoom
        share = self.shares(x, y)
        packed = np.array([surface.map_rgb(colour) for colour in self._colours.tolist()], dtype=np.uint32)
        own = share[first - above : last - above]
        picture = packed.take(_steps(own))
        if self._ticks and min(share.shape) >= 2:
            self._draw_lines(picture, share, first - above, scale, surface)
        pygame.surfarray.pixels2d(surface)[:, first:last] = picture.T

    def _draw_lines(
        self, picture: NDArray[np.uint32], share: Floats, above: int, scale: float, surface: pygame.Surface
    ) -> None:
        """Draw a fine line, smoothed over its edge, where ``share`` passes a tick.

        ``picture`` has packed colours, and ``above`` rows less than ``share``, from its top.
        """
        own = share[above : above + len(picture)]
        level = (np.clip(own, 0.0, 1.0) * (_TICK_STEPS - 1) + 0.5).astype(np.uint16)
        away = np.square(own - self._nearest_share.take(level))
        slope = _squared_slope(share)[above : above + len(picture)]
        # half as wide as a line, and half a pixel of its soft edge
        reach = 0.75 * scale + 0.5
        # where the light hardly changes a line would be as wide as a field
        where = np.nonzero((away < reach**2 * slope) & (slope >= (2e-5 / scale) ** 2))
        ink = np.minimum(reach - np.sqrt(away[where] / slope[where]), 1.0)[:, None]
        lines = self._inks[self._nearest[level[where]]]
        colours = self._colours[_steps(own[where])]
        red, green, blue = np.round((1 - ink) * colours + ink * lines).astype(np.uint32).T
        shifts = surface.get_shifts()
        picture[where] = (red << shifts[0]) | (green << shifts[1]) | (blue << shifts[2])

    def name_lines(
        self, sheet: Sheet, view: View, room: LabelPlacement, floor: list[list[float]], crowded: Crowded
    ) -> Iterator[float]:
        """Write on the lines how much light they stand for, one value [lx] after the other.

        Names go where ``room`` is left, within the outline ``floor`` [m], and not onto what is ``crowded``.
        """
        outline = np.array(floor, dtype=np.float64)
        step = 4
        x, y = view.columns()[::step], view.rows()[::step]
        if len(x) < 2 or len(y) < 2:
            return
        share = self.shares(x, y)
        for tick, level in zip(self._ticks, self.scale.share(np.array(self._ticks)).tolist(), strict=True):
            above = share > level
            row, column = np.nonzero(above[:, 1:] != above[:, :-1])
            words = light_words(tick)
            width, height = sheet.text_size(words, LABEL_SIZE)
            written: list[Point] = []
            # from the middle outwards, so that names gather where the eye is
            places = [
                (view.left + step * (int(c) + 1.0), view.top + step * (int(r) + 0.5))
                for r, c in zip(row, column, strict=True)
            ]
            middle = (view.left + view.width / 2, view.top + view.height / 2)
            for place in sorted(places, key=lambda at: math.dist(at, middle)):
                if any(math.dist(place, other) < _NAMES_APART for other in written):
                    continue
                corner = (place[0] - width / 2 - 3, place[1] - height / 2 - 1)
                ends = [
                    view.place((corner[0] + dx, corner[1] + dy))
                    for dx in (-8, width + 14)
                    for dy in (-8, height + 10)
                ]
                ends_x, ends_y = np.array(ends).T
                if not inside(ends_x, ends_y, outline).all():
                    continue
                if crowded(corner[0], corner[1], width + 6, height + 2):
                    continue
                if room.claim(corner[0], corner[1], width + 6, height + 2):
                    written.append(place)
                    self._name(sheet, words, corner, (width, height), level)
            yield tick

    def _name(self, sheet: Sheet, words: str, corner: Point, size: Point, level: float) -> None:
        colour: Any = tuple(int(part) for part in self._colours[round(level * (LIGHT_STEPS - 1))])
        sheet.card(corner, (size[0] + 6, size[1] + 2), colour, None, 6)
        sheet.text(words, (corner[0] + 3, corner[1] + 1.5), LABEL_SIZE, readable_on(colour))


def line_levels(scale: LightScale) -> list[float]:
    """Values [lx] at which lines are drawn."""
    return [tick for tick in scale.ticks() if scale.low_lx < tick < scale.high_lx]


def draw_equal_light(sheet: Sheet, box: list[Point]) -> None:
    """A piece of the light map with a fine line across, where ``box`` [points] has its opposite corners."""
    (west, north), (east, south) = box[0], box[2]
    ground = light_colours()[LIGHT_STEPS // 2]
    red, green, blue = ground.tolist()
    sheet.fill((west, north), (east - west, south - north), (red, green, blue))
    red, green, blue = line_colours()[LIGHT_STEPS // 2].tolist()
    middle = 0.5 * (north + south)
    sheet.line([(west, middle), (east, middle)], (red, green, blue), 1)


def _squared_slope(share: Floats) -> Floats:
    """The square of how steep ``share`` is at each of at least two by two pixels, a pixel."""
    squared = np.zeros_like(share)
    for axis in (0, 1):
        along, steep = np.moveaxis(share, axis, 0), np.moveaxis(squared, axis, 0)
        steep[1:-1] += np.square(0.5 * (along[2:] - along[:-2]))
        steep[0] += np.square(along[1] - along[0])
        steep[-1] += np.square(along[-1] - along[-2])
    return squared


def _steps(share: Floats) -> NDArray[np.uint8]:
    """Numbers of the colours of places on the scale."""
    steps: NDArray[np.uint8] = (np.clip(share, 0.0, 1.0) * (LIGHT_STEPS - 1) + 0.5).astype(np.uint8)
    return steps


def cut_out(image: pygame.Surface, floor: list[Point], paper: Colour) -> None:
    """Cover with ``paper`` what of ``image`` lies outside of the outline ``floor`` [pixels of it]."""
    key = (255, 0, 254)
    mask = pygame.Surface(image.get_size())
    mask.fill(paper)
    pygame.draw.polygon(mask, key, [(min(max(x, -1e5), 1e5), min(max(y, -1e5), 1e5)) for x, y in floor])
    mask.set_colorkey(key)
    image.blit(mask, (0, 0))
