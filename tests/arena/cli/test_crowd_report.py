"""What `score` and `run` tell of walkers that share a floor, and that they are silent of one alone."""

import re
from pathlib import Path

import pytest

from replays.format.replay_file import read_replay
from replays.scoring.crowds import CROWD_EXPLANATIONS, score_crowds
from tests.helpers.commands import photodrome

HEADING = "on one floor"
GATED = """photodrome: arena 1
name: gated
floor: {outline: 0 0 / 2 0 / 2 1 / 0 1 m}
ambient: {illuminance: 3 klx}
starts: {zone: {outline: 0.2 0.2 / 0.8 0.2 / 0.8 0.8 / 0.2 0.8 m, number: 2}}
goals: [{name: far end, outline: 1.5 0 / 2 0 / 2 1 / 1.5 1 m}]
gates: [{name: half way, line: 1 0 / 1 1 m}]
"""


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("gated.yaml").write_text(GATED, encoding="utf-8")


def cells(table: str, label: str) -> list[str]:
    """The cells of a row, with the note beside them."""
    (line,) = [line for line in table.splitlines() if line.strip().startswith(label)]
    return re.split(r"  +", line.strip().removeprefix(label).strip())


def test_a_crowd_has_its_table_and_its_json() -> None:
    ran = photodrome(
        "run", "./gated.yaml", "-d", "poppy", "-d", "lentil", "--walkers", "2", "--duration", "60"
    )
    assert (ran.code, ran.err) == (0, "")
    scored = photodrome("score", "run.replay.npz")
    for out in (ran.out, scored.out):
        table = out.partition(HEADING)[2]
        assert re.split(r"  +", table.splitlines()[0].strip()) == ["all", "poppy", "lentil", "what it says"]
        assert cells(table, "walkers")[:3] == ["4", "2", "2"]
        assert cells(table, "came through half way") == ["0 %"] * 3 + [CROWD_EXPLANATIONS["passed_share"]]
        assert "mixing of designs" in table
    answer = photodrome("score", "run.replay.npz", "--json").json()
    expected = [one.as_dict() for one in score_crowds([read_replay("run.replay.npz")])]
    assert answer["crowds"] == expected
    again = photodrome(
        "run", "./gated.yaml", "-d", "poppy", "-d", "lentil", "--walkers", "2", "--duration", "60", "--json"
    )
    assert again.json()["crowds"] == expected


@pytest.mark.parametrize("how", [("--walkers", "1"), ("--walkers", "3", "--alone")])
def test_one_alone_on_its_floor_has_no_such_table(how: tuple[str, ...]) -> None:
    ran = photodrome("run", "open-bench", "-d", "poppy", "--duration", "60", *how)
    assert HEADING not in ran.out + photodrome("score", "run.replay.npz").out
    assert photodrome("score", "run.replay.npz", "--json").json()["crowds"] == []


def test_several_floors_have_ranges_and_what_is_undefined_has_its_reason() -> None:
    outs = [f"{seed}.npz" for seed in range(3)]
    for seed, out in enumerate(outs):
        arguments = (
            "-d",
            "poppy",
            "--walkers",
            "3",
            "--duration",
            "5 min",
            "--seed",
            str(seed),
            "--out",
            out,
        )
        assert photodrome("run", "sun-patches", *arguments).code == 0
    table = photodrome("score", *outs).out.partition(HEADING)[2]
    assert "(3 floors)" in table
    assert cells(table, "walkers")[0] == "9"
    assert re.fullmatch(r"[0-9.]+ k?lx \[[0-9.]+ k?lx, [0-9.]+ k?lx\]", cells(table, "light on the panel")[0])
    # an arena without a goal and a gate, and one design, have no rows for them
    for label in ("gathered", "came through", "mixing"):
        assert label not in table
