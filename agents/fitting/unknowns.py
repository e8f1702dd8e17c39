"""What may be learnt of a build, and how far each part may lie from its value before anything is read.

A part with a tolerance in the design's ``spread`` may lie as far as that says. Any other has a usual
deviation, common practice, no source: what such parts differ by between bags, or what a drawing leaves
open. So a part of which the readings tell nothing keeps its own uncertainty, and does not pretend to be
exact.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from agents.arrays import FloatArray
from agents.design.spec import Design
from agents.design.values_by_path import SIDES, expanded

# Standard deviations of parts without a tolerance: of the logarithm, or, where the path is in AMOUNTS, of the
# value itself in its unit. After it the readings to which the part matters at all.
_USUAL: dict[str, tuple[float, frozenset[str]]] = {
    "eye.dark_trigger": (0.10, frozenset({"trigger", "between", "turn"})),
    "eye.slope": (0.15, frozenset({"trigger", "between", "turn"})),
    "eye.quiet_current": (0.40, frozenset({"trigger", "between"})),
    "series": (0.05, frozenset({"trigger"})),
    "feeler": (0.05, frozenset({"trigger"})),
    "latch": (0.05, frozenset({"let_go", "turn"})),
    "npn.gain": (0.25, frozenset({"let_go", "turn"})),
    "pnp.gain": (0.25, frozenset({"let_go", "turn"})),
    "motor.resistance": (0.10, frozenset({"stall", "let_go", "turn", "between"})),
    "motor.constant": (0.15, frozenset({"turn"})),
    "motor.friction": (0.40, frozenset({"turn"})),
    "tyre.radius": (0.05, frozenset({"turn"})),
    "panel.current_per_light": (0.25, frozenset({"between"})),
    "storage.capacitance": (0.12, frozenset({"between", "turn"})),
    "storage.leak": (0.80, frozenset({"between"})),
    "body.drag": (0.40, frozenset({"turn"})),
}
# Parts that the two sides share.
WHOLE = ("panel", "storage", "body")
AMOUNTS = ("eye.dark_trigger",)
# Beyond this many standard deviations no part is sought.
FARTHEST = 6.0


@dataclass(frozen=True)
class Unknown:
    """A part's value that may be learnt.

    ``path`` is that in a design, ``both.`` where the two sides are taken as alike. ``value`` is the
    design's own [SI]; ``deviation`` one standard deviation of its logarithm, or of itself in SI where
    ``is_amount``.
    """

    path: str
    value: float
    deviation: float
    is_amount: bool

    def at(self, steps: float) -> float:
        """Return the value [SI] so many standard deviations from the design's own."""
        if self.is_amount:
            return self.value + self.deviation * steps
        return self.value * math.exp(self.deviation * steps)


def unknowns_of(design: Design, keys: Collection[str], has_sides: bool) -> list[Unknown]:
    """Return what readings of the sorts ``keys`` may tell of a design.

    ``keys`` are those of :data:`agents.fitting.readings.MEASURED`. With ``has_sides`` each side has parts of
    its own, else the two are taken as alike.
    """
    spreads = {spread.path: spread for spread in design.spreads}
    found = []
    for name, (usual, tells) in _USUAL.items():
        if not tells & set(keys):
            continue
        is_of_side = name.partition(".")[0] not in WHOLE
        for path in _paths(name, is_of_side, has_sides):
            one = expanded(path)[0]
            value = design.value_at(one)
            if not isinstance(value, float) or value == 0.0 or _is_overruled(design, one):
                continue
            is_amount = name in AMOUNTS
            deviation = usual
            if one in spreads:
                spread = spreads[one]
                deviation = spread.width if spread.is_normal else spread.width / math.sqrt(3.0)
                deviation = deviation if is_amount else deviation / abs(value)
            if deviation > 0.0:
                found.append(Unknown(path, value, deviation, is_amount))
    return found


def _paths(name: str, is_of_side: bool, has_sides: bool) -> tuple[str, ...]:
    if not is_of_side:
        return (name,)
    return tuple(f"{side}.{name}" for side in SIDES) if has_sides else (f"both.{name}",)


def _is_overruled(design: Design, path: str) -> bool:
    """Whether a bench table of the eye stands in place of a value."""
    side, _, rest = path.partition(".")
    return rest in ("eye.dark_trigger", "eye.slope") and bool(getattr(design, side).eye.table)


def values_at(unknowns: Sequence[Unknown], steps: FloatArray) -> dict[str, float]:
    """Return the value [SI] of each of ``unknowns`` at ``steps`` (unknowns,) standard deviations, by path.

    Steps beyond :data:`FARTHEST` count as that.
    """
    bounded = np.clip(steps, -FARTHEST, FARTHEST)
    return {one.path: one.at(float(step)) for one, step in zip(unknowns, bounded, strict=True)}


def has_unlike_sides(design: Design) -> bool:
    """Return whether the two sides of a design differ in a value that may be learnt."""
    names = [name for name in _USUAL if name.partition(".")[0] not in WHOLE]
    return any(
        design.value_at(f"{SIDES[0]}.{name}") != design.value_at(f"{SIDES[1]}.{name}") for name in names
    )
