"""What the pictures owe to those who look at them: colours for every eye, contrast, size, and calm."""

import itertools
import math
import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from replays.drawing import colours
from replays.drawing.calm_fast_play import HURRIED, PERIOD, Dissolve
from replays.drawing.glow import FADE, HOLD, Glows, glow
from replays.drawing.layout import Box
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.theme import DARK, LIGHT, Theme
from replays.format.tables import Replay
from replays.window.camera import Camera
from replays.window.playback import SPEEDS
from replays.window.replay_window import ReplayWindow
from replays.window.voltage_plot import PATTERNS
from tests.helpers.fabricate import Fabricator, arena, potting_bench

EYES = (None, "Protanomaly", "Deuteranomaly", "Tritanomaly")

# A just noticeable difference of two colours side by side in CIE76, 2.3: Mahy, van Eycken and Oosterlinck,
# Color Research and Application 19 (1994), from memory. What carries meaning here differs five times as much.
NOTICEABLE = 2.3
THRESHOLD = 5 * NOTICEABLE


def seen(colour: tuple[int, int, int], blind_to: str | None) -> NDArray[np.float64]:
    """CIE L*a*b* of an sRGB colour, as seen with a colour blindness, by the library colour.

    Severity 1 of Machado, Oliveira and Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009).
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour as library
        from colour.blindness import matrix_cvd_Machado2009

        linear = library.cctf_decoding(np.array(colour, dtype=np.float64) / 255.0)
        if blind_to is not None:
            linear = np.clip(linear @ matrix_cvd_Machado2009(blind_to, 1.0).T, 0.0, 1.0)
        space = library.RGB_COLOURSPACES["sRGB"]
        lab: NDArray[np.float64] = library.XYZ_to_Lab(linear @ space.matrix_RGB_to_XYZ.T, space.whitepoint)
    return lab


def difference(one: Any, other: Any, blind_to: str | None) -> float:
    """CIEDE2000 (CIE 142) between two sRGB colours for one kind of eye."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour as library

        return float(library.delta_E(seen(one, blind_to), seen(other, blind_to), method="CIE 2000"))


@pytest.mark.parametrize("blind_to", EYES)
@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_left_and_right_differ_for_every_eye(theme: Theme, blind_to: str | None) -> None:
    assert difference(theme.left, theme.right, blind_to) > THRESHOLD
    for side in (theme.left, theme.right):
        assert difference(side, theme.card, blind_to) > THRESHOLD
    assert PATTERNS[0] != PATTERNS[1], "and by their dashes"


@pytest.mark.parametrize("blind_to", EYES)
def test_walls_shades_and_what_glows_stand_out_from_light_of_any_brightness(blind_to: str | None) -> None:
    floor = [tuple(int(part) for part in row) for row in colours.light_colours()[::32]]
    # drawn in pairs, side by side: one of each shows on any ground
    pairs = {
        "wall": (colours.TRAY, colours.PAPER),
        "shade": (colours.LEAF_DARK, colours.LEAF_PALE),
        "goal": (colours.INK, colours.WHITE),
        "lamp": (colours.STRAW, colours.INK),
        "glow": (colours.STRAW, colours.INK),
        "the chosen one's ring": (colours.WHITE, colours.INK),
    }
    for name, pair in pairs.items():
        for ground in floor:
            assert max(difference(one, ground, blind_to) for one in pair) > THRESHOLD, (name, ground)


@pytest.mark.parametrize("blind_to", EYES)
@pytest.mark.parametrize("design", range(7))
def test_the_marks_of_pulses_stand_out_in_any_light(design: int, blind_to: str | None) -> None:
    look = colours.look(design)
    for row in colours.light_colours()[::32]:
        ground = tuple(int(part) for part in row)
        assert max(difference(one, ground, blind_to) for one in (look.colour, look.casing)) > THRESHOLD


def luminance(colour: Any) -> float:
    """Relative luminance of an sRGB colour, as WCAG 2.2 defines it."""
    parts = [part / 255.0 for part in colour]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: Any, other: Any) -> float:
    """Contrast ratio of two colours, as WCAG 2.2 defines it."""
    bright, dim = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_words_have_the_contrast_that_wcag_asks_for(theme: Theme) -> None:
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1
    pairs = [(ink, ground) for ink in (theme.ink, theme.faded) for ground in (theme.paper, theme.card)]
    pairs += [(theme.on_accent, theme.accent), (theme.left, theme.card), (theme.right, theme.card)]
    for ink, ground in pairs:
        assert contrast(ink, ground) >= 4.5, (ink, ground)
        assert colours.contrast_ratio(ink, ground) == pytest.approx(contrast(ink, ground))
    # and of frames and of what tells that a button is on, 1.4.11: at least 3 to 1
    assert min(contrast(theme.wood, ground) for ground in (theme.paper, theme.card)) >= 3.0
    assert contrast(theme.ink, theme.card) >= 3.0
    assert (luminance(theme.paper) > 0.5) == (theme is LIGHT)


