"""Walkers that others hold: in a jam pulse after pulse comes to nothing, until somebody moves.

A side whose pulse has got its walker no farther than a stride, as others stood in its way, is held: its next
pulses push with all of the tyre's pull against what stands there, the wheel slips, and nobody moves. So they
are stepped without trying again what they may meet. It is over as soon as the walker is pushed, or those next
to it have moved, by a stride in all; and after ``STAYS_HELD`` it tries again in any case, as light, and with
it the strength of pulses, goes on.

Only where others are in the way: a walker alone at a wall works itself off by less than a stride a pulse.
"""

import math
from typing import Any

from agents.circuit.tyre import lean_fully
from agents.compiled import kernel, kernel_part

# Pulses of a side that are taken as held before it tries again.
STAYS_HELD = 60
# Others that are nearer than this to what it touches count as next to a body [m].
NEXT_TO = 2e-3


@kernel
def note_hold(body: Any, moved: float, stride: float) -> None:
    """Take stock after a pulse that was tried, in which no part of the body has gone farther than ``moved``.

    Where that [m] is no more than a ``stride`` [m], and somebody stood in the way, its side is held now.
    """
    is_new = body["held"][0] == 0 and body["held"][1] == 0
    if body["stopped"] and moved <= stride:
        body["held"][body["side"]] = STAYS_HELD
        if is_new:
            body["stirred"] = 0.0
        else:
            stir(body, moved, stride)
    elif not is_new:
        stir(body, moved, stride)
        body["held"][body["side"]] = 0


@kernel
def stir(body: Any, moved: float, stride: float) -> None:
    """Take note that a body, or one next to it, has moved so far [m]; after a ``stride`` it tries anew."""
    body["stirred"] += moved
    if body["stirred"] > stride:
        body["held"][0] = 0
        body["held"][1] = 0
        if body["is_held"]:
            body["is_held"] = False
            # those that move about it have counted on it to stand, so that it has to look before it moves
            body["left"] = -1.0
            body["leant"] = 0.0


@kernel_part
def begin_held(body: Any) -> None:
    """Begin a pulse in which the walker is held: it leans on what stands there with all of its pull."""
    body["held"][body["side"]] -= 1
    body["is_held"] = True
    body["left"] = math.inf
    lean_fully(body["state"])
