"""The diagnosis of a design: each fault with the lights in which it occurs, its cause and its cheapest cure.

A cure is not looked up. Every change of :mod:`agents.testbench.cures` is tried on the bench, the cheapest and
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
from functools import cached_property
from typing import Any

from agents.design.as_built import build
from agents.design.spec import Design
from agents.errors import ModelError, OptionError
from agents.testbench.causes import fault_cause
from agents.testbench.cures import Change, changes
from agents.testbench.faults import BLIND, DIM, FAULTS
from agents.testbench.measuring import BRIGHTEST
from agents.testbench.sheet import BenchPoint, bench_record

DIMMEST_SCAN = 10.0  # [lx]
BRIGHTEST_SCAN = 100e3  # [lx]
SCANS_PER_DECADE = 4
# Where a scale of ratios begins for a range that holds darkness [lx].
DARK = 1e-3
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
    where no change cures it throughout. ``values`` are SI values by path of the design. ``brings`` names the
    faults that come with the change; empty unless every cure does that.
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

    @cached_property
    def firing(self) -> list[BenchPoint]:
        """The points at which an eye flashes, out of lights from the dimmest to the brightest."""
        points = map(self.point, scan_lights((DIMMEST_SCAN, BRIGHTEST_SCAN)))
        return [point for point in points if point.measured.fires]

    def excused(self, light: float, sometimes: bool) -> set[str]:
        """Faults that a change may leave at a light, or bring where nothing fires: what it has elsewhere too.

        That is what it has wherever it fires, or with ``sometimes`` what it has at some lights.
        """
        point = self.point(light)
        own = set(point.faults)
        if point.measured.fires or not self.firing:
            return own
        found = [set(other.faults) for other in self.firing]
        return own | (set.union(*found) if sometimes else set.intersection(*found))

    def compared(self, light: float) -> list[BenchPoint]:
        """The points whose pulses bound what a change may do to a pulse at a light."""
        point = self.point(light)
        return [point] if point.measured.fires else [point, *self.firing]

    def mismatch(self, light: float) -> float:
        """Distance of the two triggers [V] in even light."""
        measured = self.point(light).measured
        return abs(measured.left.trigger - measured.right.trigger)


class _Changed:
    """What a design becomes by each change worth a try, built and measured once however often it is tried."""

    def __init__(self, design: Design, kind: str) -> None:
        self._design, self._kind = design, kind
        self._coming = changes(design)
        self._known: list[tuple[Change, _Scan]] = []

    def __iter__(self) -> Iterator[tuple[Change, _Scan]]:
        yield from self._known
        for change in self._coming:
            self._known.append((change, _Scan(change.applied(self._design), self._kind)))
            yield self._known[-1]


def _worst_let_go(points: Sequence[BenchPoint]) -> float:
    """The highest let-go voltage [V] of a side; 0 where there is none."""
    return max((side.let_go or 0.0) for point in points for side in point.measured.sides)


def _worst_base_share(points: Sequence[BenchPoint]) -> float:
    """The greatest share of a pulse's energy that goes through the bases of a side."""
    return max((side.base_share or 0.0) for point in points for side in point.measured.sides)


def scan_lights(lights: tuple[float, float]) -> list[float]:
    """Return lights [lx] from the first to the last of a range, evenly spaced on a logarithmic scale.

    Darkness, which has no place on that scale, stands before 1 mlx.
    """
    start, end = lights
    if not 0.0 <= start <= end <= BRIGHTEST:
        raise OptionError(f"lights from {start} lx to {end} lx; expected a range within 0 lx to 1 Mlx")
    decades = math.log10(max(end, DARK) / max(start, DARK))
    return _spaced(start, end, max(math.ceil(decades * SCANS_PER_DECADE), 1))


def _spaced(start: float, end: float, count: int) -> list[float]:
    """Lights [lx] from ``start`` to ``end`` in ``count`` even ratios."""
    if start == end:
        return [start]
    lowest = max(start, DARK)
    inner = [lowest * (end / lowest) ** (step / count) for step in range(1, count)]
    return [start, *inner, end]


