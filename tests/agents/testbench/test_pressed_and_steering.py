"""Pulses with the whisker pressed, steering by a lamp, and the faults that come of both."""

import math
import re
from pathlib import Path

import numpy as np
import pytest

from agents.circuit.panel import panel_under
from agents.circuit.records import STATE
from agents.design.as_built import build
from agents.design.spec import Design, parse_design, read_design
from agents.errors import NotFoundError, SpecError
from agents.handbook.light_kinds import kind_index
from agents.testbench.bench_figures import bench, bench_point, bench_record
from agents.testbench.eye_tables import table_notes
from agents.testbench.fault_causes import fault_cause
from agents.testbench.faults import HANG_RATE, STRAIGHT
from agents.testbench.measuring import MEASURED, are_twins, measure_walker
from agents.text.shipped import shipped_names
from tests.helpers.commands import photodrome
from tests.helpers.reference_circuit import reference_pulse

DEFAULT = Design(name="test")
LATCH = {"both.latch": 47e3}


def changed(values: dict[str, object]) -> Design:
    return DEFAULT.with_values(values)


def table_text(*rows: str) -> str:
    """A design whose eyes have a table, each row of it like 3 klx 2.4 V."""
    text = "photodrome: design 1\nname: own\nboth:\n  eye:\n    table:\n"
    for light, unit, volts, _ in map(str.split, rows):
        text += f"      - {{light: {light} {unit}, trigger: {volts} V}}\n"
    return text


def with_table(*rows: str) -> Design:
    return parse_design(table_text(*rows), "own.yaml")


def cause_of(fault: str, design: Design, light: float = 3e3) -> str:
    walker = build(design)[0]
    point = bench_record(walker, light)
    assert fault in point.faults
    return fault_cause(fault, walker, point.measured)


@pytest.mark.parametrize(("feeler", "hangs"), [(10e3, True), (15e3, True), (22e3, False), (33e3, False)])
def test_who_hangs_does_so_by_the_full_node_equations(feeler: float, hangs: bool) -> None:
    """A pulse of either length by the stiff solver: where it hangs the latch lets go at once."""
    design = changed({**LATCH, "both.feeler": feeler})
    walker = build(design)[0]
    point = bench_record(walker, 3e3)
    pressed = point.first.pressed
    assert pressed is not None
    assert ("hangs" in point.faults) == hangs
    expected = reference_pulse(
        design, pressed.trigger, 120e-6, touched=True, pivot_mass=float(walker["pivot_mass"])
    )
    assert (expected.let_go / pressed.trigger > 0.85) == hangs
    assert pressed.let_go == pytest.approx(expected.let_go, rel=0.06)
    assert (expected.length < 0.02) == hangs
    if not hangs:
        assert pressed.pulse == pytest.approx(expected.length, rel=0.06)


def test_hanging_is_told_where_pressed_pulses_turn_it_a_third_as_fast() -> None:
    seen = set()
    for latch in (33e3, 47e3, 68e3, 100e3, 150e3):
        for feeler in (10e3, 18e3, 27e3, 39e3, 47e3):
            point = bench_point(changed({"both.latch": latch, "both.feeler": feeler}), 3e3)
            free, pressed = point.first, point.first.pressed
            assert pressed is not None
            assert free.turn is not None
            assert pressed.turn is not None
            assert free.between is not None
            assert pressed.between is not None
            slow = pressed.turn / pressed.between < HANG_RATE * free.turn / free.between
            assert ("hangs" in point.faults) == slow
            seen.add(slow)
    assert seen == {True, False}
    # who has no pulse, or none that lasts, is told that and not this
    assert "hangs" not in bench_point(DEFAULT, 50.0).faults
    assert "hangs" not in bench_point(changed({"both.motor.resistance": 8.0, "both.latch": 82e3}), 3e3).faults
    assert bench_point(changed({"both.whisker": None}), 3e3).first.pressed is None


