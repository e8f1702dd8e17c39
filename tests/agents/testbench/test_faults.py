"""The faults by name, their lights and cures, against references that do not come from the program."""

import json
import math
import re

import eseries
import numpy as np
import pytest
import scipy.optimize
import scipy.stats
from shapely.geometry import Point, Polygon

from agents.design.as_built import build
from agents.design.spec import Design, read_design
from agents.errors import OptionError
from agents.testbench.bench_figures import bench, bench_point, bench_record
from agents.testbench.diagnosis import FaultReport, diagnose
from agents.testbench.faults import FAULTS, bearings_won, chance_heard, whisker_lead
from agents.testbench.light_scan import EDGE, scan_lights
from agents.testbench.possible_changes import changes
from agents.text.quantities import Quantity
from agents.text.readers import Reader
from agents.text.shapes import shape_at
from agents.text.shipped import shipped_names

# A panel that light does not warm, so that figures can be written out by hand.
COOL = {"panel.heat_loss": 1e6}
DEFAULT = Design(name="test").with_values(COOL)
HEALTHY = ("broad-bean", "cress", "lentil", "mustard", "poppy", "sunflower")
# Lights within which a walker is meant to work.
WORKING = (1e3, 20e3)

# One design for every fault, as (fault, light, changed parts).
FAULTY = [
    ("dim", 100.0, {}),
    ("blind", 80e3, {}),
    ("twitch", 3e3, {"both.motor.resistance": 8.0, "both.latch": 82e3}),
    ("locked", 10e3, {"panel.current_per_light": 4e-6}),
    ("spin", 3e3, {"storage.capacitance": 4700e-6}),
    ("lame", 3e3, {"storage.capacitance": 100e-6}),
    ("hangs", 3e3, {"both.latch": 47e3, "both.feeler": 10e3}),
    ("dull", 3e3, {"both.eye.slope": 0.02}),
    ("strays", 3e3, {"left.eye.dark_trigger": 2.44}),
    (
        *("strays", 3e3),
        {"storage.capacitance": 3000e-6, "left.motor.resistance": 60.0, "left.eye.dark_trigger": 2.27},
    ),
    ("lopsided", 3e3, {"left.eye.dark_trigger": 3.4}),
    ("lopsided", 3e3, {"left.motor.resistance": 100.0}),
    ("narrow eyes", 3e3, {"right.eye.aside": 0.015}),
    ("deaf feelers", 3e3, {"both.feeler": 2.2e6}),
    ("deaf feelers", 3e3, {"left.feeler": None}),
    ("deaf feelers", 3e3, {"right.whisker": None}),
    ("reversed", 3e3, {"left.motor.turns": "backward"}),
]


def changed(values: dict[str, object]) -> Design:
    return DEFAULT.with_values(values)


def reports_of(design: Design, name: str, lights: tuple[float, float] = WORKING) -> list[FaultReport]:
    return [report for report in diagnose(design, lights) if report.name == name]


@pytest.mark.parametrize(("fault", "light", "values"), FAULTY)
def test_each_fault_is_found_and_the_default_has_none(
    fault: str, light: float, values: dict[str, object]
) -> None:
    assert fault in bench_point(changed(values), light).faults
    assert bench_point(DEFAULT, 3e3).faults == ()


def test_every_name_of_a_fault_is_covered() -> None:
    assert {fault for fault, _, _ in FAULTY} == set(FAULTS)


def waiting_balance(light: float, weight: float = 1.0) -> float:
    """Current [A] into the default storage at its trigger, written out from the single-diode equation.

    ``weight`` is the panel current a lux over that of daylight.
    """
    on = 2.2 + 0.7 * math.log10(1.0 + light / 150.0)
    trigger = on + 4e-6 * (47e3 + 28.0)

    def panel(current: float) -> float:
        junction = trigger + 10.0 * current
        diode = 0.59e-12 * math.expm1(junction / 0.19)
        return weight * 40e-9 * light - diode - junction / 10e6 - current

    current = scipy.optimize.brentq(panel, -0.05, 0.05)
    return float(current - 2 * 4e-6 - trigger / 1e6)


