"""The cheapest cure of a fault, found by trying changes on the bench.

A cure is not looked up. Every change of :mod:`agents.testbench.possible_changes` is tried, the cheapest and
nearest first, and the first one that removes the fault and spoils nothing else is proposed. What it must not
spoil: no fault may come up at a light that had none of it; no latch may come to let go above 1 V, the most
that a good one does (common practice, no source), nor to waste more than a third of a pulse in the bases; and
the triggers of the two sides may not come to lie further apart than their jitter hides. Where nothing fires
there is no pulse to spoil: there a change may bring what the design has wherever it does fire, or, if nothing
better is found, what it has at some lights.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from agents.design.spec import Design
from agents.errors import ModelError
from agents.testbench.bench_figures import BenchPoint
from agents.testbench.light_scan import LightScan
from agents.testbench.possible_changes import Change, changes

# Lights of a fault's range at which a cure has to prove itself.
PROOFS = 5
MOST_LET_GO = 1.0  # [V]
MOST_BASE_SHARE = 1.0 / 3.0
# Triggers this many standard deviations of their joint jitter apart still change places now and then.
HIDDEN = 3.0


@dataclass(frozen=True)
class Cure:
    """The cheapest change that removes a fault.

    ``lights`` [lx] is the range in which it was shown to: the fault's whole range, or one light out of it
    where no change cures it throughout. ``values`` are SI values by path of the design. ``brings`` names the
    faults that come with the change; empty unless every cure does that.
    """

    text: str
    values: dict[str, Any]
    lights: tuple[float, float]
    brings: tuple[str, ...] = ()


class ChangeTrials:
    """What a design becomes by each change worth a try, built and measured once however often it is tried."""

    def __init__(self, design: Design, kind: str) -> None:
        self._design, self._kind = design, kind
        self._coming = changes(design)
        self._known: list[tuple[Change, LightScan]] = []

    def __iter__(self) -> Iterator[tuple[Change, LightScan]]:
        yield from self._known
        for change in self._coming:
            self._known.append((change, LightScan(change.applied(self._design), self._kind)))
            yield self._known[-1]


def find_cure(
    name: str,
    trials: ChangeTrials,
    scan: LightScan,
    scanned: Sequence[float],
    proofs: Sequence[float],
    looked_at: float,
) -> Cure | None:
    """Find the cheapest change that removes the fault ``name``; None where no change does.

    It has to do so at all ``proofs`` [lx] and to bring nothing at the ``scanned`` lights [lx]; failing that,
    at the light ``looked_at`` [lx] alone; failing that, whatever it brings elsewhere, which is then told.
    """
    cure = (
        _search(trials, scan, scanned, name, proofs)
        or _search(trials, scan, scanned, name, (looked_at,))
        or _search(trials, scan, (), name, proofs)
        or _search(trials, scan, (), name, proofs, sometimes=True)
    )
    if cure is not None:
        cured = next(one for change, one in trials if change.values == cure.values)
        try:
            brought = [fault for light in scanned for fault in sorted(_new_faults(cured, scan, light))]
            cure = replace(cure, brings=tuple(dict.fromkeys(brought)))
        except ModelError:
            # nor is a change a cure whose price nobody can tell
            cure = None
    return cure


def _search(
    trials: ChangeTrials,
    scan: LightScan,
    others: Sequence[float],
    name: str,
    proofs: Sequence[float],
    sometimes: bool = False,
) -> Cure | None:
    """Find the first change that cures a fault at all ``proofs``, and spoils nothing at ``others`` either."""
    for change, changed_scan in trials:
        try:
            if any(changed_scan.has(name, light) for light in proofs):
                continue
            if any(_spoils(changed_scan, scan, light, sometimes) for light in (*proofs, *others)):
                continue
        except ModelError:
            # what cannot be followed is not known to be better
            continue
        return Cure(change.text, change.values, (min(proofs), max(proofs)))
    return None


def _new_faults(changed: LightScan, before: LightScan, light: float, sometimes: bool = False) -> set[str]:
    return set(changed.point(light).faults) - before.excused(light, sometimes)


def _spoils(changed: LightScan, before: LightScan, light: float, sometimes: bool) -> bool:
    """Whether a change has brought something at a light that was not there before."""
    if _new_faults(changed, before, light, sometimes):
        return True
    now, then = [changed.point(light)], before.compared(light)
    if _worst_let_go(now) > max(MOST_LET_GO, _worst_let_go(then)):
        return True
    if _worst_base_share(now) > max(MOST_BASE_SHARE, _worst_base_share(then)):
        return True
    jitter = math.hypot(*(float(side["jitter"]) for side in changed.walker["side"]))
    return changed.mismatch(light) > max(HIDDEN * jitter, before.mismatch(light))


def _worst_let_go(points: Sequence[BenchPoint]) -> float:
    """The highest let-go voltage [V] of a side; 0 where there is none."""
    return max((side.let_go or 0.0) for point in points for side in point.measured.sides)


def _worst_base_share(points: Sequence[BenchPoint]) -> float:
    """The greatest share of a pulse's energy that goes through the bases of a side."""
    return max((side.base_share or 0.0) for point in points for side in point.measured.sides)
