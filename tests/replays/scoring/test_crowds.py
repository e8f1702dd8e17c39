"""Scores of walkers that share a floor: replays made by hand, worked out on paper or by general libraries."""

import json
import math
from dataclasses import asdict, replace

import numpy as np
import pytest
import scipy.stats
from scipy.spatial.distance import cdist

from replays.format.tables import BODY, LEFT_WHISKER, RIGHT_WHISKER, WALKER, WALL, Replay
from replays.scoring.confidence_intervals import mean_interval
from replays.scoring.crowd_measures import (
    CrowdFloor,
    jain_index,
    passage_times,
    passing,
    spread_of,
    unlike_shares,
)
from replays.scoring.crowds import CROWD_EXPLANATIONS, UNDEFINED, CrowdScore, GateScore, score_crowds
from replays.scoring.scatter import Standable, scattered_distance
from tests.helpers.fabricate import Fabricator, arena, box, goal

UNDER_THE_LAMP = arena(goals=[goal(*box(1.5, 0.0, 2.0, 1.0))])
GATE = {"name": "gap", "line": [[1.0, 0.3], [1.0, 0.7]]}


def everybody(made: Fabricator) -> CrowdScore:
    return score_crowds([made.replay()])[0]


def test_every_score_of_a_crowd_has_its_line() -> None:
    (one,) = score_crowds([crowd_of(3).replay()])
    told = set(one.as_dict()) - {"of", "floors", "gates", "ranges"} | {"passed_share", "flow_per_min"}
    assert set(CROWD_EXPLANATIONS) == told
    assert set(UNDEFINED) < told
    assert {"gate", "passed"} | {"passed_share", "flow_per_min"} == set(GateScore.__annotations__)


def crowd_of(count: int, **how: object) -> Fabricator:
    made = Fabricator(**how)  # type: ignore[arg-type]
    for number in range(count):
        made.walker(0.2 + 0.1 * number, 0.5)
    return made


def test_who_has_the_floor_alone_is_no_crowd() -> None:
    assert score_crowds([]) == []
    assert score_crowds([crowd_of(1).replay()]) == []
    together = crowd_of(3).replay()
    walkers = together.walkers.copy()
    walkers["heat"] = [0, 1, 2]
    assert score_crowds([replace(together, walkers=walkers)]) == []
    walkers["heat"] = [0, 1, 1]
    (two,) = score_crowds([replace(together, walkers=walkers)])
    assert (two.of, two.floors, two.walkers) == ("all", 1, 2)


def test_gathering_is_of_the_last_tenth() -> None:
    made = Fabricator(seconds=100.0, arena=UNDER_THE_LAMP)
    stays, leaves, comes, never = (made.walker(x, 0.5) for x in (1.7, 1.6, 1.4, 0.3))
    made.pulse(leaves, 20.0, (1.4, 0.6))
    # looked at 90, 91, .. 100 s: it is there from 95 s on, which is six of eleven looks
    made.pulse(comes, 94.5, (1.6, 0.5), lasts_s=0.4)
    made.pulse(never, 10.0, (0.4, 0.5))
    one = everybody(made)
    assert one.gathered == pytest.approx((1.0 + 0.0 + 6.0 / 11.0 + 0.0) / 4.0)
    assert one.gathered_more == pytest.approx(one.gathered - 0.5)
    assert stays == 0
    assert everybody(crowd_of(2)).gathered is None


@pytest.mark.parametrize("seed", range(3))
def test_spread_against_distances_from_scipy(seed: int) -> None:
    """Nearest neighbours from scipy.spatial.distance, the scatter thrown body by body with other draws."""
    draw = np.random.default_rng(seed)
    made = Fabricator()
    places = []
    while len(places) < 25:
        place = draw.uniform((0.1, 0.1), (0.8, 0.9))
        if all(math.dist(place, other) > 0.06 for other in places):
            places.append(place)
            made.walker(*place, radius=0.03)
    away = cdist(places, places)
    np.fill_diagonal(away, np.inf)
    means = []
    for _ in range(60):
        thrown: list[np.ndarray] = []
        while len(thrown) < 25:
            place = draw.uniform((0.03, 0.03), (1.97, 0.97))
            if all(math.dist(place, other) >= 0.06 for other in thrown):
                thrown.append(place)
        between = cdist(thrown, thrown)
        np.fill_diagonal(between, np.inf)
        means.append(between.min(axis=1).mean())
    expected = away.min(axis=1).mean() / np.mean(means)
    error = float(np.std(means) / np.mean(means) / math.sqrt(len(means)))
    assert everybody(made).spread == pytest.approx(expected, rel=4.0 * error + 0.005)