def test_dim_and_blind_begin_where_the_currents_balance() -> None:
    dim_edge = scipy.optimize.brentq(waiting_balance, 100.0, 1e3)
    blind_edge = scipy.optimize.brentq(waiting_balance, 20e3, 100e3)
    (dim,) = reports_of(DEFAULT, "dim", (10.0, 100e3))
    (blind,) = reports_of(DEFAULT, "blind", (10.0, 100e3))
    assert dim.lights[0] == 10.0
    assert dim_edge / EDGE <= dim.lights[1] <= dim_edge
    assert blind_edge <= blind.lights[0] <= blind_edge * EDGE
    assert blind.lights[1] == 100e3


def test_dim_depends_on_the_kind_of_lamp() -> None:
    """White LEDs give a silicon panel 0.38 of the current a lux of daylight."""
    edge = scipy.optimize.brentq(waiting_balance, 100.0, 5e3, args=(0.38,))
    (report,) = [one for one in diagnose(DEFAULT, (50.0, 5e3), "white-led") if one.name == "dim"]
    assert edge / EDGE <= report.lights[1] <= edge


def test_a_panel_of_too_few_cells_is_dim_until_light_on_the_eyes_is_to_blame() -> None:
    few = changed({"panel.junction_voltage": 0.13})
    assert bench_point(few, 500.0).faults == ("dim",)
    assert bench_point(few, 10e3).faults == ("blind",)
    # with the eyes in the dark this panel would fire them
    assert bench_point(few.with_values({"both.eye.tape": 1e-3}), 10e3).measured.fires


def lead_of_bearings(values: dict[str, object], light: float) -> tuple[float, float]:
    """Least and greatest of left trigger minus right trigger over a fine sweep of a lamp's bearings."""
    design = changed(values)
    azimuth, elevation = np.meshgrid(np.radians(np.arange(0.0, 360.0, 0.5)), np.radians([20.0, 32.0, 45.0]))
    triggers = []
    for side, outward in ((design.left, 1.0), (design.right, -1.0)):
        eye = side.eye
        # spherical law of cosines, instead of the dot product of vectors
        facing = np.sin(elevation) * math.sin(eye.up) + np.cos(elevation) * math.cos(eye.up) * np.cos(
            azimuth - outward * eye.outward
        )
        power = math.log(0.5) / math.log(math.cos(eye.half_angle))
        seen = eye.tape * light * np.clip(facing, 0.0, None) ** power
        triggers.append(eye.dark_trigger + eye.slope * np.log10(1.0 + seen / eye.knee_light))
    lead = triggers[0] - triggers[1]
    return float(lead.min()), float(lead.max())


@pytest.mark.parametrize("light", [300.0, 3e3, 20e3])
def test_lopsided_begins_where_no_bearing_makes_up_for_the_mismatch(light: float) -> None:
    least, greatest = lead_of_bearings({}, light)
    assert least == pytest.approx(-greatest, abs=1e-9)
    for share, lopsided in ((0.97, False), (1.03, True)):
        values: dict[str, object] = {"left.eye.dark_trigger": 2.2 + share * greatest}
        walker = build(changed(values))[0]
        left, right = bearings_won(walker, light)
        assert right > 0
        assert (left == 0) == lopsided
    # turned straight ahead and side by side, the eyes see nothing apart, and any mismatch decides
    blinkered: dict[str, object] = {"both.eye.outward": 0.0, "left.eye.dark_trigger": 2.21}
    assert bearings_won(build(changed(blinkered))[0], light)[0] == 0
    assert "lopsided" in bench_point(changed(blinkered), light).faults


