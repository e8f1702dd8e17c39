"""Where the parts of the panel lie: in a column beside the floor, in a band below it, or in all the room."""

from typing import NamedTuple

from arena.workbench.dials import DIALS
from arena.workbench.workbench_keys import BUTTONS
from replays.drawing.sheet import pygame


class PanelLayout(NamedTuple):
    """Rectangles [points]; ``causes`` is the room for a walker's causes, over dials and pulse."""

    title: pygame.Rect
    scopes: tuple[pygame.Rect, ...]
    rows: tuple[pygame.Rect, ...]
    rails: tuple[pygame.Rect, ...]
    pulse: pygame.Rect
    race: pygame.Rect
    buttons: tuple[pygame.Rect, ...]
    causes: pygame.Rect


def lay_out_column(panel: pygame.Rect, unit: float) -> PanelLayout:
    """One column from title to buttons."""
    margin, gap, high = round(13 * unit), round(6 * unit), round(28 * unit)
    left, room = panel.left + margin, panel.width - 2 * margin
    title = pygame.Rect(left, round(10 * unit), room, round(44 * unit))
    scopes = _scopes(left, title.bottom + gap, room, round(26 * unit))
    rows = _rows(left, scopes[0].bottom + gap, room, round(26 * unit))
    buttons_top = panel.bottom - round(10 * unit) - 2 * high - gap
    race_height = round(134 * unit)
    race = pygame.Rect(left, buttons_top - round(8 * unit) - race_height, room, race_height)
    pulse_top = rows[-1].bottom + round(8 * unit)
    pulse = pygame.Rect(left, pulse_top, room, race.top - round(6 * unit) - pulse_top)
    buttons = _buttons(pygame.Rect(left, buttons_top, room, high), 5, gap, unit)
    causes = _causes(panel, title.top, race.top)
    return PanelLayout(title, scopes, rows, _rails(rows, unit), pulse, race, buttons, causes)


def lay_out_whole(panel: pygame.Rect, unit: float) -> PanelLayout:
    """Two columns, where the panel has the whole of a low window, but for a line at its foot."""
    margin, gap, high = round(13 * unit), round(4 * unit), round(25 * unit)
    left, other = panel.left + margin, panel.left + panel.width // 2
    room, wide = other - margin - left, panel.right - margin - other
    foot_top = panel.bottom - round(26 * unit)
    title = pygame.Rect(left, round(4 * unit), room, round(44 * unit))
    scopes = _scopes(left, title.bottom + gap, room, round(24 * unit))
    rows = _rows(left, scopes[0].bottom + gap, room, round(22 * unit))
    race_height = round(134 * unit)
    race = pygame.Rect(other, foot_top - 2 - race_height, wide, race_height)
    pulse = pygame.Rect(other, round(4 * unit), wide, race.top - round(8 * unit))
    buttons = _buttons(pygame.Rect(left, rows[-1].bottom + gap, room, high), 4, gap, unit)
    causes = _causes(panel, title.top, foot_top)
    return PanelLayout(title, scopes, rows, _rails(rows, unit), pulse, race, buttons, causes)


def lay_out_band(panel: pygame.Rect, unit: float) -> PanelLayout:
    """Side by side below the floor: title and buttons, dials, the pulse ahead, the race."""
    margin, between, gap = round(13 * unit), round(26 * unit), round(6 * unit)
    top, bottom = panel.top + round(7 * unit), panel.bottom - round(5 * unit)
    free = panel.width - 2 * margin - 3 * between
    lefts = [panel.left + margin]
    widths = [round(share * free) for share in _BAND_SHARES]
    for width in widths[:-1]:
        lefts.append(lefts[-1] + width + between)
    title = pygame.Rect(lefts[0], top, widths[0], round(44 * unit))
    scopes = _scopes(lefts[0], title.bottom + gap, widths[0], round(26 * unit))
    rows = _rows(lefts[1], top, widths[1], min((bottom - top) // len(DIALS), round(32 * unit)))
    pulse = pygame.Rect(lefts[2], top, widths[2], bottom - top)
    race = pygame.Rect(lefts[3], top, widths[3], bottom - top)
    high = round(28 * unit)
    first = pygame.Rect(lefts[0], bottom - 3 * high - 2 * gap, widths[0], high)
    buttons = _buttons(first, 4, gap, unit)
    # they are told side by side, which asks for the room of the race too
    causes = pygame.Rect(rows[0].left - 10, panel.top + 4, race.right - rows[0].left + 16, panel.height - 8)
    return PanelLayout(title, scopes, rows, _rails(rows, unit), pulse, race, buttons, causes)


# How title and buttons, dials, pulse and race share the width of a band.
_BAND_SHARES = (0.25, 0.25, 0.262, 0.238)


def _scopes(left: int, top: int, room: int, height: int) -> tuple[pygame.Rect, ...]:
    wide = room // 3
    return tuple(pygame.Rect(left + number * wide, top, wide, height) for number in range(3))


def _rows(left: int, top: int, room: int, height: int) -> tuple[pygame.Rect, ...]:
    return tuple(pygame.Rect(left, top + number * height, room, height) for number in range(len(DIALS)))


def _rails(rows: tuple[pygame.Rect, ...], unit: float) -> tuple[pygame.Rect, ...]:
    """The rail of each row, between its name and its value."""

    def grown(value: float) -> int:
        return round(value * unit)

    return tuple(
        pygame.Rect(row.left + grown(104), row.centery - grown(5), row.width - grown(104 + 106), grown(10))
        for row in rows
    )


def _buttons(first: pygame.Rect, in_a_row: int, gap: int, unit: float) -> tuple[pygame.Rect, ...]:
    """Rows of buttons from the row ``first`` on, each button as wide as its words ask for."""
    buttons = []
    for start in range(0, len(BUTTONS), in_a_row):
        own = BUTTONS[start : start + in_a_row]
        widths = [len(button.words) + len(button.key) + 2 for button in own]
        at, between = float(first.left), round(4 * unit)
        free = first.width - between * (len(widths) - 1)
        top = first.top + start // in_a_row * (first.height + gap)
        for share in widths:
            wide = free * share / sum(widths)
            buttons.append(pygame.Rect(round(at), top, round(wide), first.height))
            at += wide + between
    return tuple(buttons)


def _causes(panel: pygame.Rect, top: int, bottom: int) -> pygame.Rect:
    return pygame.Rect(panel.left + 6, top, panel.width - 12, bottom - top - 4)
