"""A replay as a film in a file, without a screen: animated PNG or GIF, or MP4 with the extra ``film``."""

import io
import math
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray
from agents.errors import OptionError, OutputError
from replays.drawing.calm_fast_play import HURRIED, PERIOD, Dissolve
from replays.drawing.glow import Glows
from replays.drawing.moving_spans import Stretches
from replays.drawing.pages import ReplayPage
from replays.drawing.projector_page import TEXT as PROJECTED
from replays.drawing.projector_page import ProjectorPage, projected_scale
from replays.drawing.sheet import pygame
from replays.drawing.sizes import Size, size_of
from replays.drawing.theme import LIGHT, Theme
from replays.drawing.ticker_strip import TickerStrip
from replays.format.tables import Replay
from replays.format.whole_files import check_writable, write_whole

USUAL_SIZES = {".gif": "960x540", ".png": "960x540", ".mp4": "1280x720"}
"""Sizes of films of which none is asked for, by the endings of the files that can be made."""

FORMATS = tuple(USUAL_SIZES)
"""Endings of the files that can be made."""

USUAL_SECONDS = 20.0
"""Length of a film of which no speed is asked for [s]."""

# The last picture stands so long [s], and a film has so many frames at the most.
_LAST_STANDS = 2.0
MOST_FRAMES = 6000

# Number of the colour of a GIF that stands for "as before".
_CLEAR = 255

Frame = NDArray[np.uint8]
Progress = Callable[[float], None]
Ticker = Callable[[float, float], str]
"""What a line at the foot tells at a time of the film [s] that shows the run at a time [s]."""


@dataclass(frozen=True)
class Shooting:
    """What of a run is filmed, and how fast.

    From ``from_s`` to ``to_s`` [s] of the run, None for its end; ``speed`` seconds of the run go by in one of
    the film, None for a film of 20 s; ``rate`` frames a second. Stretches in which nobody moves are left out
    where ``skips_waits``.
    """

    from_s: float = 0.0
    to_s: float | None = None
    speed: float | None = None
    rate: float = 20.0
    skips_waits: bool = True


def frame_times(replay: Replay, shooting: Shooting) -> FloatArray:
    """Times of the run [s] that the frames show, in their order. Raises OptionError."""
    end = replay.seconds if shooting.to_s is None else shooting.to_s
    if not 0.0 <= shooting.from_s < end <= replay.seconds * (1 + 1e-9):
        raise OptionError(
            f"a film from {shooting.from_s:g} s to {end:g} s: the run lasts from 0 s to {replay.seconds:g} s"
        )
    if not 1.0 <= shooting.rate <= 60.0:
        raise OptionError(f"{shooting.rate:g} frames a second: give 1 to 60")
    if shooting.speed is not None and not 0.0 < shooting.speed <= 1e6:
        raise OptionError(f"a speed of {shooting.speed:g}: give a number above 0")
    stretches = Stretches.of(replay)
    skips = shooting.skips_waits and stretches.busy_s > 0.0
    first = stretches.to_busy(shooting.from_s) if skips else shooting.from_s
    last = stretches.to_busy(end) if skips else end
    length = last - first
    speed = length / USUAL_SECONDS if shooting.speed is None else shooting.speed
    if length <= 0.0 or speed <= 0.0:
        # nobody moves: the two ends are all there is to see
        return np.array([shooting.from_s, end])
    frames = math.ceil(length / speed * shooting.rate)
    if frames > MOST_FRAMES:
        raise OptionError(
            f"a film of {frames} frames, where {MOST_FRAMES} is the most: "
            "give a higher speed or a shorter part"
        )
    clock = first + np.arange(frames) * speed / shooting.rate
    shown = np.array([stretches.to_run(busy) for busy in clock.tolist()]) if skips else clock
    return np.append(np.clip(np.maximum.accumulate(shown), shooting.from_s, end), end)


