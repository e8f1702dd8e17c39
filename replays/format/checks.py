"""Whether the parts of a replay fit together, told before anything relies on them."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import BoolArray, RecordArray
from agents.errors import ReplayError
from replays.format.header import MOST_LIGHT, MOST_METRES, check_header
from replays.format.large_tables import in_pieces
from replays.format.tables import LEDGER, MEMBERS, ORDERS, TABLES, Replay, columns_of

MOST_WALKERS = 100_000
"""No run has more walkers."""

MOST_CELLS = 1 << 23
"""No map of light has more cells."""

# So many rows of a table are looked at at a time.
_PIECE_ROWS = 1 << 20

# No body [m] and no heading [rad] is larger, nor is anything that is measured of a pulse, in its unit.
_MOST_BODY = 10.0
_MOST_TURN = 1e3
_MOST = 1e12


def check_replay(replay: Replay) -> None:
    """Raise ReplayError, naming the array and the row, unless all of ``replay`` fits together."""
    check_header(replay.header)
    for name, dtype in MEMBERS.items():
        _check_shape(name, getattr(replay, name), dtype)
    walkers = len(replay.walkers)
    shapes = {
        "built": (walkers, len(replay.header["built_names"])),
        "ledger": (walkers, len(LEDGER)),
    }
    for name, shape in shapes.items():
        if getattr(replay, name).shape != shape:
            raise ReplayError(f"{name} is {getattr(replay, name).shape}, where {shape} belongs; run it again")
    _check_sizes(replay)
    for name in TABLES:
        table = getattr(replay, name)
        for rows in in_pieces(len(table), _PIECE_ROWS):
            # with the row before, for what is said of two rows
            first = max(rows.start - 1, 0)
            for what, good, expected in _requirements(replay, name, table[first : rows.stop]):
                _require(what, good, expected, first)
    energies, light, parts = replay.ledger, replay.light_map, replay.built
    _require("ledger", (np.abs(energies) <= _MOST).all(axis=1), "finite energies")
    _require("light_map", ((light >= 0) & (light <= MOST_LIGHT)).all(axis=1), "light from 0")
    _require("built", (np.isnan(parts) | (np.abs(parts) <= _MOST)).all(axis=1), "finite values of parts")
    _check_beginnings(replay)


def _check_shape(name: str, array: NDArray[Any], dtype: np.dtype[Any]) -> None:
    if array.dtype != dtype:
        raise ReplayError(
            f"{name} holds {columns_of(array.dtype)}, where {columns_of(dtype)} belongs; run it again"
        )
    dimensions = 1 if name in TABLES else 2
    if array.ndim != dimensions:
        raise ReplayError(f"{name} has {array.ndim} dimensions, where {dimensions} belong; run it again")


def _require(name: str, good: BoolArray | np.bool_, expected: str, first: int = 0) -> None:
    if not good.all():
        row = first + int(np.argmin(good))
        raise ReplayError(f"{name}, row {row}: {expected} expected; the file is damaged, run it again")


def _check_sizes(replay: Replay) -> None:
    walkers, cells = len(replay.walkers), replay.light_map.size
    if not 0 < walkers <= MOST_WALKERS:
        raise ReplayError(f"walkers are {walkers}, where 1 to {MOST_WALKERS} belong; run it again")
    if cells > MOST_CELLS:
        raise ReplayError(f"light_map has {cells} cells, where {MOST_CELLS} are the most; run it again")
    reach = max(replay.light_map.shape) * replay.header["light_map"]["cell"]
    if reach > 4.0 * MOST_METRES:
        raise ReplayError(f"light_map is {reach:g} m wide, wider than any floor; run it again")


_Requirement = tuple[str, BoolArray | np.bool_, str]


def _requirements(replay: Replay, name: str, table: RecordArray) -> Iterator[_Requirement]:
    """What has to be true of rows of a table: of which column, where it is, and what is expected."""
    yield from _finite(name, table)
    yield from _in_range(replay, name, table)
    # A clock that has added up many short steps may be off by the last few digits.
    last = replay.seconds * (1 + 1e-9)
    if name == "pulses":
        start, release, rest = (table[column] for column in ("start_s", "let_go_s", "rest_s"))
        follows = (start >= 0) & (release >= start) & (rest >= release) & (rest <= last)
        yield name, follows, "start, release and rest in this order within the run"
    elif name != "walkers":
        times = table["time_s"]
        yield f"{name}.time_s", (times >= 0) & (times <= last), "a time within the run"
    yield from _in_place(replay, name, table)
    if name == "touches":
        times = table["time_s"]
        yield name, np.append(True, times[1:] >= times[:-1]), "an order by time_s"
    elif name != "walkers":
        first, second = ORDERS[name]
        a, b = table[first], table[second]
        ordered = (a[1:] > a[:-1]) | ((a[1:] == a[:-1]) & (b[1:] >= b[:-1]))
        yield name, np.append(True, ordered), f"an order by ({first}, {second})"


def _finite(name: str, table: RecordArray) -> Iterator[_Requirement]:
    for column in table.dtype.names or ():
        values = table[column]
        if values.dtype.kind != "f":
            continue
        if column == "other_trigger_V":
            # A side that bright light has blinded would never fire.
            yield f"{name}.{column}", values > -math.inf, "a number or inf"
        elif column == "clear_panel_lx":
            is_told = not np.isnan(values).all()
            good = (values >= 0) & (values <= MOST_LIGHT) if is_told else np.isnan(values)
            yield f"{name}.{column}", good, "light from 0 in every row, or nan in all,"
        elif column.endswith("_lx"):
            yield f"{name}.{column}", (values >= 0) & (values <= MOST_LIGHT), "light from 0"
        else:
            yield f"{name}.{column}", np.abs(values) <= _MOST, "a finite number"


def _in_range(replay: Replay, name: str, table: RecordArray) -> Iterator[_Requirement]:
    walkers = len(replay.walkers)
    ranges = {
        "walkers": (("design", 0, len(replay.design_names) - 1), ("heat", 0, walkers - 1)),
        "pulses": (("side", 0, 1), ("ended", 0, 1), ("touched", 0, 7)),
        "touches": (("part", 0, 2), ("closed", 0, 1), ("against", 0, 1)),
    }
    whose = () if name == "walkers" else (("walker", 0, walkers - 1),)
    for column, low, high in (*ranges.get(name, ()), *whose):
        values = table[column]
        yield f"{name}.{column}", (values >= low) & (values <= high), f"a number from {low} to {high}"
    if name == "walkers":
        for column in ("radius", "track"):
            yield f"{name}.{column}", table[column] > 0, "a length above 0"
        for column in ("radius", "track", "body_ahead", "eye_ahead", "eye_aside"):
            near = np.abs(table[column]) <= _MOST_BODY
            yield f"{name}.{column}", near, f"{_MOST_BODY:g} m at the most"


def _in_place(replay: Replay, name: str, table: RecordArray) -> Iterator[_Requirement]:
    """That all places are on the floor, or as near to it as a body can be, and headings are angles."""
    corners = np.array(replay.arena["floor"], np.float64)
    low, high = corners.min(axis=0), corners.max(axis=0)
    room = _MOST_BODY + (high - low)
    for mark in {"walkers": ("",), "poses": ("",), "pulses": ("0", "1")}.get(name, ()):
        for axis, least, most in zip(("x", "y"), low - room, high + room, strict=True):
            values = table[f"{axis}{mark}"]
            yield f"{name}.{axis}{mark}", (values >= least) & (values <= most), "a place on the floor"
        yield f"{name}.heading{mark}", np.abs(table[f"heading{mark}"]) <= _MOST_TURN, "an angle"


def _check_beginnings(replay: Replay) -> None:
    everyone = np.arange(len(replay.walkers))
    for name in ("poses", "lights"):
        table = getattr(replay, name)
        first_row = np.searchsorted(table["walker"], everyone)
        there = first_row < len(table)
        there[there] = (table["walker"][first_row[there]] == everyone[there]) & (
            table["time_s"][first_row[there]] == 0
        )
        if not there.all():
            raise ReplayError(
                f"{name} have no row at time 0 for walker {int(np.argmin(there))}; "
                "the file is damaged, run it again"
            )
