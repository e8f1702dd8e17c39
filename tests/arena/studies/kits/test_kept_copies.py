"""Copies of a kit are kept while they are measured, so that a stop loses nothing; then nothing is left."""

import contextlib
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from agents.text.shipped import configs_folder
from arena.studies.kits import judging
from arena.studies.running.database import FILE
from tests.helpers.commands import listing, photodrome

KIT = ("kit", "../poppy.yaml", "--copies", "300", "--light-count", "2", "--out", "copies.csv")
KEPT = "the copies that were through are kept in poppy.kit, and the same command goes on from there"


# Each tolerance is measured by itself: six of poppy's are pieces enough to be stopped among.
SPREAD = (
    "both.eye.dark_trigger",
    "both.latch",
    "both.npn.gain",
    "both.pnp.gain",
    "both.series",
    "storage.cap",
)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    head, _, spread = (
        (configs_folder() / "designs" / "poppy.yaml").read_text("utf-8").partition("\nspread:\n")
    )
    kept_parts = [line for line in spread.splitlines() if line.strip().startswith(SPREAD)]
    assert len(kept_parts) == len(SPREAD)
    (tmp_path / "poppy.yaml").write_text("\n".join([head, "spread:", *kept_parts, ""]), encoding="utf-8")


def stopped_after(monkeypatch: pytest.MonkeyPatch, pieces: int) -> list[int]:
    """Let a kit be stopped as by Ctrl-C once so many pieces are measured; returns the copies of each."""
    real, measured = judging.survey, []

    def survey(walkers: Any, lights: Any, kind: str, first: int = 0) -> Any:
        if len(measured) == pieces:
            raise KeyboardInterrupt
        found = real(walkers, lights, kind, first)
        # the design itself, as drawn, is measured every time
        if len(walkers) > 1:
            measured.append(len(walkers))
        return found

    monkeypatch.setattr(judging, "survey", survey)
    return measured


def kept() -> int:
    with contextlib.closing(sqlite3.connect(Path("poppy.kit", FILE))) as database:
        (count,) = database.execute("SELECT count(*) FROM pieces").fetchone()
    return int(count)


def test_a_kit_stopped_again_and_again_comes_to_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        pieces = stopped_after(patch, 10_000)
        whole = photodrome(*KIT)
    assert whole.code == 0
    assert [path.name for path in Path().iterdir()] == ["copies.csv"]
    table = Path("copies.csv").read_bytes()
    Path("copies.csv").write_text("of before")
    total = 0
    for count in (2, 5, 1, 9):
        with monkeypatch.context() as patch:
            measured = stopped_after(patch, count)
            outcome = photodrome(*KIT, "--threads", "1")
        assert (outcome.code, outcome.out, outcome.err) == (130, "", f"stopped; {KEPT}\n")
        assert Path("copies.csv").read_text() == "of before"
        assert len(measured) == count
        assert total <= kept() <= total + count
        total = kept()
    assert total > 0
    with monkeypatch.context() as patch:
        rest = stopped_after(patch, 10_000)
        again = photodrome(*KIT)
    assert (again.code, again.out) == (0, whole.out)
    assert Path("copies.csv").read_bytes() == table
    assert len(rest) == len(pieces) - total
    assert [path.name for path in Path().iterdir()] == ["copies.csv"]


def test_copies_of_something_else_are_told_and_not_mixed_in(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        stopped_after(patch, 4)
        assert photodrome(*KIT, "--threads", "1").code == 130
    before = listing(Path("poppy.kit"))
    for more, differs in (
        (("--seed", "2"), "seed"),
        (("--copies", "301"), "copies"),
        (("--to", "21klx"), "light"),
        (("--kind", "white-led"), "light"),
    ):
        outcome = photodrome(*KIT, *more)
        assert outcome.code == 2
        assert f"holds copies of something else, for it differs in {differs}; " in outcome.err
        assert "--restart" in outcome.err
        assert listing(Path("poppy.kit")) == before
    # what only says how copies are judged decides nothing of what was measured
    assert photodrome(*KIT, "--straight", "20 deg", "--allow", "strays").code == 0
    assert not Path("poppy.kit").exists()


def test_begun_anew_all_copies_are_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        stopped_after(patch, 4)
        photodrome(*KIT, "--threads", "1")
    assert kept() > 0
    with monkeypatch.context() as patch:
        measured = stopped_after(patch, 10_000)
        assert photodrome(*KIT, "--seed", "2", "--restart").code == 0
    assert measured.count(44) * 2 == measured.count(128) > 0
    assert not Path("poppy.kit").exists()


def test_a_folder_of_ones_own_is_used_and_what_is_in_it_stays() -> None:
    Path("mine").mkdir()
    assert photodrome(*KIT, "--folder", "mine").code == 0
    assert listing(Path("mine")) == {}
    assert Path("mine").is_dir()
    Path("mine/notes.txt").write_text("mine")
    outcome = photodrome(*KIT, "--folder", "mine")
    assert outcome.code == 2
    assert "is not empty and holds no results of this plan (found notes.txt)" in outcome.err
    assert Path("mine/notes.txt").read_text() == "mine"


def test_where_no_folder_can_be_nothing_is_kept_and_that_is_said() -> None:
    Path("poppy.kit").write_text("a file")
    outcome = photodrome(*KIT)
    assert outcome.code == 0
    assert outcome.err.startswith(
        "note: no copies were kept on the way: poppy.kit: no folder can be made there"
    )
    assert Path("poppy.kit").read_text() == "a file"
    outcome = photodrome(*KIT, "--folder", "poppy.kit/below")
    assert (outcome.code, "no folder can be made there" in outcome.err) == (1, True)
