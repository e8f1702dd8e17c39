"""The replay file: numpy alone reads it, its bytes repeat, and damage is named instead of believed."""

import copy
import errno
import io
import json
import os
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import replays
from agents.errors import NotFoundError, OutputError, ReplayError
from replays.format import column_members
from replays.format.checks import check_replay
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import POSES, PULSES, Replay
from tests.helpers.fabricate import Fabricator, arena, box, goal

ARRAYS = ["walkers", "pulses", "poses", "touches", "lights", "built", "light_map", "ledger"]
MEMBERS = ["walkers.body", "walkers.design", "pulses.rows", "poses.x", "lights.left", "built", "light_map"]

# What columns may be off by at the most after they were written, as the docs of replays.format.grains say.
OFF = {"_s": 2.0**-16, "x": 6.2e-5, "y": 6.2e-5, "heading": 8e-4, "path_m": 4e-6, "_V": 6.2e-5}
OFF_SHARE = {"_lx": 5e-4, "_A": 6.2e-5, "_C": 6.2e-5}


@pytest.fixture
def replay() -> Replay:
    bench = arena(
        walls=[{"name": "seed tray", "points": [[1.0, 0.2], [1.0, 0.8]], "closed": False, "height": 0.05}],
        shades=[
            {"name": "Blätter", "outline": box(0.4, 0.2, 0.7, 0.8), "height": 0.3, "passes": 0.1},
        ],
        sun={"azimuth_rad": 2.5, "elevation_rad": 0.7, "illuminance_lx": 80_000.0},
        goals=[goal(*box(1.6, 0.4, 1.8, 0.6))],
    )
    made = Fabricator(seconds=60.0, designs=("cress", "borage"), arena=bench)
    for design in (0, 1):
        walker = made.walker(0.2, 0.3 + 0.4 * design, design=design)
        made.pulse(walker, 10.0, (0.3, 0.4))
        made.pulse(walker, 30.0, (0.4, 0.35), side=1, touched=1)
        made.touch(walker, 10.2, 0, closed=True)
        made.touch(walker, 30.2, 0, closed=False)
        made.light(walker, 10.5, 800.0)
    return made.replay()


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def rewrite(path: Path, content: dict[str, bytes], packing: int = zipfile.ZIP_STORED) -> None:
    with zipfile.ZipFile(path, "w", packing) as archive:
        for name, data in content.items():
            archive.writestr(name, data)


def as_member(array: np.ndarray[Any, Any]) -> bytes:
    stream = io.BytesIO()
    np.save(stream, array)
    return stream.getvalue()


def test_what_is_written_is_read_again_as_finely_as_is_said(replay: Replay, tmp_path: Path) -> None:
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    again = read_replay(path)
    assert again.header == replay.header
    for name in ARRAYS:
        was, kept = getattr(replay, name), getattr(again, name)
        assert kept.dtype == was.dtype
        assert kept.shape == was.shape
        for column in was.dtype.names or ():
            digitless = column.rstrip("01")
            share = next((share for end, share in OFF_SHARE.items() if column.endswith(end)), 0.0)
            off = next((off for end, off in OFF.items() if digitless.endswith(end)), 0.0)
            np.testing.assert_allclose(kept[column], was[column], rtol=share, atol=off, err_msg=column)
    np.testing.assert_allclose(again.built, replay.built, rtol=4e-6)
    np.testing.assert_allclose(again.light_map, replay.light_map, rtol=1e-3)
    np.testing.assert_allclose(again.ledger, replay.ledger, rtol=1e-7)
    assert again.design_names == ["cress", "borage"]
    assert again.seconds == 60.0
    with pytest.raises(ValueError, match="read-only"):
        again.built[0, 0] = 1.0


def test_what_has_been_read_is_written_again_to_the_last_bit(replay: Replay, tmp_path: Path) -> None:
    first, second = tmp_path / "first.replay.npz", tmp_path / "second.replay.npz"
    write_replay(replay, first)
    again = read_replay(first)
    write_replay(again, second)
    assert first.read_bytes() == second.read_bytes()
    third = read_replay(second)
    for name in ARRAYS:
        assert getattr(third, name).tobytes() == getattr(again, name).tobytes()


def test_numpy_alone_reads_it(replay: Replay, tmp_path: Path) -> None:
    """As the docs of replays.format.packing and columns say."""
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)

    def steps_of(name: str) -> Any:
        whole = sum(plane.astype("u8") << np.uint64(8 * k) for k, plane in enumerate(loaded[name]))
        return (whole >> np.uint64(1)).astype("i8") ^ -(whole & np.uint64(1)).astype("i8")

    with np.load(path, allow_pickle=False) as loaded:
        assert json.loads(loaded["header"].tobytes().decode()) == replay.header
        rows = steps_of("poses.rows")
        time, moment, heading = (
            steps_of(f"poses.{name}")[: rows[0]] for name in ("time", "moment", "heading")
        )
        times = (16 * np.cumsum(time) + moment) / 2**16
        headings = np.cumsum(heading) * 2 * np.pi / 4096
    mine = replay.poses[replay.poses["walker"] == 0]
    np.testing.assert_allclose(times, mine["time_s"], atol=2.0**-16)
    np.testing.assert_allclose(headings, mine["heading"], atol=8e-4)


