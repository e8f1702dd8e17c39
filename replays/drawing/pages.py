"""A whole picture: arena, walkers, legend and headline, for a file or for a window."""

from collections.abc import Sequence

from agents.arrays import FloatArray
from replays.drawing.day_card import draw_day_card
from replays.drawing.figures import ALL_WAYS, Moment
from replays.drawing.layout import FOOT, HEAD, PageLayout, lay_out_page
from replays.drawing.legend import HEADING, TEXT, draw_legend, draw_scale_bar
from replays.drawing.light_map import map_scale
from replays.drawing.marks import CROWD
from replays.drawing.metres_to_points import View, bounds, fit
from replays.drawing.moving_picture import Stage
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import LIGHT, Theme
from replays.drawing.who_leads import LeadView
from replays.format.tables import Replay
from replays.scoring.scores import DesignScore
from replays.scoring.standings import Standings
from replays.words import clock_words

LEGEND = 340
"""Width of the legend [points]."""

MARGIN = 24

LEAST_WIDTH, MOST_WIDTH = 800, 6000
"""Widths [points] in which a picture can be read, and made."""


def aspect_of(replay: Replay) -> float:
    """Height of a replay's arena over its width, as drawn."""
    west, south, east, north = bounds(replay.arena)
    margin = 0.06 * max(east - west, north - south)
    return (north - south + margin) / (east - west + margin)


def height_for(replay: Replay, width: int, scores: Sequence[DesignScore] | None = None) -> int:
    """Height [points] of a picture of ``width`` that holds arena and legend, within reason."""
    west, south, east, north = bounds(replay.arena)
    room = width - LEGEND - 3 * MARGIN
    arena = room * (north - south) / (east - west)
    # written once on a scrap of paper, which tells where it ends
    scrap = Sheet(pygame.Surface((LEGEND, 10)))
    legend = draw_legend(scrap, 0.0, 0.0, LEGEND, replay, map_scale(replay), scores)
    return round(HEAD + FOOT + max(min(arena, 1.5 * width), legend - FOOT + MARGIN))


def draw_headline(sheet: Sheet, layout: PageLayout, replay: Replay) -> None:
    """Name of the arena and what it is, beside the room that :func:`draw_clock` takes."""
    arena, margin = replay.arena, layout.margin
    right = layout.width - margin
    if layout.has_side_legend and layout.legend is not None:
        left = layout.legend.left
        seed = f"seed {replay.header['seed']}"
        sheet.text(sheet.shorten(seed, TEXT, right - left), (left, 48), TEXT, sheet.theme.faded)
        right = left - margin
    else:
        right -= sheet.text_size(_clock(replay, replay.seconds), HEADING)[0] + margin
    sheet.text(sheet.shorten(arena["name"], 28, right - margin), (margin, 16), 28)
    lines = sheet.wrapped(arena["about"], 16, layout.arena.width)
    if len(lines) > 2:
        lines = [lines[0], sheet.shorten(" ".join(lines[1:]), 16, layout.arena.width)]
    for number, line in enumerate(lines):
        sheet.text(line, (margin, 49 + 19 * number), 16, sheet.theme.faded)


def draw_clock(sheet: Sheet, layout: PageLayout, replay: Replay, time_s: float) -> None:
    """How far the run has come."""
    if layout.has_side_legend and layout.legend is not None:
        sheet.text(_clock(replay, time_s), (layout.legend.left, 18), 21)
    else:
        sheet.text(_clock(replay, time_s), (layout.width - layout.margin, 18), HEADING, across=1.0)


def _clock(replay: Replay, time_s: float) -> str:
    return f"{clock_words(time_s)} of {clock_words(replay.seconds)}"