@pytest.mark.parametrize("feeler", [33e3, 330e3, 1e6])
def test_the_chance_of_being_heard_against_many_draws(feeler: float) -> None:
    """Both triggers drawn anew a hundred thousand times."""
    walker = build(
        changed({"both.feeler": feeler, "right.eye.dark_trigger": 2.195, "left.eye.jitter": 0.02})
    )[0]
    draw = np.random.default_rng(7)
    feed = 47e3 + 28.0
    touched = 2.2 + 4e-6 * feed * feeler / (feed + feeler) + draw.normal(0.0, 0.02, 100_000)
    other = 2.195 + 4e-6 * feed + draw.normal(0.0, 0.01, 100_000)
    share = float(np.mean(touched < other))
    interval = scipy.stats.binomtest(round(share * 100_000), 100_000).proportion_ci(0.9999)
    # in the dark the light takes no part
    assert interval.low <= chance_heard(walker, 0, 0.0) <= interval.high


@pytest.mark.parametrize(
    ("values", "ahead"),
    [
        ({}, True),
        ({"both.whisker.length": 0.005}, False),
        ({"both.whisker.ahead": -0.02, "both.whisker.length": 0.02}, False),
        ({"both.whisker.outward": math.pi, "both.whisker.length": 0.03}, False),
        ({"body.outline": ((0.06, -0.05), (0.06, 0.05), (-0.03, 0.05), (-0.03, -0.05))}, False),
        ({"body.outline": ((0.05, 0.0), (-0.03, 0.03), (-0.03, -0.03))}, True),
    ],
)
def test_the_whisker_against_walls_drawn_with_shapely(values: dict[str, object], ahead: bool) -> None:
    """A wall square to each way ahead is pushed at the walker until it meets the body or bends the tip."""
    design = changed(values)
    walker = build(design)[0]
    shape = (
        Polygon(design.body.outline)
        if design.body.outline
        else Point(design.body.ahead, 0.0).buffer(0.026, quad_segs=256)
    )
    whisker = design.left.whisker
    assert whisker is not None
    tip = Point(
        whisker.ahead + whisker.length * math.cos(whisker.outward),
        whisker.aside + whisker.length * math.sin(whisker.outward),
    )
    best = -math.inf
    for degrees in range(-90, 91, 3):
        way = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
        along = np.array([-way[1], way[0]])
        middle = way * 1.0
        wall = Polygon([middle - along, middle + along, middle + along + way, middle - along + way])
        best = max(best, shape.distance(wall) - tip.distance(wall) - whisker.closing_bend)
    assert whisker_lead(walker, 0) == pytest.approx(best, abs=2e-6)
    assert whisker_lead(walker, 1) == pytest.approx(whisker_lead(walker, 0), abs=1e-12)
    assert (best > 0.0) == ahead
    assert ("deaf feelers" in bench_point(design, 3e3).faults) != ahead


@pytest.mark.parametrize(("fault", "light", "values"), FAULTY)
def test_a_cause_gives_figures_and_a_cure_cures(fault: str, light: float, values: dict[str, object]) -> None:
    design = changed(values)
    lights = (light / 1.5, light * 1.2)
    reports = reports_of(design, fault, lights)
    assert reports
    for report in reports:
        if fault != "reversed" and values not in ({"left.feeler": None}, {"right.whisker": None}):
            assert re.search(r"\d (mV|V|uA|mA|A|mm|m|deg|klx|lx|s|ms|us|um|%)\b", report.cause)
        json.dumps(report.as_dict(), allow_nan=False)
        if fault in {"dim", "dull"}:
            continue
        assert report.cure is not None, fault
        cured = design.with_values(report.cure.values)
        for point in bench(cured, report.cure.lights):
            assert fault not in point.faults
            before = bench_point(design, point.measured.light).faults
            assert set(point.faults) <= set(before)


