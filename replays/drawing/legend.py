"""Beside the arena: what its colours, lines and marks mean, and how far a metre goes."""

import math
from collections.abc import Sequence

import numpy as np

from replays.drawing.colours import LIGHT_STEPS, LightScale, light_colours, look
from replays.drawing.figures import walker_name
from replays.drawing.ground import (
    beam_on_floor,
    draw_aim,
    draw_beam_edge,
    draw_gate,
    draw_goal,
    draw_lamp_mark,
    draw_shade,
    draw_sun_mark,
    draw_wall,
)
from replays.drawing.light_map import draw_equal_light, line_levels
from replays.drawing.marks import draw_mark, draw_pulse_mark, draw_walker, marks_pulses
from replays.drawing.metres_to_points import View
from replays.drawing.poses import Pose
from replays.drawing.sheet import Sheet
from replays.format.tables import LEFT, RIGHT, Replay
from replays.scoring.scores import DesignScore
from replays.scoring.standings import Standings
from replays.words import clock_words, length_words, light_words, time_words

TEXT = 15
HEADING = 17
TICK = 14
_LINE = 25.0


def draw_legend(
    sheet: Sheet,
    left: float,
    top: float,
    width: float,
    replay: Replay,
    scale: LightScale,
    scores: Sequence[DesignScore] | None,
    standings: Standings | None = None,
    time_s: float = 0.0,
    bottom: float = math.inf,
) -> float:
    """Write the legend into a column of ``width`` [points]; returns where it ends.

    ``standings`` are told as they are at ``time_s`` [s]. Nothing goes below ``bottom`` [points]: marks
    are left out first, then arrivals.
    """
    light = 116.0 + (28.0 if replay.arena["sun"] is not None else 0.0)
    y = _designs(sheet, left, top, width, replay, scores, standings, time_s)
    if standings is not None and standings.has_goal:
        y = _arrivals(sheet, left, y + 8, width, replay, standings, time_s, bottom - light - 14)
    if y + 14 + light > bottom + 14:
        return y
    y = _light(sheet, left, y + 14, width, replay, scale)
    return _marks(sheet, left, y + 14, width, replay, scale, bottom)


def _designs(
    sheet: Sheet,
    left: float,
    y: float,
    width: float,
    replay: Replay,
    scores: Sequence[DesignScore] | None,
    standings: Standings | None,
    time_s: float,
) -> float:
    sheet.text("Designs", (left, y), HEADING)
    y += _LINE + 6
    counts = np.bincount(replay.walkers["design"], minlength=len(replay.design_names))
    there = standings.by_design(time_s) if standings is not None and standings.has_goal else None
    by_name = {score.design: score for score in scores or ()}
    for number, name in enumerate(replay.design_names):
        mine = look(replay.marks[number])
        sheet.cased_line(
            [(left + 2, y + 8), (left + 52, y + 8)], mine.colour, mine.casing, 2.6, pattern=mine.pattern
        )
        draw_mark(sheet, (left + 27, y + 8), 6.5, mine)
        if there is None:
            count = f", {counts[number]} walker{'' if counts[number] == 1 else 's'}"
        else:
            count = f", {there[number]} of {counts[number]} arrived"
        sheet.text(sheet.shorten(name, TEXT, width - 64, count), (left + 64, y), TEXT)
        y += _LINE
        score = by_name.get(name)
        if score is not None:
            for line in _score_words(score):
                sheet.text(sheet.shorten(line, TEXT, width - 64), (left + 64, y - 4), TEXT, sheet.theme.faded)
                y += _LINE - 5
            y += 3
    return y


# So many arrivals are told at the most.
_MOST_ARRIVALS = 6


