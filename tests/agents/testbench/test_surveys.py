"""Where a walker heads beside a lamp: by the circuit alone, and as thousands of simulated pulses have it."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import scipy.optimize

from agents.circuit.steering import balance, heading_beside, lead
from agents.design.as_built import build
from agents.design.built_copies import draw_copies
from agents.design.spec import Design, Tolerance, read_design
from agents.testbench.bench_figures import bench_record
from agents.testbench.faults import FAULTS, LOPSIDED
from agents.testbench.surveys import survey
from arena.scene.contest import Contest, Entrant, read_contest
from arena.simulation import simulate
from replays.format.tables import Replay

COPIES = 200

# A lamp so far away that a walk hardly changes its light: 2 klx square to its rays and 32 deg up, beside
# 1 klx from all sides. That is the lamp of a survey at 3 klx.
SHED = """\
photodrome: arena 1
name: long shed
floor: {outline: 0 0 / 8 0 / 8 4 / 0 4 m}
lamps:
  - {name: lamp, place: 6.9 2 m, height: 3.4 m, light: daylight, intensity: 81000 cd, diameter: 80 mm}
ambient: {illuminance: 1 klx, light: daylight}
starts:
  zone: {outline: 1.4 1.9 / 1.6 1.9 / 1.6 2.1 / 1.4 2.1 m, number: 1, heading: 0 deg}
"""

# The open bench, with starts anywhere on its dark half.
BENCH = """\
photodrome: arena 1
name: bench
floor: {outline: 0 0 / 2.0 0 / 2.0 1.2 / 0 1.2 m, rim: 40 mm}
lamps:
  - {name: lamp, place: 1.6 0.6 m, height: 600 mm, light: incandescent, intensity: 5000 cd, diameter: 80 mm}
ambient: {illuminance: 1 klx, light: daylight}
starts:
  zone: {outline: 0.2 0.15 / 0.7 0.15 / 0.7 1.05 / 0.2 1.05 m, number: 1}
goals:
  - {name: under the lamp, centre: 1.6 0.6 m, radius: 200 mm}
"""


def unlike_eyes(name: str, tolerance: str) -> Design:
    """A shipped design whose eyes come from a poor bag; all other parts as its file has them."""
    design = read_design(name)
    spread = {**design.spread, "both.eye.dark_trigger": Tolerance(normal=tolerance, bound="600 mV")}
    return design.model_copy(update={"spread": spread})


def ran(folder: Path, arena: str, design: Design, minutes: float) -> Replay:
    path = folder / "arena.yaml"
    path.write_text(arena)
    contest: Contest = read_contest(path, ["poppy"], COPIES, 60.0 * minutes, seed=1, alone=True)
    return simulate(replace(contest, entrants=(Entrant(design, ""),)))


def by_hand(walker: np.void, lamp: float, even: float, elevation: float, bearing: float) -> float:
    """The lead of a lamp [V], of the default eye and its aim."""
    exponent = -math.log(2.0) / math.log(math.cos(math.radians(50.0)))
    ray = np.array(
        [
            math.cos(elevation) * math.cos(bearing),
            math.cos(elevation) * math.sin(bearing),
            math.sin(elevation),
        ]
    )
    triggers = []
    for side, outward in zip(walker["side"], (1.0, -1.0), strict=True):
        up, aside = math.radians(20.0), outward * math.radians(40.0)
        aim = np.array([math.cos(up) * math.cos(aside), math.cos(up) * math.sin(aside), math.sin(up)])
        seen = even + lamp * max(float(aim @ ray), 0.0) ** exponent
        triggers.append(float(side["dark_trigger"]) + 0.7 * math.log10(1.0 + seen / 150.0))
    return triggers[0] - triggers[1]


@pytest.mark.parametrize("difference", [-0.2, -0.05, 0.0, 0.1, 0.25])
def test_the_balance_is_where_both_triggers_are_alike(difference: float) -> None:
    design = Design(name="test").with_values({"left.eye.dark_trigger": 2.2 + difference})
    walker = build(design)[0]
    elevation = math.radians(32.0)
    for bearing in np.radians([-170.0, -60.0, 0.0, 25.0, 100.0]):
        assert lead(walker, 2e3, 1e3, elevation, bearing) == pytest.approx(
            by_hand(walker, 2e3, 1e3, elevation, bearing), abs=1e-12
        )
    root = scipy.optimize.brentq(
        lambda bearing: by_hand(walker, 2e3, 1e3, elevation, bearing), -math.radians(55.0), math.radians(55.0)
    )
    assert balance(walker, 2e3, 1e3, elevation) == pytest.approx(root, abs=1e-8)


def test_eyes_too_unlike_have_no_balance_and_neither_have_eyes_that_see_no_light() -> None:
    design = Design(name="test").with_values({"left.eye.dark_trigger": 2.8})
    assert math.isnan(balance(build(design)[0], 2e3, 1e3, 0.5))
    # a third of that holds where nothing but the lamp gives light
    assert not math.isnan(balance(build(design)[0], 2e3, 0.0, 0.5))
    blind = Design(name="test").with_values({"both.eye.slope": 0.0})
    assert math.isnan(balance(build(blind)[0], 2e3, 1e3, 0.5))


def test_a_gap_between_two_narrow_lobes_counts_by_its_middle() -> None:
    values = {"both.eye.half_angle": math.radians(2.0), "both.eye.outward": math.radians(60.0)}
    walker = build(Design(name="test").with_values(values))[0]
    assert lead(walker, 2e3, 1e3, 0.4, 0.1) == pytest.approx(0.0, abs=1e-12)
    assert balance(walker, 2e3, 1e3, 0.4) == pytest.approx(0.0, abs=1e-9)


def test_the_mean_bearing_of_pulses_of_any_size_lies_between_both_turns() -> None:
    # The rule itself, played with no circuit: the right side fires left of the balance and takes the bearing
    # down by its turn, the left side up by its own. Turns vary a little, lest alike ones fall into step.
    chance = np.random.default_rng(1)
    for balanced, left, right in ((0.1, 0.9, 1.1), (-0.3, 1.5, 0.7), (0.0, 1.0, 1.0)):
        bearing, bearings = 0.3, []
        for wander in chance.normal(1.0, 0.1, 20_000):
            bearings.append(bearing)
            bearing += wander * (-right if bearing > balanced else left)
        assert heading_beside(balanced, left, right) == pytest.approx(np.mean(bearings), abs=0.02)
    assert heading_beside(0.2, math.nan, 1.0) == 0.2


def mean_bearings(replay: Replay) -> npt.NDArray[np.float64]:
    """Mean bearing of the lamp before each walker's 6th to 80th pulse [rad]."""
    pulses = replay.pulses
    found = []
    for number in range(COPIES):
        own = pulses[pulses["walker"] == number][5:80]
        bearings = np.arctan2(2.0 - own["y0"], 6.9 - own["x0"]) - own["heading0"]
        found.append(float(np.angle(np.mean(np.exp(1j * bearings)))))
    return np.array(found)


