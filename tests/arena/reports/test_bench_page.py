"""The bench sheet as a page: its ranges and figures, and that anyone can open, read and print it."""

import math
from pathlib import Path

import numpy as np
import pytest

from agents.design.spec import parse_design, read_design
from agents.testbench.bench_figures import bench, bench_point
from arena.reports.bench_curves import BRIGHTEST, DIMMEST, cycle_of, light_curves, state_of
from arena.reports.bench_page import bench_page
from arena.reports.paper import TEXT_CONTRAST, contrast
from tests.helpers.browser import PAPERS, Browser
from tests.helpers.commands import listing, photodrome, refusal
from tests.helpers.pages import check_page, drawings, named, page_at, words_of

# Names that people give, and that a page must show as they are.
HARD_NAMES = {
    "html": '<script>alert("x")</script><b>bold</b> & "quoted"',
    "right to left": "\u05d2\u05d6\u05e8 \u202e evil \u05d1",
    "emoji": "\U0001f955\U0001f469\u200d\U0001f33e carrot",
    "long": "x" * 300,
    "words": "garden " * 43,
}


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", ["poppy", "thistle-spins", "nettle-twitches", "cress", "sunflower"])
def test_ranges_are_those_of_the_bench(name: str) -> None:
    """Beside every edge the bench itself says what the ranges say, and they leave no gap."""
    design = read_design(name)
    ranges = light_curves(design, "daylight").ranges
    assert (ranges[0].low, ranges[-1].high) == (pytest.approx(DIMMEST), pytest.approx(BRIGHTEST))
    assert [one.high for one in ranges[:-1]] == [one.low for one in ranges[1:]]
    for one in ranges:
        for light in (1.006 * one.low, math.sqrt(one.low * one.high), one.high / 1.006):
            assert state_of(bench_point(design, light).faults) == one.state, (light, one)
    assert {"dim", "blind"} <= {one.state for one in ranges}


def test_a_side_fires_where_the_storage_at_rest_stands_above_its_trigger() -> None:
    """What the plot says by its lines is what the bench says by its charging."""
    curves = light_curves(read_design("poppy"), "daylight")
    points = bench(read_design("poppy"), map(float, curves.lights))
    fires = np.array([point.measured.fires for point in points])
    above = curves.rests > np.minimum(curves.left, curves.right)
    assert fires.any()
    assert not fires.all()
    assert np.array_equal(fires, above)
    # eyes and leak take something, so that it never comes up to the open circuit
    assert np.all(curves.rests < curves.open_circuit)


def test_the_cycle_is_that_of_the_table() -> None:
    design = read_design("poppy")
    points = bench(design)
    cycle = cycle_of(design, points)
    assert cycle is not None
    point = next(one for one in points if one.light == cycle.light)
    first = point.first
    assert cycle.waiting[0, 1] == pytest.approx(first.let_go)
    assert cycle.waiting[-1, 1] == pytest.approx(first.trigger, abs=2e-4)
    assert cycle.waiting[-1, 0] == pytest.approx(first.charge)
    assert np.all(np.diff(cycle.waiting[:, 1]) > 0)
    assert cycle.pulse[0, 1] == pytest.approx(first.trigger)
    assert cycle.pulse[-1, 0] == pytest.approx(first.pulse)
    assert cycle.pulse[-2, 1] == pytest.approx(first.let_go, rel=0.1)
    assert cycle.pulse[:, 2].max() == pytest.approx(first.peak, rel=0.15)


def test_no_cycle_where_nothing_fires() -> None:
    design = read_design("poppy")
    assert cycle_of(design, bench(design, [10.0, 100e3])) is None


