"""What lies on the plan: chosen, moved by keys, dragged, and put back where it cannot be."""

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from arena.scene.spec import parse_arena, read_arena
from arena.workbench.controller import Controller
from arena.workbench.documents import arena_of
from arena.workbench.jobs import (
    RaceTerms,
)
from arena.workbench.movables import METER, movable_of, movables_of, with_movable
from replays.drawing.sheet import pygame
from replays.window.key_meanings import PLAN_MODE
from tests.helpers.window_events import mouse, press
from tests.helpers.workbench import drag, settle, show


def test_a_lamp_is_dragged_and_the_light_and_the_race_follow(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    show(controller)
    assert controller.view is not None
    light, raced = state.background.light, state.background.race
    assert light is not None
    drag(
        controller,
        controller.view(1.85, 0.7),
        controller.view(1.5, 0.5),
        controller.view(1.351, 0.4515),
        drop=False,
    )
    settle(controller)
    assert state.floor.drag is not None
    assert state.background.light is not light, "shadows move while the lamp is in the hand"
    assert state.background.race is raced
    assert not state.documents.arena.is_changed
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.351, 0.4515))
    assert arena_of(state.documents.arena).lamps[0].place == (1.35, 0.45)
    assert "    place: 1.35 0.45 m\n" in state.documents.arena.text
    assert state.background.races.busy
    assert state.background.race is raced, "the old run stays until the new one is there"
    settle(controller)
    assert state.background.race is not raced
    assert state.background.race is not None
    assert state.background.race.replay.arena["lamps"][0]["x"] == 1.35
    row, column = np.unravel_index(np.argmax(state.background.light), state.background.light.shape)
    assert math.dist((0.01 * (column + 0.5), 0.01 * (row + 0.5)), (1.35, 0.45)) < 0.25
    press(controller, pygame.K_u)
    assert state.documents.arena.text == state.documents.arena.clean


def test_only_what_casts_or_stops_light_has_the_map_drawn_anew(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml")
    state = controller.state
    state.refresh()
    settle(controller)
    light = state.background.light
    state.selection.movable = ("starts", "places", 0, "place")
    state.selection.mode = PLAN_MODE
    press(controller, pygame.K_LEFT)
    assert state.documents.arena.is_changed
    settle(controller)
    state.selection.choose_dial(0)
    press(controller, pygame.K_RIGHT)
    settle(controller)
    assert state.background.light is light


@pytest.mark.parametrize(
    ("path", "to", "reason"),
    [
        (("walls", 0, "outline"), (2.4, 0.4), "leaves the floor"),
        (("shades", 0, "outline"), (5.0, 5.0), "beside the floor"),
        (("starts", "zone", "outline"), (2.2, 0.15), "leaves the floor"),
        (METER, (-0.5, 0.5), "the meter lies on the floor"),
    ],
)
def test_an_impossible_place_is_shown_and_refused(
    make: Callable[..., Controller], path: tuple[object, ...], to: tuple[float, float], reason: str
) -> None:
    controller = make()
    state = controller.state
    show(controller)
    assert controller.view is not None
    movable = movable_of(state.floor.movables(), path)
    assert movable.path == path
    middle = tuple(np.mean(movable.points, axis=0)) if not movable.is_point else movable.points[0]
    if movable.kind == "zone":
        middle = (0.2, 0.2)
    grip = controller.view(*middle)
    there = controller.view(
        middle[0] + to[0] - movable.points[0][0], middle[1] + to[1] - movable.points[0][1]
    )
    drag(controller, grip, there, drop=False)
    assert state.floor.drag is not None
    assert state.floor.drag.origin.path == path
    assert reason in state.floor.drag.fault
    show(controller)
    mouse(controller, pygame.MOUSEBUTTONUP, there)
    assert reason in state.note
    assert state.floor.drag is None
    assert not state.documents.unsaved
    assert state.documents.history.place == 0
    assert movable_of(state.floor.movables(), path) == movable


def test_starts_keep_room_for_their_bodies(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", terms=RaceTerms(seconds=60.0))
    state = controller.state
    state.selection.choose_movable(("starts", "places", 0, "place"))
    before = state.documents.arena.text
    for _ in range(30):
        press(controller, pygame.K_UP)
    first, second = (one.place for one in (arena_of(state.documents.arena).starts.places or ())[:2])
    # places 0.2 m apart, bodies of poppy 52 mm across
    assert 0.05 < second[1] - first[1] < 0.07
    assert "too near one another" in state.note
    state.put_back()
    press(controller, pygame.K_u)
    assert state.documents.arena.text == before


def test_everything_on_the_plan_can_be_chosen_and_moved_by_keys(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    kinds = []
    for _ in state.floor.movables():
        press(controller, pygame.K_m)
        movable = state.chosen_movable()
        kinds.append(movable.kind)
        press(controller, pygame.K_LEFT, pygame.K_UP)
        press(controller, pygame.K_DOWN, mod=pygame.KMOD_LSHIFT)
        moved = state.chosen_movable()
        ways = {
            (round(x - a, 4), round(y - b, 4))
            for (x, y), (a, b) in zip(moved.points, movable.points, strict=True)
        }
        assert ways == {(-0.01, 0.009)}
    assert sorted(kinds) == ["aim", "goal", "lamp", "meter", "shade", "wall", "zone"]
    press(controller, pygame.K_m)
    press(controller, pygame.K_m, mod=pygame.KMOD_LSHIFT)
    assert state.chosen_movable().kind == kinds[-1]
    assert parse_arena(state.documents.arena.text, "again") == arena_of(state.documents.arena)
    assert state.documents.arena.text.count("#") == state.documents.arena.clean.count("#")
    press(controller, pygame.K_ESCAPE)
    assert not state.selection.on_plan


def test_escape_puts_back_what_is_held(make: Callable[..., Controller]) -> None:
    controller = make()
    show(controller)
    assert controller.view is not None
    drag(controller, controller.view(1.85, 0.7), controller.view(1.5, 0.5), drop=False)
    press(controller, pygame.K_ESCAPE)
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.5, 0.5))
    assert controller.state.floor.drag is None
    assert not controller.state.documents.unsaved
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.view(2.3, 0.1))
    assert controller.state.floor.drag is None


def test_things_say_what_the_file_says() -> None:
    spec = read_arena("slalom")
    for movable in movables_of(spec):
        moved = with_movable(spec, movable.moved(0.0, 0.0))
        assert moved == spec
        if not movable.is_point:
            middle = np.mean(movable.points[:2], axis=0)
            assert movable.distance(*middle) == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(ValueError, match="leaves the floor"):
        with_movable(spec, movable_of(movables_of(spec), ("walls", 0, "line")).moved(5.0, 0.0))


def test_what_is_let_go_of_under_a_question_is_held_no_longer(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    show(controller)
    assert controller.view is not None
    drag(controller, controller.view(1.85, 0.7), controller.view(1.8, 0.6), drop=False)
    press(controller, pygame.K_a)
    assert controller.question is not None
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.8, 0.6))
    press(controller, pygame.K_ESCAPE)
    assert controller.state.floor.drag is None
    assert arena_of(controller.state.documents.arena).lamps[0].place == (1.8, 0.6)
    mouse(controller, pygame.MOUSEMOTION, controller.view(0.5, 0.5))
    controller.advance(0.01)
    assert controller.state.floor.spec.lamps[0].place == (1.8, 0.6)
