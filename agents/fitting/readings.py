"""The table of readings: what a builder writes down of a build on the bench, a row for each look.

The first line names the columns, in any order, with the unit of plain numbers in brackets if they have none
of their own: ``light [klx]``, ``trigger [V]``. Columns are divided by commas, by semicolons or by tabs;
with the latter two a number may have a decimal comma. A cell may be empty. A time may have two
units, like ``2 min 31 s``.
"""

import csv
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from agents.design.values_by_path import SIDES
from agents.errors import Fault, SpecError, nearest
from agents.handbook.light_kinds import KINDS
from agents.text.marked_yaml import read_text
from agents.text.quantities import Quantity
from agents.text.readers import QuantityError, Reader, Word, quote

MOST_ROWS = 2000
MOST_FAULTS = 20

YES_AND_NO = {"yes": True, "y": True, "1": True, "x": True, "no": False, "n": False, "0": False, "": False}

_BRACKETS = re.compile(r"(.*?)\s*[\[(]([^\])]*)[\])]\s*")
_DECIMAL_COMMA = re.compile(r"([-+]?[0-9]*),([0-9]+)")
# a time of two units, as the bench prints it: 2 min 31 s
_TWO_UNITS = re.compile(r"([0-9]+) ?(h|min) ([0-9]+(?:\.[0-9]+)?) ?(min|s)")
_SECONDS = {"h": 3600.0, "min": 60.0, "s": 1.0}
_BARE = re.compile(r"[-+]?[0-9.,]+(?:[eE][-+]?[0-9]+)?")


@dataclass(frozen=True)
class Column:
    """A column: its ``title``, the ``key`` of a reading that it fills, how it is read, other names for it."""

    title: str
    key: str
    reader: Reader
    also: tuple[str, ...] = ()


COLUMNS = (
    Column("light", "light", Quantity("lx", least=0.0, most=1e6), ("lux", "illuminance")),
    Column("kind", "kind", Word(KINDS), ("kind of light",)),
    Column("side", "side", Word(SIDES)),
    Column("pressed", "pressed", Word(tuple(YES_AND_NO)), ("whisker pressed", "whisker")),
    Column("trigger", "trigger", Quantity("V", least=0.1, most=20.0), ("trigger voltage", "fires at")),
    Column(
        "releases at",
        "let_go",
        Quantity("V", least=0.01, most=20.0),
        ("latch releases at", "release", "released at"),
    ),
    Column(
        "time between pulses",
        "between",
        Quantity("s", above=0.0, most=1e6),
        ("between", "time", "seconds", "period", "seconds between pulses"),
    ),
    Column("turn", "turn", Quantity("rad", least=-100.0, most=100.0), ("turn a pulse", "turn of a pulse")),
    Column("stall current", "stall", Quantity("A", above=0.0, most=100.0), ("stall",)),
    Column("stall voltage", "stall_voltage", Quantity("V", least=0.05, most=50.0), ("stall at",)),
)
MEASURED = ("trigger", "let_go", "between", "turn", "stall")
"""Keys of what a meter, a clock and a protractor read."""


@dataclass(frozen=True)
class Reading:
    """One number that was read, in SI units, at line ``line`` of the table.

    ``key`` is one of :data:`MEASURED`. ``side`` is empty where nothing says it: then it is the side that
    fires first. ``stall_voltage`` [V] goes with a stall current, ``light`` [lx] and ``kind`` with all else.
    """

    line: int
    key: str
    value: float
    light: float = math.nan
    kind: str = "daylight"
    side: str = ""
    pressed: bool = False
    stall_voltage: float = math.nan


def column_title(key: str) -> str:
    """Return the title of the column that fills ``key``."""
    return next(column.title for column in COLUMNS if column.key == key)


def read_readings(path: Path) -> list[Reading]:
    r"""Read a table of readings from a file.

    Raises :class:`~agents.errors.NotFoundError`, and :class:`~agents.errors.SpecError` with what is wrong: a
    column that is none, a value in a unit of something else, more than 2000 rows, no reading at all.

    >>> from pathlib import Path
    >>> _ = Path("mine.csv").write_text("light;trigger\n3 klx;3,31 V\n")
    >>> [(one.key, one.value, one.light) for one in read_readings(Path("mine.csv"))]
    [('trigger', 3.31, 3000.0)]
    """
    return parse_readings(read_text(path, str(path)), str(path))


def parse_readings(text: str, file: str) -> list[Reading]:
    r"""As :func:`read_readings` for the ``text`` of a table; ``file`` is what faults call it.

    >>> table = "light; trigger [V]; time between pulses\n3 klx; 3,31; 50 s\n"
    >>> [(one.key, one.value) for one in parse_readings(table, "mine.csv")]
    [('trigger', 3.31), ('between', 50.0)]
    """
    lines = re.split("\r\n|\r|\n", text)
    divider = _divider(lines[0])
    rows = list(csv.reader(lines, delimiter=divider, skipinitialspace=True))
    if not rows or not any(cell.strip() for cell in rows[0]):
        raise SpecError([Fault(file, 1, 1, "", "an empty table", f"a line of columns: {_titles()}")])
    columns, faults = _columns(file, rows[0])
    if faults:
        raise SpecError(faults)
    wanted = [(number, row) for number, row in enumerate(rows[1:], 2) if any(cell.strip() for cell in row)]
    if len(wanted) > MOST_ROWS:
        raise SpecError(
            [Fault(file, wanted[MOST_ROWS][0], 1, "", "more rows", f"at most {MOST_ROWS} of them")]
        )
    readings: list[Reading] = []
    for number, row in wanted:
        found = _row(file, number, row, columns, divider != ",", faults)
        readings += found
        if len(faults) >= MOST_FAULTS:
            break
    if not faults and not readings:
        raise SpecError([Fault(file, 1, 1, "", "no reading", f"one of {_listed(MEASURED)} in a row")])
    if faults:
        raise SpecError(faults)
    return readings


