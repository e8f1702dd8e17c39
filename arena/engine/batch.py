"""Many worlds in one compiled call, one after the other."""

from agents.arrays import IntArray, RecordArray
from agents.compiled import kernel, kernel_part
from arena.engine.loop import advance, end_world, settle_world
from arena.engine.sky import begin_sky
from arena.engine.walls import Walls
from arena.engine.world_arrays import (
    DONE,
    ENDED,
    FRESH,
    FULL,
    LOST,
    LOST_PLACE,
    Batch,
    Crowd,
    Output,
    Scene,
    Weather,
)


@kernel_part
def world_of(batch: Batch, spans: RecordArray, number: int) -> tuple[Scene, Crowd, Output, Weather]:
    """The arrays of one world of a batch."""
    span = spans[number]
    sources, walls, shades = span["sources"], span["walls"], span["shades"]
    floor, squares, near = span["floor"], span["squares"], span["near"]
    points, walkers, tree, heads = span["shade_points"], span["walkers"], span["tree"], span["heads"]
    first, last = walkers[0], walkers[1]
    known = batch.scene.walls
    scene = Scene(
        batch.scene.sources[sources[0] : sources[1]],
        Walls(
            known.records[walls[0] : walls[1]],
            known.table[5 * walls[0] : 5 * walls[1]].reshape((5, walls[1] - walls[0])),
            known.squares[floor[0] : floor[1]],
            known.firsts[squares[0] : squares[1]],
            known.near[near[0] : near[1]],
            known.near_tables[5 * near[0] : 5 * near[1]],
            known.chosen,
            known.chosen_table,
        ),
        batch.scene.shades[shades[0] : shades[1]],
        batch.scene.shade_points[points[0] : points[1]],
        batch.scene.disc_samples,
        batch.scene.ambient[number],
    )
    crowd = Crowd(
        batch.crowd.walkers,
        batch.crowd.bodies[first:last],
        batch.crowd.lit[first:last],
        batch.crowd.hidden[first:last],
        batch.crowd.lists[first:last],
        batch.crowd.tree[tree[0] : tree[1]],
        batch.crowd.heads[heads[0] : heads[1]],
        batch.crowd.settings[number : number + 1],
    )
    out = Output(
        batch.out.under_way[first:last],
        batch.out.pulses[number],
        batch.out.poses[number],
        batch.out.touches[number],
        batch.out.lights[number],
        batch.out.counts[number],
        batch.out.stop,
    )
    steps, lamps = span["steps"], span["step_lamps"]
    count = steps[1] - steps[0]
    weather = Weather(
        batch.weather.steps[steps[0] : steps[1]],
        batch.weather.lamps[lamps[0] : lamps[1]].reshape((count, (lamps[1] - lamps[0]) // max(count, 1))),
        batch.weather.ambient[number],
    )
    return scene, crowd, out, weather


@kernel
def advance_batch(batch: Batch, spans: RecordArray, codes: IntArray, until: float) -> None:
    """Run the worlds of a batch up to ``until`` [s], each no further than to its own end.

    ``codes`` holds what stopped each world's last advance, FRESH before the first one. A world that comes to
    its end brings its walkers' rails there and writes the pulses that are cut off, and is ENDED. One that is
    LOST is left as it is.
    """
    for number in range(len(spans)):
        if codes[number] == ENDED or codes[number] == LOST:
            continue
        scene, crowd, out, weather = world_of(batch, spans, number)
        if codes[number] == FRESH:
            settle_world(crowd)
            begin_sky(scene, crowd, weather)
        end = crowd.settings[0]["until"]
        codes[number] = advance(scene, crowd, out, weather, batch.pulses, batch.held, min(until, end))
        if codes[number] == DONE and until >= end:
            if not end_world(crowd, out):
                codes[number] = FULL
            else:
                codes[number] = ENDED if out.counts[LOST_PLACE] == 0 else LOST
