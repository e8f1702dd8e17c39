"""Mangling of what a replay holds: values of its header, rows and columns of its tables."""

import io
import json
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from replays.format.column_members import columns_of_replay
from replays.format.packing import pack, unpack
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import MEMBERS
from tests.helpers.fabricate import potting_bench
from tests.mangled.mangle_bytes import (
    ZIP_FIELDS,
    Draw,
    array_file,
    cut_short,
    flipped,
    members_of,
    other_zip,
    spliced,
    zip_of,
)

FIRST = Path(__file__).parents[1] / "replays" / "format" / "version_1.npz"

# What a header may hold where something else belongs.
HOSTILE: tuple[Any, ...] = (
    *(0, -1, 1, 2, 1e-300, 1e12, -2e9, 1e30, -1e30, 1e308, 10**400, -(10**400), 2**63, 2**64, 0.5, -0.0),
    *(float("nan"), float("inf"), True, None, "", "\0", "\x1b[31m red", "\u202e", "\ud800", "x" * 3_000),
    *("x" * 100_000, "🌱" * 300, "0", "../../etc", [], {}, [[]], [0, 0], [[0, 0]] * 3, [[1e30, -1e30]] * 4),
)
HOSTILE_TEXTS = (
    "photodrome: design 1\nname: *a\n",
    "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\nd: [*c, *c]\n",
    "photodrome: design 1\nname: cress\nstorage: {capacitance: 1e-30 F}\n",
    "photodrome: design 1\nname: cress\nboth: {motor: {resistance: 1e9 ohm}, latch: 1 ohm}\n",
    "!!python/object/apply:os.getcwd []",
    "[" * 5_000,
    "{a: " * 2_000,
)
HOSTILE_NUMBERS = (0.0, -1.0, 1.0, 1e-30, 1e12, -2e9, 1e30, -1e30, 3e38, np.nan, np.inf, -np.inf, 0.5, 1e5)
HOSTILE_WHOLE = (
    0,
    1,
    -1,
    2,
    7,
    255,
    1 << 20,
    -(1 << 31),
    1 << 31,
    1 << 40,
    -(1 << 40),
    (1 << 62),
    -(1 << 63),
)


def corpus(folder: Path) -> dict[str, bytes]:
    """Sound replays of all versions, by name, made in ``folder``."""
    today, bench = folder / "today.npz", folder / "bench.npz"
    write_replay(read_replay(FIRST), today)
    write_replay(potting_bench().replay(), bench)
    files = {"version 1": FIRST, "today": today, "bench": bench}
    return {name: path.read_bytes() for name, path in files.items()}


def _numpy_file(array: Any) -> bytes:
    stream = io.BytesIO()
    np.lib.format.write_array(stream, np.asarray(array), version=(1, 0), allow_pickle=True)
    return stream.getvalue()


def _numpy_array(content: bytes) -> Any:
    return np.lib.format.read_array(io.BytesIO(content), allow_pickle=False)


def _one(draw: Draw, values: Any) -> Any:
    return values[int(draw.integers(len(values)))]


def _places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Paths to all that a tree of JSON holds."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(place for key, one in inner for place in _places(one, (*path, key)))]


def _other_value(value: Any, draw: Draw) -> Any:
    way = int(draw.integers(6))
    if way == 0 and isinstance(value, list) and value:
        return value * int(draw.integers(2, 3000))
    if way == 1 and isinstance(value, list) and value:
        return [value[0]] * len(value)
    if way == 2 and isinstance(value, int | float) and not isinstance(value, bool):
        return value * 10.0 ** int(draw.integers(-30, 30))
    if way == 3 and isinstance(value, str):
        return _one(draw, HOSTILE_TEXTS)
    if way == 4 and isinstance(value, list):
        return value[: int(draw.integers(len(value) + 1))]
    return _one(draw, HOSTILE)


def other_header(whole: bytes, draw: Draw) -> bytes:
    """Some values of the header are others, or not there."""
    members = members_of(whole)
    header = json.loads(_numpy_array(members["header.npy"]).tobytes())
    for _ in range(int(draw.integers(1, 4))):
        places = _places(header)
        # the file of the arena and points by the dozen would drown all else
        place = _one(draw, [one for one in places if len(one) < 4] if draw.random() < 0.6 else places)
        if not place:
            continue
        inner = header
        for step in place[:-1]:
            inner = inner[step]
        if draw.random() < 0.1 and isinstance(inner, dict):
            del inner[place[-1]]
        else:
            inner[place[-1]] = _other_value(inner[place[-1]], draw)
    text = json.dumps(header).encode()
    if draw.random() < 0.05:
        broken = (b"", b"{", b"[" * 200_000, b"\xff\xfe", text + text, text * 2000, b"[[],[],[]," * 400_000)
        text = _one(draw, broken)
    return zip_of(members | {"header.npy": _numpy_file(np.frombuffer(text, np.uint8))})


