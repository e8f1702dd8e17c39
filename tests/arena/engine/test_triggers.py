"""Walkers that the model has lost: the first one is told, its world stands still, others go on."""

import math

import numpy as np

from agents.circuit.status import NO_NUMBER, SETTLED
from agents.design.as_built import build
from arena.engine.assembly import WorldPlan, assemble
from arena.engine.batch import advance_batch
from arena.engine.world_arrays import ENDED, FRESH, LOST, LOST_PLACE
from arena.scene.flat_arena import flatten
from tests.helpers.worlds import World, bench, box, design

STILL = design("fennel", both__eye__jitter=0.0)


def test_light_that_is_no_number_loses_its_walker() -> None:
    world = World(bench(box(1.0, 1.0), ambient=2000.0), [STILL] * 2, [(0.3, 0.5, 0.0), (0.7, 0.5, 0.0)])
    # both settle in a light that is none; the one of the lower number is told
    world.scene.ambient[0] = math.nan
    assert world.advanced(10.0) == LOST
    assert world.out.counts[LOST_PLACE] == 1
    assert world.bodies["state"]["status"].tolist() == [NO_NUMBER, SETTLED]
    assert world.bodies[0]["lost_at"] == 0.0
    assert not np.any(world.table("pulses")["walker"] == 0)


def test_a_world_that_is_lost_stays_as_it_is_and_others_go_on() -> None:
    arena = flatten(bench(box(1.0, 1.0), ambient=4000.0))
    poses, plans = np.array([(0.5, 0.5, 0.0)]), []
    for number in range(3):
        walkers = build(STILL)
        if number == 1:
            walkers["panel_saturation"] = math.nan
        own = np.array([number])
        plans.append(WorldPlan(arena, walkers, poses, own, own, 1, 3.0))
    batch, spans = assemble(plans)
    codes = np.full(3, FRESH)
    advance_batch(batch, spans, codes, 1.0)
    assert codes[1] == LOST
    assert batch.out.counts[:, LOST_PLACE].tolist() == [0, 1, 0]
    lost = batch.crowd.bodies[1:2].tobytes()
    advance_batch(batch, spans, codes, 3.0)
    assert codes.tolist() == [ENDED, LOST, ENDED]
    assert batch.crowd.bodies[1:2].tobytes() == lost
    # the two others saw the same light for as long
    rails = batch.crowd.bodies["state"]["rail"][[0, 2]]
    assert rails[0] == rails[1] > 0.0
