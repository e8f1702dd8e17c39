"""Frames, and the words of the race."""

import threading
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from agents.errors import OptionError
from arena.workbench import jobs, side_panel
from arena.workbench import view as view_module
from arena.workbench.controller import Controller
from arena.workbench.side_panel import _score_words
from arena.workbench.view import WorkbenchView
from replays.drawing.sheet import pygame
from replays.scoring.scores import score
from tests.helpers.fabricate import potting_bench
from tests.helpers.window_events import press
from tests.helpers.workbench import settle, settle_all, show


def test_a_race_is_compared_with_one_that_had_a_goal_too() -> None:
    now = score(potting_bench().replay())[0]
    assert now.reached == 2
    nowhere = replace(now, reached=None, median_reach_s=None)
    assert _score_words(now, nowhere, 3) == _score_words(now, None, 3)
    assert "goal" not in " ".join(_score_words(nowhere, now, 3))
    # who starts in the goal has reached it at time 0, which is not never
    at_once = replace(now, median_reach_s=0.0)
    assert _score_words(now, at_once, 3)[1].endswith("(before: 0.0 s)")
    assert _score_words(replace(now, median_reach_s=None), at_once, 3)[1] == "half by never (before: 0.0 s)"


def test_a_first_start_says_that_it_compiles(
    make: Callable[..., Controller], monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on = threading.Event()

    def wait(*arguments: object) -> None:
        go_on.wait(60.0)
        raise OptionError("not run")

    monkeypatch.setattr(jobs, "simulate", wait)
    controller = make()
    view, surface = WorkbenchView(controller), pygame.Surface((1280, 760))
    try:
        controller.state.refresh()
        while controller.state.background.light_maps.busy or controller.state.background.forecasts.busy:
            time.sleep(0.005)
        controller.advance(0.01)
        monkeypatch.setattr(side_panel, "compiled_so_far", lambda: 0)
        monkeypatch.setattr(view_module, "compiled_so_far", lambda: 0)
        assert side_panel._race_state(controller.state) == "getting ready"
        while not view.is_still():
            view.draw(surface)
        monkeypatch.setattr(side_panel, "compiled_so_far", lambda: 12)
        monkeypatch.setattr(view_module, "compiled_so_far", lambda: 12)
        assert side_panel._race_state(controller.state) == "compiling, 12 functions"
        assert not view.is_still(), "the line moves while it compiles"
    finally:
        go_on.set()
        settle(controller)


def test_frames_follow_the_state_and_nothing_else(make: Callable[..., Controller]) -> None:
    controller = make("potting-bench.yaml", "poppy.yaml", "cress.yaml")
    show(controller)
    controller.state.refresh()
    settle_all(controller)
    first = show(controller)
    np.testing.assert_array_equal(show(controller), first)
    for key in (pygame.K_HOME, pygame.K_o, pygame.K_d, pygame.K_TAB, pygame.K_m, pygame.K_t, pygame.K_s):
        before = show(controller)
        press(controller, key)
        assert (show(controller) != before).any(), pygame.key.name(key)
    for size in ((1920, 1080), (640, 480), (1, 1)):
        assert show(controller, size).shape == (*size, 3)
