"""Pairing eyes: the best list there is, by references that try all, and the table it is read from."""

import math
from itertools import combinations
from pathlib import Path

import networkx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agents.design.as_built import build
from agents.design.spec import Design, Tolerance
from agents.drawer.pairing import pair_up, random_share
from agents.errors import NotFoundError, SpecError
from arena.studies.kits.eye_picking import MeasuredEye, drawn_eyes, pick, read_eyes, straight_range
from arena.studies.kits.judging import BenchTest, Demand

LIGHTS = (1e3, 5e3, 20e3)


def bench_test_of(straight: float = math.radians(30.0), **values: float) -> BenchTest:
    design = Design(name="test", spread={"both.eye.dark_trigger": Tolerance(normal="30 mV")})
    changed = design.with_values({key.replace("__", "."): value for key, value in values.items()})
    return BenchTest(changed, Demand(LIGHTS, "daylight", frozenset(), straight))


# whole steps, so that sums of differences compare without rounding
steps = st.lists(st.integers(0, 40), min_size=0, max_size=14)


@settings(max_examples=300, deadline=None)
@given(values=steps, limit=st.integers(0, 12))
def test_no_pairing_has_more_pairs_or_as_many_with_less_between_them(values: list[int], limit: int) -> None:
    found = pair_up(values, limit)
    used = [place for two in found.pairs for place in two] + list(found.left_over)
    assert sorted(used) == list(range(len(values)))
    assert all(0 <= values[high] - values[low] <= limit for low, high in found.pairs)

    graph = networkx.Graph()
    graph.add_nodes_from(range(len(values)))
    for one, other in combinations(range(len(values)), 2):
        if abs(values[one] - values[other]) <= limit:
            # any weight large against all differences makes the number of pairs come first
            graph.add_edge(one, other, weight=10_000 - abs(values[one] - values[other]))
    best = networkx.max_weight_matching(graph, maxcardinality=True)
    assert len(found.pairs) == len(best)
    assert sum(values[high] - values[low] for low, high in found.pairs) == sum(
        abs(values[one] - values[other]) for one, other in best
    )


def every_pairing(places: list[int]) -> list[list[tuple[int, int]]]:
    """All ways to pair an even number of places."""
    if not places:
        return [[]]
    first, *rest = places
    return [
        [(first, other), *others]
        for other in rest
        for others in every_pairing([place for place in rest if place != other])
    ]


@settings(max_examples=50, deadline=None)
@given(values=st.lists(st.integers(0, 30), min_size=2, max_size=8).filter(lambda some: len(some) % 2 == 0))
def test_the_expected_share_of_a_blind_pairing_is_the_mean_of_all_of_them(values: list[int]) -> None:
    shares = [
        np.mean([abs(values[one] - values[other]) <= 5 for one, other in pairing])
        for pairing in every_pairing(list(range(len(values))))
    ]
    assert random_share(values, 5) == pytest.approx(np.mean(shares), abs=1e-12)


def test_eyes_pair_as_far_apart_as_steers_straight_and_no_further() -> None:
    bench_test = bench_test_of()
    _, limit = straight_range(bench_test)
    eyes = [
        MeasuredEye("a", 2.2),
        MeasuredEye("b", 2.2 + limit - 1e-4),
        MeasuredEye("c", 3.2),
        MeasuredEye("d", 3.2 + limit + 1e-4),
    ]
    found = pick(bench_test, eyes, is_measured=True)
    assert found is not None
    [pair] = found.pairs
    assert {pair.left.label, pair.right.label} == {"a", "b"}
    # it only just steers straight, at the light where it is worst
    assert math.degrees(abs(pair.beside)) == pytest.approx(30.0, abs=0.05)
    assert {eye.label for eye in found.left_over} == {"c", "d"}
    assert (found.listed, found.blind) == (0.5, pytest.approx(1.0 / 6.0))
    assert not found.is_handed


def test_it_matters_which_eye_goes_left_where_the_motors_are_unlike() -> None:
    bench_test = bench_test_of(left__motor__resistance=36.0)
    least, most = straight_range(bench_test)
    assert least <= 0.0 <= most
    assert abs(least + most) > 0.01
    half = 0.5 * max(-least, most) - 1e-3
    eyes = [MeasuredEye("low", 2.2 - half), MeasuredEye("high", 2.2 + half)]
    found = pick(bench_test, eyes, is_measured=True)
    assert found is not None
    assert found.is_handed
    [pair] = found.pairs
    # of the two ways round, one is straight
    assert (found.listed, found.blind) == (1.0, 0.5)
    # the other way round it would head further beside the lamp than is straight
    assert abs(pair.beside) <= bench_test.demand.straight
    turned = bench_test.design.with_values(
        {"left.eye.dark_trigger": pair.right.trigger, "right.eye.dark_trigger": pair.left.trigger}
    )
    assert "strays" in strays_of(turned, bench_test.demand)
    right_way = bench_test.design.with_values(
        {"left.eye.dark_trigger": pair.left.trigger, "right.eye.dark_trigger": pair.right.trigger}
    )
    assert "strays" not in strays_of(right_way, bench_test.demand)


