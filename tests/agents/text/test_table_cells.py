"""Tables that a spreadsheet opens reckon with nothing; and there is one place that writes them."""

import csv
import io
from pathlib import Path

import pytest

from agents.text.table_cells import harmless, table_line
from tests.helpers.commands import ROOT

# What OWASP names in "CSV Injection" as beginnings of formulae, from memory.
FORMULAE = [
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1+1",
    "\r=1+1",
    "  =cmd|' /C calc'!A0",
    "＝1+1",
    "=",
    "-pots",
]


@pytest.mark.parametrize("text", FORMULAE)
def test_a_text_that_would_be_reckoned_with_gets_an_apostrophe(text: str) -> None:
    assert harmless(text).startswith("'")
    (row,) = csv.reader(io.StringIO(table_line([text, 1]), newline=""))
    assert row == [harmless(text), "1"]
    assert row[0].isprintable()


@pytest.mark.parametrize("text", ["poppy", "-0.5", "-1e-05", "+3", "-inf", "0.25", "", "a=b", "2-3", "  "])
def test_numbers_and_plain_texts_stay(text: str) -> None:
    (row,) = csv.reader(io.StringIO(table_line(["x", text]), newline=""))
    assert row == ["x", text]


def test_cells_of_numbers_read_back_exactly() -> None:
    cells = [-0.1, 1e300, -5, 0.1 + 0.2, None]
    (row,) = csv.reader(io.StringIO(table_line(cells), newline=""))
    assert [float(one) for one in row[:-1]] == cells[:-1]
    assert row[-1] == ""


def test_nobody_else_writes_tables() -> None:
    writers = [
        path.name
        for package in ("agents", "replays", "arena")
        for path in Path(ROOT, package).rglob("*.py")
        if "csv.writer" in path.read_text(encoding="utf-8")
        or "DictWriter" in path.read_text(encoding="utf-8")
    ]
    assert writers == ["table_cells.py"]
