"""The workbench driven without a screen: short races, waiting for what is worked out, dragging, frames."""

import time
from typing import Any

import numpy as np

from arena.workbench.controller import Controller
from arena.workbench.dials import DIALS
from arena.workbench.jobs import RaceTerms
from arena.workbench.view import WorkbenchView
from replays.drawing.sheet import Sheet, pygame
from tests.helpers.window_events import mouse

SHORT = RaceTerms(walkers=2, seconds=120.0)


def settle(controller: Controller) -> None:
    """Wait until nothing is being worked out."""
    until = time.monotonic() + 300.0
    while controller.state.background.is_busy:
        assert time.monotonic() < until
        time.sleep(0.005)
    controller.advance(0.01)


def drag(
    controller: Controller, start: tuple[float, float], *ways: tuple[float, float], drop: bool = True
) -> None:
    """Drag from a place [points] along others, and let go unless ``drop`` is False."""
    mouse(controller, pygame.MOUSEBUTTONDOWN, start)
    for way in ways:
        mouse(controller, pygame.MOUSEMOTION, way)
        controller.advance(0.01)
    if drop:
        mouse(controller, pygame.MOUSEBUTTONUP, ways[-1])


def show(controller: Controller, size: tuple[int, int] = (1280, 760)) -> np.ndarray:
    """A frame; it also tells the controller where everything lies."""
    surface = pygame.Surface(size)
    view = WorkbenchView(controller)
    view.draw(surface)
    while not view.is_still():
        view.draw(surface)
    return pygame.surfarray.array3d(surface)


def report_nothing(done: float, so_far: object = None) -> None:
    """What work reports, unheard."""


def dial_number(label: str) -> int:
    """The number of the dial of this name."""
    return [dial.label for dial in DIALS].index(label)


def settle_all(controller: Controller) -> None:
    """Wait until cures and rounds are there too."""
    state = controller.state
    until = time.monotonic() + 300.0
    while True:
        assert time.monotonic() < until
        controller.advance(0.6)
        background = state.background
        if not (background.is_busy or state.is_searching or background.round_runs.busy or state.rounds_due):
            controller.advance(0.01)
            return
        time.sleep(0.005)


def text_drawn(controller: Controller, size: tuple[int, int] = (1280, 760)) -> list[str]:
    """All words of a frame."""
    written: list[str] = []
    text = Sheet.text

    def noted(self: Sheet, words: str, *rest: Any, **more: Any) -> None:
        written.append(words)
        text(self, words, *rest, **more)

    Sheet.text = noted  # type: ignore[method-assign]
    try:
        show(controller, size)
    finally:
        Sheet.text = text  # type: ignore[method-assign]
    return written
