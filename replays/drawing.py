"""A whole picture: arena, walkers, legend and headline, for a file or for a window."""

from collections.abc import Sequence

from replays.colours import FADED_INK, INK, PAPER, clock_words, light_scale
from replays.ground import LABEL_SIZE, draw_ground, draw_light, names_of_things
from replays.legend import TEXT, draw_legend, draw_scale_bar
from replays.record import Replay
from replays.score import DesignScore
from replays.sheet import Sheet, pygame
from replays.tracks import Tracks, draw_paths, draw_walkers, take_room
from replays.view import Room, View, bounds, fit

LEGEND = 340
"""Width of the legend [points]."""

MARGIN = 24
_HEADLINE = 84
_FOOT = 48

LEAST_WIDTH, MOST_WIDTH = 800, 6000
"""Widths [points] in which a picture can be read, and made."""


def height_for(replay: Replay, width: int, scores: Sequence[DesignScore] | None = None) -> int:
    """Height [points] of a picture of ``width`` that holds arena and legend, within reason."""
    west, south, east, north = bounds(replay.arena)
    room = width - LEGEND - 3 * MARGIN
    arena = room * (north - south) / (east - west)
    # Written once on a scrap of paper, which tells where it ends.
    scrap = Sheet(pygame.Surface((LEGEND, 10)))
    legend = draw_legend(scrap, 0.0, 0.0, LEGEND, replay, light_scale(replay.light_map), scores)
    return round(_HEADLINE + _FOOT + max(min(arena, 1.5 * width), legend - _FOOT + MARGIN))


class Scene:
    """A replay laid out for a surface of one size; what stays the same is drawn once."""

    def __init__(
        self,
        replay: Replay,
        width: int,
        height: int,
        scale: int = 1,
        scores: Sequence[DesignScore] | None = None,
    ) -> None:
        """Lay out ``width`` by ``height`` points at ``scale`` pixels a point."""
        self.replay = replay
        self.scale = scale
        self._right = width - LEGEND - MARGIN
        self.view: View = fit(
            replay.arena,
            MARGIN,
            _HEADLINE,
            max(width - LEGEND - 3 * MARGIN, 50),
            max(height - _HEADLINE - _FOOT, 50),
        )
        self.tracks = Tracks(replay, self.view)
        room = Room(self.view)
        self._ground = pygame.Surface((width * scale, height * scale))
        sheet = Sheet(self._ground, scale)
        self._ground.fill(PAPER)
        light = light_scale(replay.light_map)
        draw_light(sheet, self.view, replay, light)
        draw_ground(sheet, self.view, replay.arena, room)
        draw_legend(sheet, self._right, _HEADLINE, LEGEND, replay, light, scores)
        draw_scale_bar(sheet, self.view, (self.view.left + 4, self.view.top + self.view.height + 22))
        self._headline(sheet, width)
        # Placed once with the whole run in mind, so that names do not wander while the run is watched.
        take_room(room, self.tracks, replay.seconds)
        self._names = names_of_things(sheet, self.view, replay.arena, room)

    def _headline(self, sheet: Sheet, width: int) -> None:
        arena, room = self.replay.arena, width - LEGEND - 3 * MARGIN
        sheet.text(sheet.shorten(arena["name"], 28, room), (MARGIN, 16), 28)
        sheet.text(sheet.shorten(arena["about"], 16, room), (MARGIN, 50), 16, FADED_INK)

    def draw(self, surface: pygame.Surface, time_s: float) -> None:
        """Draw the run as far as ``time_s`` [s] onto ``surface``."""
        surface.blit(self._ground, (0, 0))
        sheet = Sheet(surface, self.scale)
        surface.set_clip(self._window())
        draw_paths(sheet, self.tracks, time_s)
        draw_walkers(sheet, self.tracks, time_s)
        for words, corner in self._names:
            sheet.plate(words, corner, LABEL_SIZE)
        surface.set_clip(None)
        clock = f"{clock_words(time_s)} of {clock_words(self.replay.seconds)}"
        sheet.text(clock, (self._right, 18), 21, INK)
        seed = f"seed {self.replay.header['seed']}"
        sheet.text(sheet.shorten(seed, TEXT, LEGEND), (self._right, 48), TEXT, FADED_INK)

    def _window(self) -> pygame.Rect:
        view = self.view
        corner = (round(view.left * self.scale), round(view.top * self.scale))
        return pygame.Rect(corner, (round(view.width * self.scale), round(view.height * self.scale)))
