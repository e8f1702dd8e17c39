"""The lesson by keyboard alone, in a real window under a window manager: what is seen, and what is saved.

Pictures of every step are left in the folder of the test; ``--basetemp`` says where.
"""

import time
from pathlib import Path

import numpy as np
import pytest

from agents.design.spec import parse_design
from agents.text.shipped import find_document
from arena.workbench.controller import Controller
from arena.workbench.jobs import RaceTerms
from arena.workbench.window import set_up
from tests.helpers.real_screen import RealScreen, real_screen, shown_program
from tests.helpers.workbench import settle_all

OPTIONS = ("--walkers", "3", "--duration", "600")


def changed_share(one: np.ndarray, other: np.ndarray) -> float:
    """Share of the pixels that differ."""
    return float((one != other).any(axis=2).mean())


@pytest.fixture(scope="module", autouse=True)
def _compiled() -> None:
    """All kernels of the lesson in machine code, lest a picture stands still while that is made."""
    state = set_up("open-bench", ["nettle-twitches"], RaceTerms(walkers=2, seconds=60.0))
    try:
        state.refresh()
        settle_all(Controller(state))
    finally:
        state.close()


@pytest.mark.parametrize(
    ("size", "theme"), [((1280, 720), "light"), ((1920, 1080), "dark")], ids=["1280-light", "1920-dark"]
)
def test_open_run_follow_fault_cure_compare_save(tmp_path: Path, size: tuple[int, int], theme: str) -> None:
    for name, kind in (("poppy", "design"), ("nettle-twitches", "design"), ("open-bench", "arena")):
        (tmp_path / f"{name}.yaml").write_bytes(find_document(name, kind).read_bytes())
    with (
        real_screen(size, tmp_path) as screen,
        shown_program(screen, tmp_path, "try", "potting-bench", "-d", "poppy.yaml", *OPTIONS) as program,
    ):
        screen.wait_for_title("potting bench")
        if theme == "dark":
            screen.press("t")
        teach(screen, tmp_path)
        screen.press("q")
        assert program.wait(120) == 0
    saved = parse_design((tmp_path / "cured.yaml").read_text(encoding="utf-8"), "cured.yaml")
    assert saved.left.latch < 82e3
    assert (tmp_path / "nettle-twitches.yaml").read_bytes() == find_document(
        "nettle-twitches", "design"
    ).read_bytes()


def teach(screen: RealScreen, folder: Path) -> None:
    """Press what a teacher presses, and see that each step shows."""
    opened = screen.settled("1 opened", folder)
    screen.press("F7")
    screen.settled("2 designs", folder)
    screen.write("nettle-twitches")
    screen.press("Return", "F8")
    screen.settled("3 arenas", folder)
    screen.write("open-bench.yaml")
    screen.press("Return")
    screen.wait_for_title("open bench")
    faulty = screen.settled("4 the faulty one", folder)
    assert changed_share(opened, faulty) > 0.1
    screen.press("Home")
    start = screen.settled()
    screen.press("space")
    time.sleep(2.0)
    screen.press("space")
    assert changed_share(start, screen.settled("5 run", folder)) > 0.0005
    before = screen.settled()
    screen.press("w")
    followed = screen.settled("6 followed", folder)
    assert changed_share(before, followed) > 0.05
    screen.press("Escape")
    assert changed_share(before, screen.settled()) < 0.001
    screen.press("F3")
    listed = screen.settled("7 cures", folder)
    assert changed_share(before, listed) > 0.05
    screen.press("Return")
    cured = screen.settled("8 cured and compared", folder)
    assert changed_share(before, cured) > 0.01
    screen.press("h")
    screen.settled("9 keys", folder)
    screen.press("Escape", "s")
    screen.settled("10 save", folder)
    screen.press(*["BackSpace"] * 60)
    screen.write("cured")
    screen.press("Return")
    screen.settled("11 saved", folder)
    assert (folder / "cured.yaml").is_file()
