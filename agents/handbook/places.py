"""Places where walkers are let go, each with the light that falls there on a level surface.

EN 12464-1 says what lighting has to maintain where people work. What the sky gives is *from memory*, rounded,
and changes by more than a factor of two with hour, season and weather: a lux meter on the spot knows better.
"""

from typing import NamedTuple

from agents.errors import OptionError, nearest, nearest_note


class PlaceLight(NamedTuple):
    """Light at a place: illuminance [lx], one of the kinds of :mod:`agents.handbook.light_kinds`, source."""

    light: float
    kind: str
    source: str


_STANDARD = "EN 12464-1"
_MEMORY = "from memory"

PLACES = {
    "corridor": PlaceLight(100.0, "white-led", f"{_STANDARD}, corridors"),
    "living room": PlaceLight(150.0, "warm-led", _MEMORY),
    "classroom": PlaceLight(300.0, "fluorescent", f"{_STANDARD}, classrooms"),
    "desk": PlaceLight(500.0, "white-led", f"{_STANDARD}, writing and reading"),
    "drawing board": PlaceLight(750.0, "cold-led", f"{_STANDARD}, technical drawing"),
    "reading lamp": PlaceLight(1e3, "incandescent", f"{_MEMORY}, a bulb of 60 W at half a metre"),
    "window sill": PlaceLight(2e3, "overcast", f"{_MEMORY}, a clouded day"),
    "overcast yard": PlaceLight(10e3, "overcast", f"{_MEMORY}, 10 to 20 klx"),
    "sunny sill": PlaceLight(30e3, "sun", f"{_MEMORY}, a low sun through the glass"),
    "sunny floor": PlaceLight(50e3, "sun", f"{_MEMORY}, a patch of sun behind a window"),
    "sunny yard": PlaceLight(100e3, "sun", f"{_MEMORY}, clear noon in summer"),
}
"""Places by name, from dim to bright."""


def place_named(name: str) -> PlaceLight:
    """Return a place; hyphens pass for blanks. Raises :class:`~agents.errors.OptionError` with all there are.

    >>> place_named("desk")
    PlaceLight(light=500.0, kind='white-led', source='EN 12464-1, writing and reading')
    """
    words = name.replace("-", " ")
    if words not in PLACES:
        hint = nearest_note(nearest(words, PLACES))
        raise OptionError(f"no place {name!r}{hint}; the places are {', '.join(PLACES)}")
    return PLACES[words]
