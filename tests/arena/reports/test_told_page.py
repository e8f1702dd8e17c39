"""Pages of kits, studies and searches: they say what the terminal says, with the pictures, and print."""

import re
from pathlib import Path

import pytest

from arena.reports.paper import TEXT_CONTRAST, contrast
from tests.helpers.browser import PAPERS, Browser
from tests.helpers.commands import AMBIENT, FLOOR, START_AND_GOAL, photodrome, refusal
from tests.helpers.pages import named, page_at, words_of

PLAN = """\
photodrome: study 1
name: shed <b>study</b>
about: which latch?
arenas: [./floor.yaml]
designs: [poppy]
vary: { design.both.latch: "10k, 47k", design.both.feeler: "10k, 33k" }
repeats: 12
lasts: 20 min
scores: [reached, held]
"""
ORDERS = {
    "kit": ("kit", "poppy", "--copies", "60", "--light-count", "2"),
    "sweep": ("sweep", "./plan.yaml"),
    "tune": ("tune", "./plan.yaml", "--budget", "120"),
}


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("floor.yaml").write_text(FLOOR + AMBIENT + START_AND_GOAL, encoding="utf-8")
    Path("plan.yaml").write_text(PLAN, encoding="utf-8")


@pytest.mark.parametrize("order", ORDERS.values(), ids=ORDERS)
def test_it_says_what_the_terminal_says(order: tuple[str, ...], browser: Browser) -> None:
    shown = photodrome(*order, "--report", "page.html")
    assert (shown.code, shown.err) == (0, "")
    assert shown.out.endswith("report: page.html\n")
    tree = page_at(Path("page.html"))
    [heading] = named(tree, "h1")
    assert words_of(heading) == ("poppy" if order[0] == "kit" else "shed <b>study</b>")
    cells = {words_of(cell) for cell in named(tree, "td", "th")}
    # every figure with an interval that a table on the terminal has stands in a table of the page
    rows = [line for line in shown.out.splitlines() if line.startswith("  ")]
    figures = {found for row in rows for found in re.findall(r"[-+\d.]+(?: %)? \[[^]]+\]", row)}
    assert figures
    assert all(any(figure in cell for cell in cells) for figure in figures)
    assert len(named(tree, "img")) >= 1
    seen = browser.open(Path("page.html"))
    assert (seen.dialogs, seen.messages, seen.requests) == ([], [], [])
    assert all(contrast(ink, ground) >= TEXT_CONTRAST for ink, ground, _, _ in browser.words())
    assert [browser.overhang(width) for width in (360, 1280)] == [0, 0]
    for paper in PAPERS:
        texts = [page.extract_text() for page in browser.printed(paper).pages]
        assert 2 <= len(texts) <= 5
        assert "Cautions for the bench" in texts[-1]


def test_pages_that_cannot_be_written() -> None:
    assert "ends in .html" in refusal("kit", "poppy", "--report", "page.txt")
    assert photodrome(*ORDERS["tune"], "--no-plots").code == 0
    assert "give the report another place" in refusal(*ORDERS["tune"], "--report", "plan.tune/page.html")


def test_a_page_beside_json_changes_nothing_of_it() -> None:
    plain = photodrome(*ORDERS["kit"], "--json")
    assert photodrome(*ORDERS["kit"], "--json", "--report", "page.html").json() == plain.json()
    page_at(Path("page.html"))
