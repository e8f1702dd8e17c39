"""Trials: each is a world of its own, with the luck of its repeat, whatever runs beside it."""

import math
from concurrent.futures import CancelledError
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from agents.design.spec import Design, read_design
from agents.errors import OptionError
from arena.scene.contest import read_contest
from arena.scene.elements import StartPlace, Starts
from arena.scene.flat_arena import flatten
from arena.scene.placement import Footprint, Ground
from arena.scene.spec import read_arena
from arena.simulation import simulate
from arena.studies.plans.study import Study, parse_study
from arena.studies.running import trials
from arena.studies.running.trial_columns import trial_columns
from arena.studies.running.trials import chunk_size, reason_of, run_chunk, run_trials
from arena.studies.trial_scores import SCORE_COLUMNS, SCORES, TRIAL
from replays.format.tables import LEFT_WHISKER, Replay
from replays.scoring.crowds import score_crowds
from replays.scoring.measures import Measures, measure
from replays.scoring.scores import score
from tests.helpers.fabricate import Fabricator, arena, goal
from tests.helpers.plans import chunk_count
from tests.helpers.worlds import bench, box


def study(folder: str | Path = ".", **changes: Any) -> Study:
    """Poppies among seed trays, where they touch, are shaded and now and then arrive, with changes."""
    plan = {
        "photodrome": "study 1",
        "name": "poppies among trays",
        "arenas": ["tray-wall"],
        "designs": ["poppy"],
        "repeats": 10,
        "seed": 7,
        "lasts": "300 s",
    }
    return parse_study(yaml.safe_dump(plan | changes, sort_keys=False), "plan", folder)


def measured(replay: Replay) -> Measures:
    """Every walker measured for itself: as a trial, it is a design of its own."""
    walkers = replay.walkers.copy()
    walkers["design"] = np.arange(len(walkers))
    return measure(replace(replay, walkers=walkers), replay.goals, replay.seconds, np.arange(len(walkers)))


def same(one: np.ndarray, other: np.ndarray) -> bool:
    return one.dtype == other.dtype and one.shape == other.shape and one.tobytes() == other.tobytes()


def test_every_score_is_made_of_columns_that_there_are() -> None:
    assert TRIAL.names == ("trial", *SCORE_COLUMNS)
    for name, one in SCORES.items():
        assert one.name == name
        assert one.column in SCORE_COLUMNS
        assert (one.weight in SCORE_COLUMNS) == (one.summary == "ratio")


def test_a_repeat_is_the_copy_of_that_number_in_a_contest_of_walkers_alone() -> None:
    """Row by row against the walkers of the contest, worked out one after the other."""
    rows = run_chunk(study(lasts="2400 s"), 0)
    replay = simulate(read_contest("tray-wall", ["poppy"], walkers=10, seconds=2400.0, seed=7, alone=True))
    walkers = measured(replay)
    assert rows["trial"].tolist() == list(range(10))
    for number, row in enumerate(rows):
        reach_s = walkers.reach_s[number]
        assert row["reached"] == (0.0 if math.isnan(reach_s) else 1.0)
        assert row["reach_s"] == (math.inf if math.isnan(reach_s) else reach_s)
        for name in ("light_gain", "directness", "held_s", "stuck_s", "walk_s", "pulses"):
            assert row[name] == getattr(walkers, name)[number]
        angles = walkers.aim_angle[walkers.aim_design == number]
        assert row["aims"] == len(angles)
        assert row["aim_sum"] == pytest.approx(sum(math.cos(angle) for angle in angles), rel=1e-12)
        mine = walkers.episode_design == number
        contacts, shades = mine & walkers.is_contact, mine & ~walkers.is_contact
        assert (row["contacts"], row["escapes"]) == (contacts.sum(), walkers.escaped[contacts].sum())
        assert (row["shades"], row["shade_escapes"]) == (shades.sum(), walkers.escaped[shades].sum())
        assert (row["walkers"], row["impossible"]) == (1.0, 0.0)
    # the case holds all that is to be counted
    assert 0.0 < rows["reached"].mean() < 1.0
    assert np.all(rows["contacts"].sum() > rows["escapes"].sum() > 0.0)
    assert rows["shades"].sum() > 0.0
    # and what the program tells of the contest as a whole is what the rows come to
    (whole,) = score(replay)
    assert whole.reached == rows["reached"].sum()
    assert whole.light_gain == pytest.approx(np.median(rows["light_gain"]), rel=1e-12)
    assert whole.directness == pytest.approx(rows["directness"].mean(), rel=1e-12)
    assert whole.aim == pytest.approx(rows["aim_sum"].sum() / rows["aims"].sum(), rel=1e-12)
    assert (whole.contacts, whole.shades) == (rows["contacts"].sum(), rows["shades"].sum())
    assert whole.pulses == rows["pulses"].sum()


