"""What a replay is made of: the columns of its tables, and the object that holds them.

Lengths are in metres, headings in radians anticlockwise from +x, times in seconds since the start of the run,
light in lux. A walker's place is the middle of its axle.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray, RecordArray
from replays.format.daylight import Daylight, daylight_of

LEFT, RIGHT = 0, 1
"""Values of ``pulses.side``: whose transistors fired."""

LET_GO, CUT_OFF = 0, 1
"""Values of ``pulses.ended``: the latch let go, or the run ended first."""

TOUCHED_LEFT, TOUCHED_RIGHT, TOUCHED_BODY = 1, 2, 4
"""Bits of ``pulses.touched``: what was pressed at firing."""

LEFT_WHISKER, RIGHT_WHISKER, BODY = 0, 1, 2
"""Values of ``touches.part``."""

WALL, WALKER = 0, 1
"""Values of ``touches.against``."""

# Packed, and of a fixed byte order: padding would put stray bytes into the file.
WALKERS = np.dtype(
    [
        ("design", "<i4"),
        # walkers of one heat share the floor; walkers of different heats never meet
        ("heat", "<i4"),
        # pose at time 0
        ("x", "<f8"),
        ("y", "<f8"),
        ("heading", "<f8"),
        # bounding circle of the body, and how far its centre lies ahead of the axle
        ("radius", "<f8"),
        ("body_ahead", "<f8"),
        ("track", "<f8"),
        # the left eye, as built; the right one is its mirror image
        ("eye_ahead", "<f8"),
        ("eye_aside", "<f8"),
    ]
)

PULSES = np.dtype(
    [
        ("walker", "<i4"),
        ("side", "i1"),
        ("ended", "i1"),
        ("touched", "u1"),
        ("start_s", "<f8"),
        ("let_go_s", "<f8"),
        ("rest_s", "<f8"),
        # rail at firing; what the other side would have needed (inf: never); rail at letting go
        ("trigger_V", "<f8"),
        ("other_trigger_V", "<f8"),
        ("let_go_V", "<f8"),
        # light at firing; open: had nothing stood in the way
        ("light_left_lx", "<f8"),
        ("light_right_lx", "<f8"),
        ("light_panel_lx", "<f8"),
        ("open_panel_lx", "<f8"),
        # pose at firing and at rest
        ("x0", "<f8"),
        ("y0", "<f8"),
        ("heading0", "<f8"),
        ("x1", "<f8"),
        ("y1", "<f8"),
        ("heading1", "<f8"),
        # way of the axle's middle; peak of the motor current; charge through the motor
        ("path_m", "<f8"),
        ("peak_A", "<f8"),
        ("charge_C", "<f8"),
    ]
)

# Rows are 20 to 40 ms apart while a walker moves; between its rest and the next row it stands still.
POSES = np.dtype([("walker", "<i4"), ("time_s", "<f8"), ("x", "<f4"), ("y", "<f4"), ("heading", "<f4")])

TOUCHES = np.dtype(
    [("walker", "<i4"), ("time_s", "<f8"), ("part", "i1"), ("closed", "i1"), ("against", "i1")]
)

# Each row holds until the walker's next.
LIGHTS = np.dtype(
    [
        ("walker", "<i4"),
        ("time_s", "<f8"),
        ("left_lx", "<f4"),
        ("right_lx", "<f4"),
        ("panel_lx", "<f4"),
        ("open_panel_lx", "<f4"),
        # had no other walker been there; nan where a replay of version 1 does not tell
        ("clear_panel_lx", "<f4"),
    ]
)

LEDGER = ("panel", "stored", "motor", "bases", "eyes", "leak", "esr")
"""Columns of ``ledger``: energy [J] from the panel, change of the stored energy, and where the rest went."""

TABLES: dict[str, np.dtype[Any]] = {
    "walkers": WALKERS,
    "pulses": PULSES,
    "poses": POSES,
    "touches": TOUCHES,
    "lights": LIGHTS,
}
ORDERS = {
    "pulses": ("start_s", "walker"),
    "poses": ("walker", "time_s"),
    "touches": ("time_s", "walker"),
    "lights": ("walker", "time_s"),
}
"""The two columns by which the rows of each table are in order."""
GRIDS: dict[str, np.dtype[Any]] = {
    "built": np.dtype("<f8"),
    "light_map": np.dtype("<f4"),
    "ledger": np.dtype("<f8"),
}
MEMBERS = TABLES | GRIDS
"""Every array of the file: tables have one dimension, grids two."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Tables:
    """What walkers did, in tables; each is described by the dtype of its name in this module.

    ``pulses`` are sorted by (start_s, walker), ``poses`` and ``lights`` by (walker, time_s) with a row at
    time 0 for every walker, ``touches`` by time_s.
    """

    walkers: RecordArray
    pulses: RecordArray
    poses: RecordArray
    touches: RecordArray
    lights: RecordArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Replay(Tables):
    """One run, as the file holds it: its tables, and what it takes to understand them.

    ``built`` [SI] is (walkers, parts), its columns named by
    ``header["built_names"]``, nan for a part that a design has not. ``light_map`` [lx] is (rows, columns):
    the light on a surface that faces up at panel height; with ``x``, ``y`` and ``cell`` of
    ``header["light_map"]`` the centre of a cell lies at (x + (column + 0.5) cell, y + (row + 0.5) cell).
    ``ledger`` [J] is (walkers, 7), see ``LEDGER``.
    """

    header: dict[str, Any]
    built: FloatArray
    light_map: NDArray[np.float32]
    ledger: FloatArray

    @property
    def seconds(self) -> float:
        """Length of the run [s]."""
        return float(self.header["seconds"])

    @property
    def arena(self) -> dict[str, Any]:
        """The arena's geometry, as :mod:`replays.format.header` describes it."""
        arena: dict[str, Any] = self.header["arena"]
        return arena

    @cached_property
    def day(self) -> Daylight | None:
        """How light changes in the run, None where it does not."""
        return daylight_of(self.arena)

    @property
    def goals(self) -> list[FloatArray]:
        """The outline of each goal [m], (points, 2)."""
        return [np.array(goal["outline"], dtype=np.float64) for goal in self.arena["goals"]]

    @property
    def design_names(self) -> list[str]:
        """Names of the designs; ``walkers["design"]`` is an index into them."""
        return [design["name"] for design in self.header["designs"]]

    @property
    def marks(self) -> list[int]:
        """Numbers of the looks of the designs: those that a race gave its entries, else their own."""
        designs = self.header["designs"]
        return [int(design.get("mark", number)) for number, design in enumerate(designs)]


def columns_of(dtype: np.dtype[Any]) -> str:
    """The columns of ``dtype`` in words, for a message."""
    return str(dtype) if dtype.names is None else "(" + ", ".join(dtype.names) + ")"
