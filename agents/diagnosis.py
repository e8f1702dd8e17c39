"""The diagnosis of a design: each fault with the lights in which it occurs, its cause and its cheapest cure.

A cure is not looked up. Every change of :mod:`agents.cures` is tried on the bench, the cheapest and nearest
first, and the first one that removes the fault and spoils nothing else is proposed. What it must not spoil:
no fault may come up at a light that had none of it; no latch may come to let go above 1 V, the most that a
good one does (common practice, no source), nor to waste more than a third of a pulse in the bases; and the
triggers of the two sides may not come to lie further apart than their jitter hides.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from agents.bench import BenchPoint, bench_record
from agents.build import build
from agents.causes import cause_of
from agents.cures import changes
from agents.design import Design
from agents.errors import OptionError
from agents.faults import FAULTS
from agents.measure import BRIGHTEST

DIMMEST_SCAN = 10.0  # [lx]
BRIGHTEST_SCAN = 100e3  # [lx]
SCANS_PER_DECADE = 4
# Edges of a range of lights are found to within this ratio.
EDGE = 1.01
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
    where no change cures it throughout. ``values`` are SI values by path of the design. ``brings`` names what
    the change spoils at other lights; empty unless every cure does that.
    """

    text: str
    values: dict[str, Any]
    lights: tuple[float, float]
    brings: tuple[str, ...] = ()


@dataclass(frozen=True)
class FaultReport:
    """One fault: the lights [lx] from and to which it occurs, its cause at ``looked_at`` [lx], its cure."""

    name: str
    lights: tuple[float, float]
    looked_at: float
    cause: str
    cure: Cure | None

    def as_dict(self) -> dict[str, Any]:
        """Return the report for JSON."""
        cure = None
        if self.cure is not None:
            cure = {
                "change": self.cure.text,
                "lights_lx": list(self.cure.lights),
                "brings": list(self.cure.brings),
            }
        return {
            "fault": self.name,
            "lights_lx": list(self.lights),
            "looked_at_lx": self.looked_at,
            "cause": self.cause,
            "cure": cure,
        }


class _Scan:
    """What one walker does by light, each light measured once."""

    def __init__(self, design: Design, kind: str) -> None:
        self.walker = build(design)[0]
        self.kind = kind
        self._known: dict[float, BenchPoint] = {}

    def point(self, light: float) -> BenchPoint:
        if light not in self._known:
            self._known[light] = bench_record(self.walker, light, self.kind)
        return self._known[light]

    def has(self, name: str, light: float) -> bool:
        return name in self.point(light).faults

    def worst_let_go(self, light: float) -> float:
        """The higher let-go voltage [V] of the two sides; 0 where there is none."""
        return max((side.let_go or 0.0) for side in self.point(light).measured.sides)

    def worst_base_share(self, light: float) -> float:
        """The greater share of a pulse's energy that goes through the bases of a side."""
        return max((side.base_share or 0.0) for side in self.point(light).measured.sides)

    def mismatch(self, light: float) -> float:
        """Distance of the two triggers [V] in even light."""
        measured = self.point(light).measured
        return abs(measured.left.trigger - measured.right.trigger)


def scan_lights(lights: tuple[float, float]) -> list[float]:
    """Return lights [lx] from the first to the last of a range, evenly spaced on a logarithmic scale."""
    start, end = lights
    if not 0.0 < start <= end <= BRIGHTEST:
        raise OptionError(f"lights from {start} lx to {end} lx; expected a range within 0 lx to 1 Mlx")
    decades = math.log10(end / start)
    count = max(math.ceil(decades * SCANS_PER_DECADE), 1)
    inner = [start * 10.0 ** (decades * step / count) for step in range(1, count)]
    return [start, *inner, end] if end > start else [start]


