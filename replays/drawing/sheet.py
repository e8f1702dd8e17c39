"""A sheet to draw on: places and sizes in points of the picture, whatever the resolution underneath.

The one module that imports pygame; the others take it from here, so that its greeting and its warnings at
import stay out of our output.
"""

import math
import os
import warnings
from collections.abc import Iterator, Sequence
from functools import cache, lru_cache
from itertools import pairwise

import numpy as np

from agents.lazy_names import hidden

os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
with warnings.catch_warnings(), hidden("pkg_resources"):
    # pygame looks for its font through a module that setuptools has marked as deprecated, and that takes
    # a third of a second to import; without it, it finds the font by itself.
    warnings.simplefilter("ignore")
    import pygame as pygame
    import pygame.font

from replays.drawing.colours import Colour
from replays.drawing.latin_letters import latin_letters
from replays.drawing.theme import LIGHT, Theme

Point = tuple[float, float]


# A line far longer than any picture [points] is not worth its millions of dashes.
_LONGEST_DASHED = 1e6


@cache
def _font(size: int) -> pygame.font.Font:
    # The font that comes with pygame, so that a picture is the same on every machine.
    if not pygame.font.get_init():
        pygame.font.init()
    # It makes its letters this much smaller than it is asked to.
    return pygame.font.Font(None, math.ceil(size / 0.6875))


def forget_fonts() -> None:
    """Drop the fonts held; needed once pygame was closed, for they die with it."""
    _font.cache_clear()
    _letters.cache_clear()
    _measure.cache_clear()


@cache
def _has_letter(letter: str) -> bool:
    """Whether the font has a picture of ``letter``, other than the box that stands for all it lacks."""
    # letters are asked for by their pictures, for pygame tells measures even of what is not there
    drawn, missing = (
        pygame.image.tobytes(_font(20).render(one, False, (0, 0, 0)), "RGBA") for one in (letter, _LACKED)
    )
    return drawn != missing


# A place that Unicode keeps free for good.
_LACKED = "\uffff"


@lru_cache(maxsize=4096)
def _measure(words: str, size: int) -> tuple[int, int]:
    return _font(size).size(_drawable(words))


# A window writes the same words frame after frame.
@lru_cache(maxsize=1024)
def _letters(words: str, size: int, colour: Colour) -> pygame.Surface:
    return _font(size).render(_drawable(words), True, colour)


def dashes(points: Sequence[Point], pattern: Sequence[float]) -> Iterator[list[Point]]:
    """The pieces of the line through ``points`` that ``pattern`` (mark, gap, mark, gap …) leaves standing."""
    if not pattern:
        yield list(points)
        return
    position, index = 0.0, 0
    piece = [points[0]]
    for start, end in pairwise(points):
        length = math.dist(start, end)
        done = 0.0
        while length - done > pattern[index] - position:
            done += pattern[index] - position
            share = done / length
            here = (start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1]))
            if index % 2 == 0:
                yield [*piece, here]
            position, index = 0.0, (index + 1) % len(pattern)
            piece = [here]
        position += length - done
        piece.append(end)
    if index % 2 == 0 and len(piece) > 1:
        yield piece


