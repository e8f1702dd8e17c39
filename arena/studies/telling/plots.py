"""Pictures of studies and kits: rows with intervals, and how a search went.

Every picture is a PNG of :data:`canvas.WIDTH` pixels, and the same figures give the same bytes. Series have
the colours, marks and dashes that designs have in replays. Whatever is shown has its 95 % interval with it.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from agents.arrays import FloatArray
from agents.text.units import plain_text
from arena.studies.statistics.estimates import Estimate, Estimates, tell
from arena.studies.statistics.factors import Factor
from arena.studies.telling.canvas import LETTERS, SMALL, WIDTH, Page, cased_line, page, paint
from arena.studies.telling.frames import (
    LEFT,
    LINE,
    NAME,
    about_words,
    axis_words,
    draw_scale,
    factor_words,
    interval_words,
    joined,
    path_words,
    tick_room,
)
from arena.studies.telling.scales import Scale, even_ticks, scale_for
from arena.studies.trial_scores import Score
from replays.drawing.colours import look
from replays.drawing.theme import LIGHT

_MOST_ROWS = 120


def bars(
    path: Path,
    title: str,
    score: Score,
    factor: Factor,
    estimates: Estimates,
    note: str = "",
    study: str = "",
) -> None:
    """Draw a score at each level of a factor as rows of dots with intervals, in their order, and write it.

    ``study`` is told below the title.

    Raises ValueError where there is not one estimate for every level, OutputError where it cannot be written.
    """
    if len(estimates) != len(factor.levels):
        raise ValueError("every level needs an estimate")
    scale = scale_for(score.unit, [estimates.value, estimates.low, estimates.high])
    rows = [(name, figure, tell(score, figure)) for name, figure in zip(factor.shown, estimates, strict=True)]
    notes = [interval_words([estimates], "bars:", "in each row"), note]
    path_beside = f" ({path_words(factor)})" if path_words(factor) else ""
    about = f"{about_words(score, scale, study)}; by {factor_words(factor)}{path_beside}"
    _draw_rows(path, title, (about, axis_words(score, scale)), scale, rows, None, notes)


def forest(
    path: Path, title: str, about: str, rows: Sequence[tuple[str, Estimate]], axis: str, note: str = ""
) -> None:
    """Draw gains with their intervals, one in a row with its name, against none at all, and write it.

    A second line of a name is a path, which is written in small letters. The gains are differences of shares,
    -1 to 1, drawn in points of a hundred; ``axis`` says of what. The axis is as long as they need, so that
    small gains show.

    Raises OutputError where it cannot be written.
    """
    ends = [100.0 * value for _, one in rows for value in (one.value, one.low, one.high)]
    scale = scale_for("points", [np.array([*ends, 0.0])])
    points = [
        (name, replace(one, value=100.0 * one.value, low=100.0 * one.low, high=100.0 * one.high))
        for name, one in rows
    ]
    told = [(name, one, gain_words(one)) for name, one in points]
    notes = [interval_words([_together([one for _, one in points])], "bars:", "in each row", "kit"), note]
    _draw_rows(path, title, (about, axis), scale, told, 0.0, notes)


def gain_words(points: Estimate) -> str:
    """A gain [points of a hundred] in words, with both ends of its interval: ``+12.3 [+8.0, +16.4]``."""
    words = f"{points.value:+.1f}"
    return f"{words} [{points.low:+.1f}, {points.high:+.1f}]" if points.has_interval else words


def _together(figures: Sequence[Estimate]) -> Estimates:
    """Single estimates as one."""
    columns = [
        np.array([getattr(one, name) for one in figures]) for name in ("value", "low", "high", "count")
    ]
    value, low, high, count = columns
    return Estimates(value, low, high, count.astype(np.int64), tuple(one.method for one in figures))


def _draw_rows(
    path: Path,
    title: str,
    words_of: tuple[str, str],
    scale: Scale,
    rows: Sequence[tuple[str, Estimate, str]],
    reference: float | None,
    notes: Sequence[str],
) -> None:
    """Rows of a name, a dot with its interval, and the figure in words.

    ``words_of`` are those below the title and those of the axis.
    """
    about, axis = words_of
    left_out = len(rows) - _MOST_ROWS
    rows = rows[:_MOST_ROWS]
    more = f"the last {left_out} rows have no room" if left_out > 0 else ""
    tall = min(max(30.0, 300.0 / max(len(rows), 1)), 60.0)
    mine = look(0)
    with page(path, title, about) as sheet:
        parted = [name.partition("\n") for name, _, _ in rows]
        # One line has somewhat more room, so that what a value is called need not be cut.
        names = [
            sheet.wrap(name, LETTERS, 1.2 * NAME, 1) if small else sheet.wrap(name, LETTERS, NAME, 2)
            for name, _, small in parted
        ]
        paths = [sheet.wrap(small, SMALL, 1.2 * NAME, 1) for _, _, small in parted]
        told = [_told_lines(sheet, words) for _, _, words in rows]
        if any(len(lines) > 1 for lines in (*names, *told)) or any(paths):
            tall = max(tall, 2.0 * LINE + 8.0)
        room = max((sheet.width(line, LETTERS) for name in names for line in name), default=0.0)
        room = max((room, *(sheet.width(line, SMALL) for lines in paths for line in lines)))
        side = max((sheet.width(line, SMALL) for lines in told for line in lines), default=0.0)
        left = LEFT + room + 18.0
        above = 18.0 if reference is None else 36.0
        below = 62.0 + (2.0 * LINE if scale.has_end else 0.0)
        high = tall * max(len(rows), 1)
        sheet.open(high + above + below, joined([*notes, more]))
        box = (left, sheet.bottom + below, WIDTH - left - side - 60.0, high)
        axes = sheet.axes(*box)
        axes.set_xlim(scale.low, scale.top)
        axes.set_ylim(max(len(rows), 1) - 0.5, -0.5)
        draw_scale(sheet, axes, scale, box, is_upright=False)
        words = sheet.wrap(axis, LETTERS, WIDTH - 2.0 * LEFT, 1)
        half = max((sheet.width(one, LETTERS) for one in words), default=0.0) / 2.0
        middle = max(min(box[0] + box[2] / 2.0, WIDTH - LEFT - half), LEFT + half)
        sheet.text(middle, sheet.bottom + 22.0, "".join(words), across="center")
        if reference is not None and math.isfinite(reference):
            axes.axvline(reference * scale.times, color=paint(LIGHT.wood), lw=1.4, ls=(0, (7, 2, 1, 2)))
            x = left + box[2] * (reference * scale.times - scale.low) / (scale.top - scale.low)
            y = box[1] + box[3] + 12.0
            sheet.text(x, y, "as it is", SMALL, LIGHT.wood, across="center")
        for number, ((_, figure, _), name, told_words) in enumerate(zip(rows, names, told, strict=True)):
            y = box[1] + box[3] - tall * (number + 0.5)
            ends = scale.at(np.array([figure.value, figure.low, figure.high]))
            if number % 2:
                axes.axhspan(
                    number - 0.5, number + 0.5, color=paint(LIGHT.paper), alpha=0.7, lw=0.0, zorder=0
                )
            if figure.has_interval:
                axes.plot(ends[1:], [number, number], color=paint(mine.colour), lw=2.2, zorder=3)
                for end in ends[1:]:
                    reach = [number - 4.0 / tall, number + 4.0 / tall]
                    axes.plot([end, end], reach, color=paint(mine.colour), lw=1.4, zorder=3)
            if not math.isnan(figure.value):
                cased_line(axes, ends[:1], [number], mine, 0.0, axes.transData, has_marks=True, order=5)
            raised = 9.0 if paths[number] else 0.0
            sheet.text(left - 12.0, y + raised, "\n".join(name), across="right")
            for line in paths[number]:
                sheet.text(left - 12.0, y - 10.0, line, SMALL, LIGHT.faded, across="right")
            sheet.text(left + box[2] + 16.0, y, "\n".join(told_words), SMALL)


def _whole(ticks: Sequence[float]) -> list[float]:
    """The ticks for a count."""
    return [tick for tick in ticks if tick == round(tick)]


def _told_lines(sheet: Page, words: str) -> list[str]:
    """A figure in words; where they are long, its interval in a line of its own."""
    if sheet.width(words, SMALL) <= NAME:
        return [words]
    figure, bracket, interval = words.partition(" [")
    return [figure, f"{bracket.strip()}{interval}"]


def history(
    path: Path,
    title: str,
    score: Score,
    trials: Sequence[float] | FloatArray,
    best: Sequence[float] | FloatArray,
    left: Sequence[float] | FloatArray,
    note: str = "",
    study: str = "",
    ends: tuple[Sequence[float], Sequence[float]] | None = None,
) -> None:
    """Draw how a search went: figure of the leader, and settings still in the race, over trials spent.

    ``trials`` (rounds,) ascend and are those spent by the end of each round; ``best`` (rounds,) are the
    figures of the score, nan or inf where there was none; ``left`` (rounds,) count settings. ``study`` is
    told below the title. ``ends`` are the lower and upper ends of the intervals of these figures.

    Raises ValueError where their numbers differ, OutputError where it cannot be written.
    """
    spent, figures, racing = (np.asarray(one, dtype=np.float64) for one in (trials, best, left))
    if not spent.shape == figures.shape == racing.shape or spent.ndim != 1:
        raise ValueError("a search needs three figures for every round")
    low, high = (np.asarray(one, dtype=np.float64) for one in ends or (figures, figures))
    if not low.shape == high.shape == figures.shape:
        raise ValueError("a search needs both ends of an interval for every round")
    scale = scale_for(score.unit, [figures, low, high])
    most = float(racing.max(initial=1.0))
    field = Scale(0.0, most * 1.05, tuple(_whole(even_ticks(0.0, most, 5))), 1.0, "", False)
    end = float(spent.max(initial=0.0)) or 1.0
    ticks = _whole(even_ticks(0.0, end, 8))
    with page(path, title, about_words(score, scale, study)) as sheet:
        sheet.open(582.0, joined([note]))
        across = LEFT + max(tick_room(sheet, scale), tick_room(sheet, field))
        width = WIDTH - across - 60.0
        lower = (across, sheet.bottom + 66.0, width, 150.0)
        upper = (across, lower[1] + lower[3] + 58.0, width, 264.0)
        for box, one, values, words, mine in (
            (upper, scale, figures, f"{axis_words(score, scale)}: of the setting that leads", look(0)),
            (lower, field, racing, "number of settings still in the race", look(2)),
        ):
            axes = sheet.axes(*box)
            axes.set_xlim(0.0, end * 1.02)
            axes.set_ylim(one.low, one.top)
            draw_scale(sheet, axes, one, box, is_upright=True)
            sheet.text(across, box[1] + box[3] + 16.0, words)
            # A figure holds until the next round has one.
            cased_line(
                axes,
                np.repeat(spent, 2)[1:],
                np.repeat(one.at(values), 2)[:-1],
                mine,
                2.2,
                axes.transData,
                has_marks=False,
                order=4,
            )
            cased_line(axes, spent, one.at(values), mine, 0.0, axes.transData, has_marks=True, order=5)
            if values is figures and ends is not None:
                for place, *reach in zip(spent, one.at(low), one.at(high), strict=True):
                    if not np.isnan(reach).any():
                        axes.plot([place, place], reach, color=paint(mine.colour), lw=1.3, zorder=3)
            for tick in ticks:
                axes.axvline(tick, color=paint(LIGHT.faded), alpha=0.3, lw=0.8, zorder=1)
        for tick in ticks:
            x = across + width * tick / (end * 1.02)
            sheet.text(x, lower[1] - 8.0, plain_text(tick, 12), SMALL, across="center", down="top")
        sheet.text(across + width / 2.0, lower[1] - 44.0, "trials spent", across="center")
