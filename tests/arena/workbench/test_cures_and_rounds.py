"""Cures that are offered come true, are taken over, and are compared with what was before."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from agents.design.spec import parse_design
from agents.noise import round_seed
from arena.workbench.compared import (
    ROUNDS,
    against_pinned,
    figure_words,
    is_as_pinned,
    pair_count,
    side_by_side,
)
from arena.workbench.controller import Controller
from arena.workbench.documents import arena_of, design_of
from arena.workbench.jobs import ForecastJob, RaceTerms, forecast_pulse
from arena.workbench.rounds import RoundFigures, RoundsJob, RoundsResult, RoundsRunner
from replays.drawing.sheet import pygame
from tests.helpers.window_events import mouse, press
from tests.helpers.workbench import report_nothing, settle, settle_all, show, text_drawn

FEW = RaceTerms(walkers=3, seconds=600.0, rounds=6)


def test_a_cure_is_offered_taken_over_and_compared(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", "nettle-twitches", terms=FEW)
    state = controller.state
    state.refresh()
    settle_all(controller)
    assert state.background.forecast is not None
    faults = {name for name, _ in state.background.forecast.causes}
    assert "twitch" in faults
    cures = state.background.cures
    assert cures is not None
    best = cures.best
    assert best is not None
    assert "twitch" in best.cures
    # each offer is measured anew, from its values as a file would hold them
    for offer in cures.offers:
        changed = state.design.with_values(offer.values)
        job = ForecastJob(arena_of(state.documents.arena), changed, state.floor.meter)
        after = set(forecast_pulse(job, report_nothing).point.faults)
        assert after == set(offer.left)
        assert set(offer.cures) == faults - after
    words = " ".join(text_drawn(controller))
    assert "Cure (F2: apply" in words
    before = state.document.text
    press(controller, pygame.K_F2)
    assert state.document.text != before
    assert state.note.startswith("applied: ")
    for path, value in best.values.items():
        assert parse_design(state.document.text, "cured").value_at(path.replace("both.", "left.")) == value
    assert state.background.cures is None, "those of the design as it was hold no longer"
    settle_all(controller)
    assert state.background.forecast.causes == () or "twitch" not in dict(state.background.forecast.causes)
    rounds = state.background.rounds
    assert rounds is not None
    assert len(rounds) == len(rounds.pinned) == 6
    count = pair_count(rounds.now, 0, rounds.pinned, 0)
    assert count is not None
    assert (count.won, count.pairs, count.better) == (18, 18, 1)
    assert "better, told apart" in against_pinned(rounds, 0)
    assert any("better, told apart" in told for told in text_drawn(controller))
    press(controller, pygame.K_u)
    assert state.document.text == before
    settle_all(controller)
    assert state.background.rounds is not None
    assert is_as_pinned(state.background.rounds), "the rounds of what was pinned are known already"
    assert state.background.cures is not None


def test_apply_by_its_button_and_out_of_the_list(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", "nettle-twitches", terms=replace(FEW, rounds=0))
    state = controller.state
    state.refresh()
    press(controller, pygame.K_F2)
    assert state.note == "a cure is still being looked for"
    press(controller, pygame.K_F3)
    assert controller.asked is None
    settle_all(controller)
    show(controller)
    first = state.document.text
    mouse(controller, pygame.MOUSEBUTTONDOWN, controller.layout.buttons[6].center)
    by_button = state.document.text
    assert by_button != first
    press(controller, pygame.K_u)
    settle_all(controller)
    press(controller, pygame.K_F3)
    assert controller.asked is not None
    show(controller)
    press(controller, pygame.K_RETURN)
    assert controller.asked is None
    assert state.document.text == by_button


def test_a_cure_that_the_arena_has_no_room_for_is_told_and_taken_back(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make("open-bench.yaml", "poppy.yaml", terms=replace(FEW, rounds=5))
    state = controller.state
    state.refresh()
    settle_all(controller)
    assert state.background.cures is not None
    from arena.workbench.cure_jobs import CureOffer

    huge = {"body.outline": ((-0.6, -0.6), (0.6, -0.6), (0.6, 0.6), (-0.6, 0.6))}
    text = state.document.text
    state.apply_cure(CureOffer("a body as large as the bench", huge, ("twitch",), (), (), ()))
    settle_all(controller)
    assert state.fault
    show(controller)
    press(controller, pygame.K_F6)
    assert state.note.startswith("not pinned")
    press(controller, pygame.K_u)
    settle_all(controller)
    assert (state.document.text, state.fault) == (text, "")
    assert state.background.rounds is not None


def test_what_is_pinned_stays_and_rounds_are_added(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", "poppy.yaml", terms=replace(FEW, rounds=5))
    state = controller.state
    state.refresh()
    settle_all(controller)
    press(controller, pygame.K_F6)
    assert state.pinned is not None
    pinned = state.pinned
    for key in (pygame.K_DOWN, pygame.K_RIGHT, pygame.K_RIGHT):
        press(controller, key)
        settle_all(controller)
        assert state.pinned is pinned
    press(controller, pygame.K_F5)
    settle_all(controller)
    assert state.background.rounds is not None
    assert len(state.background.rounds) == len(state.background.rounds.pinned) == 5 + ROUNDS
    state.close()


def test_a_round_is_the_race_with_a_seed_of_its_own_and_both_have_the_same_luck(
    make: Callable[..., Controller],
) -> None:
    from arena.simulation import simulate
    from replays.scoring.scores import score

    controller = make("open-bench.yaml", "poppy.yaml", "cress.yaml", terms=FEW)
    contest = controller.state.contest()
    runner = RoundsRunner()
    result = runner.run(RoundsJob(contest, contest, 2, 1), report_nothing)
    assert is_as_pinned(result)
    for number, figures in enumerate(result.now):
        scores = score(simulate(replace(contest, seed=round_seed(contest.seed, number)), 1))
        assert [int((~np.isnan(row)).sum()) for row in figures.reach_s] == [one.reached for one in scores]
    assert against_pinned(result, 0) == "the same as the pinned one"
    assert "tell nothing" in side_by_side(result)[0]


def _rounds(reach: np.ndarray) -> tuple[RoundFigures, ...]:
    """Rounds (rounds, walkers) of one design with a goal."""
    nothing = np.zeros((1, reach.shape[1]))
    return tuple(RoundFigures(True, row[None, :], nothing, nothing + 1.0) for row in reach)


def test_pairs_are_counted_and_only_a_difference_that_is_there_is_told() -> None:
    """A sign test on six rounds that all go one way has p = 2 / 2^6 = 0.031 (by hand)."""
    slow = np.full((6, 4), 300.0)
    count = pair_count(_rounds(slow - 100.0), 0, _rounds(slow), 0)
    assert count is not None
    assert (count.won, count.lost, count.pairs, count.better) == (24, 0, 24, 1)
    back = pair_count(_rounds(slow), 0, _rounds(slow - 100.0), 0)
    assert back is not None
    assert (back.lost, back.better) == (24, -1)
    few = pair_count(_rounds(slow[:4] - 100.0), 0, _rounds(slow[:4]), 0)
    assert few is not None
    assert few.better is None
    # one and the same luck: of many comparisons no more than about 5 % tell a difference
    chance = np.random.default_rng(5)
    told = 0
    for _ in range(200):
        one, other = chance.uniform(0.0, 900.0, (2, 8, 4))
        found = pair_count(_rounds(one), 0, _rounds(other), 0)
        assert found is not None
        told += bool(found.better)
    assert 0 < told < 24
    # who does not arrive comes after who does
    never = np.full((6, 4), np.nan)
    lost = pair_count(_rounds(never), 0, _rounds(slow), 0)
    assert lost is not None
    assert lost.lost == 24
    assert "24 of 24 arrived, 100 %" in figure_words(_rounds(slow), 0)
    # rounds that happen to be alike do not make a figure exact: 18 of 24 by Wilson is 55 to 88 % (by hand)
    slow[:, 0] = np.nan
    assert figure_words(_rounds(slow), 0) == "18 of 24 arrived, 75 % (55 to 88 %)"


def test_designs_side_by_side_are_ranked_in_a_line(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", "poppy.yaml", "nettle-twitches", terms=FEW)
    state = controller.state
    state.refresh()
    settle_all(controller)
    line = "poppy before nettle that twitches in 18 of 18 pairs, told apart"
    assert isinstance(state.background.rounds, RoundsResult)
    assert side_by_side(state.background.rounds) == [line]
    assert line in " ".join(text_drawn(controller)), "the whole of it, verdict and all"
    # the line follows the next change
    press(controller, pygame.K_d)
    assert design_of(state.document).name == "nettle that twitches"
    settle_all(controller)
    press(controller, pygame.K_F2)
    assert state.background.rounds is None
    settle_all(controller)
    assert side_by_side(state.background.rounds) != [line]


@pytest.mark.parametrize("name", ["poppy", "thistle-spins"])
def test_light_of_the_search_is_that_of_the_arena(name: str) -> None:
    from agents.design.spec import read_design
    from arena.recording import map_of
    from arena.scene.spec import read_arena
    from arena.workbench.cure_jobs import lights_of

    spec, design = read_arena("open-bench"), read_design(name)
    least, most = lights_of(spec, design.panel.height, 1.0)
    assert least == 10.0
    assert most == pytest.approx(float(map_of(spec, design.panel.height).max()), rel=0.05)


def test_closing_while_cures_and_rounds_are_under_way_ends_both(make: Callable[..., Controller]) -> None:
    controller = make(
        "open-bench.yaml", "nettle-twitches", terms=RaceTerms(walkers=4, seconds=900.0, rounds=400)
    )
    state = controller.state
    state.refresh()
    settle(controller)
    controller.advance(0.6)
    assert state.background.cure_searches.busy
    assert state.background.round_runs.busy
    press(controller, pygame.K_q)
    assert state.closed
    assert state.join(30.0)
    assert state.background.round_runs.take() is None


def test_what_was_pinned_without_room_to_start_is_left_out(make: Callable[..., Controller]) -> None:
    controller = make("open-bench.yaml", "poppy.yaml", terms=FEW)
    contest = controller.state.contest()
    crowded = replace(contest, walkers=400)
    result = RoundsRunner().run(RoundsJob(contest, crowded, 2, 1), report_nothing)
    assert (len(result), result.pinned) == (2, ())
    assert against_pinned(result, 0) == ""
