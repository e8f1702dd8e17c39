"""Pictures of studies and kits: curves, maps, rows with intervals, and how a search went.

Every picture is a PNG of :data:`canvas.WIDTH` pixels, and the same figures give the same bytes. Series have
the colours, marks and dashes that designs have in replays. Whatever is shown has its 95 % interval with it.
"""

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from agents.units import plain_text
from arena.studies.canvas import (
    LETTERS,
    SMALL,
    WIDTH,
    Page,
    Scale,
    apart,
    cased_line,
    even_ticks,
    factor_ticks,
    page,
    paint,
    scale_for,
)
from arena.studies.estimates import Estimate, Estimates, tell, tell_value
from arena.studies.factors import Factor
from arena.studies.scores import SCORES, Score
from replays.colours import WHITE, Colour, Look, light_colours, look, readable_on
from replays.theme import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["bars", "curve", "forest", "heat_map", "history"]

Floats = NDArray[np.float64]

_LEFT = 28.0
_RIGHT = 40.0
_PLOT = 470.0
_LINE = 19.0
# Words of a name's width [pixels].
_NAME = 270.0
_MOST_ROWS = 120
# Levels up to which each has its own words on the axis.
_MOST_WORDS = 12
_END_WORDS = ("not within", "the run")


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

    Each of the estimates has as many settings as the factor has levels; ``series`` names them, and may be
    empty where there is one. ``marks`` are values of the factor [``factor.unit``, SI] by name, drawn as
    upright lines; those further from the levels than these are from one another are told in the note. The
    note begins with what the picture itself knows: intervals and trials.

    Raises ValueError where numbers of levels or names do not fit, OutputError where it cannot be written.
    """
    if not estimates or any(len(one) != len(factor.levels) for one in estimates):
        raise ValueError("each series needs an estimate for every level")
    if len(series) != len(estimates) and (series or len(estimates) > 1):
        raise ValueError("each series needs a name")
    figures = [array for one in estimates for array in (one.value, one.low, one.high)]
    scale = scale_for(score.unit, figures)
    axis = _Axis(factor, marks or {})
    notes = [_interval_words(estimates, "bars" if len(factor.levels) else ""), *axis.left_out, note]
    with page(path, _PLOT + 110.0, title, _about(score, scale), _joined(notes)) as sheet:
        names = [sheet.wrap(name, LETTERS, _NAME, 2) for name in series]
        right = max((sheet.width(line, LETTERS) for name in names for line in name), default=-50.0) + 90.0
        left = _LEFT + _tick_room(sheet, scale)
        width = WIDTH - left - max(right, _RIGHT)
        rows = axis.mark_rows(sheet, left, width)
        bottom = sheet.bottom + 84.0
        height = sheet.top - 12.0 - _LINE * len(rows) - bottom
        axes = sheet.axes(left, bottom, width, height)
        axes.set_xlim(*axis.limits)
        axes.set_ylim(scale.low, scale.top)
        _draw_scale(sheet, axes, scale, (left, bottom, width, height), is_upright=True)
        axis.draw(sheet, axes, (left, bottom, width, height), rows)
        gap = _least_gap(axis.places, axis.limits, width)
        step = min(11.0, 0.75 * gap / len(estimates))
        # Bars that would run into one another become a band.
        is_band = step < 3.0
        for number, one in enumerate(estimates):
            moved = 0.0 if is_band else (number - (len(estimates) - 1) / 2.0) * step
            _draw_series(axes, axis.places, one, scale, look(number), moved, is_band)
        if names:
            ends = [float(scale.at(one.value[-1:])[0]) for one in estimates]
            ends = [bottom + height * (end - scale.low) / (scale.top - scale.low) for end in ends]
            _draw_names(sheet, names, ends, left + width, (bottom, bottom + height))
        if not any(np.isfinite(array).any() or np.isposinf(array).any() for array in figures):
            sheet.text(left + width / 2.0, bottom + height / 2.0, _NOTHING, across="center")


_NOTHING = "no trial says anything of this score"


class _Axis:
    """The levels of a factor along an axis, evenly by ratio or by difference, with marks."""

    def __init__(self, factor: Factor, marks: Mapping[str, float]) -> None:
        self.factor = factor
        self.by_ratio = factor.is_ordered and factor.by_ratio and min(factor.levels, default=0.0) > 0.0
        if factor.is_ordered:
            self.places = self._along(factor.levels)
        else:
            self.places = np.arange(len(factor.levels), dtype=np.float64)
        low, high = float(self.places.min()), float(self.places.max())
        self.marks: dict[str, float] = {}
        self.left_out: list[str] = []
        for name, value in marks.items() if factor.is_ordered else ():
            there = math.isfinite(value) and (value > 0.0 or not self.by_ratio)
            place = float(self._along([value])[0]) if there else math.nan
            reach = high - low or abs(low) or 1.0
            if low - reach <= place <= high + reach:
                self.marks[name] = place
            else:
                self.left_out.append(f"{name} lies outside of the picture")
        low, high = min([low, *self.marks.values()]), max([high, *self.marks.values()])
        room = 0.05 * (high - low) or 0.5 * (abs(low) if factor.is_ordered else 1.0) or 0.5
        self.limits = (low - room, high + room)

    def _along(self, values: Iterable[float]) -> Floats:
        array = np.array(list(values), dtype=np.float64)
        return np.log10(array) if self.by_ratio else array

    def _pixel(self, place: float, left: float, width: float) -> float:
        low, high = self.limits
        return left + width * (place - low) / (high - low)

    def ticks(self) -> list[tuple[float, str]]:
        """Places and words of ticks."""
        factor = self.factor
        if len(factor.levels) <= _MOST_WORDS or not factor.is_ordered or factor.is_binned:
            return list(zip(self.places.tolist(), factor.shown, strict=True))
        unit = factor.unit or ("%" if all(words.endswith(" %") for words in factor.shown) else "")
        low, high = self.limits
        low, high = (10.0**low, 10.0**high) if self.by_ratio else (low, high)
        ticks = factor_ticks(low, high, self.by_ratio, unit, 9)
        places = self._along(value for value, _ in ticks)
        return [(float(place), words) for place, (_, words) in zip(places, ticks, strict=True)]

    def mark_rows(self, sheet: Page, left: float, width: float) -> list[list[tuple[float, float, str]]]:
        """The words of the marks in rows, so that none cover one another: line and middle [pixels], words."""
        rows: list[list[tuple[float, float, str]]] = []
        taken: list[float] = []
        for name, place in sorted(self.marks.items(), key=lambda mark: mark[1]):
            words = sheet.wrap(name, SMALL, _NAME, 1)[0]
            half = sheet.width(words, SMALL) / 2.0
            pixel = self._pixel(place, left, width)
            middle = min(max(pixel, left + half), left + width - half)
            row = next((row for row, end in enumerate(taken) if end + 14.0 <= middle - half), len(taken))
            if row == len(taken):
                taken.append(0.0)
                rows.append([])
            taken[row] = middle + half
            rows[row].append((pixel, middle, words))
        return rows

    def draw(
        self,
        sheet: Page,
        axes: "Axes",
        box: tuple[float, float, float, float],
        rows: Sequence[Sequence[tuple[float, float, str]]],
    ) -> None:
        """Ticks with words below the box [pixels], the factor's name, and marks with words above."""
        left, bottom, width, height = box
        over = sheet.overlay()
        for place in self.places.tolist():
            pixel = self._pixel(place, left, width)
            over.plot([pixel, pixel], [bottom - 5.0, bottom], color=paint(LIGHT.faded), lw=0.8)
        ticks = [(self._pixel(place, left, width), words) for place, words in self.ticks()]
        gap = min((b[0] - a[0] for a, b in itertools.pairwise(ticks)), default=width)
        written = -math.inf
        for number, (pixel, words) in enumerate(ticks):
            lines = sheet.wrap(words, SMALL, max(gap - 10.0, 92.0), 2)
            half = max((sheet.width(line, SMALL) for line in lines), default=0.0) / 2.0
            last = ticks[-1][0] - half - 10.0
            if pixel - half < written or (number < len(ticks) - 1 and pixel + half > last):
                continue
            written = pixel + half + 8.0
            over.plot([pixel, pixel], [bottom - 8.0, bottom], color=paint(LIGHT.ink), lw=1.0)
            sheet.text(pixel, bottom - 12.0, "\n".join(lines), SMALL, across="center", down="top")
        sheet.text(left + width / 2.0, bottom - 66.0, _factor_words(self.factor), across="center")
        for row, entries in enumerate(rows):
            y = bottom + height + 12.0 + _LINE * row
            for pixel, middle, words in entries:
                wood = paint(LIGHT.wood)
                over.plot([pixel, pixel], [bottom, y - 8.0], color=wood, lw=1.1, ls=(0, (7, 2, 1, 2)))
                sheet.text(middle, y, words, SMALL, LIGHT.wood, across="center")