def test_either_side_may_hang_and_the_cause_says_which() -> None:
    for name in ("left", "right"):
        cause = cause_of("hangs", changed({f"{name}.latch": 47e3, f"{name}.feeler": 10e3}))
        assert re.match(
            rf"with its whisker pressed a {name} pulse turns it by 0\.\d+ deg, free by [45]\d deg: ", cause
        )
        assert "the feeler resistor of 10k" in cause
        assert "through 47k" in cause


def test_twin_sides_are_measured_once_and_to_the_same_bits() -> None:
    state = np.zeros(1, STATE)[0]
    once, twice = np.zeros(1, MEASURED)[0], np.zeros(1, MEASURED)[0]
    for name in shipped_names("design"):
        walker = build(read_design(name))[0]
        assert are_twins(walker) == (name != "cress")
        for light in (50.0, 3e3, 90e3):
            lit = panel_under(walker, light, kind_index("sun"))
            measure_walker(walker, light, lit, are_twins(walker), state, once)
            measure_walker(walker, light, lit, False, state, twice)
            assert once.tobytes() == twice.tobytes()
    for path, value in (("left.npn.gain", 151.0), ("right.eye.outward", 0.7), ("left.whisker", None)):
        assert not are_twins(build(changed({path: value}))[0])


def swing_by_hand(tape: float, slope: float, light: float) -> float:
    """Half of what the left trigger less the right one changes as a lamp goes round the front [V]."""
    exponent = math.log(0.5) / math.log(math.cos(math.radians(50.0)))
    azimuth, elevation, up = np.radians(np.arange(-90.0, 91.0, 5.0)), math.radians(32.0), math.radians(20.0)
    volts = []
    for outward in (math.radians(40.0), -math.radians(40.0)):
        # spherical law of cosines
        facing = math.sin(elevation) * math.sin(up) + math.cos(elevation) * math.cos(up) * np.cos(
            azimuth - outward
        )
        seen = tape * (light / 3.0 + 2.0 * light / 3.0 * np.clip(facing, 0.0, None) ** exponent)
        volts.append(slope * np.log10(1.0 + seen / 150.0))
    lead = volts[0] - volts[1]
    return float(lead.max() - lead.min()) / 2.0


def test_the_hold_of_a_lamp_and_the_eyes_that_it_does_not_move() -> None:
    for tape, slope, light in ((1.0, 0.7, 300.0), (0.3, 0.7, 3e3), (1.0, 0.04, 3e3), (1.0, 0.02, 3e3)):
        hold = swing_by_hand(tape, slope, light)
        values = {"both.eye.tape": tape, "both.eye.slope": slope, "both.eye.dark_trigger": 2.5}
        point = bench_point(changed(values), light)
        assert point.measured.hold == pytest.approx(hold, rel=1e-9)
        assert ("dull" in point.faults) == (hold <= 0.010 * math.sqrt(2.0))
        # unlike eyes are held as much
        unlike = bench_point(changed({**values, "left.eye.dark_trigger": 2.55}), light)
        assert unlike.measured.hold == pytest.approx(hold, rel=1e-9)


def test_a_table_that_tells_nothing_makes_dull_eyes_in_any_light() -> None:
    flat = with_table("0 lx 2.4 V", "3 klx 2.4 V")
    for point in bench(flat):
        assert point.faults == ("dull",)
        assert point.measured.beside is None
    cause = cause_of("dull", flat, 30e3)
    assert "by 0 V at the most" in cause
    assert cause.endswith("from 10 klx to 30 klx the table of the left eye rises by 0 V")
    # in the dark nothing is told of where it heads
    assert bench_point(flat, 10.0).faults == ("dim",)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"left.eye.dark_trigger": 2.44}, (r"3\d deg to the left", "the right eye fires its side 240 mV")),
        ({"right.eye.dark_trigger": 2.44}, (r"3\d deg to the right", "the left eye", "in trigger voltage")),
        ({"left.eye.tape": 0.2}, ("the left eye", "before the right one", "in tape", "circles")),
        ({"left.series": 100e3}, ("the right eye", "in standby current and series resistor")),
        (
            {"storage.capacitance": 3e-3, "left.motor.resistance": 60.0, "left.eye.dark_trigger": 2.27},
            ("to the left", r"a right pulse turns it by 11\d deg and a left one by 6\d deg", "the motors"),
        ),
    ],
)
def test_who_strays_is_told_which_part_on_which_side(
    values: dict[str, object], told: tuple[str, ...]
) -> None:
    cause = cause_of("strays", changed(values))
    for words in told:
        assert re.search(words, cause)


