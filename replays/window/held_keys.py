"""One press of a key counts once; only an arrow goes on counting, and only while it is held.

What repeats is told by a clock of our own, once a frame at the most. The repeats of the system pile up while
a frame takes long, and would all count at once.
"""

from replays.drawing.sheet import pygame

ARROWS = (pygame.K_LEFT, pygame.K_RIGHT, pygame.K_UP, pygame.K_DOWN)
"""Keys that go on counting while they are held."""

DELAY, PACE = 0.35, 0.07
"""From when on, and how often [s] an arrow counts again."""


class HeldKeys:
    """Which arrow is held since when.

    >>> held = HeldKeys()
    >>> held.take(pygame.event.Event(pygame.KEYDOWN, key=pygame.K_LEFT, mod=0, unicode=""), 0.0)
    >>> held.repeated(0.1) is None, held.repeated(0.5) is None, held.repeated(0.5) is None
    (True, False, True)
    """

    def __init__(self) -> None:
        self._event: pygame.event.Event | None = None
        self._next_s = 0.0

    def take(self, event: pygame.event.Event, now_s: float) -> None:
        """Note a key that goes down or up, or the window that loses the keys, at ``now_s`` [s]."""
        if event.type == pygame.KEYDOWN:
            # any other key ends it
            self._event = event if event.key in ARROWS else None
            self._next_s = now_s + DELAY
        elif event.type == pygame.WINDOWFOCUSLOST or (
            event.type == pygame.KEYUP and self._event is not None and event.key == self._event.key
        ):
            self._event = None

    def repeated(self, now_s: float) -> pygame.event.Event | None:
        """The press that counts again at ``now_s`` [s], or None; one however long ago the last one was."""
        if self._event is None or now_s < self._next_s:
            return None
        self._next_s = now_s + PACE
        return self._event
