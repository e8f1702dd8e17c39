"""The commands that show a run to a whole room."""

from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageSequence

from agents.errors import OptionError
from arena.cli.options import walker_called
from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.drawing.show_times import ShowTimes
from replays.format.replay_file import read_replay, write_replay
from replays.scoring.progress import Progress
from replays.window import screen
from tests.helpers.commands import photodrome
from tests.helpers.fabricate import potting_bench


def test_a_walker_is_found_by_its_name_and_others_are_told() -> None:
    replay = potting_bench().replay()
    assert walker_called(replay, None) is None
    assert walker_called(replay, " CRESS 2") == 3
    with pytest.raises(OptionError, match="no walker is called 'thyme'; there are cress 1, "):
        walker_called(replay, "thyme")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "race.replay.npz"
    write_replay(potting_bench().replay(), path)
    return path


def test_the_length_of_a_show_is_given_and_a_huge_film_asked_for(file: Path, tmp_path: Path) -> None:
    path = tmp_path / "show.gif"
    how = ("film", file, "--projector", "--out", path, "--fps", "1")
    done = photodrome(*how, "--size", "320x320", "--lasts", "5 s")
    assert (done.code, done.err) == (0, "")
    with Image.open(path) as image:
        stands_s = sum(frame.info["duration"] for frame in ImageSequence.Iterator(image)) / 1000.0
    replay = read_replay(file)
    assert stands_s == pytest.approx(ShowTimes(replay, Progress(replay), 5.0).seconds + 2.0, abs=1.5)
    path.unlink()
    both = photodrome("film", file, "--out", path, "--lasts", "5 s", "--speed", "10")
    assert (both.code, path.exists()) == (2, False)
    assert "--lasts" in both.err
    huge = photodrome("film", file, "--out", path, "--size", "4096x4096")
    assert (huge.code, path.exists()) == (2, False)
    assert "--large" in huge.err


@pytest.mark.parametrize("projector", [True, False])
def test_a_live_window_tells_causes_where_that_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, projector: bool
) -> None:
    file = tmp_path / "run.replay.npz"
    write_replay(simulate(read_contest("corner-trap", ["poppy", "cress"], walkers=2, seconds=60.0)), file)
    shown: list[dict[str, Any]] = []

    def noted(*given: Any, **more: Any) -> None:
        shown.append({"given": given, **more})

    monkeypatch.setattr(screen, "watch", noted)
    monkeypatch.setattr(screen, "watch_show", noted)
    more = ("--projector", "--yours", "cress 2") if projector else ()
    for ticker in ((), ("--ticker",)):
        done = photodrome("watch", file, *more, *ticker)
        assert (done.code, done.err) == (0, "")
    without, told = (one.get("ticker", one["given"][-1]) for one in shown)
    assert without is None
    assert callable(told)