def _draw_series(
    axes: "Axes", places: Floats, one: Estimates, scale: Scale, mine: Look, moved: float, is_band: bool
) -> None:
    """A line with its intervals, ``moved`` [pixels] to the right."""
    from matplotlib.transforms import Affine2D

    shift = axes.transData + Affine2D().translate(moved, 0.0)
    value, low, high = scale.at(one.value), scale.at(one.low), scale.at(one.high)
    finite = np.where(np.isfinite(one.value), value, np.nan)
    known = ~(np.isnan(one.low) | np.isnan(one.high))
    strong = mine.colour if sum(mine.colour) < 420 else mine.casing
    if is_band:
        axes.fill_between(places, low, high, where=known, color=paint(strong), alpha=0.2, lw=0.0)
    else:
        for number in np.flatnonzero(known):
            ends = [low[number], high[number]]
            axes.plot([places[number]] * 2, ends, color=paint(strong), lw=1.3, transform=shift, zorder=3)
    axes.autoscale(False)
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
    sizes = [_LINE * len(name) + 6.0 for name in names]
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


def _draw_scale(
    sheet: Page, axes: "Axes", scale: Scale, box: tuple[float, float, float, float], is_upright: bool
) -> None:
    """Lines at the ticks of a scale, their figures beside the box [pixels], and the strip without end."""
    left, bottom, width, height = box
    whole = scale.top - scale.low
    line = axes.axhline if is_upright else axes.axvline
    span = axes.axhspan if is_upright else axes.axvspan
    for tick in scale.ticks:
        line(tick, color=paint(LIGHT.faded), alpha=0.3, lw=0.8, zorder=1)
        share = (tick - scale.low) / whole
        if is_upright:
            sheet.text(left - 10.0, bottom + height * share, scale.tick_words(tick), SMALL, across="right")
        else:
            words = scale.tick_words(tick)
            sheet.text(left + width * share, bottom - 8.0, words, SMALL, across="center", down="top")
    if scale.has_end:
        span(scale.high, scale.top, color=paint(LIGHT.accent), alpha=0.35, lw=0.0, zorder=0.5)
        share = ((scale.high + scale.top) / 2.0 - scale.low) / whole
        words = "\n".join(_END_WORDS)
        if is_upright:
            sheet.text(left - 10.0, bottom + height * share, words, SMALL, across="right")
        else:
            sheet.text(left + width * share, bottom - 8.0, words, SMALL, across="center", down="top")
    over = sheet.overlay()
    over.plot([left, left + width], [bottom, bottom], color=paint(LIGHT.ink), lw=1.0)


