"""The replay file: all that a run leaves behind, in one file that numpy alone can open.

A ``.replay.npz`` is a zip of ``.npy`` arrays, so ``numpy.load(path)`` reads it without this program. The
member ``header`` is an array of bytes that holds JSON in UTF-8 (see :mod:`replays.format.header`). The tables
of :mod:`replays.format.tables` stand there column by column: :mod:`replays.format.columns` tells as what, and
:mod:`replays.format.packing` in which bytes. A file of version 1, which held the tables themselves, is still
read (:mod:`replays.format.first_version`).

The same replay gives the same bytes: order, time stamps and compression of the members are fixed. How finely
times, places and light are kept is told by :mod:`replays.format.grains`; as the engine writes nothing finer,
a replay is the same before and after it was a file.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np

from agents.errors import NotFoundError, ReplayError
from replays.format.archive import Archive, write_archive
from replays.format.checks import check_replay
from replays.format.column_members import columns_of_replay, replay_of_columns
from replays.format.first_version import read_tables
from replays.format.header import VERSION, check_header
from replays.format.tables import Replay
from replays.format.whole_files import whole_file


def write_replay(replay: Replay, path: str | Path) -> None:
    """Write ``replay`` to ``path``, whole or not at all.

    Raises ReplayError when the replay is not one that ``read_replay`` would take, OutputError when the file
    cannot be written.

    >>> from arena import read_contest, simulate
    >>> write_replay(simulate(read_contest("slalom", ["poppy"], seconds=60)), "slalom.replay.npz")
    """
    check_replay(replay)
    header = replay.header | {"version": VERSION}
    text = json.dumps(header, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    flat = np.frombuffer(text.encode(), dtype=np.uint8)
    with whole_file(Path(path)) as stream:
        write_archive(stream, {"header": flat, **columns_of_replay(replay)})


def read_replay(path: str | Path) -> Replay:
    """Read the replay at ``path`` and check every value that the program relies on.

    The arrays cannot be written to. Raises NotFoundError when there is no such file, ReplayError when it is
    cut short, foreign, damaged, or of a version that is not read.

    >>> from arena import read_contest, simulate
    >>> write_replay(simulate(read_contest("slalom", ["poppy"], seconds=60, walkers=3)), "race.replay.npz")
    >>> race = read_replay("race.replay.npz")
    >>> race.design_names, race.seconds, len(race.walkers)
    (['poppy'], 60.0, 3)
    >>> race.pulses.dtype.names[:4]
    ('walker', 'side', 'ended', 'touched')
    """
    try:
        with Archive(path) as archive:
            header = _read_header(archive)
            check_header(header)
            arrays = read_tables(archive) if header["version"] == 1 else replay_of_columns(archive)
            replay = Replay(header=header, **arrays)
        check_replay(replay)
    except NotFoundError:
        raise
    except ReplayError as error:
        raise ReplayError(f"{path}: {error}") from error
    except OSError as error:
        raise ReplayError(f"{path}: cannot be read ({error.strerror or error})") from error
    except MemoryError as error:
        raise ReplayError(f"{path}: it is larger than the free memory") from error
    return replay


def _read_header(archive: Archive) -> Any:
    def refuse(word: str) -> None:
        raise ValueError(f"{word} is no number")

    flat = archive.array("header", np.dtype(np.uint8))
    try:
        return json.loads(flat.tobytes().decode(), parse_constant=refuse)
    except (ValueError, RecursionError) as error:
        raise ReplayError(
            f"its header cannot be understood ({error}); the file is damaged, run it again"
        ) from error
