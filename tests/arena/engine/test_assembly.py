"""Worlds as they lie in memory: nothing twice that is there once, and no more than a walker needs."""

from dataclasses import replace

import numpy as np

from agents.circuit.records import WALKER
from agents.design.as_built import build
from arena.engine.assembly import Known, WorldPlan, assemble
from arena.simulation import run_plans
from tests.benchmarks.engine import memory
from tests.benchmarks.worlds import hall, many_arenas
from tests.helpers.worlds import design


def test_walkers_that_are_built_alike_are_stored_once() -> None:
    """Two kinds in two worlds: two records, and each walker has its own kind's."""
    kinds = [build(design("radish", both__latch=latch))[0] for latch in (10e3, 22e3)]
    arena = many_arenas(1)[0].arena
    plans = []
    for world in range(2):
        walkers = np.array([kinds[(number + world) % 2] for number in range(4)], WALKER)
        poses = np.column_stack([0.3 + 0.2 * np.arange(4), np.full(4, 0.3), np.zeros(4)])
        numbers = np.arange(4)
        plans.append(WorldPlan(arena, walkers, poses, numbers, numbers, 1, 1.0))
    batch, _ = assemble(plans)
    assert len(batch.crowd.walkers) == 2
    latches = batch.crowd.walkers["side"]["latch"][batch.crowd.bodies["built"], 0]
    assert latches.tolist() == [10e3, 22e3, 10e3, 22e3, 22e3, 10e3, 22e3, 10e3]


def test_who_shares_a_record_fares_as_with_one_of_his_own() -> None:
    """A value that no kernel of these worlds reads makes the records differ."""
    (plan,) = hall(60, 150.0)
    own = plan.walkers.copy()
    own["side"]["table_light"][:, 0, 0] = np.arange(60)
    apart = replace(plan, walkers=own)
    assert len(assemble([apart])[0].crowd.walkers) == 60
    shared, ledger = run_plans([plan], 1)
    single, same_ledger = run_plans([apart], 1)
    assert len(shared["pulses"]) > 100
    assert np.array_equal(ledger, same_ledger)
    for name in ("pulses", "poses", "touches", "lights"):
        assert np.array_equal(shared[name], single[name])


def test_a_walker_takes_little_memory() -> None:
    """Besides the replay: what was worked out for it, its record as built, and its share of all else."""
    (plan,) = hall(3000, 1.0)
    assert plan.walkers.nbytes == 3000 * WALKER.itemsize
    assert memory([plan]) - WALKER.itemsize < 2300.0


def test_batches_of_one_floor_put_its_walls_by_squares_once_and_share_no_room() -> None:
    plans = many_arenas(2)
    known = Known()
    first, second = (assemble([plan], known)[0].scene.walls for plan in plans)
    assert plans[0].arena is plans[1].arena
    assert len(known.walls) == 1
    [put] = known.walls.values()
    for walls in (first, second):
        assert np.array_equal(walls.near, put.near)
        assert not np.shares_memory(walls.chosen, put.chosen)
        assert not np.shares_memory(walls.chosen_table, put.chosen_table)
    assert not np.shares_memory(first.chosen, second.chosen)
    # who reaches farther needs other squares
    longer = plans[0].walkers.copy()
    longer["side"]["tip_ahead"] += 0.5
    assemble([replace(plans[0], walkers=longer)], known)
    assert len(known.walls) == 2
