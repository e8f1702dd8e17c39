"""What a drawer's file may say, and how slips are told."""

from decimal import Decimal

import pytest

from agents.design.parts import Motor
from agents.drawer.contents import SECTIONS, Price, parse_drawer, read_drawer
from agents.errors import NotFoundError, SpecError

HEAD = "photodrome: drawer 1\nname: mine\n"


def test_the_shipped_drawer_is_read() -> None:
    drawer = read_drawer("potting-shed")
    assert drawer.currency == "EUR"
    assert {section for section, *_ in drawer.items()} == set(SECTIONS)
    by_value = {one.nominal: one for one in drawer.resistors}
    assert by_value[2.2e3].share_off == 0.05  # its rings say so
    assert by_value[47e3].share_off == 0.01
    assert by_value[100e3].share_off is None
    assert drawer.capacitors[0].nominal == 1e-7


def test_a_part_takes_the_fields_of_a_design_and_sets_only_what_it_says() -> None:
    drawer = parse_drawer(HEAD + "motors:\n  - { resistance: 12 ohm, count: 2 }\n", "mine.yaml")
    [motor] = drawer.motors
    assert motor.values() == {"resistance": 12.0}
    assert motor.constant == Motor().constant
    assert motor.pieces == 2


@pytest.mark.parametrize(
    ("entry", "pieces"),
    [
        ("{ code: 1k }", 1),
        ("{ code: 1k, count: 0 }", 0),
        ("{ code: 1k, measured: [990 ohm, 1.01 kohm] }", 2),
        ("{ code: 1k, measured: [990 ohm, 1.01 kohm], count: 7 }", 7),
    ],
)
def test_how_many_there_are(entry: str, pieces: int) -> None:
    assert parse_drawer(f"{HEAD}resistors:\n  - {entry}\n", "mine.yaml").resistors[0].pieces == pieces


def test_eyes_measured_in_light_are_carried_back_to_the_dark() -> None:
    formula = "dark_trigger: 2.2 V, slope: 700 mV/decade, knee_light: 150 lx"
    entry = f"{{ {formula}, measured: [2.5 V], measured_at: 1350 lx }}"
    [eye] = parse_drawer(f"{HEAD}eyes:\n  - {entry}\n", "mine.yaml").eyes
    assert eye.readings == (pytest.approx(2.5 - 0.7),)  # log10(1 + 9) is one decade


def test_prices_are_exact() -> None:
    drawer = parse_drawer(f"{HEAD}tapes:\n  - {{ transmission: 30 %, price: GBP 0.10 }}\n", "mine.yaml")
    assert drawer.tapes[0].price == Price(Decimal("0.10"), "GBP")


@pytest.mark.parametrize(
    ("body", "part"),
    [
        ("resistors:\n  - { code: 4k7, rings: red red red gold }\n", "code beside rings"),
        ("resistors:\n  - { count: 3 }\n", "no value, expected one of value, code, rings"),
        (
            "resistors:\n  - { code: 4k7, count: 1, measured: [4.6 kohm, 4.7 kohm] }\n",
            "at least 2, which were measured",
        ),
        ("resistors:\n  - { code: 4k7, count: -1 }\n", "a whole number"),
        ("resistors:\n  - { code: 4k7, price: 0.02 }\n", "currency"),
        (
            "resistors:\n  - { code: 4k7, price: 0.02 EUR }\nmotors:\n  - { price: 1 USD }\n",
            r"mine.yaml:6:\d+: motors\[0\].price: got 1 USD, expected one currency .* resistors\[0\] has EUR",
        ),
        ("motors:\n  - { name: a }\neyes:\n  - { name: a }\n", r"names that differ; eyes\[0\] has it too"),
        ("motors:\n  - { name: a }\nlamps: []\n", "an unknown key"),
        ("eyes:\n  - { dark_triger: 2 V }\n", "nearest: dark_trigger"),
        ('capacitors:\n  - { code: "10" }\n', "like 104, 100n or 2200 uF"),
        ("tapes:\n  - { count: 3 }\n", "transmission"),
    ],
)
def test_slips_are_told_at_their_place(body: str, part: str) -> None:
    with pytest.raises(SpecError, match=part):
        parse_drawer(HEAD + body, "mine.yaml")


def test_all_slips_are_told_at_once() -> None:
    body = "resistors:\n  - { code: 4k7, count: many }\nmotors:\n  - { resistance: 28 }\n"
    with pytest.raises(SpecError) as caught:
        parse_drawer(HEAD + body, "mine.yaml")
    assert [fault.key for fault in caught.value.faults] == ["resistors[0].count", "motors[0].resistance"]


def test_a_drawer_that_is_not_there() -> None:
    with pytest.raises(NotFoundError, match="nearest: potting-shed"):
        read_drawer("poting-shed")
