"""Pictures of studies and kits: curves, maps, rows with intervals, and how a search went.

Every picture is a PNG of :data:`canvas.WIDTH` pixels, and the same figures give the same bytes. Series have
the colours, marks and dashes that designs have in replays. Whatever is shown has its 95 % interval with it.
"""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from agents.arrays import FloatArray
from agents.text.units import plain_text
from arena.studies.statistics.estimates import Estimate, Estimates, tell, tell_value
from arena.studies.statistics.factors import Factor
from arena.studies.telling.canvas import LETTERS, SMALL, WIDTH, Page, apart, cased_line, page, paint
from arena.studies.telling.frames import (
    LEFT,
    LINE,
    NAME,
    LevelAxis,
    about_words,
    draw_scale,
    factor_words,
    interval_words,
    joined,
    least_gap,
    path_words,
    tick_room,
)
from arena.studies.telling.scales import Scale, even_ticks, scale_for
from arena.studies.trial_scores import SCORES, Score
from replays.drawing.colours import WHITE, Look, look
from replays.drawing.theme import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes


_RIGHT = 40.0
_PLOT = 400.0
_MOST_ROWS = 120
_NOTHING = "no trial says anything of this score"
# What a share without a score of its own is told like.
_SHARE = SCORES["reached"]


def curve(
    path: Path,
    title: str,
    score: Score,
    factor: Factor,
    estimates: Sequence[Estimates],
    series: Sequence[str] = (),
    marks: Mapping[str, float] | None = None,
    note: str = "",
) -> None:
    """Draw a score against the levels of one factor, a line for each of the ``estimates``, and write it.

    Levels that are no numbers are not joined by a line.

    Each of the estimates has as many settings as the factor has levels; ``series`` names them, and may be
    empty where there is one. ``marks`` are values of the factor [``factor.unit``, SI] by name, drawn as
    upright lines; those further from the levels than these are from one another are told in the note. The
    note begins with what the picture itself knows: intervals and trials.

    Raises ValueError where numbers of levels or names do not fit, OutputError where it cannot be written.
    """
    if not estimates or not factor.levels or any(len(one) != len(factor.levels) for one in estimates):
        raise ValueError("each series needs an estimate for every level")
    if len(series) != len(estimates) and (series or len(estimates) > 1):
        raise ValueError("each series needs a name")
    figures = [array for one in estimates for array in (one.value, one.low, one.high)]
    scale = scale_for(score.unit, figures)
    axis = LevelAxis(factor, marks or {})
    with page(path, title, about_words(score, scale)) as sheet:
        names = [sheet.wrap(name, LETTERS, NAME, 2) for name in series]
        right = max((sheet.width(line, LETTERS) for name in names for line in name), default=-50.0) + 90.0
        left = LEFT + tick_room(sheet, scale)
        width = WIDTH - left - max(right, _RIGHT)
        rows = axis.mark_rows(sheet, left, width)
        below = 46.0 + LINE * max((len(lines) for _, lines in axis.tick_lines(sheet, left, width)), default=1)
        height = max(_PLOT, sum(_name_height(name) for name in names))
        # Bars that would run into one another become a band.
        step = min(11.0, 0.75 * least_gap(axis.places, axis.limits, width) / len(estimates))
        is_band = step < 3.0
        drawn = interval_words(estimates, f"{'bands' if is_band else 'bars'}:", "at each level")
        sheet.open(below + height + LINE * len(rows) + 18.0, joined([drawn, *axis.left_out, note]))
        bottom = sheet.bottom + below
        axes = sheet.axes(left, bottom, width, height)
        axes.set_xlim(*axis.limits)
        axes.set_ylim(scale.low, scale.top)
        draw_scale(sheet, axes, scale, (left, bottom, width, height), is_upright=True)
        axis.draw(sheet, (left, bottom, width, height), rows)
        for number, one in enumerate(estimates):
            moved = 0.0 if is_band else (number - (len(estimates) - 1) / 2.0) * step
            is_joined = factor.is_ordered
            _draw_series(axes, axis.places, one, scale, look(number), moved, is_band, is_joined)
        if names:
            ends = [float(scale.at(one.value[-1:])[0]) for one in estimates]
            ends = [bottom + height * (end - scale.low) / (scale.top - scale.low) for end in ends]
            _draw_names(sheet, names, ends, left + width, (bottom, bottom + height))
        if all(np.isnan(one.value).all() for one in estimates):
            sheet.text(left + width / 2.0, bottom + height / 2.0, _NOTHING, across="center", is_on_paper=True)


