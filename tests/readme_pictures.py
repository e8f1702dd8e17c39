"""Draws the README's pictures of the two windows, without a screen.

    python -m tests.readme_pictures demo.replay.npz

The replay is that of ``photodrome demo``.
"""

import os
import sys
import time
from pathlib import Path

os.environ["SDL_VIDEODRIVER"] = "dummy"

from arena.workbench.computations import Terms
from arena.workbench.controller import Hands
from arena.workbench.view import Face
from arena.workbench.window import set_up
from replays.drawing.sheet import pygame
from replays.format.replay_file import read_replay
from replays.window.replay_window import Window

FOLDER = Path(__file__).parent.parent / ".pictures"
SIZE = (1200, 720)
# A moment of the demo at which sunflower 2 feels its way round the seed tray, and its number there.
MOMENT, WALKER = 710.5, 9


def window_on(path: Path) -> pygame.Surface:
    """The window on the replay at ``path``, with the causes of one walker."""
    window = Window(read_replay(path))
    sheet = pygame.Surface(SIZE)
    window.player.choose(WALKER)
    window.player.go_to(MOMENT)
    # a picture that takes long is put together over several frames
    for _ in range(100):
        window.draw(sheet)
    return sheet


def workbench_on(arena: str, design: str) -> pygame.Surface:
    """The workbench after its first race."""
    trial = set_up(arena, [design], Terms(walkers=8, seconds=2400.0))
    try:
        trial.refresh()
        hands, sheet = Hands(trial), pygame.Surface(SIZE)
        while trial.races.busy or trial.skies.busy or trial.spots.busy:
            time.sleep(0.01)
        hands.advance(0.01)
        trial.go_to(1500.0)
        face = Face(hands)
        face.draw(sheet)
        while not face.is_still():
            face.draw(sheet)
        return sheet
    finally:
        trial.close()
        trial.join()


if __name__ == "__main__":
    pygame.image.save(window_on(Path(sys.argv[1])), FOLDER / "watch.png")
    pygame.image.save(workbench_on("potting-bench", "poppy"), FOLDER / "try.png")