def test_the_command_writes_a_page() -> None:
    plain = photodrome("bench", "poppy")
    shown = photodrome("bench", "poppy", "--report", "poppy.html")
    assert (shown.code, shown.err) == (0, "")
    assert shown.out == plain.out + "report: poppy.html\n"
    tree = page_at(Path("poppy.html"))
    [heading] = named(tree, "h1")
    assert words_of(heading) == "poppy"
    text = " ".join(words_of(one) for one in named(tree, "p", "td", "th", "h3"))
    # the same figures as on the terminal
    for figure in ("3.31 V", "51 min 24 s", "110 ms", "62 deg", "blind (trigger above panel)"):
        assert figure in plain.out
        assert figure in text
    for line in (line for line in plain.out.splitlines() if line.startswith("  cure: ")):
        assert line.removeprefix("  cure: ")[1:] in text
    assert len(drawings(tree)) == 4
    before = Path("poppy.html").read_bytes()
    assert photodrome("bench", "poppy", "--report", "poppy.html").code == 0
    assert Path("poppy.html").read_bytes() == before


def test_json_stays_json_beside_a_page() -> None:
    plain = photodrome("bench", "poppy", "--json", "--light", "3klx")
    shown = photodrome("bench", "poppy", "--json", "--light", "3klx", "--report", "a.html")
    assert shown.json() == plain.json()
    page_at(Path("a.html"))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("poppy", "--report", "sheet.pdf"), "a name that ends in .html"),
        (("poppy", "--report", "nowhere/sheet.html"), "no folder"),
        (("./mine.html", "--report", "mine.html"), "is an input of this very command"),
    ],
)
def test_reports_that_cannot_be_written(arguments: tuple[str, ...], words: str) -> None:
    Path("mine.html").write_text("photodrome: design 1\nname: borage\n", encoding="utf-8")
    code = 1 if "nowhere" in words or "folder" in words else 2
    assert words in refusal("bench", *arguments, code=code)
    assert list(listing()) == ["mine.html"]


def page_of(more: str = "", **changed: str) -> str:
    design = parse_design(f"photodrome: design 1\nname: carrot\n{more}", "carrot.yaml")
    # past the door, which refuses long names and such letters, for not all that is shown comes through it
    design = design.model_copy(update=changed)
    return bench_page(design, bench(design, [300.0, 3e3]), None)


@pytest.mark.parametrize("name", HARD_NAMES.values(), ids=HARD_NAMES.keys())
def test_hard_names_are_shown_as_they_are(name: str, browser: Browser, tmp_path: Path) -> None:
    page = page_of(name=name, about=name)
    tree = check_page(page)
    [heading] = named(tree, "h1")
    assert words_of(heading) == " ".join(name.split())
    path = tmp_path / "hard.html"
    path.write_text(page, encoding="utf-8")
    seen = browser.open(path)
    assert (seen.dialogs, seen.messages, seen.requests) == ([], [], [])
    assert browser.overhang(360) <= 0


def test_sides_that_differ_have_a_column_and_a_line_each() -> None:
    page = page_of("right: { latch: 22k, eye: { dark_trigger: 2.3 V } }\n")
    tree = check_page(page)
    heads = [words_of(one) for one in named(tree, "th")]
    assert {"left", "right"} <= set(heads)
    assert any("right trigger" in one for one in drawings(tree))


@pytest.mark.parametrize("design", ["poppy", "nettle-twitches"])
def test_a_browser_shows_and_prints_it(design: str, browser: Browser) -> None:
    assert photodrome("bench", design, "--report", "sheet.html").code == 0
    seen = browser.open(Path("sheet.html"))
    assert (seen.dialogs, seen.messages, seen.requests) == ([], [], [])
    for media in ("screen", "print"):
        words = browser.words(media)
        assert len(words) > 80
        for ink, ground, size, text in words:
            assert contrast(ink, ground) >= TEXT_CONTRAST, text
            # 7 points, which a footnote of a book has
            assert size >= 9.3, text
    assert [browser.overhang(width) for width in (360, 800, 1280)] == [0, 0, 0]
    for paper in PAPERS:
        printed = browser.printed(paper)
        assert 3 <= len(printed.pages) <= 4
        text = "".join(page.extract_text() for page in printed.pages)
        assert "Cautions for the bench" in text
