"""The window, driven by posted events and without a screen: its states are compared, not its pixels."""

import math
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from agents.errors import OutputError
from replays.drawing.figures import ALL_WAYS, CHOSEN_WAY, NO_WAYS
from replays.drawing.layout import Box, lay_out_page
from replays.drawing.moving_spans import AFTER, BEFORE, Stretches
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import DARK, LIGHT
from replays.format.replay_file import write_replay
from replays.format.tables import Replay
from replays.window.camera import CLOSEST, Camera
from replays.window.playback import SPEEDS
from replays.window.player import Player
from replays.window.replay_keys import REPLAY_KEYS
from replays.window.replay_window import ReplayWindow
from replays.window.screen import watch
from tests.helpers.fabricate import Fabricator, potting_bench
from tests.helpers.window_events import mouse, press

SIZE = (1280, 760)


@pytest.fixture(scope="module")
def replay() -> Replay:
    return potting_bench().replay()


@pytest.fixture
def window(replay: Replay) -> ReplayWindow:
    made = ReplayWindow(replay)
    made.draw(pygame.Surface(SIZE))
    return made


def click(window: ReplayWindow, place: tuple[float, float], button: int = 1) -> None:
    mouse(window, pygame.MOUSEBUTTONDOWN, place, button)
    mouse(window, pygame.MOUSEBUTTONUP, place, button)


def picture_of(window: ReplayWindow, size: tuple[int, int] = SIZE) -> np.ndarray:
    surface = pygame.Surface(size)
    for _ in range(50):
        window.draw(surface)
        if window._stage.is_settled:
            break
    window.draw(surface)
    return pygame.surfarray.array3d(surface)


def place_of(window: ReplayWindow, walker: int) -> tuple[float, float]:
    x, y, _ = window._stage.figures(window.view).places(window.player.time_s)
    return float(x[walker]), float(y[walker])


def test_time_goes_by_at_the_speed_and_stops_at_the_end(window: ReplayWindow) -> None:
    player = window.player
    assert player.speed == 20.0
    window.advance(0.5)
    assert player.time_s == pytest.approx(10.0)
    press(window, pygame.K_SPACE)
    window.advance(0.5)
    assert player.time_s == pytest.approx(10.0)
    press(window, pygame.K_SPACE)
    window.advance(60.0)
    assert (player.time_s, player.playing) == (900.0, False)
    press(window, pygame.K_SPACE)
    assert (player.time_s, player.playing) == (0.0, True), "played again from the start"


def test_speeds_run_from_a_quarter_to_1000_in_even_steps_of_their_logarithm(window: ReplayWindow) -> None:
    press(window, *[pygame.K_UP] * 30)
    assert window.player.speed == 1000.0
    press(window, *[pygame.K_DOWN] * 30)
    assert window.player.speed == 0.25
    press(window, pygame.K_UP)
    assert window.player.speed == 0.5
    factors = np.diff(np.log10(SPEEDS))
    assert factors.min() > 0.3
    assert factors.max() < 0.4


def test_arrows_move_a_hundredth_and_stay_within_the_run(window: ReplayWindow) -> None:
    press(window, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_LEFT)
    assert window.player.time_s == pytest.approx(9.0)
    press(window, pygame.K_HOME, pygame.K_LEFT)
    assert window.player.time_s == 0.0
    press(window, pygame.K_END, pygame.K_RIGHT)
    assert window.player.time_s == 900.0


def test_steps_go_from_pulse_to_pulse_and_back(window: ReplayWindow, replay: Replay) -> None:
    starts = replay.pulses["start_s"]
    press(window, *[pygame.K_n] * 3)
    assert window.player.time_s == starts[2]
    assert not window.player.playing
    press(window, pygame.K_b)
    assert window.player.time_s == starts[1]
    press(window, *[pygame.K_b] * 5)
    assert window.player.time_s == starts[0]
    press(window, pygame.K_END, pygame.K_n)
    assert window.player.time_s == 900.0
    press(window, pygame.K_b)
    assert window.player.time_s == starts[-1]


