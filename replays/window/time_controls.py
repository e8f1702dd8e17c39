"""The controls below the arena: the bar of the run's time, and a row of buttons."""

import math

import numpy as np

from replays.drawing.layout import Box, PageLayout
from replays.drawing.sheet import Sheet, pygame
from replays.window.buttons_and_cards import Button, PlacedButton, button_row, draw_button
from replays.window.player import Player
from replays.window.replay_keys import REPLAY_KEYS

_BAR_HEIGHT = 12.0
# The button with the keys has so much room in every window [points].
_KEYS_WIDTH = 76.0


def time_bar(layout: PageLayout) -> Box:
    """Where the bar of the run's time lies [points]."""
    assert layout.controls is not None
    width = max(layout.controls.width - 2 * layout.margin, 1.0)
    return Box(layout.margin, layout.controls.top + 14, width, _BAR_HEIGHT)


class TimeControls:
    """Draws the controls, and keeps the ticks of the bar while they stay the same."""

    def __init__(self, player: Player) -> None:
        self._player = player
        self._ticks: tuple[object, pygame.Surface] | None = None

    def forget(self) -> None:
        """Nothing drawn so far is of use any more."""
        self._ticks = None

    def draw(self, sheet: Sheet, layout: PageLayout, *, help_shown: bool) -> list[PlacedButton]:
        """Draw the controls; returns the buttons as they lie."""
        controls, bar = layout.controls, time_bar(layout)
        assert controls is not None
        sheet.fill((0, controls.top), (controls.width, controls.height), sheet.theme.paper)
        self._draw_bar(sheet, bar)
        top, right = bar.bottom + 16, controls.width - layout.margin
        # the way to all the others has room in every window
        keys = _button("help", "keys", help_shown, least=_KEYS_WIDTH)
        last = button_row(sheet, [keys], right - _KEYS_WIDTH, top, right + 1)
        placed = [*button_row(sheet, self._buttons(), layout.margin, top, right - _KEYS_WIDTH - 8), *last]
        for one in placed:
            draw_button(sheet, one)
        return placed

    def _buttons(self) -> list[Button]:
        player = self._player
        chosen = player.chosen is not None
        return [
            _button("play", "pause" if player.playing else "play", least=112),
            _button("previous pulse", "previous pulse"),
            _button("next pulse", "next pulse"),
            _button("slower", "slower"),
            Button("", f"{player.speed:g} times life", least=128),
            _button("faster", "faster"),
            _button("skip", "skip waits", player.skipping),
            _button("next walker", "walker", chosen),
            _button("why", "causes", chosen and player.causes_shown),
            _button("follow", "follow", player.following),
            _button("all", "whole floor"),
            _button("ways", player.ways),
            _button("theme", "paper"),
        ]

    def _draw_bar(self, sheet: Sheet, bar: Box) -> None:
        player, theme = self._player, sheet.theme
        sheet.card((bar.left, bar.top), (bar.width, bar.height), theme.card, theme.wood, 5)
        here = bar.left + bar.width * player.time_s / player.seconds
        sheet.card((bar.left, bar.top), (max(here - bar.left, 1.0), bar.height), theme.accent, theme.wood, 5)
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


def _button(action: str, words: str, on: bool = False, least: float = 0.0) -> Button:
    return Button(action, words, REPLAY_KEYS.key_of(action), on, least)
