"""The building sheet: what is wired to what, what should be read, a template that keeps its size on paper."""

import math
import re
from collections.abc import Iterable
from pathlib import Path

import networkx
import numpy as np
import pytest

from agents.design.netlist import GROUND, RAIL, components_of
from agents.design.spec import Design, parse_design, read_design
from agents.testbench.bench_figures import bench_point
from agents.text.shipped import shipped_names
from arena.reports.body_template import MOST_HEIGHT, MOST_WIDTH, body_template
from arena.reports.building_page import build_steps, building_page
from arena.reports.expected_readings import build_readings
from arena.reports.paper import TEXT_CONTRAST, contrast
from arena.reports.schematic import Schematic, side_schematic
from tests.helpers.browser import PAPERS, Browser
from tests.helpers.commands import photodrome, refusal
from tests.helpers.pages import check_page, named, words_of

PLAIN = "photodrome: design 1\nname: carrot\n"
BARE = f"{PLAIN}both: {{ feeler: none, whisker: none }}\n"
# the nodes of the model, and what hangs on them: the head of agents/circuit/latch.py and MODEL in the README
WIRED = {
    RAIL: {"panel plus", "storage plus", "PNP emitter", "motor plus", "feeler resistor one"},
    GROUND: {"panel minus", "storage minus", "NPN emitter", "eye cathode"},
    "left collector": {"NPN collector", "motor minus", "latch resistor other", "series resistor one"},
    "left pnp base": {"PNP base", "latch resistor one", "coupling capacitor other"},
    "left npn base": {"NPN base", "PNP collector"},
    "left eye": {"eye anode", "series resistor other", "coupling capacitor one", "whisker other"},
    "left whisker": {"whisker one", "feeler resistor other"},
}


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def design_of(text: str) -> Design:
    return parse_design(text, "carrot.yaml")


def by_node(pairs: Iterable[tuple[str, str]]) -> set[frozenset[str]]:
    nodes: dict[str, set[str]] = {}
    for node, terminal in pairs:
        nodes.setdefault(node, set()).add(terminal)
    return {frozenset(terminals) for terminals in nodes.values()}


def drawn_nodes(schematic: Schematic) -> set[frozenset[str]]:
    """Terminals that the drawing joins: by wires from end to end, and where one wire ends on another."""
    graph = networkx.Graph()
    ends = {place for wire in schematic.wires for place in wire}
    terminals = {
        f"{part.name} {terminal}": place
        for part in schematic.parts
        for terminal, place in part.terminals.items()
    }
    places = ends | set(terminals.values()) | set(schematic.dots)
    graph.add_nodes_from(places)
    for start, end in schematic.wires:
        for place in places:
            lengths = math.dist(start, place) + math.dist(place, end) - math.dist(start, end)
            if abs(lengths) < 1e-6:
                graph.add_edge(start, place)
    return {
        frozenset(name for name, place in terminals.items() if place in joined)
        for joined in networkx.connected_components(graph)
        if any(place in joined for place in terminals.values())
    }


def test_the_netlist_is_that_of_the_model() -> None:
    components = [one for one in components_of(design_of(PLAIN)) if one.side != "right"]
    found = [
        (node, f"{one.name} {terminal}") for one in components for terminal, node in one.terminals.items()
    ]
    assert by_node(found) == {frozenset(terminals) for terminals in WIRED.values()}


@pytest.mark.parametrize("text", [PLAIN, BARE, f"{PLAIN}right: {{ latch: 22k }}\n"])
def test_the_drawing_wires_what_the_netlist_says(text: str) -> None:
    """Every part once, every node right, by the drawing's own data."""
    design = design_of(text)
    components = [one for one in components_of(design) if one.side != "right"]
    schematic = side_schematic(design)
    assert sorted(part.name for part in schematic.parts) == sorted(one.name for one in components)
    found = [
        (node, f"{one.name} {terminal}") for one in components for terminal, node in one.terminals.items()
    ]
    assert drawn_nodes(schematic) == by_node(found)
    # where three ways meet there is a dot, and nowhere else
    for dot in schematic.dots:
        ways = sum(dot in wire for wire in schematic.wires)
        ways += sum(dot in part.terminals.values() for part in schematic.parts)
        assert ways >= 3, dot


def test_every_value_is_drawn_and_differing_ones_of_both_sides() -> None:
    schematic = side_schematic(design_of(f"{PLAIN}left: {{ latch: 15k }}\nright: {{ latch: 5k6 }}\n"))
    text = schematic.svg.decode()
    for words in ("left 15k", "right 5k6", "47k", "33k", "1 uF", "2200 uF", "28 ohm"):
        assert words in text


def test_readings_are_those_of_the_bench_and_the_range_holds_its_share() -> None:
    design = read_design("poppy")
    readings = build_readings(design, 3e3, "sun")
    measured = bench_point(design, 3e3).measured
    left, _ = readings.sides
    assert readings.open_circuit.drawn == pytest.approx(measured.open_circuit)
    assert left.trigger.drawn == pytest.approx(measured.left.trigger)
    assert left.pressed is not None
    assert left.pressed.drawn == pytest.approx(measured.left.trigger_touched)
    assert left.between.drawn == pytest.approx(measured.left.between)
    assert left.turn.drawn == pytest.approx(measured.left.turn)
    assert left.trigger.low < left.trigger.drawn < left.trigger.high
    # its tolerance is a normal one of 30 mV, of which nine in ten lie within 1.645 of it
    assert left.trigger.high - left.trigger.low == pytest.approx(2.0 * 1.645 * 0.03, rel=0.35)
    assert readings.apart.drawn == 0.0 < readings.apart.high < 0.15


