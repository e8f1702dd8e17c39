"""Faults that the bench names are seen in an arena: who has one does worse there than who has it not."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
import scipy.stats

from agents.design.spec import Design
from agents.testbench.bench_figures import bench_point
from arena.scene.contest import Entrant, read_contest
from arena.simulation import simulate
from replays.scoring.scores import DesignScore, score

DEFAULT = Design(name="test")
# About the light on the way to the lamp of each arena.
LIGHT = 3e3

# A lamp a metre off.
BENCH = """\
photodrome: arena 1
name: bench
floor: {outline: 0 0 / 2.0 0 / 2.0 1.2 / 0 1.2 m, rim: 40 mm}
lamps:
  - {name: lamp, place: 1.6 0.6 m, height: 600 mm, light: sun, intensity: 5000 cd, diameter: 80 mm}
ambient: {illuminance: 1 klx, light: sun}
starts:
  zone: {outline: 0.2 0.15 / 0.7 0.15 / 0.7 1.05 / 0.2 1.05 m, number: 1}
goals:
  - {name: under the lamp, centre: 1.6 0.6 m, radius: 200 mm}
"""

# A lamp far off on a wide floor, so that the way is long and the lamp's share of the light small at first.
SHED = """\
photodrome: arena 1
name: long shed
floor: {outline: 0 0 / 5 0 / 5 4 / 0 4 m}
lamps:
  - {name: lamp, place: 4 2 m, height: 1.4 m, light: sun, intensity: 14000 cd, diameter: 80 mm}
ambient: {illuminance: 1.5 klx, light: sun}
starts:
  zone: {outline: 0.9 1.9 / 1.1 1.9 / 1.1 2.1 / 0.9 2.1 m, number: 1}
goals:
  - {name: under the lamp, centre: 4 2 m, radius: 300 mm}
"""


def raced(
    arena: str | Path, copies: int, minutes: float, changes: Sequence[dict[str, object]]
) -> list[DesignScore]:
    """The default design with each of the changes, every copy alone and with the same luck."""
    contest = read_contest(arena, ["poppy"], copies, 60.0 * minutes, seed=1, alone=True)
    designs = [
        DEFAULT.with_values(one).model_copy(update={"name": f"{number}"})
        for number, one in enumerate(changes)
    ]
    return score(simulate(replace(contest, entrants=tuple(Entrant(design, "") for design in designs))))


def flat(volts: float) -> dict[str, object]:
    return {"both.eye.dark_trigger": volts, "both.eye.slope": 0.0}


UNLIKE_MOTORS = {
    "storage.capacitance": 3e-3,
    "left.motor.resistance": 60.0,
    "left.eye.dark_trigger": 2.27,
}


@pytest.mark.parametrize(
    ("fault", "arena", "copies", "minutes", "faulty", "sound"),
    [
        ("hangs", "pot-rows", 20, 25.0, {"both.latch": 47e3, "both.feeler": 10e3}, {"both.latch": 47e3}),
        ("hangs", "pot-rows", 20, 25.0, {"both.latch": 100e3}, {"both.latch": 33e3}),
        ("dull", BENCH, 40, 60.0, flat(2.9), {}),
        ("dull", SHED, 30, 150.0, {"both.eye.slope": 0.03, "both.eye.dark_trigger": 2.9}, {}),
        ("strays", SHED, 30, 150.0, {"left.eye.dark_trigger": 2.42}, {"left.eye.dark_trigger": 2.25}),
        ("strays", SHED, 30, 150.0, UNLIKE_MOTORS, {"storage.capacitance": 3e-3}),
    ],
)
def test_who_has_a_fault_does_worse(
    tmp_path: Path,
    fault: str,
    arena: str,
    copies: int,
    minutes: float,
    faulty: dict[str, object],
    sound: dict[str, object],
) -> None:
    assert fault in bench_point(DEFAULT.with_values(faulty), LIGHT).faults
    assert fault not in bench_point(DEFAULT.with_values(sound), LIGHT).faults
    place: str | Path = arena
    if "\n" in arena:
        place = tmp_path / "arena.yaml"
        place.write_text(arena)
    worse, better = (one.reached or 0 for one in raced(place, copies, minutes, (faulty, sound)))
    table = [[worse, copies - worse], [better, copies - better]]
    assert scipy.stats.fisher_exact(table, "less").pvalue < 0.005, (worse, better)