def test_with_a_walker_chosen_steps_go_from_one_of_its_pulses_to_the_next(
    window: ReplayWindow, replay: Replay
) -> None:
    press(window, pygame.K_w, pygame.K_w)
    assert window.player.chosen == 1
    mine = replay.pulses[replay.pulses["walker"] == 1]["start_s"]
    press(window, pygame.K_n, pygame.K_n)
    assert window.player.time_s == mine[1]


def test_waits_are_skipped(replay: Replay) -> None:
    made = Fabricator(seconds=1000.0)
    walker, other = made.walker(0.2, 0.5), made.walker(0.2, 0.7)
    made.pulse(walker, 100.0, (0.3, 0.5), lasts_s=0.5)
    made.pulse(other, 100.3, (0.3, 0.7), lasts_s=0.5)
    made.pulse(walker, 700.0, (0.4, 0.5), lasts_s=0.5)
    player = Player(made.replay())
    player.speed_step = SPEEDS.index(1.0)
    player.actions["skip"]()
    assert player.stretches.busy_s == pytest.approx(0.8 + 0.5 + 2 * (BEFORE + AFTER))
    player.advance(0.2)
    assert player.time_s == pytest.approx(100.0 - BEFORE + 0.2)
    player.advance(0.8)
    assert player.time_s == pytest.approx(700.0 - BEFORE + 0.2 - 0.12)
    player.advance(5.0)
    assert (player.time_s, player.playing) == (1000.0, False)
    # of one walker alone
    player.actions["start"]()
    player.choose(other)
    assert player.stretches.busy_s == pytest.approx(0.5 + BEFORE + AFTER)


def test_the_clock_of_busy_stretches_turns_back_into_that_of_the_run() -> None:
    draw = np.random.default_rng(3)
    starts = np.sort(draw.uniform(0.0, 500.0, 300))
    rests = starts + draw.exponential(0.6, 300)
    stretches = Stretches(starts, rests, 500.0)
    # counted on a fine grid, independently
    grid = np.arange(0.0, 500.0, 0.005)
    busy = np.zeros(len(grid), dtype=bool)
    for start, rest in zip(starts, rests, strict=True):
        busy |= (grid >= start - BEFORE) & (grid < rest + AFTER)
    assert stretches.busy_s == pytest.approx(busy.sum() * 0.005, rel=0.01)
    for time_s in draw.uniform(0.0, 500.0, 200):
        gone = stretches.to_busy(time_s)
        assert gone == pytest.approx(busy[grid < time_s].sum() * 0.005, abs=0.8)
        again = stretches.to_run(gone)
        assert again == pytest.approx(time_s) or not busy[min(int(time_s / 0.005), len(busy) - 1)]


def test_a_run_in_which_nobody_moves_can_be_skipped_through() -> None:
    made = Fabricator(seconds=50.0)
    made.walker(0.2, 0.5)
    player = Player(made.replay())
    player.actions["skip"]()
    player.advance(0.1)
    assert (player.time_s, player.playing) == (50.0, False)


def test_the_bar_is_dragged(window: ReplayWindow) -> None:
    bar, player = window.bar, window.player
    quarter = (bar.left + bar.width / 4, bar.middle[1])
    mouse(window, pygame.MOUSEBUTTONDOWN, quarter)
    assert player.time_s == pytest.approx(225.0, abs=1.0)
    held = player.time_s
    window.advance(1.0)
    assert player.time_s == held, "time stands still while the bar is held"
    mouse(window, pygame.MOUSEMOTION, (bar.middle[0], 20))
    assert player.time_s == pytest.approx(450.0, abs=1.0)
    mouse(window, pygame.MOUSEMOTION, (9000, 20))
    assert player.time_s == 900.0
    mouse(window, pygame.MOUSEMOTION, (-9000, 20))
    assert player.time_s == 0.0
    mouse(window, pygame.MOUSEBUTTONUP, (-9000, 20))
    mouse(window, pygame.MOUSEMOTION, bar.middle)
    assert player.time_s == 0.0
    window.advance(1.0)
    assert player.time_s == pytest.approx(20.0)


