"""How finely a world is worked out: what may be given up of exactness for speed, in lengths and times.

What they cost, from :mod:`tests.benchmarks.convergence` (40 copies of a design in each shipped arena, each
by itself for 600 s, with the same luck); the error is by how much the mean of a score moves at the most, as
a share of the half width of its own 95 % interval:

| halved | time | error |
|---|---|---|
| strides where something may be met | 1.08 | 0.65 |
| looks at touch and shadow | 1.18 | 0.34 |
| arcs where nothing is near | 1.00 | 0.59 |
| light on the way | 1.07 | 0.00 |
| all of them | 1.17 | 0.67 |

Who is in a corner needs short strides: of 300 copies there, the directness of a walk was 4.5 half widths off
what it comes to with the shortest strides at 1.5 mm, 2.4 at 0.75 mm, and 0.2 at 0.4 mm, before what holds a
driver back was a part of its steps. In a crowd that is jammed, how far walkers still creep hangs on strides:
in the first twelve hours of ``yard-day`` thirty go 8.0 m each (mean of four seeds), 5.7 m with a quarter of
the strides and 3.4 m with a sixteenth, in 220,000, 235,000 and 250,000 pulses. Before those stayed where they
are whom others hold (:mod:`arena.engine.holding`) they went 17, 8.1 and 5.0 m. Nine pulses of ten move none.
"""

from dataclasses import astuple, dataclass, fields

import numpy as np


@dataclass(frozen=True)
class Tolerances:
    """How far a walker goes, and how long, from one look at its surroundings to the next.

    All are at their most: strides are as long as they may be, and no longer than the room about a walker.
    """

    # Where it may meet a wall or another: way of its tyre [m] and time [s] after which contacts are undone.
    stride: float = 4e-4
    stride_time: float = 0.01
    # Where a touch or a shadow may change: way of its tyre [m] and time [s] after which that is taken anew,
    # and the way that it has to have gone by then.
    look_way: float = 3e-3
    look_time: float = 0.02
    look_after: float = 1.5e-3
    # Where nothing is near: turn [rad], time [s], and what its axle's middle is off a straight way [m].
    arc: float = 0.175
    pace: float = 0.04
    sag: float = 1e-4
    # From when on in a pulse its panel's light is taken anew [s], and after which way of its axle's middle
    # [m] or time [s]; a healthy pulse is over before.
    light_after: float = 0.5
    light_way: float = 4e-3
    light_time: float = 0.1

    def times(self, factor: float) -> "Tolerances":
        """Return tolerances that are all so many times as large.

        >>> Tolerances().times(0.5).stride
        0.0002
        """
        return Tolerances(*(factor * value for value in astuple(self)))


# Those of every run that asks for no others.
USUAL = Tolerances()

# The same as a part of the settings of a world.
TOLERANCES = np.dtype([(field.name, np.float64) for field in fields(Tolerances)], align=True)