def _tick_room(sheet: Page, scale: Scale) -> float:
    words = [scale.tick_words(tick) for tick in scale.ticks] + list(_END_WORDS if scale.has_end else ())
    return max((sheet.width(one, SMALL) for one in words), default=0.0) + 14.0


def _least_gap(places: Floats, limits: tuple[float, float], width: float) -> float:
    """The least distance of neighbouring levels [pixels]."""
    if len(places) < 2:
        return width
    return float(np.diff(np.sort(places)).min()) * width / (limits[1] - limits[0])


def _factor_words(factor: Factor) -> str:
    is_told = factor.unit == "" or all(factor.unit in words for words in factor.shown)
    unit = "" if is_told else f" [{factor.unit}]"
    return f"{factor.name}{unit}"


def _about(score: Score, scale: Scale) -> str:
    unit = f" [{scale.unit}]" if scale.unit else ""
    return f"{score.words}{unit}; {'more' if score.more_is_better else 'less'} is better"


def _interval_words(estimates: Sequence[Estimates], drawn: str) -> str:
    """What the intervals are, and of how many trials."""
    counts = np.concatenate([one.count for one in estimates])
    low, high = (int(counts.min()), int(counts.max())) if counts.size else (0, 0)
    trials = f"{low}" if low == high else f"{low} to {high}"
    words = f"{trials} trial{'' if trials == '1' else 's'} at each level"
    if any(figure.has_interval for one in estimates for figure in one):
        return f"{drawn}: interval that holds the true figure with 95 % confidence; {words}"
    return f"too few trials for intervals; {words}"


