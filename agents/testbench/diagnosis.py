"""The diagnosis of a design: each fault with the lights where it occurs, its cause and its cure."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from agents.design.spec import Design
from agents.handbook.light_kinds import SUN
from agents.testbench.cures import PROOFS, ChangeTrials, Cure, find_cure
from agents.testbench.fault_causes import fault_cause
from agents.testbench.faults import BLIND, DIM, FAULTS
from agents.testbench.light_scan import BRIGHTEST_SCAN, DARK, DIMMEST_SCAN, LightScan, scan_lights, spaced

# Edges of a range of lights are found to within this ratio.
EDGE = 1.01


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


def diagnose(
    design: Design, lights: tuple[float, float] = (DIMMEST_SCAN, BRIGHTEST_SCAN), kind: str = SUN
) -> list[FaultReport]:
    """Find all faults of a design between two ``lights`` [lx] of a kind; one report a range of lights.

    Lights are scanned four to the decade, and at the ends of the range in which the design fires, where its
    triggers are lowest and highest; a fault that comes and goes between two of these is missed. The edges of
    a range are then found to 1 %. Raises :class:`~agents.errors.OptionError` for a range of lights that
    cannot be, or a kind that is not there.

    >>> [report] = diagnose(read_design("thistle-spins"), (3e3, 3e3))
    >>> print(report.name, "because", report.cause)
    spin because a left pulse turns it by 251 deg, more than 120 deg: 4700 uF run from 3.31 V down to 751 mV \
in 366 ms
    >>> print(report.cure.text)
    a storage capacitor of 2200 uF in place of 4700 uF
    """
    scanned = scan_lights(lights)
    scan = LightScan(design, kind)
    ends = [end for name in (DIM, BLIND) for end in _ranges(scan, scanned, name)[1]]
    scanned = sorted({*scanned, *ends})
    reports = []
    trials = ChangeTrials(design, kind)
    for name in FAULTS:
        for start, end in _ranges(scan, scanned, name)[0]:
            reports.append(_report(trials, scan, scanned, name, (start, end)))
    return reports


def _ranges(
    scan: LightScan, scanned: Sequence[float], name: str
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


def _edge(scan: LightScan, name: str, faulty: float, healthy: float) -> tuple[float, float]:
    """Narrow an edge between two lights down to its ratio; returns its faulty and its healthy end."""
    while abs(math.log(max(faulty, DARK) / max(healthy, DARK))) > math.log(EDGE):
        middle = math.sqrt(max(faulty, DARK) * max(healthy, DARK))
        if scan.has(name, middle):
            faulty = middle
        else:
            healthy = middle
    return faulty, healthy


def _report(
    trials: ChangeTrials, scan: LightScan, scanned: Sequence[float], name: str, lights: tuple[float, float]
) -> FaultReport:
    start, end = lights
    middle = math.sqrt(max(start, min(DARK, end)) * end)
    proofs = spaced(start, end, PROOFS - 1)
    # a fault that is gone in the middle of its own range by some whim is looked at where it was found
    looked_at = middle if scan.has(name, middle) else start
    cause = fault_cause(name, scan.walker, scan.point(looked_at).measured)
    cure = find_cure(name, trials, scan, scanned, proofs, looked_at)
    return FaultReport(name, lights, looked_at, cause, cure)
