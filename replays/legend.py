"""Beside the arena: what its colours, lines and marks mean, and how far a metre goes."""

import math
from collections.abc import Sequence

import numpy as np

from replays.colours import (
    FADED_INK,
    INK,
    LIGHT_STEPS,
    LightScale,
    length_words,
    light_colours,
    light_words,
    look,
    time_words,
)
from replays.ground import (
    draw_aim,
    draw_equal_light,
    draw_goal,
    draw_lamp_mark,
    draw_shade,
    draw_sun_mark,
    draw_wall,
)
from replays.record import LEFT, RIGHT, Replay
from replays.score import DesignScore
from replays.sheet import Sheet
from replays.tracks import Pose, draw_mark, draw_pulse_mark, draw_walker, marks_pulses
from replays.view import View

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
) -> float:
    """Write the legend into a column of ``width`` [points]; returns where it ends."""
    y = _designs(sheet, left, top, width, replay, scores)
    y = _light(sheet, left, y + 14, width, replay, scale)
    return _marks(sheet, left, y + 14, width, replay, scale)


def _designs(
    sheet: Sheet, left: float, y: float, width: float, replay: Replay, scores: Sequence[DesignScore] | None
) -> float:
    sheet.text("Designs", (left, y), HEADING)
    y += _LINE + 6
    counts = np.bincount(replay.walkers["design"], minlength=len(replay.design_names))
    by_name = {score.design: score for score in scores or ()}
    for number, name in enumerate(replay.design_names):
        mine = look(number)
        sheet.cased_line(
            [(left + 2, y + 8), (left + 52, y + 8)], mine.colour, mine.casing, 2.6, pattern=mine.pattern
        )
        draw_mark(sheet, (left + 27, y + 8), 6.5, mine)
        words = f"{name}, {counts[number]} walker{'' if counts[number] == 1 else 's'}"
        sheet.text(sheet.shorten(words, TEXT, width - 64), (left + 64, y), TEXT)
        y += _LINE
        score = by_name.get(name)
        if score is not None:
            for line in _score_words(score):
                sheet.text(sheet.shorten(line, TEXT, width - 64), (left + 64, y - 4), TEXT, FADED_INK)
                y += _LINE - 5
            y += 3
    return y


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
    sheet.line(frame, INK, 1, closed=True)
    ticks = scale.ticks()
    written_from = math.inf
    for tick, share in reversed(list(zip(ticks, scale.share(np.array(ticks)), strict=True))):
        x = left + room * float(share)
        sheet.line([(x, y), (x, y + 28)], INK, 1)
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
        sheet.text(sheet.shorten(words, TEXT, width), (left, y), TEXT, FADED_INK)
        y += _LINE - 3
    return y


def _marks(sheet: Sheet, left: float, y: float, width: float, replay: Replay, scale: LightScale) -> float:
    sheet.text("Marks", (left, y), HEADING)
    y += _LINE + 6
    arena, mine = replay.arena, look(0)
    symbol = (left + 27, y + 9)
    entries = ["start"]
    draw_mark(sheet, symbol, 6.5, mine)
    pulses = ((LEFT, "pulse of the left side"), (RIGHT, "pulse of the right side"))
    for side, words in pulses if marks_pulses(len(replay.pulses)) else ():
        middle = left + 27, y + 9 + _LINE * len(entries)
        start, end = (left + 6, middle[1]), (left + 48, middle[1])
        sheet.cased_line([start, end], mine.colour, mine.casing, 2.6)
        draw_pulse_mark(sheet, middle, 0.0, side, mine)
        entries.append(words)
    has_beam = any(
        lamp["beam_half_angle_rad"] is not None
        and math.dist((lamp["x"], lamp["y"]), lamp["aim"]) > lamp["diameter"]
        for lamp in arena["lamps"]
    )
    bands = np.searchsorted(scale.ticks(), replay.light_map)
    for present, words in (
        (len(replay.walkers) > 0, "a walker where it stands now"),
        (bands.size > 0 and bool((bands != bands.flat[0]).any()), "line of equal light"),
        (bool(arena["lamps"]), "lamp"),
        (has_beam, "where its beam is aimed"),
        (bool(arena["goals"]), "goal"),
        (bool(arena["walls"]), "wall"),
        (bool(arena["shades"]), "shade overhead"),
    ):
        if not present:
            continue
        middle = left + 27, y + 9 + _LINE * len(entries)
        box = [(left + 10, middle[1] - 8), (left + 44, middle[1] - 8)]
        box += [(left + 44, middle[1] + 8), (left + 10, middle[1] + 8)]
        if words.startswith("a walker"):
            # in a view so small that it is drawn as small as walkers get
            speck = View(*middle, 0.0, 0.0, 0.0, 0.0, 1e-6)
            draw_walker(sheet, speck, replay.walkers[0], Pose(0.0, 0.0, 0.0), 0.85)
        elif words == "line of equal light":
            draw_equal_light(sheet, box)
        elif words == "lamp":
            draw_lamp_mark(sheet, middle, 8.5)
        elif words.endswith("aimed"):
            draw_aim(sheet, (left + 6, middle[1]), (left + 44, middle[1]))
        elif words == "goal":
            draw_goal(sheet, box)
        elif words == "wall":
            draw_wall(sheet, [(left + 10, middle[1]), (left + 44, middle[1])], closed=False)
        else:
            draw_shade(sheet, box)
        entries.append(words)
    for number, words in enumerate(entries):
        sheet.text(sheet.shorten(words, TEXT, width - 64), (left + 64, y + _LINE * number), TEXT)
    return y + _LINE * len(entries)


def draw_scale_bar(sheet: Sheet, view: View, place: tuple[float, float]) -> None:
    """A bar of a round length, its left end at ``place`` [points]."""
    longest_m = 220.0 / view.zoom
    decade = 10.0 ** math.floor(math.log10(longest_m))
    length_m = max(step * decade for step in (1, 2, 5) if step * decade <= longest_m * (1 + 1e-9))
    length = length_m * view.zoom
    x, y = place
    sheet.line([(x, y), (x + length, y)], INK, 2.5)
    for end in (x, x + length):
        sheet.line([(end, y - 6), (end, y + 6)], INK, 2.5)
    sheet.text(length_words(length_m), (x + length + 10, y), TEXT, down=0.5)
