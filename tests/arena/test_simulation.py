"""A contest as a whole: the same bytes whatever runs beside it, nobody's luck shifted, stops that stop."""

import dataclasses
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from agents.design.as_built import build
from agents.design.spec import Design, Tolerance
from agents.errors import ModelError, OptionError
from arena.engine.assembly import WorldPlan
from arena.scene.contest import Contest
from arena.scene.elements import Starts, StartZone
from arena.scene.flat_arena import flatten
from arena.scene.spec import ArenaSpec
from arena.simulation import BATCH, run_plans, simulate
from replays.format.grains import SECOND
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import TABLES, Replay
from tests.helpers.worlds import bench, box, contest, design, lamp, leaf, plank, tray

# Columns that say where a row belongs, not what happened.
PLACES = ("walker", "design", "heat")


def floor(number: int = 8, *, zone: tuple[float, float] = (0.9, 0.9)) -> ArenaSpec:
    """A bench with everything on it, and a start zone in its near corner."""
    corners = ((0.05, 0.05), (zone[0], 0.05), zone, (0.05, zone[1]))
    return bench(
        box(1.6, 1.0),
        [lamp(1.4, 0.8, 0.5, 2500.0, 0.08), lamp(-0.2, 0.3, 0.2, 300.0)],
        [plank((1.0, 0.2), (1.0, 0.6), height=0.05), tray((1.2, 0.1), (1.3, 0.1), (1.25, 0.2))],
        [leaf((0.4, 0.4), (0.7, 0.4), (0.7, 0.7), height=0.2, passes=0.3)],
        ambient=1500.0,
        starts=Starts(zone=StartZone(outline=corners, number=number)),
    )


def spread(name: str, **values: object) -> Design:
    """A design whose parts stray from copy to copy."""
    tolerances = {
        "both.latch": Tolerance(uniform="5 %"),
        "storage.capacitance": Tolerance(uniform="20 %"),
        "both.eye.dark_trigger": Tolerance(normal="30 mV"),
    }
    return design(name, **values).model_copy(update={"spread": tolerances})


def as_bytes(replay: Replay, path: Path) -> bytes:
    write_replay(replay, path)
    return path.read_bytes()


def of_walker(replay: Replay, number: int) -> dict[str, Any]:
    """All that a replay tells of one walker, without the columns that say where it stands in the replay."""
    found: dict[str, Any] = {"built": replay.built[number], "ledger": replay.ledger[number]}
    for name, dtype in TABLES.items():
        table = getattr(replay, name)
        rows = table[number : number + 1] if name == "walkers" else table[table["walker"] == number]
        assert dtype.names is not None
        found[name] = [rows[column] for column in dtype.names if column not in PLACES]
    return found


def check_alike(one: Replay, number: int, other: Replay, other_number: int) -> None:
    first, second = of_walker(one, number), of_walker(other, other_number)
    for name, columns in first.items():
        for column, other_column in zip(columns, second[name], strict=True):
            assert np.array_equal(column, other_column), name


@pytest.mark.parametrize("alone", [True, False], ids=["alone", "side by side"])
def test_any_number_of_threads_gives_the_same_bytes(alone: bool, tmp_path: Path) -> None:
    """Also run twice in one process, whose memory is then full of what other runs left."""
    designs = [spread("carrot"), spread("parsnip", body__radius=0.02)]
    # alone, more worlds than one call of the engine takes where they are dealt out
    walkers = 16 if alone else 10
    one = contest(floor(), designs, walkers=walkers, seconds=400.0, alone=alone)
    written = {
        threads: as_bytes(simulate(one, threads), tmp_path / f"{threads}.npz") for threads in (1, 2, 5, None)
    }
    assert len(set(written.values())) == 1
    replay = read_replay(tmp_path / "1.npz")
    assert len(replay.pulses) > 50
    # both latches, both triggers and the storage of every copy strayed by an amount of its own
    assert all(len(np.unique(column)) == walkers for column in replay.built.T)
    assert replay.built.shape == (2 * walkers, 5)
    other = contest(floor(), designs, walkers=walkers, seconds=400.0, alone=alone, seed=2)
    assert as_bytes(simulate(other, 2), tmp_path / "other.npz") != written[2]


