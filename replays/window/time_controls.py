"""The controls below the arena: the bar of the run's time, and a row of buttons."""

import math
from collections.abc import Collection
from dataclasses import replace

import numpy as np

from replays.drawing.layout import Box
from replays.drawing.sheet import Sheet, pygame
from replays.window.buttons_and_cards import (
    Button,
    PlacedButton,
    button_row,
    button_width,
    draw_button,
    draw_card,
)
from replays.window.player import Player
from replays.window.replay_keys import REPLAY_KEYS
from replays.window.window_layout import CONTROLS, ROW, WindowLayout

_BAR_HEIGHT = 10.0
_SIDE = 12.0


def time_bar(layout: WindowLayout) -> Box:
    """Where the bar of the run's time lies [points]."""
    controls = layout.controls
    return Box(controls.left + _SIDE, controls.top + 8, max(controls.width - 2 * _SIDE, 1.0), _BAR_HEIGHT)


class TimeControls:
    """Draws the controls, and keeps the ticks of the bar while they stay the same."""

    def __init__(self, player: Player) -> None:
        self._player = player
        self._ticks: tuple[object, pygame.Surface] | None = None

    def forget(self) -> None:
        """Nothing drawn so far is of use any more."""
        self._ticks = None

    def draw(self, sheet: Sheet, layout: WindowLayout, on: Collection[str], more: bool) -> list[PlacedButton]:
        """Draw the controls; returns the buttons as they lie.

        ``on`` are actions that are switched on. Buttons for which the row has no room lie on a card above it,
        while there is ``more`` to be seen: none is ever left out.
        """
        controls, bar = layout.controls, time_bar(layout)
        sheet.fill((controls.left, controls.top), (controls.width, controls.height), sheet.theme.paper)
        self._draw_bar(sheet, bar)
        left, top, right = bar.left, bar.bottom + 7, bar.right
        buttons = self._buttons(on)
        placed: list[PlacedButton] = []
        for _ in range(int((controls.height - CONTROLS) / ROW)):
            placed += button_row(sheet, buttons[len(placed) :], left, top, right)
            top += ROW
        row = button_row(sheet, buttons[len(placed) :], left, top, right)
        if len(placed) + len(row) == len(buttons):
            placed += row
        else:
            last = _button("more", "more", more)
            width = button_width(sheet, last)
            placed += button_row(sheet, buttons[len(placed) :], left, top, right - width - 6)
            rest = buttons[len(placed) :]
            placed += button_row(sheet, [last], right - width, top, right + 1)
            if more:
                placed += self._lay_card(sheet, layout, rest)
        for one in placed:
            draw_button(sheet, one)
        return placed

    def _lay_card(self, sheet: Sheet, layout: WindowLayout, rest: list[Button]) -> list[PlacedButton]:
        """Draw the card with the ``rest`` of the buttons in rows; returns them as they lie."""
        bar = time_bar(layout)
        # above narrow controls in a column the card takes the width of the window where it has to
        for edge in (bar.left, min(bar.left, _SIDE)):
            rows = _rows_of(sheet, rest, edge + 8, bar.right - 8)
            height = 38.0 * len(rows) + 14
            box = Box(edge, layout.controls.top - height, bar.right - edge, height)
            if box.top >= 0.0:
                break
        draw_card(sheet, box)
        return [
            PlacedButton(
                one.button, Box(one.box.left, box.top + 10 + 38 * number, one.box.width, one.box.height)
            )
            for number, row in enumerate(rows)
            for one in row
        ]

    def _buttons(self, on: Collection[str]) -> list[Button]:
        player = self._player
        buttons = [
            _button("play", "pause" if player.playing else "play", least=104),
            _button("previous pulse", "pulse back"),
            _button("next pulse", "pulse on"),
            _button("slower", "slower"),
            Button("", player.speed_words, least=128),
            _button("faster", "faster"),
            _button("skip", "skip waits"),
            _button("next walker", "walker"),
            _button("why", "causes"),
            _button("lead", "lanes"),
            _button("legend", "legend"),
            _button("help", "keys"),
            _button("follow", "follow"),
            _button("all", "whole floor"),
            _button("ways", player.ways),
            _button("theme", "paper"),
            _button("larger", "letters"),
            _button("full screen", "full screen"),
        ]
        return [replace(button, on=button.action in on) for button in buttons]

    def _draw_bar(self, sheet: Sheet, bar: Box) -> None:
        player, theme = self._player, sheet.theme
        sheet.card((bar.left, bar.top), (bar.width, bar.height), theme.card, theme.wood, 5)
        here = bar.left + bar.width * player.time_s / player.seconds
        # how far it has come is told by the dark rim below, which leaves the ticks to be seen
        sheet.card((bar.left, bar.top), (max(here - bar.left, 1.0), bar.height), theme.accent, theme.wood, 5)
        sheet.line([(bar.left + 2, bar.bottom), (here, bar.bottom)], theme.ink, 3)
        key = (bar, player.chosen)
        if self._ticks is None or self._ticks[0] != key:
            self._ticks = (key, self._draw_ticks(sheet, bar))
        sheet.surface.blit(self._ticks[1], (round(bar.left * sheet.scale), round(bar.top * sheet.scale)))
        sheet.disc((here, bar.middle[1]), 9, theme.accent, theme.ink, 2)

    def _draw_ticks(self, sheet: Sheet, bar: Box) -> pygame.Surface:
        """A tick for each column of the bar into which pulses fall, the higher the more there are."""
        size = (round(bar.width * sheet.scale), round(bar.height * sheet.scale))
        surface = pygame.Surface(size, pygame.SRCALPHA)
        ticks = Sheet(surface, sheet.scale, sheet.theme)
        places = (bar.width * self._player.pulse_s / self._player.seconds).astype(np.int64)
        columns, counts = np.unique(places, return_counts=True)
        most = float(counts.max(initial=1))
        for column, count in zip(columns.tolist(), counts.tolist(), strict=True):
            share = 0.35 + 0.65 * math.sqrt(count / most) if most > 1 else 1.0
            tall = (bar.height - 4) * share
            ticks.fill((column, bar.height - 2 - tall), (1, tall), sheet.theme.wood)
        return surface


def _rows_of(sheet: Sheet, buttons: list[Button], left: float, right: float) -> list[list[PlacedButton]]:
    """All ``buttons`` in rows, each at height 0."""
    rows: list[list[PlacedButton]] = []
    waiting = list(buttons)
    while waiting:
        row = button_row(sheet, waiting, left, 0.0, right)
        # one that is wider than the window still is there
        row = row or [PlacedButton(waiting[0], Box(left, 0.0, right - left, 32.0))]
        rows.append(row)
        waiting = waiting[len(row) :]
    return rows


def _button(action: str, words: str, on: bool = False, least: float = 0.0) -> Button:
    return Button(action, words, REPLAY_KEYS.key_of(action), on, least)