def other_rows(whole: bytes, draw: Draw) -> bytes:
    """Some rows of an array are others, or more, or fewer."""
    members = members_of(whole)
    name = _one(draw, [name for name in members if name != "header.npy"])
    array = _numpy_array(members[name]).copy()
    way = int(draw.integers(7))
    if way == 0 and array.ndim:
        array = array[..., : int(draw.integers(array.shape[-1] + 1))]
    elif way == 1 and array.size < 1_000_000:
        array = np.concatenate([array] * int(draw.integers(2, 200)), axis=int(draw.integers(array.ndim)))
    elif way == 2:
        array = np.zeros(array.shape, _one(draw, ("<f8", "<i8", "S3", "?", "<c16", "<M8[s]", ">f8", "<f2")))
    elif way == 3:
        array = array[::-1] if draw.random() < 0.5 else np.asfortranarray(np.atleast_2d(array))
    elif array.size:
        _spoil(array, draw)
    return zip_of(members | {name: _numpy_file(array)})


def _spoil(array: Any, draw: Draw) -> None:
    """Put values into an array in which they do not belong."""
    if array.dtype.names:
        array = array[_one(draw, array.dtype.names)]
    rows = array.reshape(-1)
    where = slice(None) if draw.random() < 0.2 else draw.integers(len(rows), size=int(draw.integers(1, 4)))
    values = HOSTILE_NUMBERS if rows.dtype.kind == "f" else HOSTILE_WHOLE
    with np.errstate(all="ignore"):
        rows[where] = np.array(_one(draw, values)).astype(rows.dtype)


def other_columns(whole: bytes, draw: Draw) -> bytes:
    """Whole numbers in a packed column are others."""
    members = members_of(whole)
    packed = [
        name
        for name, content in members.items()
        if b"'descr': '|u1'" in content[:128] and name != "header.npy"
    ]
    if not packed:
        return other_rows(whole, draw)
    for _ in range(int(draw.integers(1, 4))):
        name = _one(draw, packed)
        planes = _numpy_array(members[name])
        numbers = unpack(planes.reshape(len(planes), -1)).copy()
        if not len(numbers):
            continue
        if draw.random() < 0.5:
            _spoil(numbers, draw)
        else:
            numbers[draw.integers(len(numbers), size=3)] += draw.integers(-300, 300, size=3)
        again = pack(numbers)
        members[name] = _numpy_file(again.reshape(len(again), *planes.shape[1:]))
    return zip_of(members)


def other_values(whole: bytes, draw: Draw) -> bytes:
    """A replay that its writer would have refused: values of its tables that cannot be."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sound.npz"
        path.write_bytes(whole)
        sound = read_replay(path)
    name = _one(draw, list(MEMBERS))
    array = getattr(sound, name).copy()
    if array.size:
        _spoil(array, draw)
    broken = replace(sound, **{name: array})
    with np.errstate(all="ignore"):
        try:
            columns = columns_of_replay(broken) if draw.random() < 0.5 else None
        except (ValueError, IndexError, OverflowError, MemoryError):
            columns = None
    arrays = columns or {one: getattr(broken, one) for one in MEMBERS}
    text = json.dumps(broken.header | {"version": 2 if columns else 1}).encode()
    files = {f"{one}.npy": _numpy_file(array) for one, array in arrays.items()}
    return zip_of({"header.npy": _numpy_file(np.frombuffer(text, np.uint8))} | files)


def other_arrays(whole: bytes, draw: Draw) -> bytes:
    """An array is described otherwise than it is."""
    members = members_of(whole)
    name = _one(draw, list(members))
    return zip_of(members | {name: array_file(members[name], draw)})


def other_fields(whole: bytes, draw: Draw) -> bytes:
    """A field of the zip says something else."""
    return _one(draw, list(ZIP_FIELDS.values()))(whole, draw)


WAYS: dict[str, tuple[Callable[[bytes, Draw], bytes], float]] = {
    "header": (other_header, 0.3),
    "values": (other_values, 0.15),
    "columns": (other_columns, 0.15),
    "rows": (other_rows, 0.12),
    "arrays": (other_arrays, 0.06),
    "zip fields": (other_fields, 0.08),
    "zip": (other_zip, 0.05),
    "bits": (flipped, 0.03),
    "pieces": (spliced, 0.03),
    "length": (cut_short, 0.03),
}
"""Ways of mangling, each with its share of all."""
