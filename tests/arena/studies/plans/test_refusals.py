"""Every way in which a plan can be wrong is told at its place, and all of them at once."""

import os
from pathlib import Path

import pytest

from agents.errors import NotFoundError, SpecError
from arena.cli.checking import check_file
from arena.studies.plans import study as plan
from arena.studies.plans.plan_form import MOST_TRIALS, time_text
from arena.studies.plans.study import parse_study, read_study
from tests.helpers.plans import BASE, HEAD, OWN, ROOM, faults_of, with_vary, write

NEAR_ASIDE = "design.both.eye.aside, design.left.eye.aside, design.right.eye.aside"


def test_too_many_trials_are_told_before_anything_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    drawn: list[int] = []
    monkeypatch.setattr(plan, "drawn_shares", lambda *given: drawn.append(1))
    lines = [f"design.{one}: 1k..100k in 1000" for one in ("both.latch", "both.series", "both.feeler")]
    (fault,) = faults_of(with_vary(*lines, more="repeats: 1000\nlasts: 20 min\n"))
    # 1e12 trials of 1200 s at 0.5e6 s a second: 2.4e9 s, and a year has 3.16e7 s
    assert fault[:3] == (7, 1, "vary")
    assert fault[3] == "1,000,000,000,000 trials (1,000,000,000 settings, 1,000 repeats), about 76 years here"
    (fault,) = faults_of(with_vary("design.both.latch: 10k", more="repeats: 1000000000000\nlasts: 1 s\n"))
    assert fault[2:4] == (
        "repeats",
        "1,000,000,000,000 trials (1 setting, 1,000,000,000,000 repeats), about 23 days here",
    )
    assert not drawn
    # a search that tries few of them may have as many as it likes
    assert parse_study(with_vary(*lines), most_trials=None).trials == 10**11
    assert parse_study(with_vary(*lines, more="repeats: 1\n"), most_trials=10**9).settings == 10**9
    edge = with_vary("design.both.latch: 1k..100k in 10000", more="repeats: 1000\n")
    assert parse_study(edge).trials == MOST_TRIALS
    assert faults_of(edge.replace("repeats: 1000", "repeats: 1001"))[0][3].startswith("10,010,000 trials")


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.2, "1 s"),
        (59.6, "60 s"),
        (119.0, "119 s"),
        (120.0, "2 minutes"),
        (600.0, "10 minutes"),
        (7300.0, "2 hours"),
        (3e5, "3.5 days"),
        (1e6, "12 days"),
        (6e8, "19 years"),
        (1e30, "32,000,000,000,000,000,000,000 years"),
    ],
)
def test_times_in_words(seconds: float, text: str) -> None:
    assert time_text(seconds) == text


def test_values_that_never_make_anything_are_faults() -> None:
    text = with_vary(
        "design.both.whisker.length: [3 mm, 50 mm]",
        "design.spread.both.latch.normal: 1 %",
        "arena.walls.first plank.x: 0.5 m..2.6 m in 3",
        "arena.walls.first plank.height: 10 mm, 20 mm",
    )
    found = faults_of(text)
    assert [fault[:3] for fault in found] == [
        (6, 32, "vary.design.both.whisker.length[0]"),
        (7, 36, "vary.design.spread.both.latch.normal"),
        (8, 30, "vary.arena.walls.first plank.x"),
    ]
    assert found[0][3].startswith(
        "3 mm, which makes no design (poppy: left.whisker: got a switch that closes"
    )
    assert found[1][3].startswith(
        "1 %, which makes no design (poppy: spread.both.latch: got both normal and uniform"
    )
    assert found[2][3].startswith(
        "2.6 m, which makes no arena (slalom: walls[0].line: got a wall that leaves"
    )


ALL_WRONG = """photodrome: study 1
name: everything
arenas: [slalmo, corner-trap, corner-trap, poppy]
designs: poppy, ./nowhere.yaml
vary:
  design.both.latsh: 10k
  design.both.latch: E12 100k..10k
  design.left.latch: 1k, 2k, 1000 ohm, 7
  design.both.eye.aside: [15 mm, 900 mm, 2 V]
  arena.lamps.grow lmp.intensity: 1000 cd
  arena.sun.elevation: 10 deg
  design.both.feeler: E12 51k..52k
  design.body.track: { a: 1 }
  design.both.series: []
  eye.aside: 20 mm
repeats: -3
walkers: 1.5
lasts: 20
speling: 3
scores: [reached, reachd, reached]
marks: { design.both.eye.aside: { wheels: 21 }, design.both.foo: { a: 1 } }
sampling: sobl
settings: many
seed: -1
"""


