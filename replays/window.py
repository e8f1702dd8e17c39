"""A window on a replay: play it, stop it, and go to any time of it."""

import os

from agents.errors import OutputError
from replays.colours import FADED_INK, INK, PAPER, STRAW, WOOD
from replays.drawing import MARGIN, Scene
from replays.player import HELP, Player
from replays.record import Replay
from replays.sheet import Sheet, forget_fonts, pygame

_START_SIZE = (1280, 760)
_LEAST_SIZE = (820, 520)
_FRAMES_A_SECOND = 40
_BAR_HEIGHT = 10
_BELOW = 56
_TEXT = 15

# Drivers of pygame that show nothing; fine when asked for by name, as a test does.
_BLIND_DRIVERS = ("dummy", "offscreen")


class Window:
    """Draws a replay and its player onto a surface, and lays out anew when the size changes."""

    def __init__(self, replay: Replay, player: Player) -> None:
        self._replay = replay
        self._player = player
        self._size = (0, 0)
        self._scene: Scene | None = None

    def draw(self, surface: pygame.Surface) -> None:
        """Draw the state of the player."""
        size = surface.get_size()
        if self._scene is None or size != self._size:
            self._size = size
            width, height = max(size[0], _LEAST_SIZE[0]), max(size[1], _LEAST_SIZE[1])
            self._scene = Scene(self._replay, width, height - _BELOW)
            self._player.bar = pygame.Rect(
                MARGIN, size[1] - _BELOW + 10, max(size[0] - 2 * MARGIN, 1), _BAR_HEIGHT
            )
        surface.fill(PAPER)
        self._scene.draw(surface, self._player.time_s)
        sheet = Sheet(surface)
        self._draw_bar(sheet)
        if self._player.help_shown:
            _draw_help(sheet)

    def _draw_bar(self, sheet: Sheet) -> None:
        player, bar = self._player, self._player.bar
        frame = [(bar.left, bar.top), (bar.right, bar.top), (bar.right, bar.bottom), (bar.left, bar.bottom)]
        sheet.fill((0, bar.top - 10), (sheet.size[0], _BELOW), PAPER)
        sheet.line(frame, WOOD, 1, closed=True)
        here = bar.left + bar.width * player.time_s / player.seconds
        sheet.fill((bar.left, bar.top), (here - bar.left, bar.height), STRAW)
        # One tick a column however many pulses there are.
        columns = {int(bar.left + bar.width * start / player.seconds) for start in player.pulse_s.tolist()}
        for column in columns:
            sheet.fill((column, bar.top + 3), (1, bar.height - 6), WOOD)
        sheet.disc((here, bar.centery), 8, STRAW, INK, 2)
        state = "playing" if player.playing else "paused"
        words = f"{state}, {player.speed:g} times as fast as life"
        sheet.text(words, (bar.left, bar.bottom + 10), _TEXT)
        hint = "h: help"
        sheet.text(hint, (bar.right, bar.bottom + 10), _TEXT, FADED_INK, across=1.0)


def _draw_help(sheet: Sheet) -> None:
    line = 26
    width, height = 430, line * len(HELP) + 40
    left, top = (sheet.size[0] - width) / 2, (sheet.size[1] - height) / 2
    corners = [(left, top), (left + width, top), (left + width, top + height), (left, top + height)]
    sheet.polygon(corners, PAPER)
    sheet.line(corners, WOOD, 3, closed=True)
    for number, (keys, meaning) in enumerate(HELP):
        y = top + 22 + line * number
        sheet.text(keys, (left + 20, y), _TEXT)
        sheet.text(meaning, (left + 160, y), _TEXT, FADED_INK)


def watch(replay: Replay) -> None:
    """Show ``replay`` in a window until the viewer closes it.

    Raises OutputError where there is no screen.
    """
    asked_for = os.environ.get("SDL_VIDEODRIVER", "")
    try:
        pygame.display.init()
        driver = pygame.display.get_driver()
        if driver in _BLIND_DRIVERS and driver not in asked_for:
            raise pygame.error("no screen")
        surface = pygame.display.set_mode(_START_SIZE, pygame.RESIZABLE)
    except pygame.error as error:
        pygame.display.quit()
        raise OutputError(
            f"there is no screen to open a window on ({error}); "
            "make a picture instead: photodrome picture FILE --out PNG"
        ) from error
    try:
        pygame.display.set_caption(f"photodrome: {replay.arena['name']}")
        _run(replay, surface)
    finally:
        pygame.quit()
        forget_fonts()


def _run(replay: Replay, surface: pygame.Surface) -> None:
    pygame.key.set_repeat(300, 40)
    player = Player.of(replay)
    window = Window(replay, player)
    clock = pygame.time.Clock()
    while not player.closed:
        for event in pygame.event.get():
            player.handle_event(event)
        # The surface follows the size of the window by itself; ask for the one of now.
        surface = pygame.display.get_surface() or surface
        window.draw(surface)
        pygame.display.flip()
        player.advance(clock.tick(_FRAMES_A_SECOND) / 1000.0)
