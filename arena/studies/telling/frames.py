"""What frames a plot of a study: the levels of a factor, the scale of a score, and the words round them."""

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from agents.arrays import FloatArray
from arena.studies.statistics.estimates import Estimates
from arena.studies.statistics.factors import Factor
from arena.studies.telling.canvas import LETTERS, SMALL, WIDTH, Page, paint
from arena.studies.telling.scales import Scale, factor_ticks, with_unit
from arena.studies.trial_scores import Score
from replays.drawing.theme import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes


Box = tuple[float, float, float, float]
"""Left, bottom, width and height [pixels]."""

LEFT = 28.0
"""Margin at the left [pixels]."""
LINE = 19.0
"""Height of a line of small letters [pixels]."""
NAME = 270.0
"""Room for a name [pixels]; longer ones get two lines, or are cut."""

GAP = 12.0
"""Between words and the path beside them [pixels]."""

# Levels up to which each has its own words on the axis.
_MOST_WORDS = 12
_END_WORDS = ("not within", "the run")


class LevelAxis:
    """The levels of a factor along an axis, evenly by ratio or by difference, with marks."""

    def __init__(self, factor: Factor, marks: Mapping[str, float]) -> None:
        self.factor = factor
        # Shares have no unit, but are shown in percent.
        is_share = factor.unit == "" and all(words.endswith(" %") for words in factor.shown)
        self.unit = "%" if is_share else factor.unit
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
                self.marks[f"{name} {with_unit(value, self.unit)}"] = place
            else:
                self.left_out.append(f"{name} {with_unit(value, self.unit)} lies outside of the picture")
        low, high = min([low, *self.marks.values()]), max([high, *self.marks.values()])
        room = 0.05 * (high - low) or 0.5 * (abs(low) if factor.is_ordered else 1.0) or 0.5
        self.limits = (low - room, high + room)

    def _along(self, values: Iterable[float]) -> FloatArray:
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
        low, high = self.limits
        low, high = (10.0**low, 10.0**high) if self.by_ratio else (low, high)
        ticks = factor_ticks(low, high, self.by_ratio, self.unit, 9)
        places = self._along(value for value, _ in ticks)
        return [(float(place), words) for place, (_, words) in zip(places, ticks, strict=True)]

    def tick_lines(self, sheet: Page, left: float, width: float) -> list[tuple[float, list[str]]]:
        """Places [pixels] and lines of the ticks that have room for their words; the outer ones always do."""
        ticks = [(self._pixel(place, left, width), words) for place, words in self.ticks()]
        gap = min((b[0] - a[0] for a, b in itertools.pairwise(ticks)), default=width)
        wrapped = [(pixel, sheet.wrap(words, SMALL, max(gap - 10.0, 92.0), 3)) for pixel, words in ticks]
        halves = [
            max((sheet.width(line, SMALL) for line in lines), default=0.0) / 2.0 for _, lines in wrapped
        ]
        kept: list[tuple[float, list[str]]] = []
        end, last = -math.inf, (wrapped[-1][0] - halves[-1] - 8.0) if wrapped else 0.0
        for number, ((pixel, lines), half) in enumerate(zip(wrapped, halves, strict=True)):
            is_last = number == len(wrapped) - 1
            if pixel - half >= end and (is_last or not kept or pixel + half <= last):
                kept.append((pixel, lines))
                end = pixel + half + 8.0
        return kept

    def mark_rows(self, sheet: Page, left: float, width: float) -> list[list[tuple[float, float, str]]]:
        """The words of the marks in rows, so that none cover one another: line and middle [pixels], words."""
        rows: list[list[tuple[float, float, str]]] = []
        taken: list[float] = []
        for name, place in sorted(self.marks.items(), key=lambda mark: mark[1]):
            words = sheet.wrap(name, SMALL, NAME, 1)[0]
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
        box: Box,
        rows: Sequence[Sequence[tuple[float, float, str]]],
    ) -> None:
        """Ticks with words below the box [pixels], the factor's name, and marks with words above."""
        left, bottom, width, height = box
        over = sheet.overlay()
        for place in self.places.tolist():
            pixel = self._pixel(place, left, width)
            over.plot([pixel, pixel], [bottom - 5.0, bottom], color=paint(LIGHT.faded), lw=0.8)
        most = 1
        for pixel, lines in self.tick_lines(sheet, left, width):
            most = max(most, len(lines))
            over.plot([pixel, pixel], [bottom - 8.0, bottom], color=paint(LIGHT.ink), lw=1.0)
            sheet.text(pixel, bottom - 12.0, "\n".join(lines), SMALL, across="center", down="top")
        y = bottom - 32.0 - LINE * most
        draw_factor(sheet, left + width / 2.0, y, self.factor, "center")
        for row, entries in enumerate(rows):
            y = bottom + height + 12.0 + LINE * row
            for pixel, middle, words in entries:
                wood = paint(LIGHT.wood)
                over.plot([pixel, pixel], [bottom, y - 8.0], color=wood, lw=1.1, ls=(0, (7, 2, 1, 2)))
                sheet.text(middle, y, words, SMALL, LIGHT.wood, "center", is_on_paper=True)


