"""Start places of a course: one for each of those who meet, all with room for the largest of them."""

from collections.abc import Sequence

import numpy as np

from agents.arrays import FloatArray, RecordArray
from agents.errors import OptionError
from arena.races.draw import heat_shape
from arena.races.race_plan import RaceCourse
from arena.scene.flat_arena import flatten
from arena.scene.placement import Footprint, Ground, footprints

# Start places in a zone that those who run alone take turns at.
MOST_ALONE = 12


def common_print(walkers: Sequence[RecordArray]) -> Footprint:
    """The smallest circle of one middle that holds the body of every WALKER record, whoever stands there."""
    prints = [one for records in walkers for one in footprints(records)]
    ahead = [one.ahead for one in prints]
    middle = 0.5 * (min(ahead) + max(ahead))
    return Footprint(max(one.radius + abs(one.ahead - middle) for one in prints), middle)


def ground_of(course: RaceCourse) -> Ground:
    """The floor of a course with its start places."""
    return Ground(course.arena, flatten(course.arena))


def places_alone(course: RaceCourse, ground: Ground, body: Footprint, seed: int) -> FloatArray:
    """Start poses x, y [m], heading [rad] at which those who run alone take turns, (places, 3).

    Raises OptionError where such a body has no room.
    """
    starts = course.arena.starts
    if starts.places is not None:
        count = len(starts.places)
    else:
        assert starts.zone is not None
        count = min(starts.zone.number, MOST_ALONE)
    return np.array([ground.place_alone(body, seed, number) for number in range(count)])


def places_together(ground: Ground, body: Footprint, seed: int, count: int) -> FloatArray | None:
    """Start poses (count, 3) for so many at once, or None where the arena has no room for them."""
    try:
        return ground.place([body] * count, seed)
    except OptionError:
        return None


def shared_places(ground: Ground, body: Footprint, seed: int, entries: int, most: int | None) -> FloatArray:
    """Start poses, (places, 3), of the fewest heats in which ``entries`` can meet, ``most`` at once.

    Raises OptionError where not even two of such bodies have room.
    """
    if entries < 2:
        return ground.place([body], seed)
    heats = 1 if most is None else -(-entries // most)
    while True:
        count = heat_shape(entries, -(-entries // heats))[1]
        if count < 2:
            # says why, as a run would
            return ground.place([body] * 2, seed)
        found = places_together(ground, body, seed, count)
        if found is not None:
            return found
        heats += 1


def misfit(course: RaceCourse, ground: Ground, walkers: RecordArray, seed: int, alone: bool) -> str:
    """Why a walker, by its WALKER records, cannot start on a course; empty where it can."""
    try:
        body = common_print([walkers])
        places_alone(course, ground, body, seed)
        if not alone:
            ground.place([body] * 2, seed)
    except OptionError as error:
        return str(error)
    return ""
