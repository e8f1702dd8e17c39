"""Who leads in a replay, in words, lanes and on the card of the places at its end."""

from collections.abc import Sequence

from replays.drawing.colours import look
from replays.drawing.figures import walker_name
from replays.drawing.lanes import (
    DESIGN_LANES,
    TEXT,
    WALKER_LANES,
    Lane,
    design_lanes,
    draw_lanes,
    lane_room,
    walker_lanes,
)
from replays.drawing.layout import Box
from replays.drawing.marks import draw_mark
from replays.drawing.sheet import Sheet
from replays.format.tables import Replay
from replays.scoring.progress import Progress
from replays.scoring.standings import Standings
from replays.words import clock_words, ordinal

_HEADING, _PLACE = 20, 17
MOST_PLACES = 10
"""So many places are told on the card at the end."""


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

    def lanes(self, whose: str, time_s: float, chosen: int | None, most: int) -> list[Lane]:
        """The lanes at ``time_s`` [s], the leader's first: of designs all, of walkers the ``most`` first.

        And that of the ``chosen`` walker.
        """
        standing = self.progress.at(time_s)
        if whose == DESIGN_LANES:
            return design_lanes(self._replay, self.progress, standing, chosen)
        return walker_lanes(self._replay, self.progress, standing, chosen, most)

    def draw(self, sheet: Sheet, box: Box, whose: str, time_s: float, chosen: int | None) -> None:
        """Draw the lanes into ``box``."""
        heading = "way to the goal" if self.progress.has_goal else "light against the start"
        columns, rows = lane_room(box)
        count = None if whose == DESIGN_LANES else len(self._replay.walkers)
        draw_lanes(sheet, box, heading, self.lanes(whose, time_s, chosen, columns * rows), count)

    def draw_final(self, sheet: Sheet, room: Box, seconds: float, hint: str = "") -> Box:
        """Draw the card of the places at the end, ``seconds`` [s], with a ``hint``; returns where it lies."""
        heading = f"After {clock_words(seconds)}"
        lanes = self.lanes(WALKER_LANES, seconds, None, MOST_PLACES)
        return draw_final_card(sheet, room, heading, lanes, hint, len(self._replay.walkers))


def draw_final_card(
    sheet: Sheet, room: Box, heading: str, lanes: Sequence[Lane], hint: str, count: int
) -> Box:
    """Who came in which place of ``count``, on a card in the middle of ``room``; returns where it lies."""
    rows = min(len(lanes), MOST_PLACES, max(1, int((room.height - 90) // 26)))
    width = min(460.0, room.width - 16)
    # a room that is low has none for the last line
    foot = 38.0 if 26.0 * rows + 84 <= room.height else 8.0
    height = 26.0 * rows + 46 + foot
    box = Box(room.middle[0] - width / 2, room.middle[1] - height / 2, width, height)
    sheet.card((box.left, box.top), (box.width, box.height), sheet.theme.card, sheet.theme.wood, 8)
    sheet.text(sheet.shorten(heading, _HEADING, width - 32), (box.left + 16, box.top + 12), _HEADING)
    for number, lane in enumerate(lanes[:rows]):
        y = box.top + 46 + 26 * number
        sheet.text(f"{lane.rank}", (box.left + 40, y), 17, across=1.0)
        draw_mark(sheet, (box.left + 58, y + 9), 6.0, look(lane.design))
        told = sheet.text_size(lane.told, TEXT)[0]
        name = sheet.shorten(lane.name, 17, width - 104 - told, lane.kept)
        sheet.text(name, (box.left + 76, y), 17)
        sheet.text(lane.told, (box.right - 16, y + 1), TEXT, sheet.theme.faded, across=1.0)
    if foot > 30.0:
        more = "; ".join(filter(None, [f"and {count - rows} more" if count > rows else "", hint]))
        place = (box.left + 16, box.bottom - 30)
        sheet.text(sheet.shorten(more, TEXT, width - 32), place, TEXT, sheet.theme.faded)
    return box
