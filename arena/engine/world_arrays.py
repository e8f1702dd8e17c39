"""How worlds lie in memory. A world is one floor with the walkers that share it.

Kernels take no more of it than they use: every array that a compiled call hands on costs time at each call,
and more when it is compiled.
"""

from typing import NamedTuple

import numpy as np

from agents.arrays import CountArray, FloatArray, IndexArray, IntArray, RecordArray
from agents.circuit.pulse_table import OUTCOMES, PulseTable
from agents.circuit.records import CORE_POINTS, STATE
from arena.engine.tolerances import TOLERANCES
from arena.engine.walls import Walls

# Places at which a walker's light is taken: left eye, right eye, and this many points of the panel.
FIRST_PANEL_POINT = 2
PANEL_POINTS = 4
RECEPTORS = FIRST_PANEL_POINT + PANEL_POINTS

# Phases of a walker.
ARRIVING = -1
WAITING = 0
PULSING = 1
COASTING = 2

# What a whisker or a body is pressed by.
FREE = 0
AT_WALL = 1
AT_WALKER = 2

# What a walker has heard of moves nearby: something that changes its touch, or its light too.
HEARD_NOTHING = 0
HEARD_TOUCH = 1
HEARD_LIGHT = 2

# Whether a walker has been pushed since its light was last taken, and is about to be worked out anew.
UNMOVED = 0
PUSHED = 1
LISTED = 2

# What stopped an advance.
DONE = 0
FULL = 1  # an output buffer has to be emptied first
STOPPED = 2  # someone asked to stop
LOST = 3  # the model cannot follow a walker
FRESH = 4  # it has not begun
ENDED = 5  # the run is over and all is written

# Place in ``counts`` of the number, from 1, of the first walker that is lost; before it stand rows in use.
PULSE_ROWS = 0
POSE_ROWS = 1
TOUCH_ROWS = 2
LIGHT_ROWS = 3
LOST_PLACE = 4
COUNTS = 5

# Columns of the lists of walkers that a crowd keeps.
FOUND = 0  # by a look for neighbours
GATHERED = 1  # those that move in a contact, or are to be told of a move
MOVING = 2  # those that have moved
HEARING = 3  # those that have heard of it and are to be worked out anew
HIDING = 4  # those that may stand in the way of a lamp
STANDING = 5  # those that do not give way to a driver
LISTS = 6

