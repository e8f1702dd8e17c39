"""The bench: a design under one light or several, as the numbers that its builder would measure."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from agents.design.as_built import build
from agents.design.spec import Design, read_design
from agents.handbook.light_kinds import SUN, kind_name
from agents.handbook.temperature import NAUGHT_CELSIUS, ROOM_TEMPERATURE
from agents.testbench.faults import DULL, LOPSIDED, faults_of
from agents.testbench.measuring import Measurement, SidePoint, measure_record, measurement_of

Json = dict[str, Any]

LIGHTS = (300.0, 1e3, 3e3, 10e3, 30e3, 100e3)
"""Lights of a bench sheet if none is asked for [lx]: a desk, a window, the open shade, the sun."""


@dataclass(frozen=True)
class BenchPoint:
    """A design at one light: the measurement of both sides, and the faults by name."""

    measured: Measurement
    faults: tuple[str, ...]

    @property
    def light(self) -> float:
        """The light [lx], alike at both eyes and the panel."""
        return self.measured.light

    @property
    def first(self) -> SidePoint:
        """What the side does that fires first, in SI units."""
        return self.measured.first

    @property
    def heading(self) -> str | None:
        """To which side of a lamp it heads and how far, in words; None where it does not fire."""
        if not self.measured.fires:
            return None
        if DULL in self.faults and LOPSIDED not in self.faults:
            return "by chance"
        beside = self.measured.beside
        if beside is None:
            return "circles"
        # a lamp that stands to its left is passed on the right
        degrees = round(math.degrees(beside))
        return f"{abs(degrees)} deg {'right' if degrees > 0 else 'left'}" if degrees else "0 deg"

    def as_dict(self) -> Json:
        """Return the point for JSON; SI units but for those in the names, None where undefined.

        ``fires`` tells whether an eye ever flashes. The numbers at the top are those of the side that fires,
        ``first``: ``charge_s`` from letting go to the trigger, ``turn_deg`` the whole turn by a pulse and its
        coasting, positive where the wheel drives ahead, ``advance_m`` the straight distance by which the
        body's middle moves. ``touch_outweighs`` is how many times brighter than the other eye the touched
        side's eye may be and still fire first; ``base_share`` is the share of the pulse's energy that goes
        through the bases. Keys with ``touched`` tell of a pulse with the whisker pressed all the while.

        ``beside_deg`` is how far beside a lamp the walker heads, the mean bearing of the lamp, positive to
        the left, and ``balance_deg`` the bearing at which both triggers are alike; None where it circles.
        ``hold_V`` is how far a lamp can part the two triggers.
        """
        measured = self.measured
        first = measured.first
        return {
            "light_lx": measured.light,
            "light_kind": measured.kind,
            "fires": measured.fires,
            **_side_dict(first),
            "first": first.side,
            "faults": list(self.faults),
            "open_circuit_V": measured.open_circuit,
            "photocurrent_A": measured.photocurrent,
            "air_degC": measured.air - NAUGHT_CELSIUS,
            "panel_degC": measured.panel_temperature - NAUGHT_CELSIUS,
            "waiting_A": measured.eyes + measured.leak,
            "beside_deg": _degrees(measured.beside),
            "balance_deg": _degrees(measured.balance),
            "hold_V": measured.hold,
            "left": _side_dict(measured.left),
            "right": _side_dict(measured.right),
        }


def _side_dict(side: SidePoint) -> Json:
    touched = side.pressed
    return {
        "trigger_V": side.trigger,
        "trigger_touched_V": side.trigger_touched,
        "charge_s": side.charge,
        "pulse_s": side.pulse,
        "let_go_V": side.let_go,
        "turn_deg": _degrees(side.turn),
        "advance_m": side.advance,
        "locked": side.locked,
        "peak_A": side.peak,
        "base_share": side.base_share,
        "touch_outweighs": side.touch_outweighs,
        "charge_touched_s": touched.charge if touched else None,
        "pulse_touched_s": touched.pulse if touched else None,
        "let_go_touched_V": touched.let_go if touched else None,
        "turn_touched_deg": _degrees(touched.turn) if touched else None,
        "advance_touched_m": touched.advance if touched else None,
        "locked_touched": touched.locked if touched else None,
    }


def _degrees(angle: float | None) -> float | None:
    return None if angle is None else math.degrees(angle)


def bench_point(
    design: Design | str | Path, light_lx: float, kind: str = SUN, air: float = ROOM_TEMPERATURE
) -> BenchPoint:
    """Measure a design, or that of a name or path, in ``light_lx`` [lx] of a kind, and ``air`` [K].

    The light is alike at both eyes (before their tape) and the panel, which it warms above the air. Raises
    :class:`~agents.errors.OptionError` for a light outside 0 to 1 Mlx, or a kind that is not there, and what
    :func:`~agents.design.spec.read_design` raises.

    >>> point = bench_point("thistle-spins", 3e3)
    >>> point.faults
    ('spin',)
    >>> print(f"{point.as_dict()['turn_deg']:.0f} deg")
    250 deg
    """
    return bench_record(build(_design(design), air)[0], light_lx, kind)


def _design(design: Design | str | Path) -> Design:
    return design if isinstance(design, Design) else read_design(design)


def bench_record(walker: Any, light_lx: float, kind: str = SUN) -> BenchPoint:
    """Measure a built WALKER record; as :func:`bench_point` otherwise."""
    measured = measure_record(walker, light_lx, kind)
    return BenchPoint(measurement_of(measured, kind_name(kind)), faults_of(walker, measured))


def bench(
    design: Design | str | Path,
    lights: Iterable[float] = LIGHTS,
    kind: str = SUN,
    air: float = ROOM_TEMPERATURE,
) -> list[BenchPoint]:
    """Measure a design, or that of a name or path, at each of ``lights`` [lx], in their order.

    As :func:`bench_point` otherwise.

    >>> for point in bench("poppy", [3e3, 10e3, 100e3]):
    ...     print(f"{point.first.trigger:.2f} V", point.faults)
    3.31 V ()
    3.67 V ()
    4.37 V ('blind',)
    """
    walker = build(_design(design), air)[0]
    return [bench_record(walker, light, kind) for light in lights]
