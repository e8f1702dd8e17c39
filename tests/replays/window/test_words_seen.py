"""On every screen of the window: no word over another, and none cut off."""

import os

os.environ["SDL_VIDEODRIVER"] = "dummy"

import pytest

from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.drawing.sheet import Sheet, pygame
from replays.format.tables import Replay
from replays.window.replay_window import SCALES, ReplayWindow
from tests.helpers.drawn_words import noting_words

# One that fires many times a second is among them.
DESIGNS = ["poppy", "cress", "nettle-twitches"]


@pytest.fixture(scope="module")
def replay() -> Replay:
    return simulate(read_contest("corner-trap", DESIGNS, walkers=2, seconds=200.0))


def faults_in(window: ReplayWindow, surface: pygame.Surface) -> list[str]:
    """What is wrong with the words of ``window`` once all of it is there."""
    for _ in range(60):
        window.draw(surface)
        if window._stage.is_settled and window._chosen.is_ready:
            break
    with noting_words(surface) as words:
        window.draw(surface)
    assert len(words.seen) > 10
    return words.faults


@pytest.mark.parametrize(
    ("size", "scale"),
    [((1280, 720), 1.0), ((1920, 1080), 1.5), ((800, 600), 1.0), ((1280, 720), 2.0), ((3840, 2160), 2.0)],
)
def test_no_word_lies_over_another_and_none_is_cut_off(
    replay: Replay, size: tuple[int, int], scale: float
) -> None:
    window, surface = ReplayWindow(replay, scale=scale), pygame.Surface(size)
    window.player.playing = False
    window.player.go_to(120.0)
    assert faults_in(window, surface) == []
    for actions in (
        ("legend",), ("legend", "next walker"), ("beside",), ("beside",), ("previous walker",),
        ("leave", "more"), ("more", "lead"), ("lead", "more"), ("more", "help"), ("leave", "end"),
    ):  # fmt: skip
        for action in actions:
            window.act(action)
        assert faults_in(window, surface) == [], actions


def test_faults_are_found_where_they_are() -> None:
    surface = pygame.Surface((300, 100))
    sheet = Sheet(surface)
    with noting_words(surface) as words:
        sheet.text("one word", (10, 10), 15)
        sheet.text("another", (30, 12), 15)
        sheet.text("over the edge", (280, 60), 15)
        sheet.text("beside the window", (400, 60), 15)
        assert words.faults == ["'over the edge' cut off", "'one word' over 'another'"]
        sheet.card((0, 0), (300, 50), (255, 255, 255))
        assert words.faults == ["'over the edge' cut off"]


def test_letters_grow_no_further_than_there_is_room(replay: Replay) -> None:
    window = ReplayWindow(replay)
    for size, largest in (((800, 600), 1.5), ((1280, 720), 2.0), ((3840, 2160), 3.0)):
        window.draw(pygame.Surface(size))
        scales = set()
        for _ in SCALES:
            window.act("larger")
            scales.add(window.scale)
        assert max(scales) == largest
        assert min(scales) == SCALES[0]
