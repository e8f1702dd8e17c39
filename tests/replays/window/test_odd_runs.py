"""Runs that nobody would think of: one pose, thousands of walkers, ten hours, ten metres, odd names.

Every screen is drawn, on the smallest and on the largest, at every speed, and time never jumps.
"""

import os

os.environ["SDL_VIDEODRIVER"] = "dummy"

import numpy as np
import pytest

from replays.drawing.sheet import pygame
from replays.format.tables import Replay
from replays.window import screen
from replays.window.playback import SPEEDS
from replays.window.replay_keys import REPLAY_KEYS
from replays.window.replay_window import ReplayWindow
from tests.helpers.drawn_words import noting_words
from tests.helpers.fabricate import Fabricator, arena, box, goal
from tests.helpers.window_events import mouse, press
from tests.helpers.window_measures import crowd_in, label_faults, settled

SIZES = [(800, 600), (3840, 2160)]

# Latin with marks, Greek, Cyrillic, Hebrew, Arabic, Devanagari, Thai, Han, Kana, Hangul, emoji with joiners
# and a shade, flags, marks alone, signs that turn the direction, control signs, signs of a further plane.
NAMES = (
    "Ærøskøbing", "Ελένη", "Щука", "שלום", "مرحبا", "हिन्दी", "ไทย", "日本", "ひらがな", "한국",
    "👩🏽‍🔬 lab", "🇫🇷🇯🇵",
    "\u0301\u0302", "\u202eabc\u202c", "a\tb\x07c", "𝕏𝕐", " ", "long " * 60,
)  # fmt: skip


def one_pose() -> Replay:
    """A walker that never fires."""
    made = Fabricator(seconds=60.0)
    made.walker(0.5, 0.5)
    return made.replay()


def ten_hours() -> Replay:
    """Six walkers that move now and then from morning to evening."""
    made = Fabricator(
        seconds=36000.0, arena=arena(goals=[goal([1.5, 0.0], [2.0, 0.0], [2.0, 1.0], [1.5, 1.0])])
    )
    draw = np.random.default_rng(1)
    for number in range(6):
        walker = made.walker(0.1, 0.12 + 0.15 * number)
        for pulse in range(60):
            made.pulse(
                walker, 600.0 * pulse + 7.0 * number + 3.0, (0.12 + 0.027 * pulse, 0.12 + 0.15 * number)
            )
        made.light(walker, 30000.0, float(draw.uniform(100.0, 9000.0)))
    return made.replay()


def ten_metres() -> Replay:
    """A floor on which walkers are smaller than a pixel and a half."""
    wide = arena(
        floor=box(0.0, 0.0, 10.0, 6.0),
        walls=[{"name": "kerb", "points": [[4.0, 0.0], [4.0, 3.0]], "closed": False}],
        goals=[goal([9.0, 2.0], [10.0, 2.0], [10.0, 4.0], [9.0, 4.0])],
    )
    made = Fabricator(seconds=300.0, arena=wide, cell=0.5)
    for number in range(5):
        walker = made.walker(0.5, 1.0 + number, radius=0.02)
        for pulse in range(20):
            made.pulse(walker, 5.0 + 14.0 * pulse + number, (0.5 + 0.4 * pulse, 1.0 + number))
    return made.replay()


def many_scripts() -> Replay:
    """A walker of each name, the arena and its things named likewise."""
    named = arena(
        name="庭 🌻 حديقة", about="\u202e" + "о" * 200, goals=[goal(*box(1.5, 0.3, 1.9, 0.7), name="目标 🎯")]
    )
    named["lamps"][0]["name"] = "מנורה 💡"
    made = Fabricator(seconds=100.0, designs=NAMES, arena=named)
    for number in range(len(NAMES)):
        walker = made.walker(0.1 + 0.09 * number, 0.2 + 0.035 * number, design=number)
        made.pulse(walker, 3.0 + number, (0.2 + 0.09 * number, 0.2 + 0.035 * number))
    return made.replay()