def test_a_flash_that_does_not_turn_on_the_latch_is_said_to_be_lame_for_that() -> None:
    """In dim light under dark tape the flash steps down by too little; no pulse, so no length of one."""
    taped = changed({"both.eye.tape": 0.2})
    point = bench_point(taped, 300.0)
    assert point.faults == ("twitch", "lame")
    assert not point.measured.left.ignites
    (report,) = reports_of(taped, "lame", (300.0, 300.0))
    assert "too small to turn on the PNP" in report.cause
    assert "nothing moves" in report.cause
    assert not re.search(r"\b0 (s|m)\b", report.cause)


def test_the_figures_of_a_dim_cause() -> None:
    """40 nA/lx times 100 lx, against twice 4 uA and 2.5 uA of leak."""
    (report,) = reports_of(DEFAULT, "dim", (100.0, 100.0))
    assert "gives 4 uA" in report.cause
    assert "take 10.5 uA" in report.cause


def test_what_builders_do_comes_out_of_the_search() -> None:
    """The usual cures (common practice, no source), though none of them is written down anywhere."""
    (spin,) = reports_of(changed({"storage.capacitance": 4700e-6}), "spin")
    assert spin.cure is not None
    assert spin.cure.values == {"storage.capacitance": 2200e-6}
    hungry = changed({"both.motor.resistance": 8.0, "both.latch": 82e3})
    (twitch,) = reports_of(hungry, "twitch")
    assert twitch.cure is not None
    assert set(twitch.cure.values) == {"both.latch"}
    assert twitch.cure.values["both.latch"] < 82e3
    (blind,) = reports_of(DEFAULT, "blind", (30e3, 100e3))
    assert blind.cure is not None
    assert set(blind.cure.values) == {"both.eye.tape"}


def test_a_cure_is_the_nearest_of_its_kind() -> None:
    """Every E12 value between the part and its cure fails on the bench."""
    hungry = changed({"both.motor.resistance": 8.0, "both.latch": 82e3})
    (report,) = reports_of(hungry, "twitch")
    assert report.cure is not None
    found = report.cure.values["both.latch"]
    between = [
        value for value in eseries.erange(eseries.E12, found, 82e3) if found * 1.01 < value < 82e3 * 0.99
    ]
    assert between
    for value in between:
        points = bench(hungry.with_values({"both.latch": value}), scan_lights(WORKING))
        # one that holds a free pulse may yet fail a pressed one, or turn too far
        fails = any(point.faults for point in points)
        weak = any((side.let_go or 0.0) > 1.0 for point in points for side in point.measured.sides)
        assert fails or weak


def test_no_cure_is_said_to_be_none() -> None:
    """Nothing on the list makes this walker walk in moonlight."""
    (report,) = reports_of(DEFAULT, "dim", (0.1, 1.0))
    assert report.cure is None
    assert report.as_dict()["cure"] is None


def test_a_cure_that_costs_something_elsewhere_says_so() -> None:
    """With tape its eyes fire in the sun too, and there it twitches as it does everywhere."""
    nettle = read_design("nettle-twitches")
    (report,) = reports_of(nettle, "blind", (100.0, 100e3))
    assert report.cure is not None
    cured = nettle.with_values(report.cure.values)
    new = [
        (light, fault)
        for light in np.geomspace(100.0, 100e3, 60)
        for fault in set(bench_point(cured, light).faults) - set(bench_point(nettle, light).faults)
    ]
    assert new
    for light, fault in new:
        told = [one.lights for one in report.cure.brings if one.name == fault]
        assert any(start / EDGE <= light <= end * EDGE for start, end in told)


