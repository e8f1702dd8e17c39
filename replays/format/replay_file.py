"""The replay file: all that a run leaves behind, in one file that numpy alone can open.

A ``.replay.npz`` is a zip of ``.npy`` arrays, so ``numpy.load(path)`` reads it without this program; the
member ``header`` is an array of bytes that holds JSON in UTF-8 (see :mod:`replays.format.header`), the others
are described in :mod:`replays.format.tables`.

The same replay gives the same bytes: order, time stamps and compression of the members are fixed.
"""

import io
import json
import math
import struct
import tokenize
import warnings
import zipfile
import zlib
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agents.errors import NotFoundError, OutputError, ReplayError
from replays.format.checks import check_replay
from replays.format.header import FORMAT, check_header
from replays.format.tables import (
    MEMBERS,
    Replay,
    columns_of,
)
from replays.format.whole_files import write_whole

# What zipfile and numpy raise on bytes that nobody wrote on purpose; a damaged zip is caught further up.
_UNREADABLE = (
    EOFError,
    NotImplementedError,
    RuntimeError,
    SyntaxError,
    TypeError,
    UserWarning,
    ValueError,
    struct.error,
    tokenize.TokenError,
    zlib.error,
)


def write_replay(replay: Replay, path: str | Path) -> None:
    """Write ``replay`` to ``path``, whole or not at all.

    Raises ReplayError when the replay is not one that ``read_replay`` would take, OutputError when the file
    cannot be written.

    >>> from arena import read_contest, simulate
    >>> write_replay(simulate(read_contest("slalom", ["poppy"], seconds=60)), "slalom.replay.npz")
    """
    check_replay(replay)
    text = json.dumps(
        replay.header, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )
    members: dict[str, NDArray[Any]] = {"header": np.frombuffer(text.encode(), dtype=np.uint8)}
    members.update((name, getattr(replay, name)) for name in MEMBERS)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, array in members.items():
            info = zipfile.ZipInfo(f"{name}.npy", date_time=(1980, 1, 1, 0, 0, 0))
            info.create_system = 3
            info.external_attr = 0o644 << 16
            member = io.BytesIO()
            np.lib.format.write_array(member, np.ascontiguousarray(array), version=(1, 0), allow_pickle=False)
            try:
                # The lowest level: on poses nearly twice as fast as the usual one, and 4 % larger.
                archive.writestr(info, member.getbuffer(), zipfile.ZIP_DEFLATED, compresslevel=1)
            except zipfile.LargeZipFile as error:
                raise OutputError(f"{path}: {name} is too large for a file; run fewer walkers") from error
    write_whole(Path(path), stream.getvalue())


def read_replay(path: str | Path) -> Replay:
    """Read the replay at ``path`` and check every value that the program relies on.

    The arrays cannot be written to. Raises NotFoundError when there is no such file, ReplayError when it is
    cut short, foreign, damaged, or of another version.

    >>> from arena import read_contest, simulate
    >>> write_replay(simulate(read_contest("slalom", ["poppy"], seconds=60, walkers=3)), "race.replay.npz")
    >>> race = read_replay("race.replay.npz")
    >>> race.design_names, race.seconds, len(race.walkers)
    (['poppy'], 60.0, 3)
    >>> race.pulses.dtype.names[:4]
    ('walker', 'side', 'ended', 'touched')
    """
    try:
        with zipfile.ZipFile(path) as archive:
            header = _read_header(archive)
            check_header(header)
            arrays = {name: _read_array(archive, name) for name in MEMBERS}
        replay = Replay(header=header, **arrays)
        check_replay(replay)
    except FileNotFoundError as error:
        raise NotFoundError(f"{path}: there is no such file") from error
    except ReplayError as error:
        raise ReplayError(f"{path}: {error}") from error
    except OSError as error:
        raise ReplayError(f"{path}: cannot be read ({error.strerror or error})") from error
    except zipfile.BadZipFile as error:
        raise ReplayError(
            f"{path}: it is no replay, or it was cut short or damaged on its way ({error}); "
            "copy it anew, or run it again"
        ) from error
    except MemoryError as error:
        raise ReplayError(f"{path}: it is larger than the free memory") from error
    return replay


def _read_header(archive: zipfile.ZipFile) -> Any:
    flat, _ = _read_member(archive, "header", np.dtype(np.uint8))

    def refuse(word: str) -> None:
        raise ValueError(f"{word} is no number")

    try:
        return json.loads(flat.tobytes().decode(), parse_constant=refuse)
    except (ValueError, RecursionError) as error:
        raise ReplayError(
            f"its header cannot be understood ({error}); the file is damaged, run it again"
        ) from error


def _read_array(archive: zipfile.ZipFile, name: str) -> NDArray[Any]:
    flat, shape = _read_member(archive, name, MEMBERS[name])
    return flat.reshape(shape)


def _read_member(
    archive: zipfile.ZipFile, name: str, expected: np.dtype[Any]
) -> tuple[NDArray[Any], tuple[int, ...]]:
    """The array ``name``, still flat, and its shape, after a look at its type and size."""
    try:
        # The whole member at once, so that its checksum is compared before a value is believed.
        content = archive.read(f"{name}.npy")
        stream = io.BytesIO(content)
        if np.lib.format.read_magic(stream) != (1, 0):
            raise ValueError("another version of the .npy format")
        with warnings.catch_warnings():
            # numpy warns, and tries on, when the description of an array is not in its own writing.
            warnings.simplefilter("error")
            shape, by_columns, dtype = np.lib.format.read_array_header_1_0(stream)
    except KeyError as error:
        raise ReplayError(
            f"it holds no {name}, so it is no {FORMAT} or a damaged one; run it again"
        ) from error
    except _UNREADABLE as error:
        raise ReplayError(f"{name} cannot be read ({error}); the file is damaged, run it again") from error
    if dtype != expected or by_columns:
        raise ReplayError(
            f"{name} holds {columns_of(dtype)}, where {columns_of(expected)} belongs; run it again"
        )
    offset = stream.tell()
    if min(shape, default=0) < 0 or offset + math.prod(shape) * dtype.itemsize != len(content):
        raise ReplayError(f"{name} does not fill its shape {shape}; the file is damaged, run it again")
    return np.frombuffer(content, dtype=dtype, offset=offset), shape
