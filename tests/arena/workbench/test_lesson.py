"""A lesson by keyboard alone, in the window's own loop: open, run, follow, fault, cure, compare, save."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from agents.design.spec import parse_design
from arena.workbench import window
from arena.workbench.compared import pair_count
from arena.workbench.controller import Controller
from arena.workbench.documents import arena_of, design_of
from arena.workbench.jobs import RaceTerms
from arena.workbench.state import WorkbenchState
from replays.drawing.sheet import pygame

TERMS = RaceTerms(walkers=3, seconds=600.0, rounds=6)


def _is_settled(state: WorkbenchState) -> bool:
    background = state.background
    return not (background.is_busy or state.is_searching or background.round_runs.busy or state.rounds_due)


@pytest.mark.usefixtures("no_screen")
def test_a_lesson_by_keyboard_alone(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    made: list[Controller] = []

    class Kept(Controller):
        def __init__(self, state: WorkbenchState) -> None:
            super().__init__(state)
            made.append(self)

    monkeypatch.setattr(window, "Controller", Kept)
    passed: list[str] = []

    def script() -> Iterator[tuple[int, str, int] | None]:
        """Keys one by one as (code, letter, modifiers), and None to wait until all is worked out."""
        controller = made[0]
        state = controller.state

        def typed(text: str) -> Iterator[tuple[int, str, int]]:
            for letter in text:
                yield ord(letter), letter, 0
            yield pygame.K_RETURN, "", 0

        yield None
        passed.append("opened")
        yield pygame.K_F7, "", 0
        yield from typed("nettle-twitches")
        yield pygame.K_F8, "", 0
        yield from typed("open-bench.yaml")
        yield None
        assert design_of(state.document).name == "nettle that twitches"
        assert arena_of(state.documents.arena).name == "open bench"
        passed.append("another design and arena")
        yield pygame.K_HOME, "", 0
        yield pygame.K_SPACE, "", 0
        assert state.transport.playing
        yield pygame.K_SPACE, "", 0
        yield pygame.K_w, "", 0
        assert controller.walkers.chosen == 0
        yield pygame.K_ESCAPE, "", 0
        passed.append("run and followed")
        assert state.background.forecast is not None
        assert "twitch" in dict(state.background.forecast.causes)
        before = state.document.text
        yield pygame.K_F3, "", 0
        assert controller.asked is not None
        yield pygame.K_RETURN, "", 0
        assert state.document.text != before
        yield None
        assert "twitch" not in dict(state.background.forecast.causes)
        passed.append("cured")
        rounds = state.background.rounds
        assert rounds is not None
        count = pair_count(rounds.now, 0, rounds.pinned, 0)
        assert count is not None
        assert count.better == 1
        passed.append("compared")
        yield pygame.K_RETURN, "", 0
        yield from typed("50 mm")
        assert {design_of(state.document).left.eye.aside, design_of(state.document).right.eye.aside} == {
            0.025
        }
        yield pygame.K_BACKSPACE, "", 0
        assert design_of(state.document).left.eye.aside == 0.03
        passed.append("written and reset")
        yield pygame.K_s, "", 0
        assert controller.question is not None
        for _ in range(len(controller.question.text)):
            yield pygame.K_BACKSPACE, "", 0
        yield from typed("cured")
        assert controller.question is None
        passed.append("saved")
        yield pygame.K_q, "", 0

    steps: list[Iterator[tuple[int, str, int] | None]] = []
    waits = [False]
    flip = pygame.display.flip

    def flipped() -> None:
        flip()
        if not steps:
            steps.append(script())
        if waits[0]:
            made[0].state.advance(0.1)
            if not _is_settled(made[0].state):
                return
            waits[0] = False
        step = next(steps[0], None)
        if step is None:
            waits[0] = True
            return
        key, letter, modifiers = step
        pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, mod=modifiers, unicode=letter))

    monkeypatch.setattr(pygame.display, "flip", flipped)
    # every frame is drawn, so that a key follows each
    monkeypatch.setattr("arena.workbench.view.WorkbenchView.is_still", lambda _: False)
    assert window.workbench("potting-bench.yaml", ["poppy.yaml"], TERMS)
    assert passed == [
        "opened",
        "another design and arena",
        "run and followed",
        "cured",
        "compared",
        "written and reset",
        "saved",
    ]
    saved = parse_design((folder / "cured.yaml").read_text(encoding="utf-8"), "cured.yaml")
    assert saved.name == "cured"
    assert saved.left.latch < 82e3