def _name_height(lines: Sequence[str]) -> float:
    return LINE * len(lines) + 6.0


def _draw_series(
    axes: "Axes",
    places: FloatArray,
    one: Estimates,
    scale: Scale,
    mine: Look,
    moved: float,
    is_band: bool,
    is_joined: bool,
) -> None:
    """Marks with their intervals, ``moved`` [pixels] to the right, which a line may join."""
    from matplotlib.transforms import Affine2D

    shift = axes.transData + Affine2D().translate(moved, 0.0)
    value, low, high = scale.at(one.value), scale.at(one.low), scale.at(one.high)
    finite = np.where(np.isfinite(one.value), value, np.nan)
    known = ~(np.isnan(one.low) | np.isnan(one.high))
    strong = mine.colour if mine.casing == WHITE else mine.casing
    if is_band:
        axes.fill_between(places, low, high, where=known, color=paint(strong), alpha=0.2, lw=0.0)
    else:
        for number in np.flatnonzero(known):
            ends = [low[number], high[number]]
            axes.plot([places[number]] * 2, ends, color=paint(strong), lw=1.3, transform=shift, zorder=3)
    axes.autoscale(False)
    if is_joined:
        cased_line(axes, places, finite, mine, 2.2, shift, has_marks=False, order=4)
    cased_line(axes, places, value, mine, 0.0, shift, has_marks=True, order=5)


def _draw_names(
    sheet: Page,
    names: Sequence[Sequence[str]],
    ends: Sequence[float],
    right: float,
    bounds: tuple[float, float],
) -> None:
    """Names of series beside their ends [pixels], or below one another where there is no room for that."""
    sizes = [_name_height(name) for name in names]
    is_near = not any(math.isnan(end) for end in ends)
    places = apart([0.0 if math.isnan(end) else end for end in ends], sizes, *bounds)
    is_near = is_near and max(abs(a - b) for a, b in zip(places, ends, strict=True)) <= 30.0
    if not is_near:
        tops = bounds[1] - np.cumsum([0.0, *sizes[:-1]])
        places = [float(top) - size / 2.0 for top, size in zip(tops, sizes, strict=True)]
    over = sheet.overlay()
    for number, (name, place) in enumerate(zip(names, places, strict=True)):
        mine = look(number)
        if is_near:
            xs, ys = [right + 4.0, right + 26.0], [ends[number], place]
            over.plot(xs, ys, color=paint(LIGHT.faded), lw=0.8)
        sample = [right + 30.0, right + 62.0]
        cased_line(over, sample, [place, place], mine, 2.2, over.transData, has_marks=False, order=4)
        cased_line(over, [right + 46.0], [place], mine, 0.0, over.transData, has_marks=True, order=5)
        sheet.text(right + 72.0, place, "\n".join(name))


def bars(path: Path, title: str, score: Score, factor: Factor, estimates: Estimates, note: str = "") -> None:
    """Draw a score at each level of a factor as rows of dots with intervals, in their order, and write it.

    Raises ValueError where there is not one estimate for every level, OutputError where it cannot be written.
    """
    if len(estimates) != len(factor.levels):
        raise ValueError("every level needs an estimate")
    scale = scale_for(score.unit, [estimates.value, estimates.low, estimates.high])
    rows = [(name, figure, tell(score, figure)) for name, figure in zip(factor.shown, estimates, strict=True)]
    notes = [interval_words([estimates], "bars:", "in each row"), note]
    path_beside = f" ({path_words(factor)})" if path_words(factor) else ""
    about = f"{about_words(score, scale)}; by {factor_words(factor)}{path_beside}"
    _draw_rows(path, title, about, scale, rows, None, notes)


