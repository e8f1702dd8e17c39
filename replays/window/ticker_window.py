"""Any window on a run with a strip at its foot that tells why walkers fire the side they do."""

from collections.abc import Callable
from typing import Protocol

from replays.drawing.sheet import pygame
from replays.drawing.theme import Theme
from replays.drawing.ticker_strip import TickerStrip

Ticker = Callable[[float, float], str]
"""What the strip tells at a time of the viewer [s], of a run that has come to a time [s]."""


Letters = tuple[float, int]
"""Pixels a point, and the size of letters [points]."""


class WindowOnRun(Protocol):
    """What can have a strip."""

    closed: bool
    full_screen: bool
    theme: Theme

    @property
    def title(self) -> str:
        """Title of the window."""

    def handle_event(self, event: pygame.event.Event) -> None:
        """Do what an event asks for."""

    def advance(self, elapsed_s: float) -> None:
        """Let time of the viewer go by [s]."""

    def is_still(self) -> bool:
        """Whether it would look the same if it were drawn again."""

    def draw(self, surface: pygame.Surface) -> None:
        """Draw it."""


class TickerWindow:
    """A ``window`` above a strip of which ``ticker`` gives the words.

    ``run_s`` tells how far the run has come [s], ``letters`` what the strip is written in, in a window of a
    width and a height [pixels].
    """

    def __init__(
        self,
        window: WindowOnRun,
        ticker: Ticker,
        run_s: Callable[[], float],
        letters: Callable[[int, int], Letters],
    ) -> None:
        self.window, self._ticker, self._run_s, self._letters = window, ticker, run_s, letters
        self.words = ""
        self._now_s = 0.0
        self._drawn = ""
        self._strip: tuple[tuple[object, ...], TickerStrip] | None = None

    @property
    def closed(self) -> bool:
        """Whether it is to be closed."""
        return self.window.closed

    @property
    def full_screen(self) -> bool:
        """Whether it takes the whole screen."""
        return self.window.full_screen

    @property
    def title(self) -> str:
        """Title of the window."""
        return self.window.title

    def handle_event(self, event: pygame.event.Event) -> None:
        """Do what an event asks for."""
        self.window.handle_event(event)

    def advance(self, elapsed_s: float) -> None:
        """Let time of the viewer go by [s]."""
        self.window.advance(elapsed_s)
        self._now_s += elapsed_s
        self.words = self._ticker(self._now_s, self._run_s())

    def is_still(self) -> bool:
        """Whether it would look the same if it were drawn again."""
        return self._drawn == self.words and self.window.is_still()

    def draw(self, surface: pygame.Surface) -> None:
        """Draw the window, and the strip below it."""
        width, height = surface.get_size()
        scale, letters = self._letters(width, height)
        key = (width, scale, self.window.theme.name, letters)
        if self._strip is None or self._strip[0] != key:
            self._strip = (key, TickerStrip(width, scale, self.window.theme, letters))
        strip = self._strip[1]
        above = max(height - strip.height, 1)
        self.window.draw(surface.subsurface((0, 0, width, above)))
        if height > strip.height:
            strip.draw(surface, self.words)
        self._drawn = self.words
