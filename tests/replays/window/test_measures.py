"""What the window promises, measured on all arenas that are shipped: floor, names, contrast, ways."""

import pytest

from replays.drawing.sheet import pygame
from replays.window.playback import SPEEDS
from replays.window.replay_window import ReplayWindow
from tests.helpers.window_events import press
from tests.helpers.window_measures import (
    ARENAS,
    contrasts,
    crowd_in,
    floor_share,
    label_faults,
    measure_floor,
    settled,
)


@pytest.mark.parametrize("name", ARENAS)
def test_the_floor_takes_most_of_the_window_and_names_cover_nothing(name: str) -> None:
    window = ReplayWindow(crowd_in(name))
    press(window, pygame.K_SPACE)
    for size in ((1280, 720), (1920, 1080), (800, 600)):
        settled(window, size)
        assert label_faults(window) == []
        if size[0] >= 1280:
            assert floor_share(window) >= least_share(window, 0.6)
    press(window, pygame.K_w)
    window.draw(pygame.Surface((1280, 720)))
    assert window.has_causes
    assert floor_share(window) >= 0.45


def least_share(window: ReplayWindow, wanted: float) -> float:
    """``wanted``, or 90 % of what the floor would take if nothing else were in the window.

    One that is square can have 56 % of a screen of 16 to 9.
    """
    west, south, east, north = window.camera.bounds
    aspect, shape = (north - south) / (east - west), window.size[1] / window.size[0]
    return min(wanted, 0.9 * min(aspect / shape, shape / aspect))


@pytest.mark.parametrize("size", [(1280, 1024), (1920, 1200), (2560, 1080), (3840, 2160)])
def test_on_a_screen_of_another_shape_the_floor_is_as_large_as_its_own_lets_it_be(
    size: tuple[int, int],
) -> None:
    """Of the room for the floor: 60 % of the window, 45 % with the causes of a walker open."""
    for name in ARENAS:
        window = ReplayWindow(crowd_in(name, 3), scale=2.0 if size[0] > 3000 else 1.0)
        window.size = size
        points = (size[0] / window.scale, size[1] / window.scale)
        alone = measure_floor(window.view, window.replay.arena, points)
        press(window, pygame.K_w)
        assert window.has_causes
        beside = measure_floor(window.view, window.replay.arena, points)
        assert (alone.room >= 0.6, beside.room >= 0.45) == (True, True), name
        assert (alone.fills, beside.fills) == pytest.approx((1.0, 1.0), abs=0.01), name
        if 1.5 < size[0] / size[1] < 2.0:
            assert alone.floor >= least_share(window, 0.6), name
            assert beside.floor >= 0.45, name


def test_every_pair_of_colours_has_the_contrast_that_is_asked_for() -> None:
    for pair, (found, least) in contrasts().items():
        assert found >= least, pair


@pytest.mark.parametrize("speed", [100.0, 1000.0])
def test_all_ways_are_drawn_at_any_speed_or_it_is_told(speed: float) -> None:
    window = ReplayWindow(crowd_in("potting-bench"))
    surface = pygame.Surface((1280, 720))
    window.player.speed_step = SPEEDS.index(speed)
    window.draw(surface)
    while window.player.time_s < 0.99 * window.replay.seconds:
        window.advance(1 / 60)
        window.draw(surface)
        share = window._stage.drawn_share(window.player.time_s)
        if window.hurries and share < 0.9 and window.now_s > 2.0:
            assert "% of the ways" in window._told[0]
    for _ in range(60):
        window.advance(1 / 60)
        window.draw(surface)
    assert window._stage.drawn_share(window.replay.seconds) == 1.0


def test_letters_at_twice_the_size_drop_nothing() -> None:
    window = ReplayWindow(crowd_in("potting-bench"), scale=2.0)
    surface = pygame.Surface((1280, 720))
    window.draw(surface)
    shown = {placed.button.action for placed in window.buttons if placed.button.action}
    assert "more" in shown
    press(window, pygame.K_y)
    window.draw(surface)
    both = {placed.button.action for placed in window.buttons if placed.button.action}
    other = ReplayWindow(window.replay)
    other.draw(pygame.Surface((2600, 1500)))
    assert both - {"more"} == {placed.button.action for placed in other.buttons if placed.button.action}
    for placed in window.buttons:
        assert placed.box.left >= 0
        assert placed.box.right <= 640
        assert placed.box.bottom <= 360
    press(window, pygame.K_y, pygame.K_i)
    window.draw(surface)
    legend = window.cards["legend"]
    assert legend.left >= 0
    assert legend.bottom <= 360
    assert window.layout.panel is not None


@pytest.mark.parametrize("size", [(800, 600), (3840, 2160)])
@pytest.mark.parametrize("walkers", [0, 1, 300])
def test_odd_runs_are_shown_in_small_and_in_large_windows(size: tuple[int, int], walkers: int) -> None:
    window = ReplayWindow(crowd_in("slalom", walkers), scale=2.0 if size[0] > 2000 else 1.0)
    for keys in ([], [pygame.K_END], [pygame.K_w], [pygame.K_v, pygame.K_i, pygame.K_ESCAPE], [pygame.K_h]):
        press(window, *keys)
        window.advance(0.5)
        window.draw(pygame.Surface(size))
        assert not window.closed
        window.final_put_away = False
