"""Cures that ask for no part that is not in the drawer."""

from collections import Counter

import pytest

from agents.design.spec import parse_design, read_design
from agents.drawer.contents import parse_drawer, read_drawer
from agents.drawer.stock import PLACES, choices
from agents.testbench.bench_figures import bench
from agents.testbench.diagnosis import full_diagnosis
from agents.testbench.drawer_changes import changes_from
from tests.helpers.commands import photodrome

RANGE = (1e3, 10e3)


@pytest.mark.parametrize("name", ["nettle-twitches", "thistle-spins"])
def test_a_cure_out_of_the_drawer_takes_what_is_there_and_cures(name: str) -> None:
    design, drawer = read_design(name), read_drawer("potting-shed")
    sold = {
        (path, value)
        for place in PLACES
        for choice in choices(drawer, place)
        for path, value in choice.values.items()
        if place.section in ("resistors", "capacitors")
    }
    found = full_diagnosis(design, RANGE, drawer=drawer)
    assert found.reports
    for report in found.reports:
        assert report.cure is not None, report.name
        cured = design.with_values(report.cure.values)
        for side in ("left", "right"):
            for part in ("latch", "series", "feeler", "coupling"):
                path = f"{side}.{part}"
                value = cured.value_at(path)
                assert value == design.value_at(path) or (path, value) in sold
        low, high = report.cure.lights
        for point in bench(cured, [low, (low * high) ** 0.5, high]):
            assert report.name not in point.faults


def test_changes_are_by_hand_or_out_of_the_drawer() -> None:
    poor = parse_drawer(
        "photodrome: drawer 1\nname: poor\nresistors:\n  - { code: 22k, count: 2 }\n", "poor.yaml"
    )
    design = read_design("nettle-twitches")
    found = changes_from(poor)(design)
    bought = [change for change in found if "out of the drawer" in change.text]
    assert Counter(tuple(change.values) for change in bought) == {
        ("both.latch",): 1,
        ("both.series",): 1,
        ("both.feeler",): 1,
    }
    # two pieces do for one place only
    assert len({change.uses for change in bought}) == 1
    assert bought[0].uses
    rest = {path.partition(".")[2] for change in found if change not in bought for path in change.values}
    assert rest <= {
        "motor.turns",
        "eye.aside",
        "eye.outward",
        "whisker.outward",
        "whisker.length",
        "current_per_light",
        "eye.tape",
    }


def test_a_walker_that_the_drawer_cannot_help_is_told_so() -> None:
    empty = parse_drawer("photodrome: drawer 1\nname: empty\n", "empty.yaml")
    hungry = parse_design(
        "photodrome: design 1\nname: dim\nboth: { eye: { quiet_current: 200 uA } }\n", "dim.yaml"
    )
    [report, *_] = full_diagnosis(hungry, RANGE, drawer=empty).reports
    assert report.cure is None or report.cure.stays


def test_the_command_keeps_to_the_drawer(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(str(tmp_path))
    outcome = photodrome("bench", "nettle-twitches", "--light", "3klx", "--drawer", "potting-shed")
    assert outcome.code == 0
    assert "out of the drawer" in outcome.out
    assert "--drawer potting-shed --apply 1" in outcome.out
    written = photodrome(
        "bench",
        "nettle-twitches",
        "--light",
        "3klx",
        "--drawer",
        "potting-shed",
        "--apply",
        "1",
        "--out",
        "a.yaml",
    )
    assert written.code == 0
    assert not bench(read_design("./a.yaml"), [3e3])[0].faults
