"""Reading replays of version 1, in which every table was an array of its own."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from replays.format.archive import Archive
from replays.format.tables import LIGHTS, MEMBERS

# What other walkers take away was not told then.
LIGHTS_THEN = np.dtype([(name, LIGHTS[name]) for name in LIGHTS.names or () if name != "clear_panel_lx"])


def read_tables(archive: Archive) -> dict[str, NDArray[Any]]:
    """The tables and grids of a replay by name. Raises ReplayError, naming the one that cannot be read."""
    tables = {
        name: archive.array(name, LIGHTS_THEN if name == "lights" else dtype)
        for name, dtype in MEMBERS.items()
    }
    # in whatever shape it comes; the shapes of all tables are checked together
    lights = np.zeros(tables["lights"].shape, LIGHTS)
    lights["clear_panel_lx"] = np.nan
    for column in LIGHTS_THEN.names or ():
        lights[column] = tables["lights"][column]
    return tables | {"lights": lights}
