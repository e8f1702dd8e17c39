"""Floors that are drawn little by little: the same picture in the end, and never much of it in a frame."""

import gc
import math
import os

os.environ["SDL_VIDEODRIVER"] = "dummy"

import numpy as np
import pytest

from replays.drawing.figures import ALL_WAYS, NO_WAYS, Moment
from replays.drawing.kept_floors import KeptFloor
from replays.drawing.laid_ground import PIECE, GroundPlan, LaidGround
from replays.drawing.light_map import LightMap
from replays.drawing.metres_to_points import View, fit
from replays.drawing.moving_picture import Stage
from replays.drawing.sheet import pygame
from replays.drawing.theme import DARK, LIGHT
from replays.drawing.trails import Trails
from replays.format.tables import Replay
from tests.helpers.window_measures import crowd_in
from tests.helpers.work_in_frames import count_pixels

LARGE = (1600, 900)


@pytest.fixture(scope="module")
def replay() -> Replay:
    return crowd_in("potting-bench")


def whole_view(replay: Replay, scale: float = 1.0, size: tuple[int, int] = LARGE) -> View:
    return fit(replay.arena, 0.0, 0.0, size[0] / scale, size[1] / scale)


def pixels(surface: pygame.Surface) -> np.ndarray:
    return pygame.surfarray.array3d(surface).astype(int)


@pytest.mark.parametrize("scale", [1.0, 1.5, 2.0])
def test_light_that_is_painted_row_by_row_has_no_seams(replay: Replay, scale: float) -> None:
    view, light = whole_view(replay, scale, (640, 360)), LightMap.of(replay)
    size = (round(view.width * scale), round(view.height * scale))
    at_once, by_row = (pygame.Surface(size, 0, 32) for _ in range(2))
    light.paint_rows(at_once, view, scale, 0, size[1])
    for row in range(size[1]):
        light.paint_rows(by_row, view, scale, row, row + 1)
    assert (pixels(at_once) == pixels(by_row)).all()


@pytest.mark.parametrize(("scale", "fine"), [(1.0, 2), (2.0, 1)])
def test_a_ground_that_is_given_little_time_is_the_same_in_the_end(
    replay: Replay, scale: float, fine: int
) -> None:
    plan = GroundPlan(replay.arena, LightMap.of(replay))
    view = whole_view(replay, scale, (1280, 720))
    at_once, slow = (LaidGround(plan, view, scale, LIGHT, fine) for _ in range(2))
    assert at_once.advance(math.inf)
    steps = 1
    while not slow.advance(0.0):
        steps += 1
    assert steps > 5
    assert (pixels(at_once.surface) == pixels(slow.surface)).all()
    assert at_once.names == slow.names
    assert at_once.names
    assert max(slow.pieces) <= PIECE


def test_nothing_of_the_light_shows_beyond_the_floor(replay: Replay) -> None:
    view = whole_view(replay, 1.0, (640, 360))
    for theme in (LIGHT, DARK):
        for coarse in (True, False):
            ground = LaidGround(
                GroundPlan(replay.arena, LightMap.of(replay), coarse=coarse), view, 1.0, theme
            )
            ground.advance(math.inf)
            # a corner of the room round the floor
            assert tuple(pixels(ground.surface)[1, 1]) == theme.paper


@pytest.mark.parametrize("change", ["theme", "closer", "given up"])
def test_no_picture_is_kept_that_is_no_longer_shown(replay: Replay, change: str) -> None:
    """Nor left to whoever looks for cycles: a picture takes megabytes, of which Python knows nothing."""

    def kept() -> dict[str, int]:
        here = gc.get_objects()
        return {
            kind.__name__: sum(isinstance(one, kind) for one in here)
            for kind in (KeptFloor, LaidGround, Trails)
        }

    surface = pygame.Surface((640, 360))
    views = [whole_view(replay, 1.0, (640, 360))]
    views.append(View(0.0, 0.0, 640.0, 360.0, views[0].west, views[0].south, 1.3 * views[0].zoom))
    gc.collect()
    gc.disable()
    try:
        before = kept()
        stage = Stage(replay, LIGHT, 1.0)
        for number in range(8):
            view = views[0] if change == "theme" else views[number % 2]
            if change == "theme":
                stage = Stage(replay, DARK if number % 2 else LIGHT, 1.0, known=stage)
            stage.draw(surface, view, Moment(500.0), budget_s=0.0 if change == "given up" else math.inf)
        held = {name: count - before[name] for name, count in kept().items()}
    finally:
        gc.enable()
    # what is shown, what is being made, and the ways that both have
    assert max(held.values()) <= 2, held
    assert min(held.values()) >= 1, held


