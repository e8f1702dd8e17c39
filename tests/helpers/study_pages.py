"""The figures that the pages of the shipped studies tell, and the pages with figures counted anew.

``python -m tests.helpers.study_pages`` runs every shipped study and the further runs that its page tells of,
and writes tables, figures with an interval, and picture anew, after something that they rest on has changed.
What it cannot write, it tells to read: the sentences that hold other figures, and what has moved.

A page's first table holds one setting a row, or one a cell; the figures with an interval in its text stand in
:data:`PAGES` in the order in which they are read. Which is which is told by words as the plan has them.
"""

import re
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from agents.design.spec import Design, read_design
from agents.testbench.bench_figures import bench_point
from agents.text.shipped import configs_folder

STUDIES = configs_folder() / "studies"
PICTURES = configs_folder().parent / ".pictures"
ALONE, TRACKS, FINER = "alone", "tracks", "finer"

# A figure with its interval, which may be broken over two lines.
QUOTE = re.compile(
    r"(?:\d[\d.]*|not in time)(?:\s(?:%|min|k?lx))?"
    r"\s\[[\d.<>]+(?:\sk?lx)?,\s(?:[\d.<>]+|not in\stime)(?:\sk?lx)?\]"
)
# A page whose figures are out of date begins a paragraph with these words.
STALE = "These figures were counted before"
_WIDTH = 120

Key = tuple[str, ...]
"""Name of a further run, or nothing; score; then each value that is varied, in the plan's order and words."""


@dataclass(frozen=True)
class Page:
    """What the page of a study is made from.

    ``picture`` is the sweep's, ``down`` the number of the value that goes down the first table, ``scores``
    those of its cells, ``left_out`` values that it does not show. ``quotes`` are the figures in the text,
    ``further`` what further runs change in the plan, ``bench`` the cells of a second table.
    """

    picture: str
    down: int
    scores: tuple[str, ...]
    quotes: tuple[Key, ...] = ()
    left_out: tuple[str, ...] = ()
    further: dict[str, dict[str, object]] = field(default_factory=dict)
    bench: Callable[[], list[list[str]]] | None = None


def _turns() -> list[list[str]]:
    """Turn a pulse at 5 klx for each frame and storage."""

    def turn(design: Design, storage: float) -> str:
        point = bench_point(design.with_values({"storage.capacitance": storage}), 5e3)
        return f"{abs(point.as_dict()['turn_deg']):.0f} deg"

    storages = (680e-6, 1000e-6, 1500e-6, 2200e-6, 3300e-6, 4700e-6)
    frames = map(read_design, ("mustard", "poppy", "lentil"))
    return [[turn(design, one) for one in storages] for design in frames]


def _silent_from() -> list[list[str]]:
    """The sun [klx] from which on poppy falls silent, for each air and tape."""
    poppy = read_design("poppy")
    taped = [
        poppy.with_values({f"{side}.eye.tape": share for side in ("left", "right")})
        for share in (1.0, 0.7, 0.5, 0.3, 0.2)
    ]

    def told(number: int, celsius: float) -> str:
        def fires(kilolux: int) -> bool:
            point = bench_point(taped[number], 1e3 * kilolux, "sun", 273.15 + celsius)
            return bool(point.measured.fires)

        # more than any sun, and less than any by day
        low, high = 1, 190
        if fires(high):
            return "never"
        if not fires(low):
            return "any"
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if fires(middle) else (low, middle)
        return f"{high} klx"

    return [
        [told(number, celsius) for number in range(len(taped))] for celsius in (-10.0, 10.0, 25.0, 35.0, 45.0)
    ]