# What changes while a walker lives. What others ask of it comes first: that is in the cache together.
BODY = np.dtype(
    [
        ("x", np.float64),  # middle of the axle
        ("y", np.float64),
        ("cosine", np.float64),  # of the heading
        ("sine", np.float64),
        ("disc_x", np.float64),  # middle of the body
        ("disc_y", np.float64),
        # the cylinder as which it shades others; its middle is where others were last told it to be
        ("shade_x", np.float64),
        ("shade_y", np.float64),
        ("disc_radius", np.float64),
        ("disc_height", np.float64),
        ("span", np.float64),  # from the middle of the axle to the farthest part of it [m]
        ("built", np.int32),  # whose record among the walkers as built
        ("follower", np.int32),  # next body in its cell of the grid, -1 for none
        ("leader", np.int32),  # the one before it
        ("cell", np.int32),
        ("phase", np.int8),
        ("left_touch", np.int8),  # FREE, AT_WALL or AT_WALKER
        ("right_touch", np.int8),
        ("body_touch", np.int8),
        ("active", np.int8),  # whether it gives way in the contact being solved: see arena.engine.motion
        ("moved", np.int8),  # UNMOVED, PUSHED or LISTED
        ("heard", np.int8),  # of moves nearby: HEARD_NOTHING, HEARD_TOUCH or HEARD_LIGHT
        ("side", np.int8),  # that fires or fired last
        ("near", np.int8),  # 1 where it may meet something before its next look
        ("close", np.int8),  # 1 where touch or light may change before it
        ("foreseen", np.int8),  # 1 where its pulse was looked up and goes as told
        ("stopped", np.int8),  # 1 where somebody stood in the way of its pulse
        ("is_held", np.int8),  # 1 in a pulse in which others hold it: see arena.engine.holding
        ("held", np.int8, (2,)),  # how many pulses of each side are still taken as held
        ("pushes", np.int8),  # 1 where it has pushed somebody since its last look
        ("owes", np.int32),  # how many that it has pushed have not been told where they stand
        ("pusher", np.int32),  # who pushed it then
        ("heading", np.float64),
        ("points", np.float64, (CORE_POINTS, 2)),  # corners of the body's core on the floor
        ("near_first", np.int32),  # walls in reach, as listed in Walls
        ("near_count", np.int32),
        ("near_x", np.float64),  # where they were listed
        ("near_y", np.float64),
        ("body_room", np.float64),  # how far it can go from there before its body can meet a wall [m]
        ("whisker_room", np.float64),  # or any part of it
        ("number", np.int64),  # number in the replay
        ("chance", np.int64),  # keys the draws of its jitter
        ("pulses", np.int64),  # number of pulses so far
        ("since", np.float64),  # time for which the rail holds [s]
        ("hold", np.float64),  # no trigger before this time [s]
        # the panel in its light: current [A], and saturation current [A] and n N V_T [V] as warm as it is
        ("photocurrent", np.float64),
        ("panel_saturation", np.float64),
        ("panel_thermal", np.float64),
        ("left_light", np.float64),
        ("right_light", np.float64),
        ("panel_light", np.float64),
        ("open_light", np.float64),  # panel's light if nothing stood in the way
        ("clear_light", np.float64),  # panel's light if no other walker were there
        ("left_noise", np.float64),  # jitter of the next trigger [V]
        ("right_noise", np.float64),
        ("left_trigger", np.float64),  # rail voltage at which that side fires, inf if it cannot
        ("right_trigger", np.float64),
        # the wait planned to the next trigger: its end [s], rail [V] and energies [J]
        ("due", np.float64),
        ("goal", np.float64),
        ("due_panel", np.float64),
        ("due_eyes", np.float64),
        ("due_leak", np.float64),
        ("start", np.float64),  # of the pulse under way [s]
        ("let_go", np.float64),
        ("path", np.float64),
        ("written", np.float64),  # when its pose was last written [s]
        ("written_x", np.float64),
        ("written_y", np.float64),
        ("written_heading", np.float64),
        ("looked", np.float64),  # when it last looked about itself [s]
        ("asked", np.int64),  # in which round of telling others it last looked at what touches it
        ("left", np.float64),  # way of its tyre to the next look [m]: see arena.engine.clearance
        ("lit_at", np.float64),  # when its light was last taken [s], and where
        ("lit_x", np.float64),
        ("lit_y", np.float64),
        ("stirred", np.float64),  # how far it and those next to it have moved since it is held [m]
        ("leant", np.float64),  # when it last tried what it may lean on [s]
        ("state", STATE),
        # a pulse that is looked up: the tables of both sides, -1 for none; what it comes to; the photocurrent
        # of its flash [A]; how far its tyre has gone of it [m], and how fast [m/s]
        ("tables", np.int32, (2,)),
        # what it has learned of pulses in which it is held, first row of four, or -1: free and pressed of the
        # left side, then of the right one
        ("learns", np.int32),
        # whether at the flash its whisker was pressed, and others held it
        ("flash_touched", np.int8),
        ("flash_held", np.int8),
        ("outcome", np.float64, (OUTCOMES,)),
        ("flash_current", np.float64),
        ("rolled", np.float64),
        ("told_speed", np.float64),
        ("kept_x", np.float64),  # pose before the contact being solved
        ("kept_y", np.float64),
        ("kept_heading", np.float64),
        # the panel up to now of one that has heard of a move, as above
        ("current_so_far", np.float64),
        ("saturation_so_far", np.float64),
        ("thermal_so_far", np.float64),
        ("lost_at", np.float64),  # when the model lost it [s]
    ],
    align=True,
)

