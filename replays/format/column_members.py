"""The members of a replay file: its tables and grids as packed columns, and back.

Beside the columns of :mod:`replays.format.columns`, each of (planes, rows), there are ``built`` (planes,
parts, walkers), as steps from walker to walker, ``ledger`` (planes, energies, walkers), and ``light_map``
(planes, rows, columns), as what a cell has beyond its neighbours in the south and in the west less the one
in the south-west.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.arrays import FloatArray, IntArray, RecordArray
from agents.errors import ReplayError
from replays.format.archive import Archive, Pieces
from replays.format.checks import MOST_CELLS
from replays.format.columns import BODY, COLUMNS, decode, encode
from replays.format.grains import ENERGY_DIGITS, MAP_DIGITS, PART_DIGITS, digit_grains, digit_values
from replays.format.large_tables import in_pieces, large_array, memory_room
from replays.format.packing import MOST_PLANES, Bytes, first_rows, pack, unpack
from replays.format.spool import Spool
from replays.format.tables import ORDERS, TABLES, Replay, Tables

# Bytes of columns for each byte of their tables, about.
_COLUMNS_PER_BYTE = 0.4
# Rows of a table that are turned into columns, or back, at a time.
_PART_ROWS = 1 << 19
# Rows of all tables at the most: so many, and so many for each byte of the file. Who moves leaves a bit a row
# and more, and each walker some ten bytes.
_FREE_ROWS, _ROWS_PER_BYTE = 1 << 21, 8
_FREE_WALKERS, _WALKERS_PER_BYTE = 1000, 0.125

_MOVING = tuple(name for name in COLUMNS if name != "walkers")


def columns_of_replay(replay: Replay) -> dict[str, NDArray[Any] | Pieces]:
    """The members of the file of ``replay``, which has been checked, without its header.

    Raises OutputError where they do not fit into the memory, and the disk is full.
    """
    size = sum(getattr(replay, name).nbytes for name in _MOVING)
    spool = Spool(on_disk=size * _COLUMNS_PER_BYTE > memory_room())
    for part in row_parts(replay):
        columns = encode(part)
        for name in _column_names():
            spool.add(name, columns[name])
    members: dict[str, NDArray[Any] | Pieces] = dict(spool.columns())
    members["walkers.body"] = np.array([replay.walkers[name] for name in BODY])
    members["built"] = _pack_grid(np.diff(digit_grains(replay.built.T, PART_DIGITS), prepend=0))
    members["ledger"] = _pack_grid(digit_grains(replay.ledger.T, ENERGY_DIGITS))
    light = digit_grains(replay.light_map, MAP_DIGITS)
    members["light_map"] = _pack_grid(np.diff(np.diff(light, axis=0, prepend=0), axis=1, prepend=0))
    return members


def _column_names() -> Iterator[str]:
    for table, columns in COLUMNS.items():
        if table in _MOVING:
            yield f"{table}.rows"
        yield from (f"{table}.{column}" for column in columns)


def row_parts(replay: Tables) -> Iterator[Tables]:
    """The tables in parts of walkers that stand together, their rows walker by walker."""
    tables = {name: getattr(replay, name) for name in _MOVING}
    everyone = np.arange(len(replay.walkers) + 1)
    orders: dict[str, IntArray] = {}
    edges = {}
    for name, table in tables.items():
        walkers = np.ascontiguousarray(table["walker"])
        if ORDERS[name][0] != "walker":
            orders[name] = np.argsort(walkers, kind="stable")
            walkers = walkers[orders[name]]
        edges[name] = np.searchsorted(walkers, everyone)
    for first, last in _parts(edges):
        rows = {}
        for name, table in tables.items():
            own = slice(edges[name][first], edges[name][last])
            rows[name] = table[orders[name][own]] if name in orders else table[own].copy()
            rows[name]["walker"] -= first
        yield Tables(walkers=replay.walkers[first:last], **rows)


def _parts(edges: dict[str, IntArray]) -> Iterator[tuple[int, int]]:
    """The first walker and the one behind the last of each part, by where the rows of each one begin."""
    total = np.sum(list(edges.values()), axis=0)
    first = 0
    while True:
        last = int(np.searchsorted(total, total[first] + _PART_ROWS, side="right")) - 1
        last = min(max(last, first + 1), len(total) - 1)
        yield first, last
        if last == len(total) - 1:
            return
        first = last


def _pack_grid(numbers: IntArray) -> Bytes:
    planes = pack(numbers.ravel())
    return planes.reshape(len(planes), *numbers.shape)


def replay_of_columns(archive: Archive) -> dict[str, NDArray[Any]]:
    """The tables and grids in a file, by name; they cannot be written to.

    Raises ReplayError, naming the member that cannot be.
    """
    packed = {name: _planes(archive, name, 2) for name in _column_names()}
    body = archive.array("walkers.body", np.dtype("<f8"))
    edges = _edges(archive, packed, body)
    found: dict[str, NDArray[Any]] = {
        name: large_array((int(edges[name][-1]),), TABLES[name], archive.on_disk) for name in _MOVING
    }
    found["walkers"] = np.zeros(len(body[0]), TABLES["walkers"])
    for first, last in _parts(edges):
        rows = {name: slice(own[first], own[last]) for name, own in edges.items()}
        rows["walkers"] = slice(first, last)
        columns = {}
        for name, planes in packed.items():
            table, column = name.split(".")
            columns[name] = unpack(planes[:, rows["walkers" if column == "rows" else table]])
        part = decode(columns, body[:, first:last])
        for name in rows:
            found[name][rows[name]] = getattr(part, name)
        for name in _MOVING:
            found[name]["walker"][rows[name]] += first
    found["pulses"] = _by_time(found["pulses"], "start_s", archive.on_disk)
    found["touches"] = _by_time(found["touches"], "time_s", archive.on_disk)
    built, ledger = (_unpack_grid(archive, name) for name in ("built", "ledger"))
    found["built"] = digit_values(np.cumsum(built, axis=1), PART_DIGITS).T
    found["ledger"] = digit_values(ledger, ENERGY_DIGITS).T
    light = np.cumsum(np.cumsum(_unpack_grid(archive, "light_map"), axis=1), axis=0)
    with np.errstate(invalid="ignore"):
        found["light_map"] = digit_values(light, MAP_DIGITS).astype(np.float32)
    for array in found.values():
        array.setflags(write=False)
    return found


def _planes(archive: Archive, name: str, dimensions: int) -> Bytes:
    planes = archive.array(name, np.dtype(np.uint8))
    if planes.ndim != dimensions or planes.shape[0] > MOST_PLANES:
        raise ReplayError(
            f"{name} is {planes.shape}, where {dimensions} dimensions belong, the first of {MOST_PLANES} "
            "at the most; the file is damaged, run it again"
        )
    return planes


def _unpack_grid(archive: Archive, name: str) -> IntArray:
    """The whole numbers of a grid (rows, columns)."""
    planes = _planes(archive, name, 3)
    rows, columns = planes.shape[1:]
    if rows * columns > max(MOST_CELLS, _FREE_ROWS + _ROWS_PER_BYTE * archive.size):
        raise ReplayError(f"{name} would have {rows} x {columns} values; the file is damaged, run it again")
    return unpack(planes.reshape(len(planes), rows * columns)).reshape(rows, columns)


def _edges(archive: Archive, packed: dict[str, Bytes], body: FloatArray) -> dict[str, IntArray]:
    """Where the rows of each walker begin in each table, after a look at the shapes of all columns."""
    walkers = packed["walkers.design"].shape[1]
    if body.shape != (len(BODY), walkers):
        raise ReplayError(f"walkers.body is {body.shape}, where {(len(BODY), walkers)} belongs; run it again")
    if walkers > _FREE_WALKERS + _WALKERS_PER_BYTE * archive.size:
        raise ReplayError(
            f"it would have {walkers} walkers, more than leave a file of {archive.size / 1e6:.3g} MB; "
            "the file is damaged, run it again"
        )
    room = _FREE_ROWS + _ROWS_PER_BYTE * archive.size
    edges = {}
    for table, columns in COLUMNS.items():
        count = packed[f"{table}.{columns[0]}"].shape[1]
        room -= count
        if room < 0:
            raise ReplayError(
                f"{table} would have {count} rows, more than any run leaves in a file of "
                f"{archive.size / 1e6:.3g} MB; the file is damaged, run it again"
            )
        for column in columns:
            if packed[f"{table}.{column}"].shape[1] != count:
                raise ReplayError(
                    f"{table}.{column} does not have {count} rows; the file is damaged, run it again"
                )
        if table in _MOVING:
            rows = unpack(packed[f"{table}.rows"])
            sound = len(rows) == walkers and np.all((rows >= 0) & (rows <= count))
            if not sound or rows.sum() != count:
                raise ReplayError(f"{table}.rows do not add up to {count}; the file is damaged, run it again")
            edges[table] = first_rows(rows)
    return edges


def _by_time(table: RecordArray, column: str, on_disk: bool) -> RecordArray:
    """Rows that go walker by walker in order of time, and of walkers at the same time."""
    order = np.argsort(table[column], kind="stable")
    if not on_disk:
        return table[order]
    sorted_table = large_array(table.shape, table.dtype, on_disk=True)
    for rows in in_pieces(len(table), _PART_ROWS):
        sorted_table[rows] = table[order[rows]]
    return sorted_table
