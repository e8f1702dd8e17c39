"""One press counts once, however long frames take; arrows go on counting while they are held."""

import pytest

from replays.drawing.sheet import pygame
from replays.window.held_keys import ARROWS, DELAY, PACE, HeldKeys
from replays.window.screen import show


def key(kind: int, code: int) -> pygame.event.Event:
    return pygame.event.Event(kind, key=code, mod=0, unicode="")


@pytest.mark.parametrize("code", [pygame.K_ESCAPE, pygame.K_z, pygame.K_SPACE, pygame.K_n])
def test_what_is_no_arrow_never_counts_again(code: int) -> None:
    held = HeldKeys()
    held.take(key(pygame.KEYDOWN, code), 0.0)
    assert all(held.repeated(0.1 * moment) is None for moment in range(100))


@pytest.mark.parametrize("code", ARROWS)
@pytest.mark.parametrize("frame_s", [1 / 60, 0.5])
def test_an_arrow_counts_on_while_it_is_held_and_once_a_frame_at_the_most(code: int, frame_s: float) -> None:
    held = HeldKeys()
    held.take(key(pygame.KEYDOWN, code), 0.0)
    frames = round(3.0 / frame_s)
    counts = [held.repeated(frame * frame_s) is not None for frame in range(1, frames + 1)]
    assert sum(counts) <= min(frames, 1 + (3.0 - DELAY) / PACE)
    assert sum(counts) >= min(frames - 1, 25)
    early = [number for number in range(frames) if (number + 1) * frame_s < DELAY]
    assert not any(counts[number] for number in early)
    held.take(key(pygame.KEYUP, code), 3.0)
    assert held.repeated(9.0) is None


def test_another_key_or_another_window_ends_it() -> None:
    for event in (key(pygame.KEYDOWN, pygame.K_n), pygame.event.Event(pygame.WINDOWFOCUSLOST)):
        held = HeldKeys()
        held.take(key(pygame.KEYDOWN, pygame.K_LEFT), 0.0)
        held.take(key(pygame.KEYUP, pygame.K_RIGHT), 0.1)
        assert held.repeated(1.0) is not None
        held.take(event, 1.1)
        assert held.repeated(5.0) is None


class Slow:
    """Something to show whose first frames take long."""

    closed = full_screen = False
    title = "slow"

    def __init__(self) -> None:
        self.keys: list[int] = []
        self.frames = 0

    def handle_event(self, event: pygame.event.Event) -> None:
        if event.type == pygame.KEYDOWN:
            self.keys.append(event.key)

    def advance(self, elapsed_s: float) -> None:
        pass

    def is_still(self) -> bool:
        return False

    def draw(self, surface: pygame.Surface) -> None:
        self.frames += 1
        if self.frames == 1:
            for code in (pygame.K_LEFT, pygame.K_ESCAPE):
                pygame.event.post(key(pygame.KEYDOWN, code))
                pygame.event.post(key(pygame.KEYUP, code))
        pygame.time.wait(200)
        self.closed = self.frames == 5


def test_keys_that_were_let_go_of_during_a_long_frame_count_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    pygame.display.init()
    shown = Slow()
    show(shown)
    assert shown.keys == [pygame.K_LEFT, pygame.K_ESCAPE]
