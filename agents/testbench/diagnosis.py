"""The diagnosis of a design: each fault with the lights where it occurs, its cause and its cure."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from agents.design.rewriting import value_texts
from agents.design.spec import Design
from agents.drawer.contents import Drawer
from agents.handbook.light_kinds import SUN
from agents.handbook.temperature import ROOM_TEMPERATURE
from agents.testbench.cures import Cure, CureSearch
from agents.testbench.drawer_changes import changes_from
from agents.testbench.fault_causes import fault_cause
from agents.testbench.faults import FAULTS
from agents.testbench.light_scan import (
    BRIGHTEST_SCAN,
    DARK,
    DIMMEST_SCAN,
    LightScan,
    Range,
    ranges_where,
    telling_lights,
)
from agents.testbench.possible_changes import changes
from agents.testbench.whole_design import WholeDesign, whole_design

Json = dict[str, Any]


@dataclass(frozen=True)
class FaultReport:
    """One fault: the lights [lx] from and to which it occurs, its cause at ``looked_at`` [lx], its cure."""

    name: str
    lights: Range
    looked_at: float
    cause: str
    cure: Cure | None

    def as_dict(self) -> Json:
        """Return the report for JSON; values of the cure as a file gives them, figures in SI units."""
        return {
            "fault": self.name,
            "lights_lx": list(self.lights),
            "looked_at_lx": self.looked_at,
            "cause": self.cause,
            "cure": None if self.cure is None else _cure_dict(self.cure),
        }


def _cure_dict(cure: Cure) -> Json:
    return {
        "change": cure.text,
        "values": value_texts(cure.values),
        "lights_lx": list(cure.lights),
        "stays_lx": [list(one) for one in cure.stays],
        "brings": [one.name for one in cure.brings],
        "brings_lx": [list(one.lights) for one in cure.brings],
        "leaves": list(cure.leaves),
        "then": None if cure.then is None else cure.then.as_dict(),
    }


@dataclass(frozen=True)
class Diagnosis:
    """All that the bench has to say of a design: a report for each fault, and advice on it as a whole.

    ``offers`` are the changes that reports and advice propose, each once, as SI values by path: the numbers
    by which people call them are their places in it, from 1 on.
    """

    reports: tuple[FaultReport, ...]
    advice: WholeDesign | None
    offers: tuple[Json, ...]

    def number(self, values: Json) -> int:
        """The number of a change that is offered."""
        return self.offers.index(values) + 1

    def as_dicts(self) -> Json:
        """Return reports and advice for JSON, each cure with its number."""
        reports = [report.as_dict() for report in self.reports]
        for one, report in zip(reports, self.reports, strict=True):
            if report.cure is not None:
                one["cure"]["number"] = self.number(report.cure.values)
        advice = None
        if self.advice is not None:
            before = self.advice.before
            advice = {
                "number": self.number(self.advice.values),
                "change": self.advice.text,
                "values": value_texts(self.advice.values),
                "lights_lx": list(self.advice.lights),
                "is_all": self.advice.is_all,
                "before_lx": None if before is None else list(before),
            }
        return {"reports": reports, "whole_design": advice}


def diagnose(
    design: Design,
    lights: Range = (DIMMEST_SCAN, BRIGHTEST_SCAN),
    kind: str = SUN,
    air: float = ROOM_TEMPERATURE,
) -> list[FaultReport]:
    """Find all faults of a design between two ``lights`` [lx] of a kind; one report a range of lights.

    ``air`` is the temperature of the air [K]; the light warms the panel above that.
    Lights are scanned four to the decade, and at the ends of the range in which the design fires, where its
    triggers are lowest and highest; a fault that comes and goes between two of these is missed. The edges of
    a range are then found to 1 %. Raises :class:`~agents.errors.OptionError` for a range of lights that
    cannot be, or a kind that is not there.

    >>> [report] = diagnose(read_design("thistle-spins"), (3e3, 3e3))
    >>> print(report.name, "because", report.cause)
    spin because a left pulse turns it by 250 deg, more than 120 deg: 4700 uF run from 3.31 V down to 751 mV \
in 366 ms
    >>> print(report.cure.text)
    a storage capacitor of 2200 uF in place of 4700 uF
    """
    return list(_reports(design, lights, kind, air)[0])


def full_diagnosis(
    design: Design,
    lights: Range = (DIMMEST_SCAN, BRIGHTEST_SCAN),
    kind: str = SUN,
    air: float = ROOM_TEMPERATURE,
    drawer: Drawer | None = None,
    step: Callable[[], None] = lambda: None,
) -> Diagnosis:
    """As :func:`diagnose`, with advice on the whole design where no single cure leaves it without a fault.

    With a ``drawer``, no part is asked for that it does not hold. ``step`` is called before each search, of a
    second or two at the most; it may raise, which ends it.

    >>> found = full_diagnosis(read_design("thistle-spins"), (300.0, 100e3))
    >>> found.advice.values
    {'both.eye.tape': 0.7, 'storage.capacitance': 0.0015}
    """
    reports, search = _reports(design, lights, kind, air, drawer, step)
    advice = None
    cures = [report.cure for report in reports if report.cure is not None]
    if search is not None and not any(cure.leaves == () and not cure.stays for cure in cures):
        seeds = [cure.change for cure in cures if not cure.stays]
        step()
        advice = whole_design(design, kind, lights, search.scan, search.trials, seeds)
    offers: list[Json] = []
    for values in [*(cure.values for cure in cures), *([] if advice is None else [advice.values])]:
        if values not in offers:
            offers.append(values)
    return Diagnosis(reports, advice, tuple(offers))


def _reports(
    design: Design,
    lights: Range,
    kind: str,
    air: float,
    drawer: Drawer | None = None,
    step: Callable[[], None] = lambda: None,
) -> tuple[tuple[FaultReport, ...], CureSearch | None]:
    scan = LightScan(design, kind, air)
    scanned = telling_lights(scan, lights)
    found = [
        (name, one)
        for place, name in enumerate(FAULTS)
        for one in ranges_where(scan.having(1 << place), scanned)[0]
    ]
    if not found:
        return (), None
    all_changes = changes if drawer is None else changes_from(drawer)
    search = CureSearch(design, kind, lights, scan, scanned, all_changes)
    reports = []
    for name, one in found:
        step()
        reports.append(_report(search, name, one))
    return tuple(reports), search


def _report(search: CureSearch, name: str, lights: Range) -> FaultReport:
    start, end = lights
    middle = math.sqrt(max(start, min(DARK, end)) * end)
    scan, bit = search.scan, 1 << FAULTS.index(name)
    # a fault that is gone in the middle of its own range by some whim is looked at where it was found
    looked_at = middle if scan.bits(middle) & bit else start
    cause = fault_cause(name, scan.walker, scan.point(looked_at).measured)
    return FaultReport(name, lights, looked_at, cause, search.cure(name, lights, looked_at))
