"""On every screen of the workbench: no word over another, and none cut off."""

from collections.abc import Callable

import pytest

from arena.workbench.controller import Controller
from arena.workbench.layout import LEAST_SIZE, LETTERS
from arena.workbench.view import WorkbenchView
from replays.drawing.sheet import pygame
from tests.helpers.drawn_words import noting_words
from tests.helpers.workbench import settle_all

# What is done, and by which key or Esc it is left.
SCREENS = (
    (), ("more",), ("why",), ("more",), ("leave", "cures"), ("values",), ("open arena",), ("type value",),
    ("save design",), ("help",), ("help",), ("change mode", "next movable"),
)  # fmt: skip


def faults_in(view: WorkbenchView, surface: pygame.Surface) -> list[str]:
    """What is wrong with the words once all of it is there."""
    view.draw(surface)
    while not view.is_still():
        view.draw(surface)
    with noting_words(surface) as words:
        view.draw(surface)
    assert len(words.seen) > 5
    return words.faults


@pytest.mark.parametrize("arena", ["slalom", "one-lamp", "potting-bench"])
def test_no_word_lies_over_another_and_none_is_cut_off(make: Callable[..., Controller], arena: str) -> None:
    controller = make(arena, "nettle-twitches" if arena == "slalom" else "poppy")
    view = WorkbenchView(controller)
    controller.state.refresh()
    settle_all(controller)
    controller.state.transport.go_to(60.0)
    for size, larger in (
        ((1280, 720), 0), ((1920, 1080), 0), ((1280, 1024), 0), ((1280, 720), 3), ((800, 600), 1),
    ):  # fmt: skip
        controller.larger, controller.panel_shown = larger, True
        surface = pygame.Surface(size)
        for actions in SCREENS:
            for action in actions:
                controller.act(action)
            assert faults_in(view, surface) == [], (size, actions)
            controller.asked = controller.question = None
        controller.help.put_away()
        controller.walkers.chosen = None
        controller.state.selection.go_to_dials()


@pytest.mark.parametrize("size", [(640, 360), (800, 600), (1024, 768), (1280, 720)])
def test_letters_grow_no_further_than_there_is_room(
    make: Callable[..., Controller], size: tuple[int, int]
) -> None:
    controller = make()
    for number in range(len(LETTERS)):
        controller.larger = number
        WorkbenchView(controller).draw(pygame.Surface(size))
        assert controller.layout.size[0] <= size[0] / controller.scale + 1
        assert controller.layout.size[1] <= size[1] / controller.scale + 1
        assert controller.scale >= 1.0
        assert size[0] / controller.scale >= LEAST_SIZE[0]
