"""Lines of tables (CSV, RFC 4180) that a spreadsheet will open: the one place that writes them."""

import csv
import io
from collections.abc import Iterable

# What a spreadsheet takes for the beginning of a formula, also as wide letters.
_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def table_line(cells: Iterable[object], ending: str = "\n") -> str:
    """Return a line of a table; None is an empty cell, and texts are made :func:`harmless`.

    >>> table_line(["=1+1", "-0.5", -2, None, "a,b"])
    '\'=1+1,-0.5,-2,,"a,b"\\n'
    """
    stream = io.StringIO()
    csv.writer(stream, lineterminator=ending).writerow(
        harmless(cell) if isinstance(cell, str) and not _is_number(cell) else cell for cell in cells
    )
    return stream.getvalue()


def harmless(text: str) -> str:
    """Text for a cell of a CSV table, with an apostrophe before what a spreadsheet would reckon with.

    >>> harmless("=1+1"), harmless("poppy")
    ("'=1+1", 'poppy')
    """
    shown = "".join(letter if letter.isprintable() else " " for letter in text)
    return f"'{shown}" if shown.lstrip()[:1] in _FORMULA and shown.strip() else shown


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return text.isascii() and text == text.strip()