class MapSurround:
    """What stands round the arena, kept until it changes: headline without the clock, legend, scale bar."""

    def __init__(
        self,
        replay: Replay,
        layout: PageLayout,
        scale: float,
        theme: Theme,
        scores: Sequence[DesignScore] | None = None,
        standings: Standings | None = None,
    ) -> None:
        self._replay, self.layout, self._scale, self._theme = replay, layout, scale, theme
        self._scores, self._standings = scores, standings
        self._light = map_scale(replay)
        self._legend: tuple[tuple[int, ...], pygame.Surface] | None = None

    def draw(self, surface: pygame.Surface, view: View, time_s: float) -> None:
        """Draw all of it onto ``surface``, as it is at ``time_s`` [s], for an arena seen in ``view``."""
        sheet = Sheet(surface, self._scale, self._theme)
        draw_headline(sheet, self.layout, self._replay)
        place = (max(view.left, self.layout.margin) + 4, view.top + view.height + 22)
        wide = draw_scale_bar(sheet, view, place, min(220.0, 0.4 * self.layout.width))
        box = self.layout.legend
        if box is None and self._standings is not None and self._standings.has_goal:
            # in a picture too small for a legend, the count at least
            words = f"{self._standings.count(time_s)} of {len(self._replay.walkers)} arrived"
            right = self.layout.width - self.layout.margin
            words = sheet.shorten(words, TEXT, right - place[0] - wide - 12)
            sheet.text(words, (right, place[1]), TEXT, across=1.0, down=0.5)
        if box is not None:
            picture = self._draw_legend(time_s)
            surface.blit(picture, (round(box.left * self._scale), round(box.top * self._scale)))

    def _draw_legend(self, time_s: float) -> pygame.Surface:
        standings = self._standings
        told = () if standings is None else (standings.count(time_s), *standings.through(time_s).values())
        box = self.layout.legend
        assert box is not None
        if self._legend is None or self._legend[0] != told:
            fine = 2 if self._scale < 2.5 else 1
            size = (max(1, round(box.width * self._scale)), max(1, round(box.height * self._scale)))
            large = pygame.Surface((size[0] * fine, size[1] * fine))
            large.fill(self._theme.paper)
            sheet = Sheet(large, self._scale * fine, self._theme)
            draw_legend(
                sheet, 0.0, 0.0, box.width, self._replay, self._light, self._scores, self._standings, time_s,
                box.height,
            )  # fmt: skip
            self._legend = (told, pygame.transform.smoothscale(large, size))
        return self._legend[1]


class ReplayPage:
    """A replay laid out for a surface of one size; what stays the same is drawn once."""

    def __init__(
        self,
        replay: Replay,
        width: int,
        height: int,
        scale: float = 1,
        scores: Sequence[DesignScore] | None = None,
        theme: Theme = LIGHT,
        *,
        has_standings: bool = False,
    ) -> None:
        """Lay out ``width`` by ``height`` points at ``scale`` pixels a point.

        The legend tells ``scores``, or who has arrived where ``has_standings``.
        """
        self.replay, self.scale, self.theme = replay, scale, theme
        self.layout = lay_out_page(width, height, aspect_of(replay))
        box = self.layout.arena
        self.view: View = fit(replay.arena, box.left, box.top, box.width, box.height)
        self.stage = Stage(replay, theme, scale)
        self.lead = LeadView(replay)
        standings = self.lead.standings if has_standings else None
        self._page = MapSurround(replay, self.layout, scale, theme, scores, standings)

    def draw(
        self,
        surface: pygame.Surface,
        time_s: float,
        levels: FloatArray | None = None,
        chosen: int | None = None,
        *,
        has_clock: bool = True,
    ) -> None:
        """Draw the run as far as ``time_s`` [s] onto ``surface``.

        ``levels`` (walkers, 2) tells how far each side is lit, ``chosen`` which walker is told apart.
        """
        surface.fill(self.theme.paper)
        self._page.draw(surface, self.view, time_s)
        leader, numbered = self.lead.leader(time_s), len(self.replay.walkers) <= CROWD
        self.stage.draw(surface, self.view, Moment(time_s, levels, chosen, ALL_WAYS, leader, numbered))
        if has_clock:
            self.draw_clock(surface, time_s)

    def draw_final(self, surface: pygame.Surface) -> None:
        """Draw the card of the places at the end of the run onto ``surface``."""
        sheet = Sheet(surface, self.scale, self.theme)
        if len(self.replay.walkers) > 1:
            self.lead.draw_final(sheet, self.layout.arena, self.replay.seconds)

    def draw_clock(self, surface: pygame.Surface, time_s: float) -> None:
        """Draw how far the run has come onto ``surface``."""
        sheet = Sheet(surface, self.scale, self.theme)
        draw_clock(sheet, self.layout, self.replay, time_s)
        if self.replay.day is not None:
            draw_day_card(sheet, self.view, self.replay.day, time_s)
