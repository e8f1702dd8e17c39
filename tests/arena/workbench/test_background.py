"""Races and light worked out in the background, and how the run on show goes on meanwhile."""

import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from arena.workbench.controller import Controller
from arena.workbench.jobs import (
    RaceJob,
    RaceResult,
    RaceTerms,
    run_race,
)
from arena.workbench.latest_worker import LatestWorker, ProgressReport
from replays.drawing.sheet import pygame
from tests.helpers.window_events import press
from tests.helpers.workbench import dial_number, drag, settle, show


def test_the_map_of_light_goes_along_with_the_height_of_the_panel(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    path = folder / "poppy.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("panel:\n", "panel:\n  height: 300 mm\n"), encoding="utf-8")
    controller.advance(2.0)
    press(controller, pygame.K_l)
    settle(controller)
    assert state.background.race is not None
    assert state.background.light is not None
    # a replay keeps ten binary digits of its map
    np.testing.assert_allclose(state.background.light, state.background.race.replay.light_map, rtol=1e-3)


def test_a_run_stops_when_the_window_is_closed(make: Callable[..., Controller]) -> None:
    controller = make(terms=RaceTerms(walkers=30, seconds=1e6))
    state = controller.state
    state.refresh()
    until = time.monotonic() + 300.0
    while state.background.races.done == 0.0:
        assert time.monotonic() < until
        time.sleep(0.01)
    state.close()
    assert state.join(30.0), "a million seconds of thirty walkers would take far longer"
    assert state.background.races.take() is None


def test_of_many_races_the_latest_is_run(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    started: list[float] = []
    go_on = threading.Event()

    def slow(race: RaceJob, report: ProgressReport[RaceResult]) -> RaceResult:
        started.append(race.contest.entrants[0].design.storage.capacitance)
        assert go_on.wait(60.0)
        report(0.5)
        return run_race(race, report)

    state.background.races = LatestWorker("race", slow)
    state.refresh()
    while not started:
        time.sleep(0.001)
    state.selection.dial = dial_number("storage")
    press(controller, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_LEFT)
    assert state.is_stale
    go_on.set()
    settle(controller)
    assert started == [2200e-6, 4700e-6], "what lay between was never begun"
    assert state.background.race is not None
    assert state.background.scores_before == ()
    assert "4700 uF" in state.background.race.replay.header["designs"][0]["yaml"]
    scores = state.background.race.scores
    press(controller, pygame.K_u)
    settle(controller)
    assert state.background.scores_before == scores


def test_the_first_run_is_shown_while_it_is_under_way(make: Callable[..., Controller]) -> None:
    controller = make(terms=RaceTerms(walkers=20, seconds=4e5))
    state = controller.state
    state.refresh()
    seen: list[float] = []
    until = time.monotonic() + 300.0
    while len(seen) < 3 and state.background.races.busy:
        assert time.monotonic() < until
        time.sleep(0.05)
        controller.advance(0.05)
        if state.background.is_live and (not seen or state.transport.until_s > seen[-1]):
            assert state.background.race is not None
            replay = state.background.race.replay
            seen.append(state.transport.until_s)
            assert state.transport.time_s == state.transport.until_s, "the picture goes along"
            assert not state.is_faded
            assert replay.poses["time_s"].max() <= 4e5 * (0.02 + state.transport.until_s / 4e5)
            assert len(np.unique(replay.poses["walker"])) == 20
            assert replay.pulses["start_s"].max() > 0.5 * state.transport.until_s
            show(controller)
    assert len(seen) == 3
    assert seen == sorted(seen)
    press(controller, pygame.K_HOME, pygame.K_END)
    assert state.transport.time_s in (state.transport.seconds, state.transport.until_s)


def test_a_run_that_is_soon_replaced_does_not_flicker(make: Callable[..., Controller]) -> None:
    """WCAG 2.3.1: no more than three flashes a second."""
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    go_on = threading.Event()

    def slow(race: RaceJob, report: ProgressReport[RaceResult]) -> RaceResult:
        assert go_on.wait(60.0)
        return run_race(race, report)

    state.background.races.close()
    state.background.races = LatestWorker("race", slow)
    press(controller, pygame.K_RIGHT)
    changes = 0
    for _ in range(39):
        controller.advance(0.01)
        assert state.is_stale
        changes += state.is_faded
    assert changes == 0
    controller.advance(0.05)
    assert state.is_faded
    go_on.set()
    settle(controller)
    assert not state.is_faded


def test_the_view_of_the_run_goes_on_through_a_change(make: Callable[..., Controller]) -> None:
    controller = make()
    state = controller.state
    state.refresh()
    settle(controller)
    assert state.transport.time_s == 120.0, "the whole run is shown first"
    press(controller, pygame.K_HOME, pygame.K_PERIOD, pygame.K_PERIOD)
    assert state.transport.time_s == pytest.approx(2.4)
    state.selection.dial = dial_number("latch")
    press(controller, pygame.K_RIGHT)
    settle(controller)
    assert state.transport.time_s == pytest.approx(2.4)
    press(controller, pygame.K_SPACE, pygame.K_PAGEUP)
    assert (state.transport.playing, state.transport.speed) == (True, 100.0)
    controller.advance(0.1)
    assert state.transport.time_s == pytest.approx(12.4)
    controller.advance(60.0)
    assert (state.transport.playing, state.transport.time_s) == (False, 120.0)
    press(controller, pygame.K_SPACE, pygame.K_PAGEDOWN, pygame.K_PAGEDOWN)
    assert (state.transport.time_s, state.transport.speed) == (0.0, 20.0)
    bar = controller.layout.bar
    drag(controller, bar.center, (bar.left + 0.25 * bar.width, 0.0))
    assert state.transport.time_s == pytest.approx(30.0, abs=0.2)
    assert not state.transport.playing


def test_walkers_without_room_are_told_of(make: Callable[..., Controller]) -> None:
    controller = make(terms=RaceTerms(walkers=400, seconds=60.0))
    state = controller.state
    state.refresh()
    settle(controller)
    assert "start zone" in state.fault
    assert state.background.race is None
    show(controller)