def frames(
    replay: Replay,
    shooting: Shooting,
    size: Size,
    theme: Theme = LIGHT,
    progress: Progress | None = None,
    ticker: Ticker | None = None,
) -> Iterator[Frame]:
    """The frames of a film, (height, width, 3), one after the other."""
    times = frame_times(replay, shooting)
    width, height = size.points
    whole = pygame.Surface((size.width, size.height))
    surface, strip = whole, None
    if ticker is not None:
        strip = TickerStrip(size.width, size.scale, theme)
        surface = whole.subsurface((0, 0, size.width, size.height - strip.height))
        height -= math.ceil(strip.height / size.scale)
    scene = ReplayPage(replay, width, height, size.scale, theme=theme, has_standings=True)
    dissolve = Dissolve() if _hurries(replay, times, shooting.rate) else None
    pulses = replay.pulses
    glows = Glows(pulses["start_s"], pulses["walker"], pulses["side"], len(replay.walkers))
    glows.begin(float(times[0]))
    for number, time_s in enumerate(times.tolist()):
        now = number / shooting.rate
        glows.take(time_s, now)
        if dissolve is None:
            scene.draw(surface, time_s, glows.levels(now))
        elif number + 1 == len(times):
            scene.draw(surface, time_s)
        else:
            if dissolve.is_due(now, surface.get_size()):
                # the picture for the moment at which the dissolve will have come to its end
                ahead = min(number + round(PERIOD * shooting.rate), len(times) - 1)
                picture = pygame.Surface(surface.get_size())
                scene.draw(picture, float(times[ahead]), has_clock=False)
                dissolve.take(picture, now)
            dissolve.draw(surface, now)
            scene.draw_clock(surface, time_s)
        if number + 1 == len(times) and time_s >= replay.seconds:
            scene.draw_final(surface)
        if ticker is not None and strip is not None:
            strip.draw(whole, ticker(now, time_s))
        yield np.ascontiguousarray(pygame.surfarray.array3d(whole).swapaxes(0, 1))
        if progress is not None:
            progress((number + 1) / len(times))


def show_frames(
    replay: Replay,
    shooting: Shooting,
    size: Size,
    theme: Theme = LIGHT,
    progress: Progress | None = None,
    names: Sequence[str] | None = None,
    yours: int | None = None,
    heading: str | None = None,
    ticker: Ticker | None = None,
) -> Iterator[Frame]:
    """The frames of the show of a run, (height, width, 3), as a projector shows it."""
    whole = pygame.Surface((size.width, size.height))
    surface, strip, letters = whole, None, 1.0
    if ticker is not None:
        scale = projected_scale(size.width, size.height)
        strip = TickerStrip(size.width, scale, theme, PROJECTED)
        surface = whole.subsurface((0, 0, size.width, size.height - strip.height))
        # as large as without it
        letters = scale / projected_scale(*surface.get_size())
    page = ProjectorPage(replay, *surface.get_size(), theme, names, yours, heading, letters)
    count = math.ceil(page.times.seconds * shooting.rate)
    if count > MOST_FRAMES:
        raise OptionError(f"a show of {count} frames, where {MOST_FRAMES} is the most: give fewer a second")
    dissolve = Dissolve()
    pulses, walkers = replay.pulses["start_s"], max(len(replay.walkers), 1)
    for number in range(count):
        now = number / shooting.rate
        part = page.times.part_at(now)
        fired = np.count_nonzero((pulses >= part.from_s) & (pulses <= part.to_s)) / walkers
        if fired > HURRIED * part.lasts_s > 0.0:
            if dissolve.is_due(now, surface.get_size()):
                picture = pygame.Surface(surface.get_size())
                page.draw(picture, now)
                dissolve.take(picture, now)
            dissolve.draw(surface, now)
        else:
            dissolve.forget()
            page.draw(surface, now)
        if ticker is not None and strip is not None:
            strip.draw(whole, ticker(now, page.times.run_time(now)))
        yield np.ascontiguousarray(pygame.surfarray.array3d(whole).swapaxes(0, 1))
        if progress is not None:
            progress((number + 1) / count)


def _hurries(replay: Replay, times: FloatArray, rate: float) -> bool:
    """Whether pulses follow so fast in a film of frames at ``times`` [s] that it would flicker."""
    starts = replay.pulses["start_s"]
    pulses = np.count_nonzero((starts >= times[0]) & (starts <= times[-1]))
    return bool(pulses / max(len(replay.walkers), 1) > HURRIED * len(times) / rate)


def make_film(
    replay: Replay,
    path: str | Path,
    shooting: Shooting | None = None,
    size: str | None = None,
    theme: Theme = LIGHT,
    progress: Progress | None = None,
    *,
    ticker: Ticker | None = None,
) -> None:
    """Write a film of ``replay`` to ``path``, whole or not at all; its ending tells the format.

    ``size`` is slide, phone, or like 1280x720; None takes what suits the format. ``ticker`` gives the words
    at the foot, see :class:`replays.causes.cause_ticker.CauseTicker`. Raises OptionError for what cannot be
    made, OutputError when the file cannot be written or the extra for MP4 is missing.

    >>> from arena import read_contest, simulate
    >>> race = simulate(read_contest("slalom", ["poppy"], walkers=1, seconds=30))
    >>> make_film(race, "slalom.gif", size="320x320")
    """
    shooting = shooting or Shooting()
    measured = _film_size(Path(path), size)
    frame_times(replay, shooting)
    check_writable(Path(path))
    _write_film(
        Path(path), frames(replay, shooting, measured, theme, progress, ticker), measured, shooting.rate
    )