def test_all_faults_of_a_plan_are_told_at_once() -> None:
    assert faults_of(ALL_WRONG) == [
        (3, 10, "arenas[0]", "'slalmo'", "slalom"),
        (3, 31, "arenas[2]", "corner-trap a second time", ""),
        (3, 44, "arenas[3]", "'poppy', the name of a design", ""),
        (4, 10, "designs", "'./nowhere.yaml', where no file can be read", ""),
        (6, 3, "vary.design.both.latsh", "no such value", "design.both.latch"),
        (7, 22, "vary.design.both.latch", "100k..10k, which runs downward", ""),
        (8, 3, "vary.design.left.latch", "design.left.latch, which sets what design.both.latch sets", ""),
        (8, 22, "vary.design.left.latch", "'7'", ""),
        (8, 22, "vary.design.left.latch", "1000 ohm a second time, the same as 1k", ""),
        (9, 34, "vary.design.both.eye.aside[1]", "'900 mm'", ""),
        (9, 42, "vary.design.both.eye.aside[2]", "'2 V'", ""),
        (10, 3, "vary.arena.lamps.grow lmp.intensity", "no such value", "arena.lamps.grow lamp.intensity"),
        (11, 3, "vary.arena.sun.elevation", "arena.sun.elevation, but sun is left out in corner trap", ""),
        (12, 23, "vary.design.both.feeler", "51k..52k, which holds no value of E12", "56k"),
        (13, 3, "vary.design.body.track", "a map", ""),
        (14, 3, "vary.design.both.series", "an empty list", ""),
        (15, 3, "vary.eye.aside", "no such value", NEAR_ASIDE),
        (16, 10, "repeats", "'-3'", ""),
        (17, 10, "walkers", "'1.5'", ""),
        (18, 8, "lasts", "'20'", ""),
        (19, 1, "speling", "an unknown key", "sampling"),
        (20, 19, "scores[1]", "'reachd'", "reached"),
        (20, 27, "scores[2]", "reached a second time", ""),
        (21, 43, "marks.design.both.eye.aside.wheels", "'21'", ""),
        (21, 49, "marks.design.both.foo", "a path that is not varied", "design.both.feeler"),
        (22, 11, "sampling", "'sobl'", "sobol"),
        (23, 11, "settings", "'many'", ""),
        (24, 7, "seed", "'-1'", ""),
    ]


@pytest.mark.parametrize(
    ("text", "place", "got"),
    [
        ("photodrome: arena 1\nname: x\n", "1:13 photodrome", "an arena file"),
        ("photodrome: study 2\n", "1:13 photodrome", "version 2, which a newer photodrome has written"),
        ("photodrome: stduy 1\n", "1:13 photodrome", "'stduy 1'"),
        ("- 1\n", "1:1 ", "a list"),
        ("", "1:1 ", "an empty file"),
        (HEAD + "\tarenas: slalom\n", "3:1 ", "a tab"),
        (
            with_vary("design.both.latch: 1k..9k"),
            "6:22 vary.design.both.latch",
            "1k..9k without a number of values, in a grid",
        ),
        (
            with_vary("design.both.latch: 1k", more="settings: 8\n"),
            "5:1 settings",
            "settings beside a grid, which has one for every combination",
        ),
        (with_vary("design.both.latch: 1k..9k", more="sampling: sobol\n"), "1:1 settings", "nothing"),
        (
            with_vary("design.both.latch: 1k..9k", more="sampling: random\nsettings: 2000000\nrepeats: 1\n"),
            "6:11 settings",
            "2,000,000 settings",
        ),
        (
            with_vary("arena.lasts: 10 min", more="lasts: 9 min\n"),
            "5:1 lasts",
            "lasts beside arena.lasts",
        ),
        (
            with_vary("design.both.latch: 1k, 2k", "design.both.latch: 3k"),
            "7:3 vary.design.both.latch",
            "a second design.both.latch, after that on line 6",
        ),
        (
            with_vary(*(f"design.both.eye.aside{number}: 1 mm" for number in range(31))),
            "5:1 vary",
            "31 values varied",
        ),
        (
            with_vary("arena.walls.1.line: 0 0 / 0 1 m..0 0 / 1 1 m"),
            "6:23 vary.arena.walls.1.line",
            "a range",
        ),
        (
            f"{HEAD}arenas: slalom\ndesigns: poppy\nsampling: sobol\nsettings: 4\n",
            "5:11 sampling",
            "sobol with nothing to vary",
        ),
        (f"{HEAD}arenas: [slalom, [a]]\ndesigns: poppy\n", "3:1 arenas", "an empty item"),
        (f"{HEAD}arenas: []\ndesigns: poppy\n", "3:1 arenas", "an empty list"),
        (f"{HEAD}arenas: {{ a: slalom }}\ndesigns: poppy\n", "3:1 arenas", "a map"),
        (f"{HEAD}designs: poppy\n", "1:1 arenas", "nothing"),
        ("name: x\narenas: slalom\ndesigns: [popy]\n", "1:1 photodrome", "nothing"),
    ],
)
def test_one_thing_wrong(text: str, place: str, got: str) -> None:
    line, column, key, found, _ = faults_of(text)[0]
    assert (f"{line}:{column} {key}", found) == (place, got)


