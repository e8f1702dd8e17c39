"""The sky of a run as a table of steps: sun, sky, air and lamps, each step held until the next.

Between two steps nothing changes by more than the day's tolerance: light by that share of itself, or of
:data:`LEAST_LIGHT` where there is less, the sun's direction by 0.25 degrees and the air by 0.25 kelvin for
each percent of it. A step holds what is true in its middle, so that what it leaves out has no sign. Clouds
and switches are steps of their own, at the very time.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from agents.arrays import BoolArray, FloatArray, RecordArray
from agents.handbook.sky_light import OKTAS, disc_illuminance, sky_illuminance
from agents.handbook.sun_position import DAY, SunPosition, seconds_of, solar_hour, sun_position
from agents.handbook.temperature import daily_warmth
from agents.noise import CLOUDS, uniform
from agents.text.dates import clock_text
from agents.text.keyed_errors import KeyedError
from arena.scene.day_form import Clouds, Day, OnTime
from arena.scene.elements import ArenaForm
from arena.scene.records import SKY_STEP, sun_place

# Light of which an eye takes no notice, nor a panel that feeds a walker [lx].
LEAST_LIGHT = 20.0
# Change of direction [rad] and of the air [K] that a tolerance of 1, that is of 100 %, stands for.
_TURN, _WARMING = math.radians(25.0), 25.0
# A lamp that fades is followed down to this share of its light.
_LEAST_SHARE = 0.01
# Samples of the sky are this far apart [s].
_SAMPLE = 10.0
# A run with less light than this from first to last [lx] is a run in the dark.
_DARK = 0.1
# The sun's upper edge is on the horizon, as almanacs have it for its rising [rad].
_RISING = math.radians(-0.833)


@dataclass(frozen=True, eq=False)
class Sky:
    """The steps of a run's sky: SKY_STEP records, and the share that each lamp gives, (steps, lamps) [-].

    ``has_sun`` tells whether the last source of the arena is its sun.
    """

    steps: RecordArray
    lamps: FloatArray
    has_sun: bool


@dataclass(frozen=True, eq=False)
class _Moment:
    """Sun and sky at times of a run: direction towards the sun (n, 3), light [lx] and air [K], (n,)."""

    towards: FloatArray
    disc: FloatArray
    sky: FloatArray
    air: FloatArray


def sky_of(spec: ArenaForm, seconds: float, seed: int = 0, luck: int = 0) -> Sky | None:
    """Return the sky over an arena for a run of ``seconds`` [s], None where it has no day.

    Clouds are drawn by ``seed`` and ``luck``, the number of the repeat.
    """
    day = spec.day
    if day is None:
        return None
    edges, hidden = _clouds(day.clouds if day.has_sun else None, seconds, seed, luck)
    switches = [time for lamp in spec.lamps for time in _switching(lamp.lit, day, seconds)]
    jumps = np.unique(np.concatenate([[0.0, seconds], edges, switches]))
    samples = np.linspace(0.0, seconds, max(int(seconds / _SAMPLE), 50) + 1)
    times = np.unique(np.concatenate([samples, jumps]))
    change = _changes(spec, day, times, _is_hidden(times[:-1], edges, hidden))
    starts = _cut(jumps, times, change)
    middles = 0.5 * (starts + np.append(starts[1:], seconds))
    return _table(spec, day, starts, middles, _is_hidden(middles, edges, hidden))


def _moment(day: Day, times: FloatArray, air: float) -> _Moment:
    """Sun, clear of clouds, and sky at ``times`` [s] of a run; ``air`` [K] where the day has none."""
    count = len(times)
    towards, disc, sky = np.zeros((count, 3)), np.zeros(count), np.zeros(count)
    sun = sun_of(day, times)
    if sun is not None and day.date is not None:
        azimuth = day.north - sun.azimuth
        flat = np.cos(sun.apparent)
        towards = np.column_stack([flat * np.cos(azimuth), flat * np.sin(azimuth), np.sin(sun.apparent)])
        of_year = day.date.timetuple().tm_yday + (day.begins + times) / DAY
        disc = day.glass * disc_illuminance(sun.apparent, of_year)
        cover = 0 if day.clouds is None else day.clouds.cover
        sky = day.glass * day.open_sky * sky_illuminance(sun.elevation, cover)
    warmth = np.full(count, air)
    if day.coldest is not None and day.warmest is not None:
        warmth = day.coldest + (day.warmest - day.coldest) * daily_warmth(_hours(day, times))
    return _Moment(towards, disc, sky, warmth)


def _hours(day: Day, times: FloatArray) -> FloatArray:
    """The hour of the sun at ``times`` [s] of a run, that of the clock where there is no sun."""
    if day.date is None or day.longitude is None:
        return np.asarray(((day.begins + times) % DAY) / 3600.0)
    return solar_hour(_universal(day, times), day.longitude)


def _universal(day: Day, times: FloatArray) -> FloatArray:
    assert day.date is not None
    return seconds_of(day.date) + day.begins - day.clock + times


def _table(spec: ArenaForm, day: Day, starts: FloatArray, times: FloatArray, hidden: BoolArray) -> Sky:
    """The steps that begin at ``starts`` and hold what is true at ``times`` [s]."""
    at = _moment(day, times, spec.air)
    steps = np.zeros(len(starts), SKY_STEP)
    steps["start"] = starts
    disc = np.where(hidden, 0.0, at.disc)
    # a sun that gives no light stands on the horizon at the lowest, where nobody's shadow ends
    place, aim = sun_place(spec.floor.outline, np.column_stack([at.towards[:, :2], np.abs(at.towards[:, 2])]))
    for number, axis in enumerate("xyz"):
        steps[f"sun_{axis}"], steps[f"aim_{axis}"] = place[:, number], aim[:, number]
    overcast = 0.0 if day.clouds is None else day.clouds.cover / OKTAS
    steps["risen"] = at.towards[:, 2] > 0.0
    steps["sun"] = disc
    steps["clear_sky"], steps["overcast_sky"] = (1.0 - overcast) * at.sky, overcast * at.sky
    steps["air"] = at.air
    lamps = [_shares(lamp.lit, day, times) for lamp in spec.lamps]
    return Sky(steps, np.array(lamps).reshape(len(spec.lamps), len(starts)).T.copy(), day.has_sun)


def _changes(spec: ArenaForm, day: Day, times: FloatArray, hidden: BoolArray) -> FloatArray:
    """By how many steps everything changes from each of ``times`` [s] to the next."""
    at = _moment(day, times, spec.air)
    towards = np.linalg.norm(np.diff(at.towards, axis=0), axis=1)
    before, after = np.where(hidden, 0.0, at.disc[:-1]), np.where(hidden, 0.0, at.disc[1:])
    rise = np.maximum(at.towards[:, 2], 0.0)
    light = np.maximum(
        _share(np.abs(after - before) + np.abs(np.diff(at.sky)), before + at.sky[:-1], after + at.sky[1:]),
        _share(
            np.abs(after * rise[1:] + at.sky[1:] - before * rise[:-1] - at.sky[:-1]),
            before * rise[:-1] + at.sky[:-1],
            after * rise[1:] + at.sky[1:],
        ),
    )
    # nobody sees where a sun stands that gives next to nothing
    counts = np.maximum(before, after) > LEAST_LIGHT
    found = np.maximum(light, np.where(counts, towards / _TURN, 0.0))
    found = np.maximum(found, np.abs(np.diff(at.air)) / _WARMING)
    length = np.diff(times)
    for lamp in spec.lamps:
        # from within, since a switch is a step of its own
        first, last = (
            np.maximum(_shares(lamp.lit, day, times[:-1] + part * length), _LEAST_SHARE)
            for part in (1e-3, 1.0 - 1e-3)
        )
        found = np.maximum(found, np.abs(np.log(last / first)))
    return np.asarray(found / day.tolerance)


def _share(change: FloatArray, before: FloatArray, after: FloatArray) -> FloatArray:
    return change / np.maximum(0.5 * (before + after), LEAST_LIGHT)


def _cut(jumps: FloatArray, times: FloatArray, change: FloatArray) -> FloatArray:
    """Where steps begin [s]: at every jump, and between jumps so that each holds no more than one change."""
    # it grows a little everywhere, so that every count has its time
    counted = np.concatenate([[0.0], np.cumsum(change + 1e-9 * np.diff(times) / times[-1])])
    starts: list[FloatArray] = []
    at_jumps = np.interp(jumps, times, counted)
    for number in range(len(jumps) - 1):
        low, high = at_jumps[number], at_jumps[number + 1]
        count = max(1, math.ceil(high - low - 1e-6))
        cuts = np.interp(low + (high - low) * np.arange(count) / count, counted, times)
        cuts[0] = jumps[number]
        starts.append(cuts)
    return np.concatenate(starts)


def _clouds(clouds: Clouds | None, seconds: float, seed: int, luck: int) -> tuple[FloatArray, bool]:
    """When clouds come before the sun and go [s], and whether one is there at the beginning.

    A process of two states, clear and hidden, without memory: either state lasts for a time drawn from an
    exponential distribution. In the long run the sun is hidden for the share of the sky that is clouded.
    """
    cover = 0 if clouds is None else clouds.cover
    if clouds is None or cover in (0, OKTAS):
        return np.zeros(0), cover == OKTAS
    share = cover / OKTAS
    hidden = begins_hidden = uniform(seed, luck, CLOUDS, 0) < share
    edges: list[float] = []
    time = 0.0
    while True:
        mean = clouds.lasts if hidden else clouds.lasts * (1.0 - share) / share
        time -= mean * math.log(uniform(seed, luck, CLOUDS, len(edges) + 1))
        if time >= seconds:
            return np.array(edges), begins_hidden
        edges.append(time)
        hidden = not hidden


def _is_hidden(times: FloatArray, edges: FloatArray, begins_hidden: bool) -> BoolArray:
    odd = np.searchsorted(edges, times, side="right") % 2 == 1
    return np.asarray(odd != begins_hidden)


def _switching(on: tuple[OnTime, ...], day: Day, seconds: float) -> list[float]:
    """When a lamp goes on or off, or begins or ends to fade, in a run [s]."""
    days = range(math.ceil((day.begins + seconds) / DAY) + 1)
    clocks = [
        time for one in on for time in (one.begins, one.begins + one.fades, one.ends - one.fades, one.ends)
    ]
    times = [number * DAY + clock - day.begins for number in days for clock in clocks]
    return sorted({time for time in times if 0.0 < time < seconds})


def _shares(on: tuple[OnTime, ...], day: Day, times: FloatArray) -> FloatArray:
    """The share of its light that a lamp gives at ``times`` [s] of a run; 1 without a timetable."""
    if not on:
        return np.ones(len(times))
    clock = (day.begins + times) % DAY
    given = np.zeros(len(times))
    for one in on:
        inside = (clock >= one.begins) & (clock < one.ends)
        edge = np.minimum(clock - one.begins, one.ends - clock)
        faded = np.minimum(edge / one.fades, 1.0) if one.fades > 0.0 else np.ones(len(times))
        given = np.where(inside, one.share * faded, given)
    return given


def darkness(spec: ArenaForm) -> Iterator[KeyedError]:
    """Yield a fault where a run as long as the arena says would be dark from first to last."""
    day = spec.day
    if day is None or not day.has_sun or spec.ambient.illuminance > 0.0:
        return
    sky = sky_of(spec, spec.lasts)
    assert sky is not None
    if (
        np.any(sky.lamps > 0.0)
        or np.max(sky.steps["sun"] + sky.steps["clear_sky"] + sky.steps["overcast_sky"]) > _DARK
    ):
        return
    ends = clock_text((day.begins + spec.lasts) % DAY)
    yield KeyedError(
        ("day", "begins"),
        f"{clock_text(day.begins)}, from which it stays dark until {ends}, when the run ends",
        _when_light(day),
    )


def _when_light(day: Day) -> str:
    """What to say of a run in the dark: when the sun rises next."""
    times = np.arange(0.0, DAY, 60.0)
    sun = sun_of(day, times)
    assert sun is not None
    up = np.flatnonzero(sun.elevation > _RISING)
    if len(up) == 0:
        highest = math.degrees(float(np.max(sun.elevation)))
        return f"light: the sun does not rise there, it comes to {highest:.1f} deg; another date, or a lamp"
    rises = clock_text((day.begins + float(times[up[0]])) % DAY)
    return f"light: the sun rises at {rises} by that clock; or a lamp that is on"


def sun_of(day: Day, times: FloatArray) -> SunPosition | None:
    """Where the sun stands at ``times`` [s] of a run, None for a day that is a clock alone."""
    if day.latitude is None or day.longitude is None or day.date is None:
        return None
    return sun_position(_universal(day, times), day.latitude, day.longitude)
