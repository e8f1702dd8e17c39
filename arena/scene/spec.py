"""An arena's file as a whole: its parts, and that they fit together."""

from pathlib import Path

from pydantic import model_validator

from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.text.shipped import find_document
from agents.text.spec_reading import KeyedError, KeyedErrors, parse_document, read_document
from arena.scene.elements import ArenaForm


class ArenaSpec(ArenaForm):
    """One arena."""

    @model_validator(mode="after")
    def _check_geometry(self) -> "ArenaSpec":
        # Geometry takes long to import, and most commands read no arena.
        from arena.scene.geometry import check_geometry

        _check_lights(self)
        check_geometry(self)
        return self


def _check_lights(spec: ArenaForm) -> None:
    """Raise KeyedErrors where a day and what else gives light do not go together."""
    faults: list[KeyedError] = []
    day = spec.day
    if day is None:
        for index, lamp in enumerate(spec.lamps):
            if lamp.on:
                expected = "a day with a clock, like day: {begins: 08:00}, or no timetable"
                faults.append(KeyedError(("lamps", index, "on"), "a timetable without a day", expected))
    else:
        if day.has_sun and spec.sun is not None:
            faults.append(KeyedError(("sun",), "a sun beside the day's own", "only one of the two"))
        if day.coldest is not None and spec.air != ROOM_TEMPERATURE:
            expected = "the day's coldest and warmest, or air alone"
            faults.append(KeyedError(("air",), "an air beside the day's own", expected))
    if faults:
        raise KeyedErrors(faults)
    if day is None:
        return
    # what works out a sky takes long to import
    from arena.scene.sky import check_not_dark

    check_not_dark(spec)


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
