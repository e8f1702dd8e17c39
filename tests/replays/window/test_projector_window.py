"""The show in a window, driven by posted events."""

import pytest

from replays.drawing.projector_page import LETTERS
from replays.drawing.sheet import pygame
from replays.drawing.show_times import AGAIN
from replays.drawing.theme import DARK
from replays.window.projector_window import SHOW_KEYS, ProjectorWindow
from tests.helpers.fabricate import potting_bench


def press(window: ProjectorWindow, *keys: int) -> None:
    for key in keys:
        window.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=0, unicode=""))


@pytest.fixture
def window() -> ProjectorWindow:
    made = ProjectorWindow(potting_bench().replay(), heading="heat 1")
    made.draw(pygame.Surface((640, 360)))
    return made


def test_every_key_asks_for_something_that_is_done(window: ProjectorWindow) -> None:
    assert {binding.action for binding in SHOW_KEYS.bindings} == set(window.actions)
    assert window.title == "photodrome: heat 1"


def test_the_show_runs_to_its_end_and_from_the_start_again(window: ProjectorWindow) -> None:
    window.advance(2.0)
    assert window.show_s == 2.0
    press(window, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_LEFT)
    assert window.show_s == 4.0
    window.advance(1e4)
    assert (window.show_s, window.playing) == (window.page.times.seconds, False)
    press(window, pygame.K_SPACE)
    assert (window.show_s, window.playing) == (0.0, True)
    press(window, pygame.K_END, pygame.K_e)
    assert window.show_s == window.page.times.begin_of(AGAIN)
    press(window, pygame.K_HOME, pygame.K_SPACE)
    assert (window.show_s, window.playing) == (0.0, False)


def test_ones_own_walker_is_chosen_by_keys_and_by_a_click(window: ProjectorWindow) -> None:
    press(window, pygame.K_w, pygame.K_w)
    assert window.yours == 1
    page = window.page
    x, y, _ = page.stage.figures(page.view).places(0.0)
    place = (round(float(x[3]) * page.scale), round(float(y[3]) * page.scale))
    window.handle_event(pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=place, button=1))
    assert window.yours == 3
    assert window.page.yours == 3


def test_paper_letters_and_keys_change_and_leave(window: ProjectorWindow) -> None:
    press(window, pygame.K_t, pygame.K_h, pygame.K_f)
    assert (window.theme, window.help.is_shown, window.full_screen) == (DARK, True, True)
    window.draw(pygame.Surface((640, 360)))
    for letters in (*LETTERS[1:], LETTERS[0]):
        press(window, pygame.K_z)
        assert window.letters == letters
    left = []
    for _ in range(3):
        press(window, pygame.K_ESCAPE)
        left.append((window.help.is_shown, window.full_screen, window.closed))
    assert left == [(False, True, False), (False, False, False), (False, False, True)]


def test_what_has_not_changed_is_not_drawn(window: ProjectorWindow) -> None:
    press(window, pygame.K_SPACE)
    surface = pygame.Surface((640, 360))
    for _ in range(20):
        window.draw(surface)
        window.advance(1 / 60)
    assert window.is_still()
    press(window, pygame.K_RIGHT)
    assert not window.is_still()
