"""The results of a study as files, and as columns for statistics, read chunk by chunk out of its journal.

A table has one row a trial, in order: ``trial``, ``setting``, ``repeat``, the plan's ``seed``, a column for
each factor of the study, and the columns of arena.studies.trial_scores.TRIAL. All values are in SI units,
which the headings of the CSV file name; names of arenas, designs and other words stand as they are. Whatever
way the trials came about, the files have the same bytes.
"""

import math
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from agents.arrays import RecordArray
from agents.text.table_cells import table_line
from arena.studies.plans.parameters import Parameter
from arena.studies.plans.ranges import Levels
from arena.studies.plans.study import Study
from arena.studies.trial_scores import SCORE_COLUMNS, UNITS
from replays.format.whole_files import whole_file

Chunks = Callable[[], Iterable[RecordArray]]

# Of a line, after RFC 4180.
_ENDING = "\r\n"
_KEYS = ("trial", "setting", "repeat", "seed")
# Memory [bytes] for columns that are put together in one pass through the journal.
_PASS = 64_000_000


def columns(study: Study, chunks: Iterable[RecordArray], names: Sequence[str]) -> dict[str, npt.NDArray[Any]]:
    """The columns ``names`` of TRIAL, each (settings, repeats), from the rows of all chunks in order."""
    found = {name: np.empty(study.trials) for name in names}
    first = 0
    for rows in chunks:
        for name, values in found.items():
            values[first : first + len(rows)] = rows[name]
        first += len(rows)
    return {name: values.reshape(study.settings, study.repeats) for name, values in found.items()}


def csv_bytes(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> bytes:
    """A small table as CSV; an undefined number is left empty, and a part that is left out is ``none``."""
    lines = [table_line(headings, _ENDING)]
    for row in rows:
        cells = ("none" if cell is None else cell for cell in row)
        shown = ("" if isinstance(cell, float) and math.isnan(cell) else cell for cell in cells)
        lines.append(table_line(shown, _ENDING))
    return "".join(lines).encode()


def write_csv(path: Path, study: Study, chunks: Chunks) -> None:
    """Write the table as CSV in UTF-8, after RFC 4180; ``chunks`` gives the rows of all chunks in order.

    Numbers have as many digits as it takes to read the very same back; an undefined one is left empty, a time
    that never came is ``inf``, and a part that is left out is ``none``. Raises OutputError.
    """
    headings = [
        *_KEYS,
        *(f"{one.path} [{one.unit}]" if one.unit else one.path for one in study.factors),
        *(f"{name} [{UNITS[name]}]" if name in UNITS else name for name in SCORE_COLUMNS),
    ]
    with whole_file(path) as stream:
        stream.write(_line(headings))
        for rows, settings in _with_settings(study, chunks()):
            middles = {
                number: _line(["", *map(_cell, study.factors, values), ""])[:-2]
                for number, values in settings.items()
            }
            trials = rows["trial"].tolist()
            scores = zip(*(map(_number, rows[name].tolist()) for name in SCORE_COLUMNS), strict=True)
            lines = []
            for trial, cells in zip(trials, scores, strict=True):
                setting, repeat = divmod(trial, study.repeats)
                lines.append(b"%d,%d,%d,%d" % (trial, setting, repeat, study.seed))
                lines.append(middles[setting])
                lines.append(f"{','.join(cells)}\r\n".encode())
            stream.write(b"".join(lines))


def write_npz(path: Path, study: Study, chunks: Chunks) -> None:
    """Write the table as a zip of one array (trials,) a column, which ``numpy.load`` reads by name.

    Columns of numbers hold nan for what is undefined or left out, those of words hold text. Raises
    OutputError.
    """
    kinds: dict[str, np.dtype[Any]] = dict.fromkeys(_KEYS, np.dtype("<i8"))
    kinds |= {factor.path: _kind(study, place) for place, factor in enumerate(study.factors)}
    kinds |= dict.fromkeys(SCORE_COLUMNS, np.dtype("<f8"))
    with whole_file(path) as stream, zipfile.ZipFile(stream, "w") as archive:
        for names in _passes(kinds, study.trials):
            arrays = {name: np.empty(study.trials, kinds[name]) for name in names}
            _fill(arrays, study, chunks())
            for name, array in arrays.items():
                # a fixed time, and no trace of the system that writes it
                info = zipfile.ZipInfo(f"{name}.npy", date_time=(1980, 1, 1, 0, 0, 0))
                info.create_system = 3
                with archive.open(info, "w", force_zip64=True) as member:
                    np.lib.format.write_array(member, array, version=(1, 0))


def _with_settings(
    study: Study, chunks: Iterable[RecordArray]
) -> Iterator[tuple[RecordArray, dict[int, tuple[Any, ...]]]]:
    """The rows of each chunk, and the values of the factors of each setting in it."""
    for rows in chunks:
        first, last = int(rows["trial"][0]), int(rows["trial"][-1])
        settings = range(first // study.repeats, last // study.repeats + 1)
        yield rows, {number: study.factor_values(study.setting(number)) for number in settings}


def _passes(kinds: dict[str, np.dtype[Any]], trials: int) -> Iterator[list[str]]:
    """Columns that are put together at once."""
    names: list[str] = []
    size = 0
    for name, kind in kinds.items():
        if names and size + kind.itemsize * trials > _PASS:
            yield names
            names, size = [], 0
        names.append(name)
        size += kind.itemsize * trials
    yield names


def _kind(study: Study, place: int) -> np.dtype[Any]:
    factor = study.factors[place]
    # the factors are arena and design, where there are several, and then the parameters
    number = place - len(study.factors) + len(study.parameters)
    values: Sequence[Any]
    if number >= 0:
        levels = study.ranges[number]
        values = levels.values if isinstance(levels, Levels) else (levels.low,)
    elif factor.path == "arena":
        values = [spec.name for spec, _ in study.arenas]
    else:
        values = [one.design.name for one in study.designs]
    if all(value is None or isinstance(value, int | float) for value in values):
        return np.dtype("<f8")
    return np.dtype(f"<U{max(len(factor.show(value)) for value in values)}")


def _fill(arrays: dict[str, npt.NDArray[Any]], study: Study, chunks: Iterable[RecordArray]) -> None:
    """Fill columns (trials,) from the rows of all chunks."""
    factors = {factor.path: place for place, factor in enumerate(study.factors)}
    for rows, settings in _with_settings(study, chunks):
        trials = rows["trial"]
        mine = slice(int(trials[0]), int(trials[-1]) + 1)
        which = trials // study.repeats
        keys = {"trial": trials, "setting": which, "repeat": trials % study.repeats, "seed": study.seed}
        for name, array in arrays.items():
            if name in factors:
                place = factors[name]
                shown = _or_nan if array.dtype.kind == "f" else study.factors[place].show
                each = [shown(values[place]) for values in settings.values()]
                array[mine] = np.array(each, array.dtype)[which - which[0]]
            else:
                array[mine] = keys[name] if name in keys else rows[name]


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _cell(factor: Parameter, value: Any) -> str:
    return _number(float(value)) if isinstance(value, int | float) else factor.show(value)


def _number(value: float) -> str:
    if value != value:
        return ""
    # counts without a point
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)


def _line(cells: Sequence[str]) -> bytes:
    return table_line(cells, _ENDING).encode()
