"""A replay as a picture in a file, without a screen."""

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from agents.errors import OptionError
from replays.drawing import LEAST_WIDTH, MOST_WIDTH, Scene, height_for
from replays.record import Replay
from replays.score import DesignScore
from replays.sheet import pygame
from replays.writing import write_whole

# Drawn this much larger and averaged down, which smooths every edge.
_FINER = 2


def picture(
    replay: Replay, path: Path, width: int = 1600, scores: Sequence[DesignScore] | None = None
) -> None:
    """Write a PNG of ``width`` pixels that shows the arena from above and the whole run.

    ``scores`` are written beside the names of their designs. The same replay gives the same bytes on the same
    machine. Raises OptionError for a width outside 800 to 6000, OutputError when the file cannot be written.
    """
    if not LEAST_WIDTH <= width <= MOST_WIDTH:
        raise OptionError(f"a width of {width} pixels: give one from {LEAST_WIDTH} to {MOST_WIDTH}")
    height = height_for(replay, width, scores)
    scene = Scene(replay, width, height, _FINER, scores)
    fine = pygame.Surface((width * _FINER, height * _FINER))
    scene.draw(fine, replay.seconds)
    write_whole(path, png(_averaged(fine)))


def _averaged(fine: pygame.Surface) -> pygame.Surface:
    # Not pygame's own smooth scaling, whose last bit depends on the processor.
    pixels = pygame.surfarray.array3d(fine).astype(np.uint16)
    width, height = pixels.shape[0] // _FINER, pixels.shape[1] // _FINER
    blocks = pixels.reshape(width, _FINER, height, _FINER, 3).sum(axis=(1, 3))
    return pygame.surfarray.make_surface(((blocks + _FINER**2 // 2) // _FINER**2).astype(np.uint8))


def png(surface: pygame.Surface) -> bytes:
    """The bytes of a PNG file that shows ``surface``."""
    stream = io.BytesIO()
    pygame.image.save(surface, stream, "picture.png")
    return stream.getvalue()
