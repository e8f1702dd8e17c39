"""Events for anything that a window shows: it has ``handle_event`` and ``scale``, pixels a point."""

from typing import Protocol

from replays.drawing.sheet import pygame


class Listener(Protocol):
    """What events are sent to."""

    scale: float

    def handle_event(self, event: pygame.event.Event) -> None:
        """Do what an event asks for."""


def press(listener: Listener, *keys: int, mod: int = 0) -> None:
    """Press keys one after another, with ``mod`` held down."""
    for key in keys:
        listener.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod, unicode=""))


def write(listener: Listener, text: str) -> None:
    """Write letters."""
    for letter in text:
        listener.handle_event(pygame.event.Event(pygame.KEYDOWN, key=ord(letter), mod=0, unicode=letter))


def mouse(listener: Listener, kind: int, place: tuple[float, float], button: int = 1) -> None:
    """One event of the mouse at a place [points]."""
    pixels = (round(place[0] * listener.scale), round(place[1] * listener.scale))
    if kind == pygame.MOUSEMOTION:
        event = pygame.event.Event(kind, pos=pixels, rel=(0, 0), buttons=(1, 0, 0))
    else:
        event = pygame.event.Event(kind, pos=pixels, button=button)
    listener.handle_event(event)