def test_several_walkers_share_the_floor_of_a_trial() -> None:
    """The first repeat is a contest of them with the plan's seed; the second has other luck throughout."""
    plan = study(walkers=4, repeats=3, lasts="600 s")
    rows = run_chunk(plan, 0)
    replay = simulate(read_contest("tray-wall", ["poppy"], walkers=4, seconds=600.0, seed=7, alone=False))
    walkers = measure(replay, replay.goals, replay.seconds, np.array([0]))
    row = rows[0]
    assert row["walkers"] == 4.0
    assert row["pulses"] == walkers.pulses.sum()
    assert row["reached"] == np.mean(~np.isnan(walkers.reach_s))
    assert row["light_gain"] == np.median(walkers.light_gain)
    assert row["directness"] == pytest.approx(np.mean(walkers.directness), rel=1e-12)
    assert row["walk_s"] == walkers.walk_s.sum()
    assert row["held_s"] == pytest.approx(walkers.held_s.sum(), rel=1e-12)
    assert row["stuck_s"] == pytest.approx(walkers.stuck_s.sum(), rel=1e-12)
    assert row["contacts"] == walkers.is_contact.sum()
    assert row["aims"] == len(walkers.aim_angle)
    assert len(set(rows["light_gain"])) == 3
    # no two trials have a copy in common
    drawn: list[int] = []
    with pytest.MonkeyPatch.context() as patch:
        real = trials.draw_copies

        def noted(design: Design, seed: int, numbers: Any, air: float) -> Any:
            drawn.extend(numbers)
            return real(design, seed, numbers, air)

        patch.setattr(trials, "draw_copies", noted)
        run_trials(plan, [plan.setting(0)], [1, 2])
    # threads take them in either order
    assert sorted(drawn) == list(range(4, 12))
    assert same(run_trials(plan, [plan.setting(0)], [2, 1])[0], rows[[2, 1]])


def test_median_and_mean_over_the_walkers_of_a_trial() -> None:
    """Three trials of three walkers, by numpy; nan is left out, a goal not reached is later than any time."""
    nan, inf = math.nan, math.inf
    reach = np.array([[30.0, nan, 10.0], [nan, nan, 20.0], [5.0, 5.0, nan]])
    light = np.array([[1.0, nan, 4.0], [nan, nan, nan], [3.0, 1.0, 2.0]])
    none = np.zeros(0)
    measures = Measures(
        design=np.repeat(np.arange(3), 3),
        pulses=np.arange(9),
        seconds=np.full(9, 60.0),
        has_goal=np.ones(9, bool),
        reach_s=reach.ravel(),
        progress=np.array([[1.0, nan, 0.5], [nan, nan, nan], [-1.0, 1.0, 0.3]]).ravel(),
        light_gain=light.ravel(),
        directness=light.ravel() / 4.0,
        hardly_moved=np.zeros(9, bool),
        walk_s=np.full(9, 60.0),
        stuck_s=np.arange(9.0),
        held_s=np.arange(9.0),
        aim_design=np.array([0, 2, 2]),
        aim_angle=np.array([0.0, math.pi / 3.0, math.pi]),
        episode_design=np.array([1, 1, 2]),
        is_contact=np.array([True, True, False]),
        escape_s=none,
        escape_pulses=none.astype(np.int64),
        escaped=np.array([True, False, True]),
    )
    found = trial_columns(measures, 3)
    assert found["reached"].tolist() == [2 / 3, 1 / 3, 2 / 3]
    assert found["reach_s"].tolist() == [30.0, inf, 5.0]
    assert np.array_equal(found["light_gain"], [2.5, nan, 2.0], equal_nan=True)
    assert np.array_equal(found["directness"], [0.625, nan, 0.5], equal_nan=True)
    assert np.allclose(found["progress"], [0.75, nan, 0.1], equal_nan=True)
    assert found["pulses"].tolist() == [3.0, 12.0, 21.0]
    assert found["aim_sum"].tolist() == pytest.approx([1.0, 0.0, -0.5])
    assert found["aims"].tolist() == [1.0, 0.0, 2.0]
    assert (found["contacts"].tolist(), found["escapes"].tolist()) == ([0.0, 2.0, 0.0], [0.0, 1.0, 0.0])
    assert (found["shades"].tolist(), found["shade_escapes"].tolist()) == ([0.0, 0.0, 1.0], [0.0, 0.0, 1.0])
    without = trial_columns(replace(measures, has_goal=np.zeros(9, bool)), 3)
    assert np.isnan(without["reached"]).all()
    assert np.isnan(without["progress"]).all()
    assert np.isnan(without["reach_s"]).all()


