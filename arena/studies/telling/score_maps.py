"""Maps of a score against two factors."""

import math
from pathlib import Path

import numpy as np

from agents.arrays import BoolArray
from agents.text.units import plain_text
from arena.studies.statistics.estimates import NOT_WITHIN, Estimate, Estimates, tell_value
from arena.studies.statistics.factors import Factor
from arena.studies.telling.canvas import LETTERS, SMALL, WIDTH, Page, page, paint
from arena.studies.telling.frames import LEFT, NAME, Box, about_words, draw_factor, interval_words, joined
from arena.studies.telling.scales import Scale, scale_for
from arena.studies.trial_scores import Score
from replays.drawing.colours import WHITE, Colour, light_colours, readable_on
from replays.drawing.theme import LIGHT

_FRAMED = "framed: not told from the best"
# Room for forty letters that run upwards [pixels].
_TURNED = 310.0


def heat_map(
    path: Path,
    title: str,
    score: Score,
    across: Factor,
    along: Factor,
    estimates: Estimates,
    alike: BoolArray | None = None,
    note: str = "",
    study: str = "",
) -> None:
    """Draw a score against two factors as a map with its figures in the cells, and write it.

    ``estimates`` are those of a grid (levels of ``along``, levels of ``across``) in C order; the levels of
    ``along`` are rows, which go upwards where they are numbers. The ends of the interval are below the
    figure, where there is room. ``alike``, of as many cells, are those that cannot be told from the best,
    which get a frame. The brighter a cell, the better. ``study`` is told below the title.

    Raises ValueError where the numbers of cells do not fit, OutputError where it cannot be written.
    """
    columns, rows = len(across.levels), len(along.levels)
    cells = columns * rows
    if not cells or len(estimates) != cells or (alike is not None and alike.size != cells):
        raise ValueError("a map needs an estimate for every cell")
    scale = scale_for(score.unit, [estimates.value], is_whole=False)
    tall = min(max(52.0, 420.0 / rows), 110.0) if rows <= 12 else max(624.0 / rows, 19.0)
    ends = [_ends_words(score, scale, figure) for figure in estimates]
    words = [_cell_words(score, scale, figure.value) for figure in estimates]
    with page(path, title, about_words(score, scale, study)) as sheet:
        names = [sheet.wrap(name, SMALL, NAME, 2 if tall >= 34.0 else 1) for name in along.shown]
        left = LEFT + max(sheet.width(line, SMALL) for name in names for line in [*name, ""]) + 14.0
        wide = min((WIDTH - left - 170.0) / columns, 170.0)
        # In three lines there is room for somewhat less, for they break between words.
        is_turned = max(sheet.width(one, SMALL) for one in across.shown) > 2.4 * (wide - 8.0)
        fit, most = (_TURNED, 1) if is_turned else (wide - 8.0, 3)
        heads = [sheet.wrap(one, SMALL, fit, most) or [""] for one in across.shown]
        deep = 17.0 * max(len(head) for head in heads)
        if is_turned:
            deep = max(sheet.width(head[0], SMALL) for head in heads)
        if tall < 18.0 or max(sheet.width(one, LETTERS) for one in words) > wide - 6.0:
            words = []
        if not words or tall < 40.0 or max(sheet.width(one, SMALL) for one in ends) > wide - 6.0:
            ends = []
        notes = [_map_words(estimates, words, ends), "" if alike is None else _FRAMED, note]
        sheet.open(tall * rows + 28.0 + 54.0 + deep, joined(notes))
        box = (left, sheet.bottom + 54.0 + deep, wide * columns, tall * rows)
        _draw_cells(
            sheet, score, scale, estimates, (rows, columns), along.is_ordered, (words, ends), alike, box
        )
        for row, name in enumerate(names):
            at = row if along.is_ordered else rows - 1 - row
            if row % math.ceil(17.0 * len(name) / tall) == 0:
                sheet.text(left - 10.0, box[1] + tall * (at + 0.5), "\n".join(name), SMALL, across="right")
        for column, head in enumerate(heads):
            middle = left + wide * (column + 0.5)
            if is_turned and column % math.ceil(17.0 / wide) == 0:
                sheet.text(middle, box[1] - 8.0, head[0], SMALL, across="right", turned=True)
            elif not is_turned:
                sheet.text(middle, box[1] - 8.0, "\n".join(head), SMALL, across="center", down="top")
        draw_factor(sheet, LEFT, sheet.top - 8.0, along)
        draw_factor(sheet, left, sheet.bottom + 24.0, across)
        _draw_bar(sheet, score, scale, (left + box[2] + 34.0, box[1], 26.0, min(box[3], 380.0)))


