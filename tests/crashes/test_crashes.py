"""A small share of ``python -m tests.crashes.harness``: a few kills of each command, at drawn moments."""

import random
import signal
import sys
from pathlib import Path

import pytest

from tests.crashes.harness import kill_often, out_of_room

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals work in another way there")


@pytest.mark.parametrize("name", ["run", "tune", "kit"])
def test_killed_commands_lose_nothing(name: str, tmp_path: Path) -> None:
    counted = kill_often(name, 2, random.Random(f"a test {name}"), tmp_path)
    assert counted["whole runs"] >= 1


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="no limit to the size of files here")
@pytest.mark.parametrize("name", ["film"])
def test_commands_without_room_leave_what_was_there(name: str, tmp_path: Path) -> None:
    assert out_of_room(name, random.Random(f"a test {name}"), tmp_path, 1) in (0, 1)
