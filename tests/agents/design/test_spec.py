"""Designs: what a file may say, how its faults are told, and the copies that its tolerances allow."""

import math
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from agents.design.spec import Design, Spread, Tolerance, read_design
from agents.errors import NotFoundError, SpecError
from agents.text.shipped import shipped_names

HEAD = "photodrome: design 1\nname: teasel\n"


def read(folder: Path, text: str) -> Design:
    path = folder / "teasel.yaml"
    path.write_text(HEAD + text, encoding="utf-8")
    return read_design(path)


def faults(folder: Path, text: str) -> list[tuple[int, int, str, str]]:
    """(line, column, key, nearest) of every fault; the file's own text begins on line 3."""
    with pytest.raises(SpecError) as caught:
        read(folder, text)
    return [(fault.line, fault.column, fault.key, fault.near) for fault in caught.value.faults]


def test_both_is_laid_under_left_and_right(tmp_path: Path) -> None:
    design = read(
        tmp_path,
        """
both:
  latch: 22k
  motor: {resistance: 16 ohm, friction: 30 uN m}
left:
  motor: {resistance: 18 ohm}
right:
  latch: 4k7
""",
    )
    assert (design.left.latch, design.right.latch) == (22e3, 4.7e3)
    assert (design.left.motor.resistance, design.right.motor.resistance) == (18.0, 16.0)
    assert design.left.motor.friction == design.right.motor.friction == 30e-6
    # what nobody says takes its default
    assert design.left.series == design.right.series == Design(name="teasel").left.series


def test_a_part_can_be_left_out(tmp_path: Path) -> None:
    design = read(tmp_path, "both: {feeler: none}\nright: {whisker: none}\n")
    assert design.left.feeler is None
    assert design.left.whisker is not None
    assert design.right.whisker is None


def test_faults_are_told_at_their_places(tmp_path: Path) -> None:
    text = """both:
  latch: 10
  eye: {tap: 5 %}
  motor:
    resistance: -8 ohm
storage:
  capacitance: 2200 uA
spread:
  both.lach: {normal: 5 %}
"""
    assert faults(tmp_path, text) == [
        (4, 10, "both.latch", ""),
        (5, 9, "both.eye.tap", "tape"),
        (7, 17, "both.motor.resistance", ""),
        (9, 16, "storage.capacitance", ""),
        (11, 3, "spread.both.lach", "both.latch"),
    ]


def test_a_fault_of_both_sides_is_told_once_where_it_was_written(tmp_path: Path) -> None:
    assert faults(tmp_path, "both: {latch: 5}\nleft: {series: 6}\n") == [
        (3, 15, "both.latch", ""),
        (4, 16, "left.series", ""),
    ]


@pytest.mark.parametrize(
    ("tolerance", "line", "key"),
    [
        ("both.latch: {}", 4, "spread.both.latch"),
        ("both.latch: {normal: 5 %, uniform: 5 %}", 4, "spread.both.latch"),
        ("both.latch: {uniform: 5 %, bound: 9 %}", 4, "spread.both.latch.bound"),
        ("both.latch: {normal: 5}", 4, "spread.both.latch.normal"),
        ("both.latch: {normal: 5 mV}", 4, "spread.both.latch.normal"),
        ("both.latch: {normal: -5 %}", 4, "spread.both.latch.normal"),
        ("both.latch: {normal: 5 %, bound: 0 %}", 4, "spread.both.latch.bound"),
        ("both.npn.gain: {normal: 90 %}", 4, "spread.both.npn.gain.normal"),  # three deviations pass nought
        ("both.motor: {normal: 5 %}", 4, "spread.both.motor"),
        ("both.motor.turns: {normal: 5 %}", 4, "spread.both.motor.turns"),
        ("name: {normal: 5 %}", 4, "spread.name"),
        ("body.pivot_inertia: {normal: 5 %}", 4, "spread.body.pivot_inertia"),  # there is none to stray from
    ],
)
def test_tolerances_that_cannot_be(tmp_path: Path, tolerance: str, line: int, key: str) -> None:
    [found] = faults(tmp_path, f"spread:\n  {tolerance}\n")
    assert found[0] == line
    assert found[2] == key


