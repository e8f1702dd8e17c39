"""The luck of trials: what two seeds draw has nothing to do with one another, repeat by repeat.

Spearman's coefficient of n independent pairs has a standard deviation of 1 over the root of n - 1 (Kendall
and Stuart, The Advanced Theory of Statistics 2, from memory); scipy works it out.
"""

import math
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import yaml
from scipy import stats

from agents.arrays import FloatArray
from agents.noise import TRIGGER, normal_pair
from arena.studies.plans.study import Study, parse_study
from arena.studies.running import trials
from arena.studies.running.trials import run_trials

REPEATS = 400
# Of a few thousand coefficients the outermost lies farther out once in some hundred thousand times.
SIGMAS = 6.0
# Trials by which the repeats of one seed may be shifted against those of another.
SHIFTS = range(-12, 13)

ARENA = """photodrome: arena 1
name: wide zone
floor: {outline: 0 0 / 2 0 / 2 2 / 0 2 m}
lasts: 20 min
ambient: {illuminance: 5 klx, light: daylight}
starts:
  zone: {outline: 0.2 0.2 / 1.8 0.2 / 1.8 1.8 / 0.2 1.8 m, number: 4}
"""


@pytest.fixture(autouse=True)
def _wide_zone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "wide.yaml").write_text(ARENA)
    monkeypatch.chdir(tmp_path)


def plan(seed: int, **changes: object) -> Study:
    """Poppies with loose parts and jitter, that start anywhere in a zone, facing any way."""
    content = {
        "photodrome": "study 1",
        "name": "luck",
        "arenas": ["./wide.yaml"],
        "designs": ["poppy"],
        "repeats": REPEATS,
        "seed": seed,
        "lasts": "120 s",
    }
    return parse_study(yaml.safe_dump(content | changes, sort_keys=False), "plan", ".")


def draws(study: Study) -> dict[str, FloatArray]:
    """What a setting draws by name, each (repeats,): starts, parts, and the first jitters of both eyes."""
    worlds = trials._bench_of(study).worlds(study.setting(0), range(study.repeats))
    plans = trials._bench_of(study)._plans([world for world in worlds if not isinstance(world, str)])
    assert len(plans) == study.repeats
    found: dict[str, FloatArray] = {}
    for walker in range(study.walkers):
        for place, name in enumerate(("x", "y", "heading")):
            found[f"{name} {walker}"] = np.array([one.poses[walker, place] for one in plans])
        for name in ("capacitance", "photo_per_lux"):
            found[f"{name} {walker}"] = np.array([float(one.walkers[name][walker]) for one in plans])
        for name in ("dark_trigger", "series", "latch", "feeler", "coupling", "motor_resistance"):
            for side in (0, 1):
                values = [float(one.walkers["side"][name][walker, side]) for one in plans]
                found[f"{name} {side} {walker}"] = np.array(values)
        jitter = np.array([normal_pair(one.seed, int(one.chances[walker]), TRIGGER, 0) for one in plans])
        found[f"jitter 0 {walker}"], found[f"jitter 1 {walker}"] = jitter.T
    assert all(np.ptp(values) > 0.0 for values in found.values())
    return found


@pytest.mark.parametrize("seeds", [(1, 2), (2, 3), (2**63 - 2, 2**63 - 1)])
@pytest.mark.parametrize("walkers", [1, 2])
def test_two_seeds_share_no_luck(seeds: tuple[int, int], walkers: int) -> None:
    """However far the repeats of one are shifted against those of the other."""
    one, other = (draws(plan(seed, walkers=walkers)) for seed in seeds)
    for name, mine in one.items():
        assert not set(mine.tolist()) & set(other[name].tolist()), name
        for shift in SHIFTS:
            first, second = mine[max(shift, 0) :], other[name][max(-shift, 0) :]
            length = min(len(first), len(second))
            first, second = first[:length], second[:length]
            bound = SIGMAS / math.sqrt(length - 1)
            assert abs(stats.spearmanr(first, second).statistic) < bound, (name, shift)


def test_what_one_seed_draws_for_one_repeat_is_independent() -> None:
    """Every draw of every other one, and each of its own of the repeat before."""
    found = draws(plan(3, walkers=2))
    bound = SIGMAS / math.sqrt(REPEATS - 2)
    for (name, mine), (other, theirs) in combinations(found.items(), 2):
        assert abs(stats.spearmanr(mine, theirs).statistic) < bound, (name, other)
    for name, mine in found.items():
        assert abs(stats.spearmanr(mine[:-1], mine[1:]).statistic) < bound, name


def test_no_trial_of_one_seed_is_one_of_the_next() -> None:
    """The scores of the trials themselves."""
    lights = [
        run_trials(study, [study.setting(0)], range(12))["light_gain"].ravel().tolist()
        for study in (plan(seed, repeats=12, arenas=["tray-wall"], lasts="300 s") for seed in (1, 2))
    ]
    assert len({*lights[0], *lights[1]}) == 24
