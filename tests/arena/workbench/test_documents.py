"""Files on the workbench: saved, changed by others, loaded anew, and never lost unasked."""

from collections.abc import Callable
from pathlib import Path

import pytest

from agents.design.spec import parse_design, read_design
from agents.text.shipped import find_document
from arena.scene.spec import read_arena
from arena.workbench.controller import Controller
from arena.workbench.documents import design_of
from replays.drawing.sheet import pygame
from tests.helpers.window_events import mouse, press, write
from tests.helpers.workbench import drag, show


def test_saving_under_a_new_name_keeps_remarks_and_can_be_read_again(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    state = controller.state
    press(controller, pygame.K_RIGHT, pygame.K_s)
    assert controller.question is not None
    assert controller.question.text == "poppy-2.yaml"
    press(controller, pygame.K_RETURN)
    assert controller.question is None
    saved = (folder / "poppy-2.yaml").read_text(encoding="utf-8")
    design = parse_design(saved, "again")
    assert (design.name, design.left.eye.aside) == ("poppy 2", 0.031)
    shipped = find_document("poppy", "design").read_text(encoding="utf-8")
    assert (folder / "poppy.yaml").read_text(encoding="utf-8") == shipped
    changed = [
        pair for pair in zip(saved.splitlines(), shipped.splitlines(), strict=True) if pair[0] != pair[1]
    ]
    assert changed == [
        ("name: poppy 2", "name: poppy"),
        (
            "    aside: 31 mm          # from the middle; the wheels stand at 21 mm",
            "    aside: 30 mm          # from the middle; the wheels stand at 21 mm",
        ),
    ]
    assert not state.documents.unsaved
    assert state.document.path == Path("poppy-2.yaml")
    press(controller, pygame.K_a)
    assert controller.question is not None
    assert controller.question.text == "potting-bench-2.yaml"
    press(controller, *[pygame.K_BACKSPACE] * len(controller.question.text))
    write(controller, "quiet bench")
    press(controller, pygame.K_RETURN)
    assert read_arena(folder / "quiet bench.yaml").name == "quiet bench"


def test_nothing_is_written_over_without_saying_so(make: Callable[..., Controller], folder: Path) -> None:
    controller = make()
    press(controller, pygame.K_RIGHT, pygame.K_s)
    assert controller.question is not None
    press(controller, *[pygame.K_BACKSPACE] * len("-2.yaml"))
    assert controller.question.text == "poppy"
    before = (folder / "poppy.yaml").read_bytes()
    press(controller, pygame.K_RETURN)
    assert controller.question.note == "poppy.yaml is there already; Enter again writes over it"
    assert (folder / "poppy.yaml").read_bytes() == before
    write(controller, "x")
    press(controller, pygame.K_BACKSPACE, pygame.K_RETURN)
    assert controller.question is not None, "another name in between, so it is asked anew"
    (folder / "poppy.yaml").write_bytes(before + b"# by someone else\n")
    press(controller, pygame.K_BACKSPACE)
    write(controller, "y")
    press(controller, pygame.K_RETURN)
    assert controller.question.note == "poppy.yaml has changed on disk meanwhile; Enter again writes over it"
    press(controller, pygame.K_RETURN)
    assert controller.question is None
    assert read_design(folder / "poppy.yaml").left.eye.aside == 0.031
    press(controller, pygame.K_s)
    press(controller, *[pygame.K_BACKSPACE] * 80)
    press(controller, pygame.K_RETURN)
    assert controller.question is not None
    assert controller.question.note == "write a file name"
    write(controller, "nowhere/at/all")
    press(controller, pygame.K_RETURN)
    assert "cannot be written" in controller.question.note
    press(controller, pygame.K_ESCAPE)
    assert controller.question is None


def test_shipped_files_are_saved_in_the_present_folder(make: Callable[..., Controller], folder: Path) -> None:
    controller = make("skylight", "thistle-spins")
    press(controller, pygame.K_s)
    assert controller.question is not None
    assert Path(controller.question.text) == Path("thistle-spins-2.yaml")
    press(controller, pygame.K_RETURN, pygame.K_s)
    assert Path(controller.question.text) == Path("thistle-spins-3.yaml")


def test_a_file_that_changes_on_disk_is_noticed(make: Callable[..., Controller], folder: Path) -> None:
    controller = make()
    state = controller.state
    path = folder / "poppy.yaml"
    mine = state.document.text
    theirs = mine.replace("latch: 10k", "latch: 22k  # tried on the bench")
    controller.advance(2.0)
    assert state.documents.changed_on_disk == []
    path.write_text(theirs, encoding="utf-8")
    controller.advance(2.0)
    assert state.documents.changed_on_disk == [state.document]
    show(controller)
    press(controller, pygame.K_k)
    controller.advance(2.0)
    assert (state.documents.changed_on_disk, state.document.text) == ([], mine)
    path.write_text(theirs + "# again\n", encoding="utf-8")
    controller.advance(2.0)
    press(controller, pygame.K_l)
    assert design_of(state.document).left.latch == 22e3
    assert not state.document.is_changed
    press(controller, pygame.K_u)
    assert state.document.text == mine
    path.write_text(theirs.replace("latch: 22k", "latch: 22"), encoding="utf-8")
    controller.advance(2.0)
    press(controller, pygame.K_l)
    assert state.note.startswith("poppy.yaml stays as it is here: poppy.yaml:31:10: both.latch: got '22'")
    assert state.document.text == mine
    path.unlink()
    controller.advance(2.0)
    assert state.documents.changed_on_disk == [], "a file that is gone has nothing to load"


def test_a_file_loaded_in_the_midst_of_a_drag_may_have_lost_what_is_dragged(
    make: Callable[..., Controller], folder: Path
) -> None:
    controller = make()
    state = controller.state
    show(controller)
    assert controller.view is not None
    drag(controller, controller.view(1.05, 0.6), controller.view(1.2, 0.6), drop=False)
    assert state.floor.drag is not None
    assert state.floor.drag.now.kind == "wall"
    path = folder / "potting-bench.yaml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("walls:")] + text[text.index("shades:") :], encoding="utf-8")
    controller.advance(2.0)
    press(controller, pygame.K_l)
    assert state.floor.drag is None
    assert state.floor.spec.walls == ()
    mouse(controller, pygame.MOUSEMOTION, controller.view(1.3, 0.6))
    controller.advance(0.01)
    mouse(controller, pygame.MOUSEBUTTONUP, controller.view(1.3, 0.6))
    assert state.documents.arena.text == path.read_text(encoding="utf-8")
    # the wall is back, and nobody holds it
    drag(controller, controller.view(1.85, 0.7), controller.view(1.8, 0.6), drop=False)
    press(controller, pygame.K_u)
    assert state.floor.drag is None
    assert (state.documents.arena.text, len(state.floor.spec.walls)) == (text, 1)


@pytest.mark.parametrize(
    "name", ["/", ".", "~nobody-of-this-name/poppy", "p" * 300, "poppy.yaml/poppy", "loop"]
)
def test_a_name_that_no_file_can_have_is_told(
    make: Callable[..., Controller], folder: Path, name: str
) -> None:
    (folder / "loop.yaml").symlink_to("loop.yaml")
    controller = make()
    before = sorted(folder.iterdir())
    press(controller, pygame.K_s)
    assert controller.question is not None
    controller.question.text = name
    press(controller, pygame.K_RETURN, pygame.K_RETURN)
    assert controller.question is not None, "the question stays, with what was written"
    assert controller.question.text == name
    assert controller.question.note
    assert sorted(folder.iterdir()) == before
    show(controller)


def test_closing_asks_where_changes_would_be_lost(make: Callable[..., Controller], folder: Path) -> None:
    controller = make()
    press(controller, pygame.K_q)
    assert controller.state.closed
    controller = make()
    press(controller, pygame.K_RIGHT)
    controller.handle_event(pygame.event.Event(pygame.QUIT))
    assert not controller.state.closed
    show(controller)
    press(controller, pygame.K_ESCAPE)
    assert controller.question is None
    press(controller, pygame.K_q, pygame.K_s)
    assert controller.question is not None
    assert controller.question.document is controller.state.document
    press(controller, pygame.K_RETURN, pygame.K_q)
    assert controller.state.closed
    assert (folder / "poppy-2.yaml").is_file()
    controller = make()
    press(controller, pygame.K_RIGHT)
    for _ in range(2):
        controller.handle_event(pygame.event.Event(pygame.QUIT))
    assert controller.state.closed