@pytest.mark.parametrize("change", ["theme", "closer", "ways", "earlier", "size"])
@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_after_a_change_no_frame_draws_more_than_a_few_pieces(
    replay: Replay, change: str, scale: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    view, moment, surface = whole_view(replay, scale), Moment(500.0), pygame.Surface(LARGE)
    stage = Stage(replay, LIGHT, scale)
    stage.draw(surface, view, moment)
    before = pixels(surface)
    drawn = count_pixels(monkeypatch)
    if change == "theme":
        stage = Stage(replay, DARK, scale, known=stage)
    elif change == "closer":
        view = View(*large_box(scale), view.west, view.south, 1.3 * view.zoom)
    elif change == "ways":
        moment = Moment(500.0, ways=NO_WAYS)
    elif change == "earlier":
        moment = Moment(200.0)
    else:
        stage = Stage(replay, LIGHT, 1.5, known=stage)
        view = whole_view(replay, 1.5)
    frames = []
    stage.draw(surface, view, moment, budget_s=0.0)
    frames.append(drawn())
    if change == "theme":
        # what was there stays until all is ready
        assert (pixels(surface)[400:900, 200:700] == before[400:900, 200:700]).mean() > 0.95
    while not stage.is_settled:
        stage.draw(surface, view, moment, budget_s=0.0)
        frames.append(drawn())
    assert max(frames) <= 2 * PIECE
    assert sum(frames) >= (2 if change in ("theme", "closer", "size") else 1) * PIECE
    fresh = pygame.Surface(LARGE)
    monkeypatch.undo()
    Stage(replay, stage.theme, stage.scale).draw(fresh, view, moment)
    assert (np.abs(pixels(fresh) - pixels(surface)).max(axis=2) > 40).mean() < 0.002


@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_from_the_first_frame_on_no_more_than_a_few_pieces_are_drawn_in_one(
    replay: Replay, scale: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    view, moment, surface = whole_view(replay, scale), Moment(500.0), pygame.Surface(LARGE)
    drawn = count_pixels(monkeypatch)
    stage, frames = Stage(replay, LIGHT, scale), []
    first = None
    while not stage.is_settled:
        stage.draw(surface, view, moment, budget_s=0.0)
        frames.append(drawn())
        first = pixels(surface) if first is None else first
    assert len(frames) > 3
    # ground and ways are put together in the frame after the last piece of the ground
    assert max(frames) <= LARGE[0] * LARGE[1]
    assert sorted(frames)[-2] <= 2 * PIECE
    # what is shown until then is the light, and not an empty floor
    assert first is not None
    assert (np.abs(first - pixels(surface)).max(axis=2) < 60).mean() > 0.85
    monkeypatch.undo()
    fresh = pygame.Surface(LARGE)
    Stage(replay, LIGHT, scale).draw(fresh, view, moment)
    assert (pixels(fresh) == pixels(surface)).all()


def large_box(scale: float) -> tuple[float, float, float, float]:
    return 0.0, 0.0, LARGE[0] / scale, LARGE[1] / scale


def test_a_change_that_is_taken_back_leaves_the_picture_that_was_there(replay: Replay) -> None:
    view, surface = whole_view(replay, 1.0, (640, 360)), pygame.Surface((640, 360))
    stage = Stage(replay)
    stage.draw(surface, view, Moment(500.0))
    before = pixels(surface)
    stage.draw(surface, view, Moment(500.0, ways=NO_WAYS), budget_s=0.0)
    stage.draw(surface, view, Moment(500.0, ways=ALL_WAYS), budget_s=0.0)
    assert stage.is_settled
    assert (pixels(surface) == before).all()