def _joined(notes: Iterable[str]) -> str:
    text = "; ".join(one for one in notes if one)
    return text[:1].upper() + text[1:]


def heat_map(
    path: Path,
    title: str,
    score: Score,
    across: Factor,
    along: Factor,
    estimates: Estimates,
    alike: NDArray[np.bool_] | None = None,
    note: str = "",
) -> None:
    """Draw a score against two factors as a map with its figures in the cells, and write it.

    ``estimates`` are those of a grid (levels of ``along``, levels of ``across``) in C order; the levels of
    ``along`` are rows, which go upwards where they are numbers. Half the width of the interval is below the
    figure, where there is room. ``alike``, of as many cells, are those that cannot be told from the best,
    which get a frame. The brighter a cell, the better.

    Raises ValueError where the numbers of cells do not fit, OutputError where it cannot be written.
    """
    columns, rows = len(across.levels), len(along.levels)
    if len(estimates) != columns * rows or (alike is not None and alike.size != columns * rows):
        raise ValueError("a map needs an estimate for every cell")
    scale = scale_for(score.unit, [estimates.value], is_whole=False)
    tall = min(max(52.0, 420.0 / rows), 110.0) if rows <= 12 else max(624.0 / rows, 19.0)
    words = "" if alike is None else "framed: cannot be told from the best"
    notes = [_interval_words([estimates], "±: half of the interval"), words, note]
    over_words = [*across.shown, ""]
    with page(path, tall * rows + 150.0, title, _about(score, scale), _joined(notes)) as sheet:
        names = [sheet.wrap(name, SMALL, _NAME, 2 if tall >= 34.0 else 1) for name in along.shown]
        room = max(sheet.width(line, SMALL) for name in names for line in name or [""])
        left = _LEFT + room + 14.0
        wide = min((WIDTH - left - 170.0) / columns, 170.0)
        is_turned = max(sheet.width(one, SMALL) for one in over_words) > 1.9 * (wide - 8.0)
        heads = [
            sheet.wrap(one, SMALL, 92.0 if is_turned else wide - 8.0, 1 if is_turned else 2)
            for one in over_words
        ]
        box = (left, sheet.bottom + 122.0, wide * columns, sheet.top - 28.0 - sheet.bottom - 122.0)
        tall = box[3] / rows
        _draw_cells(sheet, score, scale, estimates, (rows, columns), along.is_ordered, alike, box)
        for row, name in enumerate(names):
            at = row if along.is_ordered else rows - 1 - row
            if row % math.ceil(17.0 * len(name) / tall) == 0:
                sheet.text(left - 10.0, box[1] + tall * (at + 0.5), "\n".join(name), SMALL, across="right")
        for column, head in enumerate(heads[:-1]):
            middle = left + wide * (column + 0.5)
            if is_turned and column % math.ceil(17.0 / wide) == 0:
                sheet.text(middle, box[1] - 8.0, head[0], SMALL, across="right", turned=True)
            elif not is_turned:
                sheet.text(middle, box[1] - 8.0, "\n".join(head), SMALL, across="center", down="top")
        sheet.text(_LEFT, sheet.top - 8.0, _factor_words(along))
        sheet.text(left, sheet.bottom + 14.0, _factor_words(across))
        _draw_bar(sheet, score, scale, (left + box[2] + 34.0, box[1], 26.0, min(box[3], 380.0)))