@pytest.mark.parametrize(
    ("text", "key", "expected"),
    [
        ("spread: {both.latch: 5 %}\n", "spread.both.latch", "a map like {normal: 5 %} or {uniform: 5 %}"),
        ("spread: {both.latch: [5 %]}\n", "spread.both.latch", "a map like {normal: 5 %} or {uniform: 5 %}"),
        ("spread: [both.latch]\n", "spread", "a map that holds under each key a map like {normal: 5 %}"),
        ("both: {feeler: nothing}\n", "both.feeler", "a resistance with its unit, like 33k or 33 kohm"),
        ("both: {whisker: nothing}\n", "both.whisker", "a map with the keys ahead, aside, length"),
    ],
)
def test_what_belongs_there_is_told(tmp_path: Path, text: str, key: str, expected: str) -> None:
    with pytest.raises(SpecError) as caught:
        read(tmp_path, text)
    [fault] = caught.value.faults
    assert fault.key == key
    assert fault.expected.startswith(expected)
    assert fault.expected.endswith("; or none") == text.startswith("both")


def test_a_wrong_key_of_a_tolerance_names_the_nearest(tmp_path: Path) -> None:
    text = "spread:\n  both.latch: {nromal: 5 %}\n"
    assert faults(tmp_path, text) == [(4, 16, "spread.both.latch.nromal", "normal")]


def test_a_wrong_path_of_a_tolerance_names_the_nearest(tmp_path: Path) -> None:
    text = (
        "spread:\n  latch: {normal: 5 %}\n  storage.capacity: {normal: 5 %}\n  left.eye.tap: {normal: 1 %}\n"
    )
    near = [fault[3] for fault in faults(tmp_path, text)]
    assert near == ["both.latch", "storage.capacitance", "left.eye.tape"]


def test_a_storage_that_is_over_at_once_is_refused(tmp_path: Path) -> None:
    text = "storage:\n  capacitance: 1 uF\nboth:\n  motor: {resistance: 8 ohm}\n"
    with pytest.raises(SpecError, match=r"teasel.yaml:4:16: storage.capacitance: got a storage that motor"):
        read(tmp_path, text)


def test_a_design_that_is_not_there_names_the_nearest() -> None:
    with pytest.raises(NotFoundError, match="sunflower"):
        read_design("sunflour")


@pytest.mark.parametrize("name", shipped_names("design"))
def test_shipped_designs_can_be_read_and_built(name: str) -> None:
    design = read_design(name)
    assert design.about != "-"
    copies = [design.built(5, number) for number in range(3)]
    assert all(Design.model_validate(dict(one)) == one for one in copies)


SPREAD = Design(
    name="teasel",
    spread={
        "both.latch": Tolerance(uniform="5 %"),
        "both.eye.dark_trigger": Tolerance(normal="30 mV"),
        "storage.capacitance": Tolerance(normal="10 %", bound="15 %"),
        "left.npn.gain": Tolerance(normal="20"),
    },
)


def drawn(path: str, count: int = 4000) -> np.ndarray:
    return np.array([SPREAD.drawn_parts(3, number)[path] for number in range(count)])


def test_even_spread() -> None:
    values = drawn("left.latch")
    assert stats.kstest(values, stats.uniform(9500.0, 1000.0).cdf).pvalue > 0.01
    assert values.min() >= 9500.0
    assert values.max() <= 10500.0


@pytest.mark.parametrize(
    ("path", "value", "width", "bound"),
    [
        ("right.eye.dark_trigger", 2.2, 0.030, 0.090),  # three deviations where no bound is given
        ("storage.capacitance", 2200e-6, 220e-6, 330e-6),
        ("left.npn.gain", 150.0, 20.0, 60.0),
    ],
)
def test_normal_spread_is_cut_off_at_its_bound(path: str, value: float, width: float, bound: float) -> None:
    values = drawn(path)
    cut = stats.truncnorm(-bound / width, bound / width, value, width)
    assert stats.kstest(values, cut.cdf).pvalue > 0.01
    assert abs(values - value).max() <= bound * (1.0 + 1e-12)


def test_sides_and_copies_draw_apart() -> None:
    parts = SPREAD.drawn_parts(3, 0)
    assert set(parts) == {
        "left.latch",
        "right.latch",
        "left.eye.dark_trigger",
        "right.eye.dark_trigger",
        "storage.capacitance",
        "left.npn.gain",
    }
    assert parts["left.latch"] != parts["right.latch"]
    correlation = stats.pearsonr(drawn("left.latch", 1000), drawn("right.latch", 1000)).statistic
    assert abs(correlation) < 4.0 / math.sqrt(1000)
    assert SPREAD.drawn_parts(3, 1) != parts
    assert SPREAD.drawn_parts(4, 0) != parts


