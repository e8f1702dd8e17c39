"""The window from opening to closing, and the command that opens it."""

import threading
from pathlib import Path

import pytest

from agents.errors import OptionError, OutputError, SpecError
from arena.cli.command import main
from arena.workbench.window import set_up, workbench
from replays.drawing.sheet import pygame
from tests.helpers.workbench import SHORT


@pytest.mark.usefixtures("no_screen", "folder")
def test_the_window_runs_until_it_is_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    frames = []
    asked = {2: pygame.K_RIGHT, 3: pygame.K_f, 4: pygame.K_f, 5: pygame.K_q, 6: pygame.K_q}
    flip = pygame.display.flip

    def flipped() -> None:
        flip()
        frames.append(1)
        if len(frames) in asked:
            pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=asked[len(frames)], mod=0, unicode=""))

    monkeypatch.setattr(pygame.display, "flip", flipped)
    workbench("potting-bench.yaml", ["poppy.yaml"], SHORT)
    assert len(frames) == 7
    assert not pygame.display.get_init()


@pytest.mark.usefixtures("no_screen", "folder")
def test_without_a_screen_other_ways_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pygame.display, "get_driver", lambda: "offscreen")
    with pytest.raises(OutputError, match=r"photodrome picture .* photodrome film"):
        workbench("potting-bench.yaml", ["poppy.yaml"], SHORT)
    assert not pygame.display.get_init()


def test_bad_input_is_told_before_a_window_opens(folder: Path) -> None:
    (folder / "poppy.yaml").write_text("photodrome: design 1\nname: poppy\nboth: {latch: 10}\n")
    with pytest.raises(SpecError, match=r"both\.latch"):
        workbench("potting-bench.yaml", ["poppy.yaml"], SHORT)
    with pytest.raises(OptionError, match="are both called 'cress'"):
        set_up("potting-bench.yaml", ["cress.yaml", "cress"], SHORT)


@pytest.mark.usefixtures("no_screen", "folder")
def test_the_command_tells_by_its_exit_what_was_wrong(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def exit_of(*arguments: str) -> int:
        with pytest.raises(SystemExit) as caught:
            main(["try", *arguments])
        assert isinstance(caught.value.code, int)
        return caught.value.code

    assert exit_of("no-such-bench", "--design", "poppy") == 2
    assert "no shipped arena of this name" in capsys.readouterr().err
    assert exit_of("open-bench", "-d", "poppy", "-d", "poppy.yaml") == 2
    assert exit_of("open-bench", "-d", "poppy", "--walkers", "0") == 2
    capsys.readouterr()
    monkeypatch.setattr(pygame.display, "get_driver", lambda: "offscreen")
    assert exit_of("open-bench", "--design", "poppy") == 1
    told = capsys.readouterr().err
    assert "photodrome picture" in told
    assert "photodrome film" in told
    monkeypatch.undo()
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    flip = pygame.display.flip

    def flipped() -> None:
        flip()
        pygame.event.post(pygame.event.Event(pygame.QUIT))

    monkeypatch.setattr(pygame.display, "flip", flipped)
    others = set(threading.enumerate())
    assert exit_of("open-bench", "--design", "poppy", "--duration", "100000") == 0
    assert not set(threading.enumerate()) - others, "nothing goes on once the window is closed"