GATED = """photodrome: arena 1
name: gap
floor: {outline: 0 0 / 1 0 / 1 0.6 / 0 0.6 m}
walls:
  - {name: left wing, line: 0.5 0 / 0.5 0.2 m}
  - {name: right wing, line: 0.5 0.4 / 0.5 0.6 m}
lamps:
  - {name: grow lamp, place: 0.8 0.3 m, height: 400 mm, light: incandescent, intensity: 4000 cd}
ambient: {illuminance: 1 klx}
starts: {zone: {outline: 0.1 0.1 / 0.35 0.1 / 0.35 0.5 / 0.1 0.5 m, number: 6, heading: 0 deg}}
goals:
  - {name: under the lamp, centre: 0.8 0.3 m, radius: 60 mm}
gates:
  - {name: gap, line: 0.5 0 / 0.5 0.6 m}
lasts: 900 s
"""


def test_crowds_of_any_number_leave_the_scores_of_their_contests(tmp_path: Path) -> None:
    """Row by row against score_crowds of a contest with as many walkers; all settings share their luck."""
    (tmp_path / "gap.yaml").write_text(GATED, encoding="utf-8")
    plan = study(tmp_path, arenas=["./gap.yaml"], vary={"walkers": "1, 3, 6"}, repeats=2, lasts="900 s")
    rows = run_chunk(plan, 0).reshape(3, 2)
    assert rows["walkers"].tolist() == [[1.0, 1.0], [3.0, 3.0], [6.0, 6.0]]
    (crowd,) = score_crowds(
        [simulate(read_contest(tmp_path / "gap.yaml", ["poppy"], walkers=6, seconds=900.0, seed=7))]
    )
    row, (gate,) = rows[2, 0], crowd.gates
    assert crowd.gathered == pytest.approx(row["gathered"])
    assert crowd.spread == pytest.approx(row["spread"])
    assert crowd.crowding == pytest.approx(row["meetings"] / row["walker_min"])
    assert crowd.contact_share == pytest.approx(row["beside_s"] / row["walker_s"])
    assert crowd.light_lx == pytest.approx(row["panel_lx"])
    assert crowd.evenness == pytest.approx(row["evenness"])
    assert gate.passed_share == row["passed"]
    assert gate.flow_per_min == pytest.approx(row["passages"] / row["passing_min"])
    # the case holds something of all that is counted
    assert 0.0 < row["gathered"] < 1.0
    assert row["meetings"] > 0.0
    assert 0.0 < row["passed"] <= 1.0
    alone = rows[0]
    for name in ("spread", "evenness", "passages", "passing_min"):
        assert np.isnan(alone[name]).all()
    assert alone["meetings"].tolist() == [0.0, 0.0]
    # a single number of walkers, as many as the most of the other, has the same trials
    same_number = run_chunk(study(tmp_path, arenas=["./gap.yaml"], walkers=6, repeats=2, lasts="900 s"), 0)
    for name in SCORE_COLUMNS:
        assert np.array_equal(same_number[name], rows[2][name], equal_nan=True)