def test_hot_air_silences_bare_eyes_and_frost_does_not() -> None:
    """At 60 degC the default panel gives less than its eyes ask for, as its sheet on the bench says."""
    one = design("basil", storage__start=2.5)
    pulses = []
    for air in (263.15, 298.15, 333.15):
        terms = contest(floor(2), [one], walkers=2, seconds=300.0)
        warm = dataclasses.replace(terms, arena=terms.arena.model_copy(update={"air": air}))
        race = simulate(warm, threads=1)
        assert race.arena["air_K"] == air
        pulses.append(len(race.pulses))
    assert pulses[0] > 4
    assert pulses[1] > 4
    assert pulses[2] == 0


def test_a_further_walker_alone_shifts_nobody() -> None:
    """Neither parts, nor start places, nor jitter, nor anything that comes of them."""
    spec = floor()
    few = simulate(contest(spec, [spread("carrot")], walkers=3, seconds=500.0, alone=True))
    many = simulate(contest(spec, [spread("carrot")], walkers=20, seconds=500.0, alone=True), threads=5)
    for number in range(3):
        assert np.sum(few.pulses["walker"] == number) > 5
        check_alike(few, number, many, number)


def test_a_further_design_alone_shifts_nobody() -> None:
    spec = floor()
    carrot, parsnip = spread("carrot"), design("parsnip", both__eye__aside=0.02)
    one = simulate(contest(spec, [carrot], walkers=4, seconds=500.0, alone=True))
    both = simulate(contest(spec, [parsnip, carrot], walkers=4, seconds=500.0, alone=True))
    for number in range(4):
        check_alike(one, number, both, 4 + number)
        # and copies of like number have the same luck: start, and draws of the jitter
        assert both.walkers["x"][number] == both.walkers["x"][4 + number]


def test_copies_of_like_number_have_the_same_luck() -> None:
    """Two designs that differ in name only walk the same walk."""
    both = simulate(contest(floor(), [design("carrot"), design("parsnip")], walkers=3, alone=True))
    for number in range(3):
        check_alike(both, number, both, 3 + number)
    assert not np.array_equal(
        both.pulses["trigger_V"][both.pulses["walker"] == 0][:5],
        both.pulses["trigger_V"][both.pulses["walker"] == 1][:5],
    )


def plan(spec: ArenaSpec, number: int, until: float = 300.0) -> WorldPlan:
    """A world of six walkers; ``number`` keys its draws and names its walkers."""
    poses = [(0.1 + 0.12 * place, 0.1 + 0.07 * (number % 5), 0.9 * place + number) for place in range(6)]
    numbers = 6 * number + np.arange(6)
    return WorldPlan(
        flatten(spec),
        np.concatenate([build(design("carrot"))] * 6),
        np.array(poses),
        numbers,
        numbers,
        1,
        until,
    )


def test_what_else_runs_in_a_batch_shifts_nobody() -> None:
    """One world alone, first, in the middle and last of a batch, beside other floors and other lengths."""
    spec, other = floor(), bench(box(1.0, 1.0), ambient=5000.0)
    tables, ledger = run_plans([plan(spec, 3)])
    assert len(tables["pulses"]) > 20
    for place in (0, 2, BATCH - 1, BATCH):
        crowd = [
            plan(spec if number % 2 else other, 4 + number, 100.0 + 10.0 * number)
            for number in range(BATCH + 2)
        ]
        crowd.insert(place, plan(spec, 3))
        together, all_ledgers = run_plans(crowd, threads=3)
        for name, table in tables.items():
            rows = together[name]
            mine = rows[(rows["walker"] >= 18) & (rows["walker"] < 24)]
            assert np.array_equal(mine, table), (place, name)
        assert np.array_equal(all_ledgers[6 * place : 6 * place + 6], ledger)


