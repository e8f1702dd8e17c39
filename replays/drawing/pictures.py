"""A replay as a picture in a file, without a screen."""

import io
from collections.abc import Sequence
from pathlib import Path

from agents.errors import OptionError
from replays.drawing.pages import LEAST_WIDTH, MOST_WIDTH, ReplayPage, height_for
from replays.drawing.sheet import pygame
from replays.drawing.sizes import size_of
from replays.drawing.theme import LIGHT, Theme
from replays.format.tables import Replay
from replays.format.whole_files import write_whole
from replays.scoring.scores import DesignScore


def draw_picture(
    replay: Replay,
    path: str | Path,
    width: int = 1600,
    scores: Sequence[DesignScore] | None = None,
    *,
    size: str | None = None,
    time_s: float | None = None,
    theme: Theme = LIGHT,
) -> None:
    """Write a PNG of ``width`` pixels, or of a ``size``, that shows the arena from above.

    ``size`` is slide, phone, or like 1280x720. The run is shown as far as ``time_s`` [s], or whole.
    ``scores`` are written beside the names of their designs while the run is shown whole in a picture of a
    width; elsewhere it is told who has arrived. The same replay gives the same bytes on the same machine.

    Raises OptionError for a width outside 800 to 6000, another size that cannot be made or a time outside of
    the run, OutputError when the file cannot be written.

    >>> from arena import read_contest, simulate
    >>> race = simulate(read_contest("slalom", ["poppy"], walkers=2, seconds=60))
    >>> draw_picture(race, "slalom.png", size="640x480")
    """
    if time_s is not None and not 0.0 <= time_s <= replay.seconds:
        raise OptionError(f"a picture at {time_s:g} s: the run lasts from 0 s to {replay.seconds:g} s")
    until = replay.seconds if time_s is None else time_s
    if size is not None:
        measured = size_of(size)
        pixels, points, scale = (measured.width, measured.height), measured.points, measured.scale
        told = None
    else:
        if not LEAST_WIDTH <= width <= MOST_WIDTH:
            raise OptionError(f"a width of {width} pixels: give one from {LEAST_WIDTH} to {MOST_WIDTH}")
        told = scores if time_s is None else None
        height = height_for(replay, width, told)
        pixels, points, scale = (width, height), (width, height), 1.0
    scene = ReplayPage(replay, *points, scale, told, theme, has_standings=told is None)
    surface = pygame.Surface(pixels)
    scene.draw(surface, until)
    write_whole(Path(path), png(surface))


def png(surface: pygame.Surface) -> bytes:
    """The bytes of a PNG file that shows ``surface``."""
    stream = io.BytesIO()
    pygame.image.save(surface, stream, "picture.png")
    return stream.getvalue()
