"""The command fit: what it prints and writes, and what it refuses."""

import json
from pathlib import Path

import pytest

from agents.design.spec import read_design
from agents.testbench.bench_figures import bench
from tests.helpers.commands import photodrome, refusal

HEADING = "light,trigger [V],time between pulses [s],stall current,stall voltage\n"


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def written(name: str, rows: str) -> str:
    Path(name).write_text(HEADING + rows, encoding="utf-8")
    return name


def poppy_rows() -> str:
    """What a poppy of drawn parts shows, but for a clock that was read ten times too short once."""
    *points, last = bench(read_design("poppy"), [1e3, 3e3, 10e3, 20e3])
    rows = [f"{point.light} lx,{point.first.trigger:.3f},{point.first.between:.1f},," for point in points]
    assert last.first.between is not None
    return "\n".join([*rows, f"20 klx,,{0.1 * last.first.between:.3f},,", ",,,50 mA,1.5 V"])


def test_what_is_written_shows_what_was_read() -> None:
    outcome = photodrome("fit", "poppy", written("read.csv", poppy_rows()), "--out", "mine.yaml", "--json")
    assert (outcome.code, outcome.err) == (0, "")
    found = json.loads(outcome.out)
    assert found["suits"]
    assert found["files"] == ["mine.yaml"]
    assert [one["line"] for one in found["readings"] if one["slip"]] == [5]
    text = Path("mine.yaml").read_text(encoding="utf-8")
    assert "# The pulse grows with it" in text  # remarks stay
    design = read_design("./mine.yaml")
    assert design.name == "mine"  # so that it can race the design that it was made from
    for path, value in found["values"].items():
        assert design.value_at(path.replace("both.", "left.")) == value
    fitted, drawn = (bench(one, [3e3])[0].first.trigger for one in (design, read_design("poppy")))
    assert fitted == pytest.approx(drawn, abs=0.02)


def test_the_table_tells_parts_slips_and_what_to_read_next() -> None:
    outcome = photodrome("fit", "poppy", written("read.csv", poppy_rows()))
    assert (outcome.code, outcome.err) == (0, "")
    for words in (
        "they fit it within the errors of meter, clock and protractor",
        "motor winding resistance",
        "likely a slip, line 5: time between pulses in 20 klx",
        "a decimal point one place off?",
        "of these the readings tell nothing:",
        "measure next: ",
    ):
        assert words in outcome.out


def test_readings_of_another_walker_end_with_an_error_and_write_nothing() -> None:
    rows = "1 klx,3.9,4,,\n3 klx,2.5,90,,\n10 klx,5.1,2,50 mA,1.5 V\n"
    outcome = photodrome("fit", "poppy", written("read.csv", rows), "--out", "mine.yaml")
    assert outcome.code == 1
    assert "not of a build of this design; nothing was written" in outcome.err
    assert not Path("mine.yaml").exists()


def test_what_cannot_be_is_refused() -> None:
    assert "no such file" in refusal("fit", "poppy", "none.csv")
    assert "no reading" in refusal("fit", "poppy", written("read.csv", ""))
    assert "read.csv:2:1: light" in refusal("fit", "poppy", written("read.csv", "-3 klx,3,,,"))
    name = written("read.csv", "3 klx,3.3,,,")
    assert "is an input" in refusal("fit", "poppy", name, "--out", name)
