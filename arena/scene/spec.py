"""An arena's file as a whole: its parts, and that they fit together."""

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.text.keyed_errors import KeyedError, UnreadError, cross_check
from agents.text.shipped import find_document
from agents.text.spec_reading import parse_document, read_document
from arena.scene.elements import ArenaForm


class ArenaSpec(ArenaForm):
    """One arena."""

    @cross_check
    def _check_geometry(self) -> Iterator[KeyedError]:
        # Geometry takes long to import, and most commands read no arena.
        from arena.scene.geometry import geometry_faults

        yield from geometry_faults(self)

    @cross_check
    def _check_lights(self) -> Iterator[KeyedError]:
        faults = list(_light_faults(self))
        yield from faults
        if self.day is not None and not faults:
            # what works out a sky takes long to import
            from arena.scene.sky import darkness

            yield from darkness(self)


def _light_faults(spec: ArenaForm) -> Iterator[KeyedError]:
    """Yield where a day and what else gives light do not go together."""
    if not spec.is_given("day"):
        with suppress(UnreadError):
            for index, lamp in enumerate(spec.lamps):
                with suppress(UnreadError):
                    if lamp.lit:
                        expected = "a day with a clock, like day: {begins: 08:00}, or no timetable"
                        yield KeyedError(("lamps", index, "lit"), "a timetable without a day", expected)
        return
    with suppress(UnreadError):
        if spec.day is not None and spec.day.has_sun and spec.is_given("sun"):
            yield KeyedError(("sun",), "a sun beside the day's own", "only one of the two")
    with suppress(UnreadError):
        if spec.day is not None and spec.day.is_given("coldest") and spec.air != ROOM_TEMPERATURE:
            expected = "the day's coldest and warmest, or air alone"
            yield KeyedError(("air",), "an air beside the day's own", expected)


def read_arena(name_or_path: str | Path) -> ArenaSpec:
    """Read a shipped arena by its name, or an own file by its path. Raises SpecError and NotFoundError.

    >>> bench = read_arena("open-bench")
    >>> [(lamp.name, lamp.intensity) for lamp in bench.lamps], bench.ambient.illuminance
    ([('grow lamp', 5000.0)], 1000.0)
    """
    return read_document(find_document(name_or_path, "arena"), ArenaSpec, "arena")


def parse_arena(text: str, file: str) -> ArenaSpec:
    """Read an arena from the ``text`` of its file; ``file`` is what faults call it. Raises SpecError."""
    return parse_document(text, file, ArenaSpec, "arena")
