"""A run for a whole room: the floor, names beside the walkers, who leads, in letters of 1/25 of the height.

Everything is laid out in points of which a picture has 350 in height, so letters of 14 points are 1/25 of it,
whatever its size in pixels. Larger letters mean fewer points; what then has no room is told shorter or in
fewer lines, and nothing goes over an edge.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from replays.drawing.colours import look
from replays.drawing.day_card import draw_day_card
from replays.drawing.figures import ALL_WAYS, Moment, walker_name
from replays.drawing.ground import GOALS
from replays.drawing.label_placing import draw_leader, label_box, place_beside, plate_size
from replays.drawing.lanes import value_words
from replays.drawing.layout import Box
from replays.drawing.marks import CROWD, draw_mark
from replays.drawing.metres_to_points import View, bounds
from replays.drawing.moving_picture import Stage
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.show_times import AGAIN, COUNTDOWN, COUNTS, FINAL, HOLD, SLOW, ShowTimes
from replays.drawing.theme import LIGHT, Theme
from replays.format.tables import Replay
from replays.scoring.progress import Progress, RaceStanding
from replays.scoring.standings import Standings
from replays.words import clock_words, length_words, ordinal

POINTS = 350.0
"""Height of a picture [points] with letters of the usual size."""

TEXT, TITLE = 14, 17
"""Sizes of letters [points]; the smaller one is 1/25 of the height."""

LETTERS = (1.0, 1.25, 1.6, 2.0)
"""By how much letters can be larger than usual."""

PLACES = 10
"""So many are told by name and place, and the viewer's own besides."""

FLOOR = 0.8
"""Share of the picture that the floor's part keeps, less what lies over it."""

_HEAD, _ROW, _PAD = 24.0, 18.0, 6.0
# Widths of the board [points]: for names and what is told of them, and for names alone.
_WIDE, _NARROW = 168.0, 128.0
# A margin round the floor, as a share of its longer side.
_MARGIN = 0.004


@dataclass(frozen=True)
class BoardRow:
    """A line of the board: who is in which place, and what is told of it, in short and as a whole."""

    rank: int
    walker: int
    name: str
    told: str
    whole: str


