"""The papers of a race: that they tell what happened, that their advice comes true, and that they print."""

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest

from arena.races.race_folder import read_results
from arena.reports.paper import TEXT_CONTRAST, contrast
from tests.helpers.browser import PAPERS, Browser
from tests.helpers.commands import ROOT, photodrome, refusal
from tests.helpers.pages import named, page_at, words_of

POPPY = (ROOT / "configs" / "designs" / "poppy.yaml").read_text(encoding="utf-8")

# Ten minutes of a small bench, so that no run takes long.
COURSE = """\
photodrome: race 1
name: bench <b>race</b> & "more"
about: who is at the lamp first?
courses: [{{arena: ./bench.yaml, by: {by}}}]
rules: {{storage: 4700 uF}}
"""
BENCH = """\
photodrome: arena 1
name: small bench
floor: {outline: 0 0 / 0.8 0 / 0.8 0.5 / 0 0.5 m}
lamps: [{name: lamp, place: 0.6 0.25 m, height: 400 mm, light: sun, intensity: 2500 cd}]
ambient: {illuminance: 1 klx}
starts: {places: [{place: 0.15 0.2 m, heading: 0 deg}, {place: 0.15 0.35 m, heading: 0 deg}]}
goals: [{name: under the lamp, centre: 0.6 0.25 m, radius: 100 mm}]
lasts: 10 min
"""
NAMES = {
    "first.yaml": "<script>alert(1)</script>",
    "<img src=x onerror=alert(2)>.yaml": "גזר \U0001f955",
    "{{ 7 * 7 }}.yaml": "W" * 40,
    "spins.yaml": "</section><h1>",
    "twitch.yaml": "&lt;b&gt; {% raw %}",
}