def draw_scale(sheet: Page, axes: "Axes", scale: Scale, box: Box, is_upright: bool) -> None:
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
        words = "\n".join(_END_WORDS)
        # Clear of the last tick's figure, beside or below it.
        if is_upright:
            y = bottom + height * (scale.high - scale.low) / whole + 9.0
            sheet.text(left - 10.0, y, words, SMALL, across="right", down="bottom")
        else:
            x = left + width * ((scale.high + scale.top) / 2.0 - scale.low) / whole
            sheet.text(x, bottom - 10.0 - LINE, words, SMALL, across="center", down="top")
    over = sheet.overlay()
    over.plot([left, left + width], [bottom, bottom], color=paint(LIGHT.ink), lw=1.0)


def tick_room(sheet: Page, scale: Scale) -> float:
    words = [scale.tick_words(tick) for tick in scale.ticks] + list(_END_WORDS if scale.has_end else ())
    return max((sheet.width(one, SMALL) for one in words), default=0.0) + 14.0


def least_gap(places: FloatArray, limits: tuple[float, float], width: float) -> float:
    """The least distance of neighbouring levels [pixels]."""
    if len(places) < 2:
        return width
    return float(np.diff(np.sort(places)).min()) * width / (limits[1] - limits[0])


def factor_words(factor: Factor) -> str:
    is_told = factor.unit == "" or all(factor.unit in words for words in factor.shown)
    unit = "" if is_told else f" [{factor.unit}]"
    return f"{factor.words}{unit}"


def path_words(factor: Factor) -> str:
    """The path of a factor, where its words say something else."""
    return "" if factor.name == factor.words else factor.name


def draw_factor(sheet: Page, x: float, y: float, factor: Factor, across: str = "left") -> None:
    """Write what an axis shows at a place [pixels], with the path beside it in small letters."""
    words = sheet.wrap(factor_words(factor), LETTERS, WIDTH - 2.0 * LEFT, 1)[0]
    wide = sheet.width(words, LETTERS) + GAP
    path = "".join(sheet.wrap(path_words(factor), SMALL, max(WIDTH - 2.0 * LEFT - wide, 1.0), 1))
    whole = wide + sheet.width(path, SMALL) if path else wide - GAP
    left = x - whole / 2.0 if across == "center" else x
    # an axis near the edge of the picture does not push its words out of it
    left = max(min(left, WIDTH - LEFT - whole), LEFT)
    sheet.text(left, y, words)
    sheet.text(left + wide, y, path, SMALL, LIGHT.faded)


def axis_words(score: Score, scale: Scale) -> str:
    """What an axis shows that figures of a score are drawn to, with their unit."""
    return f"{score.words}{f' [{scale.unit}]' if scale.unit else ''}"


def about_words(score: Score, scale: Scale, study: str = "") -> str:
    better = "more" if score.more_is_better else "less"
    head = f"{study}: " if study else ""
    return f"{head}{axis_words(score, scale)}; {better} is better"


def draw_upright_words(sheet: Page, box: Box, score: Score, scale: Scale) -> None:
    """Write what the upright axis of the plot in a box [pixels] shows, at the left edge."""
    words = sheet.wrap(axis_words(score, scale), LETTERS, box[3] + 30.0, 1)[0]
    sheet.text(LEFT + 6.0, box[1] + box[3] / 2.0, words, across="center", turned=True)


def interval_words(estimates: Sequence[Estimates], drawn: str, place: str, counted: str = "trial") -> str:
    """What the intervals are that are ``drawn`` so, and of how many trials each, or what is ``counted``."""
    counts = np.concatenate([one.count for one in estimates])
    low, high = (int(counts.min()), int(counts.max())) if counts.size else (0, 0)
    trials = f"{low}" if low == high else f"{low} to {high}"
    words = f"{trials} {counted}{'' if trials == '1' else 's'} {place}"
    if any(figure.has_interval for one in estimates for figure in one):
        return f"{drawn} the interval that holds the true figure with 95 % confidence; {words}"
    return f"no intervals for want of trials; {words}"


def joined(notes: Iterable[str]) -> str:
    text = "; ".join(one for one in notes if one)
    return text[:1].upper() + text[1:]
