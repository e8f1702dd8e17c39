"""The bench in the light of places, by their names, and of kinds by former names."""

import math

import pytest

from agents.design.spec import read_design
from agents.errors import OptionError
from agents.testbench.bench_figures import bench
from agents.testbench.diagnosis import diagnose
from tests.helpers.commands import photodrome


def test_the_bench_measures_in_the_light_of_a_place() -> None:
    told = photodrome("bench", "poppy", "--place", "sunny floor", "--no-cures", "--json").json()
    (point,) = told["points"]
    assert told["places"] == ["sunny floor"]
    assert (point["light_lx"], point["light_kind"]) == (50e3, "sun")
    same = bench(read_design("poppy"), [50e3], "daylight")[0].as_dict()
    assert point["charge_s"] == same["charge_s"]
    shown = photodrome("bench", "poppy", "--place", "sunny-floor", "--no-cures")
    assert "sunny floor: 50 klx, kind sun (from memory" in shown.out


def test_places_of_several_kinds_have_a_sheet_for_each() -> None:
    where = ("--place", "desk", "--place", "window sill", "--place", "overcast-yard", "--light", "3klx")
    told = photodrome("bench", "primrose", *where, "--json").json()
    found = {
        one["light_kind"]: ([point["light_lx"] for point in one["points"]], one["places"])
        for one in told["by_kind"]
    }
    assert found == {
        "sun": ([3e3], []),
        "white-led": ([500.0], ["desk"]),
        "overcast": ([2e3, 10e3], ["window sill", "overcast yard"]),
    }
    assert told["panel"]["light_exponent"] < 0.6
    shown = photodrome("bench", "primrose", *where)
    assert "desk: 500 lx, kind white-led (EN 12464-1" in shown.out
    assert shown.out.count("panel from 2 readings") == 1
    refused = photodrome("bench", "primrose", *where, "--apply", "1", "--out", "better.yaml")
    assert refused.code == 2
    assert "--apply beside several kinds of light (sun, white-led, overcast)" in refused.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--place", "cellar"), "'cellar'; the places are corridor, living room"),
        (("--place", "dsek"), "nearest: desk"),
        (("--place", "desk", "--place", "desk"), "given twice"),
        (("--light=-5lx",), "got '-5lx'"),
        (("--light", "2Mlx"), "0 lx to 1 Mlx"),
        (("--light", "nanlx"), "got 'nanlx'"),
        (("--kind", "moonlight"), "sun, overcast, incandescent, warm-led"),
    ],
)
def test_a_place_or_a_light_that_is_none_is_refused(arguments: tuple[str, ...], words: str) -> None:
    outcome = photodrome("bench", "poppy", *arguments)
    assert outcome.code == 2
    assert words in outcome.err


def test_lights_that_cannot_be_are_refused_from_python_too() -> None:
    poppy = read_design("poppy")
    for light in (-1.0, 2e6, math.nan, math.inf):
        with pytest.raises(OptionError, match="0 lx to 1 Mlx"):
            bench(poppy, [light])
    with pytest.raises(OptionError, match="the dimmer one first"):
        diagnose(poppy, (3e3, 300.0))
    with pytest.raises(OptionError, match="within 0 lx to 1 Mlx"):
        diagnose(poppy, (-3.0, 300.0))