def _draw_cells(
    sheet: Page,
    score: Score,
    scale: Scale,
    estimates: Estimates,
    shape: tuple[int, int],
    is_upward: bool,
    told: tuple[list[str], list[str]],
    alike: BoolArray | None,
    box: Box,
) -> None:
    from matplotlib.patches import Rectangle

    rows, columns = shape
    wide, tall = box[2] / columns, box[3] / rows
    over = sheet.overlay()
    words, ends = told
    for number, figure in enumerate(estimates):
        row, column = divmod(number, columns)
        x = box[0] + wide * column
        y = box[1] + tall * (row if is_upward else rows - 1 - row)
        ground = _ground(score, scale, figure.value)
        hatch = "" if ground else "xx" if math.isnan(figure.value) else "//"
        seam = min(1.0, 0.04 * wide, 0.04 * tall)
        patch = Rectangle(
            (x + seam, y + seam), wide - 2.0 * seam, tall - 2.0 * seam, lw=0.0, hatch=hatch or None
        )
        patch.set_facecolor(paint(ground or LIGHT.card))
        patch.set_edgecolor((*paint(LIGHT.faded), 0.35))
        over.add_patch(patch)
        ink = readable_on(ground) if ground else LIGHT.ink
        if words:
            up = 9.0 if ends and ends[number] else 0.0
            sheet.text(x + wide / 2.0, y + tall / 2.0 + up, words[number], LETTERS, ink, across="center")
        if ends:
            sheet.text(x + wide / 2.0, y + tall / 2.0 - 11.0, ends[number], SMALL, ink, across="center")
        if alike is not None and alike.flat[number]:
            thick = min(2.6, 0.08 * wide, 0.12 * tall)
            # White within ink shows on any ground.
            for inset, colour in ((1.2 * thick, WHITE), (0.6 * thick, LIGHT.ink)):
                place, size = (x + inset, y + inset), (wide - 2.0 * inset, tall - 2.0 * inset)
                over.add_patch(
                    Rectangle(place, *size, fill=False, ec=paint(colour), lw=thick * 0.72, zorder=3)
                )


def _map_words(estimates: Estimates, words: list[str], ends: list[str]) -> str:
    """What the signs in the cells mean."""
    drawn = "brackets:" if ends else "not shown, for want of room:"
    signs = [interval_words([estimates], drawn, "in each cell")]
    if np.isposinf(estimates.value).any():
        signs.append(f"{'∞' if words else 'hatched'}: {NOT_WITHIN}")
    if np.isnan(estimates.value).any():
        signs.append(f"{'–' if words else 'crosshatched'}: undefined")
    return "; ".join(signs)


def _ground(score: Score, scale: Scale, value: float) -> Colour | None:
    """The colour of a cell: the better, the brighter; none where there is no figure, or none that ends."""
    if not math.isfinite(value):
        return None
    share = (value * scale.times - scale.low) / (scale.high - scale.low)
    colours = light_colours()
    place = round((share if score.more_is_better else 1.0 - share) * (len(colours) - 1))
    red, green, blue = colours[min(max(place, 0), len(colours) - 1)].tolist()
    return red, green, blue


def _cell_words(score: Score, scale: Scale, value: float) -> str:
    if math.isnan(value):
        return "–"
    if math.isinf(value):
        return "∞"
    if score.unit == "%":
        return tell_value(score, value).removesuffix(" %")
    return plain_text(value * scale.times, 3)


def _ends_words(score: Score, scale: Scale, figure: Estimate) -> str:
    """Both ends of an interval, which may reach farther to one side, or lie at an end of the range."""
    # where all trials say the same, as in words
    if not figure.has_interval or figure.low == figure.high:
        return ""
    low, high = (_cell_words(score, scale, end) for end in (figure.low, figure.high))
    return f"[{low}, {high}]"


def _draw_bar(sheet: Page, score: Score, scale: Scale, box: Box) -> None:
    """The scale of a map's colours, upright, with its better end."""
    from matplotlib.patches import Rectangle

    left, bottom, width, height = box
    over = sheet.overlay()
    steps = 128
    for step in range(steps):
        value = (scale.low + (scale.high - scale.low) * (step + 0.5) / steps) / scale.times
        place = (left, bottom + height * step / steps)
        ground = _ground(score, scale, value)
        assert ground is not None
        over.add_patch(Rectangle(place, width, height / steps + 0.6, color=paint(ground), lw=0.0))
    sparse = max(math.ceil(len(scale.ticks) * 22.0 / height), 1)
    for tick in scale.ticks[::-sparse]:
        y = bottom + height * (tick - scale.low) / (scale.high - scale.low)
        over.plot([left + width, left + width + 5.0], [y, y], color=paint(LIGHT.ink), lw=1.0)
        sheet.text(left + width + 10.0, y, scale.tick_words(tick), SMALL)
    y = bottom + height + 18.0 if score.more_is_better else bottom - 18.0
    sheet.text(left, y, "better", SMALL)