def enter(folder: Path, file: str, name: str, **values: str) -> None:
    text = POPPY.replace("name: poppy", f"name: {json.dumps(name, ensure_ascii=False)}\nteam: '<i>beet</i>'")
    for key, value in values.items():
        text, count = re.subn(rf"(?m)^( +{key}:) .*$", rf"\1 {value}", text, count=1)
        assert count == 1
    (folder / file).write_text(text, encoding="utf-8")


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a class, its race and its papers."""
    folder = tmp_path_factory.mktemp("class")
    (folder / "walkers").mkdir()
    values: list[dict[str, str]] = [
        {},
        {"latch": "47k"},
        {"capacitance": "1000 uF"},
        {"capacitance": "10 mF"},
        {"latch": "1M"},
    ]
    for (file, name), changed in zip(NAMES.items(), values, strict=True):
        enter(folder / "walkers", file, name, **changed)
    enter(folder / "walkers", "long.yaml", "x" * 300)
    (folder / "walkers" / "broken.yaml").write_text("photodrome: design 1\nname: <u>\nlatsch: 1k\n", "utf-8")
    (folder / "bench.yaml").write_text(BENCH, encoding="utf-8")
    (folder / "bench-race.yaml").write_text(COURSE.format(by="arrival"), encoding="utf-8")
    raced = race(folder, "walkers", "race", "--papers", str(folder / "papers"))
    assert raced.code == 0, raced.err
    assert raced.out.endswith(f"report: {folder / 'papers' / 'papers.html'}\n")
    return folder


def race(folder: Path, walkers: str, out: str, *more: str, course: str = "bench-race.yaml") -> Any:
    order = ("race", folder / walkers, "--course", folder / course, "--out", folder / out, "--rounds", "2")
    return photodrome(*order, "--tries", "6", *more)


def sections(tree: Any) -> dict[str, Any]:
    """The page of each walker by its name."""
    found = [one for one in named(tree, "section") if "sheet" in (one.get("class") or "").split()]
    return {words_of(named(one, "h2")[0]): one for one in found}


def test_it_tells_the_race(papers: Path) -> None:
    tree = page_at(papers / "papers" / "papers.html")
    results = read_results(papers / "race")
    [heading] = named(tree, "h1")
    assert words_of(heading) == 'bench <b>race</b> & "more"'
    rows = [[words_of(cell) for cell in row] for row in named(tree, "tr")]
    entries = results.entries
    for placing in results.placings:
        [row] = [row for row in rows if len(row) > 2 and row[1] == entries[placing.entry].name]
        assert row[0] == placing.words
        assert f"{placing.arrived} of {placing.starts}" in row
    text = " ".join(words_of(one) for one in named(tree, "p"))
    # who is scratched is told with line and reason
    assert "broken.yaml:3:1: latsch: got an unknown key" in text
    assert "at most 40 characters" in text
    # and who breaks a rule of the class, by which part
    assert "10 mF" in text or "10000 uF" in text


def test_each_walker_has_a_page_of_its_own(papers: Path) -> None:
    tree = page_at(papers / "papers" / "papers.html")
    results = read_results(papers / "race")
    pages = sections(tree)
    assert list(pages) == [results.entries[one.entry].name for one in results.placings]
    assert set(pages) == set(NAMES.values())
    for name, page in pages.items():
        titles = [words_of(one) for one in named(page, "h3")]
        for wanted in (
            "In figures",
            "Try next",
            "Why it came out so",
            "On the bench",
            "Faults",
            "Your notes",
        ):
            assert wanted in titles, name
        [finish] = [
            finish
            for _, _, finish in results.finishes_of(
                next(e.number for e in results.entries if e.name == name)
            )[-1:]
        ]
        caption = words_of(named(page, "figcaption")[0])
        assert caption.startswith(f"Round 2, from start place {finish.start + 1}: ")
        assert ("it arrived after" in caption) == (finish.time_s is not None)
    spins = words_of(pages["</section><h1>"])
    assert "Out of competition" in spins
    assert "Spin" in [words_of(one).split(" ")[0] for one in named(pages["</section><h1>"], "h4")]
    assert "twitch" in words_of(pages["&lt;b&gt; {% raw %}"]).lower()


def test_what_a_page_says_to_try_next_comes_true(papers: Path, tmp_path: Path) -> None:
    """Written into the file as it is printed, the change does in the same race what the page says."""
    tree = page_at(papers / "papers" / "papers.html")
    pages = sections(tree)
    files = {name: file for file, name in NAMES.items()}
    tried = 0
    for number, (name, page) in enumerate(pages.items()):
        hoped = re.search(r"it arrives at ([^,]+), (\d+)\w\w of 5\. Does yours", words_of(page))
        setting = [words_of(one) for one in named(page, "p") if one.get("class") == "setting"]
        if hoped is None or not setting or ";" in setting[0]:
            continue
        path, value = setting[0].split(": ")
        walkers = f"changed-{number}"
        shutil.copytree(papers / "walkers", papers / walkers)
        mine = papers / walkers / files[name]
        key = path.split(".")[-1]
        text, count = re.subn(rf"(?m)^( +{key}:) .*$", rf"\1 {value}", mine.read_text("utf-8"), count=1)
        assert count == 1
        mine.write_text(text, encoding="utf-8")
        again = race(papers, walkers, f"again-{number}")
        assert again.code == 0
        results = read_results(papers / f"again-{number}")
        [entry] = [one for one in results.entries if one.name == name]
        _, _, finish = results.finishes_of(entry.number)[-1]
        assert finish.time_s is not None
        minutes, seconds = (int(one) for one in re.findall(r"\d+", hoped[1])[:2])
        assert finish.time_s == pytest.approx(60 * minutes + seconds, abs=0.51) or "min" not in hoped[1]
        assert finish.place == int(hoped[2])
        tried += 1
        if tried == 2:
            break
    assert tried >= 1


def test_a_browser_shows_it_and_prints_a_page_for_each(papers: Path, browser: Browser) -> None:
    seen = browser.open(papers / "papers" / "papers.html")
    assert (seen.dialogs, seen.messages, seen.requests) == ([], [], [])
    for media in ("screen", "print"):
        for ink, ground, size, text in browser.words(media):
            assert contrast(ink, ground) >= TEXT_CONTRAST, text
            assert size >= 9.3, text
    assert [browser.overhang(width) for width in (360, 800, 1280)] == [0, 0, 0]
    for paper in PAPERS:
        texts = [page.extract_text() for page in browser.printed(paper).pages]
        cover = next(number for number, text in enumerate(texts) if "Your notes" in text)
        assert 1 <= cover <= 2
        assert "Cautions for the bench" in "".join(texts[:cover])
        # the page break of each walker, and none within one
        assert [text.count("Your notes") for text in texts[cover:]] == [1] * len(NAMES)


@pytest.mark.parametrize(
    ("form", "by"),
    [("together", "arrival"), ("heats and final", "arrival"), ("pairs", "arrival"),
     ("time trial", "last moving"), ("time trial", "most light")],
)  # fmt: skip
def test_every_form_of_a_race_has_papers(form: str, by: str, tmp_path: Path) -> None:
    (tmp_path / "walkers").mkdir()
    for number, latch in enumerate(("10k", "22k", "1M")):
        enter(tmp_path / "walkers", f"{number}.yaml", f"walker {number}", latch=latch)
    (tmp_path / "bench.yaml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "bench-race.yaml").write_text(COURSE.format(by=by), encoding="utf-8")
    done = race(
        tmp_path, "walkers", "race", "--format", form, "--papers", str(tmp_path / "p"), "--replays", "none"
    )
    assert done.code == 0, done.err
    pages = sections(page_at(tmp_path / "p" / "papers.html"))
    assert set(pages) == {"walker 0", "walker 1", "walker 2"}
    assert all(named(page, "figcaption") for page in pages.values())


def test_papers_that_cannot_be_written(papers: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    order = ("race", papers / "walkers", "--course", papers / "bench-race.yaml", "--out", "out")
    Path("file").write_text("mine", encoding="utf-8")
    assert "is no folder" in refusal(*order, "--papers", "file", code=1)
    assert "a folder of their own" in refusal(*order, "--papers", "out")
    Path("mine").mkdir()
    Path("mine/papers.html").write_text("<!DOCTYPE html><p>mine", encoding="utf-8")
    assert "is no paper of a race" in refusal(*order, "--papers", "mine")
    assert "is no folder" in refusal(*order, "--papers", "file/below", code=1)


def test_own_papers_are_written_anew(papers: Path) -> None:
    path = papers / "papers" / "papers.html"
    before = path.read_bytes()
    again = race(papers, "walkers", "race", "--papers", str(papers / "papers"))
    assert again.code == 0
    # the same race has the same papers
    assert path.read_bytes() == before
