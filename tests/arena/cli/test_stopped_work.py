"""Ctrl-C in the midst of each command that works for long: what is told of the work, and what is there."""

from pathlib import Path

import pytest

from tests.helpers.classes import write_class
from tests.helpers.commands import photodrome

RACE = """\
photodrome: race 1
name: brief race
entries: [walkers]
courses: [{arena: sprint-to-the-lamp, lasts: 30 s}]
rounds: 1
"""
RUN = ("run", "open-bench", "-d", "poppy", "--walkers", "2", "--duration", "30", "--out", "one.npz")
KEPT = "are kept in {}, and the same command goes on from there"


@pytest.fixture(autouse=True)
def _in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write_class(Path("walkers"), 2)
    Path("brief.yaml").write_text(RACE, encoding="utf-8")


# The work in which the key is pressed, the command, what is told, and what the folder holds besides.
STOPPED = {
    "parts are tried": (
        "agents.testbench.picking.pick_parts",
        ("pick", "poppy", "--drawer", "potting-shed", "--out", "mine.yaml"),
        "stopped; nothing was written",
        set(),
    ),
    "a run is accounted for": (
        "arena.accounts.telling.accounts_of",
        (*RUN, "--why"),
        "stopped before the changes were tried; one.npz is there",
        {"one.npz"},
    ),
    "trials run": (
        "arena.studies.running.sweeping.run_sweep",
        ("sweep", "feeler-escape"),
        f"stopped; the trials that were through {KEPT.format('feeler-escape.sweep')}",
        set(),
    ),
    "the best is searched": (
        "arena.studies.search.tuning.tune",
        ("tune", "feeler-escape", "--budget", "400"),
        f"stopped; the trials that were through {KEPT.format('feeler-escape.tune')}",
        {"feeler-escape.tune"},
    ),
    "rounds run": (
        "arena.races.racing.race_all",
        ("race", "brief.yaml"),
        f"stopped; the rounds that were through {KEPT.format('brief.race')}",
        set(),
    ),
    "papers are made": (
        "arena.reports.race_page.race_page",
        ("race", "brief.yaml", "--papers", "papers"),
        f"stopped before the papers were written; the rounds that were through {KEPT.format('brief.race')}",
        {"brief.race"},
    ),
}


@pytest.mark.parametrize("when", STOPPED)
def test_what_is_stopped_tells_what_becomes_of_it(when: str, monkeypatch: pytest.MonkeyPatch) -> None:
    work, command, told, left = STOPPED[when]

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(work, stop)
    outcome = photodrome(*command)
    assert (outcome.code, outcome.err.splitlines()[-1]) == (130, told)
    assert {path.name for path in Path().iterdir()} == {"walkers", "brief.yaml", *left}


def test_too_little_memory_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def fill(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("agents.design.spec.read_design", fill)
    outcome = photodrome("bench", "poppy")
    assert (outcome.code, outcome.out) == (1, "")
    assert outcome.err == "not enough memory for this; run fewer walkers, or a shorter time\n"