PAGES = {
    "eye-spacing": Page(
        "shades-by-both-eye-aside.png",
        0,
        ("shades",),
        (
            ("", "reached", "8 mm", "160 mm"),
            ("", "reached", "80 mm", "160 mm"),
            *((TRACKS, "shades", "30 mm", track, "120 mm") for track in ("30 mm", "42 mm", "60 mm")),
        ),
        further={
            TRACKS: {
                "vary": {
                    "design.both.eye.aside": "8 mm, 15 mm, 21 mm, 30 mm, 45 mm, 60 mm",
                    "design.body.track": "30 mm, 42 mm, 60 mm",
                    "arena.shades.slat.size_y": "120 mm",
                }
            }
        },
    ),
    "feeler-escape": Page(
        "reached-by-both-feeler.png",
        0,
        ("reached", "held"),
        (
            ("", "reached", "10k", "47k"),
            ("", "reached", "33k", "47k"),
            ("", "reached", "33k", "10k"),
            ("", "reached", "4k7", "10k"),
            ("", "held", "10k", "47k"),
        ),
    ),
    "latch-motor": Page(
        "reach-time-map.png",
        0,
        ("reached",),
        (
            ("", "reach time", "8R", "10k"),
            ("", "reach time", "15R", "22k"),
            ("", "reach time", "28R", "22k"),
            ("", "reach time", "47R", "47k"),
            ("", "reach time", "68R", "47k"),
            ("", "reach time", "100R", "100k"),
            ("", "reached", "8R", "22k"),
            ("", "reached", "8R", "47k"),
            ("", "reached", "8R", "100k"),
            ("", "reached", "100R", "10k"),
            ("", "reached", "68R", "1k"),
            ("", "directness", "28R", "220k"),
            ("", "directness", "28R", "10k"),
            ("", "reach time", "8R", "10k"),
            ("", "reach time", "8R", "2k2"),
            ("", "reach time", "8R", "1k"),
            ("", "reached", "8R", "22k"),
        ),
        left_out=("2k2",),
    ),
    "storage-steering": Page(
        "reach-time-by-storage-capacitance.png",
        1,
        ("reach time", "directness"),
        (
            (FINER, "reach time", "mustard", "1800 uF"),
            ("", "directness", "poppy", "3300 uF"),
            ("", "directness", "poppy", "1000 uF"),
            ("", "directness", "poppy", "2200 uF"),
            ("", "reach time", "poppy", "1000 uF"),
            ("", "reach time", "poppy", "2200 uF"),
            ("", "reached", "poppy", "4700 uF"),
        ),
        further={FINER: {"vary": {"design.storage.capacitance": "E12 1200uF..4700uF"}}},
        bench=_turns,
    ),
    "tape-sun": Page(
        "reached-map.png",
        0,
        ("reached",),
        (
            ("", "reached", "3 klx", "100 %"),
            ("", "reached", "3 klx", "30 %"),
            ("", "aim", "3 klx", "100 %"),
            ("", "aim", "3 klx", "30 %"),
            ("", "aim", "3 klx", "15 %"),
        ),
        bench=_silent_from,
    ),
    "spread-yield": Page(
        "reached-by-spread-both-eye-dark-trigger-normal.png",
        1,
        ("reached",),
        (
            ("", "reached", "0 %", "150 mV"),
            ("", "reached", "0 %", "300 mV"),
            ("", "reached", "30 %", "0 V"),
            ("", "reached", "10 %", "30 mV"),
            ("storage-steering", "reached", "poppy", "3300 uF"),
        ),
    ),
    "lamp-crowd": Page(
        "gathered-by-walkers.png",
        0,
        ("light", "gathered", "evenness", "shading", "contact time", "spread"),
    ),
    "gap-width": Page(
        "passed-by-walls-partition-opening.png",
        1,
        ("passed", "flow"),
        (
            (ALONE, "passed", "poppy", "60 mm"),
            (ALONE, "passed", "mustard", "60 mm"),
            (ALONE, "passed", "poppy", "170 mm"),
            ("", "passed", "poppy", "170 mm"),
        ),
        further={ALONE: {"walkers": 1, "scores": ["passed", "flow", "reached"]}},
    ),
}
"""Every shipped study, by name."""


def page_path(name: str) -> Path:
    """Where the page of a study lies."""
    return STUDIES / f"{name}.md"


def is_table(line: str) -> bool:
    """Whether a line of a page is one of a table."""
    return line.startswith("|")


def tables_of(text: str) -> list[list[int]]:
    """The numbers of the lines of each table of a page, without head and rule."""
    found: list[list[int]] = []
    before = False
    for number, line in enumerate(text.splitlines()):
        if is_table(line):
            if not before:
                found.append([])
            found[-1].append(number)
        before = is_table(line)
    return [lines[2:] for lines in found]


def cells_of(line: str) -> list[str]:
    """The cells of a line of a table."""
    return [cell.strip() for cell in line.strip().strip("|").split("|")]