def test_names_on_lines_of_equal_light_can_be_read() -> None:
    for row in colours.light_colours():
        ground = (int(row[0]), int(row[1]), int(row[2]))
        assert contrast(colours.readable_on(ground), ground) >= 4.5


def test_lines_and_marks_have_the_contrast_that_wcag_asks_for_in_any_light() -> None:
    # WCAG 2.2, success criterion 1.4.11: at least 3 to 1; of a line with a rim, one of the two
    grounds = colours.light_colours()
    for ground, line in zip(grounds, colours.line_colours(), strict=True):
        assert contrast(line, ground) >= 3.0
        for number in range(7):
            look = colours.look(number)
            assert max(contrast(look.colour, ground), contrast(look.casing, ground)) >= 3.0, number
            assert contrast(look.colour, look.casing) >= 3.0


@pytest.mark.parametrize("keys", [[], [pygame.K_w, pygame.K_n], [pygame.K_h], [pygame.K_t, pygame.K_w]])
@pytest.mark.parametrize("size", [(1280, 760), (1920, 1080), (820, 520), (600, 1100)])
def test_no_letters_are_smaller_than_14_points(
    keys: list[int], size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    sizes: list[float] = []
    text = Sheet.text

    def noted(self: Sheet, words: str, place: Any, letters: int, *rest: Any, **more: Any) -> None:
        sizes.append(letters)
        text(self, words, place, letters, *rest, **more)

    monkeypatch.setattr(Sheet, "text", noted)
    replay = potting_bench().replay()
    for design in replay.header["designs"]:
        design["yaml"] = "photodrome: design 1\nname: poppy\n"
    replay.header["built_names"] = ["storage.capacitance", "left.latch"]
    window = ReplayWindow(replay)
    for key in keys:
        window.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=0, unicode=""))
    window.draw(pygame.Surface(size))
    assert len(sizes) > 10
    assert min(sizes) >= 14


def turns(levels: NDArray[np.float64], least: float) -> NDArray[np.int64]:
    """Samples (frames, ...) at which a level has changed by ``least`` or more against its last direction.

    Each two of them are a flash: a pair of opposing changes, WCAG 2.2.
    """
    direction = np.zeros(levels.shape[1:], dtype=np.int64)
    high, low = levels[0].copy(), levels[0].copy()
    found = np.zeros(levels.shape, dtype=np.int64)
    for number, level in enumerate(levels[1:], start=1):
        high, low = np.maximum(high, level), np.minimum(low, level)
        # only where the darker of the two is below 0.8 it counts
        rises = (level - low >= least) & (low < 0.8) & (direction != 1)
        falls = (high - level >= least) & (level < 0.8) & (direction != -1)
        found[number] = rises | falls
        direction = np.where(rises, 1, np.where(falls, -1, direction))
        high = np.where(rises | falls, level, high)
        low = np.where(rises | falls, level, low)
    return found


def flashes_a_second(levels: NDArray[np.float64], rate: int, least: float = 0.1) -> NDArray[np.int64]:
    """The most flashes within any second of samples taken ``rate`` times a second."""
    count = np.cumsum(turns(levels, least), axis=0)
    in_a_second = count[rate:] - count[:-rate]
    return np.asarray((in_a_second.max(axis=0) + 1) // 2)


def test_flashes_are_counted_as_they_should() -> None:
    clock = np.arange(0.0, 3.0, 1 / 240)
    for rate in (1, 2, 3, 5, 8):
        wave = 0.3 + 0.2 * np.sign(np.sin(2 * np.pi * rate * clock + 0.1))
        assert flashes_a_second(wave[:, None], 240)[0] == pytest.approx(rate, abs=1)
    assert flashes_a_second((0.3 + 0.04 * np.sin(60 * clock))[:, None], 240)[0] == 0


@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(0.001, 2.0), min_size=1, max_size=300), st.sampled_from([24, 60, 144]))
def test_a_glow_never_flashes_fast_however_a_side_fires(gaps: list[float], rate: int) -> None:
    fired = np.cumsum(gaps)
    now = np.arange(0.0, min(fired[-1], 20.0) + 2.0, 1 / rate)
    last = np.searchsorted(fired, now, side="right") - 1
    since = np.where(last >= 0, now - fired[np.maximum(last, 0)], np.inf)
    levels = glow(since)
    assert ((levels >= 0) & (levels <= 1)).all()
    # the most by which a level can change the brightness of a place is from black to white
    assert flashes_a_second(levels[:, None], rate)[0] <= 3
    assert 1 / HOLD <= 3


def test_a_glow_holds_then_fades() -> None:
    np.testing.assert_allclose(
        glow(np.array([0.0, HOLD, HOLD + FADE / 2, HOLD + FADE, 99.0])), [1, 1, 0.5, 0, 0], atol=1e-9
    )
    assert glow(np.array([np.inf]))[0] == 0.0


