"""A replay in which nobody has as much as a start on record draws as one in which nothing has moved yet."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from agents.errors import ReplayError
from arena.scene.contest import read_contest
from arena.simulation import simulate
from arena.workbench.controller import Controller
from arena.workbench.jobs import RaceResult, RaceTerms
from arena.workbench.view import WorkbenchView
from arena.workbench.window import set_up
from replays.drawing.films import Shooting, make_film
from replays.drawing.pictures import draw_picture
from replays.drawing.poses import Poses
from replays.drawing.sheet import pygame
from replays.format.replay_file import write_replay
from replays.format.tables import Replay
from replays.window.replay_window import ReplayWindow
from tests.helpers.fabricate import potting_bench


def unstarted(replay: Replay) -> Replay:
    """The replay without a row, as an engine leaves it that has not begun."""
    tables = {name: getattr(replay, name)[:0] for name in ("pulses", "poses", "touches", "lights")}
    return replace(replay, **tables)


def just_started(replay: Replay) -> Replay:
    """The replay with the rows of time 0 alone."""
    rows = {name: getattr(replay, name) for name in ("poses", "lights")}
    return replace(unstarted(replay), **{name: row[row["time_s"] == 0.0] for name, row in rows.items()})


@pytest.fixture(scope="module")
def pair() -> tuple[Replay, Replay]:
    replay = potting_bench().replay()
    assert len(just_started(replay).poses) == len(replay.walkers) > 2
    return unstarted(replay), just_started(replay)


def test_pictures_and_films_are_the_same(pair: tuple[Replay, Replay], tmp_path: Path) -> None:
    short = Shooting(to_s=60.0, speed=60.0, rate=4.0, skips_waits=False)
    for number, replay in enumerate(pair):
        draw_picture(replay, tmp_path / f"{number}.png")
        draw_picture(replay, tmp_path / f"{number} at.png", size="slide", time_s=60.0)
        make_film(replay, tmp_path / f"{number}.gif", short, "640x480")
    for name in ("{}.png", "{} at.png", "{}.gif"):
        one, other = ((tmp_path / name.format(number)).read_bytes() for number in range(2))
        assert one == other, name
    draw_picture(potting_bench().replay(), tmp_path / "moved.png")
    assert (tmp_path / "moved.png").read_bytes() != (tmp_path / "0.png").read_bytes()


def test_the_window_is_the_same(pair: tuple[Replay, Replay], monkeypatch: pytest.MonkeyPatch) -> None:
    # all in one go: how much of a picture a frame lays depends on the machine
    monkeypatch.setattr("replays.window.replay_window.BUDGET", 1e9)
    frames = []
    for replay in pair:
        window = ReplayWindow(replay)
        surface = pygame.Surface((1280, 760))
        for key in (pygame.K_SPACE, pygame.K_n, pygame.K_w, pygame.K_END):
            window.handle_event(pygame.event.Event(pygame.KEYDOWN, key=key, mod=0, unicode=""))
            window.advance(0.1)
            window.draw(surface)
            frames.append(pygame.image.tobytes(surface, "RGB"))
    assert frames[:4] == frames[4:]


def test_the_workbench_shows_the_starts() -> None:
    contest = replace(read_contest("potting-bench", ["poppy"]), walkers=5, seconds=60.0)
    replay = simulate(contest)
    frames = []
    for part in (unstarted(replay), just_started(replay), replace(replay, walkers=replay.walkers[:0])):
        state = set_up("potting-bench", ["poppy"], RaceTerms(walkers=5, seconds=60.0))
        state.background.race = RaceResult(part, (), 0.0)
        view, surface = WorkbenchView(Controller(state)), pygame.Surface((1280, 760))
        view.draw(surface)
        while not view.is_still():
            view.draw(surface)
        frames.append(pygame.image.tobytes(surface, "RGB"))
        state.close()
    assert frames[0] == frames[1]
    assert frames[0] != frames[2], "walkers are to be seen"


def test_who_has_no_row_yet_stands_at_the_start_beside_those_who_have() -> None:
    replay = potting_bench().replay()
    late = [1, len(replay.walkers) - 1]
    some = replace(replay, poses=replay.poses[~np.isin(replay.poses["walker"], late)])
    for time_s in (0.0, 15.2, 400.0, replay.seconds):
        found, whole = np.array(Poses(some).at(time_s)), np.array(Poses(replay).at(time_s))
        others = np.setdiff1d(np.arange(len(replay.walkers)), late)
        np.testing.assert_array_equal(found[:, others], whole[:, others])
        for row, column in zip(found, ("x", "y", "heading"), strict=True):
            np.testing.assert_allclose(row[late], replay.walkers[column][late], rtol=1e-6)


def test_no_file_is_made_of_it(pair: tuple[Replay, Replay], tmp_path: Path) -> None:
    with pytest.raises(ReplayError, match="poses have no row at time 0 for walker 0"):
        write_replay(pair[0], tmp_path / "unstarted.npz")
    write_replay(pair[1], tmp_path / "started.npz")
    assert [path.name for path in tmp_path.iterdir()] == ["started.npz"]
