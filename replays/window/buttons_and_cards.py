"""Parts of which windows are made: buttons in a row, and cards with words."""

from collections.abc import Sequence
from dataclasses import dataclass

from replays.drawing.layout import Box, Point
from replays.drawing.sheet import Sheet
from replays.window.key_tables import HelpLine, KeyTable

TEXT = 15
"""Size of the letters on buttons and cards [points]."""

SMALL = 14
"""The smallest letters [points]."""

_PADDING, _GAP, _HEIGHT = 9.0, 5.0, 30.0


@dataclass(frozen=True)
class Button:
    """Something to press: ``action`` is what it asks for, ``key`` the key that does the same.

    ``on`` tells that it is switched on, ``least`` [points] keeps its width while its words change.
    """

    action: str
    words: str
    key: str = ""
    on: bool = False
    least: float = 0.0


@dataclass(frozen=True)
class PlacedButton:
    """A button and where it is."""

    button: Button
    box: Box


def button_width(sheet: Sheet, button: Button) -> float:
    """How wide ``button`` is [points]."""
    width = sheet.text_size(button.words, TEXT)[0]
    if button.key:
        width += 7 + sheet.text_size(button.key, SMALL)[0]
    return max(width + 2 * _PADDING, button.least)


def button_row(
    sheet: Sheet, buttons: Sequence[Button], left: float, top: float, right: float
) -> list[PlacedButton]:
    """Place ``buttons`` side by side; those that would pass ``right`` [points] are left out."""
    placed: list[PlacedButton] = []
    for button in buttons:
        width = button_width(sheet, button)
        if left + width > right:
            break
        placed.append(PlacedButton(button, Box(left, top, width, _HEIGHT)))
        left += width + _GAP
    return placed


def pressed(buttons: Sequence[PlacedButton], point: Point) -> str | None:
    """The action of the button at ``point`` [points], or None."""
    hit = (placed.button.action for placed in buttons if placed.box.holds(point))
    return next((action for action in hit if action), None)


def draw_button(sheet: Sheet, placed: PlacedButton) -> None:
    """Draw a button; one without an action is only told."""
    theme, box, button = sheet.theme, placed.box, placed.button
    if not button.action:
        sheet.text(button.words, box.middle, TEXT, theme.faded, across=0.5, down=0.5)
        return
    # what is on is told by paper and ink changing places, which differ as much as colours can here
    fill = theme.ink if button.on else theme.card
    ink = theme.paper if button.on else theme.ink
    sheet.card((box.left, box.top), (box.width, box.height), fill, theme.wood, 9)
    y = box.top + box.height / 2
    words = sheet.text_size(button.words, TEXT)[0]
    whole = words + (7 + sheet.text_size(button.key, SMALL)[0] if button.key else 0.0)
    x = box.left + (box.width - whole) / 2
    sheet.text(button.words, (x, y), TEXT, ink, down=0.5)
    if button.key:
        faded = theme.paper if button.on else theme.faded
        sheet.text(button.key, (x + words + 7, y), SMALL, faded, down=0.5)


def draw_card(sheet: Sheet, box: Box) -> None:
    """A card on which words can be read whatever lies below."""
    sheet.card((box.left, box.top), (box.width, box.height), sheet.theme.card, sheet.theme.wood, 8)


# Height of a line of the help, size of a heading, room between keys and words [points].
_HELP_LINE, _HEADING, _BETWEEN = 22.0, 17, 14.0


