"""What a drawer means for a class: tolerances of its parts, measured eyes, how many kits it lasts for."""

import pytest

from agents.design.spec import Design, parse_design
from agents.drawer.contents import parse_drawer, read_drawer
from arena.studies.kits.eye_picking import with_spread_of
from arena.studies.kits.kit_drawer import design_with_drawer, eyes_in, shortages

DRAWER = """\
photodrome: drawer 1
name: mine
resistors:
  - { code: 10k, count: 30, tolerance: 1 % }
  - { rings: yellow violet orange gold, count: 100 }
  - { code: 33k, count: 5 }
  - { code: 33k, count: 6 }
"""


def design_of(more: str) -> Design:
    return parse_design(f"photodrome: design 1\nname: carrot\n{more}", "carrot.yaml")


def test_tolerances_are_those_of_the_parts_that_the_design_takes() -> None:
    said = "both.latch: { uniform: 5 % }, both.series: { normal: 2 % }, left.feeler: { uniform: 3 % }"
    design, drawer = design_of(f"spread: {{ {said} }}\n"), parse_drawer(DRAWER, "mine.yaml")
    widths = {one.path: one.width / one.value for one in design_with_drawer(design, drawer).spreads}
    assert widths["left.latch"] == widths["right.latch"] == pytest.approx(0.01)
    assert widths["left.series"] == pytest.approx(0.05)  # its rings say so
    assert widths["left.feeler"] == pytest.approx(0.03)  # the drawer says nothing of it
    # a design that takes other parts keeps its own
    other = design_with_drawer(design.with_values({"both.latch": 22e3}), drawer)
    widths = {one.path: one.width / one.value for one in other.spreads}
    assert widths["left.latch"] == pytest.approx(0.05)


def test_how_many_kits_a_drawer_lasts_for() -> None:
    """By hand: two latch, series and feeler resistors a kit, of which 30, 100 and 11 are there."""
    drawer, design = parse_drawer(DRAWER, "mine.yaml"), design_of("")
    found = {one.place.path: (one.needed, one.there) for one in shortages(design, drawer, 16)}
    assert found == {"both.feeler": (32, 11), "both.latch": (32, 30)}
    assert shortages(design, drawer, 5) == []
    # one value for two places counts once, with the needs of both
    alike = design.with_values({"both.latch": 33e3})
    [short, *_] = shortages(alike, drawer, 5)
    assert (short.needed, short.there) == (20, 11)


def test_eyes_of_a_drawer_are_named_by_bag_and_piece() -> None:
    eyes = eyes_in(read_drawer("potting-shed"))
    assert [eye.label for eye in eyes[:2]] == ["red flashers 1", "red flashers 2"]
    assert eyes[0].trigger == 2.24


def test_measured_eyes_give_their_own_scatter_where_the_design_says_none() -> None:
    triggers = [2.10, 2.20, 2.30]
    found = with_spread_of(design_of(""), triggers)
    assert {spread.path: spread.width for spread in found.spreads} == pytest.approx(
        {"left.eye.dark_trigger": 0.1, "right.eye.dark_trigger": 0.1}
    )
    said = design_of("spread: { left.eye.dark_trigger: { normal: 30 mV } }\n")
    assert with_spread_of(said, triggers) is said
    assert with_spread_of(design_of(""), [2.2, 2.2]).spreads == ()