def make_show(
    replay: Replay,
    path: str | Path,
    size: str | None = None,
    theme: Theme = LIGHT,
    progress: Progress | None = None,
    *,
    rate: float = 12.0,
    names: Sequence[str] | None = None,
    yours: int | None = None,
    heading: str | None = None,
    ticker: Ticker | None = None,
) -> None:
    """Write a film of the show of ``replay``, of the parts of :mod:`replays.drawing.show_times`, to ``path``.

    ``rate`` frames a second. ``names`` are what walkers are called, None for design and number; ``yours`` is
    the number of a walker that is told in any case; ``heading`` stands in place of the arena's name;
    ``ticker`` is as for :func:`make_film`, which also says what is raised.

    >>> from arena import read_contest, simulate
    >>> race = simulate(read_contest("slalom", ["poppy"], walkers=2, seconds=30))
    >>> make_show(race, "show.gif", size="320x320", rate=1.0)
    """
    shooting = Shooting(rate=rate)
    measured = _film_size(Path(path), size)
    frame_times(replay, shooting)
    check_writable(Path(path))
    shown = show_frames(replay, shooting, measured, theme, progress, names, yours, heading, ticker)
    _write_film(Path(path), shown, measured, rate)


def _film_size(path: Path, size: str | None) -> Size:
    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise OptionError(f"{path}: a film ends in {', '.join(FORMATS[:-1])} or {FORMATS[-1]}")
    return size_of(size or USUAL_SIZES[ending])


def _write_film(path: Path, shown: Iterator[Frame], size: Size, rate: float) -> None:
    ending = path.suffix.lower()
    if ending == ".mp4":
        content = _as_mp4(shown, size, rate)
    else:
        content = _as_gif(shown, rate) if ending == ".gif" else _as_png(shown, rate)
    write_whole(path, content)


def _as_png(shown: Iterator[Frame], rate: float) -> bytes:
    """Animated PNG: W3C, Portable Network Graphics, third edition."""
    from PIL import Image

    held = [Image.fromarray(frame) for frame in shown]
    lasts = round(1000.0 / rate)
    durations = [lasts] * (len(held) - 1) + [lasts + round(1000.0 * _LAST_STANDS)]
    stream = io.BytesIO()
    held[0].save(stream, format="PNG", save_all=True, append_images=held[1:], duration=durations, loop=0)
    return stream.getvalue()


def _as_gif(shown: Iterator[Frame], rate: float) -> bytes:
    """GIF89a, in 255 colours that serve all frames, so that nothing flickers.

    What has not changed since the frame before is left transparent, which makes the file several times
    smaller.
    """
    from PIL import Image

    held: list[Any] = []
    palette: Any = None
    before: NDArray[np.uint8] | None = None
    for frame in shown:
        picture = Image.fromarray(frame)
        if palette is None:
            palette = picture.quantize(
                colors=_CLEAR, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE
            )
        index = np.asarray(picture.quantize(palette=palette, dither=Image.Dither.NONE))
        drawn = index if before is None else np.where(index == before, np.uint8(_CLEAR), index)
        before = index
        reduced = Image.fromarray(drawn)
        reduced.putpalette(palette.getpalette())
        held.append(reduced)
    # the format counts time in hundredths of a second, and viewers slow down what is faster than two
    lasts = max(20, 10 * round(100.0 / rate))
    durations = [lasts] * (len(held) - 1) + [lasts + round(1000.0 * _LAST_STANDS)]
    stream = io.BytesIO()
    held[0].save(
        stream,
        format="GIF",
        save_all=True,
        append_images=held[1:],
        duration=durations,
        loop=0,
        transparency=_CLEAR,
        disposal=1,
        optimize=False,
    )
    return stream.getvalue()


def _as_mp4(shown: Iterator[Frame], size: Size, rate: float) -> bytes:
    """H.264 in MP4, by the ffmpeg that comes with imageio-ffmpeg."""
    try:
        import imageio_ffmpeg
    except ImportError as error:
        raise OutputError(
            "films in MP4 need the extra film: pip install 'photodrome[film]'; GIF and PNG need nothing more"
        ) from error
    with tempfile.TemporaryDirectory() as folder:
        part = Path(folder) / "film.mp4"
        # the codec takes even numbers of pixels only
        width, height = size.width // 2 * 2, size.height // 2 * 2
        writer = imageio_ffmpeg.write_frames(
            str(part),
            (width, height),
            fps=rate,
            codec="libx264",
            quality=None,
            macro_block_size=2,
            output_params=["-crf", "20", "-preset", "medium", "-movflags", "+faststart"],
        )
        try:
            writer.send(None)
            last: Frame | None = None
            for frame in shown:
                last = np.ascontiguousarray(frame[:height, :width])
                writer.send(last)
            for _ in range(round(_LAST_STANDS * rate)):
                writer.send(last)
        except OSError as error:
            raise OutputError(f"the film could not be made: {error}") from error
        finally:
            writer.close()
        return part.read_bytes()
