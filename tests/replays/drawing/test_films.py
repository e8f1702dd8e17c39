"""Films and pictures in files: what they show, how they are written, and what is refused."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image, ImageSequence

from agents.errors import OptionError, OutputError
from arena.cli.command import photodrome
from replays.drawing import films
from replays.drawing.calm_fast_play import HURRIED
from replays.drawing.films import (
    MOST_FRAMES,
    USUAL_SECONDS,
    Shooting,
    frame_times,
    frames,
    make_film,
    make_show,
)
from replays.drawing.pictures import draw_picture
from replays.drawing.show_times import ShowTimes
from replays.drawing.sizes import size_of
from replays.drawing.theme import DARK
from replays.format.replay_file import write_replay
from replays.format.tables import Replay
from replays.scoring.measures import reach_times
from replays.scoring.progress import Progress
from replays.scoring.standings import Standings
from tests.helpers.fabricate import Fabricator, arena, box, goal, potting_bench


@pytest.fixture(scope="module")
def replay() -> Replay:
    return potting_bench().replay()


def test_a_film_without_a_speed_lasts_its_usual_time(replay: Replay) -> None:
    times = frame_times(replay, Shooting(rate=10.0))
    assert len(times) == pytest.approx(10.0 * USUAL_SECONDS, abs=2)
    assert times[-1] == replay.seconds
    assert (np.diff(times) >= 0).all()


def test_waits_in_which_nobody_moves_are_left_out() -> None:
    made = Fabricator(seconds=1000.0)
    walker = made.walker(0.2, 0.5)
    for start in (100.0, 500.0, 900.0):
        made.pulse(walker, start, (0.3, 0.5), lasts_s=1.0)
    replay = made.replay()
    times = frame_times(replay, Shooting(speed=1.0, rate=20.0))
    near = [((times >= start - 0.1) & (times <= start + 1.2)).sum() for start in (100.0, 500.0, 900.0)]
    assert sum(near) >= len(times) - 1
    assert min(near) >= 20
    whole = frame_times(replay, Shooting(speed=10.0, rate=20.0, skips_waits=False))
    np.testing.assert_allclose(np.diff(whole[:-1]), 0.5)
    assert len(whole) == 2001
    part = frame_times(replay, Shooting(from_s=400.0, to_s=600.0, speed=1.0))
    assert part.min() >= 400.0
    assert part.max() == 600.0


def test_a_run_in_which_nobody_moves_makes_a_short_film(tmp_path: Path) -> None:
    made = Fabricator(seconds=50.0)
    made.walker(0.2, 0.5)
    make_film(made.replay(), tmp_path / "still.gif", size="320x320")
    with Image.open(tmp_path / "still.gif") as image:
        assert image.size == (320, 320)


@pytest.mark.parametrize(
    ("shooting", "message"),
    [
        (Shooting(from_s=900.0), "the run lasts from 0 s to 900 s"),
        (Shooting(from_s=-1.0), "the run lasts"),
        (Shooting(from_s=500.0, to_s=400.0), "from 500 s to 400 s"),
        (Shooting(to_s=901.0), "to 901 s"),
        (Shooting(speed=0.0), "a speed of 0"),
        (Shooting(speed=float("nan")), "a speed of nan"),
        (Shooting(rate=0.0), "0 frames a second"),
        (Shooting(rate=61.0), "61 frames a second"),
        (Shooting(speed=0.01), f"{MOST_FRAMES} is the most"),
    ],
)
def test_what_cannot_be_filmed_is_refused_before_anything_is_drawn(
    replay: Replay, tmp_path: Path, shooting: Shooting, message: str
) -> None:
    with pytest.raises(OptionError, match=message):
        make_film(replay, tmp_path / "race.gif", shooting)
    assert list(tmp_path.iterdir()) == []


def test_a_huge_film_has_to_be_asked_for(
    replay: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for make in (make_film, make_show):
        with pytest.raises(OptionError, match=r"4096 x 4096 pixels.*--large"):
            make(replay, tmp_path / "race.gif", size="4096x4096")
    monkeypatch.setattr("replays.drawing.films.MOST_PIXELS", 10)
    shooting = Shooting(to_s=20.0, lasts_s=0.2)
    with pytest.raises(OptionError, match="--large"):
        make_film(replay, tmp_path / "race.gif", shooting, "320x320")
    assert list(tmp_path.iterdir()) == []
    make_film(replay, tmp_path / "race.gif", shooting, "320x320", large=True)
    assert (tmp_path / "race.gif").exists()


def test_a_film_takes_as_long_as_is_asked_for(replay: Replay, tmp_path: Path) -> None:
    for lasts_s in (2.0, 5.0):
        assert len(frame_times(replay, Shooting(lasts_s=lasts_s, rate=10.0))) == 10 * lasts_s + 1
    with pytest.raises(OptionError, match="a film of 0 s"):
        frame_times(replay, Shooting(lasts_s=0.0))
    path = tmp_path / "show.gif"
    make_show(replay, path, size="320x320", rate=1.0, lasts_s=4.0)
    with Image.open(path) as image:
        stands = [frame.info["duration"] for frame in ImageSequence.Iterator(image)]
    whole = ShowTimes(replay, Progress(replay), 4.0).seconds
    assert sum(stands) / 1e3 == pytest.approx(whole + 2.0, abs=1.5)


def test_places_and_endings_that_cannot_be_are_refused(replay: Replay, tmp_path: Path) -> None:
    with pytest.raises(OptionError, match=r"ends in \.gif, \.png or \.mp4"):
        make_film(replay, tmp_path / "race.webm")
    with pytest.raises(OutputError, match="cannot be written"):
        make_film(replay, tmp_path / "nowhere" / "race.gif")
    with pytest.raises(OptionError, match="a size of 'poster'"):
        make_film(replay, tmp_path / "race.gif", size="poster")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "pixels", "points"),
    [
        ("slide", (1920, 1080), (1280, 720)),
        ("phone", (1080, 1920), (432, 768)),
        ("1280x720", (1280, 720), (1280, 720)),
        (" 3840 X 2160 ", (3840, 2160), (1280, 720)),
        ("320x320", (320, 320), (320, 320)),
    ],
)
def test_sizes_have_letters_that_suit_them(
    text: str, pixels: tuple[int, int], points: tuple[int, int]
) -> None:
    size = size_of(text)
    assert (size.width, size.height) == pixels
    assert size.points == pytest.approx(points, abs=1)
    # 14 points are at least 14 pixels
    assert size.scale >= 1.0


@pytest.mark.parametrize("text", ["", "x", "0x0", "100x100", "5000x500", "1280x", "-1280x720", "1e3x1e3"])
def test_other_sizes_are_refused(text: str) -> None:
    with pytest.raises(OptionError, match="a size of"):
        size_of(text)


@pytest.mark.parametrize("ending", [".gif", ".png"])
def test_a_film_shows_the_frames_one_after_the_other(replay: Replay, tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"race{ending}"
    shooting = Shooting(from_s=10.0, to_s=60.0, speed=20.0, rate=10.0)
    done: list[float] = []
    make_film(replay, path, shooting, "480x360", DARK, done.append)
    wanted = list(frames(replay, shooting, size_of("480x360"), DARK))
    assert done == pytest.approx(np.arange(1, len(wanted) + 1) / len(wanted))
    shown: list[Any] = []
    with Image.open(path) as image:
        assert image.info["loop"] == 0
        for frame in ImageSequence.Iterator(image):
            picture_shown = np.asarray(frame.convert("RGB"), dtype=np.int64)
            # frames that are alike are written once, and stand longer
            shown += [picture_shown] * round(frame.info["duration"] / 100.0)
    assert len(shown) == len(wanted) + 20, "the last one stands for two seconds more"
    for one, other in zip(shown, wanted, strict=False):
        if ending == ".png":
            np.testing.assert_array_equal(one, other)
        else:
            # 255 colours for all: near, if not the same
            assert np.abs(one - other).mean() < 3
    assert [item.name for item in tmp_path.iterdir()] == [path.name]


def test_the_same_film_has_the_same_bytes(replay: Replay, tmp_path: Path) -> None:
    shooting = Shooting(to_s=40.0, speed=20.0, rate=10.0)
    for name in ("one.gif", "other.gif"):
        make_film(replay, tmp_path / name, shooting, "480x360")
    assert (tmp_path / "one.gif").read_bytes() == (tmp_path / "other.gif").read_bytes()


def test_an_mp4_is_read_by_the_ffmpeg_that_wrote_it(replay: Replay, tmp_path: Path) -> None:
    imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")
    path = tmp_path / "race.mp4"
    make_film(replay, path, Shooting(to_s=40.0, speed=20.0, rate=10.0), "481x361")
    # a box called ftyp comes first: ISO/IEC 14496-12
    assert path.read_bytes()[4:8] == b"ftyp"
    count, seconds = imageio_ffmpeg.count_frames_and_secs(str(path))
    # and the last picture stands for two seconds
    assert count == len(frame_times(replay, Shooting(to_s=40.0, speed=20.0, rate=10.0))) + 20
    assert seconds == pytest.approx(count / 10.0, abs=0.2)


def test_without_the_extra_an_mp4_is_refused_with_the_way_to_get_it(
    replay: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    with pytest.raises(OutputError, match=r"photodrome\[film\]"):
        make_film(replay, tmp_path / "race.mp4", Shooting(to_s=20.0, speed=20.0), "320x320")
    assert list(tmp_path.iterdir()) == []


def test_a_film_that_is_stopped_leaves_nothing(
    replay: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(done: float) -> None:
        if done > 0.3:
            raise KeyboardInterrupt

    for ending in (".gif", ".png", ".mp4"):
        with pytest.raises(KeyboardInterrupt):
            make_film(replay, tmp_path / f"race{ending}", Shooting(to_s=90.0), "320x320", progress=stop)
    assert list(tmp_path.iterdir()) == []


def test_a_hurried_film_is_calm(replay: Replay) -> None:
    fast = list(frames(replay, Shooting(speed=200.0, rate=20.0), size_of("480x360")))
    pulses = len(replay.pulses) / len(replay.walkers)
    assert pulses / (len(fast) / 20.0) > HURRIED
    # between the ends of a dissolve each place goes one way, but for the clock in the headline
    changes = np.diff(np.array([frame[84:].astype(np.int64).sum(axis=2) for frame in fast[:5]]), axis=0)
    assert ((changes >= -6).all(axis=0) | (changes <= 6).all(axis=0)).mean() > 0.999


def test_standings_tell_who_arrived_in_which_order() -> None:
    made = Fabricator(
        seconds=100.0,
        designs=("cress", "borage"),
        arena=arena(goals=[goal(*box(1.5, 0.2, 1.8, 0.8))]),
    )
    for number, (start, design) in enumerate(((60.0, 0), (20.0, 1), (40.0, 0), (None, 1))):
        walker = made.walker(0.2, 0.2 + 0.15 * number, design=design)
        if start is not None:
            made.pulse(walker, start, (1.6, 0.5), lasts_s=1.0)
    replay = made.replay()
    standings = Standings(replay)
    assert [arrival.walker for arrival in standings.arrivals] == [1, 2, 0]
    assert [arrival.rank for arrival in standings.arrivals] == [1, 2, 3]
    assert [standings.count(time_s) for time_s in (0.0, 20.0, 21.0, 50.0, 100.0)] == [0, 0, 1, 2, 3]
    np.testing.assert_array_equal(standings.by_design(50.0), [1, 1])
    times = reach_times(replay, replay.goals)
    assert [arrival.time_s for arrival in standings.arrivals] == sorted(times[~np.isnan(times)])
    assert not Standings(Fabricator().replay()).has_goal


def shown_size(path: Path) -> tuple[int, int]:
    with Image.open(path) as image:
        size: tuple[int, int] = image.size
        return size


@pytest.fixture(scope="module")
def file(replay: Replay, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("replay") / "race.replay.npz"
    write_replay(replay, path)
    return path


def run(*arguments: Any) -> Any:
    return CliRunner().invoke(photodrome, [str(argument) for argument in arguments], catch_exceptions=True)


def test_the_command_makes_pictures_of_a_size_at_a_time(file: Path, tmp_path: Path) -> None:
    for size, pixels in (("slide", (1920, 1080)), ("phone", (1080, 1920)), ("900x500", (900, 500))):
        done = run("picture", file, "--out", tmp_path / f"{size}.png", "--size", size, "--at", "300 s")
        assert done.exit_code == 0, done.output
        assert shown_size(tmp_path / f"{size}.png") == pixels
    early, late = tmp_path / "early.png", tmp_path / "late.png"
    for path, at in ((early, "10"), (late, "800s")):
        assert run("picture", file, "--out", path, "--at", at, "--theme", "dark").exit_code == 0
    assert early.read_bytes() != late.read_bytes()
    with Image.open(late) as image:
        assert np.asarray(image.convert("L"))[0].mean() < 60
    assert isinstance(run("picture", file, "-o", late, "--at", "901").exception, OptionError)


def test_the_command_makes_films(file: Path, tmp_path: Path) -> None:
    path = tmp_path / "race.gif"
    done = run("film", file, "--out", path, "--to", "100 s", "--speed", 50, "--fps", 10, "--size", "480x360")
    assert done.exit_code == 0, done.output
    assert shown_size(path) == (480, 360)
    waits = tmp_path / "waits.gif"
    more = ("--to", "100", "--speed", 50, "--fps", 10, "--size", "480x360", "--waits")
    done = run("film", file, "--out", waits, *more)
    assert done.exit_code == 0, done.output
    assert lasts_ms(path) < lasts_ms(waits) == 100 * 21 + 2000


def lasts_ms(path: Path) -> int:
    """How long an animation lasts [ms]."""
    with Image.open(path) as image:
        return sum(round(frame.info["duration"]) for frame in ImageSequence.Iterator(image))


def test_a_damaged_replay_makes_no_film_and_opens_no_window(file: Path, tmp_path: Path) -> None:
    damaged = tmp_path / "damaged.replay.npz"
    damaged.write_bytes(file.read_bytes()[:900])
    for command in (["film", damaged, "--out", tmp_path / "x.gif"], ["watch", damaged]):
        done = subprocess.run(
            [sys.executable, "-c", "from arena.cli.command import main; main()", *map(str, command)],
            env=os.environ | {"SDL_VIDEODRIVER": "dummy"},
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.returncode == 2
        assert "damaged.replay.npz" in done.stderr
        assert "Traceback" not in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["damaged.replay.npz"]


def test_the_usual_sizes_are_sizes_and_the_extra_is_told_where_films_are_made() -> None:
    for size in films.USUAL_SIZES.values():
        size_of(size)


def test_a_picture_outside_of_the_run_is_refused(replay: Replay, tmp_path: Path) -> None:
    with pytest.raises(OptionError, match="the run lasts from 0 s to 900 s"):
        draw_picture(replay, tmp_path / "late.png", time_s=1e4)
    assert list(tmp_path.iterdir()) == []


def test_the_show_is_filmed_without_a_screen(tmp_path: Path) -> None:
    path = tmp_path / "show.gif"
    make_show(potting_bench().replay(), path, size="320x320", rate=1.0, yours=2, heading="heat 1")
    with Image.open(path) as film:
        assert film.size == (320, 320)
        assert film.n_frames > 50
