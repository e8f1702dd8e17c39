"""An arena's file as a whole: its parts, and that they fit together."""

from collections.abc import Iterator
from pathlib import Path

from agents.text.keyed_errors import KeyedError, cross_check
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
