"""Cures looked for on a thread of their own, and each tried where the light meter lies before it is told."""

from dataclasses import dataclass
from typing import Any

from agents.design.spec import Design
from agents.handbook.light_kinds import SUN
from agents.testbench.diagnosis import Diagnosis, full_diagnosis
from agents.testbench.light_scan import BRIGHTEST_SCAN, DIMMEST_SCAN, Range
from agents.testbench.possible_changes import Change
from agents.testbench.trials import checked
from agents.text.quantities import Pair
from arena.recording import map_of
from arena.scene.spec import ArenaSpec
from arena.workbench.jobs import ForecastJob, forecast_pulse
from arena.workbench.latest_worker import ProgressReport

# A map of light for no more than its darkest and its lightest place is as coarse as this [m] or the arena's.
_COARSE = 0.05


@dataclass(frozen=True)
class CureJob:
    """A design whose faults are to be cured in the light of an arena; the meter lies at ``place`` [m]."""

    spec: ArenaSpec
    design: Design
    place: Pair


@dataclass(frozen=True)
class CureOffer:
    """A change that cures something.

    ``text`` says it, ``values`` are SI values by path. ``cures`` and ``left`` are the faults at the meter
    that it takes away, and those that are there with it; ``elsewhere`` the faults that it cures in other
    lights of the arena, and ``brings`` what comes with it there.
    """

    text: str
    values: dict[str, Any]
    cures: tuple[str, ...]
    left: tuple[str, ...]
    elsewhere: tuple[str, ...]
    brings: tuple[str, ...]

    @property
    def rank(self) -> tuple[int, int, int]:
        """The less the better: faults left at the meter, faults brought, faults of other lights not cured."""
        return len(self.left), len(self.brings), -len(self.elsewhere)


@dataclass(frozen=True)
class CureResult:
    """All offers, the best first, for ``design`` in ``lights`` [lx] of a ``kind``."""

    design: Design
    lights: Range
    kind: str
    offers: tuple[CureOffer, ...]

    @property
    def best(self) -> CureOffer | None:
        """The first offer that takes a fault away at the meter, else the first one."""
        return next((offer for offer in self.offers if offer.cures), self.offers[0] if self.offers else None)


def find_cures(job: CureJob, report: ProgressReport[CureResult]) -> CureResult:
    """Look for cures between the darkest and the lightest place of the arena, and try each at the meter.

    The bench searches in one kind of light, the one of which most falls on the meter. So each change is
    measured once more in the mixture where the meter lies, as a pulse ahead is, and what it cures is told.
    """
    report(0.0)
    here = forecast_pulse(ForecastJob(job.spec, job.design, job.place), lambda done, so_far=None: None)
    kind = here.kinds[0][0] if here.kinds else SUN
    lights = lights_of(job.spec, job.design.panel.height, here.light)
    report(0.1)
    found = full_diagnosis(job.design, lights, kind, job.spec.air, step=lambda: report(0.2))
    offers = []
    for number, values in enumerate(found.offers):
        report(0.5 + 0.5 * number / len(found.offers))
        changed = checked(job.design, Change(values, ""))
        if changed is None:
            continue
        there = forecast_pulse(ForecastJob(job.spec, changed, job.place), lambda done, so_far=None: None)
        offers.append(_offer(found, values, here.point.faults, there.point.faults))
    return CureResult(job.design, lights, kind, tuple(sorted(offers, key=lambda offer: offer.rank)))


def lights_of(spec: ArenaSpec, height: float, light: float) -> Range:
    """The least and the most light of a floor [lx] at a ``height`` [m], and ``light`` [lx] with them."""
    coarse = spec.model_copy(update={"cell": max(spec.cell, _COARSE)})
    lit = map_of(coarse, height)
    least, most = min(float(lit.min()), light), max(float(lit.max()), light)
    return min(max(least, DIMMEST_SCAN), BRIGHTEST_SCAN), min(max(most, DIMMEST_SCAN), BRIGHTEST_SCAN)


def _offer(
    found: Diagnosis, values: dict[str, Any], now: tuple[str, ...], then: tuple[str, ...]
) -> CureOffer:
    text, brings, elsewhere = "", dict[str, None](), dict[str, None]()
    for report in found.reports:
        if report.cure is not None and report.cure.values == values:
            text = report.cure.text
            brings |= {one.name: None for one in report.cure.brings}
            if not report.cure.stays:
                elsewhere[report.name] = None
    if found.advice is not None and found.advice.values == values:
        text = found.advice.text
        elsewhere |= {report.name: None for report in found.reports} if found.advice.is_all else {}
    return CureOffer(
        text,
        values,
        tuple(name for name in now if name not in then),
        then,
        tuple(name for name in elsewhere if name not in now),
        tuple(brings),
    )