def _draw_cells(
    sheet: Page,
    score: Score,
    scale: Scale,
    estimates: Estimates,
    shape: tuple[int, int],
    is_upward: bool,
    alike: NDArray[np.bool_] | None,
    box: tuple[float, float, float, float],
) -> None:
    from matplotlib.patches import Rectangle

    rows, columns = shape
    wide, tall = box[2] / columns, box[3] / rows
    over = sheet.overlay()
    half = [_half_words(scale, figure) for figure in estimates]
    words = [_cell_words(score, scale, figure.value) for figure in estimates]
    has_words = tall >= 18.0 and max(sheet.width(one, LETTERS) for one in words) <= wide - 6.0
    has_half = has_words and tall >= 40.0 and max(sheet.width(one, SMALL) for one in half) <= wide - 6.0
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
        if has_words:
            up = 9.0 if has_half and half[number] else 0.0
            sheet.text(x + wide / 2.0, y + tall / 2.0 + up, words[number], LETTERS, ink, across="center")
        if has_half:
            sheet.text(x + wide / 2.0, y + tall / 2.0 - 11.0, half[number], SMALL, ink, across="center")
        if alike is not None and alike.flat[number]:
            thick = min(2.6, 0.08 * wide, 0.12 * tall)
            # White within ink shows on any ground.
            for inset, colour in ((1.2 * thick, WHITE), (0.6 * thick, LIGHT.ink)):
                place, size = (x + inset, y + inset), (wide - 2.0 * inset, tall - 2.0 * inset)
                over.add_patch(
                    Rectangle(place, *size, fill=False, ec=paint(colour), lw=thick * 0.72, zorder=3)
                )


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


def _half_words(scale: Scale, figure: Estimate) -> str:
    half = (figure.high - figure.low) / 2.0 * scale.times
    return f"±{plain_text(half, 2)}" if math.isfinite(half) else ""


def _draw_bar(sheet: Page, score: Score, scale: Scale, box: tuple[float, float, float, float]) -> None:
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
    for tick in scale.ticks:
        y = bottom + height * (tick - scale.low) / (scale.high - scale.low)
        over.plot([left + width, left + width + 5.0], [y, y], color=paint(LIGHT.ink), lw=1.0)
        sheet.text(left + width + 10.0, y, scale.tick_words(tick), SMALL)
    y = bottom + height + 18.0 if score.more_is_better else bottom - 18.0
    sheet.text(left, y, "better", SMALL)