class HelpCard:
    """All keys of a window on a card over everything else, on several pages where one has not the room."""

    def __init__(self, table: KeyTable) -> None:
        self.table = table
        self.is_shown = False
        self.page, self.pages = 0, 1

    @property
    def state(self) -> tuple[bool, int]:
        """Whether it is shown, and its page."""
        return self.is_shown, self.page

    def turn(self) -> None:
        """Show it, then page after page; after the last put it away."""
        if not self.is_shown:
            self.is_shown, self.page = True, 0
        elif self.page + 1 < self.pages:
            self.page += 1
        else:
            self.put_away()

    def put_away(self) -> None:
        """Show it no longer."""
        self.is_shown, self.page = False, 0

    def draw(self, sheet: Sheet) -> None:
        """Draw the page. Letters are hardly smaller than elsewhere; lines without the room wrap."""
        # a little smaller if all goes on one page then
        for ratio in (1.0, SMALL / TEXT, 1.0):
            small = Sheet(sheet.surface, sheet.scale * ratio, sheet.theme)
            fitted = _Fitted.into(small, self.table.help_lines)
            pages = fitted.pages(fitted.most, fitted.rows)
            if len(pages) == 1:
                # no wider than it has to be, and as even as can be
                fewest = next(
                    count for count in range(1, fitted.most + 1) if len(fitted.pages(count, fitted.rows)) == 1
                )
                even = next(
                    rows for rows in range(1, fitted.rows + 1) if len(fitted.pages(fewest, rows)) == 1
                )
                pages = fitted.pages(fewest, even)
                break
        else:
            # a line less, for the number of the page
            pages = fitted.pages(fitted.most, fitted.rows - 1)
        self.pages = len(pages)
        self.page = min(self.page, self.pages - 1)
        self._draw_page(small, pages[self.page], fitted.keys, fitted.column)

    def _draw_page(self, sheet: Sheet, columns: "_Columns", keys: float, column: float) -> None:
        width, height = sheet.size
        foot = _HELP_LINE if self.pages > 1 else 0.0
        high = max(map(_rows_in, columns)) * _HELP_LINE + 30 + foot
        wide = len(columns) * column + 30
        box = Box((width - wide) / 2, (height - high) / 2, wide, high)
        draw_card(sheet, box)
        for number, lines in enumerate(columns):
            x, y = box.left + 22 + number * column, box.top + 16.0
            for told in lines:
                if isinstance(told, str):
                    sheet.text(told, (x, y), _HEADING)
                    y += _HELP_LINE
                    continue
                sheet.text(told.line.keys, (x, y), TEXT)
                for words in told.words:
                    sheet.text(words, (x + keys, y), TEXT, sheet.theme.faded)
                    y += _HELP_LINE
        if foot:
            turns = next(one.keys for one in self.table.help_lines if "help" in actions_of(one))
            words = f"page {self.page + 1} of {self.pages}; {turns}: the next"
            place = (box.right - 22, box.bottom - 14)
            sheet.text(words, place, TEXT, sheet.theme.faded, across=1.0, down=1.0)


@dataclass(frozen=True)
class _Told:
    """A line of the help, and its words as they are broken into rows."""

    line: HelpLine
    words: tuple[str, ...]

    @classmethod
    def of(cls, sheet: Sheet, line: HelpLine, room: float) -> "_Told":
        """``line`` with its words broken to fit into ``room`` [points]."""
        if sheet.text_size(line.words, TEXT)[0] <= room:
            return cls(line, (line.words,))
        return cls(line, tuple(sheet.wrapped(line.words, TEXT, room)))


def actions_of(told: HelpLine) -> list[str]:
    """What the keys of a line of the help ask for."""
    return [binding.action for binding in told.bindings]


_Columns = list[list[_Told | str]]


def _rows_in(column: Sequence[_Told | str]) -> int:
    return sum(1 if isinstance(one, str) else len(one.words) for one in column)


@dataclass(frozen=True)
class _Fitted:
    """All lines of a help as they fit into a window: in ``most`` columns of so many ``rows`` at the most.

    A column has ``keys`` for the keys, and the whole of it is ``column`` [points] wide.
    """

    told: list[_Told]
    keys: float
    column: float
    most: int
    rows: int

    @classmethod
    def into(cls, sheet: Sheet, lines: Sequence[HelpLine]) -> "_Fitted":
        """``lines`` in a window of the size of ``sheet``."""
        width, height = sheet.size[0] - 38, sheet.size[1] - 38
        keys = max(sheet.text_size(one.keys, TEXT)[0] for one in lines) + _BETWEEN
        widest = keys + max(sheet.text_size(one.words, TEXT)[0] for one in lines) + 2 * _BETWEEN
        column = min(widest, float(width))
        told = [_Told.of(sheet, one, column - keys - 2 * _BETWEEN) for one in lines]
        return cls(told, keys, column, max(int(width / column), 1), max(int(height / _HELP_LINE), 4))

    def pages(self, columns: int, rows: int) -> list[_Columns]:
        """Lines, each group below its heading, in so many columns of so many rows, page by page."""
        pages: list[_Columns] = []
        column: list[_Told | str] = []
        full: list[list[_Told | str]] = []
        group = ""
        for one in self.told:
            is_new = one.line.group != group
            group = one.line.group
            # a heading never stands alone at the foot, and a column begins with one; no line is torn
            needed = len(one.words) + (1 if is_new and group else 0)
            if column and _rows_in(column) + needed > rows:
                full.append(column)
                column = []
            if group and (is_new or not column):
                column.append(group)
            column.append(one)
        full.append(column)
        for first in range(0, len(full), columns):
            pages.append(full[first : first + columns])
        return pages


def draw_notice(sheet: Sheet, room: Box, words: str) -> None:
    """A few lines for the viewer on a card at the top of ``room``."""
    width = min(room.width - 20, 760.0)
    lines = sheet.wrapped(words, TEXT, width - 30)[:4]
    box = Box(room.middle[0] - width / 2, room.top + 10, width, 22.0 * len(lines) + 20)
    draw_card(sheet, box)
    for number, line in enumerate(lines):
        sheet.text(line, (box.left + 15, box.top + 11 + 22 * number), TEXT)