def test_faults_of_named_files_are_told_at_their_places(tmp_path: Path) -> None:
    write(tmp_path / "bad.yaml", OWN.replace("latch: 10k", "latch: 10"))
    write(tmp_path / "room.yaml", ROOM.replace("height: 50 mm", "hight: 50 mm"))
    (tmp_path / "bytes.yaml").write_bytes(b"photodrome: design 1\nname: \xff\n")
    write(tmp_path / "same.yaml", OWN.replace("name: own", "name: poppy"))
    path = write(
        tmp_path / "plan.yaml",
        "photodrome: study 1\nname: x\narenas: room.yaml\ndesigns: [bad.yaml, bytes.yaml, poppy, same.yaml]\n"
        "vary:\n  design.both.latsh: 10k\n",
    )
    with pytest.raises(SpecError) as caught:
        read_study(path)
    found = [(Path(one.file).name, one.key, one.got) for one in caught.value.faults]
    assert found == [
        ("bad.yaml", "both.latch", "'10'"),
        ("bytes.yaml", "", "the byte 0xff"),
        ("plan.yaml", "designs[3]", "same.yaml, which like poppy is called 'poppy'"),
        ("plan.yaml", "vary.design.both.latsh", "no such value"),
        ("room.yaml", "walls[0].hight", "an unknown key"),
        ("room.yaml", "walls[1].hight", "an unknown key"),
        ("room.yaml", "walls[2].hight", "an unknown key"),
    ]
    with pytest.raises(NotFoundError):
        read_study(tmp_path / "nowhere.yaml")
    with pytest.raises(NotFoundError, match=r"nearest: feeler-escape"):
        read_study("feeler-escpe")


def test_check_tells_what_a_plan_comes_to(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    path = write(tmp_path / "plan.yaml", "# a remark first\n" + BASE)
    assert check_file(str(path)) == "study a study: 96 settings, 10 repeats: 960 trials, about 1 s here"
    assert check_file("feeler-escape").startswith("study feeler against escape: ")
    huge = BASE.replace("repeats: 10", "repeats: 1000000000")
    write(path, huge)
    with pytest.raises(SpecError, match=r"plan\.yaml:9:1: repeats: got 96,000,000,000 trials"):
        check_file(str(path))
    # with a budget it is for a search, which tries few of them
    write(path, huge + "budget: 900\n")
    assert "96,000,000,000 trials" in check_file(str(path))
    with pytest.raises(NotFoundError, match="no shipped design, arena, study or race"):
        check_file("feeler-escapade-of-the-year")


def test_what_would_be_varied_without_any_effect_is_refused() -> None:
    """How many walkers there are is a path of its own; the arena's number is for contests."""
    (fault,) = faults_of(with_vary("arena.starts.zone.number: 1..3"))
    assert fault[:4] == (6, 3, "vary.arena.starts.zone.number", "arena.starts.zone.number")


def test_numbers_of_walkers_are_whole_and_told_once() -> None:
    for values, got in (
        ("2, 2.5", "'2.5'"),
        ("0, 4", "'0'"),
        ("2..9 in 3", "'2..9 in 3'"),
        ("E6 2..9", None),
    ):
        (fault,) = faults_of(with_vary(f"walkers: {values}"))
        assert fault[:3] == (6, 12, "vary.walkers")
        assert got is None or fault[3] == got
    (fault,) = faults_of(with_vary("walkers: 2, 4", more="walkers: 3\n"))
    assert fault[:4] == (5, 1, "walkers", "walkers beside walkers under vary")
    (fault,) = faults_of(with_vary("walker: 2, 4"))
    assert fault[2:] == ("vary.walker", "no such value", "walkers")


@pytest.mark.parametrize(
    "vary",
    [
        "arena.lamps.grow lamp.light: daylight, incandescent",
        "arena.lamps.grow lamp.place: 1 0.5 m, 2 0.5 m",
        "design.both.feeler: none, 10k",
    ],
)
def test_a_mark_where_there_is_no_axis_is_refused(vary: str) -> None:
    path, _, values = vary.partition(": ")
    mark = values.rpartition(", ")[2]
    (fault,) = faults_of(with_vary(vary) + f'marks: {{ {path}: {{ here: "{mark}" }} }}\n')
    assert fault[:4] == (7, 10, f"marks.{path}", f"{path}, whose values are not all numbers")


def test_values_that_are_left_out_are_told_once() -> None:
    assert len(faults_of(with_vary("design.both.latch:"))) == 1
