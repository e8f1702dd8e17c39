"""What the header of a replay must hold, and the check that it does.

The header is one JSON object; lengths in metres, angles in radians, light in lux or candela:

==================  ======================================================================================
``format``          ``"photodrome replay"``
``version``         1
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
==================  ======================================================================================

Further keys are kept. ``arena.ambient_light`` and ``arena.sun.light`` tell the kinds of light where they are
there, and ``arena.air_K`` the temperature of the air [K]; :mod:`replays.causes.traces` takes them for sun
and 25 degC else.
"""

import math
from collections.abc import Callable
from typing import Any

from agents.errors import ReplayError

FORMAT = "photodrome replay"
VERSION = 1

_Check = Callable[[Any, str], None]


def check_header(header: Any) -> None:
    """Raise ReplayError, naming the key, unless ``header`` is what this module's docstring describes."""
    if not isinstance(header, dict) or header.get("format") != FORMAT:
        raise ReplayError(
            f"the header does not say that this is a {FORMAT}; give a file that photodrome wrote"
        )
    version = header.get("version")
    if version != VERSION or isinstance(version, bool):
        written_by = header.get("program", "of an unknown version")
        raise ReplayError(
            f"it is a replay of version {version!r}, this program reads version {VERSION}; "
            f"read it with photodrome {written_by}, or run it again"
        )
    _HEADER(header, "header")
    _GATES(header["arena"].get("gates", []), "header.arena.gates")


def _fail(key: str, got: Any, expected: str) -> None:
    shown = repr(got)
    if len(shown) > 60:
        shown = shown[:57] + "..."
    raise ReplayError(f"{key} is {shown}, where {expected} belongs; the file is damaged, run it again")


def _text(value: Any, key: str) -> None:
    if not isinstance(value, str):
        _fail(key, value, "text")


def _flag(value: Any, key: str) -> None:
    if not isinstance(value, bool):
        _fail(key, value, "true or false")


def _whole(value: Any, key: str) -> None:
    if not isinstance(value, int) or isinstance(value, bool):
        _fail(key, value, "a whole number")


def _number(low: float = -math.inf, high: float = math.inf, *, above: bool = False) -> _Check:
    def check(value: Any, key: str) -> None:
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < math.inf:
            _fail(key, value, "a finite number")
        if value < low or value > high or (above and value == low):
            _fail(key, value, f"a number {'above' if above else 'from'} {low:g} to {high:g}")

    return check


def _either_null(check_value: _Check) -> _Check:
    def check(value: Any, key: str) -> None:
        if value is not None:
            check_value(value, key)

    return check


def _list(check_item: _Check, least: int = 0, most: int | None = None) -> _Check:
    def check(value: Any, key: str) -> None:
        if not isinstance(value, list) or len(value) < least or (most is not None and len(value) > most):
            _fail(key, value, f"a list of at least {least}" if most is None else f"a list of {most}")
        for index, item in enumerate(value):
            check_item(item, f"{key}[{index}]")

    return check


def _object(**checks: _Check) -> _Check:
    def check(value: Any, key: str) -> None:
        if not isinstance(value, dict):
            _fail(key, value, "an object")
        for name, check_value in checks.items():
            if name not in value:
                raise ReplayError(f"{key}.{name} is missing; the file is damaged, run it again")
            check_value(value[name], f"{key}.{name}")

    return check


_ANY = _number()
_FROM_ZERO = _number(0.0)
_ABOVE_ZERO = _number(0.0, above=True)
_POINT = _list(_ANY, 2, 2)
_OUTLINE = _list(_POINT, 3)

_WALL = _object(name=_text, points=_list(_POINT, 2), closed=_flag, height=_FROM_ZERO)
_SHADE = _object(name=_text, outline=_OUTLINE, height=_FROM_ZERO, passes=_number(0.0, 1.0))
_LAMP = _object(
    name=_text,
    x=_ANY,
    y=_ANY,
    height=_FROM_ZERO,
    intensity_cd=_FROM_ZERO,
    diameter=_FROM_ZERO,
    beam_half_angle_rad=_either_null(_number(0.0, math.pi, above=True)),
    aim=_POINT,
    light=_text,
)
_SUN = _object(azimuth_rad=_ANY, elevation_rad=_number(-math.pi / 2, math.pi / 2), illuminance_lx=_FROM_ZERO)
_GOAL = _object(name=_text, outline=_OUTLINE)
_GATES = _list(_object(name=_text, line=_list(_POINT, 2)))
_HEADER = _object(
    program=_text,
    seed=_whole,
    seconds=_ABOVE_ZERO,
    built_names=_list(_text),
    light_map=_object(x=_ANY, y=_ANY, cell=_ABOVE_ZERO),
    designs=_list(_object(name=_text, about=_text, yaml=_text), 1),
    arena=_object(
        name=_text,
        about=_text,
        yaml=_text,
        floor=_OUTLINE,
        walls=_list(_WALL),
        shades=_list(_SHADE),
        lamps=_list(_LAMP),
        sun=_either_null(_SUN),
        ambient_lx=_FROM_ZERO,
        goals=_list(_GOAL),
    ),
)
