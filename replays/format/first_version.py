"""Reading replays of version 1, in which every table was an array of its own."""

from typing import Any

from numpy.typing import NDArray

from replays.format.archive import Archive
from replays.format.tables import MEMBERS


def read_tables(archive: Archive) -> dict[str, NDArray[Any]]:
    """The tables and grids of a replay by name. Raises ReplayError, naming the one that cannot be read."""
    return {name: archive.array(name, dtype) for name, dtype in MEMBERS.items()}
