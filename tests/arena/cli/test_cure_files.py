"""Cures on the bench sheet, written into files."""

import json
from pathlib import Path

import pytest

from agents.design.spec import read_design
from agents.testbench.bench_figures import bench_point
from tests.helpers.commands import photodrome, refusal

NETTLE = ("bench", "nettle-twitches", "--light", "1klx", "--light", "10klx")


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_a_cure_is_written_as_it_is_printed_and_all_remarks_are_kept() -> None:
    sheet = photodrome(*NETTLE)
    assert (sheet.code, sheet.err) == (0, "")
    assert "cure 1: a latch resistor of" in sheet.out
    told = photodrome(*NETTLE, "--json").json()
    cure = told["diagnosis"][0]["cure"]
    assert cure["number"] == 1
    assert f"both.latch: {cure['values']['both.latch']}" in sheet.out
    # the command that the sheet ends with
    typed = sheet.out.replace("\n", " ").partition("photodrome bench ")[2].split()
    assert typed[-2:] == ["--out", "better.yaml"]
    written = photodrome("bench", *typed)
    assert (written.code, written.err) == (0, "")
    assert "design: better.yaml" in written.out
    text = Path("better.yaml").read_text(encoding="utf-8")
    assert "# Too large for motors" in text
    better = read_design("./better.yaml")
    assert better.name == "better"
    assert better == read_design("nettle-twitches").with_values(
        {"name": "better", "both.latch": better.left.latch}
    )
    for light in (1e3, 3e3, 10e3):
        assert bench_point(better, light).faults == ()


def test_a_file_that_is_there_is_spared_unless_asked() -> None:
    own = Path("own.yaml")
    own.write_text(
        "photodrome: design 1\nname: own\n# mine\nboth: {latch: 82k, motor: {resistance: 8 ohm}}\n"
    )
    before = own.read_bytes()
    once = ("bench", "own.yaml", "--light", "3klx", "--apply", "1")
    assert "an input of this very command" in refusal(*once, "--out", "own.yaml")
    Path("other.yaml").write_text("kept", encoding="utf-8")
    assert "--replace" in refusal(*once, "--out", "other.yaml")
    assert (own.read_bytes(), Path("other.yaml").read_text(encoding="utf-8")) == (before, "kept")
    assert photodrome(*once, "--out", "own.yaml", "--replace").code == 0
    assert b"# mine" in own.read_bytes()
    assert bench_point(read_design("./own.yaml"), 3e3).faults == ()


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--apply", "9", "--out", "x.yaml"), "got 9"),
        (("--apply", "0", "--out", "x.yaml"), "1 to 1000"),
        (("--apply", "one", "--out", "x.yaml"), "number"),
        (("--apply", "1"), "--out"),
        (("--out", "x.yaml"), "--apply"),
        (("--replace",), "--apply"),
        (("--apply", "1", "--out", "x.yaml", "--no-cures"), "--no-cures"),
    ],
)
def test_what_cannot_be_applied_is_refused(options: tuple[str, ...], told: str) -> None:
    assert told in refusal(*NETTLE, *options)
    assert not Path("x.yaml").exists()


def test_a_design_without_a_fault_has_no_cure_to_apply() -> None:
    assert "there is none" in refusal("bench", "poppy", "-l", "3klx", "--apply", "1", "--out", "x.yaml")


def test_advice_on_the_whole_design_is_told_and_can_be_applied() -> None:
    found = photodrome("bench", "thistle-spins", "--json").json()
    advice = found["whole_design"]
    assert advice["is_all"]
    assert advice["lights_lx"] == [300.0, 100e3]
    number = str(advice["number"])
    written = photodrome("bench", "thistle-spins", "--apply", number, "--out", "better.yaml", "--json").json()
    assert written["files"] == ["better.yaml"]
    assert [point["faults"] for point in written["points"]] == [[]] * 6
    json.dumps(found, allow_nan=False)