def bars(path: Path, title: str, score: Score, factor: Factor, estimates: Estimates, note: str = "") -> None:
    """Draw a score at each level of a factor as rows of dots with intervals, in their order, and write it.

    Raises ValueError where there is not one estimate for every level, OutputError where it cannot be written.
    """
    if len(estimates) != len(factor.levels):
        raise ValueError("every level needs an estimate")
    scale = scale_for(score.unit, [estimates.value, estimates.low, estimates.high])
    rows = [(name, figure, tell(score, figure)) for name, figure in zip(factor.shown, estimates, strict=True)]
    notes = [_interval_words([estimates], "bars"), note]
    about = f"{_about(score, scale)}; by {_factor_words(factor)}"
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

    The shares and the ``reference`` are from 0 to 1 and drawn in percent; ``words`` say of what. The axis is
    as long as they need, so that small gains show.

    Raises OutputError where it cannot be written.
    """
    ends = [value for _, one in rows for value in (one.value, one.low, one.high)]
    scale = scale_for("%", [np.array([*ends, reference])], is_whole=False)
    told = [(name, one, tell(_SHARE, one)) for name, one in rows]
    many = estimates_of([one for _, one in rows])
    notes = [_interval_words([many], "bars"), note]
    _draw_rows(path, title, f"{words} [%]", scale, told, reference, notes)


# What a share without a score of its own is told like.
_SHARE = SCORES["reached"]


def estimates_of(figures: Sequence[Estimate]) -> Estimates:
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
    with page(path, tall * len(rows) + 84.0, title, about, _joined([*notes, more])) as sheet:
        names = [sheet.wrap(name, LETTERS, 320.0, 2 if tall >= 42.0 else 1) for name, _, _ in rows]
        room = max((sheet.width(line, LETTERS) for name in names for line in name), default=0.0)
        side = max((sheet.width(words, SMALL) for _, _, words in rows), default=0.0)
        left = _LEFT + room + 18.0
        box = (left, sheet.bottom + 62.0, WIDTH - left - side - 60.0, tall * len(rows))
        axes = sheet.axes(*box)
        axes.set_xlim(scale.low, scale.top)
        axes.set_ylim(len(rows) - 0.5, -0.5)
        _draw_scale(sheet, axes, scale, box, is_upright=False)
        if reference is not None and math.isfinite(reference):
            axes.axvline(reference * scale.times, color=paint(LIGHT.wood), lw=1.4, ls=(0, (7, 2, 1, 2)))
        for number, ((_, figure, words), name) in enumerate(zip(rows, names, strict=True)):
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
            sheet.text(left - 12.0, y, "\n".join(name), across="right")
            sheet.text(left + box[2] + 16.0, y, words, SMALL)


def history(
    path: Path,
    title: str,
    score: Score,
    trials: Sequence[float] | Floats,
    best: Sequence[float] | Floats,
    left: Sequence[float] | Floats,
    note: str = "",
) -> None:
    """Draw how a search went: best figure so far, and settings still in the race, over trials spent.

    ``trials`` (rounds,) ascend and are those spent by the end of each round; ``best`` (rounds,) are the
    figures of the score, nan or inf where there was none; ``left`` (rounds,) count settings.

    Raises ValueError where their numbers differ, OutputError where it cannot be written.
    """
    spent, figures, racing = (np.asarray(one, dtype=np.float64) for one in (trials, best, left))
    if not spent.shape == figures.shape == racing.shape or spent.ndim != 1:
        raise ValueError("a search needs three figures for every round")
    scale = scale_for(score.unit, [figures])
    most = float(racing.max(initial=1.0))
    field = Scale(0.0, most * 1.05, tuple(even_ticks(0.0, most, 5)), 1.0, "", False)
    end = float(spent.max(initial=0.0)) or 1.0
    ticks = even_ticks(0.0, end, 8)
    with page(path, 590.0, title, _about(score, scale), _joined([note])) as sheet:
        across = _LEFT + max(_tick_room(sheet, scale), _tick_room(sheet, field))
        width = WIDTH - across - 60.0
        lower = (across, sheet.bottom + 66.0, width, 150.0)
        upper = (across, lower[1] + lower[3] + 58.0, width, 264.0)
        for box, one, values, words, mine in (
            (upper, scale, figures, "best so far", look(0)),
            (lower, field, racing, "settings still in the race", look(2)),
        ):
            axes = sheet.axes(*box)
            axes.set_xlim(0.0, end * 1.02)
            axes.set_ylim(one.low, one.top)
            _draw_scale(sheet, axes, one, box, is_upright=True)
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