SETTINGS = np.dtype(
    [
        ("seed", np.int64),
        ("influence", np.float64),  # how far a body's shadow or touch can reach [m]
        ("reach", np.float64),  # largest radius of a body [m]
        ("receptors", np.float64),  # how far an eye or a corner of a panel is from the axle's middle [m]
        ("touch", np.float64),  # how far apart two axles can be while one touches the other [m]
        ("until", np.float64),  # end of the run [s]
        ("rounds", np.int64),  # how often walkers that have moved have told others so far
        ("tolerances", TOLERANCES),
        # the grid in which neighbours are looked up
        ("west", np.float64),
        ("south", np.float64),
        ("cell", np.float64),
        ("columns", np.int64),
        ("rows", np.int64),
        ("air", np.float64),  # temperature of the air [K]; 0 where it is that in which walkers were built
        # where the sky changes: its next step, and whether the sun goes by it
        ("sky_step", np.int64),
        ("sky_sun", np.int64),
        # and what tells how far a shadow reaches: that of a lamp, and touch, at the most [m]; by how much a
        # body is higher than what it shades; the width of the floor; what is to be added for bodies' size
        ("steady_influence", np.float64),
        ("shade_height", np.float64),
        ("width", np.float64),
        ("shade_room", np.float64),
    ],
    align=True,
)

SPAN = np.dtype(
    [
        (name, np.int64, (2,))
        for name in (
            "sources",
            "walls",
            "floor",
            "squares",
            "near",
            "shades",
            "shade_points",
            "walkers",
            "tree",
            "heads",
            "steps",
            "step_lamps",
        )
    ],
    align=True,
)


class Scene(NamedTuple):
    """What stands: records of :mod:`arena.scene.records`; ``ambient`` (kinds,) [lx]."""

    sources: RecordArray
    walls: Walls
    shades: RecordArray
    shade_points: FloatArray
    disc_samples: FloatArray
    ambient: FloatArray


class Crowd(NamedTuple):
    """Who walks: walkers as built and as they are, and what is kept to find them fast.

    ``walkers`` WALKER records, of which a batch keeps those that are alike once; ``bodies`` (N,) BODY.
    ``lit`` (N, RECEPTORS, sources) light [lx] past walls and shades, but not past bodies, and ``hidden``, of
    the same shape, the number of bodies that stand in its way; ``lists`` (N, LISTS) numbers of walkers, list
    by list in its columns, of which whoever fills one tells the length; ``tree`` the schedule; ``heads`` the
    first body of every cell of the grid, or -1; ``settings`` (1,).
    """

    walkers: RecordArray
    bodies: RecordArray
    lit: FloatArray
    hidden: CountArray
    lists: IndexArray
    tree: FloatArray
    heads: IndexArray
    settings: RecordArray


class Output(NamedTuple):
    """What is written down, in the dtypes of :mod:`replays.format.tables`.

    ``under_way`` (N,) the row of each walker's pulse while it lasts; ``counts`` (COUNTS,) rows in use of
    pulses, poses, touches and lights, and who is lost; ``stop`` (1,) is set to ask for a stop.
    """

    under_way: RecordArray
    pulses: RecordArray
    poses: RecordArray
    touches: RecordArray
    lights: RecordArray
    counts: IntArray
    stop: IntArray


class Weather(NamedTuple):
    """The sky of a world: SKY_STEP records, none where light does not change.

    ``lamps`` (steps, lamps) holds the intensity of each lamp [cd], in a batch flat, sky by sky. ``ambient``
    (kinds,) [lx] is what comes from all sides besides the sky.
    """

    steps: RecordArray
    lamps: FloatArray
    ambient: FloatArray


class Batch(NamedTuple):
    """Many worlds end to end; :data:`SPAN` says which part belongs to which.

    ``ambient`` has shape (worlds, kinds), the output tables (worlds, rows), ``settings`` (worlds,). Worlds
    on the same floor share its records. Tables of walls are flat, floor by floor; ``squares`` has one record
    a floor. ``pulses`` are the tables of all walkers' pulses, which bodies know by their first cells;
    ``held`` the LEARNED records of all that learn.
    """

    scene: Scene
    crowd: Crowd
    out: Output
    weather: Weather
    pulses: PulseTable
    held: RecordArray
