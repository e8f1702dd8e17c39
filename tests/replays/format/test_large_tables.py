"""Tables larger than the memory: the same rows in the same order as in memory, and no file left behind."""

import itertools
import os
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from agents.errors import OutputError
from replays.format import large_tables
from replays.format.large_tables import (
    Gathering,
    free_memory,
    in_order,
    in_pieces,
    join_tables,
    large_array,
    memory_room,
    spill_folder,
)

ROW = np.dtype([("walker", "<i4"), ("time_s", "<f8"), ("number", "<i8")])
OTHER = np.dtype([("time_s", "<f8"), ("walker", "<i4")])
KINDS = {"poses": ROW, "pulses": OTHER}
ORDERS = {"poses": ("walker", "time_s"), "pulses": ("time_s", "walker")}


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", None)


def drawn(count: int, seed: int) -> np.ndarray:
    """Rows of few walkers and few times, so that many are alike in both, numbered as they come."""
    draw = np.random.default_rng(seed)
    rows = np.zeros(count, ROW)
    rows["walker"], rows["time_s"] = draw.integers(0, 7, count), draw.integers(0, 5, count)
    rows["number"] = np.arange(count)
    return rows


def sorted_by_python(rows: np.ndarray) -> list[tuple[int, float, int]]:
    """By walker and time, and otherwise as they came: Python's own sort is stable."""
    return sorted(rows.tolist(), key=lambda row: row[:2])


@pytest.mark.parametrize("room", [0, 400, 10_000, 1 << 30])
def test_rows_come_back_in_order_wherever_they_lay(
    room: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # pieces of a few rows, so that there are many of them
    monkeypatch.setattr(large_tables, "_RUN_BYTES", 800)
    rows, others = drawn(500, 1), np.zeros(300, OTHER)
    others["time_s"] = np.random.default_rng(2).uniform(0.0, 9.0, 300)
    gathering = Gathering(KINDS, ORDERS, room)
    for first in range(0, 500, 37):
        gathering.add("poses", rows[first : first + 37])
        gathering.add("pulses", others[first : first + 37])
    assert gathering.on_disk == (room < rows.nbytes + others.nbytes)
    if not gathering.on_disk:
        assert gathering.so_far("poses").tolist() == sorted_by_python(rows)
    assert list(tmp_path.iterdir()) == [], "what lies on the disk has no name"
    assert gathering.table("poses").tolist() == sorted_by_python(rows)
    np.testing.assert_array_equal(gathering.table("pulses")["time_s"], np.sort(others["time_s"]))


def test_a_table_to_which_nothing_came_is_empty() -> None:
    gathering = Gathering(KINDS, ORDERS, 0)
    gathering.add("poses", np.zeros(0, ROW))
    assert (len(gathering.table("poses")), gathering.on_disk) == (0, False)
    assert join_tables([], ROW).dtype == ROW


def test_many_threads_may_add_at_once() -> None:
    """Each thread its own walker, so that the order of threads makes no difference."""
    gathering = Gathering(KINDS, ORDERS, 2000)

    def add(walker: int) -> None:
        for first in range(0, 200, 10):
            rows = np.zeros(10, ROW)
            rows["walker"], rows["time_s"] = walker, np.arange(first, first + 10)
            gathering.add("poses", rows)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(add, range(8)))
    assert gathering.on_disk
    told = [(walker, time) for walker, time, _ in gathering.table("poses").tolist()]
    assert told == [(walker, float(time)) for walker in range(8) for time in range(200)]


def test_rows_in_order_are_not_copied_and_others_keep_their_order_where_alike() -> None:
    rows = drawn(200, 3)
    done = in_order(rows, "walker", "time_s")
    assert done.tolist() == sorted_by_python(rows)
    assert in_order(done, "walker", "time_s") is done


def test_chunks_of_different_walkers_are_put_one_after_another(monkeypatch: pytest.MonkeyPatch) -> None:
    """In whatever order they come; they need not be sorted then."""
    rows = in_order(drawn(500, 4), "walker", "time_s")
    edges = np.searchsorted(rows["walker"], [0, 2, 3, 6, 7]).tolist()
    parts = [rows[first:last] for first, last in itertools.pairwise(edges)]
    gathering = Gathering(KINDS, ORDERS)
    for place in (2, 0, 3, 1):
        gathering.add("poses", parts[place])
    with monkeypatch.context() as patched:
        patched.delattr(np, "lexsort")
        done = gathering.table("poses")
    assert done.tolist() == rows.tolist()


def test_chunks_that_share_a_walker_are_sorted_as_they_came() -> None:
    """The one that begins with a later walker came first, and stays first where rows are alike."""
    first, second = np.zeros(2, ROW), np.zeros(2, ROW)
    first["walker"], first["number"] = (1, 2), (0, 1)
    second["walker"], second["number"] = (0, 1), (2, 3)
    gathering = Gathering(KINDS, ORDERS)
    gathering.add("poses", first)
    gathering.add("poses", second)
    assert gathering.table("poses")["number"].tolist() == [2, 0, 3, 1]


@pytest.mark.parametrize("on_disk", [False, True])
def test_a_large_array_is_noughts_and_can_be_written_to(on_disk: bool, tmp_path: Path) -> None:
    array = large_array((1000, 3), np.dtype("<f8"), on_disk)
    assert array.shape == (1000, 3)
    assert not array.any()
    array[:] = 7.0
    assert array.sum() == 21_000.0
    assert large_array((0,), ROW, on_disk).shape == (0,)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "posix_fallocate"), reason="no room is set aside there")
def test_a_full_disk_is_told_before_a_page_is_touched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(descriptor: int, first: int, size: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "posix_fallocate", full)
    with pytest.raises(OutputError, match=rf"{tmp_path}: no room for 2.5 GB .*No space left.*set TMPDIR"):
        large_array((2_500_000_000,), np.dtype(np.uint8), on_disk=True)


def test_a_folder_that_is_not_there_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(large_tables, "spill_folder", lambda: tmp_path / "nowhere")
    gathering = Gathering(KINDS, ORDERS, 0)
    with pytest.raises(OutputError, match="nowhere: no room"):
        gathering.add("poses", drawn(5, 4))


def test_who_names_a_folder_for_temporary_files_has_tables_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert spill_folder() == tmp_path
    for name in ("TMPDIR", "TEMP", "TMP"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(tempfile, "tempdir", None)
    assert spill_folder() in (Path("/var/tmp"), Path(tempfile.gettempdir()))


def test_what_a_container_may_still_use_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(large_tables, "_CGROUP", tmp_path)
    here = free_memory()
    assert here > 0
    (tmp_path / "memory.current").write_text("3000000\n")
    for limit, left in (("5000000\n", 2_000_000), ("1000000\n", 0)):
        (tmp_path / "memory.max").write_text(limit)
        assert (free_memory(), memory_room()) == (left, left // 4)
    # no limit, and one that cannot be understood
    for limit in ("max\n", "much\n"):
        (tmp_path / "memory.max").write_text(limit)
        assert free_memory() > 100 * 2_000_000 // 4


def test_pieces_are_all_rows_once() -> None:
    assert [(one.start, one.stop) for one in in_pieces(7, 3)] == [(0, 3), (3, 6), (6, 7)]
    assert list(in_pieces(0, 3)) == []
