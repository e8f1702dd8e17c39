"""The command race, as a teacher uses it."""

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageSequence

from arena.cli import options, race_command
from replays.drawing.show_times import ShowTimes
from replays.format.replay_file import read_replay
from replays.format.tables import Replay
from replays.scoring.progress import Progress
from tests.helpers.classes import write_class
from tests.helpers.commands import DESIGN, listing, photodrome, refusal

SHORT = """\
photodrome: race 1
name: short race
entries: [walkers]
courses: [{arena: sprint-to-the-lamp, lasts: 5 min}]
rounds: 8
rules: {storage: 4700 uF}
"""


@pytest.fixture(autouse=True)
def _in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_class(Path("walkers"), 5)
    Path("short.yaml").write_text(SHORT)


def rows_of(path: Path) -> list[list[str]]:
    return list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def test_a_race_from_its_file() -> None:
    Path("walkers/broken.yaml").write_text(DESIGN + "both: { latch: 1000 }\n")
    Path("walkers/big.yaml").write_text(DESIGN + "storage: { capacitance: 22 mF }\n")
    Path("walkers/evil.yaml").write_text("photodrome: design 1\nname: '=HYPERLINK(\"x\")'\nteam: '@team'\n")
    done = photodrome("race", "short.yaml")
    assert done.code == 0, done.err
    assert "scratched: broken.yaml: walkers/broken.yaml:3:16: both.latch: got '1000'" in done.out
    assert (
        "borage races out of competition: storage.capacitance: 22000 uF, allowed are at most 4700 uF"
        in done.out
    )
    assert "of 6 places are sure" in done.out
    assert "the first place is shared" in done.out or "has won; that is sure" in done.out
    head, *rows = rows_of(Path("short.race/standings.csv"))
    assert head[:4] == ["place", "place from", "place to", "name"]
    assert len(rows) == 8
    assert {row[0] for row in rows} >= {"out of competition", "scratched"}
    names = {row[3] for row in rows}
    assert '\'=HYPERLINK("x")' in names
    assert len(rows_of(Path("short.race/rounds.csv"))) == 1 + 8 * 7
    for name in ("standings.csv", "rounds.csv"):
        for cell in (cell for row in rows_of(Path("short.race", name)) for cell in row):
            assert cell.lstrip()[:1] not in ("=", "+", "@")
    watch = [line for line in done.out.splitlines() if "photodrome watch" in line]
    assert Path(watch[0].split("photodrome watch ")[1]).is_file()
    # the same command finds all of it there
    before = listing(Path("short.race"))
    again = photodrome("race", "short.yaml")
    assert again.out == done.out
    assert listing(Path("short.race")) == before
    assert "more round" in done.out or "so alike so far" in done.out


def test_check_tells_all_before_the_lesson() -> None:
    Path("walkers/broken.yaml").write_text(DESIGN + "both: { latch: 1000 }\n")
    Path("walkers/copy.yaml").write_text(Path("walkers/entry-01.yaml").read_text())
    Path("walkers/huge.yaml").write_text(
        DESIGN + "body: { radius: 400 mm, track: 400 mm }\nboth: { whisker: { length: 60 mm } }\n"
    )
    done = photodrome("race", "short.yaml", "--check")
    assert done.code == 2
    assert "6 walkers can race, 2 scratched" in done.out
    assert "the same walker: Anaïs (copy) (copy.yaml), Anaïs (entry-01) (entry-01.yaml)" in done.out
    assert "huge.yaml: a body 800 mm across meets a wall at start place 1" in done.out
    assert "8 rounds, each alone on the floor, in turn from 8 start places" in done.out
    assert "on this machine" in done.out
    assert not Path("short.race").exists()
    found = photodrome("race", "short.yaml", "--check", "--json").json()
    assert len(found["entries"]) == 6
    assert [one["file"] for one in found["scratched"]] == ["broken.yaml", "huge.yaml"]
    assert found["expected_s"] > 0.0
    for name in ("broken", "huge"):
        Path(f"walkers/{name}.yaml").unlink()
    assert photodrome("race", "short.yaml", "--check").code == 0


def test_the_command_names_entries_course_and_format() -> None:
    done = photodrome(
        *("race", "walkers", "--course", "endurance", "--format", "together", "--rounds", "3", "--seed", "5"),
        *("--out", "results", "--replays", "all", "--json"),
    )
    found = done.json()
    assert (found["format"], found["seed"], len(found["rounds"])) == ("together", 5, 3)
    assert [one["path"] for one in found["replays"]] == [
        f"round-00{number}.replay.npz" for number in (1, 2, 3)
    ]
    assert {one["name"] for one in found["entries"]} == {"Anaïs", "Bela", "Cyril", "Dora", "Emre"}
    assert all(one["colour"].startswith("#") for one in found["entries"])
    told = photodrome("race", "walkers", "--course", "endurance", "--rounds", "3", "--out", "more").out
    assert "mean light" in told
    assert "each walker has run from 3 of 7 start places; --rounds 7 lets each run from all" in told


