"""Pictures of a score against the levels of a factor, in lines with intervals, in one plot or several."""

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from agents.arrays import FloatArray
from arena.studies.statistics.estimates import Estimates
from arena.studies.statistics.factors import Factor
from arena.studies.telling.canvas import LETTERS, WIDTH, Page, apart, cased_line, page, paint
from arena.studies.telling.frames import (
    LEFT,
    LINE,
    NAME,
    LevelAxis,
    about_words,
    draw_scale,
    draw_upright_words,
    interval_words,
    joined,
    least_gap,
    tick_room,
)
from arena.studies.telling.scales import Scale, scale_for
from arena.studies.trial_scores import Score
from replays.drawing.colours import WHITE, Look, look
from replays.drawing.theme import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_RIGHT = 40.0
# Heights of a plot that stands alone, and of each of several [pixels]; room that the words of an axis take.
_PLOT, _PANEL = 400.0, 250.0
_AXIS_WORDS = 26.0
_NOTHING = "no trial says anything of this score"


def curve(
    path: Path,
    title: str,
    score: Score,
    factor: Factor,
    estimates: Sequence[Estimates],
    series: Sequence[str] = (),
    marks: Mapping[str, float] | None = None,
    note: str = "",
    study: str = "",
) -> None:
    """Draw a score against the levels of one factor, a line for each of the ``estimates``, and write it.

    Levels that are no numbers are not joined by a line.

    Each of the estimates has as many settings as the factor has levels; ``series`` names them, and may be
    empty where there is one. ``marks`` are values of the factor [``factor.unit``, SI] by name, drawn as
    upright lines; those further from the levels than these are from one another are told in the note. The
    note begins with what the picture itself knows: intervals and trials. ``study`` is told below the title.

    Raises ValueError where numbers of levels or names do not fit, OutputError where it cannot be written.
    """
    curves(path, title, score, factor, [("", estimates)], series, marks, note, study)


def curves(
    path: Path,
    title: str,
    score: Score,
    factor: Factor,
    panels: Sequence[tuple[str, Sequence[Estimates]]],
    series: Sequence[str] = (),
    marks: Mapping[str, float] | None = None,
    note: str = "",
    study: str = "",
) -> None:
    """Draw what :func:`curve` does in several plots below one another, to the same scale.

    Each of the ``panels`` has a name and as many lines as the others.

    Raises what :func:`curve` does.
    """
    many = [one for _, lines in panels for one in lines]
    if not many or not factor.levels or any(len(one) != len(factor.levels) for one in many):
        raise ValueError("each series needs an estimate for every level")
    if any(len(lines) != len(series) and (series or len(lines) > 1) for _, lines in panels):
        raise ValueError("each series needs a name")
    figures = [array for one in many for array in (one.value, one.low, one.high)]
    scale = scale_for(score.unit, figures)
    axis = LevelAxis(factor, marks or {})
    with page(path, title, about_words(score, scale, study)) as sheet:
        names = [sheet.wrap(name, LETTERS, NAME, 2) for name in series]
        right = max((sheet.width(line, LETTERS) for name in names for line in name), default=-50.0) + 90.0
        left = LEFT + _AXIS_WORDS + tick_room(sheet, scale)
        width = WIDTH - left - max(right, _RIGHT)
        rows = axis.mark_rows(sheet, left, width)
        below = 46.0 + LINE * max((len(lines) for _, lines in axis.tick_lines(sheet, left, width)), default=1)
        height = _PLOT if len(panels) == 1 else _PANEL
        height = max(height, sum(_name_height(name) for name in names))
        above = LINE * len(rows) + 18.0
        heads = [sheet.wrap(name, LETTERS, WIDTH - left - LEFT, 1) for name, _ in panels]
        tall = below + height + above + (24.0 if any(heads) else 0.0)
        # Bars that would run into one another become a band.
        step = 0.75 * least_gap(axis.places, axis.limits, width) / len(panels[0][1])
        is_band = min(11.0, step) < 3.0
        drawn = interval_words(many, f"{'bands' if is_band else 'bars'}:", "at each level")
        sheet.open(tall * len(panels), joined([drawn, *axis.left_out, note]))
        for number, (_, lines) in enumerate(panels):
            bottom = sheet.bottom + tall * (len(panels) - 1 - number) + below
            box = (left, bottom, width, height)
            _draw_panel(sheet, box, scale, axis, rows, lines, names, 0.0 if is_band else min(11.0, step))
            draw_upright_words(sheet, box, score, scale)
            if heads[number]:
                sheet.text(left, bottom + height + above + 4.0, heads[number][0])


def _draw_panel(
    sheet: Page,
    box: tuple[float, float, float, float],
    scale: Scale,
    axis: LevelAxis,
    rows: Sequence[Sequence[tuple[float, float, str]]],
    lines: Sequence[Estimates],
    names: Sequence[Sequence[str]],
    step: float,
) -> None:
    """One plot, whose lines stand ``step`` [pixels] apart; they have bands where that is 0."""
    left, bottom, width, height = box
    axes = sheet.axes(*box)
    axes.set_xlim(*axis.limits)
    axes.set_ylim(scale.low, scale.top)
    draw_scale(sheet, axes, scale, box, is_upright=True)
    axis.draw(sheet, box, rows)
    for number, one in enumerate(lines):
        moved = (number - (len(lines) - 1) / 2.0) * step
        _draw_series(axes, axis.places, one, scale, look(number), moved, step == 0.0, axis.factor.is_ordered)
    if names:
        ends = [float(scale.at(one.value[-1:])[0]) for one in lines]
        ends = [bottom + height * (end - scale.low) / (scale.top - scale.low) for end in ends]
        _draw_names(sheet, names, ends, left + width, (bottom, bottom + height))
    if all(np.isnan(one.value).all() for one in lines):
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