def diagnose(
    design: Design, lights: tuple[float, float] = (DIMMEST_SCAN, BRIGHTEST_SCAN), kind: str = "daylight"
) -> list[FaultReport]:
    """Find all faults of a design between two ``lights`` [lx] of a kind; one report a range of lights.

    Lights are scanned four to the decade, so a fault that comes and goes between two of them is missed; the
    edges of a range are then found to 1 %. Raises :class:`~agents.errors.OptionError` for a range of lights
    that cannot be, or a kind that is not there.
    """
    scanned = scan_lights(lights)
    scan = _Scan(design, kind)
    reports = []
    for name in FAULTS:
        for start, end in _ranges(scan, scanned, name):
            reports.append(_report(design, scan, scanned, name, (start, end)))
    return reports


def _ranges(scan: _Scan, scanned: Sequence[float], name: str) -> list[tuple[float, float]]:
    """Ranges of light in which a fault occurs, both ends with the fault."""
    ranges = []
    start: float | None = None
    for position, light in enumerate(scanned):
        has = scan.has(name, light)
        if has and start is None:
            start = light if position == 0 else _edge(scan, name, light, scanned[position - 1])
        if not has and start is not None:
            ranges.append((start, _edge(scan, name, scanned[position - 1], light)))
            start = None
    if start is not None:
        ranges.append((start, scanned[-1]))
    return ranges


def _edge(scan: _Scan, name: str, faulty: float, healthy: float) -> float:
    """Narrow an edge between two lights down to its ratio; returns the faulty end."""
    while max(faulty / healthy, healthy / faulty) > EDGE:
        middle = math.sqrt(faulty * healthy)
        if scan.has(name, middle):
            faulty = middle
        else:
            healthy = middle
    return faulty


def _report(
    design: Design, scan: _Scan, scanned: Sequence[float], name: str, lights: tuple[float, float]
) -> FaultReport:
    start, end = lights
    middle = math.sqrt(start * end)
    inner = [start * (end / start) ** (step / (PROOFS - 1)) for step in range(1, PROOFS - 1)]
    proofs = (start, *inner, end)
    # a fault that is gone in the middle of its own range by some whim is looked at where it was found
    looked_at = middle if scan.has(name, middle) else start
    cause = cause_of(name, scan.walker, scan.point(looked_at).measured)
    cure = (
        _search(design, scan, scanned, name, proofs)
        or _search(design, scan, scanned, name, (looked_at,))
        or _search(design, scan, (), name, proofs)
    )
    if cure is not None:
        changed = _Scan(design.with_values(cure.values), scan.kind)
        brought = [fault for light in scanned for fault in sorted(_new_faults(changed, scan, light))]
        cure = replace(cure, brings=tuple(dict.fromkeys(brought)))
    return FaultReport(name, lights, looked_at, cause, cure)


def _search(
    design: Design, scan: _Scan, others: Sequence[float], name: str, proofs: Sequence[float]
) -> Cure | None:
    """Find the first change that cures a fault at all ``proofs``, and spoils nothing at ``others`` either."""
    for change in changes(design):
        changed = _Scan(change.applied(design), scan.kind)
        removed = all(not changed.has(name, light) and not _spoils(changed, scan, light) for light in proofs)
        if removed and not any(_spoils(changed, scan, light) for light in others):
            return Cure(change.text, change.values, (min(proofs), max(proofs)))
    return None


def _new_faults(changed: _Scan, before: _Scan, light: float) -> set[str]:
    return set(changed.point(light).faults) - set(before.point(light).faults)


def _spoils(changed: _Scan, before: _Scan, light: float) -> bool:
    """Whether a change has brought something at a light that was not there before."""
    if _new_faults(changed, before, light):
        return True
    if changed.worst_let_go(light) > max(MOST_LET_GO, before.worst_let_go(light)):
        return True
    if changed.worst_base_share(light) > max(MOST_BASE_SHARE, before.worst_base_share(light)):
        return True
    jitter = math.hypot(*(float(side["jitter"]) for side in changed.walker["side"]))
    return changed.mismatch(light) > max(HIDDEN * jitter, before.mismatch(light))