def test_a_copy_is_the_same_at_every_building() -> None:
    assert SPREAD.built(3, 17) == SPREAD.built(3, 17)
    one = SPREAD.built(3, 17)
    assert one.left.latch == SPREAD.drawn_parts(3, 17)["left.latch"]
    assert one.left.series == SPREAD.left.series


def test_a_further_tolerance_changes_no_other_draw() -> None:
    more = Design(name="teasel", spread={**SPREAD.spread, "both.series": Tolerance(normal="1 %")})
    parts = more.drawn_parts(3, 17)
    assert {path: parts[path] for path in SPREAD.drawn_parts(3, 17)} == SPREAD.drawn_parts(3, 17)


@settings(deadline=None, derandomize=True)
@given(
    value=st.floats(-1e6, 1e6),
    width=st.floats(0.0, 1e3),
    ratio=st.floats(0.1, 5.0),
    chances=st.tuples(st.floats(1e-9, 1 - 1e-9), st.floats(1e-9, 1 - 1e-9)),
    is_normal=st.booleans(),
)
def test_draws_rise_with_chance_and_keep_the_bound(
    value: float, width: float, ratio: float, chances: tuple[float, float], is_normal: bool
) -> None:
    bound = ratio * width if is_normal else width
    spread = Spread("left.latch", value, width, bound, is_normal)
    low, high = (spread.draw(chance) for chance in sorted(chances))
    slack = 1e-6 * (abs(value) + bound)
    assert value - bound - slack <= low <= high + slack
    assert high <= value + bound + slack
    assert spread.draw(0.5) == pytest.approx(value, abs=slack + 1e-12)


def test_quantiles_of_a_wide_bound_are_those_of_the_normal() -> None:
    spread = Spread("left.latch", 100.0, 2.0, 16.0, True)
    for chance in (0.01, 0.3, 0.9):
        assert spread.draw(chance) == pytest.approx(NormalDist(100.0, 2.0).inv_cdf(chance), rel=1e-9)


def test_values_put_in_by_path() -> None:
    design = Design(name="teasel")
    changed = design.with_values({"both.latch": 4.7e3, "right.motor.turns": "backward", "left.whisker": None})
    assert changed.left.latch == changed.right.latch == 4.7e3
    assert changed.right.motor.turns == "backward"
    assert changed.left.motor.turns == "forward"
    assert changed.left.whisker is None
    assert design.left.latch == 10e3
    assert changed.value_at("right.motor.turns") == "backward"
    assert changed.value_at("left.whisker.length") is None
    with pytest.raises(KeyError):
        design.with_values({"both.lach": 1.0})


def test_spreads_are_about_the_values_put_in() -> None:
    assert SPREAD.drawn_parts(3, 0)["left.latch"] == pytest.approx(10e3, rel=0.05)
    changed = SPREAD.with_values({"both.latch": 4.7e3})
    assert changed.drawn_parts(3, 0)["left.latch"] == pytest.approx(4.7e3, rel=0.05)
    share = SPREAD.drawn_parts(3, 0)["left.latch"] / 10e3
    assert changed.built(3, 0).left.latch == pytest.approx(share * 4.7e3, rel=1e-12)


def test_discharge_rate_is_that_of_the_faster_side() -> None:
    """At least 1 / (R C), and the slope of the base current on top, by differences of the falling gain."""
    design = Design(name="teasel").with_values({"left.motor.resistance": 8.0})
    capacitance = design.storage.capacitance
    assert design.discharge_rate > 1.0 / (8.0 * capacitance)
    pnp = design.left.pnp

    def base_current(rail: float) -> float:
        ideal = pnp.gain * rail / design.left.latch
        return 0.5 * pnp.knee_current * (math.sqrt(1.0 + 4.0 * ideal / pnp.knee_current) - 1.0)

    slope = (base_current(6.001) - base_current(5.999)) / 0.002
    assert design.discharge_rate == pytest.approx((1.0 / 8.0 + slope) / capacitance, rel=1e-4)
