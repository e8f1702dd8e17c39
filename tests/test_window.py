"""The window, driven by posted events and without a screen."""

from collections.abc import Iterator

import numpy as np
import pytest
from fabricate import Fabricator, potting_bench

from agents.errors import OutputError
from replays.player import HELP, SPEEDS, Player
from replays.sheet import pygame
from replays.window import Window, watch


@pytest.fixture
def player() -> Player:
    made = Player(seconds=200.0, pulse_s=np.array([10.0, 25.0, 25.0, 60.0]))
    made.bar = pygame.Rect(100, 500, 400, 10)
    return made


def press(player: Player, *keys: int) -> None:
    for key in keys:
        player.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=0, unicode=""))


def mouse(player: Player, kind: int, x: int, y: int, button: int = 1) -> None:
    if kind == pygame.MOUSEMOTION:
        event = pygame.event.Event(kind, pos=(x, y), rel=(0, 0), buttons=(1, 0, 0))
    else:
        event = pygame.event.Event(kind, pos=(x, y), button=button)
    player.handle_event(event)


def test_time_goes_by_at_the_speed_and_stops_at_the_end(player: Player) -> None:
    assert player.speed == 20.0
    player.advance(0.5)
    assert player.time_s == pytest.approx(10.0)
    press(player, pygame.K_SPACE)
    player.advance(0.5)
    assert player.time_s == pytest.approx(10.0)
    press(player, pygame.K_SPACE)
    player.advance(60.0)
    assert (player.time_s, player.playing) == (200.0, False)
    press(player, pygame.K_SPACE)
    assert (player.time_s, player.playing) == (0.0, True), "played again from the start"


def test_speeds_run_from_1_to_1000_in_even_steps_of_their_logarithm(player: Player) -> None:
    press(player, *[pygame.K_UP] * 30)
    assert player.speed == 1000.0
    press(player, *[pygame.K_DOWN] * 30)
    assert player.speed == 1.0
    press(player, pygame.K_UP)
    assert player.speed == 2.0
    factors = np.diff(np.log10(SPEEDS))
    assert factors.min() > 0.3
    assert factors.max() < 0.4


def test_arrows_move_a_hundredth_and_stay_within_the_run(player: Player) -> None:
    press(player, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_LEFT)
    assert player.time_s == pytest.approx(2.0)
    press(player, pygame.K_HOME, pygame.K_LEFT)
    assert player.time_s == 0.0
    press(player, pygame.K_END, pygame.K_RIGHT)
    assert player.time_s == 200.0


def test_next_pulse_goes_from_pulse_to_pulse(player: Player) -> None:
    times = []
    for _ in range(5):
        press(player, pygame.K_n)
        times.append(player.time_s)
    assert times == [10.0, 25.0, 60.0, 60.0, 60.0]


def test_the_bar_is_dragged(player: Player) -> None:
    mouse(player, pygame.MOUSEBUTTONDOWN, 200, 505)
    assert player.time_s == pytest.approx(50.0)
    player.advance(1.0)
    assert player.time_s == pytest.approx(50.0), "time stands still while the bar is held"
    mouse(player, pygame.MOUSEMOTION, 300, 20)
    assert player.time_s == pytest.approx(100.0)
    mouse(player, pygame.MOUSEMOTION, 9000, 20)
    assert player.time_s == 200.0
    mouse(player, pygame.MOUSEMOTION, -9000, 20)
    assert player.time_s == 0.0
    mouse(player, pygame.MOUSEBUTTONUP, -9000, 20)
    mouse(player, pygame.MOUSEMOTION, 300, 505)
    assert player.time_s == 0.0
    player.advance(1.0)
    assert player.time_s == pytest.approx(20.0)


def test_clicks_beside_the_bar_and_other_buttons_do_nothing(player: Player) -> None:
    mouse(player, pygame.MOUSEBUTTONDOWN, 300, 300)
    mouse(player, pygame.MOUSEBUTTONDOWN, 300, 505, button=3)
    mouse(player, pygame.MOUSEMOTION, 400, 505)
    press(player, pygame.K_F5, pygame.K_a)
    player.handle_event(pygame.event.Event(pygame.USEREVENT))
    assert player == Player(seconds=200.0, pulse_s=player.pulse_s, bar=player.bar)