def test_rows_are_put_together_from_any_number_of_parts(
    replay: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole, parts = tmp_path / "whole.replay.npz", tmp_path / "parts.replay.npz"
    write_replay(replay, whole)
    monkeypatch.setattr(column_members, "_PART_ROWS", 1)
    write_replay(replay, parts)
    assert whole.read_bytes() == parts.read_bytes()
    again = read_replay(parts)
    monkeypatch.undo()
    for name in ARRAYS:
        assert getattr(again, name).tobytes() == getattr(read_replay(whole), name).tobytes()


def test_the_same_replay_gives_the_same_bytes(
    replay: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = tmp_path / "first.replay.npz", tmp_path / "second.replay.npz"
    write_replay(replay, first)
    turned_round = dict(reversed(list(copy.deepcopy(replay.header).items())))
    another_day = time.time() + 1e6
    monkeypatch.setattr(time, "time", lambda: another_day)
    write_replay(replace(replay, header=turned_round), second)
    assert first.read_bytes() == second.read_bytes()


def test_a_replay_cut_short_anywhere_is_refused(replay: Replay, tmp_path: Path) -> None:
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    whole = path.read_bytes()
    for length in range(0, len(whole), 97):
        path.write_bytes(whole[:length])
        with pytest.raises(ReplayError, match=r"first\.replay\.npz"):
            read_replay(path)


def test_a_flipped_bit_is_refused_or_changes_nothing(replay: Replay, tmp_path: Path) -> None:
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    whole, sound = path.read_bytes(), read_replay(path)
    refused = 0
    for position in range(0, len(whole), 41):
        damaged = bytearray(whole)
        damaged[position] ^= 0x10
        path.write_bytes(damaged)
        try:
            again = read_replay(path)
        except ReplayError:
            refused += 1
        else:
            for name in ARRAYS:
                np.testing.assert_array_equal(getattr(again, name), getattr(sound, name))
    assert refused > len(whole) / 41 / 2


def test_foreign_files_are_refused(replay: Replay, tmp_path: Path) -> None:
    path = tmp_path / "other.replay.npz"
    path.write_text("walker,x,y\n")
    with pytest.raises(ReplayError, match="no replay"):
        read_replay(path)
    rewrite(path, {"notes.txt": b"sow in March"})
    with pytest.raises(ReplayError, match="holds no header"):
        read_replay(path)
    np.savez(path, header=np.frombuffer(b'{"format": "sowing plan"}', dtype=np.uint8))
    with pytest.raises(ReplayError, match="does not say that this is a photodrome replay"):
        read_replay(path)
    with pytest.raises(ReplayError, match="cannot be read"):
        read_replay(tmp_path)
    with pytest.raises(NotFoundError, match="no such file"):
        read_replay(tmp_path / "nowhere.replay.npz")


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_links_and_what_is_no_file_are_refused(replay: Replay, tmp_path: Path) -> None:
    """A stranger's link might lead anywhere, a pipe has no end; a folder and a device are no replay."""
    path, link = tmp_path / "first.replay.npz", tmp_path / "link.replay.npz"
    write_replay(replay, path)
    link.symlink_to(path)
    with pytest.raises(ReplayError, match=f"^{link}: it is a link, .* give {path} itself"):
        read_replay(link)
    loop = tmp_path / "loop.replay.npz"
    loop.symlink_to(loop)
    with pytest.raises(ReplayError, match=f"^{loop}: it is a link"):
        read_replay(loop)
    pipe = tmp_path / "pipe.replay.npz"
    os.mkfifo(pipe)
    for one in (pipe, Path(os.devnull), tmp_path):
        with pytest.raises(ReplayError, match=f"^{one}: cannot be read .*(device|directory)"):
            read_replay(one)


@pytest.mark.parametrize("name", ["header", *MEMBERS])
def test_a_missing_array_is_named(replay: Replay, tmp_path: Path, name: str) -> None:
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    content = members(path)
    del content[f"{name}.npy"]
    rewrite(path, content)
    with pytest.raises(ReplayError, match=f"holds no {name},"):
        read_replay(path)


@pytest.mark.parametrize("name", ["header", *MEMBERS])
@pytest.mark.parametrize(
    "wrong",
    [
        as_member(np.zeros(4, dtype=np.complex128)),
        as_member(np.zeros(3, dtype=[("walker", "<i4")])),
        b"",
        b"\x93NUMPY\x01\x00",
        b"\x93NUMPY\x01\x00\x10\x00{'descr': 'open'}",
    ],
)
def test_a_wrong_array_is_named(replay: Replay, tmp_path: Path, name: str, wrong: bytes) -> None:
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    content = members(path)
    content[f"{name}.npy"] = wrong
    rewrite(path, content)
    with pytest.raises(ReplayError, match=name):
        read_replay(path)


def test_objects_are_never_unpickled(replay: Replay, tmp_path: Path) -> None:
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    content = members(path)
    stream = io.BytesIO()
    np.save(stream, np.array([{"a": 1}], dtype=object), allow_pickle=True)
    content["built.npy"] = stream.getvalue()
    rewrite(path, content)
    with pytest.raises(ReplayError, match="built holds object"):
        read_replay(path)


def test_a_size_that_the_file_cannot_hold_is_refused_before_memory_is_taken(
    replay: Replay, tmp_path: Path
) -> None:
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    content = members(path)
    stream = io.BytesIO()
    np.lib.format.write_array_header_1_0(
        stream, {"descr": "|u1", "fortran_order": False, "shape": (1, 10**12, 7)}
    )
    content["ledger.npy"] = stream.getvalue() + b"\0" * 56
    rewrite(path, content)
    with pytest.raises(ReplayError, match="ledger does not fill its shape"):
        read_replay(path)


def change(table: str, column: str, row: int, value: float) -> Callable[[Replay], Replay]:
    def changed(replay: Replay) -> Replay:
        array = getattr(replay, table).copy()
        array[column][row] = value
        return replace(replay, **{table: array})

    return changed


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        (change("walkers", "design", 1, 2), "walkers.design, row 1"),
        (change("walkers", "heat", 0, -1), "walkers.heat, row 0"),
        (change("walkers", "x", 0, np.nan), "walkers.x, row 0"),
        (change("walkers", "radius", 0, 0.0), "walkers.radius, row 0"),
        (change("pulses", "walker", 0, 5), "pulses.walker, row 0"),
        (change("pulses", "side", 1, 2), "pulses.side, row 1"),
        (change("pulses", "ended", 1, -1), "pulses.ended, row 1"),
        (change("pulses", "touched", 3, 8), "pulses.touched, row 3"),
        (change("pulses", "let_go_V", 2, np.nan), "pulses.let_go_V, row 2"),
        (change("pulses", "trigger_V", 2, np.inf), "pulses.trigger_V, row 2"),
        (change("pulses", "light_panel_lx", 2, -1.0), "pulses.light_panel_lx, row 2"),
        (change("pulses", "rest_s", 3, 60.1), "pulses, row 3: start, release and rest"),
        (change("pulses", "let_go_s", 0, 9.0), "pulses, row 0: start, release and rest"),
        (change("pulses", "start_s", 2, 1.0), r"pulses, row 2: an order by \(start_s, walker\)"),
        (change("poses", "x", 4, np.nan), "poses.x, row 4"),
        (change("poses", "time_s", 4, 61.0), "poses.time_s, row 4"),
        (change("poses", "time_s", 0, 0.1), "poses have no row at time 0 for walker 0"),
        (change("poses", "walker", 0, 1), r"poses, row 1: an order by \(walker, time_s\)"),
        (change("touches", "part", 0, 3), "touches.part, row 0"),
        (change("touches", "time_s", 0, 40.0), "touches, row 1: an order by time_s"),
        (change("lights", "left_lx", 0, np.inf), "lights.left_lx, row 0"),
        (change("lights", "time_s", 2, 0.5), "lights have no row at time 0 for walker 1"),
        (lambda r: replace(r, built=r.built[:, :1]), r"built is \(2, 1\)"),
        (lambda r: replace(r, ledger=r.ledger[:1]), r"ledger is \(1, 7\)"),
        (lambda r: replace(r, ledger=r.ledger * np.nan), "ledger, row 0"),
        (lambda r: replace(r, light_map=r.light_map * np.nan), "light_map, row 0"),
        (lambda r: replace(r, poses=r.poses.reshape(2, -1)), "poses has 2 dimensions"),
        (lambda r: replace(r, poses=np.zeros(2, dtype=PULSES)), "poses holds"),
        (lambda r: replace(r, poses=np.zeros(0, dtype=POSES)), "poses have no row at time 0"),
    ],
)
def test_values_that_cannot_be_are_named(
    replay: Replay, tmp_path: Path, damage: Callable[[Replay], Replay], message: str
) -> None:
    damaged = damage(replay)
    with pytest.raises(ReplayError, match=message):
        check_replay(damaged)
    path = tmp_path / "first.replay.npz"
    with pytest.raises(ReplayError, match=message):
        write_replay(damaged, path)
    assert list(tmp_path.iterdir()) == []


