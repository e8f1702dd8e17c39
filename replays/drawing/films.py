"""A replay as a film in a file, without a screen: animated PNG or GIF, or MP4 with the extra ``film``."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from agents.arrays import FloatArray
from agents.errors import OptionError
from replays.drawing.calm_fast_play import HURRIED, PERIOD, Dissolve
from replays.drawing.film_files import Frame, write_frames
from replays.drawing.glow import Glows
from replays.drawing.moving_spans import Stretches
from replays.drawing.pages import ReplayPage
from replays.drawing.projector_page import TEXT as PROJECTED
from replays.drawing.projector_page import ProjectorPage, projected_scale
from replays.drawing.sheet import pygame
from replays.drawing.show_times import ShowTimes
from replays.drawing.sizes import Size, size_of
from replays.drawing.theme import LIGHT, Theme
from replays.drawing.ticker_strip import TickerStrip
from replays.format.tables import Replay
from replays.format.whole_files import check_writable, whole_file
from replays.scoring.progress import Progress

USUAL_SIZES = {".gif": "960x540", ".png": "960x540", ".mp4": "1280x720"}
"""Sizes of films of which none is asked for, by the endings of the files that can be made."""

FORMATS = tuple(USUAL_SIZES)
"""Endings of the files that can be made."""

USUAL_SECONDS = 20.0
"""Length of a film of which no speed is asked for [s]."""

MOST_FRAMES, MOST_PIXELS = 6000, 4_000_000_000
"""Frames of a film at the most, and pixels of all of them together unless more are asked for."""

Told = Callable[[float], None]
Ticker = Callable[[float, float], str]
"""What a line at the foot tells at a time of the film [s] that shows the run at a time [s]."""


@dataclass(frozen=True)
class Shooting:
    """What of a run is filmed, and how fast.

    From ``from_s`` to ``to_s`` [s] of the run, None for its end; ``speed`` seconds of the run go by in one of
    the film, None for a film of 20 s; ``rate`` frames a second. Stretches in which nobody moves are left out
    where ``skips_waits``. In place of ``speed``, ``lasts_s`` [s] is how long the film takes.
    """

    from_s: float = 0.0
    to_s: float | None = None
    speed: float | None = None
    rate: float = 20.0
    skips_waits: bool = True
    lasts_s: float | None = None


def frame_times(replay: Replay, shooting: Shooting) -> FloatArray:
    """Times of the run [s] that the frames show, in their order. Raises OptionError."""
    end = replay.seconds if shooting.to_s is None else shooting.to_s
    if not 0.0 <= shooting.from_s < end <= replay.seconds * (1 + 1e-9):
        raise OptionError(
            f"a film from {shooting.from_s:g} s to {end:g} s: the run lasts from 0 s to {replay.seconds:g} s"
        )
    if not 1.0 <= shooting.rate <= 60.0:
        raise OptionError(f"{shooting.rate:g} frames a second: give 1 to 60")
    if shooting.lasts_s is not None and not 0.0 < shooting.lasts_s <= 1e5:
        raise OptionError(f"a film of {shooting.lasts_s:g} s: give a time above 0 s")
    if shooting.speed is not None and not 0.0 < shooting.speed <= 1e6:
        raise OptionError(f"a speed of {shooting.speed:g}: give a number above 0")
    stretches = Stretches.of(replay)
    skips = shooting.skips_waits and stretches.busy_s > 0.0
    first = stretches.to_busy(shooting.from_s) if skips else shooting.from_s
    last = stretches.to_busy(end) if skips else end
    length = last - first
    lasts_s = USUAL_SECONDS if shooting.lasts_s is None else shooting.lasts_s
    speed = length / lasts_s if shooting.speed is None else shooting.speed
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
    progress: Told | None = None,
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
    progress: Told | None = None,
    names: Sequence[str] | None = None,
    yours: int | None = None,
    heading: str | None = None,
    ticker: Ticker | None = None,
    lasts_s: float | None = None,
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
    page = ProjectorPage(replay, *surface.get_size(), theme, names, yours, heading, letters, lasts_s)
    count = _show_count(page.times, shooting.rate)
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
    progress: Told | None = None,
    *,
    ticker: Ticker | None = None,
    large: bool = False,
) -> None:
    """Write a film of ``replay`` to ``path``, whole or not at all; its ending tells the format.

    ``size`` is slide, phone, or like 1280x720; None takes what suits the format. ``ticker`` gives the words
    at the foot, see :class:`replays.causes.cause_ticker.CauseTicker`. A film of more than 4,000 million
    pixels has to be asked for by ``large``. Raises OptionError for what cannot be made, OutputError when the
    file cannot be written or the extra for MP4 is missing.

    >>> from arena import read_contest, simulate
    >>> race = simulate(read_contest("slalom", ["poppy"], walkers=1, seconds=30))
    >>> make_film(race, "slalom.gif", size="320x320")
    """
    shooting = shooting or Shooting()
    measured = film_size(Path(path), size)
    _check_cost(len(frame_times(replay, shooting)), measured, large)
    check_writable(Path(path))
    _write_film(Path(path), frames(replay, shooting, measured, theme, progress, ticker), shooting.rate)


def make_show(
    replay: Replay,
    path: str | Path,
    size: str | None = None,
    theme: Theme = LIGHT,
    progress: Told | None = None,
    *,
    rate: float = 12.0,
    names: Sequence[str] | None = None,
    yours: int | None = None,
    heading: str | None = None,
    ticker: Ticker | None = None,
    lasts_s: float | None = None,
    large: bool = False,
) -> None:
    """Write a film of the show of ``replay``, of the parts of :mod:`replays.drawing.show_times`, to ``path``.

    ``rate`` frames a second. ``names`` are what walkers are called, None for design and number; ``yours`` is
    the number of a walker that is told in any case; ``heading`` stands in place of the arena's name;
    the run itself takes ``lasts_s`` [s] of the show, None for as long as can be followed. ``ticker`` and
    ``large`` are as for :func:`make_film`, which also says what is raised.

    >>> from arena import read_contest, simulate
    >>> race = simulate(read_contest("slalom", ["poppy"], walkers=2, seconds=30))
    >>> make_show(race, "show.gif", size="320x320", rate=1.0)
    """
    shooting = Shooting(rate=rate)
    measured = film_size(Path(path), size)
    frame_times(replay, shooting)
    _check_cost(_show_count(ShowTimes(replay, Progress(replay), lasts_s), rate), measured, large)
    check_writable(Path(path))
    shown = show_frames(replay, shooting, measured, theme, progress, names, yours, heading, ticker, lasts_s)
    _write_film(Path(path), shown, rate)


def _show_count(times: ShowTimes, rate: float) -> int:
    """Frames of a show. Raises OptionError for too many."""
    count = math.ceil(times.seconds * rate)
    if count > MOST_FRAMES:
        raise OptionError(f"a show of {count} frames, where {MOST_FRAMES} is the most: give fewer a second")
    return count


def film_size(path: Path, size: str | None) -> Size:
    """The size of a film at ``path``, as in :func:`make_film`. Raises OptionError."""
    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise OptionError(f"{path}: a film ends in {', '.join(FORMATS[:-1])} or {FORMATS[-1]}")
    return size_of(size or USUAL_SIZES[ending])


def _write_film(path: Path, shown: Iterator[Frame], rate: float) -> None:
    with whole_file(path) as stream:
        write_frames(stream, path.suffix.lower(), shown, rate)


def _check_cost(count: int, size: Size, large: bool) -> None:
    """Refuse a film that takes a quarter of an hour and more, unless it is asked for. Raises OptionError."""
    pixels = count * size.width * size.height
    if pixels > MOST_PIXELS and not large:
        raise OptionError(
            f"a film of {count} frames of {size.width} x {size.height} pixels, {pixels / 1e6:,.0f} million "
            f"in all, takes long and makes a huge file; give a smaller size, a shorter film or fewer frames "
            f"a second, or --large to make it all the same"
        )