def paragraphs_of(text: str) -> Iterator[str]:
    """What a page says, by paragraphs, without its tables."""
    for paragraph in text.split("\n\n"):
        if not is_table(paragraph):
            yield paragraph


def table_keys(page: Page, words: Sequence[Sequence[str]]) -> list[list[Key]]:
    """What each cell of the first table is, row by row; ``words`` are the values of each factor."""
    if len(words) == 1:
        return [[("", score, one) for score in page.scores] for one in words[0]]
    across = [word for word in words[1 - page.down] if word not in page.left_out]
    rows: list[list[Key]] = []
    for word in words[page.down]:
        settings = [(word, other) if page.down == 0 else (other, word) for other in across]
        rows.append([("", score, *setting) for setting in settings for score in page.scores])
    return rows


@cache
def plan_words(name: str) -> list[list[str]]:
    """The values of each factor of a shipped study, in words and in their order."""
    from arena.studies.plans.study import read_study

    study = read_study(name)
    found: list[dict[str, None]] = [{} for _ in study.factors]
    for number in range(study.settings):
        values = study.factor_values(study.setting(number))
        for words, factor, value in zip(found, study.factors, values, strict=True):
            words[factor.show(value)] = None
    return [list(words) for words in found]


@cache
def told_figures(name: str) -> dict[Key, str]:
    """What the page of a study tells, by :data:`Key`.

    Raises ValueError where its figures are not those of :data:`PAGES`.
    """
    text = page_path(name).read_text(encoding="utf-8")
    page, lines = PAGES[name], text.splitlines()
    keys = table_keys(page, plan_words(name))
    rows = [cells_of(lines[number])[1:] for number in tables_of(text)[0]]
    quotes = [quote for paragraph in paragraphs_of(text) for quote in QUOTE.findall(paragraph)]
    if [len(row) for row in rows] != [len(row) for row in keys]:
        raise ValueError(f"{name}: the table has not the cells of its plan")
    if len(quotes) != len(page.quotes):
        raise ValueError(f"{name}: {len(quotes)} figures with an interval, {len(page.quotes)} are known")
    found = {
        key: cell for cells, row in zip(rows, keys, strict=True) for cell, key in zip(cells, row, strict=True)
    }
    for quote, key in zip(quotes, page.quotes, strict=True):
        told = " ".join(quote.split())
        if found.setdefault(key, told) != told:
            raise ValueError(f"{name}: {key} is {found[key]} in one place and {told} in another")
    return found


def with_figures(name: str, text: str, figures: dict[Key, str], bench: list[list[str]] | None) -> str:
    """The page of a study with other figures; lines of its text are kept within the width of the house."""
    page, lines = PAGES[name], text.splitlines()
    tables = tables_of(text)
    keys = table_keys(page, plan_words(name))
    for number, row in zip(tables[0], keys, strict=True):
        lines[number] = _with_cells(lines[number], [figures[key] for key in row])
    for number, cells in zip(tables[1] if bench else (), bench or (), strict=True):
        lines[number] = _with_cells(lines[number], cells)
    quotes = iter([figures[key] for key in page.quotes])
    done = []
    for paragraph in "\n".join(lines).split("\n\n"):
        if is_table(paragraph):
            done.append(paragraph)
        else:
            new = QUOTE.sub(lambda _: next(quotes), paragraph)
            done.append(paragraph if new == paragraph else _filled(new))
    return "\n\n".join(done) + "\n"


def _with_cells(line: str, cells: Sequence[str]) -> str:
    """A line of a table with other cells behind the first; what was bold stays so."""
    first, *former = cells_of(line)
    kept = [f"**{new}**" if old.startswith("**") else new for old, new in zip(former, cells, strict=True)]
    return f"| {' | '.join([first, *kept])} |"


def _filled(paragraph: str) -> str:
    """A paragraph or list, laid anew where a line has become too wide."""
    if all(len(line) <= _WIDTH for line in paragraph.splitlines()):
        return paragraph
    items = re.split(r"\n(?=\* )", paragraph)
    return "\n".join(
        textwrap.fill(
            " ".join(item.split()),
            _WIDTH - 1,
            subsequent_indent="  " if item.startswith("* ") else "",
            break_long_words=False,
            break_on_hyphens=False,
        )
        for item in items
    )


if __name__ == "__main__":
    from tests.helpers.study_pages_anew import main

    main()