def forest(
    path: Path,
    title: str,
    rows: Sequence[tuple[str, Estimate]],
    reference: float,
    words: str,
    note: str = "",
) -> None:
    """Draw shares with their intervals, one in a row with its name, against a line, and write it.

    A second line of a name is a path, which is written in small letters.

    The shares and the ``reference`` are from 0 to 1 and drawn in percent; ``words`` say of what. The axis is
    as long as they need, so that small gains show.

    Raises OutputError where it cannot be written.
    """
    ends = [value for _, one in rows for value in (one.value, one.low, one.high)]
    scale = scale_for("%", [np.array([*ends, reference])], is_whole=False)
    told = [(name, one, tell(_SHARE, one)) for name, one in rows]
    many = _together([one for _, one in rows])
    notes = [interval_words([many], "bars:", "in each row"), note]
    _draw_rows(path, title, f"{words} [%]", scale, told, reference, notes)


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
    about: str,
    scale: Scale,
    rows: Sequence[tuple[str, Estimate, str]],
    reference: float | None,
    notes: Sequence[str],
) -> None:
    """Rows of a name, a dot with its interval, and the figure in words."""
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
        below = 40.0 + (2.0 * LINE if scale.has_end else 0.0)
        high = tall * max(len(rows), 1)
        sheet.open(high + above + below, joined([*notes, more]))
        box = (left, sheet.bottom + below, WIDTH - left - side - 60.0, high)
        axes = sheet.axes(*box)
        axes.set_xlim(scale.low, scale.top)
        axes.set_ylim(max(len(rows), 1) - 0.5, -0.5)
        draw_scale(sheet, axes, scale, box, is_upright=False)
        if reference is not None and math.isfinite(reference):
            axes.axvline(reference * scale.times, color=paint(LIGHT.wood), lw=1.4, ls=(0, (7, 2, 1, 2)))
            x = left + box[2] * (reference * scale.times - scale.low) / (scale.top - scale.low)
            y = box[1] + box[3] + 12.0
            sheet.text(x, y, tell_value(_SHARE, reference), SMALL, LIGHT.wood, across="center")
        for number, ((_, figure, _), name, words) in enumerate(zip(rows, names, told, strict=True)):
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
            sheet.text(left + box[2] + 16.0, y, "\n".join(words), SMALL)


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
) -> None:
    """Draw how a search went: figure of the leader, and settings still in the race, over trials spent.

    ``trials`` (rounds,) ascend and are those spent by the end of each round; ``best`` (rounds,) are the
    figures of the score, nan or inf where there was none; ``left`` (rounds,) count settings.

    Raises ValueError where their numbers differ, OutputError where it cannot be written.
    """
    spent, figures, racing = (np.asarray(one, dtype=np.float64) for one in (trials, best, left))
    if not spent.shape == figures.shape == racing.shape or spent.ndim != 1:
        raise ValueError("a search needs three figures for every round")
    scale = scale_for(score.unit, [figures])
    most = float(racing.max(initial=1.0))
    field = Scale(0.0, most * 1.05, tuple(_whole(even_ticks(0.0, most, 5))), 1.0, "", False)
    end = float(spent.max(initial=0.0)) or 1.0
    ticks = _whole(even_ticks(0.0, end, 8))
    with page(path, title, about_words(score, scale)) as sheet:
        sheet.open(582.0, joined([note]))
        across = LEFT + max(tick_room(sheet, scale), tick_room(sheet, field))
        width = WIDTH - across - 60.0
        lower = (across, sheet.bottom + 66.0, width, 150.0)
        upper = (across, lower[1] + lower[3] + 58.0, width, 264.0)
        for box, one, values, words, mine in (
            (upper, scale, figures, "figure of the one that leads", look(0)),
            (lower, field, racing, "settings still in the race", look(2)),
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
            for tick in ticks:
                axes.axvline(tick, color=paint(LIGHT.faded), alpha=0.3, lw=0.8, zorder=1)
        for tick in ticks:
            x = across + width * tick / (end * 1.02)
            sheet.text(x, lower[1] - 8.0, plain_text(tick, 12), SMALL, across="center", down="top")
        sheet.text(across + width / 2.0, lower[1] - 44.0, "trials spent", across="center")
