"""Plans whose values are narrowed down to a drawer."""

import pytest

from agents.drawer.contents import parse_drawer, read_drawer
from agents.errors import OptionError
from arena.studies.plans.drawer_values import within_drawer
from arena.studies.plans.study import Study, parse_study

PLAN = """\
photodrome: study 1
name: mine
arenas: [open-bench]
designs: [poppy]
vary:
  design.both.latch: E12 1k..100k        # a remark
  design.storage.capacitance: 1 mF..10 mF in 4 by ratio
  design.both.eye.tape: 30 %, 40 %, 100 %
  design.both.eye.aside: 20 mm, 30 mm
repeats: 10
"""


def levels(study: Study) -> dict[str, list[object]]:
    return {
        one.label(): list(getattr(values, "values", ()))
        for one, values in zip(study.parameters, study.ranges, strict=True)
    }


def test_what_is_there_stays_and_other_values_are_left_alone() -> None:
    study = within_drawer(
        parse_study(PLAN.replace("1 mF..10 mF in 4 by ratio", "E6 470 uF..10 mF")),
        read_drawer("potting-shed"),
    )
    assert levels(study) == {
        "both.latch": [1e3, 2.2e3, 4.7e3, 10e3, 22e3, 33e3, 47e3, 100e3],
        "storage.capacitance": [1e-3, 2.2e-3, 4.7e-3],
        "both.eye.tape": [0.3, 1.0],
        "both.eye.aside": [0.02, 0.03],
    }
    assert "# a remark" in study.text
    assert study.settings == 8 * 3 * 2 * 2


def test_of_a_range_all_that_lie_in_it() -> None:
    text = PLAN.replace("1 mF..10 mF in 4 by ratio", "1 mF..10 mF by ratio").replace(
        "repeats: 10", "repeats: 10\nsampling: random\nsettings: 16"
    )
    study = within_drawer(parse_study(text), read_drawer("potting-shed"))
    assert levels(study)["storage.capacitance"] == [1e-3, 2.2e-3, 4.7e-3]


@pytest.mark.parametrize(
    ("parts", "part"),
    [
        ("resistors:\n  - { code: 220k, count: 4 }\n", "none of which the plan asks for"),
        ("resistors:\n  - { code: 22k, count: 1 }\n", "2 of one sort are needed"),
        ("motors:\n  - { count: 2 }\n", "lists none under resistors"),
    ],
)
def test_a_parameter_left_without_a_value_is_told(parts: str, part: str) -> None:
    drawer = parse_drawer(f"photodrome: drawer 1\nname: poor\n{parts}", "poor.yaml")
    with pytest.raises(OptionError, match=part):
        within_drawer(parse_study(PLAN), drawer)


def test_plans_that_a_drawer_cannot_narrow() -> None:
    drawer = read_drawer("potting-shed")
    only = "\n".join(
        line
        for line in PLAN.splitlines()
        if "latch" not in line and "storage" not in line and "tape" not in line
    )
    with pytest.raises(OptionError, match="varies nothing that a drawer holds"):
        within_drawer(parse_study(only + "\n"), drawer)
    listed = PLAN.replace("E12 1k..100k", "[1k, 10k]").replace(
        "1 mF..10 mF in 4 by ratio", "E6 470 uF..10 mF"
    )
    with pytest.raises(OptionError, match="on one line each, not as lists"):
        within_drawer(parse_study(listed), drawer)
