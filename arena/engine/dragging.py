"""What it takes to drag a walker over the floor.

An idle tyre rolls along its heading against its motor's friction, and skids across; one that drives pulls on
as it slips, and holds nothing across then. What slides off a wall or another rubs on it as its rim goes by.
Common practice, no source, but for Coulomb's law of friction.
"""

import math
from typing import Any, NamedTuple

from agents.compiled import kernel


class FloorDrag(NamedTuple):
    """Forces [N] that it takes to drag a walker along its heading and across it.

    ``pull`` is the part of the first that its own tyre gives.
    """

    along: float
    across: float
    pull: float


class Slid(NamedTuple):
    """How far a driver has slid back along its heading [m], and the work [J] of that besides its pull's."""

    along: float
    rubs: float


@kernel
def drag_of_idle(walker: Any) -> FloorDrag:
    """What drags a walker whose motors are off: its tyres roll, and only across they skid."""
    return FloorDrag(walker["tow"], walker["skid"], 0.0)


@kernel
def drag_of_driver(walker: Any, body: Any) -> FloorDrag:
    """What drags a walker back that drives: that tyre pulls on as it slips, and the other one rolls.

    A tyre that slips holds nothing across. What else touches the floor is in the drag of its rolling.
    """
    driven, other = walker["side"][body["side"]], walker["side"][1 - body["side"]]
    slip = (driven["tyre_radius"] * body["state"]["rotor"] - body["state"]["speed"]) / driven["slip_speed"]
    # the wheel of one that is held slips, however its pulse is told
    pull = driven["tyre_grip"] * (1.0 if body["is_held"] else max(math.tanh(slip), 0.0))
    return FloorDrag(pull + other["idle_roll"], other["tyre_grip"], pull)


@kernel
def dragged(body: Any, drag: FloorDrag, dx: float, dy: float) -> float:
    """Work [J] that it takes at the most to drag a walker by (dx, dy) [m] without turning it."""
    along = dx * body["cosine"] + dy * body["sine"]
    across = dy * body["cosine"] - dx * body["sine"]
    return drag.along * abs(along) + drag.across * abs(across)


@kernel
def rim_passes(walker: Any, dx: float, dy: float, gone_x: float, gone_y: float, turn: float) -> float:
    """How far a rim passes what its walker slides off by (dx, dy) [m], a metre of that [-].

    The middle of the body has gone by ``gone`` [m] in all while it turned by ``turn`` [rad].
    """
    off = math.sqrt(dx * dx + dy * dy)
    if off <= 0.0:
        return 0.0
    past = (gone_y * dx - gone_x * dy) / off - walker["body_reach"] * turn
    return abs(past) / off


@kernel
def sliding_back(
    walker: Any, body: Any, drag: FloorDrag, dx: float, dy: float, passes: float, pace: float
) -> Slid:
    """What it takes a driver to slide by (dx, dy) [m] off something that its rim ``passes``.

    A tyre that slides across its way holds by the tanh of how fast it does, as one that drives pulls; it
    slides at so many times ``pace`` [1/s].
    """
    other = walker["side"][1 - body["side"]]
    along = abs(dx * body["cosine"] + dy * body["sine"])
    across = abs(dy * body["cosine"] - dx * body["sine"])
    held = other["tyre_grip"] * math.tanh(pace * across / other["slip_speed"])
    work = drag.along * along + held * across
    return Slid(along, work * (1.0 + walker["rim_friction"] * passes) - drag.pull * along)


@kernel
def work_of(slid: Slid, drag: FloorDrag) -> float:
    """Work [J] of sliding back, with that against the driver's own pull."""
    return drag.pull * slid.along + slid.rubs