def test_the_time_in_contact_ends_with_the_walk() -> None:
    """A whisker closed from 10.4 to 30.1 s, and one from 60.4 s on; both come into the goal at 80.25 s."""
    made = Fabricator(arena=arena(goals=[goal([0.85, 0.4], [1.3, 0.4], [1.3, 0.6], [0.85, 0.6])]))
    for first, last in ((10.4, 30.1), (60.4, None)):
        walker = made.walker(0.1, 0.5)
        for number in range(9):
            made.pulse(walker, 10.0 + 10.0 * number, (0.2 + 0.1 * number, 0.5))
        made.touch(walker, first, LEFT_WHISKER, closed=True)
        if last is not None:
            made.touch(walker, last, LEFT_WHISKER, closed=False)
    found = measured(made.replay())
    assert found.reach_s.tolist() == pytest.approx([80.25, 80.25], abs=0.03)
    assert found.held_s.tolist() == pytest.approx([30.1 - 10.4, found.reach_s[1] - 60.4])


def test_rows_depend_on_nothing_but_setting_and_repeat(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the chunks, the threads and the order."""
    plan = study(vary={"design.both.eye.aside": "15 mm, 30 mm, 45 mm"}, repeats=20)
    whole = run_chunk(plan, 0)
    assert len(whole) == 60
    monkeypatch.setattr(trials, "MOST_IN_CHUNK", 8)
    parts = [run_chunk(plan, number) for number in reversed(range(chunk_count(plan)))]
    assert same(np.concatenate(parts[::-1]), whole)
    monkeypatch.undo()
    assert same(run_chunk(plan, 0, threads=3), whole)
    settings = [plan.setting(number) for number in (2, 0)]
    some = run_trials(plan, settings, [19, 3, 4], threads=2)
    assert same(some, whole.reshape(3, 20)[[2, 0]][:, [19, 3, 4]])


def test_repeats_have_the_same_luck_in_every_setting() -> None:
    """The height of a body shades nobody where there is one walker: all its settings are alike."""
    plan = study(vary={"design.body.height": "35 mm, 20 mm"}, repeats=30)
    rows = run_trials(plan, [plan.setting(0), plan.setting(1)], range(30))
    assert rows["trial"].ravel().tolist() == list(range(60))
    one, other = rows.copy()
    other["trial"] -= 30
    assert same(one, other)
    assert len(set(one["light_gain"])) == 30


def test_a_setting_without_a_number_is_run_likewise() -> None:
    plan = study(vary={"design.both.latch": "8k, 10k"}, repeats=3)
    nameless = replace(plan.setting(1), number=-1)
    rows = run_trials(plan, [nameless, plan.setting(1)], range(3))
    assert rows["trial"].tolist() == [[-1] * 3, [3, 4, 5]]
    rows["trial"] = 0
    assert same(rows[0], rows[1])


def test_what_is_impossible_stops_nobody() -> None:
    """A goal beyond the end of a shorter bench, and bodies that nowhere in the start zone have room."""
    vary = {
        "arena.floor.size_x": "2.2 m, 1.95 m",
        "arena.goals.under the lamp.x": "1.8 m, 2.3 m",
        "design.body.radius": "26 mm, 400 mm",
        "arena.walls.seed tray.x": "0.8 m",
    }
    plan = study(vary=vary, repeats=4)
    rows = run_chunk(plan, 0).reshape(8, 4)
    impossible = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 1.0, 1.0]
    assert rows["impossible"].tolist() == [[one] * 4 for one in impossible]
    bad = np.array(impossible) == 1.0
    for name in SCORE_COLUMNS[:-1]:
        assert np.isnan(rows[name][bad]).all()
    assert not np.isnan(rows["light_gain"][~bad]).any()
    assert rows["trial"].ravel().tolist() == list(range(32))
    for trial, reason in (
        (4, "the start zone of 'tray wall' has room for 0 walkers"),
        (24, "outside the floor"),
    ):
        assert reason in reason_of(plan, trial)
    # the possible ones are as they are by themselves
    nearer = {"arena.walls.seed tray.x": "0.8 m"}
    assert same(run_chunk(study(repeats=4, vary=nearer), 0), rows[0])


def test_a_state_that_is_no_number_costs_that_trial_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = study(repeats=6)
    good = run_chunk(plan, 0)

    def spoilt(design: Design, seed: int, numbers: Any, air: float) -> Any:
        walkers = real(design, seed, numbers, air)
        walkers["panel_saturation"][np.array(numbers) == 2] = math.nan
        return walkers

    real = trials.draw_copies
    monkeypatch.setattr(trials, "draw_copies", spoilt)
    rows = run_chunk(plan, 0)
    others = [0, 1, 3, 4, 5]
    assert same(rows[others], good[others])
    assert rows["impossible"].tolist() == [0.0, 0.0, 1.0, 0.0, 0.0, 0.0]
    assert math.isnan(rows["pulses"][2])
    reason = reason_of(plan, 2)
    assert reason.startswith("the model lost a walker: walker 1 at 0 s: the panel's current was not found")
    assert "rail 0 V" in reason
    assert "Look at panel.saturation_current" in reason


def test_a_stopped_chunk_ends_soon_and_gives_nothing() -> None:
    with pytest.raises(CancelledError):
        run_chunk(study(), 0, stop=np.ones(1, np.int64))
    with pytest.raises(CancelledError):
        run_chunk(study(), 0, threads=2, stop=np.ones(1, np.int64))


def test_chunks_are_smaller_where_trials_take_long() -> None:
    assert chunk_size(study()) == 256
    assert chunk_count(study(repeats=257)) == 2
    assert chunk_size(study(walkers=100, lasts="2 h")) == 2
    assert chunk_size(study(walkers=1000, lasts="10 h")) == 1


def test_listed_places_are_taken_in_turn() -> None:
    """Copies beyond the last place begin with the first again; a heading left open is each one's own."""
    places = (StartPlace(place=(0.3, 0.3), heading=0.5), StartPlace(place=(0.9, 0.6)))
    spec = bench(box(2.0, 1.2), ambient=2000.0, starts=Starts(places=places))
    ground = Ground(spec, flatten(spec))
    print_ = Footprint(0.026, 0.004)
    poses = [ground.place_alone(print_, 3, copy) for copy in range(5)]
    assert [pose[:2] for pose in poses] == [(0.3, 0.3), (0.9, 0.6)] * 2 + [(0.3, 0.3)]
    assert poses[0][2] == poses[2][2] == 0.5
    assert poses[1][2] != poses[3][2]
    assert np.array_equal(Ground(spec, flatten(spec)).place([print_] * 2, 3), poses[:2])
    with pytest.raises(OptionError, match="start place 2"):
        ground.place_alone(Footprint(0.65, 0.0), 3, 1)


def test_copy_by_copy_a_zone_gives_what_it_gives_a_contest() -> None:
    spec = read_arena("slalom")
    ground = Ground(spec, flatten(spec))
    one = Footprint(0.026, 0.004)
    for copy in range(20):
        (pose,) = Ground(spec, flatten(spec)).place([one], 9 + copy)
        assert np.array_equal(ground.place_alone(one, 9, copy), pose)


def test_designs_put_together_in_turn_are_those_put_together_one_by_one() -> None:
    design = read_design("poppy")
    rows: list[dict[str, Any]] = [
        {"both.latch": 4.7e3, "left.eye.tape": 0.5},
        {"both.latch": 8.2e3, "left.eye.tape": 0.25},
        {"both.latch": 9.1e3, "left.whisker": None},
        {"both.latch": 9.1e3, "left.whisker": design.right.whisker, "left.whisker.length": 0.03},
        {"both.latch": 9.1e3, "left.whisker": design.right.whisker, "left.whisker.length": 0.04},
    ]
    before = design.model_dump()
    for copy, row in zip(design.in_turn(rows), rows, strict=True):
        expected = design.with_values(row if "left.eye.tape" in row else row | {"left.eye.tape": 0.25})
        assert copy == expected
    assert design.model_dump() == before