@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_a_walker_is_chosen_by_a_click_and_let_go_by_one_beside(replay: Replay, scale: float) -> None:
    window = ReplayWindow(replay, scale=scale)
    window.draw(pygame.Surface((round(SIZE[0] * scale), round(SIZE[1] * scale))))
    window.player.playing = False
    for walker in (4, 1):
        click(window, place_of(window, walker))
        assert window.player.chosen == walker
        window.draw(pygame.Surface((round(SIZE[0] * scale), round(SIZE[1] * scale))))
    box = window.layout.arena
    click(window, (box.right - 4, box.bottom - 4))
    assert window.player.chosen is None
    click(window, place_of(window, 2), button=3)
    assert window.player.chosen is None, "other buttons choose nobody"


def test_tab_goes_round_all_walkers_both_ways(window: ReplayWindow) -> None:
    chosen = []
    for _ in range(7):
        press(window, pygame.K_w)
        chosen.append(window.player.chosen)
    assert chosen == [0, 1, 2, 3, 4, 5, 0]
    press(window, pygame.K_w, mod=pygame.KMOD_LSHIFT)
    assert window.player.chosen == 5


def test_the_wheel_comes_closer_to_where_the_mouse_is(window: ReplayWindow) -> None:
    place = (window.layout.arena.left + 200.0, window.layout.arena.top + 150.0)
    mouse(window, pygame.MOUSEMOTION, place)
    before = window.view.place(place)
    for _ in range(4):
        window.handle_event(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=1, flipped=False))
    assert window.camera.closer == pytest.approx(1.25**4)
    assert window.view.place(place) == pytest.approx(before)
    window.handle_event(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=-100, flipped=False))
    assert window.camera.closer == 1.0


def test_a_drag_moves_the_floor_with_the_mouse_and_chooses_nobody(window: ReplayWindow) -> None:
    press(window, *[pygame.K_PLUS] * 6)
    start = window.layout.arena.middle
    window.player.choose(None)
    floor = window.view.place(start)
    mouse(window, pygame.MOUSEBUTTONDOWN, start)
    mouse(window, pygame.MOUSEMOTION, (start[0] + 30, start[1] - 3))
    mouse(window, pygame.MOUSEMOTION, (start[0] + 60, start[1] + 20))
    mouse(window, pygame.MOUSEBUTTONUP, (start[0] + 60, start[1] + 20))
    assert window.player.chosen is None
    assert window.view(*floor) == pytest.approx((start[0] + 60, start[1] + 20), abs=1.0)


def test_keys_look_elsewhere_and_back_to_all(window: ReplayWindow) -> None:
    whole = window.view
    press(window, pygame.K_PLUS, pygame.K_EQUALS)
    near = window.view
    assert near.zoom == pytest.approx(whole.zoom * 1.25**2)
    press(window, pygame.K_TAB, pygame.K_RIGHT)
    assert window.view.west > near.west
    assert window.player.time_s == 0.0, "tab has handed the arrows on to the floor"
    press(window, pygame.K_UP)
    assert window.view.south > near.south
    press(window, pygame.K_TAB, pygame.K_RIGHT)
    assert window.player.time_s > 0.0
    press(window, pygame.K_0)
    assert window.view == whole
    press(window, pygame.K_MINUS)
    assert window.view == whole, "no farther away than all of it"


def test_the_camera_stays_within_its_bounds() -> None:
    camera, box = Camera((0.0, 0.0, 2.0, 1.0)), Box(10.0, 20.0, 800.0, 300.0)
    west, south, east, north = camera.bounds
    view = camera.view(box)
    for x, y in ((west, south), (east, north)):
        assert box.holds(view(x, y))
    for _ in range(60):
        camera.come_closer(box, 1.25, 0.0)
        camera.shift(box, -5000.0, 5000.0, 0.0)
    assert camera.closer == CLOSEST
    assert west <= camera.centre[0] <= east
    assert south <= camera.centre[1] <= north


def test_a_followed_walker_stays_in_view(window: ReplayWindow) -> None:
    press(window, pygame.K_w, *[pygame.K_PLUS] * 7, pygame.K_g)
    assert window.player.following
    press(window, *[pygame.K_UP] * 2)
    out = 0
    for _ in range(900):
        window.advance(1 / 60)
        out += not window.layout.arena.holds(place_of(window, 0))
    assert window.player.time_s == 900.0
    assert out <= 60, "only until the view has come to where it was"
    press(window, pygame.K_ESCAPE)
    assert not window.player.following