@pytest.mark.parametrize(("pattern", "known"), [("square", 2.0), ("hexagonal", 2.1491)])
def test_spread_of_regular_patterns(pattern: str, known: float) -> None:
    """2.1491 is the most that there can be: Clark and Evans (1954); 2 follows for squares, where the nearest
    is 1/sqrt(density) away and chance would give half of that.
    """
    step = 0.01 if pattern == "square" else 0.01 * math.sqrt(2.0 / math.sqrt(3.0))
    rise = step if pattern == "square" else step * math.sqrt(3.0) / 2.0
    columns, rows = round(1.0 / step), round(1.0 / rise)
    places = np.array(
        [
            (step * (column + (0.5 * (row % 2) if pattern == "hexagonal" else 0.0)), rise * row)
            for column in range(columns)
            for row in range(rows)
        ]
    )
    floor = Standable(tuple(map(tuple, box(0.0, 0.0, columns * step, rows * rise))))
    # what the edge adds to the scatter is still there with ten thousand points
    edge = scattered_distance(floor, len(places), 0.0)
    assert edge is not None
    alone = 0.5 * math.sqrt(columns * step * rows * rise / len(places))
    assert spread_of(places[:, None], 0.0, floor) * edge / alone == pytest.approx(known, rel=0.005)


def test_contacts_are_with_walkers_and_count_until_two_pulses_without() -> None:
    made = crowd_of(2, seconds=120.0)
    one, other = 0, 1
    for at, part, closed, against in (
        (10.0, LEFT_WHISKER, True, WALKER),
        (11.0, LEFT_WHISKER, False, WALKER),
        # again after a single pulse, which is the same contact
        (20.0, BODY, True, WALKER),
        (22.0, BODY, False, WALKER),
        (60.0, RIGHT_WHISKER, True, WALL),
        (70.0, RIGHT_WHISKER, False, WALL),
        # a new one, to the end of the run
        (100.0, BODY, True, WALKER),
    ):
        made.touch(one, at, part, closed=closed, against=against)
    made.touch(other, 20.0, BODY, closed=True, against=WALKER)
    made.touch(other, 22.0, BODY, closed=False, against=WALKER)
    for at in (15.0, 30.0, 40.0, 50.0):
        made.pulse(one, at, (0.2, 0.5))
    crowd = everybody(made)
    # three contacts in twice two minutes; 1 + 2 + 20 s, and 2 s, of 240
    assert crowd.crowding == pytest.approx(3.0 / 4.0)
    assert crowd.contact_share == pytest.approx(25.0 / 240.0)
    assert everybody(crowd_of(2)).crowding == 0.0


def test_light_and_how_evenly_it_is_shared() -> None:
    """Jain's index by its closed form, 1 / (1 + (standard deviation / mean)²)."""
    made = Fabricator(seconds=100.0)
    for light in (500.0, 1000.0, 3000.0):
        made.walker(0.2 + light / 4000.0, 0.5, panel_lx=light)
    made.light(2, 75.0, 1000.0)
    crowd = everybody(made)
    gathered = np.array([500.0, 1000.0, 2500.0])
    assert crowd.light_lx == pytest.approx(gathered.mean())
    assert crowd.evenness == pytest.approx(1.0 / (1.0 + (gathered.std() / gathered.mean()) ** 2))


def test_jains_index_as_its_report_has_it() -> None:
    """If k of n share alike and the others get nothing it is k/n: Jain, Chiu and Hawe, TR-301 (1984)."""
    for count, having in ((10, 10), (10, 1), (7, 3)):
        amounts = np.zeros(count)
        amounts[:having] = 4.2
        assert jain_index(amounts) == pytest.approx(having / count)
    assert math.isnan(jain_index(np.zeros(3)))


def through_the_gap(seconds: float = 600.0) -> Fabricator:
    made = Fabricator(seconds=seconds, arena=arena(gates=[GATE]))
    for number in range(6):
        made.walker(0.9, 0.35 + 0.06 * number)
    return made


def test_passages_of_a_gate() -> None:
    made = through_the_gap()
    made.pulse(0, 60.0, (1.1, 0.35))
    # there and back, and there again: the first time counts
    made.pulse(1, 90.0, (1.1, 0.41))
    made.pulse(1, 100.0, (0.9, 0.41))
    made.pulse(1, 110.0, (1.1, 0.41))
    # round the end of it, and up to it, is not through it
    made.pulse(2, 60.0, (0.9, 0.8))
    made.pulse(2, 70.0, (1.1, 0.8))
    made.pulse(3, 60.0, (0.999, 0.53))
    # from the other side
    made.pulse(4, 5.0, (0.9, 0.9))
    made.pulse(4, 10.0, (1.1, 0.9))
    made.pulse(4, 20.0, (1.1, 0.6))
    made.pulse(4, 150.0, (0.9, 0.6))
    replay = made.replay()
    times = passage_times(replay, np.array(GATE["line"]))
    # half a second from 0.9 to 1.1 m, its rows 25 ms apart
    np.testing.assert_allclose(times, [60.25, 90.25, np.nan, np.nan, 150.25, np.nan], atol=0.0251)
    (gate,) = everybody(made).gates
    assert (gate.gate, gate.passed, gate.passed_share) == ("gap", 3, 0.5)
    # the half of six are three: two more within 90 s of the first
    assert gate.flow_per_min == pytest.approx(2.0 / 1.5, rel=1e-3)


