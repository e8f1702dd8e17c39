"""What the header of a replay must hold, and the check that it does.

The header is one JSON object; lengths in metres, angles in radians, light in lux or candela:

==================  ======================================================================================
``format``          ``"photodrome replay"``
``version``         2, or 1 of a file written before
``program``         version of the program that wrote it
``seed``            whole number from which every draw of the run follows
``seconds``         length of the run [s], above 0
``built_names``     names of the columns of the array ``built``
``light_map``       ``x``, ``y`` [m] south-west corner of the map; ``cell`` [m] side of a square cell, above 0
``designs``         list, at least one, of ``name``, ``about``, ``yaml`` (the text it was read from)
``arena``           ``name``, ``about``, ``yaml`` and the geometry:
``arena.floor``     outline, a list of at least three points [x, y]
``arena.walls``     ``name``, ``points`` (at least two), ``closed`` (true or false), ``height``
``arena.shades``    ``name``, ``outline``, ``height``, ``passes`` (share of the light let through, 0 to 1)
``arena.lamps``     ``name``, ``x``, ``y``, ``height``, ``intensity_cd``, ``diameter`` (0 for a point),
                    ``beam_half_angle_rad`` (null: shines alike all round), ``aim`` [x, y] (the place on the
                    floor it points at), ``light`` (kind of light)
``arena.sun``       null, or ``azimuth_rad`` (where it stands, anticlockwise from +x),
                    ``elevation_rad``, ``illuminance_lx`` (on a surface square to the rays)
``arena.ambient_lx``  even light from everywhere [lx]
``arena.goals``     ``name``, ``outline``
``arena.gates``     ``name``, ``line`` (at least two points); may be left out
``arena.day``       only where light changes: :mod:`replays.format.daylight`
==================  ======================================================================================

Further keys are kept. ``arena.ambient_light`` and ``arena.sun.light`` tell the kinds of light where they are
there, and ``arena.air_K`` the temperature of the air [K]; :mod:`replays.causes.traces` takes them for sun
and 25 degC else.
"""

import math
import re
import reprlib
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from agents.errors import ReplayError
from replays.format.daylight import COLUMNS

FORMAT = "photodrome replay"
VERSION = 2
"""Of the files that are written; those of every version up to it are read."""

MOST_SECONDS = 1e7
"""No run is longer [s]; one of an arena takes a tenth of that at the most."""

MOST_METRES = 1e4
"""No coordinate and no length is larger [m]; those of an arena are a tenth of that at the most."""

LEAST_FLOOR = 1e-3
"""No floor is narrower [m]."""

MOST_LIGHT = 1e12
"""No light [lx] and no intensity [cd] is larger."""

# Control characters but for tab and new line, further line ends, marks that reverse the writing, halves of
# characters: what no file of an arena or a design may hold either.
_UNREADABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")

_Check = Callable[[Any, str], None]


def check_header(header: Any) -> None:
    """Raise ReplayError, naming the key, unless ``header`` is what this module's docstring describes."""
    if not isinstance(header, dict) or header.get("format") != FORMAT:
        raise ReplayError(
            f"the header does not say that this is a {FORMAT}; give a file that photodrome wrote"
        )
    version = header.get("version")
    if isinstance(version, bool) or version not in range(1, VERSION + 1):
        written_by = header.get("program", "of an unknown version")
        raise ReplayError(
            f"it is a replay of version {version!r}, this program reads versions 1 to {VERSION}; "
            f"read it with photodrome {written_by}, or run it again"
        )
    _HEADER(header, "header")
    if header["arena"].get("day") is not None:
        _check_day(header["arena"])


def _check_day(arena: dict[str, Any]) -> None:
    """Raise ReplayError unless the day of an ``arena`` is what :mod:`replays.format.daylight` says."""
    day, key = arena["day"], "header.arena.day"
    times = day["times_s"]
    if times[0] != 0 or any(after < before for before, after in pairwise(times)):
        _fail(f"{key}.times_s", times, "times from 0 on, in order")
    for name in COLUMNS:
        if len(day[name]) != len(times):
            _fail(f"{key}.{name}", day[name], f"a list of {len(times)}")
    if [len(shares) for shares in day["lamps"]] != [len(times)] * len(arena["lamps"]):
        _fail(f"{key}.lamps", day["lamps"], f"a list of {len(times)} for each lamp")


def _fail(key: str, got: Any, expected: str) -> None:
    raise ReplayError(
        f"{key} is {reprlib.repr(got)}, where {expected} belongs; the file is damaged, run it again"
    )


def _text(most: int) -> _Check:
    def check(value: Any, key: str) -> None:
        if not isinstance(value, str):
            _fail(key, value, "text")
        if len(value) > most:
            _fail(key, value, f"text of {most} letters at the most")
        if _UNREADABLE.search(value):
            _fail(key, value, "text without letters that steer a terminal")

    return check


def _flag(value: Any, key: str) -> None:
    if not isinstance(value, bool):
        _fail(key, value, "true or false")


def _whole(low: int, high: int) -> _Check:
    def check(value: Any, key: str) -> None:
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            _fail(key, value, f"a whole number from {low} to {high}")

    return check


def _number(low: float, high: float, *, above: bool = False) -> _Check:
    def check(value: Any, key: str) -> None:
        sound = isinstance(value, int | float) and not isinstance(value, bool)
        # compared as they are: whole numbers of JSON may be too long for a float
        if not sound or not low <= value <= high or (above and value == low):
            _fail(key, value, f"a number {'above' if above else 'from'} {low:g} to {high:g}")

    return check