def test_a_design_without_tolerances_has_no_ranges() -> None:
    readings = build_readings(design_of(PLAIN), 3e3, "sun")
    assert not math.isfinite(readings.sides[0].trigger.low)
    assert "(" not in readings.sides[0].trigger.words


def test_steps_of_a_walker_that_does_not_fire_or_feels_nothing() -> None:
    bare = design_of(BARE)
    assert not any("whisker" in step.title for step in build_steps(bare, build_readings(bare, 3e3, "sun")))
    dark = build_steps(design_of(PLAIN), build_readings(design_of(PLAIN), 5.0, "sun"))
    assert any("does not pulse in this light" in line for step in dark for line in step.readings)


@pytest.mark.parametrize("name", [*shipped_names("design"), "outlined", "large"])
def test_the_template_has_every_thing_at_its_place(name: str) -> None:
    texts = {
        "outlined": f"{PLAIN}body: {{ outline: 40 20 / 40 -20 / -30 -20 / -30 20 mm }}\n",
        "large": f"{PLAIN}body: {{ track: 240 mm, radius: 120 mm }}\n",
    }
    design = design_of(texts[name]) if name in texts else read_design(name)
    template = body_template(design)
    assert template.width <= MOST_WIDTH
    assert template.height <= MOST_HEIGHT
    assert template.scale == (0.5 if name == "large" else 1.0)
    at = {place: np.array(point) for place, point in template.places.items()}
    for one, other, apart in (
        ("left tyre", "right tyre", design.body.track),
        ("left eye", "right eye", design.left.eye.aside + design.right.eye.aside),
    ):
        assert np.linalg.norm(at[one] - at[other]) == pytest.approx(1e3 * template.scale * apart, rel=1e-6)
        assert at[one][0] < at[other][0]  # left is left
    ahead = at["left tyre"][1] - at["left eye"][1]
    assert ahead == pytest.approx(1e3 * template.scale * design.left.eye.ahead, rel=1e-6)
    if design.left.whisker is not None:
        length = np.linalg.norm(at["left whisker tip"] - at["left whisker root"])
        assert length == pytest.approx(1e3 * template.scale * design.left.whisker.length, rel=1e-6)
    for x, y in template.places.values():
        assert 0.0 <= x <= template.width
        assert 0.0 <= y <= template.height


@pytest.mark.parametrize("name", ["poppy", "cress"])
def test_a_browser_prints_it_on_two_pages_and_in_true_size(name: str, browser: Browser) -> None:
    outcome = photodrome("sheet", name, "--out", "sheet.html")
    assert (outcome.code, outcome.out, outcome.err) == (0, "report: sheet.html\n", "")
    page = Path("sheet.html").read_text(encoding="utf-8")
    check_page(page)
    seen = browser.open(Path("sheet.html"))
    assert (seen.dialogs, seen.messages, seen.requests) == ([], [], [])
    for ink, ground, size, text in browser.words("print"):
        assert contrast(ink, ground) >= TEXT_CONTRAST, text
        assert size >= 9.3, text
    assert [browser.overhang(width) for width in (360, 800, 1280)] == [0, 0, 0]
    template = body_template(read_design(name))
    for paper in PAPERS:
        printed = browser.printed(paper)
        assert len(printed.pages) == 2
        text = printed.pages[1].extract_text()
        assert "in true size" in text
        # the rule of 50 mm, in the page's own units of 1/72 inch
        assert rule_length(printed.pages[1]) == pytest.approx(50.0 / 25.4 * 72.0, rel=0.01)
    assert template.scale == 1.0


def rule_length(page: object) -> float:
    """Length of the longest level line [points] below which the words of the rule stand."""
    lengths = []

    def note(operator: bytes, operands: list[object], matrix: list[float], _text: list[float]) -> None:
        if operator == b"l":
            x, y = float(str(operands[0])), float(str(operands[1]))
            if points and abs(points[-1][1] - y) < 1e-6:
                lengths.append(abs(points[-1][0] - x) * math.hypot(matrix[0], matrix[1]))
            points.append((x, y))
        elif operator == b"m":
            points.append((float(str(operands[0])), float(str(operands[1]))))

    points: list[tuple[float, float]] = []
    page.extract_text(visitor_operand_before=note)  # type: ignore[attr-defined]
    return min(lengths, key=lambda one: abs(one - 50.0 / 25.4 * 72.0))


def test_the_page_says_what_is_on_the_parts() -> None:
    page = building_page(read_design("poppy"), 3e3, "sun")
    text = " ".join(words_of(one) for one in named(check_page(page), "td", "th"))
    for words in ("brown black orange gold", "105", "look up which lead is emitter, base, collector"):
        assert words in text
    assert not re.search(r"[^-]\bNone\b|\bnan\b", text)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("poppy", "--out", "sheet.pdf"), "a name that ends in .html"),
        (("popy", "--out", "sheet.html"), "nearest: poppy"),
        (("poppy", "--out", "sheet.html", "--light", "-3klx"), "an illuminance"),
        (("poppy", "--out", "sheet.html", "--kind", "moon"), "one of sun"),
    ],
)
def test_sheets_that_cannot_be(arguments: tuple[str, ...], words: str) -> None:
    assert words in refusal("sheet", *arguments)