class Sheet:
    """A surface of ``size`` points, ``scale`` pixels a point; words and frames are coloured by ``theme``."""

    def __init__(self, surface: pygame.Surface, scale: float = 1, theme: Theme = LIGHT) -> None:
        self.surface = surface
        self.scale = scale
        self.theme = theme

    @property
    def size(self) -> tuple[int, int]:
        """Width and height [points]."""
        width, height = self.surface.get_size()
        return int(width / self.scale), int(height / self.scale)

    def _at(self, point: Point) -> tuple[int, int]:
        # A place far outside would not fit into the integers that pygame draws with.
        scale, (x, y) = self.scale, point
        return round(min(max(x * scale, -1e5), 1e5)), round(min(max(y * scale, -1e5), 1e5))

    def fill(self, corner: Point, size: Point, colour: Colour) -> None:
        """Fill an upright rectangle."""
        self.surface.fill(colour, pygame.Rect(self._at(corner), self._at(size)))

    def line(self, points: Sequence[Point], colour: Colour, width: float, *, closed: bool = False) -> None:
        """A line through ``points`` with round joints and ends."""
        # the same as place by place, which takes far longer
        places = np.clip(np.asarray(points, np.float64) * self.scale, -1e5, 1e5)
        pixels: list[tuple[int, int]] = [(x, y) for x, y in np.rint(places).astype(np.int64).tolist()]
        if closed:
            pixels.append(pixels[0])
        thickness = max(1, round(width * self.scale))
        for start, end in pairwise(pixels):
            if start != end or thickness <= 2:
                self._stroke(start, end, colour, thickness)
        if thickness > 2:
            for pixel in dict.fromkeys(pixels):
                pygame.draw.circle(self.surface, colour, pixel, thickness / 2)

    def _stroke(self, start: tuple[int, int], end: tuple[int, int], colour: Colour, thickness: int) -> None:
        if thickness <= 2:
            pygame.draw.line(self.surface, colour, start, end, thickness)
            return
        length = math.dist(start, end)
        if length == 0:
            return
        # pygame cuts the ends of wide slanting lines off upright, which makes them thinner; draw the four
        # corners instead.
        aside_x = -(end[1] - start[1]) / length * thickness / 2
        aside_y = (end[0] - start[0]) / length * thickness / 2
        corners = [
            (start[0] + aside_x, start[1] + aside_y),
            (end[0] + aside_x, end[1] + aside_y),
            (end[0] - aside_x, end[1] - aside_y),
            (start[0] - aside_x, start[1] - aside_y),
        ]
        pygame.draw.polygon(self.surface, colour, corners)

    def cased_line(
        self,
        points: Sequence[Point],
        colour: Colour,
        casing: Colour,
        width: float,
        *,
        pattern: Sequence[float] = (),
        closed: bool = False,
    ) -> None:
        """A line with a rim of ``casing``, so that it stands out from whatever lies below."""
        if closed:
            points = [*points, points[0]]
        self.line(points, casing, width + 2.4)
        length = sum(math.dist(start, end) for start, end in pairwise(points))
        if length > _LONGEST_DASHED:
            pattern = ()
        for piece in dashes(points, pattern):
            self.line(piece, colour, width)

    def polygon(self, points: Sequence[Point], colour: Colour, opacity: float = 1.0) -> None:
        """Fill the area within ``points``; ``opacity`` from 0 to 1."""
        pixels = [self._at(point) for point in points]
        if opacity >= 1.0:
            pygame.draw.polygon(self.surface, colour, pixels)
            return
        whole = self.surface.get_rect()
        west = max(min(x for x, _ in pixels), whole.left)
        north = max(min(y for _, y in pixels), whole.top)
        east = min(max(x for x, _ in pixels) + 1, whole.right)
        south = min(max(y for _, y in pixels) + 1, whole.bottom)
        if east <= west or south <= north:
            return
        veil = pygame.Surface((east - west, south - north), pygame.SRCALPHA)
        moved = [(x - west, y - north) for x, y in pixels]
        pygame.draw.polygon(veil, (*colour, round(255 * opacity)), moved)
        self.surface.blit(veil, (west, north))

    def veil(self, centre: Point, radius: float, colour: Colour, opacity: float) -> None:
        """A disc that lets through what lies below; ``opacity`` from 0 to 1."""
        reach = math.ceil(radius * self.scale)
        surface = pygame.Surface((2 * reach + 1, 2 * reach + 1), pygame.SRCALPHA)
        pygame.draw.circle(surface, (*colour, round(255 * opacity)), (reach, reach), radius * self.scale)
        x, y = self._at(centre)
        self.surface.blit(surface, (x - reach, y - reach))

    def disc(
        self,
        centre: Point,
        radius: float,
        colour: Colour | None,
        rim: Colour | None = None,
        width: float = 1.5,
    ) -> None:
        """A disc, a ring, or both."""
        middle = self._at(centre)
        if colour is not None:
            pygame.draw.circle(self.surface, colour, middle, radius * self.scale)
        if rim is not None:
            pygame.draw.circle(
                self.surface, rim, middle, radius * self.scale, max(1, round(width * self.scale))
            )

    def text_size(self, words: str, size: int) -> tuple[float, float]:
        """Width and height [points] of ``words`` in letters of ``size``."""
        width, height = _measure(words, round(size * self.scale))
        return width / self.scale, height / self.scale

    def shorten(self, words: str, size: int, room: float, kept: str = "") -> str:
        """``words`` and what has to be ``kept`` after them, such as a count.

        Where they would not go into ``room`` [points], ``words`` are cut off with dots.
        """
        words, kept = _drawable(words), _drawable(kept)
        if self.text_size(words + kept, size)[0] <= room:
            return words + kept
        # as many letters as fit, found by halving
        least, most = 0, len(words)
        while least < most:
            middle = (least + most + 1) // 2
            if self.text_size(words[:middle] + "..." + kept, size)[0] <= room:
                least = middle
            else:
                most = middle - 1
        return words[:least].rstrip() + "..." + kept

    def text(
        self,
        words: str,
        place: Point,
        size: int,
        colour: Colour | None = None,
        *,
        across: float = 0.0,
        down: float = 0.0,
    ) -> None:
        """Write ``words``, in the theme's ink unless ``colour`` is given.

        ``across`` and ``down`` are the shares of them left of and above ``place``.
        """
        image = _letters(words, round(size * self.scale), colour or self.theme.ink)
        width, height = image.get_size()
        x, y = self._at(place)
        self.surface.blit(image, (round(x - across * width), round(y - down * height)))

    def plate(self, words: str, corner: Point, size: int) -> None:
        """Write ``words`` on a small plate of paper, like a plant label."""
        width, height = self.text_size(words, size)
        rectangle = pygame.Rect(self._at(corner), self._at((width + 10, height + 6)))
        self._rounded(rectangle, self.theme.paper, self.theme.ink, 3)
        self.text(words, (corner[0] + 5, corner[1] + 3.5), size)

    def card(
        self, corner: Point, size: Point, colour: Colour, rim: Colour | None = None, radius: float = 4
    ) -> None:
        """A rectangle with rounded corners, with a rim if a colour for it is given."""
        self._rounded(pygame.Rect(self._at(corner), self._at(size)), colour, rim, radius)

    def _rounded(self, rectangle: pygame.Rect, colour: Colour, rim: Colour | None, radius: float) -> None:
        corner = round(radius * self.scale)
        pygame.draw.rect(self.surface, colour, rectangle, border_radius=corner)
        if rim is not None:
            pygame.draw.rect(self.surface, rim, rectangle, max(1, round(self.scale)), border_radius=corner)

    def wrapped(self, words: str, size: int, room: float) -> list[str]:
        """``words`` in lines of at most ``room`` [points]; a longer single word is cut off with dots."""
        lines: list[str] = []
        for word in words.split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and self.text_size(longer, size)[0] <= room:
                lines[-1] = longer
            else:
                lines.append(self.shorten(word, size, room))
        return lines


@lru_cache(maxsize=4096)
def _drawable(words: str) -> str:
    # A name may hold anything that YAML lets through; the font lacks most of it.
    return latin_letters(words, _has_letter)