def _either_null(check_value: _Check) -> _Check:
    def check(value: Any, key: str) -> None:
        if value is not None:
            check_value(value, key)

    return check


def _list(check_item: _Check, least: int, most: int) -> _Check:
    def check(value: Any, key: str) -> None:
        if not isinstance(value, list) or not least <= len(value) <= most:
            _fail(key, value, f"a list of {least}" if least == most else f"a list of {least} to {most}")
        for index, item in enumerate(value):
            check_item(item, f"{key}[{index}]")

    return check


def _object(optional: dict[str, _Check] | None = None, /, **checks: _Check) -> _Check:
    def check(value: Any, key: str) -> None:
        if not isinstance(value, dict):
            _fail(key, value, "an object")
        for name, check_value in checks.items():
            if name not in value:
                raise ReplayError(f"{key}.{name} is missing; the file is damaged, run it again")
            check_value(value[name], f"{key}.{name}")
        for name, check_value in (optional or {}).items():
            if name in value:
                check_value(value[name], f"{key}.{name}")

    return check


def _check_floor(floor: Any, key: str) -> None:
    _OUTLINE(floor, key)
    for axis, name in enumerate(("x", "y")):
        width = max(point[axis] for point in floor) - min(point[axis] for point in floor)
        if width < LEAST_FLOOR:
            _fail(key, floor, f"an outline of {LEAST_FLOOR:g} m at least along {name}")


# Bounds are wide: they keep out what no arena can hold, so that nothing that large is worked with or drawn.
_NAME, _ABOUT, _FILE = _text(1000), _text(20_000), _text(2_000_000)
_PLACE = _number(-MOST_METRES, MOST_METRES)
_HEIGHT = _number(0.0, MOST_METRES)
_LIGHT = _number(0.0, MOST_LIGHT)
_ANGLE = _number(-100.0, 100.0)
_TIME = _number(0.0, MOST_SECONDS)
_POINT = _list(_PLACE, 2, 2)
_LINE = _list(_POINT, 2, 10_000)
_OUTLINE = _list(_POINT, 3, 10_000)

_WALL = _object(name=_NAME, points=_LINE, closed=_flag, height=_HEIGHT)
_SHADE = _object(name=_NAME, outline=_OUTLINE, height=_HEIGHT, passes=_number(0.0, 1.0))
_LAMP = _object(
    name=_NAME,
    x=_PLACE,
    y=_PLACE,
    height=_HEIGHT,
    intensity_cd=_LIGHT,
    diameter=_HEIGHT,
    beam_half_angle_rad=_either_null(_number(0.0, math.pi, above=True)),
    aim=_POINT,
    light=_NAME,
)
_SUN = _object(
    {"light": _NAME},
    azimuth_rad=_ANGLE,
    elevation_rad=_number(-math.pi / 2, math.pi / 2),
    illuminance_lx=_LIGHT,
)
_GOAL = _object(name=_NAME, outline=_OUTLINE)
_GATE = _object(name=_NAME, line=_LINE)
_DESIGN = _object({"mark": _whole(0, 1_000_000), "team": _NAME}, name=_NAME, about=_ABOUT, yaml=_FILE)
_DAY = _object(
    begins_s=_TIME,
    offset_s=_number(-1e6, 1e6),
    date=_either_null(_NAME),
    latitude_rad=_either_null(_ANGLE),
    longitude_rad=_either_null(_ANGLE),
    north_rad=_ANGLE,
    height_m=_number(-MOST_METRES, MOST_METRES),
    times_s=_list(_TIME, 1, 1_000_000),
    sun_azimuth_rad=_list(_ANGLE, 1, 1_000_000),
    sun_elevation_rad=_list(_number(-math.pi / 2, math.pi / 2), 1, 1_000_000),
    sun_lx=_list(_LIGHT, 1, 1_000_000),
    sky_lx=_list(_LIGHT, 1, 1_000_000),
    overcast_lx=_list(_LIGHT, 1, 1_000_000),
    air_K=_list(_number(100.0, 1000.0), 1, 1_000_000),
    lamps=_list(_list(_number(0.0, 1.0), 1, 1_000_000), 0, 10_000),
)
_ARENA = _object(
    {
        "day": _either_null(_DAY),
        "ambient_own_lx": _LIGHT,
        "gates": _list(_GATE, 0, 10_000),
        "ambient_light": _NAME,
        "air_K": _number(100.0, 1000.0),
    },
    name=_NAME,
    about=_ABOUT,
    yaml=_FILE,
    floor=_check_floor,
    walls=_list(_WALL, 0, 10_000),
    shades=_list(_SHADE, 0, 10_000),
    lamps=_list(_LAMP, 0, 10_000),
    sun=_either_null(_SUN),
    ambient_lx=_LIGHT,
    goals=_list(_GOAL, 0, 10_000),
)
_HEADER = _object(
    {"alone": _flag},
    program=_NAME,
    seed=_whole(0, 2**63 - 1),
    seconds=_number(0.0, MOST_SECONDS, above=True),
    built_names=_list(_NAME, 0, 1000),
    light_map=_object(x=_PLACE, y=_PLACE, cell=_number(0.0, MOST_METRES, above=True)),
    designs=_list(_DESIGN, 1, 1000),
    arena=_ARENA,
)
