"""A window at rest shows what it would show if it had been opened there: nothing left out, nothing left over.

Time is kept as the loop of :mod:`replays.window.screen` keeps it: only what says that it has changed is
drawn.
"""

import numpy as np
import pytest

from replays.drawing.sheet import pygame
from replays.format.tables import Replay
from replays.window.replay_window import ReplayWindow
from tests.helpers.fabricate import potting_bench
from tests.helpers.window_events import press

SIZE = (1280, 760)


@pytest.fixture(scope="module")
def replay() -> Replay:
    return potting_bench().replay()


@pytest.fixture(autouse=True)
def slow_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine that gets no farther in a frame than one piece of one way."""
    monkeypatch.setattr("replays.window.replay_window.BUDGET", 0.0)
    monkeypatch.setattr("replays.drawing.trails._CHUNK", 7)


def opened(replay: Replay, *keys: int) -> tuple[ReplayWindow, pygame.Surface]:
    window, surface = ReplayWindow(replay), pygame.Surface(SIZE)
    window.draw(surface)
    press(window, pygame.K_SPACE, *keys)
    return window, surface


def rest(window: ReplayWindow, surface: pygame.Surface, frames: int = 4000) -> np.ndarray:
    """Go on until nothing changes any more; returns what is on show then."""
    still = 0
    for _ in range(frames):
        # as long as a side may glow
        still = still + 1 if window.is_still() else 0
        if still > 80:
            break
        if not still:
            window.draw(surface)
        window.advance(1 / 60)
    assert still > 80
    return pygame.surfarray.array3d(surface).astype(int)


def unlike(one: np.ndarray, other: np.ndarray) -> int:
    """How many pixels differ by more than what rounding makes of them."""
    return int((np.abs(one - other).max(axis=2) > 16).sum())


def drawn_at_once(window: ReplayWindow, replay: Replay, monkeypatch: pytest.MonkeyPatch) -> np.ndarray:
    """The same state in a window that was never anywhere else, on a machine that is fast enough."""
    monkeypatch.setattr("replays.window.replay_window.BUDGET", 1e9)
    fresh, surface = ReplayWindow(replay), pygame.Surface(SIZE)
    fresh.player.playing, fresh.player.time_s = False, window.player.time_s
    fresh.player.chosen, fresh.player.following = window.player.chosen, window.player.following
    fresh.player.causes_shown, fresh.player.speed_step = window.player.causes_shown, window.player.speed_step
    fresh.camera = window.camera
    fresh.now_s = window.now_s
    fresh._glows.begin(window.player.time_s)
    fresh.draw(surface)
    fresh.draw(surface)
    return pygame.surfarray.array3d(surface).astype(int)


def test_ways_are_drawn_to_their_end_while_the_run_stands_still(
    replay: Replay, monkeypatch: pytest.MonkeyPatch
) -> None:
    window, surface = opened(replay)
    # behind the last pulse, so that no side glows
    window.player.time_s = float(replay.pulses["rest_s"].max()) + 5.0
    window._glows.begin(window.player.time_s)
    assert unlike(rest(window, surface), drawn_at_once(window, replay, monkeypatch)) == 0


def test_a_closer_look_at_many_ways_gets_finished(replay: Replay, monkeypatch: pytest.MonkeyPatch) -> None:
    window, surface = opened(replay, pygame.K_END)
    rest(window, surface)
    press(window, pygame.K_PLUS, pygame.K_PLUS, pygame.K_PLUS)
    assert unlike(rest(window, surface), drawn_at_once(window, replay, monkeypatch)) == 0


def test_nothing_is_left_of_ways_that_the_viewer_has_gone_back_from(
    replay: Replay, monkeypatch: pytest.MonkeyPatch
) -> None:
    window, surface = opened(replay, pygame.K_END)
    # so little a frame that it is not finished on any machine
    monkeypatch.setattr("replays.window.replay_window.BUDGET", 1e-6)
    for _ in range(5):
        window.draw(surface)
        window.advance(1 / 60)
    assert not window._stage.is_settled
    monkeypatch.undo()
    press(window, pygame.K_HOME)
    assert unlike(rest(window, surface), drawn_at_once(window, replay, monkeypatch)) == 0


def test_a_leap_after_a_followed_walker_is_seen_to_its_end(
    replay: Replay, monkeypatch: pytest.MonkeyPatch
) -> None:
    window, surface = opened(replay, pygame.K_c, pygame.K_w, pygame.K_g, *[pygame.K_PLUS] * 8, pygame.K_END)
    rest(window, surface)
    far = window.view
    press(window, pygame.K_HOME)
    here = rest(window, surface)
    assert window.view != far
    assert unlike(here, drawn_at_once(window, replay, monkeypatch)) == 0


def test_what_is_said_until_the_circuit_is_ready_stays_on_its_card(replay: Replay) -> None:
    window, surface = ReplayWindow(replay), pygame.Surface((480, 900))
    window.draw(surface)
    press(window, pygame.K_w)
    window.draw(surface)
    assert window._chosen.causes_view is None
    card = window.layout.panel
    assert card is not None
    beside = pygame.surfarray.array3d(surface)[: round(card.left) - 1, round(card.top) : round(card.bottom)]
    assert (beside == np.array(window.theme.paper)).all()