def test_changes_are_standard_values_that_a_design_may_have() -> None:
    uneven = changed({"left.motor.resistance": 8.0, "left.whisker": None, "right.motor.turns": "backward"})
    seen: set[str] = set()
    for design in (DEFAULT, uneven):
        for change in changes(design):
            seen.update(path.rpartition(".")[2] for path in change.values)
            assert change.text
            for path, value in change.values.items():
                keys = tuple(path.replace("both.", "left.").split("."))
                shape = shape_at(Design, keys)
                assert shape is not None
                if isinstance(shape.reader, Reader):
                    assert (shape.reader.read if isinstance(value, str) else shape.reader.check)(
                        value
                    ) == value
                if isinstance(shape.reader, Quantity) and keys[-1] in ("latch", "feeler", "series"):
                    assert value == pytest.approx(eseries.find_nearest(eseries.E12, value), rel=1e-9)
                if keys[-1] in ("coupling", "capacitance"):
                    assert value == pytest.approx(eseries.find_nearest(eseries.E6, value), rel=1e-9)
            assert change.applied(design) != design
    assert seen >= {
        "tape",
        "latch",
        "series",
        "feeler",
        "coupling",
        "capacitance",
        "resistance",
        "turns",
        "aside",
    }


def test_the_edges_of_a_range() -> None:
    big = changed({"panel.current_per_light": 2e-6})
    (report,) = reports_of(big, "locked", (8e3, 12e3))
    start, end = report.lights
    assert end == 12e3
    walker = build(big)[0]
    assert "locked" in bench_record(walker, start).faults
    assert "locked" not in bench_record(walker, start / 1.02).faults


def test_darkness_is_a_light_too() -> None:
    (alone,) = diagnose(DEFAULT, (0.0, 0.0))
    assert (alone.name, alone.lights, alone.cure) == ("dim", (0.0, 0.0), None)
    assert "at 0 lx the panel gives 0 A" in alone.cause
    edge = scipy.optimize.brentq(waiting_balance, 100.0, 1e3)
    (dim,) = reports_of(DEFAULT, "dim", (0.0, 3e3))
    assert dim.lights[0] == 0.0
    assert edge / EDGE <= dim.lights[1] <= edge
    # a panel that is hard to please, and eyes that are not: the edge lies below all that is scanned
    (dim,) = reports_of(changed({"panel.current_per_light": 1e-4}), "dim", (0.0, 3e3))
    assert 0.0 <= dim.lights[0] <= dim.lights[1] < 1.0


@pytest.mark.parametrize("lights", [(-1.0, 1e3), (2e3, 1e3), (1e3, 1e9), (math.nan, 1e3)])
def test_a_range_that_cannot_be_is_refused(lights: tuple[float, float]) -> None:
    with pytest.raises(OptionError, match=r"expected (a range|the dimmer one first)"):
        diagnose(DEFAULT, lights)


def test_the_shipped_designs() -> None:
    assert set(shipped_names("design")) >= {*HEALTHY, "thistle-spins", "nettle-twitches"}
    for name in HEALTHY:
        assert diagnose(read_design(name), WORKING) == []
        for point in bench(read_design(name), (3e3, 10e3)):
            turn = point.as_dict()["turn_deg"]
            assert 38.0 < turn < 92.0
    for name, fault in (("thistle-spins", "spin"), ("nettle-twitches", "twitch")):
        design = read_design(name)
        assert design.about.startswith("faulty on purpose")
        (report,) = reports_of(design, fault)
        assert report.lights == WORKING


@pytest.mark.parametrize("name", ["thistle-spins", "nettle-twitches"])
def test_blindness_is_cured_whatever_else_is_weak(name: str) -> None:
    """Tape against the brightest light (common practice, no source); what else is weak may stay so."""
    design = read_design(name).with_values(COOL)
    (report,) = reports_of(design, "blind", (300.0, 100e3))
    assert report.cure is not None
    assert set(report.cure.values) == {"both.eye.tape"}
    assert report.cure.lights == report.lights
    cured = design.with_values(report.cure.values)
    lights = np.geomspace(300.0, report.lights[0] / EDGE, 12)
    weak = {fault for point in bench(design, lights) for fault in point.faults}
    assert "blind" not in weak
    for point in bench(cured, [*lights, *np.geomspace(*report.lights, 6)]):
        assert point.measured.fires
        assert set(point.faults) <= weak


