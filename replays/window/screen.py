"""Opening a window, and the loop that keeps it going until it is closed."""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from agents.errors import OutputError
from replays.drawing.sheet import forget_fonts, pygame
from replays.drawing.theme import LIGHT, Theme
from replays.format.tables import Replay
from replays.window.held_keys import HeldKeys
from replays.window.ticker_window import Ticker, TickerWindow

FRAMES_A_SECOND = 60
"""Frames that the loop aims at."""

# A window on a screen of unknown size.
_START_SIZE = (1280, 720)
# Lines of a screen that a frame and bars take [points].
_KEPT_FREE = 56
# Drivers of pygame that show nothing; fine when asked for by name, as a test does.
_BLIND_DRIVERS = ("dummy", "offscreen")
# A frame that took longer than this [s] must not make the run jump.
_LONGEST_FRAME = 0.25


class WindowContent(Protocol):
    """What can be shown in a window: it takes events and time, and draws itself."""

    @property
    def closed(self) -> bool:
        """Whether it is to be closed."""

    @property
    def full_screen(self) -> bool:
        """Whether it takes the whole screen."""

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


def open_display() -> None:
    """Get pygame's display ready. Raises OutputError where there is no screen."""
    asked_for = os.environ.get("SDL_VIDEODRIVER", "")
    try:
        pygame.display.init()
        driver = pygame.display.get_driver()
        if driver in _BLIND_DRIVERS and driver not in asked_for:
            raise pygame.error("no screen")
    except pygame.error as error:
        pygame.display.quit()
        raise OutputError(
            f"there is no screen to open a window on ({error}); make a picture or a film instead: "
            "photodrome picture FILE --out PNG, photodrome film FILE --out GIF"
        ) from error


def usual_scale() -> float:
    """Pixels a point that suit the screen: 2 on one with twice the usual number of lines."""
    sizes = pygame.display.get_desktop_sizes()
    lines = min(sizes[0]) if sizes else 1080
    return 2.0 if lines >= 2000 else 1.5 if lines >= 1500 else 1.0


def show(shown: WindowContent, scale: float = 1.0) -> None:
    """Show ``shown`` in a window until it is closed. :func:`open_display` comes first.

    Raises OutputError where the window cannot be opened.
    """
    try:
        _open(shown.full_screen, _start_size(scale))
        _loop(shown)
    except pygame.error as error:
        raise OutputError(
            f"the window cannot be opened ({error}); make a picture or a film instead: "
            "photodrome picture FILE --out PNG, photodrome film FILE --out GIF"
        ) from error
    finally:
        pygame.quit()
        forget_fonts()


def _start_size(scale: float) -> tuple[int, int]:
    """As wide as the screen, and nearly as high: its last lines are left to a frame and to bars.

    Asked to be as large as can be, a window of pygame's other interface may take the program down with it.
    """
    sizes = pygame.display.get_desktop_sizes()
    if not sizes:
        return round(_START_SIZE[0] * scale), round(_START_SIZE[1] * scale)
    return sizes[0][0], max(sizes[0][1] - round(_KEPT_FREE * scale), 1)


def _open(full_screen: bool, size: tuple[int, int]) -> pygame.Surface:
    if full_screen:
        return pygame.display.set_mode((0, 0), pygame.FULLSCREEN)
    return pygame.display.set_mode(size, pygame.RESIZABLE)


def _loop(shown: WindowContent) -> None:
    # what the system repeats is left out
    pygame.key.set_repeat()
    clock, held = pygame.time.Clock(), HeldKeys()
    title, full_screen = "", shown.full_screen
    size = pygame.display.get_window_size()
    exposed = True
    while not shown.closed:
        for event in pygame.event.get():
            exposed |= event.type in (pygame.VIDEOEXPOSE, pygame.WINDOWEXPOSED, pygame.VIDEORESIZE)
            held.take(event, pygame.time.get_ticks() / 1000.0)
            shown.handle_event(event)
        again = held.repeated(pygame.time.get_ticks() / 1000.0)
        if again is not None:
            shown.handle_event(again)
        if shown.full_screen != full_screen:
            full_screen = shown.full_screen
            if full_screen:
                size = pygame.display.get_window_size()
            _open(full_screen, size)
            exposed = True
        if shown.title != title:
            title = shown.title
            pygame.display.set_caption(title)
        if exposed or not shown.is_still():
            surface = pygame.display.get_surface()
            assert surface is not None
            shown.draw(surface)
            pygame.display.flip()
            exposed = False
        shown.advance(min(clock.tick(FRAMES_A_SECOND) / 1000.0, _LONGEST_FRAME))


def watch(
    replay: Replay,
    path: str | Path | None = None,
    theme: Theme = LIGHT,
    scale: float | None = None,
    ticker: Ticker | None = None,
) -> None:
    """Show ``replay`` in a window until the viewer closes it.

    ``path`` is the file it was read from: a change of it is told, and it can be read again. ``scale`` is in
    pixels a point; None takes what suits the screen. ``ticker`` gives the words at the foot, see
    :class:`replays.causes.cause_ticker.CauseTicker`. Raises OutputError where there is no screen.

    >>> from arena import read_contest, simulate
    >>> watch(simulate(read_contest("slalom", ["poppy"], seconds=60)))
    """
    open_display()
    from replays.window.buttons_and_cards import TEXT
    from replays.window.replay_window import ReplayWindow

    chosen = usual_scale() if scale is None else scale
    window = ReplayWindow(replay, theme, chosen, None if path is None else Path(path))
    if ticker is None:
        show(window, chosen)
    else:
        letters = lambda *_: (window.scale, TEXT)  # noqa: E731
        show(TickerWindow(window, ticker, lambda: window.player.time_s, letters), chosen)


def watch_show(
    replay: Replay,
    theme: Theme = LIGHT,
    *,
    names: Sequence[str] | None = None,
    yours: int | None = None,
    heading: str | None = None,
    ticker: Ticker | None = None,
) -> None:
    """Show ``replay`` to a whole room, in a window of the size of the screen, until the viewer closes it.

    ``names`` are what walkers are called, None for design and number; ``yours`` is the number of a walker
    that is told in any case; ``heading`` stands in place of the arena's name; ``ticker`` is as for
    :func:`watch`. Raises OutputError where there is no screen.

    >>> from arena import read_contest, simulate
    >>> watch_show(simulate(read_contest("slalom", ["poppy"], seconds=60)), heading="heat 1")
    """
    open_display()
    from replays.drawing.projector_page import TEXT as PROJECTED
    from replays.drawing.projector_page import projected_scale
    from replays.window.projector_window import ProjectorWindow

    window = ProjectorWindow(replay, theme, names, yours, heading)
    if ticker is None:
        show(window)
        return

    def letters(width: int, height: int) -> tuple[float, int]:
        return window.letters * projected_scale(width, height), PROJECTED

    show(TickerWindow(window, ticker, lambda: window.page.times.run_time(window.show_s), letters))
