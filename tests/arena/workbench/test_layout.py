"""Where everything lies in a window of any size, and that clicks land there."""

from collections.abc import Callable

import pytest

from agents.design.values_by_path import SCOPES
from agents.text.shipped import shipped_names
from arena.recording import describe_arena
from arena.workbench.controller import Controller
from arena.workbench.layout import (
    BOTH_SIZE,
    LEAST_SIZE,
    LETTERS,
    USUAL_SIZE,
    WorkbenchLayout,
    lay_out_workbench,
    scale_of,
)
from arena.workbench.view import WorkbenchView
from arena.workbench.workbench_keys import BUTTONS
from replays.drawing.label_placing import plate_size
from replays.drawing.metres_to_points import bounds
from replays.drawing.poses import Poses
from replays.drawing.sheet import Sheet, pygame
from tests.helpers.window_events import mouse, press
from tests.helpers.window_measures import FloorMeasure, measure_floor
from tests.helpers.workbench import settle, show, text_drawn

SIZES = [BOTH_SIZE, (1280, 720), (1280, 760), (1280, 1024), (1920, 1080), (3840, 2160), (2560, 700)]

# Heights over widths of floors: beside the panel, above it, and all but square.
ASPECTS = (0.58, 0.41, 1.0)


def laid_out(size: tuple[int, int], aspect: float, *, panel_shown: bool = True) -> WorkbenchLayout:
    """The layout of a window of so many pixels."""
    scale = scale_of(*size)
    return lay_out_workbench(round(size[0] / scale), round(size[1] / scale), aspect, panel_shown=panel_shown)


@pytest.mark.parametrize("aspect", ASPECTS)
@pytest.mark.parametrize(
    "size", [LEAST_SIZE, (800, 600), BOTH_SIZE, (1200, 720), (1280, 720), USUAL_SIZE, (1920, 1080)]
)
def test_buttons_have_room_for_their_words(size: tuple[int, int], aspect: float) -> None:
    scale = scale_of(*size)
    layout = laid_out(size, aspect)
    sheet = Sheet(pygame.Surface((8, 8)), scale)
    for rect, button in zip(layout.buttons, BUTTONS, strict=True):
        assert sheet.text_size(f"{button.words} {button.key}", layout.letters(14))[0] <= rect.width - 6
    for left, right in zip(layout.buttons, layout.buttons[1:], strict=False):
        assert left.right < right.left or left.bottom < right.top
    assert layout.buttons[-1].right <= layout.panel.right


@pytest.mark.parametrize("aspect", ASPECTS)
@pytest.mark.parametrize("size", SIZES, ids=str)
def test_nothing_lies_on_anything_else(size: tuple[int, int], aspect: float) -> None:
    layout = laid_out(size, aspect)
    window = pygame.Rect(0, 0, *layout.size)
    apart = [layout.head, layout.plan, layout.strip, layout.foot, layout.title, layout.pulse, layout.race]
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
    assert layout.strip.contains(layout.bar)
    assert layout.bar.width > 60
    assert layout.panel.contains(layout.causes)
    assert layout.causes.height >= 180
    alone = laid_out(size, aspect, panel_shown=False)
    bars = [alone.head, alone.plan, alone.strip, alone.foot]
    for number, rect in enumerate(bars):
        assert window.contains(rect)
        assert rect.collidelist(bars[number + 1 :]) == -1
    assert alone.strip.contains(alone.bar)
    assert alone.bar.width > 60
    assert not window.colliderect(alone.panel)


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


@pytest.mark.parametrize(
    "size", [(1280, 720), (1280, 1024), (1366, 768), (1920, 1080), (1920, 1200), (3840, 2160), (2560, 1080)]
)
def test_the_floor_takes_most_of_the_window(make: Callable[..., Controller], size: tuple[int, int]) -> None:
    """60 % of the window without the panel and 45 % with it, in every arena that is shipped.

    Or, of a floor whose shape would not let it have so much if nothing else were in the window, 85 % and 75 %
    of that: one that is square can have 56 % of a screen of 16 to 9.
    """
    for name in shipped_names("arena"):
        controller = make(name)
        aspect = show_and_tell_aspect(controller, size)
        bound = min(size[0] * aspect / size[1], size[1] / aspect / size[0])
        beside = floor_of(controller, size)
        assert beside.fills == pytest.approx(1.0, abs=0.01), name
        assert beside.floor >= min(0.45, 0.75 * bound), name
        press(controller, pygame.K_y)
        show(controller, size)
        alone = floor_of(controller, size)
        assert alone.fills == pytest.approx(1.0, abs=0.01), name
        assert alone.floor >= min(0.6, 0.85 * bound), name


def show_and_tell_aspect(controller: Controller, size: tuple[int, int]) -> float:
    """Draw it, and tell the height over the width of its floor."""
    show(controller, size)
    west, south, east, north = bounds(describe_arena(controller.state.floor.spec, ""))
    return (north - south) / (east - west)


def test_the_panel_lies_below_a_long_floor(make: Callable[..., Controller]) -> None:
    for name, is_below in (("slalom", True), ("potting-bench", False)):
        controller = make(name)
        show(controller, (1280, 720))
        layout = controller.layout
        assert (layout.panel.top >= layout.strip.bottom) == is_below
        for number, row in enumerate(layout.rows):
            mouse(controller, pygame.MOUSEBUTTONDOWN, (row.left + 3, row.centery))
            assert controller.state.selection.dial == number
        words = text_drawn(controller, (1280, 720))
        assert "undo u" in words
        assert any(one.startswith("both sides") and not one.endswith("...") for one in words)


def test_the_reading_of_the_meter_covers_no_name_and_no_walker(make: Callable[..., Controller]) -> None:
    """Where it stands in the middle of a goal, with walkers all round it."""
    controller = make("one-lamp", "poppy")
    controller.state.refresh()
    settle(controller)
    surface, view = pygame.Surface((1280, 720)), WorkbenchView(controller)
    for place_s in (0.0, 60.0, 120.0):
        controller.state.transport.go_to(place_s)
        plates: list[tuple[str, pygame.Rect]] = []

        def noted(sheet: Sheet, words: str, corner: tuple[float, float], size: int) -> None:
            plates.append((words, pygame.Rect(corner, plate_size(sheet, words, size))))  # noqa: B023

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Sheet, "plate", noted)
            view.draw(surface)
            while not view.is_still():
                plates.clear()
                view.draw(surface)
        read = [rect for words, rect in plates if words.startswith("meter")]
        assert len(read) == 1
        assert len(plates) > 2
        assert read[0].collidelist([rect for words, rect in plates if not words.startswith("meter")]) == -1
        assert controller.view is not None
        race = controller.state.background.race
        assert race is not None
        x, y, _ = Poses(race.replay).at(place_s)
        for at in zip(x.tolist(), y.tolist(), strict=True):
            assert not read[0].collidepoint(controller.view(*at))


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
        "releases at",
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
