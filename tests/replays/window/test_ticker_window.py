"""The strip at the foot of a window: it tells what the run has come to, and leaves the window its own."""

import os
from collections.abc import Callable

os.environ["SDL_VIDEODRIVER"] = "dummy"

import pytest

from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.causes.cause_ticker import CauseTicker
from replays.drawing.figures import walker_name
from replays.drawing.projector_page import TEXT as PROJECTED
from replays.drawing.projector_page import projected_scale
from replays.drawing.sheet import Sheet, pygame
from replays.format.tables import Replay
from replays.window import screen
from replays.window.projector_window import ProjectorWindow
from replays.window.replay_window import ReplayWindow
from replays.window.ticker_window import TickerWindow
from tests.helpers.window_events import press

SIZE = (1280, 720)


@pytest.fixture(scope="module")
def replay() -> Replay:
    return simulate(
        read_contest("corner-trap", ["poppy", "cress"], walkers=2, seconds=240, seed=3), threads=1
    )


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[TickerWindow]:
    """What would have been shown on a screen."""
    windows: list[TickerWindow] = []
    monkeypatch.setattr(screen, "open_display", lambda: None)
    monkeypatch.setattr(screen, "usual_scale", lambda: 1.0)
    monkeypatch.setattr(screen, "show", lambda window, scale=1.0: windows.append(window))
    return windows


def ticker_of(replay: Replay) -> CauseTicker:
    return CauseTicker(replay, [walker_name(replay, one) for one in range(len(replay.walkers))])


@pytest.mark.parametrize("show", [screen.watch, screen.watch_show])
def test_the_strip_tells_the_pulses_that_have_been_shown(
    replay: Replay, opened: list[TickerWindow], show: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    show(replay, ticker=ticker_of(replay).words)
    (window,) = opened
    surface = pygame.Surface(SIZE)
    written: list[str] = []
    text = Sheet.text

    def noted(self: Sheet, words: str, *rest: object, **more: object) -> None:
        written.append(words)
        text(self, words, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(Sheet, "text", noted)
    window.draw(surface)
    told = []
    for _ in range(120):
        window.advance(0.25)
        written.clear()
        window.draw(surface)
        if window.words:
            assert any(window.words.startswith(words.rstrip(".")) for words in written if len(words) > 20)
            told.append(window.words)
    assert len(set(told)) >= 3
    assert all("fired:" in words for words in told)


def test_the_window_above_is_laid_out_without_the_strip_and_takes_its_events(
    replay: Replay, opened: list[TickerWindow]
) -> None:
    screen.watch(replay, scale=1.0, ticker=ticker_of(replay).words)
    (window,) = opened
    above = window.window
    assert isinstance(above, ReplayWindow)
    surface = pygame.Surface(SIZE)
    window.draw(surface)
    assert above.size[0] == SIZE[0]
    assert 20 <= SIZE[1] - above.size[1] <= 130
    place = tuple(map(round, above.bar.middle))
    window.handle_event(pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=place, button=1))
    assert above.player.time_s == pytest.approx(replay.seconds / 2, rel=0.01)
    window.handle_event(pygame.event.Event(pygame.MOUSEBUTTONUP, pos=place, button=1))
    press(above, pygame.K_SPACE)
    for _ in range(200):
        window.advance(0.1)
        window.draw(surface)
    assert window.is_still(), "nothing is drawn while nothing changes"
    press(above, pygame.K_t)
    assert not window.is_still()
    window.draw(surface)
    # the strip has the paper of the window
    assert surface.get_at((3, SIZE[1] - 4))[:3] == above.theme.card
    press(above, pygame.K_q)
    assert window.closed


def test_letters_of_the_strip_are_those_of_the_show(replay: Replay, opened: list[TickerWindow]) -> None:
    screen.watch_show(replay, ticker=ticker_of(replay).words)
    (window,) = opened
    assert isinstance(window.window, ProjectorWindow)
    window.draw(pygame.Surface(SIZE))
    assert window._strip is not None
    assert window._strip[0][1:4:2] == (projected_scale(*SIZE), PROJECTED)


@pytest.mark.parametrize("size", [(420, 60), (1, 1), (300, 1000)])
def test_a_window_of_any_size_can_have_a_strip(
    replay: Replay, opened: list[TickerWindow], size: tuple[int, int]
) -> None:
    for show in (screen.watch, screen.watch_show):
        show(replay, ticker=ticker_of(replay).words)
    for window in opened:
        window.advance(20.0)
        window.draw(pygame.Surface(size))