def test_a_blinded_side_and_a_part_that_is_not_there_are_allowed(replay: Replay, tmp_path: Path) -> None:
    pulses = replay.pulses.copy()
    pulses["other_trigger_V"][0] = np.inf
    built = replay.built.copy()
    built[0, 1] = np.nan
    path = tmp_path / "first.replay.npz"
    write_replay(replace(replay, pulses=pulses, built=built), path)
    again = read_replay(path)
    assert again.pulses["other_trigger_V"][0] == np.inf
    assert np.isnan(again.built[0, 1])


@pytest.mark.parametrize(
    ("place", "value", "message"),
    [
        (("version",), 3, "version 3, this program reads versions 1 to 2; read it with photodrome 0.1.0"),
        (("version",), None, "version None"),
        (("seed",), 1.5, r"header\.seed is 1\.5, where a whole number"),
        (("seconds",), 0.0, r"header\.seconds is 0\.0"),
        (("designs",), [], r"header\.designs"),
        (("designs", 0, "name"), 3, r"header\.designs\[0\]\.name"),
        (("arena", "floor"), [[0, 0], [1, 1]], r"header\.arena\.floor"),
        (("arena", "floor", 2), [1, "a"], r"header\.arena\.floor\[2\]\[1\]"),
        (("arena", "walls", 0, "closed"), 1, r"header\.arena\.walls\[0\]\.closed"),
        (("arena", "shades", 0, "passes"), 1.1, r"header\.arena\.shades\[0\]\.passes"),
        (("arena", "lamps", 0, "intensity_cd"), -1, r"header\.arena\.lamps\[0\]\.intensity_cd"),
        (("arena", "sun"), {}, r"header\.arena\.sun\.azimuth_rad is missing"),
        (("light_map", "cell"), 0, r"header\.light_map\.cell"),
        (("arena",), [], r"header\.arena"),
    ],
)
def test_a_header_that_cannot_be_is_named(
    replay: Replay, tmp_path: Path, place: tuple[Any, ...], value: Any, message: str
) -> None:
    header = copy.deepcopy(replay.header)
    inner = header
    for step in place[:-1]:
        inner = inner[step]
    inner[place[-1]] = value
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    content = members(path)
    content["header.npy"] = as_member(np.frombuffer(json.dumps(header).encode(), dtype=np.uint8))
    rewrite(path, content)
    with pytest.raises(ReplayError, match=message):
        read_replay(path)


