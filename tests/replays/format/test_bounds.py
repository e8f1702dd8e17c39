"""What a replay of a stranger may hold is bounded before anything of that size is made, and told by name."""

import copy
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from agents.errors import ReplayError
from arena.scene.contest import read_contest
from arena.simulation import simulate
from replays.format import archive
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import Replay
from tests.replays.format.test_replay_file import as_member, members, rewrite


@pytest.fixture(scope="module")
def dawn() -> Replay:
    """Two walkers in the first minute of a day."""
    return simulate(read_contest("yard-day", ["poppy"], 2, 60.0))


def with_header(replay: Replay, path: Path, change: Callable[[dict[str, Any]], None]) -> None:
    """Write a replay whose header has been changed by hand."""
    write_replay(replay, path)
    header = copy.deepcopy(replay.header) | {"version": 2}
    change(header)
    content = members(path)
    content["header.npy"] = as_member(np.frombuffer(json.dumps(header).encode(), dtype=np.uint8))
    rewrite(path, content)


def day(name: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(header: dict[str, Any]) -> None:
        header["arena"]["day"][name] = value

    return change


def cut(name: str) -> Callable[[dict[str, Any]], None]:
    def change(header: dict[str, Any]) -> None:
        header["arena"]["day"][name] = header["arena"]["day"][name][:-1]

    return change


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (day("times_s", [1.0]), r"header\.arena\.day\.times_s is \[1\.0\], where times from 0 on"),
        (cut("times_s"), r"header\.arena\.day\.\w+ is .*, where a list of \d+ belongs"),
        (day("lamps", [[1.0]]), r"header\.arena\.day\.lamps is .*, where a list of \d+ for each lamp"),
        (lambda h: h["arena"].update(name="a" * 100_000), r"header\.arena\.name is .*letters at the most"),
        (lambda h: h["arena"].update(name="a\x1b[2J"), r"letters that steer a terminal"),
        (lambda h: h["arena"].update(floor=[[0, 0]] * 3), r"header\.arena\.floor is .* along x"),
        (lambda h: h["light_map"].update(cell=1e9), r"light_map|header\.light_map\.cell"),
    ],
)
def test_a_header_beyond_its_bounds_is_named(
    dawn: Replay, tmp_path: Path, change: Callable[[dict[str, Any]], None], message: str
) -> None:
    path = tmp_path / "day.replay.npz"
    with_header(dawn, path, change)
    with pytest.raises(ReplayError, match=message):
        read_replay(path)


def test_what_unpacks_to_more_than_a_run_leaves_is_refused_unread(
    dawn: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "day.replay.npz"
    write_replay(dawn, path)
    content = members(path)
    content["pulses.side.npy"] = as_member(np.zeros((1, 40_000_000), np.uint8))
    rewrite(path, content, zipfile.ZIP_DEFLATED)
    assert path.stat().st_size < 100_000
    monkeypatch.setattr(archive, "_FREE_BYTES", 1_000_000)
    with pytest.raises(ReplayError, match=r"pulses\.side would unpack to 40 MB, more than a run leaves"):
        read_replay(path)


@pytest.mark.parametrize(
    ("name", "array", "message"),
    [
        ("pulses.side", np.zeros((1, 1, 1), np.uint8), "where 2 dimensions belong"),
        ("pulses.side", np.zeros((1, 77), np.uint8), r"does not have \d+ rows|pulses would have|columns"),
        ("walkers.body", np.zeros((1, 1)), r"walkers\.body is \(1, 1\)"),
        ("poses.rows", np.ones((1, 2), np.uint8), r"poses\.rows do not add up"),
    ],
)
def test_an_array_beyond_its_bounds_is_named(
    dawn: Replay, tmp_path: Path, name: str, array: np.ndarray[Any, Any], message: str
) -> None:
    path = tmp_path / "day.replay.npz"
    write_replay(dawn, path)
    content = members(path)
    assert f"{name}.npy" in content
    content[f"{name}.npy"] = as_member(array)
    rewrite(path, content)
    with pytest.raises(ReplayError, match=message):
        read_replay(path)


def test_another_way_of_packing_is_refused(dawn: Replay, tmp_path: Path) -> None:
    path = tmp_path / "day.replay.npz"
    write_replay(dawn, path)
    content = members(path)
    rewrite(path, content, zipfile.ZIP_LZMA)
    with pytest.raises(ReplayError, match="another way of compressing"):
        read_replay(path)


def test_another_form_of_an_array_is_refused(dawn: Replay, tmp_path: Path) -> None:
    path = tmp_path / "day.replay.npz"
    write_replay(dawn, path)
    content = members(path)
    name = next(one for one in content if one.startswith("pulses"))
    stream = io.BytesIO()
    np.lib.format.write_array(stream, np.zeros((1, 1), np.uint8), version=(2, 0))
    content[name] = stream.getvalue()
    rewrite(path, content)
    with pytest.raises(ReplayError, match=r"another version of the \.npy format"):
        read_replay(path)


def test_what_is_larger_than_the_memory_is_unpacked_to_the_disk(
    dawn: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same tables, whether they are held in memory or in files without a name."""
    path = tmp_path / "day.replay.npz"
    write_replay(dawn, path)
    usual = read_replay(path)
    monkeypatch.setattr(archive, "memory_room", lambda: 0)
    monkeypatch.setattr(archive, "_BLOCK", 64)
    spilled = read_replay(path)
    for name in ("walkers", "pulses", "poses", "touches", "lights", "built", "ledger"):
        assert getattr(spilled, name).tobytes() == getattr(usual, name).tobytes(), name
