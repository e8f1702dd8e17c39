"""The light on the floor as a map: smooth between cells, with a labelled line at each round value."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray
from replays.drawing.colours import (
    LIGHT_STEPS,
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
        # beside the lines the ground is as bright as they say
        self._inks = line_colours()[
            np.round(self.scale.share(np.array(self._ticks, dtype=np.float64)) * (LIGHT_STEPS - 1)).astype(
                np.intp
            )
        ]

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

    def paint(self, sheet: Sheet, view: View, floor: list[list[float]], *, coarse: bool = False) -> None:
        """Fill ``view`` with the light on ``floor`` [m], its outline; lines are left out where ``coarse``."""
        step = COARSE if coarse else 1
        x, y = view.columns()[step // 2 :: step], view.rows()[step // 2 :: step]
        if not len(x) or not len(y):
            return
        share = self.shares(x, y)
        index = (np.clip(share, 0.0, 1.0) * (LIGHT_STEPS - 1) + 0.5).astype(np.uint8)
        picture = self._colours[index]
        if not coarse:
            picture = self._with_lines(picture, share)
        image = pygame.surfarray.make_surface(picture.swapaxes(0, 1))
        size = (round(view.width * sheet.scale), round(view.height * sheet.scale))
        if image.get_size() != size:
            image = pygame.transform.smoothscale(image, size)
        corner = (round(view.left * sheet.scale), round(view.top * sheet.scale))
        _cut_out(
            image,
            [(px * sheet.scale - corner[0], py * sheet.scale - corner[1]) for px, py in view.line(floor)],
            sheet,
        )
        sheet.surface.blit(image, corner)

    def _with_lines(self, picture: NDArray[np.uint8], share: Floats) -> NDArray[np.uint8]:
        """``picture`` with a fine line where ``share`` passes a tick, smoothed over its edge."""
        if not self._ticks or min(share.shape) < 2:
            return picture
        ticks = self.scale.share(np.array(self._ticks)).astype(np.float32)
        down, across = np.gradient(share)
        slope = np.maximum(np.hypot(down, across), 1e-7)
        for tick, colour in zip(ticks, self._inks, strict=True):
            ink = np.clip(1.25 - np.abs(share - tick) / slope, 0.0, 1.0)
            # where the light hardly changes a line would be as wide as a field
            ink[slope < 2e-5] = 0.0
            where = np.nonzero(ink)
            picture[where] = _inked(picture[where], ink[where][:, None], colour)
        return picture

    def name_lines(
        self, sheet: Sheet, view: View, room: LabelPlacement, floor: list[list[float]], crowded: Crowded
    ) -> None:
        """Write on the lines how much light they stand for.

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


def _inked(
    colours: NDArray[np.uint8], ink: NDArray[np.floating], colour: NDArray[np.uint8]
) -> NDArray[np.uint8]:
    """``colours`` below a line of so much ``ink``, 0 to 1, of a ``colour``."""
    return np.round((1 - ink) * colours + ink * colour).astype(np.uint8)


def _cut_out(image: pygame.Surface, floor: list[Point], sheet: Sheet) -> None:
    """Cover with paper what of ``image`` lies outside of the outline ``floor`` [pixels]."""
    key = (255, 0, 254)
    mask = pygame.Surface(image.get_size())
    mask.fill(sheet.theme.paper)
    pygame.draw.polygon(mask, key, [(min(max(x, -1e5), 1e5), min(max(y, -1e5), 1e5)) for x, y in floor])
    mask.set_colorkey(key)
    image.blit(mask, (0, 0))