def test_flow_ends_with_the_half_and_a_jam_counts_to_the_end() -> None:
    never = math.nan
    assert passing(np.array([10.0, 20.0, 40.0, 500.0, never, never]), 600.0) == (2.0, 30.0)
    # too few of six: one more after the first, in the 580 s that were left
    assert passing(np.array([20.0, 50.0, never, never, never, never]), 600.0) == (1.0, 580.0)
    assert passing(np.array([20.0, never, never]), 600.0) == (0.0, 580.0)
    assert passing(np.array([never, never]), 600.0) == (0.0, 600.0)
    # of two, both have to come
    assert passing(np.array([30.0, 90.0]), 600.0) == (1.0, 60.0)
    assert all(map(math.isnan, passing(np.array([30.0]), 600.0)))


def test_flow_of_those_who_come_at_one_moment_is_undefined() -> None:
    made = through_the_gap()
    for walker in range(3):
        made.pulse(walker, 60.0, (1.1, 0.35 + 0.06 * walker))
    (gate,) = everybody(made).gates
    assert (gate.passed, gate.flow_per_min) == (3, None)


def test_mixing_by_hand() -> None:
    """Two pairs of each design: in the one heap with their own, in the other beside the other design."""
    for places, mixing in (
        (((0.2, 0), (0.3, 0), (1.5, 1), (1.6, 1)), 0.0),
        (((0.2, 0), (0.3, 1), (1.5, 0), (1.6, 1)), 1.5),
    ):
        made = Fabricator(designs=("cress", "borage"))
        for x, design in places:
            made.walker(x, 0.5, design=design)
        found = score_crowds([made.replay()])
        assert [one.of for one in found] == ["all", "cress", "borage"]
        # by chance, two of the three others are of the other design
        assert [one.mixing for one in found] == [pytest.approx(mixing)] * 3
    assert everybody(crowd_of(3)).mixing is None


def test_what_chance_makes_of_neighbours_against_dealing_designs_out_anew() -> None:
    """The expectation of Dixon (1994) against the mean of many deals."""
    draw = np.random.default_rng(6)
    places = draw.uniform(0.0, 1.0, (12, 1, 2))
    design = np.repeat([0, 1, 2], (2, 3, 7))
    _, expected = unlike_shares(places, design)
    dealt = np.zeros(3)
    for _ in range(4000):
        anew = draw.permutation(design)
        unlike, _ = unlike_shares(places, anew)
        dealt += [unlike[anew == kind].mean() for kind in range(3)]
    np.testing.assert_allclose(dealt / 4000, [expected[design == kind][0] for kind in range(3)], atol=0.02)


def test_several_floors_have_their_mean_and_its_range() -> None:
    replays: list[Replay] = []
    for light in (900.0, 1000.0, 1400.0, 1500.0):
        made = crowd_of(2, arena=UNDER_THE_LAMP)
        made.light(0, 0.0, light)
        made.light(1, 0.0, light)
        replays.append(made.replay())
    (crowd,) = score_crowds(replays)
    assert (crowd.floors, crowd.walkers, crowd.light_lx) == (4, 8, pytest.approx(1200.0))
    lights = np.array([900.0, 1000.0, 1400.0, 1500.0])
    known = scipy.stats.ttest_1samp(lights, 0.0).confidence_interval(0.95)
    assert crowd.ranges["light_lx"] == pytest.approx((known.low, known.high))
    assert crowd.ranges["evenness"] == pytest.approx((1.0, 1.0))
    # a share has no more than all, whatever a formula says
    assert mean_interval(np.array([0.0, 0.0, 1.0])) == pytest.approx((-1.101, 1.768), abs=1e-3)
    assert mean_interval(np.array([0.3, 0.4])) is None
    (two,) = score_crowds(replays[:2])
    assert two.ranges == {}
    told = json.loads(json.dumps(crowd.as_dict(), allow_nan=False))
    assert told["ranges"]["light_lx"] == list(crowd.ranges["light_lx"])
    assert set(told) == set(asdict(crowd))


def test_the_floor_of_a_crowd_is_read_from_the_header() -> None:
    tray, plank = box(0.8, 0.3, 1.2, 0.6), [[0.4, 0.0], [0.4, 0.5]]
    bench = arena(
        walls=[
            {"name": "tray", "points": tray, "closed": True, "height": 0.1},
            {"name": "plank", "points": plank, "closed": False, "height": 0.1},
        ],
        gates=[GATE],
    )
    floor = CrowdFloor.of(bench)
    assert floor.standable.solid == (tuple(map(tuple, tray)),)
    assert floor.standable.lines == (tuple(map(tuple, plank)),)
    assert list(floor.gates) == ["gap"]
    assert CrowdFloor.of(arena()).gates == {}
