"""Columns put together part by part are, byte for byte, those of all parts at once."""

from collections.abc import Callable
from pathlib import Path
from typing import IO

import numpy as np
import pytest

from agents.errors import OutputError
from replays.format import large_tables, spool
from replays.format.packing import pack
from replays.format.spool import Spool

PARTS = {
    "times": [np.arange(5), np.array([300, -70_000, 2**40]), np.zeros(0, np.int64), np.array([-1])],
    # the second part takes fewer planes than the first
    "wide first": [np.array([2**62, -(2**62)]), np.array([1, 2, 3]), np.array([], np.int64)],
    "always nought": [np.zeros(4, np.int64), np.zeros(2, np.int64)],
}


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(large_tables, "spill_folder", lambda: tmp_path)


@pytest.mark.parametrize("on_disk", [False, True])
def test_a_column_in_parts_is_the_column_as_a_whole(on_disk: bool, tmp_path: Path) -> None:
    spooled = Spool(on_disk)
    # parts of different columns come in turns
    for turn in range(4):
        for name, parts in PARTS.items():
            if turn < len(parts):
                spooled.add(name, parts[turn])
    columns = spooled.columns()
    assert list(columns) == list(PARTS)
    for name, parts in PARTS.items():
        whole = pack(np.concatenate(parts))
        assert columns[name].shape == whole.shape
        assert columns[name].dtype == whole.dtype
        for _ in range(2):
            assert b"".join(columns[name].pieces()) == whole.tobytes(), "as often as one likes"
    assert list(tmp_path.iterdir()) == [], "what lies on the disk has no name"


class Full:
    """A file on a disk that has room for no more than so many bytes."""

    def __init__(self, room: int) -> None:
        self.room = room

    def close(self) -> None:
        """Nothing is open."""

    def tell(self) -> int:
        """Where it stands; nobody looks."""
        return 0

    def write(self, content: memoryview) -> None:
        """Take ``content``. Raises OSError where there is no room for it."""
        self.room -= len(content)
        if self.room < 0:
            raise OSError(28, "No space left on device")


def test_a_full_disk_is_told_with_its_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    full: Callable[[], IO[bytes]] = lambda: Full(100)  # type: ignore[assignment,return-value] # noqa: E731
    monkeypatch.setattr(spool, "nameless_file", full)
    spooled = Spool(on_disk=True)
    spooled.add("times", np.zeros(90, np.int64))
    with pytest.raises(OutputError, match=f"{tmp_path}: no room .*No space left.*set TMPDIR"):
        spooled.add("times", np.zeros(90, np.int64))