def test_a_race_is_filmed_as_large_and_as_long_as_asked_for_with_causes_at_its_foot(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The second time, with the results at hand, films alone are made."""
    race = ("race", "short.yaml", "--rounds", "1", "--yours", "Bela")
    lasts = (*race, "--film-size", "320x352", "--film-lasts", "4 s")
    assert photodrome(*lasts, "--film", "plain.gif").code == 0
    done = photodrome(*lasts, "--film", "told.gif", "--ticker", "--json")
    assert (done.code, done.json()["seed"]) == (0, 1)
    assert "film: told.gif" in done.err
    frames: dict[str, list[np.ndarray]] = {}
    for name in ("plain", "told"):
        with Image.open(f"{name}.gif") as image:
            assert image.size == (320, 352)
            seconds, frames[name] = 0.0, []
            for frame in ImageSequence.Iterator(image):
                seconds += frame.info["duration"] / 1000.0
                frames[name].append(np.asarray(frame.convert("RGB")).astype(int))
        replay = read_replay(next(Path("short.race").glob("*.replay.npz")))
        assert seconds == pytest.approx(ShowTimes(replay, Progress(replay), 4.0).seconds, abs=2.5)
    # a strip of other colours at the foot, in which words come and go
    feet = [frame[-20:] for frame in frames["told"]]
    assert any((one != feet[0]).any() for one in feet)
    assert (frames["plain"][0][-20:] != feet[0]).mean() > 0.05
    asked: list[int | None] = []
    ticker = options.cause_ticker

    def noted(replay: Replay, walker: int | None) -> Any:
        asked.append(walker)
        return ticker(replay, walker)

    monkeypatch.setattr(race_command, "cause_ticker", noted)
    shown_as: list[dict[str, Any]] = []
    monkeypatch.setattr("replays.window.screen.watch_show", lambda *_, **more: shown_as.append(more))
    assert photodrome(*race, "--show", "--ticker").code == 0
    assert callable(shown_as[0]["ticker"])
    # with --yours that walker alone
    assert asked == [shown_as[0]["yours"]]
    assert asked[0] is not None


def test_who_is_not_in_the_race_that_is_shown_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """In pairs two of five meet in the last race."""
    monkeypatch.setattr("replays.window.screen.watch_show", lambda *_, **more: shown.append(more["yours"]))
    shown: list[int | None] = []
    race = ("race", "short.yaml", "--format", "pairs", "--rounds", "1", "--show")
    absent = []
    for name in ("Anaïs", "Bela", "Cyril", "Dora", "Emre"):
        done = photodrome(*race, "--replays", "all", "--yours", name)
        assert done.code == 0, done.err
        if f"{name} was not in the last race, which is the one that is shown" in done.out:
            absent.append(name)
    assert len(absent) == 3
    assert [one is None for one in shown].count(True) == 3
    refused = photodrome(*race, "--replays", "none")
    assert refused.code == 2
    assert "no replay of a race is kept that could be shown; leave out --replays none" in refused.err


def test_one_entry_alone() -> None:
    done = photodrome("race", "walkers/entry-01.yaml", "--rounds", "1", "--format", "together")
    assert "Anaïs is alone in the competition" in done.out
    assert Path("entry-01.race/standings.json").is_file()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere"], "nowhere: no such folder or file here, and no shipped design"),
        (["short.yaml", "--yours", "Nemo"], "no walker of the race is called 'Nemo'; there are Anaïs"),
        (["short.yaml", "--course", "sprnt"], "(nearest: sprint)"),
        (["walkers", "--format", "relai"], "nearest: relay"),
        (["walkers", "--rounds", "0"], "--rounds"),
        (["walkers", "--film", "a.gif", "--film-size", "poster"], "give slide, phone, or width x height"),
        (["walkers", "--film", "a.gif", "--film-size", "300x9000"], "give 320 to 4096 each way"),
        (["walkers", "--film", "a.avi"], "a film ends in .gif, .png or .mp4"),
        (["walkers", "--film", "a.gif", "--film-lasts", "0.5 s"], "--film-lasts"),
        (["walkers", "--film", "a.gif", "--film-lasts", "5 V"], "--film-lasts"),
        (["walkers", "--film-size", "slide"], "--film-size is for a film; add --film"),
        (["walkers", "--film-lasts", "5 s"], "--film-lasts is for a film; add --film"),
        (["walkers", "--ticker"], "--ticker is for a film or for the show"),
        (["empty"], "a folder without a YAML file"),
        (["walkers", "--course", "./walkers/entry-01.yaml"], "got a design file, expected a race file"),
        (["pop"], "(nearest: poppy)"),
        (["pop.yaml"], "pop.yaml: no such file"),
    ],
)
def test_refusals(arguments: list[str], words: str) -> None:
    Path("empty").mkdir()
    assert words in refusal("race", *arguments)
    # before anything is run
    assert not list(Path().glob("*.race"))


def test_a_race_of_a_course_needs_entries() -> None:
    Path("bare.yaml").write_text(SHORT.replace("entries: [walkers]\n", ""))
    assert "names no entries" in refusal("race", "bare.yaml")
    done = photodrome("race", "walkers", "--course", "bare.yaml", "--rounds", "1")
    assert done.code == 0, done.err


def test_run_takes_a_folder_and_tells_what_is_left_out() -> None:
    Path("walkers/broken.yaml").write_text("photodrome: design 1\n")
    done = photodrome("run", "sprint-to-the-lamp", "-d", "walkers", "--walkers", "1", "--duration", "30")
    assert done.code == 0, done.err
    assert "left out: broken.yaml: walkers/broken.yaml:1:1: name: got nothing, expected text" in done.err
    assert "5 walkers" in done.out
    pattern = ("-d", "walkers/entry-0[12].yaml", "-d", "poppy")
    assert (
        "3 walkers"
        in photodrome("run", "sprint-to-the-lamp", *pattern, "--walkers", "1", "--duration", "30").out
    )
    assert "no YAML file goes by this pattern" in refusal(
        "run", "sprint-to-the-lamp", "-d", "walkers/x*.yaml"
    )