def _titles() -> str:
    return ", ".join(column.title for column in COLUMNS)


def _listed(keys: Sequence[str]) -> str:
    return ", ".join(map(column_title, keys))


def _divider(heading: str) -> str:
    """What divides the columns: a tab or a semicolon where the heading has one, else a comma."""
    return "\t" if "\t" in heading else ";" if ";" in heading else ","


def _columns(file: str, heading: Sequence[str]) -> tuple[list[tuple[Column, str]], list[Fault]]:
    """The columns in the order of the file, each with the unit of its plain numbers; and what is wrong."""
    names = {name: column for column in COLUMNS for name in (column.title, *column.also)}
    columns: list[tuple[Column, str]] = []
    faults: list[Fault] = []
    for place, cell in enumerate(heading, 1):
        match = _BRACKETS.fullmatch(cell.strip())
        word, unit = (match[1], match[2].strip()) if match else (cell.strip(), "")
        word = re.sub(r"[\s_-]+", " ", word.strip().lower())
        column = names.get(word)
        if column is None:
            near = nearest(word, names)
            faults.append(Fault(file, 1, place, "", quote(cell.strip()), f"a column: {_titles()}", near))
            continue
        if any(column is other for other, _ in columns):
            faults.append(Fault(file, 1, place, "", f"a second {column.title}", "each column once"))
        if unit:
            faults.extend(_unit_fault(file, place, column, unit))
        columns.append((column, unit))
    return columns, faults


def _unit_fault(file: str, place: int, column: Column, unit: str) -> Iterator[Fault]:
    """The fault of a unit in a heading that is none of the column's, if it is none."""
    if not isinstance(column.reader, Quantity):
        yield Fault(file, 1, place, column.title, f"the unit {quote(unit)}", "no unit for this column")
        return
    try:
        Quantity(column.reader.unit).read(f"1 {unit}")
    except QuantityError as error:
        yield Fault(file, 1, place, column.title, f"the unit {quote(unit)}", error.expected, error.near)


def _row(
    file: str,
    number: int,
    row: Sequence[str],
    columns: Sequence[tuple[Column, str]],
    may_have_commas: bool,
    faults: list[Fault],
) -> list[Reading]:
    """The readings of a row; what is wrong with it is added to ``faults``."""
    before = len(faults)
    if len(row) > len(columns):
        more = f"{len(row)} cells"
        faults.append(Fault(file, number, 1, "", more, f"at most {len(columns)}, one for each column"))
        return []
    cells: dict[str, object] = {}
    for place, (cell, (column, unit)) in enumerate(zip(row, columns, strict=False), 1):
        text = cell.strip()
        if column.key == "pressed":
            text = text.lower()
        elif not text:
            continue
        if may_have_commas:
            text = _DECIMAL_COMMA.sub(r"\1.\2", text)
        if column.key == "between" and (match := _TWO_UNITS.fullmatch(text)):
            text = f"{float(match[1]) * _SECONDS[match[2]] + float(match[3]) * _SECONDS[match[4]]:.6f} s"
        if unit and _BARE.fullmatch(text):
            text = f"{text} {unit}"
        try:
            cells[column.key] = column.reader.read(text)
        except QuantityError as error:
            expected = error.expected
            if column.key == "pressed":
                expected = "yes or no"
            elif _BARE.fullmatch(text) and isinstance(column.reader, Quantity):
                expected = (
                    f"{expected}; or the unit in the heading, like {column.title} [{column.reader.unit}]"
                )
            faults.append(Fault(file, number, place, column.title, error.got, expected, error.near))
    if len(faults) > before:
        return []
    return _readings_of(file, number, cells, faults)


def _readings_of(file: str, number: int, cells: Mapping[str, object], faults: list[Fault]) -> list[Reading]:
    def value(key: str) -> float:
        found = cells.get(key, math.nan)
        assert isinstance(found, float)
        return found

    found = []
    for key in MEASURED:
        if key not in cells:
            continue
        needs = "stall_voltage" if key == "stall" else "light"
        if needs not in cells:
            expected = f"a {column_title(needs)} beside each {column_title(key)}"
            faults.append(Fault(file, number, 1, column_title(needs), "nothing", expected))
            continue
        found.append(
            Reading(
                number,
                key,
                value(key),
                value("light"),
                str(cells.get("kind", "daylight")),
                str(cells.get("side", "")),
                YES_AND_NO[str(cells.get("pressed", ""))],
                value("stall_voltage"),
            )
        )
    return found
