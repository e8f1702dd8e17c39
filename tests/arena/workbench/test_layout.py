"""Where everything lies in a window of any size, and that clicks land there."""

from collections.abc import Callable

import pytest

from agents.design.values_by_path import SCOPES
from agents.text.shipped import shipped_names
from arena.recording import describe_arena
from arena.workbench.controller import Controller
from arena.workbench.layout import BOTH_SIZE, LEAST_SIZE, LETTERS, USUAL_SIZE, lay_out_workbench, scale_of
from arena.workbench.workbench_keys import BUTTONS
from replays.drawing.sheet import Sheet, pygame
from tests.helpers.window_events import mouse, press
from tests.helpers.window_measures import FloorMeasure, measure_floor
from tests.helpers.workbench import settle, show, text_drawn

SIZES = [BOTH_SIZE, (1280, 760), (1280, 1024), (1920, 1080), (3840, 2160), (2560, 700)]


@pytest.mark.parametrize(
    "size", [LEAST_SIZE, (800, 600), BOTH_SIZE, (1200, 720), (1280, 720), USUAL_SIZE, (1920, 1080)]
)
def test_buttons_have_room_for_their_words(size: tuple[int, int]) -> None:
    scale = scale_of(*size)
    layout = lay_out_workbench(round(size[0] / scale), round(size[1] / scale))
    sheet = Sheet(pygame.Surface((8, 8)), scale)
    for rect, button in zip(layout.buttons, BUTTONS, strict=True):
        assert sheet.text_size(f"{button.words} {button.key}", layout.letters(14))[0] <= rect.width - 6
    for left, right in zip(layout.buttons, layout.buttons[1:], strict=False):
        assert left.right < right.left or left.bottom < right.top
    assert layout.buttons[-1].right <= layout.panel.right


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_nothing_lies_on_anything_else(size: tuple[int, int]) -> None:
    scale = scale_of(*size)
    layout = lay_out_workbench(round(size[0] / scale), round(size[1] / scale))
    window = pygame.Rect(0, 0, *layout.size)
    apart = [layout.head, layout.plan, layout.bar, layout.foot, layout.title, layout.pulse, layout.race]
    apart += [*layout.scopes, *layout.rows, *layout.buttons]
    for number, rect in enumerate(apart):
        assert window.contains(rect)
        assert rect.width > 0
        assert rect.height > 0
        assert rect.collidelist(apart[number + 1 :]) == -1
    for rect in (layout.title, layout.pulse, layout.race, *layout.rows, *layout.buttons):
        assert layout.panel.contains(rect)
    for row, rail in zip(layout.rows, layout.rails, strict=True):
        assert row.contains(rail)
    assert layout.letters(1) >= 14
    assert layout.pulse.height >= 130


@pytest.mark.parametrize("size", [(1280, 760), (1920, 1080), (300, 200)], ids=str)
def test_clicks_land_where_things_are_drawn_at_any_size(
    make: Callable[..., Controller], size: tuple[int, int]
) -> None:
    controller = make("potting-bench.yaml", "poppy.yaml", "cress.yaml")
    show(controller, size)
    assert controller.scale == scale_of(*size)
    is_small = size[0] < BOTH_SIZE[0]
    for number, row in enumerate(controller.layout.rows):
        mouse(controller, pygame.MOUSEBUTTONDOWN, (row.left + 3, row.centery))
        assert controller.state.selection.dial == number
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.scopes[2].center)
    assert SCOPES[controller.state.selection.scope] == "right"
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.title.center)
    assert controller.state.selection.design == 1
    if is_small:
        press(controller, pygame.K_y)
        show(controller, size)
    assert controller.view is not None
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.view(1.85, 0.7))
    assert controller.state.selection.movable == ("lamps", 0, "place")
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.85, 0.7))
    if is_small:
        press(controller, pygame.K_y)
        show(controller, size)
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[3].center)
    assert controller.question is not None
    assert controller.question.document is controller.state.documents.arena


@pytest.mark.parametrize("size", [(1280, 720), (1280, 1024), (1920, 1200), (3840, 2160), (2560, 1080)])
def test_the_floor_takes_most_of_the_window(make: Callable[..., Controller], size: tuple[int, int]) -> None:
    """60 % of a screen of the usual shape without the panel; with it, and on any other screen, the room of
    the floor is 60 %, and the floor as large in it as its shape lets it be."""
    for name in shipped_names("arena"):
        controller = make(name)
        show(controller, size)
        beside = floor_of(controller, size)
        assert beside.room >= 0.6, name
        assert beside.fills == pytest.approx(1.0, abs=0.01), name
        press(controller, pygame.K_y)
        show(controller, size)
        alone = floor_of(controller, size)
        assert alone.room >= 0.9, name
        assert alone.fills == pytest.approx(1.0, abs=0.01), name
        # a floor that is all but square cannot fill a wide screen
        if 1.5 < size[0] / size[1] < 2.0 and name != "one-lamp":
            assert alone.floor >= 0.6, name


def floor_of(controller: Controller, size: tuple[int, int]) -> FloorMeasure:
    """The measure of the floor in a workbench of ``size`` pixels that has been drawn."""
    assert controller.view is not None
    arena = describe_arena(controller.state.floor.spec, "")
    window = (size[0] / controller.scale, size[1] / controller.scale)
    return measure_floor(controller.view, arena, window)


@pytest.mark.parametrize("size", [LEAST_SIZE, (800, 600), (990, 700)], ids=str)
def test_a_small_window_shows_the_panel_or_the_floor_whole(size: tuple[int, int]) -> None:
    window = pygame.Rect(0, 0, *size)
    for shown in (True, False):
        layout = lay_out_workbench(*size, panel_shown=shown)
        panel = [layout.title, layout.pulse, layout.race, *layout.scopes, *layout.rows, *layout.buttons]
        floor = [layout.head, layout.plan, layout.strip]
        inside, outside = (panel, floor) if shown else (floor, panel)
        inside = [*inside, layout.foot]
        assert not any(window.colliderect(rect) for rect in outside)
        for number, rect in enumerate(inside):
            assert window.contains(rect)
            assert min(rect.size) > 0
            assert rect.collidelist(inside[number + 1 :]) == -1
        assert layout.strip.contains(layout.bar)
        assert layout.bar.width > 60


def test_letters_twice_as_large_leave_nothing_out(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", "nettle-twitches")
    controller.state.refresh()
    settle(controller)
    small = set(text_drawn(controller, (1280, 720)))
    for _ in LETTERS[1:]:
        press(controller, pygame.K_z)
    assert controller.larger == len(LETTERS) - 1
    large = set(text_drawn(controller, (1280, 720)))
    assert controller.scale == 2.0
    press(controller, pygame.K_y)
    large |= set(text_drawn(controller, (1280, 720)))
    for words in (
        "trigger",
        "beside a lamp",
        "The race",
        "open bench",
        "nettle that twitches",
        "undo u",
        "pin F6",
    ):
        assert words in small
        assert words in large
    assert any("of 0:02:00" in words for words in large), "the clock"
    assert any(words.startswith("! twitch") for words in large)
    press(controller, pygame.K_h)
    show(controller, (1280, 720))
    press(controller, pygame.K_z, pygame.K_z)
    assert controller.larger == 0
