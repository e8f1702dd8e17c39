"""Tables on the terminal, whole or below one another where all columns have no room side by side.

Text that comes from files is shown as it is, never read as markup, and without what would steer a terminal.
"""

import io
from collections.abc import Callable, Iterable, Sequence
from contextvars import ContextVar
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console, JustifyMethod
from rich.table import Table
from rich.text import Text

from arena.cli.terminal import printable
from arena.reports.told_page import Column as Column
from arena.reports.told_page import Told, ToldLine, ToldTable
from replays.words import NOTHING as NOTHING

# Where no terminal says how wide it is: a table that is read from a file or a pipe must not be cut.
WIDTH = 160
# Wide enough that nothing is folded.
_ANY_WIDTH = 10_000


class Recorder(Console):
    """A console that shows nothing and keeps what it is told: lines, and tables as they are, for a page."""

    def __init__(self) -> None:
        super().__init__(file=io.StringIO(), width=_ANY_WIDTH, highlight=False, markup=False, emoji=False)
        self.told: list[Told] = []

    def print(self, *objects: Any, style: Any = None, **how: Any) -> None:
        """Keep lines of text."""
        for one in objects:
            words = one.plain if isinstance(one, Text) else str(one)
            if words.strip():
                self.told.append(ToldLine(words, style == "dim"))

    def take(self, labels: Column, columns: Sequence[Column], words: str) -> None:
        """Keep a table; its first column is of words, and so is the one called ``words``."""
        self.told.append(ToldTable(labels, list(columns), (labels[0], *([words] if words else []))))


_recording: ContextVar[Recorder | None] = ContextVar("recording", default=None)


def recorded(tell: Callable[[], None]) -> list[Told]:
    """What ``tell`` would print, for a page; nothing is printed."""
    recorder = Recorder()
    token = _recording.set(recorder)
    try:
        tell()
    finally:
        _recording.reset(token)
    return recorder.told


def the_console() -> Console:
    """Where tables are printed; text that comes from files is shown there as it is."""
    recorder = _recording.get()
    if recorder is not None:
        return recorder
    made = Console(highlight=False, markup=False, emoji=False)
    if made.is_terminal:
        return made
    return Console(highlight=False, markup=False, emoji=False, width=WIDTH)


def print_lines(lines: Iterable[str]) -> None:
    """Print sentences, each beginning a line and folded where the terminal ends."""
    where = the_console()
    for line in lines:
        where.print(Text(printable(line)))


def _heading(words: str) -> Text:
    return Text("\n".join(map(printable, words.split("\n"))))


def table_with(
    labels: Column, columns: Sequence[Column], notes: Column | None = None, words: str = ""
) -> Table:
    """A table of figures, which line up to the right, and of words: notes and the column ``words``."""
    table = Table(box=SIMPLE_HEAD)
    table.add_column(labels[0], justify="right" if words else "left", overflow="fold")
    for heading, _ in columns:
        justify: JustifyMethod = "left" if heading == words else "right"
        table.add_column(_heading(heading), justify=justify, overflow="fold")
    if notes is not None:
        for column in table.columns:
            column.no_wrap = True
        table.add_column(notes[0], overflow="fold")
    for number, label in enumerate(labels[1]):
        cells = [Text(printable(cells[number])) for _, cells in columns]
        table.add_row(Text(label), *cells, *([] if notes is None else [Text(notes[1][number], style="dim")]))
    return table


def table_width(where: Console, table: Table) -> int:
    """Columns of the terminal that a table takes where nothing of it is folded."""
    return where.measure(table, options=where.options.update(width=100_000)).maximum


def print_in_parts(where: Console, labels: Column, columns: Sequence[Column]) -> None:
    """Print a table, or several below one another where all its columns have no room side by side."""
    if isinstance(where, Recorder):
        where.take(labels, columns, "")
        return
    first = 0
    while first < len(columns):
        last = first + 1
        while last < len(columns) and (
            table_width(where, table_with(labels, columns[first : last + 1])) <= where.width
        ):
            last += 1
        where.print(table_with(labels, columns[first:last]))
        first = last


def print_table(where: Console, labels: Column, columns: Sequence[Column], words: str = "") -> None:
    """Print a table; in parts where it is too wide. ``words`` is the heading of a column of words."""
    if isinstance(where, Recorder):
        where.take(labels, columns, words)
        return
    table = table_with(labels, columns, words=words)
    if table_width(where, table) <= where.width:
        where.print(table)
    else:
        print_in_parts(where, labels, columns)