@pytest.mark.parametrize(
    "text", [b"", b"{", b"\xff\xfe", b"[" * 100_000, b'{"format": NaN}', b'{"format": "photodrome replay"}']
)
def test_a_header_that_is_no_header_is_refused(replay: Replay, tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "first.replay.npz"
    write_replay(replay, path)
    content = members(path)
    content["header.npy"] = as_member(np.frombuffer(text, dtype=np.uint8))
    rewrite(path, content)
    with pytest.raises(ReplayError, match=r"header|version None"):
        read_replay(path)


def test_a_place_that_cannot_be_written_is_named(replay: Replay, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_replay(replay, tmp_path / "nowhere" / "first.replay.npz")
    (tmp_path / "first.replay.npz").mkdir()
    with pytest.raises(OutputError, match="cannot be written"):
        write_replay(replay, tmp_path / "first.replay.npz")
    assert [path.name for path in tmp_path.iterdir()] == ["first.replay.npz"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="nothing is closed to root")
def test_a_folder_closed_to_writing_is_named(replay: Replay, tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o500)
    with pytest.raises(OutputError, match="cannot be written"):
        write_replay(replay, closed / "first.replay.npz")


def test_a_full_disk_leaves_the_older_file_and_nothing_else(
    replay: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "first.replay.npz"
    path.write_text("older")

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_replay(replay, path)
    assert path.read_text() == "older"
    assert list(tmp_path.iterdir()) == [path]


def test_an_interrupt_leaves_the_older_file_and_nothing_else(
    replay: Replay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "first.replay.npz"
    path.write_text("older")

    def interrupted(descriptor: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_replay(replay, path)
    assert path.read_text() == "older"
    assert list(tmp_path.iterdir()) == [path]


def test_the_package_offers_these_names_and_imports_nothing_heavy_for_them() -> None:
    code = (
        "import sys, replays\n"
        "heavy = {'numpy', 'pygame', 'scipy', 'shapely', 'numba'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
        "import replays.format.replay_file, replays.scoring.scores\n"
        "heavy = {'pygame', 'scipy', 'shapely', 'numba'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
    assert replays.read_replay is read_replay
    assert all(callable(getattr(replays, name)) for name in replays.__all__)
    with pytest.raises(AttributeError, match="nonesuch"):
        getattr(replays, "nonesuch")  # noqa: B009
