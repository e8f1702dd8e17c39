"""Who leads: a lane for each walker, or for each design, with what is left of its way."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from replays.drawing.colours import look
from replays.drawing.figures import walker_name
from replays.drawing.layout import Box
from replays.drawing.marks import draw_mark
from replays.drawing.sheet import Sheet
from replays.format.tables import Replay
from replays.scoring.progress import Progress, RaceStanding
from replays.words import clock_words, length_words

TEXT, SMALL = 15, 14
"""Sizes of letters [points]."""

WALKER_LANES, DESIGN_LANES, NO_LANES = "walkers", "designs", "no lanes"
LANES = (WALKER_LANES, DESIGN_LANES, NO_LANES)
"""Whose lanes are shown."""

# Height of a lane and of the heading, width from which on lanes stand side by side [points].
_LANE, _HEADING, _COLUMN = 34.0, 24.0, 300.0


@dataclass(frozen=True)
class Lane:
    """A line of the panel: ``places`` are shares of the way, of one walker or of all of a design.

    ``design`` is the number of its look.
    """

    rank: int
    name: str
    kept: str
    told: str
    design: int
    places: Sequence[float]
    is_chosen: bool = False


def value_words(progress: Progress, standing: RaceStanding, walker: int) -> str:
    """What is told of a walker: when it arrived, the way that is left, or its light against the start."""
    arrived = float(standing.arrived_s[walker])
    if math.isfinite(arrived):
        return clock_words(arrived)
    value = float(standing.value[walker])
    return f"{length_words(round(value, 2))} left" if progress.has_goal else f"light x {value:.2f}"


def walker_lanes(
    replay: Replay,
    progress: Progress,
    standing: RaceStanding,
    chosen: int | None,
    most: int,
) -> list[Lane]:
    """A lane for each of the ``most`` first walkers, the leader first, and for the chosen one."""
    order = standing.order[:most].tolist()
    if chosen is not None and chosen not in order:
        order.append(chosen)
    return [
        Lane(
            int(standing.rank[walker]),
            walker_name(replay, walker),
            "",
            value_words(progress, standing, walker),
            replay.marks[int(replay.walkers["design"][walker])],
            [float(standing.gone[walker])],
            walker == chosen,
        )
        for walker in order
    ]


def design_lanes(
    replay: Replay, progress: Progress, standing: RaceStanding, chosen: int | None
) -> list[Lane]:
    """A lane for each design, in the order of arrivals, then of the middle one's way."""
    lanes = []
    designs = replay.walkers["design"]
    for number, name in enumerate(replay.design_names):
        mine = np.flatnonzero(designs == number)
        gone = np.sort(standing.gone[mine])[::-1]
        there = int(np.isfinite(standing.arrived_s[mine]).sum())
        middle = float(np.median(gone)) if len(gone) else 0.0
        kept = f", {there} of {len(mine)} there" if progress.has_goal else f", {len(mine)}"
        is_chosen = chosen is not None and int(designs[chosen]) == number
        lanes.append((there, middle, Lane(0, name, kept, "", replay.marks[number], gone.tolist(), is_chosen)))
    lanes.sort(key=lambda one: (-one[0], -one[1]))
    ranked: list[Lane] = []
    for place, (there, middle, lane) in enumerate(lanes, start=1):
        alike = ranked and lanes[place - 2][:2] == (there, middle)
        rank = ranked[-1].rank if alike else place
        ranked.append(Lane(rank, lane.name, lane.kept, lane.told, lane.design, lane.places, lane.is_chosen))
    return ranked


def lane_room(box: Box) -> tuple[int, int]:
    """For how many columns of lanes there is room in ``box``, and for how many lanes in each."""
    return max(1, int(box.width // _COLUMN)), max(1, int((box.height - _HEADING + 6) // _LANE))


def draw_lanes(sheet: Sheet, box: Box, heading: str, lanes: Sequence[Lane], count: int | None = None) -> None:
    """Draw ``lanes`` into ``box``, as many as there is room for; the chosen one's is always among them.

    ``count`` is how many there are in all, where ``lanes`` are the first of them and the chosen one's.
    """
    columns, rows = lane_room(box)
    room = columns * rows
    count = len(lanes) if count is None else count
    sheet.text(sheet.shorten(heading, TEXT, box.width), (box.left, box.top + 2), TEXT, sheet.theme.faded)
    shown = list(lanes[:room])
    rest = count - len(shown)
    if rest:
        # the last line tells of the others, and the one before it of the chosen one
        shown = list(lanes[: room - 1])
        late = [lane for lane in lanes[room - 1 :] if lane.is_chosen]
        if late and len(shown) > 1:
            shown[-1] = late[0]
        rest = count - len(shown)
    width = (box.width - 16.0 * (columns - 1)) / columns
    for number, lane in enumerate(shown):
        column, row = divmod(number, rows)
        place = (box.left + column * (width + 16.0), box.top + _HEADING + row * _LANE)
        _draw_lane(sheet, place, width, lane)
    if rest:
        column, row = divmod(len(shown), rows)
        place = (box.left + column * (width + 16.0) + 22, box.top + _HEADING + row * _LANE)
        sheet.text(f"and {rest} more", place, TEXT, sheet.theme.faded)


def _draw_lane(sheet: Sheet, place: tuple[float, float], width: float, lane: Lane) -> None:
    theme, (x, y) = sheet.theme, place
    mine = look(lane.design)
    if lane.is_chosen:
        sheet.card((x - 3, y - 3), (width + 6, _LANE - 1), theme.card, theme.wood, 5)
    sheet.text(f"{lane.rank}", (x + 18, y), TEXT, across=1.0)
    draw_mark(sheet, (x + 32, y + 8), 5.0, mine)
    told = sheet.text_size(lane.told, SMALL)[0] if lane.told else 0.0
    name = sheet.shorten(lane.name, TEXT, width - 46 - told - (6 if told else 0), lane.kept)
    sheet.text(name, (x + 44, y), TEXT)
    if lane.told:
        sheet.text(lane.told, (x + width, y + 1), SMALL, theme.faded, across=1.0)
    # the lane runs from the start at the left to the goal at the right
    left, right, level = x + 24, x + width - 4, y + 23
    sheet.line([(left, level), (right, level)], theme.wood, 1)
    sheet.line([(right, level - 5), (right, level + 5)], theme.ink, 2)
    if len(lane.places) == 1:
        at = left + (right - left) * lane.places[0]
        sheet.line([(left, level), (at, level)], theme.ink, 3)
        draw_mark(sheet, (at, level), 4.0, mine)
        return
    # of many that stand in the same column of pixels one is drawn
    pixels = {round((left + (right - left) * share) * sheet.scale) for share in lane.places}
    for pixel in sorted(pixels):
        at = pixel / sheet.scale
        sheet.line([(at, level - 4), (at, level + 4)], theme.ink, 1.6)
