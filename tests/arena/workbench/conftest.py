"""A workbench in a folder of its own, without a screen; states are compared, not pixels."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from agents.text.shipped import find_document
from arena.workbench.controller import Controller
from arena.workbench.jobs import RaceTerms
from arena.workbench.state import WorkbenchState
from arena.workbench.window import set_up
from replays.drawing.sheet import pygame
from tests.helpers.workbench import SHORT


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with copies of a design and an arena, which is also the present one."""
    for name, kind in (
        ("poppy", "design"),
        ("cress", "design"),
        ("potting-bench", "arena"),
        ("open-bench", "arena"),
    ):
        (tmp_path / f"{name}.yaml").write_bytes(find_document(name, kind).read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def make(folder: Path) -> Iterator[Callable[..., Controller]]:
    """A way to lay out a workbench; whatever was laid out is cleared away."""
    made: list[WorkbenchState] = []

    def lay(arena: str = "potting-bench.yaml", *designs: str, terms: RaceTerms = SHORT) -> Controller:
        state = set_up(arena, designs or ("poppy.yaml",), terms)
        made.append(state)
        return Controller(state)

    yield lay
    for state in made:
        state.close()
    # a thread that compiles kernels anew on a busy machine cannot be stopped before it is through
    assert all(state.join(300.0) for state in made)


@pytest.fixture
def no_screen(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A display that shows nothing, as asked for."""
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    yield
    pygame.quit()