def test_where_one_change_leaves_a_weakness_a_second_one_mends_it() -> None:
    """The larger storage spins where it is bright, and where the other change lets it fire it would too."""
    large = changed({"storage.capacitance": 3300e-6})
    (report,) = reports_of(large, "blind", (300.0, 100e3))
    assert report.cure is not None
    assert "storage.capacitance" in report.cure.values
    assert (report.cure.brings, report.cure.leaves) == ((), ())
    both = large.with_values(report.cure.values)
    assert {point.faults for point in bench(both, np.geomspace(300.0, 100e3, 40))} == {()}
    alone = {path: one for path, one in report.cure.values.items() if path != "storage.capacitance"}
    assert bench_point(large.with_values(alone), 100e3).faults == ("spin",)


@pytest.mark.parametrize("name", ["poppy", "lentil"])
def test_what_a_design_does_just_below_blindness_is_told(name: str) -> None:
    """Against all lights of a fine scale, one by one."""
    design = read_design(name).with_values(COOL)
    lights = np.geomspace(20e3, 100e3, 300)
    spinning = [light for light in lights if "spin" in bench_point(design, light).faults]
    (report,) = reports_of(design, "spin", (20e3, 100e3))
    assert report.lights == pytest.approx((spinning[0], spinning[-1]), rel=EDGE - 1.0)
    (blind,) = reports_of(design, "blind", (20e3, 100e3))
    assert 1.0 < blind.lights[0] / report.lights[1] <= EDGE


def test_a_change_of_both_sides_reads_both() -> None:
    """Nearest to two values is what lies nearest to their geometric mean."""
    uneven = {"latch": (1e3, 10e3, 3.3e3), "coupling": (1e-6, 10e-6, 3.3e-6), "eye.tape": (0.5, 0.1, 0.2)}
    for key, (left, right, nearest) in uneven.items():
        design = changed({f"left.{key}": left, f"right.{key}": right})
        first = next(change for change in changes(design) if set(change.values) == {f"both.{key}"})
        assert first.values == {f"both.{key}": pytest.approx(nearest)}
        if key != "eye.tape":
            assert re.search(r"3(k|\.)3.* in place of 1(k| uF) and 10(k| uF) on both sides", first.text)
    lacking = changed({"left.feeler": None, "right.feeler": 47e3})
    texts = [change.text for change in changes(lacking) if set(change.values) == {"both.feeler"}]
    assert "a feeler resistor of 39k in place of none and 47k on both sides" in texts
    assert not any(re.search(r"of (\S+) in place of \1 on", text) for text in texts)


def test_unlike_tapes_may_both_be_made_darker() -> None:
    further = {
        change.text: change.values
        for change in changes(changed({"left.eye.tape": 0.8}))
        if change.text.startswith("further tape")
    }
    assert further["further tape that lets 50 % through over both eyes"] == {
        "left.eye.tape": pytest.approx(0.4),
        "right.eye.tape": 0.5,
    }
    assert not any("further" in change.text for change in changes(changed({"both.eye.tape": 0.8})))
    assert not any("further" in change.text for change in changes(changed({"left.eye.tape": 1e-4})))
    # its tape evens out a pair of unlike eyes, so more of it must keep the ratio
    (blind,) = reports_of(read_design("cress"), "blind", (20e3, 100e3))
    assert blind.cure is not None
    assert blind.cure.values["right.eye.tape"] == pytest.approx(0.82 * blind.cure.values["left.eye.tape"])


@pytest.mark.parametrize("name", HEALTHY)
def test_built_copies_of_the_healthy_designs_walk(name: str) -> None:
    """Parts out of their tolerances spoil a copy now and then, as on the bench, but not most of them."""
    design = read_design(name)
    assert len(design.spreads) >= 9
    well = sum(bench_point(design.built(5, number), 5e3).faults == () for number in range(40))
    assert well >= 34
