"""Which pieces a place may take, which two belong together, and what a parts list comes to."""

import csv
import io
from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agents.design.spec import Design
from agents.drawer.contents import parse_drawer, read_drawer
from agents.drawer.stock import (
    PLACES,
    choices,
    closest_two,
    lacking,
    lasts_for,
    parts_csv,
    parts_list,
    total_cost,
)
from agents.text.table_cells import harmless

HEAD = "photodrome: drawer 1\nname: mine\n"
AT = {place.path: place for place in PLACES}


@given(st.lists(st.integers(0, 200), min_size=2, max_size=14))
def test_the_two_that_are_most_alike_as_trying_all_pairs_finds_them(readings: list[int]) -> None:
    first, second = closest_two(readings)
    assert first != second
    least = min(abs(one - other) for one, other in combinations(readings, 2))
    assert abs(readings[first] - readings[second]) == least


def test_every_place_is_one_of_a_design() -> None:
    design = Design(name="plain")
    for place in PLACES:
        path = place.path.replace("both.", "left.")
        assert design.value_at(path) is not None, path
        assert place.title


def test_every_value_of_every_choice_can_be_set() -> None:
    drawer, design = read_drawer("potting-shed"), Design(name="plain")
    for place in PLACES:
        found = choices(drawer, place)
        assert found, place.path
        for choice in found:
            made = design.with_values(dict(choice.values))
            for path, value in choice.values.items():
                assert made.value_at(path) == value
            assert len(choice.labels) == place.pieces


def test_measured_pieces_are_paired_and_named() -> None:
    text = (
        HEAD + "motors:\n  - { name: thin, resistance: 28 ohm, measured: [27.1 ohm, 29.9 ohm, 27.4 ohm] }\n"
    )
    [choice] = choices(parse_drawer(text, "mine.yaml"), AT["both.motor"])
    assert choice.labels == ("thin (piece 1)", "thin (piece 3)")
    assert (choice.values["left.motor.resistance"], choice.values["right.motor.resistance"]) == (27.1, 27.4)


def test_entries_of_one_value_lie_together() -> None:
    text = HEAD + "resistors:\n  - { code: 33k }\n  - { rings: orange orange orange gold }\n"
    [choice] = choices(parse_drawer(text, "mine.yaml"), AT["both.latch"])
    assert (choice.available, choice.labels, dict(choice.spread)) == (2, ("33k", "33k"), {"both.latch": 0.05})


def test_a_sort_has_to_last_for_all_places_that_take_it() -> None:
    drawer = parse_drawer(
        HEAD + "resistors:\n  - { code: 33k, count: 3 }\n  - { code: 10k, count: 2 }\n", "mine.yaml"
    )
    latch, series = (
        {choice.labels[0]: choice for choice in choices(drawer, AT[path])}
        for path in ("both.latch", "both.series")
    )
    assert lasts_for([latch["10k"], series["33k"]])
    assert not lasts_for([latch["33k"], series["33k"]])


def test_what_is_lacking_is_told() -> None:
    drawer = parse_drawer(
        HEAD + "resistors:\n  - { code: 33k, count: 1 }\n  - { code: 1k, count: 0 }\n", "mine.yaml"
    )
    assert choices(drawer, AT["both.latch"]) == []
    assert lacking(drawer, AT["both.latch"]) == (
        "latch resistor: 2 of one sort are needed, and of none are more than 1 there"
    )
    assert "lists none under motors" in lacking(drawer, AT["both.motor"])


def test_costs_and_counts_come_to_an_independent_sum() -> None:
    drawer = read_drawer("potting-shed")
    chosen = [choices(drawer, place)[0] for place in PLACES]
    rows = parts_list(chosen)
    assert len(rows) == len(PLACES)
    cents = sum(round(100 * float(choice.price or 0)) * choice.place.pieces for choice in chosen)
    assert total_cost(rows) == Decimal(cents) / 100
    table = list(csv.DictReader(io.StringIO(parts_csv(rows, drawer.currency))))
    *parts, total = table
    assert sum(int(row["pieces"]) for row in parts) == int(total["pieces"]) == 22
    assert sum(Decimal(row["cost_EUR"]) for row in parts) == Decimal(total["cost_EUR"])


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@A1"])
def test_no_cell_is_a_formula(text: str) -> None:
    assert harmless(text) == f"'{text}"
    assert harmless("10k") == "10k"


def test_a_panel_that_is_given_by_its_label_brings_the_values_of_its_diode() -> None:
    label = "{light: 1 klx, open_circuit: 4 V, short_circuit: 90 uA, best_voltage: 3 V, best_current: 70 uA}"
    drawer = parse_drawer(HEAD + f"panels:\n  - {{ name: old toy, label: [{label}] }}\n", "mine.yaml")
    (choice,) = choices(drawer, AT["panel"])
    made = Design(name="plain").with_values(dict(choice.values))
    assert made.panel.current_per_light == pytest.approx(90e-9, rel=0.01)
    assert made.panel.junction_voltage == drawer.panels[0].junction_voltage != 0.19
    assert "panel.label" not in choice.values