def test_rows_of_a_replay_are_in_order() -> None:
    """As replays.format.tables says; each walker has pose and light at time 0, no row comes after the end."""
    replay = simulate(contest(floor(), [design("carrot")], walkers=10, seconds=333.0))
    count = len(replay.walkers)
    for name, keys in (
        ("pulses", ("start_s", "walker")),
        ("poses", ("walker", "time_s")),
        ("lights", ("walker", "time_s")),
    ):
        table = getattr(replay, name)
        order = np.lexsort([table[key] for key in reversed(keys)])
        assert np.array_equal(table, table[order]), name
        assert np.max(table[keys[0] if name == "pulses" else "time_s"]) <= 333.0
    assert np.all(np.diff(replay.touches["time_s"]) >= 0.0)
    for table in (replay.poses, replay.lights):
        begins = table[table["time_s"] == 0.0]
        assert np.array_equal(np.unique(begins["walker"]), np.arange(count))
    for number in range(count):
        mine = replay.pulses[replay.pulses["walker"] == number]
        assert np.all(mine["start_s"][1:] >= mine["rest_s"][:-1])
        assert np.all(mine["let_go_s"] <= mine["rest_s"])
        # where one pulse ends the next one begins, unless another body pushed in between
        still = np.hypot(mine["x0"][1:] - mine["x1"][:-1], mine["y0"][1:] - mine["y1"][:-1])
        assert np.median(still) == 0.0
        assert np.all(mine["path_m"] >= np.hypot(mine["x1"] - mine["x0"], mine["y1"] - mine["y0"]) - 1e-4)


def test_a_pulse_at_the_end_of_the_run_is_cut_off() -> None:
    whole = simulate(contest(floor(), [design("carrot")], walkers=2, seconds=300.0, alone=True))
    last = whole.pulses[-1]
    middle = np.round(50.0 * (last["start_s"] + last["rest_s"])) / 100.0
    cut = simulate(contest(floor(), [design("carrot")], walkers=2, seconds=float(middle), alone=True))
    rows = cut.pulses[cut.pulses["ended"] == 1]
    assert last["walker"] in rows["walker"]
    row = rows[rows["walker"] == last["walker"]][0]
    assert row["start_s"] == last["start_s"]
    assert middle - 1.0 / SECOND < row["rest_s"] <= middle
    # what was before is the same
    before = whole.pulses["rest_s"] < middle
    kept = cut.pulses["ended"] == 0
    assert np.array_equal(cut.pulses[kept], whole.pulses[before])


def endless(alone: bool) -> Contest:
    """A contest that would take hours."""
    return contest(floor(), [design("carrot")], walkers=8, seconds=1e6, alone=alone)


@pytest.mark.parametrize("alone", [True, False], ids=["alone", "side by side"])
@pytest.mark.parametrize("threads", [1, 4])
def test_an_interrupt_ends_every_thread(alone: bool, threads: int) -> None:
    """As when Ctrl-C comes while the bar moves: it is raised at once, and nothing goes on behind it."""
    simulate(contest(floor(), [design("carrot")], walkers=2, seconds=1.0, alone=alone))
    before = threading.active_count()

    def interrupt(done: float) -> None:
        assert done < 1.0
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        simulate(endless(alone), threads, interrupt)
    assert threading.active_count() == before


def test_progress_goes_from_nothing_to_all() -> None:
    told: list[float] = []
    simulate(contest(floor(), [design("carrot")], walkers=6, seconds=2000.0), 1, told.append)
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_a_walker_that_is_no_number_is_an_error() -> None:
    """One lost walker stops the run, with a name, before nan gets into a replay."""
    good = plan(floor(), 0)
    bad = plan(floor(), 1)
    bad.walkers["capacitance"][2] = np.nan
    with pytest.raises(ModelError, match="lost a walker"):
        run_plans([good, bad], threads=2)


def test_no_room_is_told_before_anything_runs() -> None:
    told: list[float] = []
    with pytest.raises(OptionError):
        simulate(contest(floor(zone=(0.2, 0.2)), [design("carrot")], walkers=500), 1, told.append)
    assert told == []