def test_following_needs_a_walker(window: ReplayWindow) -> None:
    press(window, pygame.K_g)
    assert not window.player.following


def test_ways_theme_and_size_of_letters_go_round(window: ReplayWindow) -> None:
    seen = []
    for _ in range(3):
        press(window, pygame.K_p)
        seen.append(window.player.ways)
    assert seen == [CHOSEN_WAY, NO_WAYS, ALL_WAYS]
    press(window, pygame.K_t)
    assert window.theme is DARK
    press(window, pygame.K_t)
    assert window.theme is LIGHT
    scales = []
    for _ in range(4):
        press(window, pygame.K_z)
        scales.append(window.scale)
    # for letters three times as large such a window has not the room
    assert scales == [1.5, 2.0, 1.0, 1.5]


@pytest.mark.parametrize("key", [pygame.K_h, pygame.K_F1])
def test_help_comes_and_goes_and_tells_every_key(
    window: ReplayWindow, key: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[str] = []
    text = Sheet.text

    def noted(self: Sheet, words: str, *rest: object, **more: object) -> None:
        written.append(words)
        text(self, words, *rest, **more)  # type: ignore[arg-type]

    press(window, key)
    assert window.help.is_shown
    monkeypatch.setattr(Sheet, "text", noted)
    window.draw(pygame.Surface(SIZE))
    for line in REPLAY_KEYS.help_lines:
        assert written.count(line.keys) >= 1
        assert line.words in written, "whole, not cut off"
    press(window, key)
    assert not window.help.is_shown


def test_no_key_has_two_meanings_and_every_meaning_a_key() -> None:
    bindings = REPLAY_KEYS.bindings
    keys = [(key, binding.mode) for binding in bindings for key in binding.keys + binding.others]
    assert len(keys) == len(set(keys))
    for mod in (pygame.KMOD_CTRL, pygame.KMOD_ALT, pygame.KMOD_META):
        event = pygame.event.Event(pygame.KEYDOWN, key=pygame.K_SPACE, mod=mod, unicode="")
        assert REPLAY_KEYS.action_of(event) is None, "keys of the system are left alone"


def test_every_button_can_be_pressed_by_its_key(replay: Replay) -> None:
    window = ReplayWindow(replay)
    window.draw(pygame.Surface((1900, 1000)))
    actions = [placed.button.action for placed in window.buttons if placed.button.action]
    assert {"play", "next pulse", "previous pulse", "skip", "why", "follow", "help", "all"} <= set(actions)
    shown = {line.bindings[0].action: line.keys for line in REPLAY_KEYS.help_lines if line.bindings}
    for placed in window.buttons:
        if placed.button.action:
            assert placed.button.key in shown[placed.button.action]
    for first, second in zip(window.buttons, window.buttons[1:], strict=False):
        assert first.box.right < second.box.left


def test_buttons_do_what_they_say(window: ReplayWindow) -> None:
    def button(action: str) -> tuple[float, float]:
        return next(placed.box.middle for placed in window.buttons if placed.button.action == action)

    click(window, button("play"))
    assert not window.player.playing
    click(window, button("faster"))
    assert window.player.speed == 50.0
    click(window, button("skip"))
    assert window.player.skipping
    click(window, button("more"))
    assert window.more_shown
    window.draw(pygame.Surface(SIZE))
    click(window, button("help"))
    assert window.help.is_shown
    click(window, window.layout.arena.middle)
    assert not window.help.is_shown, "a click anywhere puts the help away"


def test_escape_leaves_one_thing_after_the_other(window: ReplayWindow) -> None:
    press(window, pygame.K_w, pygame.K_f, pygame.K_h)
    window.notice = "the file has changed"
    left = []
    for _ in range(5):
        press(window, pygame.K_ESCAPE)
        left.append(
            (
                window.help.is_shown,
                window.notice != "",
                window.player.chosen is None,
                window.full_screen,
                window.closed,
            )
        )
    assert left == [
        (False, True, False, True, False),
        (False, False, False, True, False),
        (False, False, True, True, False),
        (False, False, True, False, False),
        (False, False, True, False, True),
    ]


def test_closing_the_window_ends_it(window: ReplayWindow) -> None:
    window.handle_event(pygame.event.Event(pygame.USEREVENT))
    press(window, pygame.K_F5, pygame.K_a)
    assert not window.closed
    press(window, pygame.K_q)
    assert window.closed
    window.closed = False
    window.handle_event(pygame.event.Event(pygame.QUIT))
    assert window.closed


def test_frames_follow_the_state(replay: Replay) -> None:
    window = ReplayWindow(replay)
    press(window, pygame.K_SPACE)
    first = picture_of(window)
    np.testing.assert_array_equal(picture_of(window), first)
    press(window, pygame.K_n, pygame.K_RIGHT)
    later = picture_of(window)
    assert (later != first).any()
    press(window, pygame.K_HOME)
    again = picture_of(window)
    np.testing.assert_array_equal(again, first)
    press(window, pygame.K_t)
    assert picture_of(window).mean() < first.mean() - 60


def test_what_has_not_changed_is_not_drawn(window: ReplayWindow, monkeypatch: pytest.MonkeyPatch) -> None:
    press(window, pygame.K_SPACE)
    for _ in range(200):
        window.advance(1 / 60)
        window.draw(pygame.Surface(SIZE))
    window.advance(1 / 60)
    assert window.is_still()
    press(window, pygame.K_n)
    assert not window.is_still()


def test_light_and_ground_are_drawn_once_for_a_view(replay: Replay, monkeypatch: pytest.MonkeyPatch) -> None:
    from replays.drawing.light_map import LightMap

    rows: list[int] = []
    paint = LightMap.paint_rows

    def noted(self: LightMap, surface: Any, view: Any, scale: float, first: int, last: int) -> None:
        rows.extend(range(first, last))
        paint(self, surface, view, scale, first, last)

    monkeypatch.setattr(LightMap, "paint_rows", noted)
    window = ReplayWindow(replay)
    for _ in range(5):
        window.draw(pygame.Surface(SIZE))
        window.advance(0.3)
    height = round(window.view.height)
    assert rows == list(range(height))
    press(window, pygame.K_PLUS)
    window.draw(pygame.Surface(SIZE))
    assert len(rows) == height, "while the view moves the picture of before is shown"
    for _ in range(20):
        window.advance(0.05)
        window.draw(pygame.Surface(SIZE))
    assert rows == 2 * list(range(height))


@pytest.mark.parametrize("size", [(1600, 900), (820, 520), (1, 1), (200, 1000), (700, 1300), (3000, 400)])
@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_the_window_can_have_any_size_and_the_bar_follows(
    replay: Replay, size: tuple[int, int], scale: float
) -> None:
    window = ReplayWindow(replay, scale=scale)
    press(window, pygame.K_w)
    assert picture_of(window, size).shape == (*size, 3)
    if min(size) / scale > 500:
        mouse(window, pygame.MOUSEBUTTONDOWN, window.bar.middle)
        assert window.player.time_s == pytest.approx(replay.seconds / 2, rel=0.01)


@pytest.mark.parametrize("width", [320, 480, 700, 820, 1000, 1280, 1920, 3000])
@pytest.mark.parametrize("height", [320, 520, 560, 760, 1080, 2000])
@pytest.mark.parametrize("aspect", [0.1, 0.6, 1.0, 4.0])
def test_the_parts_of_a_layout_do_not_overlap(width: int, height: int, aspect: float) -> None:
    for has_controls in (False, True):
        for has_strip in (False, True):
            made = lay_out_page(width, height, aspect, has_controls=has_controls, has_strip=has_strip)
            boxes = [made.head, made.arena, made.legend, made.strip, made.controls]
            there = [box for box in boxes if box is not None]
            for number, one in enumerate(there):
                assert one.width > 0
                assert one.left >= 0
                assert one.right <= width + 1e-6
                for other in there[number + 1 :]:
                    apart = (
                        one.right <= other.left + 1e-6
                        or other.right <= one.left + 1e-6
                        or one.bottom <= other.top + 1e-6
                        or other.bottom <= one.top + 1e-6
                    )
                    assert apart or height < 400
            assert (made.strip is not None) == (has_strip and height >= 560)


def test_a_file_written_anew_is_told_and_read_again_when_asked(tmp_path: Path, replay: Replay) -> None:
    path = tmp_path / "race.replay.npz"
    write_replay(replay, path)
    window = ReplayWindow(replay, path=path)
    window.advance(1.1)
    assert window.notice == ""
    other = Fabricator(seconds=33.0)
    other.walker(0.2, 0.5)
    write_replay(other.replay(), path)
    os.utime(path, ns=(1, 1))
    window.advance(1.1)
    assert "written anew" in window.notice
    assert window.replay is replay
    press(window, pygame.K_l)
    assert window.notice == ""
    assert window.replay.seconds == 33.0
    picture_of(window)


def test_a_file_that_went_bad_leaves_what_is_shown(tmp_path: Path, replay: Replay) -> None:
    path = tmp_path / "race.replay.npz"
    write_replay(replay, path)
    window = ReplayWindow(replay, path=path)
    path.write_bytes(path.read_bytes()[:500])
    window.advance(1.1)
    press(window, pygame.K_l)
    assert "not read again" in window.notice
    assert window.replay is replay
    picture_of(window)
    path.unlink()
    press(window, pygame.K_l)
    assert "no such file" in window.notice
    window.advance(1.1)
    unnamed = ReplayWindow(replay)
    press(unnamed, pygame.K_l)
    assert "no file" in unnamed.notice


@pytest.fixture
def no_screen(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    yield
    pygame.quit()


@pytest.mark.usefixtures("no_screen")
def test_watch_runs_until_it_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    frames: list[np.ndarray] = []
    asked = {2: pygame.K_n, 3: pygame.K_h, 4: pygame.K_f, 5: pygame.K_q}
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
    assert len(frames) >= 5
    assert (frames[3] != frames[2]).any()
    assert not pygame.display.get_init()
    # A second window after the first, for pygame was shut down in between.
    frames.clear()
    watch(Fabricator().replay())
    assert len(frames) >= 5


@pytest.mark.usefixtures("no_screen")
def test_without_a_screen_pictures_and_films_are_proposed(monkeypatch: pytest.MonkeyPatch) -> None:
    replay = Fabricator().replay()
    monkeypatch.setattr(pygame.display, "get_driver", lambda: "offscreen")
    for _ in range(2):
        with pytest.raises(OutputError, match=r"photodrome picture .* photodrome film"):
            watch(replay)
        assert not pygame.display.get_init()
        monkeypatch.setenv("SDL_VIDEODRIVER", "nonesuch")


def test_the_strip_goes_to_the_time_that_is_clicked(replay: Replay) -> None:
    made = potting_bench().replay()
    for design in made.header["designs"]:
        design["yaml"] = "photodrome: design 1\nname: poppy\n"
    made.header["built_names"] = ["storage.capacitance", "left.latch"]
    window = ReplayWindow(made)
    press(window, pygame.K_w, *[pygame.K_n] * 12)
    picture_of(window)
    view = window._chosen.causes_view
    assert view is not None
    starts = made.pulses[made.pulses["walker"] == 0]["start_s"]
    assert view.from_s < starts[11] < view.to_s
    assert view.time(view.x(starts[10])) == pytest.approx(starts[10])
    click(window, (view.x(starts[10]), view.plot.middle[1]))
    assert window.player.time_s == pytest.approx(starts[10], abs=(view.to_s - view.from_s) / 200)
    press(window, pygame.K_c)
    assert not window.has_causes


def test_a_design_that_cannot_be_read_leaves_a_word_in_place_of_its_causes(window: ReplayWindow) -> None:
    press(window, pygame.K_w)
    window.draw(pygame.Surface(SIZE))
    assert not window.is_still(), "first it is told that this takes a moment"
    written: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Sheet, "text", lambda self, words, *rest, **more: written.append(words))
        window.draw(pygame.Surface(SIZE))
    assert "cannot be read" in " ".join(written)
    assert math.isfinite(window.player.time_s)