@pytest.mark.parametrize("key", [pygame.K_h, pygame.K_F1])
def test_help_comes_and_goes(player: Player, key: int) -> None:
    press(player, key)
    assert player.help_shown
    press(player, key)
    assert not player.help_shown


@pytest.mark.parametrize("key", [pygame.K_q, pygame.K_ESCAPE])
def test_keys_close_the_window(player: Player, key: int) -> None:
    press(player, key)
    assert player.closed


def test_closing_the_window_ends_it(player: Player) -> None:
    player.handle_event(pygame.event.Event(pygame.QUIT))
    assert player.closed


def frame(window: Window, size: tuple[int, int]) -> np.ndarray:
    surface = pygame.Surface(size)
    window.draw(surface)
    return pygame.surfarray.array3d(surface)


def test_frames_follow_the_state_and_nothing_else() -> None:
    replay = potting_bench().replay()
    player = Player.of(replay)
    window = Window(replay, player)
    first = frame(window, (1000, 600))
    np.testing.assert_array_equal(frame(window, (1000, 600)), first)
    press(player, pygame.K_n, pygame.K_RIGHT)
    later = frame(window, (1000, 600))
    assert (later != first).any()
    np.testing.assert_array_equal(frame(Window(replay, player), (1000, 600)), later)
    press(player, pygame.K_HOME)
    np.testing.assert_array_equal(frame(window, (1000, 600)), first)
    press(player, pygame.K_h)
    assert (frame(window, (1000, 600)) != first).any()
    assert len(HELP) == 8


@pytest.mark.parametrize("size", [(1600, 900), (820, 520), (1, 1), (200, 1000)])
def test_the_window_can_have_any_size_and_the_bar_follows(size: tuple[int, int]) -> None:
    replay = potting_bench().replay()
    player = Player.of(replay)
    window = Window(replay, player)
    frame(window, (1000, 600))
    assert frame(window, size).shape == (*size, 3)
    assert player.bar.bottom < size[1] or size[1] < 60
    if size[0] > 500:
        mouse(player, pygame.MOUSEBUTTONDOWN, size[0] // 2, player.bar.centery)
        assert player.time_s == pytest.approx(replay.seconds / 2, rel=0.01)


def test_the_ground_is_drawn_once_for_a_size(monkeypatch: pytest.MonkeyPatch) -> None:
    replay = potting_bench().replay()
    calls = []
    from replays import drawing

    draw_light = drawing.draw_light
    monkeypatch.setattr(drawing, "draw_light", lambda *given: (calls.append(1), draw_light(*given)))
    player = Player.of(replay)
    window = Window(replay, player)
    for _ in range(3):
        frame(window, (900, 600))
        player.advance(1.0)
    assert len(calls) == 1
    frame(window, (1000, 600))
    assert len(calls) == 2


@pytest.fixture
def no_screen(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    yield
    pygame.quit()


@pytest.mark.usefixtures("no_screen")
def test_watch_runs_until_it_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    frames: list[np.ndarray] = []
    asked = {2: pygame.K_n, 3: pygame.K_h, 4: pygame.K_q}
    flip = pygame.display.flip

    def flipped() -> None:
        surface = pygame.display.get_surface()
        assert surface is not None
        frames.append(pygame.surfarray.array3d(surface))
        flip()
        if len(frames) in asked:
            pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=asked[len(frames)], mod=0, unicode=""))

    monkeypatch.setattr(pygame.display, "flip", flipped)
    watch(potting_bench().replay())
    assert len(frames) == 5
    assert (frames[3] != frames[2]).any()
    assert not pygame.display.get_init()
    # A second window after the first, for pygame was shut down in between.
    frames.clear()
    watch(Fabricator().replay())
    assert len(frames) == 5


@pytest.mark.usefixtures("no_screen")
def test_without_a_screen_a_picture_is_proposed(monkeypatch: pytest.MonkeyPatch) -> None:
    replay = Fabricator().replay()
    monkeypatch.setattr(pygame.display, "get_driver", lambda: "offscreen")
    with pytest.raises(OutputError, match="photodrome picture"):
        watch(replay)
    assert not pygame.display.get_init()
    monkeypatch.setenv("SDL_VIDEODRIVER", "nonesuch")
    with pytest.raises(OutputError, match="photodrome picture"):
        watch(replay)
