"""The table of readings: how it may be written, and how slips in it are told."""

import math

import pytest

from agents.errors import SpecError
from agents.fitting.readings import MOST_ROWS, parse_readings

TWO = [("trigger", 3.31), ("between", 50.0)]


@pytest.mark.parametrize(
    "text",
    [
        "light,trigger,time between pulses\n3 klx,3.31 V,50 s\n",
        "light;trigger;time between pulses\n3 klx;3,31 V;50 s\n",
        "light [klx]\ttrigger [V]\tseconds\n3\t3,31\t50 s\n",
        "Lux [lx]; Trigger_Voltage (V); between [min]\r\n3000; 3,31; 0,8333333333333333\r\n",
        "light;trigger;time between pulses\n3 klx;3,31 V;0 min 50 s\n",
        "time between pulses, light, trigger [mV]\n50 s, 3 klx, 3310\n\n,,\n",
        "\ufefflight,trigger,period\n3 klx,3.31 V,50 s\n".lstrip("\ufeff"),
    ],
)
def test_one_table_in_many_spellings(text: str) -> None:
    readings = parse_readings(text, "mine.csv")
    found = sorted(((one.key, one.value) for one in readings), key=lambda pair: pair[1])
    assert found == [(key, pytest.approx(value)) for key, value in TWO]
    assert all(one.light == 3e3 for one in readings)


def test_what_a_row_says_beside_its_readings() -> None:
    text = (
        "light,kind,side,pressed,trigger,turn,stall current,stall voltage\n"
        "500 lx,white-led,left,yes,2.5 V,,,\n1 klx,,,,,-40 deg,,\n,,right,,,,51 mA,1.5 V\n"
    )
    touched, turned, stalled = parse_readings(text, "mine.csv")
    assert (touched.kind, touched.side, touched.pressed, touched.line) == ("white-led", "left", True, 2)
    assert (turned.side, turned.pressed) == ("", False)
    assert turned.value == pytest.approx(math.radians(-40.0))
    assert (stalled.value, stalled.stall_voltage, stalled.side) == (0.051, 1.5, "right")


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "an empty table"),
        ("light,triger\n", "nearest: trigger"),
        ("light,light\n", "a second light"),
        ("light,trigger [lx]\n", "the unit 'lx'"),
        ("light,side [V]\n", "no unit for this column"),
        ("light,trigger\n", "no reading"),
        ("light,trigger\n3 klx,\n", "no reading"),
        ("light,trigger\n-3 klx,3 V\n", r"mine.csv:2:1: light: got '-3 klx', expected an illuminance"),
        ("light,trigger\n3 klx,3.31\n", r"or the unit in the heading, like trigger \[V\]"),
        ("light,trigger\n3 klx,331 V\n", "100 mV to 20 V"),
        ("light,trigger\n3 klx,3,31 V\n", "3 cells"),
        ("light,trigger\n,3.31 V\n", "a light beside each trigger"),
        ("light,stall current\n3 klx,50 mA\n", "a stall voltage beside each stall current"),
        ("light,trigger\nbright,high\n", "got 'bright'"),
        ("light,pressed,trigger\n3 klx,perhaps,3 V\n", "yes or no"),
        ("light,kind,trigger\n3 klx,moon,3 V\n", "one of sun"),
        ("light,trigger\n" + "3 klx,3.3 V\n" * (MOST_ROWS + 1), f"at most {MOST_ROWS}"),
        ("some words that are no table at all\n", "a column"),
    ],
)
def test_slips_are_told(text: str, part: str) -> None:
    with pytest.raises(SpecError, match=part):
        parse_readings(text, "mine.csv")


def test_all_slips_of_a_table_are_told_at_once_but_not_thousands() -> None:
    with pytest.raises(SpecError) as caught:
        parse_readings("light,trigger\n3 klx,3\n1 klx,x\n", "mine.csv")
    assert [(fault.line, fault.column) for fault in caught.value.faults] == [(2, 2), (3, 2)]
    with pytest.raises(SpecError) as caught:
        parse_readings("light,trigger\n" + "3 klx,x\n" * 1000, "mine.csv")
    assert len(caught.value.faults) <= 30