@pytest.mark.parametrize("name", ["poppy", "sunflower"])
def test_walkers_head_where_the_survey_says(tmp_path: Path, name: str) -> None:
    design = unlike_eyes(name, "150 mV")
    seen = mean_bearings(ran(tmp_path, SHED, design, 90.0))
    told = survey(draw_copies(design, 1, range(COPIES)), [3e3], "daylight").beside[:, 0]
    heads = ~np.isnan(told)
    assert 0.5 < np.mean(heads) < 0.95
    assert np.corrcoef(seen[heads], told[heads])[0, 1] > 0.88
    # sixty to seventy-five pulses, each of 60 deg, leave a few degrees to luck
    assert np.degrees(np.sqrt(np.mean((seen - told)[heads] ** 2))) < 9.0
    assert abs(np.degrees(np.mean((seen - told)[heads]))) < 3.0
    straight = np.abs(np.nan_to_num(told, nan=math.inf)) <= math.radians(30.0)
    assert np.mean(straight == (np.abs(seen) <= math.radians(30.0))) >= 0.85
    # jitter keeps a few that only just have no balance from circling
    assert np.median(np.abs(seen[~heads])) > math.radians(35.0)


@pytest.mark.parametrize("name", ["poppy", "cress", "broad-bean"])
def test_who_has_a_balance_arrives_and_the_bench_alone_does_not_tell(tmp_path: Path, name: str) -> None:
    design = unlike_eyes(name, "250 mV")
    replay = ran(tmp_path, BENCH, design, 60.0)
    records = draw_copies(design, 1, range(COPIES))
    arrives, balanced, lopsided = [], [], []
    for number, walker in enumerate(records):
        own = replay.poses[replay.poses["walker"] == number]
        away = np.hypot(1.6 - own["x"], 0.6 - own["y"])
        arrives.append(bool(away.min() <= 0.2))
        # the lamp as it stands after a fifth of the way
        distance = 0.8 * float(away[0])
        square = 5000.0 / (distance**2 + 0.6**2)
        balanced.append(not math.isnan(balance(walker, square, 1e3, math.atan2(0.6, distance))))
        lopsided.append(LOPSIDED in bench_record(walker, 3e3).faults)
    assert 0.5 < np.mean(arrives) < 0.9
    agreement = np.mean(np.array(arrives) == balanced)
    assert agreement >= 0.88
    assert np.mean(np.array(arrives) != lopsided) < agreement - 0.1


def test_a_survey_finds_what_the_bench_finds_of_each_copy() -> None:
    design = unlike_eyes("poppy", "200 mV").with_values({"storage.capacitance": 3000e-6})
    lights = [30.0, 1e3, 20e3, 100e3]
    found = survey(draw_copies(design, 3, range(4, 40)), lights, "incandescent")
    names = set()
    for row, number in enumerate(range(4, 40)):
        walker = build(design.built(3, number))[0]
        for column, light in enumerate(lights):
            bits = int(found.faults[row, column])
            told = tuple(name for place, name in enumerate(FAULTS) if bits >> place & 1)
            assert told == bench_record(walker, light, "incandescent").faults
            names.update(told)
    assert len(names) >= 4
