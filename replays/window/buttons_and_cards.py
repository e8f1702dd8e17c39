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


def draw_help(sheet: Sheet, table: KeyTable) -> None:
    """All keys on a card in the middle, in columns; letters become smaller before a line is left out."""
    groups: dict[str, list[HelpLine]] = {}
    for help_line in table.help_lines:
        groups.setdefault(help_line.group, []).append(help_line)
    line, gap = 24.0, 14.0
    keys = max(sheet.text_size(one.keys, TEXT)[0] for one in table.help_lines) + gap
    column = keys + max(sheet.text_size(one.words, TEXT)[0] for one in table.help_lines) + 2 * gap
    made = []
    for columns in (1, 2, 3, 4):
        filled, lengths = _in_columns(groups, columns)
        card = (columns * column + 30, max(lengths) * line + 30)
        # as large as the window lets it be
        made.append(
            (min(1.0, (sheet.size[0] - 8) / card[0], (sheet.size[1] - 8) / card[1]), -columns, card, filled)
        )
    ratio, _, (card_width, card_height), filled = max(made, key=lambda one: one[:2])
    small = Sheet(sheet.surface, sheet.scale * ratio, sheet.theme)
    width, height = small.size
    box = Box((width - card_width) / 2, (height - card_height) / 2, card_width, card_height)
    draw_card(small, box)
    for number, names in enumerate(filled):
        x, y = box.left + 22 + number * column, box.top + 16.0
        for name in names:
            small.text(name, (x, y), 17)
            y += 1.1 * line
            for told in groups[name]:
                small.text(told.keys, (x, y), TEXT)
                small.text(told.words, (x + keys, y), TEXT, sheet.theme.faded)
                y += line
            y += 0.5 * line


def _in_columns(groups: dict[str, list[HelpLine]], columns: int) -> tuple[list[list[str]], list[float]]:
    """Names of groups by column, each into the one that is the shortest so far, and lengths in lines."""
    filled: list[list[str]] = [[] for _ in range(columns)]
    lengths = [0.0] * columns
    for name, entries in groups.items():
        shortest = lengths.index(min(lengths))
        filled[shortest].append(name)
        lengths[shortest] += len(entries) + 1.6
    return filled, lengths


def draw_notice(sheet: Sheet, room: Box, words: str) -> None:
    """A few lines for the viewer on a card at the top of ``room``."""
    width = min(room.width - 20, 760.0)
    lines = sheet.wrapped(words, TEXT, width - 30)[:4]
    box = Box(room.middle[0] - width / 2, room.top + 10, width, 22.0 * len(lines) + 20)
    draw_card(sheet, box)
    for number, line in enumerate(lines):
        sheet.text(line, (box.left + 15, box.top + 11 + 22 * number), TEXT)
