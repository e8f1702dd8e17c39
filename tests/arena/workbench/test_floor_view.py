"""The plan of the workbench is drawn little by little: no frame waits for all of it."""

import os
from collections.abc import Callable

os.environ["SDL_VIDEODRIVER"] = "dummy"

import pytest

from arena.workbench.controller import Controller
from arena.workbench.view import WorkbenchView
from replays.drawing.laid_ground import PIECE
from replays.drawing.sheet import pygame
from tests.helpers.window_events import mouse, press
from tests.helpers.work_in_frames import Count, count_pixels
from tests.helpers.workbench import drag, settle

SIZE = (1920, 1080)


def frames_until_still(view: WorkbenchView, surface: pygame.Surface, drawn: Count) -> list[int]:
    """The pixels of the plan that each frame draws until nothing is left to draw."""
    frames = []
    while not frames or not view.is_still():
        view.draw(surface)
        frames.append(drawn())
        assert len(frames) < 2000
    return frames


@pytest.mark.parametrize("change", ["theme", "larger", "closer", "more", "start", "a lamp is moved"])
def test_after_a_change_no_frame_draws_more_than_a_few_pieces(
    make: Callable[..., Controller], change: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    controller = make("potting-bench")
    controller.state.refresh()
    settle(controller)
    view, surface = WorkbenchView(controller), pygame.Surface(SIZE)
    controller.act("end")
    for _ in range(200):
        view.draw(surface)
        if view.is_still():
            break
    drawn = count_pixels(monkeypatch)
    if change == "a lamp is moved":
        assert controller.view is not None
        lamp = controller.state.floor.spec.lamps[0].place
        drag(controller, controller.view(*lamp), controller.view(lamp[0] - 0.1, lamp[1]))
        settle(controller)
    else:
        controller.act(change)
    frames = frames_until_still(view, surface, drawn)
    assert max(frames) <= 2 * PIECE
    if change != "start":
        assert sum(frames) > 4 * PIECE


def test_while_something_is_carried_the_plan_follows(
    make: Callable[..., Controller], monkeypatch: pytest.MonkeyPatch
) -> None:
    controller = make("potting-bench")
    controller.state.refresh()
    settle(controller)
    view, surface = WorkbenchView(controller), pygame.Surface((1280, 720))
    drawn = count_pixels(monkeypatch)
    frames_until_still(view, surface, drawn)
    assert controller.view is not None
    x, y = controller.state.floor.spec.lamps[0].place
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.view(x, y))
    grounds = set()
    # the hand never rests, and each frame does as little as it may
    for step in range(60):
        mouse(controller, pygame.MOUSEMOTION, controller.view(x - 0.005 * (step + 1), y))
        controller.advance(0.02)
        view.draw(surface)
        front = view._floor_view.floors.front
        assert front is not None
        grounds.add(front.ground.plan.arena["lamps"][0]["x"])
    assert len(grounds) >= 4
    press(controller, pygame.K_ESCAPE)
    assert controller.state.floor.drag is None
