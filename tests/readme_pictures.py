"""Draws the README's pictures of the windows, without a screen.

    python -m tests.readme_pictures demo.replay.npz

The replay is that of ``photodrome demo``.
"""

import os
import sys
from pathlib import Path

os.environ["SDL_VIDEODRIVER"] = "dummy"

from arena.workbench.controller import Controller
from arena.workbench.jobs import RaceTerms
from arena.workbench.view import WorkbenchView
from arena.workbench.window import set_up
from replays.drawing.projector_page import ProjectorPage
from replays.drawing.sheet import pygame
from replays.drawing.show_times import SLOW
from replays.format.replay_file import read_replay
from replays.window.replay_window import ReplayWindow
from tests.helpers.workbench import settle_all

FOLDER = Path(__file__).parent.parent / ".pictures"
SIZE, SHOW = (1200, 720), (1280, 720)
# A moment of the demo at which sunflower 8 pushes against others under the lamp, and its number there.
MOMENT, WALKER = 1396.95, 15


def window_on(path: Path) -> pygame.Surface:
    """The window on the replay at ``path``, with the causes of one walker."""
    window = ReplayWindow(read_replay(path))
    sheet = pygame.Surface(SIZE)
    window.player.choose(WALKER)
    window.player.go_to(MOMENT)
    # a picture that takes long is put together over several frames
    for _ in range(100):
        window.draw(sheet)
    return sheet


def show_on(path: Path) -> pygame.Surface:
    """The show of the replay at ``path``, some time after the first arrival."""
    page, sheet = ProjectorPage(read_replay(path), *SHOW, yours=WALKER), pygame.Surface(SHOW)
    slow = page.times.begin_of(SLOW)
    page.draw(sheet, 30.0 if slow is None else slow + 7.0)
    return sheet


def workbench_on(arena: str, design: str) -> pygame.Surface:
    """The workbench with a design whose cure has been taken over, and what rounds tell of it."""
    state = set_up(arena, [design], RaceTerms(walkers=8, seconds=2400.0))
    try:
        state.refresh()
        controller, sheet = Controller(state), pygame.Surface(SIZE)
        settle_all(controller)
        state.apply_cure()
        settle_all(controller)
        state.transport.go_to(1500.0)
        view = WorkbenchView(controller)
        view.draw(sheet)
        while not view.is_still():
            view.draw(sheet)
        return sheet
    finally:
        state.close()
        state.join()


if __name__ == "__main__":
    pygame.image.save(window_on(Path(sys.argv[1])), FOLDER / "watch.png")
    pygame.image.save(show_on(Path(sys.argv[1])), FOLDER / "show.png")
    pygame.image.save(workbench_on("potting-bench", "nettle-twitches"), FOLDER / "try.png")