class ProjectorPage:
    """A replay laid out for a projector: ``width`` by ``height`` pixels.

    ``names`` are what walkers are called, or None for design and number; ``yours`` is a walker that is told
    in any case; ``heading`` stands in place of the arena's name; ``letters`` enlarges them. The run itself
    takes ``lasts_s`` [s] of the show, None for as long as can be followed.
    """

    def __init__(
        self,
        replay: Replay,
        width: int,
        height: int,
        theme: Theme = LIGHT,
        names: Sequence[str] | None = None,
        yours: int | None = None,
        heading: str | None = None,
        letters: float = 1.0,
        lasts_s: float | None = None,
    ) -> None:
        self.replay, self.theme, self.yours = replay, theme, yours
        self.scale = letters * projected_scale(width, height)
        self.size = (width / self.scale, height / self.scale)
        self.heading = heading or replay.arena["name"]
        everyone = range(len(replay.walkers))
        self.names = list(names) if names is not None else [walker_name(replay, one) for one in everyone]
        self._marks = replay.marks
        self.progress = Progress(replay)
        self.standings = Standings(replay)
        self.times = ShowTimes(replay, self.progress, lasts_s)
        self.arena = Box(0.0, _HEAD, self.size[0], self.size[1] - _HEAD)
        self.stage = Stage(replay, theme, self.scale, names=GOALS)
        self.view = _fit(replay, self.arena, 0.5)
        self.board: Box | None = None
        self._lay_board()
        self.cards: list[Box] = []
        self._sides: dict[int, int] = {}

    def tell(self, walker: int | None) -> None:
        """Tell of ``walker`` in any case from now on, or of nobody."""
        self.yours = walker
        self._lay_board()

    def floor_share(self) -> float:
        """Share of the picture that the floor's part takes, less the board that lies over it."""
        covered = 0.0 if self.board is None else self.board.width * self.board.height
        return (self.arena.width * self.arena.height - covered) / (self.size[0] * self.size[1])

    def _lay_board(self) -> None:
        """Where floor and board lie: the board in a corner in which few ever come, and not over the goal.

        The floor goes aside where it leaves room, so that the board covers less of it.
        """
        count = len(self.replay.walkers)
        made = [
            (self._crowd(view, corner) + cost, number, view, corner)
            for number, (view, corner, cost) in enumerate(self._boards(count) if count > 1 else [])
        ]
        self.board = None
        if made:
            _, _, self.view, self.board = min(made, key=lambda one: one[:2])
        board = self.board
        # a name that the board lay over could not be read
        self.stage.covered = () if board is None else ((board.left, board.top, board.right, board.bottom),)

    def _boards(self, count: int) -> Iterator[tuple[View, Box, float]]:
        """Views and corners for a board, and what speaks against them."""
        spare = self.arena.width * self.arena.height - (FLOOR + 0.004) * self.size[0] * self.size[1]
        box = self.arena
        for width in (_WIDE, _NARROW):
            width = min(width, 0.25 * self.size[0])
            rows = min(count, PLACES + (1 if self.yours is not None else 0))
            rows = min(rows, int((min(spare / width, box.height - 6) - 2 * _PAD) / _ROW))
            if rows < 1:
                continue
            height = rows * _ROW + 2 * _PAD
            for left, aside in ((box.right - width - 3, 0.0), (box.left + 3, 1.0)):
                view = _fit(self.replay, box, aside)
                for top in (box.top + 3, box.bottom - height - 3):
                    yield view, Box(left, top, width, height), 0.0 if width == _WIDE else 0.01

    def _crowd(self, view: View, corner: Box) -> float:
        """Share of all poses that lie below ``corner``, and a lot more where a goal does."""
        poses = self.replay.poses
        x, y = view(poses["x"].astype(np.float64), poses["y"].astype(np.float64))
        inside = (
            (x > corner.left - 8) & (x < corner.right + 8) & (y > corner.top - 8) & (y < corner.bottom + 8)
        )
        goals = [view.line(goal["outline"]) for goal in self.replay.arena["goals"]]
        over = any(corner.holds(place) for outline in goals for place in outline)
        return float(inside.mean() if len(x) else 0.0) + (10.0 if over else 0.0)

    def places(self, time_s: float) -> list[BoardRow]:
        """All walkers in the order of their places at ``time_s`` [s]."""
        standing = self.progress.at(time_s)
        return [
            BoardRow(
                int(standing.rank[one]), one, self.names[one], self._told(standing, one),
                value_words(self.progress, standing, one),
            )
            for one in standing.order.tolist()
        ]  # fmt: skip

    def _told(self, standing: RaceStanding, walker: int) -> str:
        arrived = float(standing.arrived_s[walker])
        if math.isfinite(arrived):
            return clock_words(arrived)
        value = float(standing.value[walker])
        return length_words(round(value, 2)) if self.progress.has_goal else f"x {value:.2f}"

    def draw(self, surface: pygame.Surface, show_s: float, budget_s: float = math.inf) -> None:
        """Draw the moment ``show_s`` [s of the show]; ``budget_s`` [s] is the time for what is made anew."""
        self.draw_floor(surface, show_s, budget_s)
        self.draw_words(surface, show_s)

    def draw_floor(self, surface: pygame.Surface, show_s: float, budget_s: float = math.inf) -> None:
        """Draw the floor with the walkers, without what is written."""
        time_s = self.times.run_time(show_s)
        surface.fill(self.theme.paper)
        standing = self.progress.at(time_s)
        leader = self._leader(standing)
        numbered = len(self.replay.walkers) <= CROWD
        moment = Moment(time_s, None, self.yours, ALL_WAYS, leader, numbered)
        self.stage.draw(surface, self.view, moment, budget_s=budget_s)

    def _leader(self, standing: RaceStanding) -> int | None:
        order = standing.order
        if len(order) < 2 or standing.rank[order[1]] == 1 or not standing.gone[order[0]] > 0.0:
            return None
        return int(order[0])

    def draw_words(self, surface: pygame.Surface, show_s: float) -> None:
        """Draw headline, names, board, and what belongs to the part of the show."""
        sheet = Sheet(surface, self.scale, self.theme)
        time_s, part = self.times.run_time(show_s), self.times.part_at(show_s)
        places = self.places(time_s)
        self._draw_head(sheet, time_s, self._caption(part.what, time_s))
        self.cards = []
        if part.what == FINAL:
            self._draw_final(sheet, places)
            return
        if self.board is not None:
            self.cards.append(self.board)
            self._draw_places(sheet, self.board, places)
        self._draw_names(sheet, time_s, places)
        if part.what == COUNTDOWN:
            self._draw_count(sheet, COUNTS - int(show_s))

    def _caption(self, what: str, time_s: float) -> str:
        """What the headline tells beside the name and the clock."""
        if what == COUNTDOWN:
            return "get ready"
        if what == SLOW:
            return "slow motion"
        if what == AGAIN and self.times.decisive is not None:
            return f"once more: {self.names[self.times.decisive[1]]} takes the lead"
        if what in (FINAL, HOLD):
            return "the end"
        count = self.standings.count(time_s)
        if count:
            latest = self.standings.arrivals[count - 1]
            return f"{self.names[latest.walker]} arrived as {ordinal(latest.rank)}"
        leader = self._leader(self.progress.at(time_s))
        return "" if leader is None else f"{self.names[leader]} leads"

    def _draw_head(self, sheet: Sheet, time_s: float, caption: str) -> None:
        width, middle = self.size[0], _HEAD / 2
        clock = clock_words(time_s)
        sheet.text(clock, (width - _PAD, middle), TITLE, across=1.0, down=0.5)
        if self.replay.day is not None:
            draw_day_card(sheet, self.view, self.replay.day, time_s)
        right = width - 2 * _PAD - sheet.text_size(clock_words(self.replay.seconds), TITLE)[0]
        name = sheet.shorten(self.heading, TITLE, 0.5 * right)
        sheet.text(name, (_PAD, middle), TITLE, down=0.5)
        left = _PAD + sheet.text_size(name, TITLE)[0] + 12
        if caption and right - left > 40:
            words = sheet.shorten(caption, TEXT, right - left - 8)
            sheet.text(words, (right - 8, middle), TEXT, across=1.0, down=0.5)

    def _draw_names(self, sheet: Sheet, time_s: float, places: Sequence[BoardRow]) -> None:
        """Names beside those in the first places and beside the viewer's own, as far as there is room."""
        figures = self.stage.figures(self.view)
        x, y, _ = figures.places(time_s)
        named = [place.walker for place in places[:PLACES]]
        if self.yours is not None:
            # the viewer's own finds its room first
            named = [self.yours, *(walker for walker in named if walker != self.yours)]
        order = np.concatenate([named, np.delete(np.arange(len(x)), named)]).astype(np.intp)
        words = [sheet.shorten(self.names[walker], TEXT, 0.24 * self.size[0]) for walker in named]
        sizes = np.array([plate_size(sheet, one, TEXT) for one in words]).reshape(-1, 2)
        taken: list[tuple[float, float, float, float]] = [
            label_box(sheet, label) for label in self.stage.names(self.view)
        ]
        taken += self.stage.line_names(self.view)
        taken += [(card.left, card.top, card.right, card.bottom) for card in self.cards]
        before: NDArray[np.intp] = np.array([self._sides.get(walker, -1) for walker in named], dtype=np.intp)
        box = self.arena
        corners, sides = place_beside(
            np.column_stack([x, y])[order],
            figures.radii[order] + 2.0,
            sizes,
            (box.left + 2, box.top + 2, box.right - 2, box.bottom - 2),
            np.array(taken, dtype=np.float64).reshape(-1, 4),
            before,
        )
        self._sides = dict(zip(named, sides.tolist(), strict=True))
        # who is below the board needs no name there
        hidden = [any(card.holds((float(x[one]), float(y[one]))) for card in self.cards) for one in named]
        found = [one for one in range(len(named)) if np.isfinite(corners[one, 0]) and not hidden[one]]
        for number in found:
            left, top = (float(part) for part in corners[number])
            edges = (left, top, left + float(sizes[number, 0]), top + float(sizes[number, 1]))
            if sides[number] >= 16:
                # from the rim of the body, which may bear a number
                place = (float(x[named[number]]), float(y[named[number]]))
                end = (min(max(place[0], edges[0]), edges[2]), min(max(place[1], edges[1]), edges[3]))
                share = float(figures.radii[named[number]]) / max(math.dist(place, end), 1e-9)
                rim = (place[0] + share * (end[0] - place[0]), place[1] + share * (end[1] - place[1]))
                draw_leader(sheet, rim, edges)
        for number in found:
            sheet.plate(words[number], (float(corners[number, 0]), float(corners[number, 1])), TEXT)

    def _draw_places(self, sheet: Sheet, box: Box, places: Sequence[BoardRow]) -> None:
        theme = sheet.theme
        shown = _shown(places, int((box.height - 2 * _PAD + 0.1) / _ROW), self.yours)
        height = len(shown) * _ROW + 2 * _PAD
        sheet.card((box.left, box.top), (box.width, height), theme.card, theme.wood, 5)
        self._draw_rows(sheet, box, shown, box.top + _PAD)

    def _draw_rows(self, sheet: Sheet, box: Box, places: Sequence[BoardRow], top: float) -> None:
        for number, place in enumerate(places):
            y = top + number * _ROW
            mine = place.walker == self.yours
            if mine:
                sheet.fill((box.left + 3, y - 1), (box.width - 6, _ROW), sheet.theme.ink)
            ink = sheet.theme.paper if mine else sheet.theme.ink
            sheet.text(f"{place.rank}", (box.left + 21, y), TEXT, ink, across=1.0)
            draw_mark(
                sheet,
                (box.left + 30, y + 8),
                4.0,
                look(self._marks[int(self.replay.walkers["design"][place.walker])]),
            )
            # the name counts most, and of a name its number
            start, _, number_of = place.name.rpartition(" ")
            kept = f" {number_of}" if start and number_of.isdigit() else ""
            name = sheet.shorten(start if kept else place.name, TEXT, box.width - 44, kept)
            sheet.text(name, (box.left + 38, y), TEXT, ink)
            room = box.width - 50 - sheet.text_size(name, TEXT)[0]
            fits = [told for told in (place.whole, place.told) if sheet.text_size(told, TEXT)[0] <= room]
            if fits:
                sheet.text(fits[0], (box.right - 5, y), TEXT, ink, across=1.0)

    def _draw_count(self, sheet: Sheet, count: int) -> None:
        middle, radius = self.arena.middle, 0.24 * self.arena.height
        sheet.disc(middle, radius, sheet.theme.card, sheet.theme.ink, 4)
        size = round(1.3 * radius)
        sheet.text(str(max(count, 1)), middle, size, across=0.5, down=0.5)

    def _draw_final(self, sheet: Sheet, places: Sequence[BoardRow]) -> None:
        """All places that count on a card in the middle."""
        width = min(0.62 * self.size[0], 330.0)
        rows = min(len(places), PLACES + 1, int((self.arena.height - 44) / _ROW))
        if rows < 1:
            return
        height = rows * _ROW + 34
        middle = self.arena.middle
        box = Box(middle[0] - width / 2, middle[1] - height / 2, width, height)
        self.cards.append(box)
        sheet.card((box.left, box.top), (box.width, box.height), sheet.theme.card, sheet.theme.ink, 6)
        heading = sheet.shorten(f"{self.heading}: places", TITLE, width - 2 * _PAD)
        sheet.text(heading, (box.left + _PAD, box.top + 5), TITLE)
        self._draw_rows(sheet, box, _shown(places, rows, self.yours), box.top + 27)


def projected_scale(width: float, height: float) -> float:
    """Pixels a point of a picture of ``width`` by ``height`` pixels, with letters of the usual size."""
    # one that stands upright has letters by its width, or names would have no room
    return min(height / POINTS, width / (0.9 * POINTS))


def _shown(places: Sequence[BoardRow], rows: int, yours: int | None) -> list[BoardRow]:
    """The first places, and in the last row the viewer's own if it is not among them."""
    shown = list(places[: min(rows, PLACES)])
    own = [place for place in places if place.walker == yours]
    if own and own[0] not in shown:
        shown = [*shown[: rows - 1], own[0]]
    return shown


def _fit(replay: Replay, box: Box, aside: float) -> View:
    """The view of the whole floor in ``box``: at its left for an ``aside`` of 0, at its right for 1."""
    west, south, east, north = bounds(replay.arena)
    margin = 2.0 * _MARGIN * max(east - west, north - south)
    zoom = min(box.width / (east - west + margin), box.height / (north - south + margin))
    spare = box.width / zoom - (east - west + margin)
    return View(
        box.left,
        box.top,
        box.width,
        box.height,
        west - 0.5 * margin - aside * spare,
        0.5 * (south + north) - 0.5 * box.height / zoom,
        zoom,
    )
