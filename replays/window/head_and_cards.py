"""What stands round the floor of the window: the headline, and cards that come when asked for."""

import re

from replays.drawing.day_card import draw_day_card
from replays.drawing.layout import Box
from replays.drawing.legend import draw_legend, draw_scale_bar
from replays.drawing.light_map import map_scale
from replays.drawing.metres_to_points import View
from replays.drawing.sheet import Sheet, pygame
from replays.format.tables import Replay
from replays.scoring.standings import Standings
from replays.window.buttons_and_cards import TEXT, draw_card
from replays.window.window_layout import HEAD
from replays.words import clock_words

TITLE = 20
"""Size of the letters of the headline [points]."""

_LEGEND_WIDTH = 330.0


def draw_head(
    sheet: Sheet, box: Box, replay: Replay, view: View, time_s: float, news: str, *, has_clock: bool = True
) -> None:
    """One line: the arena, a scale, what happened last, and the clock, which is never cut off."""
    # as much room as the widest figures take, for a clock that trembles cannot be read
    widest = re.sub(r"[0-9]", "0", f"{clock_words(replay.seconds)} of {clock_words(replay.seconds)}")
    right = box.right - sheet.text_size(widest, TITLE)[0]
    middle = HEAD / 2
    if has_clock:
        whole = f" of {clock_words(replay.seconds)}"
        sheet.text(clock_words(time_s), (right, middle), TITLE, down=0.5)
        sheet.text(whole, (box.right, middle), TITLE, across=1.0, down=0.5)
        if replay.day is not None:
            draw_day_card(sheet, view, replay.day, time_s)
    # in a narrow head there is room for the name alone
    room = right - box.left
    name = sheet.shorten(replay.arena["name"], TITLE, max(0.45 * room if room > 400 else room - 12, 60.0))
    sheet.text(name, (box.left, middle), TITLE, down=0.5)
    left = box.left + sheet.text_size(name, TITLE)[0] + 22
    # the bar goes where there is room for it and for the news
    if right - left > 480:
        left += draw_scale_bar(sheet, view, (left, middle), longest=110.0) + 26
    if news and right - left > 60:
        words = sheet.shorten(news, TEXT, right - left - 20)
        sheet.text(words, (right - 18, middle), TEXT, sheet.theme.faded, across=1.0, down=0.5)


class LegendCard:
    """What the colours, lines and marks of a replay mean, on a card that comes when asked for."""

    def __init__(self, replay: Replay, standings: Standings) -> None:
        self._replay, self._standings = replay, standings
        self._light = map_scale(replay)
        self._about = f"{replay.arena['about']}, seed {replay.header['seed']}"
        self._height: float | None = None

    def draw(self, sheet: Sheet, room: Box, time_s: float) -> Box:
        """Draw it at the right of ``room``, all of it however low that is; returns where it lies."""
        if self._height is None:
            # written once on a scrap of paper, which tells where it ends
            scrap = Sheet(pygame.Surface((int(_LEGEND_WIDTH), 8)))
            self._height = self._write(scrap, 0.0, 0.0, self._replay.seconds) + 24.0
        # what would not fit is drawn smaller rather than left out
        width = _LEGEND_WIDTH + 30.0
        ratio = min(1.0, (room.height - 8) / self._height, room.width / width)
        small = Sheet(sheet.surface, sheet.scale * ratio, sheet.theme)
        box = Box(room.right / ratio - width, room.top / ratio + 4, width, self._height)
        draw_card(small, box)
        self._write(small, box.left + 15, box.top + 12, time_s)
        return Box(box.left * ratio, box.top * ratio, width * ratio, self._height * ratio)

    def _write(self, sheet: Sheet, left: float, y: float, time_s: float) -> float:
        for line in sheet.wrapped(self._about, TEXT, _LEGEND_WIDTH):
            sheet.text(line, (left, y), TEXT, sheet.theme.faded)
            y += 20
        held = self._replay, self._light, None, self._standings
        return draw_legend(sheet, left, y + 6, _LEGEND_WIDTH, *held, time_s)