def test_nobody_strays_who_is_worse_than_that() -> None:
    for values, fault in (({"left.eye.dark_trigger": 3.4}, "lopsided"), ({"both.eye.slope": 0.0}, "dull")):
        point = bench_point(changed(values), 3e3)
        assert fault in point.faults
        assert "strays" not in point.faults
    assert "for the motors of the two sides differ" in cause_of(
        "lopsided", changed({"left.motor.resistance": 70.0})
    )
    for millivolts in (60, 120, 180, 240):
        point = bench_point(changed({"left.eye.dark_trigger": 2.2 + 1e-3 * millivolts}), 3e3)
        assert ("strays" in point.faults) == (abs(point.measured.beside or math.inf) > STRAIGHT)


def test_a_table_used_beyond_its_ends_is_noted() -> None:
    mustard = read_design("mustard")
    assert table_notes(mustard, [300.0, 100e3]) == ()
    bare = mustard.with_values({"left.eye.tape": 1.0})
    assert table_notes(bare, [300.0, 100e3]) == (
        "the table of the left eye ends at 50 klx: brighter light, here up to 100 klx, counts as that",
    )
    assert table_notes(bare, [300.0, 50e3]) == ()
    short = with_table("1 klx 2.4 V", "10 klx 2.6 V").with_values({"both.eye.tape": 0.5})
    assert table_notes(short, [3e3, 30e3]) == (
        "the table of both eyes begins at 1 klx: dimmer light, here down to 500 lx behind the tape, counts as"
        " that",
        "the table of both eyes ends at 10 klx: brighter light, here up to 15 klx behind the tape, counts as"
        " that",
    )
    assert table_notes(DEFAULT, [0.0, 1e6]) == ()


def test_check_and_bench_give_the_note_and_a_falling_table_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(table_text("0 lx 2.4 V", "3 klx 2.8 V"))
    note = "the table of both eyes ends at 3 klx: brighter light, here up to 100 klx, counts as that"
    checked = photodrome("check", str(path))
    assert checked.code == 0
    assert f"note: {note}" in checked.out
    assert photodrome("check", str(path), "--json").json()["files"][0]["notes"] == [note]
    assert photodrome("bench", str(path), "--no-cures", "--json").json()["notes"] == [note]
    assert "note" not in photodrome("bench", str(path), "-l", "3klx", "--no-cures").out
    path.write_text(table_text("0 lx 2.4 V", "3 klx 2.3 V"))
    with pytest.raises(SpecError, match=r"own.yaml:7:\d+: both.eye.table\[1\].trigger: got 2.3 V"):
        read_design(path)


def test_the_bench_takes_a_design_its_name_or_its_path(tmp_path: Path) -> None:
    path = tmp_path / "own.yaml"
    path.write_text("photodrome: design 1\nname: own\n")
    expected = [point.as_dict() for point in bench(read_design("poppy"), [3e3])]
    assert [point.as_dict() for point in bench("poppy", [3e3])] == expected
    assert bench_point(path, 3e3) == bench_point(str(path), 3e3) == bench_point(read_design(path), 3e3)
    with pytest.raises(NotFoundError, match="poppy"):
        bench("poppi")
