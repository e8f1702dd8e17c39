"""The table of everything against light, and where it is written."""

import csv
import math
from pathlib import Path

import pytest
from PIL import Image

from agents.design.spec import parse_design, read_design
from agents.testbench.bench_figures import bench_point
from agents.testbench.pulse_scope import pulse_scope
from arena.reports.light_table import STEPS, eye_voltage, light_table, table_points
from arena.reports.pulse_plots import energy_shares
from tests.helpers.commands import photodrome, refusal


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_the_table_says_what_the_bench_says() -> None:
    outcome = photodrome("bench", "poppy", "--no-cures", "--table", "all.csv", "--plot", "all.png", "--json")
    assert outcome.code == 0
    assert outcome.json()["files"] == ["all.csv", "all.png"]
    rows = list(csv.DictReader(Path("all.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == STEPS
    assert (float(rows[0]["light_lx"]), float(rows[-1]["light_lx"])) == (10.0, 120e3)
    assert {"dim", "works", "blind"} <= {row["state"] for row in rows}
    row = min(rows, key=lambda one: abs(float(one["light_lx"]) - 3e3))
    points = {f"{point.light:.4g}": point for point in table_points(read_design("poppy"), "sun")}
    first = points[row["light_lx"]].first
    assert float(row["trigger_V"]) == pytest.approx(first.trigger, abs=1e-4)
    assert float(row["time_between_s"]) == pytest.approx(first.between, abs=1e-3)
    assert float(row["turn_deg"]) == pytest.approx(math.degrees(first.turn or 0.0), abs=0.01)
    assert first.pressed is not None
    assert float(row["pressed_trigger_V"]) == pytest.approx(first.pressed.trigger, abs=1e-4)
    assert rows[0]["time_between_s"] == ""  # dim
    with Image.open("all.png") as picture:
        assert min(picture.size) > 500


def test_sides_that_differ_have_columns_each() -> None:
    design = parse_design("photodrome: design 1\nname: carrot\nright: { latch: 22k }\n", "carrot.yaml")
    heads, *rows = light_table(design, table_points(design, "sun"))
    assert {"left_trigger_V", "right_trigger_V"} <= set(heads)
    assert all(len(row) == len(heads) for row in rows)


def test_the_meter_on_the_rail_against_the_eye() -> None:
    """By hand: 4 uA over 47 kohm and 28 ohm is 0.188 V."""
    design = read_design("poppy")
    trigger = bench_point(design, 3e3).first.trigger
    assert trigger - eye_voltage(design, "left", trigger) == pytest.approx(4e-6 * 47028.0)


def test_shares_of_energy_make_a_whole() -> None:
    scope = pulse_scope(read_design("poppy"), 3e3)
    assert scope is not None
    shares = energy_shares(scope)
    assert sum(share for _, share in shares) == pytest.approx(1.0)
    assert dict(shares)["motion"] == pytest.approx(scope.motion_share)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--table", "a.csv", "--plot", "a.csv"), "another file of this very command"),
        (("--plot", "a.jpg"), "expected a name that ends in .png"),
        (("--table", "a.html", "--report", "a.html"), "another file of this very command"),
    ],
)
def test_places_that_cannot_be(arguments: tuple[str, ...], words: str) -> None:
    assert words in refusal("bench", "poppy", *arguments)