def diagnose(
    design: Design, lights: tuple[float, float] = (DIMMEST_SCAN, BRIGHTEST_SCAN), kind: str = "daylight"
) -> list[FaultReport]:
    """Find all faults of a design between two ``lights`` [lx] of a kind; one report a range of lights.

    Lights are scanned four to the decade, and at the ends of the range in which the design fires, where its
    triggers are lowest and highest; a fault that comes and goes between two of these is missed. The edges of
    a range are then found to 1 %. Raises :class:`~agents.errors.OptionError` for a range of lights that
    cannot be, or a kind that is not there.

    >>> [report] = diagnose(read_design("thistle-spins"), (3e3, 3e3))
    >>> print(report.name, "because", report.cause)
    spin because a left pulse turns it by 251 deg, more than 120 deg: 4700 uF run from 3.31 V down to 748 mV \
in 367 ms
    >>> print(report.cure.text)
    a storage capacitor of 2200 uF in place of 4700 uF
    """
    scanned = scan_lights(lights)
    scan = _Scan(design, kind)
    ends = [end for name in (DIM, BLIND) for end in _ranges(scan, scanned, name)[1]]
    scanned = sorted({*scanned, *ends})
    reports = []
    changed = _Changed(design, kind)
    for name in FAULTS:
        for start, end in _ranges(scan, scanned, name)[0]:
            reports.append(_report(changed, scan, scanned, name, (start, end)))
    return reports


def _ranges(
    scan: _Scan, scanned: Sequence[float], name: str
) -> tuple[list[tuple[float, float]], list[float]]:
    """Ranges of light in which a fault occurs, both ends with it, and the healthy lights beside them."""
    ranges = []
    beside: list[float] = []
    start: float | None = None
    for position, light in enumerate(scanned):
        has = scan.has(name, light)
        if has and start is None:
            start = light
            if position > 0:
                start, healthy = _edge(scan, name, light, scanned[position - 1])
                beside.append(healthy)
        if not has and start is not None:
            end, healthy = _edge(scan, name, scanned[position - 1], light)
            ranges.append((start, end))
            beside.append(healthy)
            start = None
    if start is not None:
        ranges.append((start, scanned[-1]))
    return ranges, beside


def _edge(scan: _Scan, name: str, faulty: float, healthy: float) -> tuple[float, float]:
    """Narrow an edge between two lights down to its ratio; returns its faulty and its healthy end."""
    while abs(math.log(max(faulty, DARK) / max(healthy, DARK))) > math.log(EDGE):
        middle = math.sqrt(max(faulty, DARK) * max(healthy, DARK))
        if scan.has(name, middle):
            faulty = middle
        else:
            healthy = middle
    return faulty, healthy


def _report(
    changed: _Changed, scan: _Scan, scanned: Sequence[float], name: str, lights: tuple[float, float]
) -> FaultReport:
    start, end = lights
    middle = math.sqrt(max(start, min(DARK, end)) * end)
    proofs = _spaced(start, end, PROOFS - 1)
    # a fault that is gone in the middle of its own range by some whim is looked at where it was found
    looked_at = middle if scan.has(name, middle) else start
    cause = fault_cause(name, scan.walker, scan.point(looked_at).measured)
    cure = (
        _search(changed, scan, scanned, name, proofs)
        or _search(changed, scan, scanned, name, (looked_at,))
        or _search(changed, scan, (), name, proofs)
        or _search(changed, scan, (), name, proofs, sometimes=True)
    )
    if cure is not None:
        cured = next(one for change, one in changed if change.values == cure.values)
        try:
            brought = [fault for light in scanned for fault in sorted(_new_faults(cured, scan, light))]
            cure = replace(cure, brings=tuple(dict.fromkeys(brought)))
        except ModelError:
            # nor is a change a cure whose price nobody can tell
            cure = None
    return FaultReport(name, lights, looked_at, cause, cure)


def _search(
    changed: _Changed,
    scan: _Scan,
    others: Sequence[float],
    name: str,
    proofs: Sequence[float],
    sometimes: bool = False,
) -> Cure | None:
    """Find the first change that cures a fault at all ``proofs``, and spoils nothing at ``others`` either."""
    for change, changed_scan in changed:
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


def _new_faults(changed: _Scan, before: _Scan, light: float, sometimes: bool = False) -> set[str]:
    return set(changed.point(light).faults) - before.excused(light, sometimes)


def _spoils(changed: _Scan, before: _Scan, light: float, sometimes: bool) -> bool:
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