RUNS = {"one pose": one_pose, "ten hours": ten_hours, "ten metres": ten_metres, "many scripts": many_scripts}


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("name", RUNS)
def test_every_key_does_what_it_should_and_all_of_it_is_drawn(name: str, size: tuple[int, int]) -> None:
    replay = RUNS[name]()
    surface = pygame.Surface(size)
    window = ReplayWindow(replay, scale=2.0 if size[0] > 2000 else 1.0)
    actions = [one.action for line in REPLAY_KEYS.help_lines for one in line.bindings]
    assert len(actions) > 25
    for action in actions:
        if action not in ("close", "leave", "larger", "full screen"):
            window.act(action)
        # a machine on which a frame takes half a second
        window.advance(0.5)
        window.draw(surface)
        assert 0.0 <= window.player.time_s <= replay.seconds
        assert not window.closed
    for action in ("start", "next walker", "follow", "skip"):
        window.act(action)
    for step in range(len(SPEEDS)):
        window.player.speed_step = step
        window.player.playing = True
        window.advance(0.5)
        window.draw(surface)
        assert 0.0 <= window.player.time_s <= replay.seconds
    window.act("end")
    for _ in range(12):
        if not window.closed:
            window.act("leave")
            window.draw(surface)
    assert window.closed


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("name", RUNS)
def test_words_are_whole_and_apart_and_names_lie_over_nothing(name: str, size: tuple[int, int]) -> None:
    window = ReplayWindow(RUNS[name](), scale=2.0 if size[0] > 2000 else 1.0)
    window.player.playing = False
    window.player.go_to(0.5 * window.replay.seconds)
    surface = settled(window, size)
    assert label_faults(window) == []
    for action in ("lead", "lead", "lead", "next walker", "legend", "end"):
        window.act(action)
        window.draw(surface)
        window.draw(surface)
        with noting_words(surface) as words:
            window.draw(surface)
        assert words.faults == [], action


def test_names_of_all_scripts_are_told_in_letters_that_the_font_has() -> None:
    window = ReplayWindow(many_scripts())
    window.player.playing = False
    surface = settled(window, (1920, 1080))
    with noting_words(surface) as words:
        window.draw(surface)
    told = [shown for shown, _ in words.seen]
    for expected in ("RiBen", "slvm", "Ελένη", "Щука"):
        assert any(shown.startswith(expected) for shown in told), expected
    # of a long name the end goes and the count stays
    window.act("lead")
    with noting_words(surface) as words:
        window.draw(surface)
    lane = [shown for shown, _ in words.seen if shown.startswith("long long")]
    assert lane
    assert all(shown.endswith("..., 0 of 1 there") for shown in lane)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_two_thousand_walkers_are_shown_chosen_and_told(size: tuple[int, int]) -> None:
    window = ReplayWindow(crowd_in("potting-bench", 2000), scale=2.0 if size[0] > 2000 else 1.0)
    window.player.playing = False
    window.player.go_to(300.0)
    surface = settled(window, size)
    x, y, _ = window._stage.figures(window.view).places(300.0)
    place = float(x[1234]), float(y[1234])
    for kind in (pygame.MOUSEBUTTONDOWN, pygame.MOUSEBUTTONUP):
        mouse(window, kind, place)
    chosen = window.player.chosen
    assert chosen is not None
    assert float(np.hypot(x[chosen] - place[0], y[chosen] - place[1])) < 12.0
    press(window, pygame.K_c, pygame.K_c, pygame.K_ESCAPE)
    for action in ("lead", "lead", "end"):
        window.act(action)
        with noting_words(surface) as words:
            window.draw(surface)
        assert words.faults == [], action
    assert window.shows_final
    assert any(shown.startswith("and 1990 more") for shown, _ in words.seen)


def test_in_the_loop_a_slow_machine_never_makes_the_run_jump_and_a_key_counts_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Frames of half a second, with a key pressed in one of them, until the window is closed in mid-run."""
    windows: list[ReplayWindow] = []
    make = ReplayWindow.__init__

    def kept(self: ReplayWindow, *given: object, **more: object) -> None:
        make(self, *given, **more)  # type: ignore[arg-type]
        windows.append(self)

    class SlowClock:
        def tick(self, rate: int) -> int:
            return 500

    times: list[float] = []
    flip = pygame.display.flip

    def flipped() -> None:
        flip()
        (window,) = windows
        times.append(window.player.time_s)
        if len(times) == 4:
            for kind in (pygame.KEYDOWN, pygame.KEYUP):
                pygame.event.post(pygame.event.Event(kind, key=pygame.K_z, mod=0, unicode="z"))
        if len(times) == 10:
            pygame.event.post(pygame.event.Event(pygame.QUIT))

    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setattr(ReplayWindow, "__init__", kept)
    monkeypatch.setattr(pygame.time, "Clock", SlowClock)
    monkeypatch.setattr(pygame.display, "flip", flipped)
    screen.watch(ten_hours(), scale=1.0)
    (window,) = windows
    assert window.closed
    assert window.scale == 1.5, "one size, not two"
    assert 0.0 < times[-1] < window.replay.seconds
    # at 20 times life a quarter of a second at the most counts of each frame
    assert np.diff(times).max() <= 0.25 * window.player.speed + 1e-9
    assert not pygame.display.get_init()
