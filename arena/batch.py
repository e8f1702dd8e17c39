"""Many worlds in one compiled call, one after the other."""

from agents.compiled import kernel
from arena.engine import advance, end_world, settle_world
from arena.layout import FULL, Batch, Crowd, Integers, Out, Records, Scene


@kernel
def world_of(batch: Batch, spans: Records, number: int) -> tuple[Scene, Crowd, Out]:
    """The arrays of one world of a batch."""
    span = spans[number]
    sources, walls, shades = span["sources"], span["walls"], span["shades"]
    points, walkers, tree, heads = span["shade_points"], span["walkers"], span["tree"], span["heads"]
    first, last = walkers[0], walkers[1]
    scene = Scene(
        batch.scene.sources[sources[0] : sources[1]],
        batch.scene.walls[walls[0] : walls[1]],
        batch.scene.wall_table[5 * walls[0] : 5 * walls[1]].reshape((5, walls[1] - walls[0])),
        batch.scene.shades[shades[0] : shades[1]],
        batch.scene.shade_points[points[0] : points[1]],
        batch.scene.disc_samples,
        batch.scene.ambient[number],
    )
    crowd = Crowd(
        batch.crowd.walkers[first:last],
        batch.crowd.bodies[first:last],
        batch.crowd.lit[first:last],
        batch.crowd.hidden[first:last],
        batch.crowd.near_walls[first:last],
        batch.crowd.tree[tree[0] : tree[1]],
        batch.crowd.heads[heads[0] : heads[1]],
        batch.crowd.settings[number : number + 1],
    )
    out = Out(
        batch.out.under_way[first:last],
        batch.out.pulses[number],
        batch.out.poses[number],
        batch.out.touches[number],
        batch.out.lights[number],
        batch.out.counts[number],
        batch.out.stop,
    )
    return scene, crowd, out


@kernel
def settle_batch(batch: Batch, spans: Records) -> None:
    """Put the walkers of every world of a batch in their start places."""
    for number in range(len(spans)):
        _, crowd, _ = world_of(batch, spans, number)
        settle_world(crowd)


@kernel
def advance_batch(batch: Batch, spans: Records, codes: Integers, until: float) -> None:
    """Run the worlds of a batch whose code is FULL up to ``until`` [s], one after the other."""
    for number in range(len(spans)):
        if codes[number] == FULL:
            scene, crowd, out = world_of(batch, spans, number)
            codes[number] = advance(scene, crowd, out, until)


@kernel
def end_batch(batch: Batch, spans: Records) -> None:
    """End every world of a batch at its own last moment."""
    for number in range(len(spans)):
        _, crowd, out = world_of(batch, spans, number)
        end_world(crowd, out)