def test_a_step_back_lights_only_what_fires_at_that_time() -> None:
    glows = Glows(np.array([1.0, 2.0, 3.0]), np.array([0, 1, 0]), np.array([0, 1, 1]), 2)
    glows.take(3.5, 10.0)
    np.testing.assert_array_equal(glows.levels(10.0), [[1, 1], [0, 1]])
    glows.take(2.0, 20.0)
    np.testing.assert_array_equal(glows.levels(20.0), [[0, 0], [0, 1]])
    glows.take(1.5, 30.0)
    assert glows.levels(30.0).max() == 0
    glows.take(3.0, 40.0)
    np.testing.assert_array_equal(glows.levels(40.0), [[0, 1], [0, 1]])
    glows.begin(2.5)
    glows.take(2.7, 50.0)
    assert glows.levels(50.0).max() == 0


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 255), min_size=30, max_size=60), st.sampled_from([24, 60, 144]))
def test_a_dissolve_keeps_any_flicker_below_three_flashes_a_second(grey: list[int], rate: int) -> None:
    dissolve, shown = Dissolve(), []
    surface = pygame.Surface((2, 2))
    for number in range(3 * rate):
        now = number / rate
        if dissolve.is_due(now, (2, 2)):
            picture = pygame.Surface((2, 2))
            picture.fill((grey[number % len(grey)],) * 3)
            dissolve.take(picture, now)
        dissolve.draw(surface, now)
        shown.append(luminance(surface.get_at((0, 0))[:3]))
    assert flashes_a_second(np.array(shown)[:, None], rate)[0] <= 3
    assert 1 / (2 * PERIOD) <= 3


@pytest.fixture(scope="module")
def restless() -> Replay:
    """Many walkers that fire every second and swing far to and fro: nothing a circuit would do."""
    made = Fabricator(seconds=900.0, arena=arena(), light_map=np.full((10, 20), 90.0))
    draw = np.random.default_rng(8)
    for number in range(24):
        x, y = 0.15 + 0.22 * (number % 8), 0.2 + 0.3 * (number // 8)
        walker = made.walker(x, y, 0.2, radius=0.05, design=0)
        for pulse in range(880):
            heading = float(draw.uniform(-3, 3))
            place = (x + 0.06 * math.cos(heading), y + 0.06 * math.sin(heading))
            made.pulse(
                walker, pulse + 0.3 + 0.01 * number, place, heading=heading, side=pulse % 2, lasts_s=0.5
            )
    return made.replay()


SCENES = [
    (speed, skips, closer)
    for speed, skips, closer in itertools.product((2.0, 20.0, 100.0, 1000.0), (False, True), (0, 6))
]


@pytest.mark.parametrize(("speed", "skips", "closer"), SCENES)
def test_the_window_does_not_flicker_at_any_speed(
    restless: Replay, speed: float, skips: bool, closer: int
) -> None:
    window, size, rate = ReplayWindow(restless), (1024, 768), 20
    surface = pygame.Surface(size)
    window.draw(surface)
    window.player.go_to(1.0)
    window.player.speed_step = SPEEDS.index(speed)
    window.player.skipping = skips
    if closer:
        window.player.choose(5)
        window.player.causes_shown = False
        for _ in range(closer):
            window.act("closer")
        window.act("follow")
        window.now_s += 1.0
    linear = np.array([luminance((level, 0, 0)) / 0.2126 for level in range(256)], dtype=np.float32)
    weights = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    shown = []
    for _ in range(2 * rate):
        window.draw(surface)
        shown.append(linear[pygame.surfarray.pixels3d(surface)[::2, ::2]] @ weights)
        window.advance(1 / rate)
    fast = flashes_a_second(np.array(shown), rate) > 3
    # WCAG 2.2 leaves a quarter of any 341 by 256 pixels of 1024 by 768, seen from arm's length, to any flash
    count = np.pad(np.cumsum(np.cumsum(fast, axis=0), axis=1), ((1, 0), (1, 0)))
    across, down = 341 // 2, 256 // 2
    most = (
        count[across:, down:] - count[:-across, down:] - count[across:, :-down] + count[:-across, :-down]
    ).max()
    assert 4 * most <= 0.25 * 341 * 256
    if speed >= 20.0 and not skips:
        assert window.hurries or not window.player.playing
        assert 4 * most <= 0.02 * 341 * 256, "all but the figures of the clock"
    if skips:
        assert window.player.pace <= 1.0 + 1e-9, "a pulse a second can be followed"


def test_a_run_at_an_easy_pace_is_drawn_frame_by_frame(restless: Replay) -> None:
    window = ReplayWindow(restless)
    window.player.speed_step = SPEEDS.index(1.0)
    assert window.player.pace == pytest.approx(880 / 900)
    assert window.player.pace < HURRIED
    assert not window.hurries


def test_the_view_follows_in_jumps_that_are_far_apart() -> None:
    camera, box = Camera((0.0, 0.0, 2.0, 1.0)), Box(0, 0, 800, 400)
    camera.come_closer(box, 6.0, 0.0)
    now, jumps = 1.0, []
    draw = np.random.default_rng(2)
    for _ in range(600):
        now += 1 / 60
        before = camera.centre
        camera.follow(box, float(draw.uniform(0, 2)), float(draw.uniform(0, 1)), now)
        if camera.centre != before:
            jumps.append(now)
    assert len(jumps) > 5
    assert np.diff(jumps).min() > 0.7
