"""What stands round the floor of the window: the headline, and cards that come when asked for."""

import re
from collections.abc import Sequence

from replays.drawing.colours import light_scale, look
from replays.drawing.figures import walker_name
from replays.drawing.layout import Box
from replays.drawing.legend import draw_legend, draw_scale_bar
from replays.drawing.marks import draw_mark
from replays.drawing.metres_to_points import View
from replays.drawing.sheet import Sheet, pygame
from replays.format.tables import Replay
from replays.scoring.progress import Progress
from replays.scoring.standings import Standings
from replays.window.buttons_and_cards import TEXT, draw_card
from replays.window.lead_panel import DESIGN_LANES, WALKER_LANES, Lane, design_lanes, draw_lanes, walker_lanes
from replays.window.window_layout import HEAD
from replays.words import clock_words, ordinal

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
    name = sheet.shorten(replay.arena["name"], TITLE, max(0.45 * (right - box.left), 60.0))
    sheet.text(name, (box.left, middle), TITLE, down=0.5)
    left = box.left + sheet.text_size(name, TITLE)[0] + 22
    # the bar goes where there is room for it and for the news
    if right - left > 480:
        left += draw_scale_bar(sheet, view, (left, middle), longest=110.0) + 26
    if news and right - left > 60:
        words = sheet.shorten(news, TEXT, right - left - 20)
        sheet.text(words, (right - 18, middle), TEXT, sheet.theme.faded, across=1.0, down=0.5)


class LeadView:
    """Who leads in a replay, as the window tells it."""

    def __init__(self, replay: Replay) -> None:
        self._replay = replay
        self.standings = Standings(replay)
        self.progress = Progress(replay)

    def leader(self, time_s: float) -> int | None:
        """Who leads at ``time_s`` [s]; nobody while the first two stand alike."""
        standing = self.progress.at(time_s)
        order = standing.order
        if len(order) < 2 or standing.rank[order[1]] == 1 or not standing.gone[order[0]] > 0.0:
            return None
        return int(order[0])

    def news(self, time_s: float) -> str:
        """The latest arrival by ``time_s`` [s]; of a run without a goal, who has the most light."""
        standings = self.standings
        count = standings.count(time_s)
        if count:
            latest = standings.arrivals[count - 1]
            name = walker_name(self._replay, latest.walker)
            return f"{name} arrived as {ordinal(latest.rank)} at {clock_words(latest.time_s)}"
        if standings.has_goal:
            return "nobody has arrived yet" if len(self._replay.walkers) else ""
        leader = self.leader(time_s)
        return "" if leader is None else f"{walker_name(self._replay, leader)} has gained the most light"

    def lanes(self, whose: str, time_s: float, chosen: int | None) -> list[Lane]:
        """The lanes at ``time_s`` [s], the leader's first."""
        make = design_lanes if whose == DESIGN_LANES else walker_lanes
        return make(self._replay, self.progress, self.progress.at(time_s), chosen)

    def draw(self, sheet: Sheet, box: Box, whose: str, time_s: float, chosen: int | None) -> None:
        """Draw the lanes into ``box``."""
        heading = "way to the goal" if self.progress.has_goal else "light against the start"
        draw_lanes(sheet, box, heading, self.lanes(whose, time_s, chosen))

    def draw_final(self, sheet: Sheet, room: Box, seconds: float) -> Box:
        """Draw the card of the places at the end, ``seconds`` [s]; returns where it lies."""
        heading = f"After {clock_words(seconds)}"
        lanes = self.lanes(WALKER_LANES, seconds, None)
        return draw_final_card(sheet, room, heading, lanes, "Esc puts this away")


class LegendCard:
    """What the colours, lines and marks of a replay mean, on a card that comes when asked for."""

    def __init__(self, replay: Replay, standings: Standings) -> None:
        self._replay, self._standings = replay, standings
        self._light = light_scale(replay.light_map)
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


def draw_final_card(sheet: Sheet, room: Box, heading: str, lanes: Sequence[Lane], hint: str) -> Box:
    """Who came in which place, on a card in the middle of ``room``; returns where it lies."""
    rows = min(len(lanes), 10, max(1, int((room.height - 90) // 26)))
    width = min(460.0, room.width - 16)
    height = 26.0 * rows + 84
    box = Box(room.middle[0] - width / 2, room.middle[1] - height / 2, width, height)
    draw_card(sheet, box)
    sheet.text(sheet.shorten(heading, TITLE, width - 32), (box.left + 16, box.top + 12), TITLE)
    for number, lane in enumerate(lanes[:rows]):
        y = box.top + 46 + 26 * number
        sheet.text(f"{lane.rank}", (box.left + 40, y), 17, across=1.0)
        draw_mark(sheet, (box.left + 58, y + 9), 6.0, look(lane.mark))
        told = sheet.text_size(lane.told, TEXT)[0]
        name = sheet.shorten(lane.name, 17, width - 104 - told, lane.kept)
        sheet.text(name, (box.left + 76, y), 17)
        sheet.text(lane.told, (box.right - 16, y + 1), TEXT, sheet.theme.faded, across=1.0)
    more = f"and {len(lanes) - rows} more; {hint}" if len(lanes) > rows else hint
    sheet.text(
        sheet.shorten(more, TEXT, width - 32), (box.left + 16, box.bottom - 30), TEXT, sheet.theme.faded
    )
    return box