def strays_of(design: Design, demand: Demand) -> set[str]:
    result = BenchTest(design, demand).as_drawn
    return {name for name in ("strays",) if result.has(name).any()}


def test_no_list_where_like_eyes_do_not_steer_straight_either() -> None:
    bench_test = bench_test_of(straight=math.radians(5.0), left__motor__resistance=60.0)
    assert pick(bench_test, [MeasuredEye("a", 2.2), MeasuredEye("b", 2.2)], is_measured=True) is None


def test_eyes_without_tolerance_are_not_drawn() -> None:
    design = Design(name="test", spread={"both.latch": Tolerance(uniform="5 %")})
    demand = Demand(LIGHTS, "daylight", frozenset(), 0.5)
    assert drawn_eyes(BenchTest(design, demand), 1) == []


def test_drawn_eyes_are_those_of_the_first_fifteen_kits() -> None:
    bench_test = bench_test_of()
    eyes = drawn_eyes(bench_test, 7)
    assert [eye.label for eye in eyes[:3]] == ["E01", "E02", "E03"]
    sides = [build(bench_test.design.built(7, number))[0]["side"]["dark_trigger"] for number in range(15)]
    assert [eye.trigger for eye in eyes] == np.concatenate(sides).tolist()


def table(folder: Path, text: str) -> Path:
    path = folder / "eyes.csv"
    path.write_bytes(text.encode())
    return path


def test_a_table_of_eyes_is_read_as_a_spreadsheet_writes_it(tmp_path: Path) -> None:
    text = "\ufeffeye,trigger\r\nE07,2.31 V\r\n\r\nE 8, 2310mV\r\n"
    assert read_eyes(table(tmp_path, text)) == [MeasuredEye("E07", 2.31), MeasuredEye("E 8", 2.31)]


@pytest.mark.parametrize(
    ("text", "place", "told"),
    [
        ("", (1, 1), "got nothing, expected the line eye,trigger"),
        ("eye:trigger\nE1:2.31 V\n", (1, 1), "eye:trigger"),
        ("eye;trigger\nE1;2,31 V\n", (3, 1), "got 1 eye, expected 2 to"),
        ("E1,2.31 V\nE2,2.3 V\n", (1, 1), "expected the line eye,trigger"),
        ("eye,trigger\n", (2, 1), "got 0 eyes, expected 2 to"),
        ("eye,trigger\nE1,2.3 V\n", (3, 1), "got 1 eye, expected 2 to"),
        ("eye,trigger\nE1,2.3 V\nE2,2.31\n", (3, 4), "got '2.31', expected a voltage with its unit"),
        ("eye,trigger\nE1,2.3 V\nE2 ,2.31 A\n", (3, 5), "'2.31 A'"),
        ("eye,trigger\nE1,2.3 V\nE2,231 V\n", (3, 4), "100 mV to 20 V"),
        ("eye,trigger\nE1,2.3 V\nE2,nan V\n", (3, 4), "'nan V'"),
        ("eye,trigger\nE1,2.3 V\nE2,\n", (3, 4), "got nothing"),
        ("eye,trigger\nE1,2.3 V\n,2.31 V\n", (3, 1), "got nothing, expected a label"),
        ("eye,trigger\nE1,2.3 V\nE2,2,31 V\n", (3, 1), "a label and a voltage"),
        ("eye,trigger\nE1,2.3 V\nE2\n", (3, 1), "a label and a voltage"),
        ("eye,trigger\nE1,2.3 V\nE2,2.2 V\nE1,2.4 V\n", (4, 1), "it stands in line 2 too"),
        ('eye,trigger\n"E1",2.3 V\nE2,2.2 V\n', (2, 1), "without quotes"),
        ("eye,trigger\nE1,2.3 V\nE\x1b[2J,2.2 V\n", (3, 1), "a label"),
        ("eye,trigger\nE1,2.3 V\n" + "x" * 41 + ",2.2 V\n", (3, 1), "at most 40 letters"),
    ],
)
def test_a_wrong_table_is_told_at_its_place(
    tmp_path: Path, text: str, place: tuple[int, int], told: str
) -> None:
    with pytest.raises(SpecError) as refused:
        read_eyes(table(tmp_path, text))
    [fault] = refused.value.faults
    assert (fault.line, fault.column) == place
    assert told in str(fault)


def test_all_faults_of_a_table_are_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(SpecError) as refused:
        read_eyes(table(tmp_path, "eye,trigger\nE1,2.3\nE1,2.3 V\nE3;2.3 V\n"))
    assert [fault.line for fault in refused.value.faults] == [2, 3, 4]


def test_a_table_that_is_not_there_or_no_text(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="no such file"):
        read_eyes(tmp_path / "none.csv")
    with pytest.raises(NotFoundError, match="is a folder"):
        read_eyes(tmp_path)
    path = tmp_path / "eyes.csv"
    path.write_bytes(b"eye,trigger\nE1,2.3 \xff\n")
    with pytest.raises(SpecError, match=r"eyes\.csv:2:8"):
        read_eyes(path)