def _arrivals(
    sheet: Sheet,
    left: float,
    y: float,
    width: float,
    replay: Replay,
    standings: Standings,
    time_s: float,
    bottom: float,
) -> float:
    """Who arrived first, and when; returns where it ends, the same however many there are."""
    room = int(min((bottom - y - _LINE - 6) // 22, _MOST_ARRIVALS)) if bottom < math.inf else _MOST_ARRIVALS
    lines = min(_MOST_ARRIVALS, len(replay.walkers), room)
    if lines < 1:
        return y
    sheet.text("Arrivals", (left, y), HEADING)
    y += _LINE + 4
    count = standings.count(time_s)
    if count == 0:
        sheet.text("nobody yet", (left, y), TEXT, sheet.theme.faded)
    # where there are more than lines the last line tells how many
    told = count if count <= lines else lines - 1
    for number, arrival in enumerate(standings.arrivals[:told]):
        at = y + 22 * number
        sheet.text(f"{arrival.rank}", (left + 14, at), TEXT, sheet.theme.faded, across=1.0)
        draw_mark(
            sheet, (left + 32, at + 8), 5.0, look(replay.marks[int(replay.walkers["design"][arrival.walker])])
        )
        clock = clock_words(arrival.time_s)
        room_left = width - 60 - sheet.text_size(clock, TEXT)[0]
        words = sheet.shorten(walker_name(replay, arrival.walker), TEXT, room_left)
        sheet.text(words, (left + 50, at), TEXT)
        sheet.text(clock, (left + width, at), TEXT, sheet.theme.faded, across=1.0)
    if count > told:
        words = f"and {count - told} more"
        sheet.text(words, (left + 50, y + 22 * told), TEXT, sheet.theme.faded)
    return y + 22 * lines


def _score_words(score: DesignScore) -> list[str]:
    lines = []
    if score.reached is not None:
        line = f"{score.reached} reached a goal"
        if score.median_reach_s is not None:
            line += f", half by {time_words(score.median_reach_s)}"
        lines.append(line)
    if score.light_gain is not None:
        lines.append(f"{score.light_gain:.2f} times the light at its start")
    if score.contacts + score.shades and score.escape_share is not None:
        lines.append(
            f"freed itself {100 * score.escape_share:.0f} % of {score.contacts + score.shades} times"
        )
    return lines


def _light(sheet: Sheet, left: float, y: float, width: float, replay: Replay, scale: LightScale) -> float:
    sheet.text("Light on the floor", (left, y), HEADING)
    y += _LINE + 4
    colours = light_colours()
    room = width - 8
    for step in range(LIGHT_STEPS):
        from_x, to_x = left + room * step / LIGHT_STEPS, left + room * (step + 1) / LIGHT_STEPS
        red, green, blue = (int(part) for part in colours[step])
        sheet.fill((from_x, y), (to_x - from_x + 1, 22), (red, green, blue))
    frame = [(left, y), (left + room, y), (left + room, y + 22), (left, y + 22)]
    sheet.line(frame, sheet.theme.ink, 1, closed=True)
    ticks = scale.ticks()
    written_from = math.inf
    for tick, share in reversed(list(zip(ticks, scale.share(np.array(ticks)), strict=True))):
        x = left + room * float(share)
        sheet.line([(x, y), (x, y + 28)], sheet.theme.ink, 1)
        words = light_words(tick)
        size = sheet.text_size(words, TICK)[0]
        corner = min(max(x - size / 2, left), left + room - size)
        if corner + size + 8 < written_from:
            sheet.text(words, (corner, y + 31), TICK)
            written_from = corner
    y += 58
    sun = replay.arena["sun"]
    if sun is not None:
        height = math.degrees(sun["elevation_rad"])
        words = f"sun {light_words(sun['illuminance_lx'])}, {height:.0f}° high"
        draw_sun_mark(sheet, (left + 27, y + 9), sun["azimuth_rad"])
        sheet.text(sheet.shorten(words, TEXT, width - 64), (left + 64, y), TEXT)
        y += _LINE + 3
    if replay.arena["ambient_lx"] > 0:
        words = f"ambient light {light_words(replay.arena['ambient_lx'])}"
        sheet.text(sheet.shorten(words, TEXT, width), (left, y), TEXT, sheet.theme.faded)
        y += _LINE - 3
    return y


def _marks(
    sheet: Sheet, left: float, y: float, width: float, replay: Replay, scale: LightScale, bottom: float
) -> float:
    """What the marks in the arena mean, as far as there is room above ``bottom``; returns where it ends."""
    entries = _marks_of(replay, scale)
    room = bottom - (y + _LINE + 6)
    entries = entries[: max(0, math.floor(min(room / _LINE, len(entries))))]
    if not entries:
        return y
    sheet.text("Marks", (left, y), HEADING)
    y += _LINE + 6
    for words in entries:
        _draw_example(sheet, words, (left + 27, y + 9), replay)
        sheet.text(sheet.shorten(words, TEXT, width - 64), (left + 64, y), TEXT)
        y += _LINE
    return y


_LEFT_PULSE, _RIGHT_PULSE = "pulse of the left side", "pulse of the right side"
_WALKER, _EQUAL_LIGHT = "a walker where it stands now", "line of equal light"
_GATE = "gate, where walkers are counted"
_AIM, _BEAM_EDGE = "where its beam is aimed", "edge of its beam, half as bright"


def _marks_of(replay: Replay, scale: LightScale) -> list[str]:
    """The marks that are drawn in the arena of ``replay``, in words."""
    arena = replay.arena
    beams = [lamp for lamp in arena["lamps"] if lamp["beam_half_angle_rad"] is not None]
    has_aim = any(math.dist((lamp["x"], lamp["y"]), lamp["aim"]) > lamp["diameter"] for lamp in beams)
    has_pulses = marks_pulses(len(replay.pulses))
    bands = np.searchsorted(line_levels(scale), replay.light_map)
    return [
        words
        for present, words in (
            (True, "start"),
            (has_pulses, _LEFT_PULSE),
            (has_pulses, _RIGHT_PULSE),
            (len(replay.walkers) > 0, _WALKER),
            (bands.size > 0 and bool((bands != bands.flat[0]).any()), _EQUAL_LIGHT),
            (bool(arena["lamps"]), "lamp"),
            (has_aim, _AIM),
            (any(beam_on_floor(lamp, arena["floor"]) for lamp in beams), _BEAM_EDGE),
            (bool(arena["goals"]), "goal"),
            (bool(arena.get("gates")), _GATE),
            (bool(arena["walls"]), "wall"),
            (bool(arena["shades"]), "shade overhead"),
        )
        if present
    ]


def _draw_example(sheet: Sheet, words: str, middle: tuple[float, float], replay: Replay) -> None:
    """The mark that ``words`` tell of, round ``middle`` [points]."""
    mine = look(replay.marks[0] if replay.marks else 0)
    west, east, north, south = middle[0] - 17, middle[0] + 17, middle[1] - 8, middle[1] + 8
    ends = [(middle[0] - 21, middle[1]), (middle[0] + 21, middle[1])]
    box = [(west, north), (east, north), (east, south), (west, south)]
    if words == "start":
        draw_mark(sheet, middle, 6.5, mine)
    elif words in (_LEFT_PULSE, _RIGHT_PULSE):
        sheet.cased_line(ends, mine.colour, mine.casing, 2.6)
        draw_pulse_mark((sheet, sheet), middle, 0.0, LEFT if words == _LEFT_PULSE else RIGHT, mine)
    elif words == _WALKER:
        # in a view so small that it is drawn as small as walkers get
        speck = View(*middle, 0.0, 0.0, 0.0, 0.0, 1e-6)
        draw_walker(sheet, speck, replay.walkers[0], Pose(0.0, 0.0, 0.0), 0.85)
    elif words == _EQUAL_LIGHT:
        draw_equal_light(sheet, box)
    elif words == "lamp":
        draw_lamp_mark(sheet, middle, 8.5)
    elif words == _AIM:
        draw_aim(sheet, ends[0], (east, middle[1]))
    elif words == _BEAM_EDGE:
        for start in range(5):
            draw_beam_edge(sheet, (west + 8 * start - 2, middle[1]), (west + 8 * start + 2, middle[1]))
    elif words == "goal":
        draw_goal(sheet, box)
    elif words == _GATE:
        draw_gate(sheet, [(west, middle[1]), (east, middle[1])])
    elif words == "wall":
        draw_wall(sheet, [(west, middle[1]), (east, middle[1])], closed=False)
    else:
        draw_shade(sheet, box)


def draw_scale_bar(sheet: Sheet, view: View, place: tuple[float, float], longest: float = 220.0) -> float:
    """A bar of a round length, its left end at ``place`` [points]; returns how wide it is with its words."""
    longest_m = longest / view.zoom
    decade = 10.0 ** math.floor(math.log10(longest_m))
    length_m = max(step * decade for step in (1, 2, 5) if step * decade <= longest_m * (1 + 1e-9))
    length = length_m * view.zoom
    x, y = place
    sheet.line([(x, y), (x + length, y)], sheet.theme.ink, 2.5)
    for end in (x, x + length):
        sheet.line([(end, y - 6), (end, y + 6)], sheet.theme.ink, 2.5)
    words = length_words(length_m)
    sheet.text(words, (x + length + 10, y), TEXT, down=0.5)
    return length + 10 + sheet.text_size(words, TEXT)[0]
