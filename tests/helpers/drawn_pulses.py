"""Pulses to measure the kernels by: designs drawn by a seed, cases with names, and what kind a pulse is of.

Each case is a design, a light and a whisker free or pressed. The pulse begins at the rail at which the side
fires in that light by the program's own formula, unless the case says at which. The bounds of a kind are what
a pulse by the kernels may differ by from one of :mod:`tests.helpers.whole_circuit`.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from agents.circuit.eye import trigger_voltage
from agents.circuit.panel import panel_under
from agents.circuit.records import STATE
from agents.circuit.status import SETTLED
from agents.design.as_built import build
from agents.design.spec import Design
from agents.handbook.light_kinds import SUN, kind_index
from agents.testbench.bench_pulses import LONGEST_PULSE, bench_pulse
from tests.helpers.whole_circuit import WholeCircuit, WholePulse

SEED = 1974
# Wires and junctions in the draw have so little capacitance [F] that no figure depends on it by 0.1 %.
SMALL_NODE = 1e-11

HOLDS, HAIR, TWITCH, LOCKED, UNLIT = "holds", "hair", "twitch", "locked", "unlit"
QUANTITIES = ("length", "let_go", "charge", "way")
# Share of each by which the kernels may be off; of a twitch only the length counts, and of a latch that
# never lets go or never takes nothing but that it is one.
FREE = math.inf
BOUNDS = {
    HOLDS: (0.01, 0.01, 0.01, 0.01),
    HAIR: (0.03, 0.03, 0.03, 0.03),
    TWITCH: (0.2, FREE, FREE, FREE),
    LOCKED: (FREE, FREE, FREE, FREE),
    UNLIT: (FREE, FREE, FREE, FREE),
}

Numbers = tuple[float, float, float, float]


@dataclass(frozen=True)
class Case:
    """One pulse to follow: ``values`` by their paths, ``light`` [lx], ``rail`` [V] at the flash."""

    name: str
    values: dict[str, float]
    light: float
    touched: bool
    rail: float

    @property
    def design(self) -> Design:
        """The default design with the values of the case."""
        return Design(name="marigold").with_values(self.values)

    def pulse(self, longest: float = 20.0, **options: Any) -> WholePulse:
        """Follow it by the equations of the whole circuit."""
        options = {"node": SMALL_NODE, **options}
        circuit = WholeCircuit(self.design, self.light, self.touched, **options)
        return circuit.pulse(self.rail, longest)

    def by_kernels(self) -> tuple[Numbers, bool]:
        """Length, let-go, charge and way of the pulse by the program's kernels, and whether it locked."""
        walker = build(self.design)[0]
        state = np.zeros(1, STATE)[0]
        state["rail"] = self.rail
        panel = panel_under(walker, self.light, kind_index(SUN))
        held, _, passed, locked = bench_pulse(walker, 0, panel, self.touched, state, LONGEST_PULSE)
        assert state["status"] == SETTLED, self.name
        return (float(held), float(state["rail"]), float(state["charge"]), float(passed)), bool(locked)

    def kind(self, pulse: WholePulse) -> str:
        """Which of the kinds a pulse of this case is.

        A twitch leaves more than half of the stored energy, as the program's fault of that name. A latch lets
        go by a hair where a latch resistor that is larger by 1 % shortens the pulse by more than 1 %.
        """
        if not pulse.ignites:
            return UNLIT
        if pulse.locked:
            return LOCKED
        if pulse.let_go**2 > 0.5 * self.rail**2:
            return TWITCH
        other = replace(self, values={**self.values, "both.latch": 1.01 * self.design.left.latch})
        shorter = other.pulse()
        return HAIR if shorter.length < 0.99 * pulse.length else HOLDS


def errors(got: Numbers, expected: Numbers) -> Numbers:
    """By which share each quantity is off."""
    length, let_go, charge, way = (
        one / other - 1.0 if other else math.inf * one if one else 0.0
        for one, other in zip(got, expected, strict=True)
    )
    return length, let_go, charge, way


def excess(kind: str, off: Numbers) -> float:
    """How many times the bound of its kind the quantity is off that is off by most."""
    return max(abs(one) / bound for one, bound in zip(off, BOUNDS[kind], strict=True))


def both_ways(name: str, values: dict[str, float], light: float, rail: float | None = None) -> Iterator[Case]:
    """A case with its whisker free and pressed."""
    side = build(Design(name="marigold").with_values(values))[0]["side"][0]
    for touched in (False, True):
        fires = float(trigger_voltage(light, touched, side)) if rail is None else rail
        yield Case(f"{name}, {'pressed' if touched else 'free'}", values, light, touched, fires)


def drawn_cases(count: int, seed: int = SEED) -> list[Case]:
    """Two cases for each of ``count`` designs drawn log-uniformly, the first ones alike for any count."""
    cases: list[Case] = []
    for number in range(count):
        luck = np.random.default_rng([seed, number])

        def between(least: float, most: float, luck: Any = luck) -> float:
            return float(least * (most / least) ** luck.random())

        values = {
            "both.latch": between(1e3, 220e3),
            "both.motor.resistance": between(8.0, 60.0),
            "storage.capacitance": between(470e-6, 10e-3),
            "both.coupling": between(0.1e-6, 4.7e-6),
            "both.npn.gain": between(60.0, 400.0),
            "both.pnp.gain": between(60.0, 400.0),
            "both.feeler": between(2.2e3, 1e6),
        }
        cases += both_ways(f"drawn {number}", values, between(300.0, 100e3))
    return cases


def named_cases() -> list[Case]:
    """Cases at which a pulse in equal steps of first order was off by most, and some ordinary ones."""
    frugal = {
        "both.latch": 220e3,
        "both.motor.resistance": 60.0,
        "storage.capacitance": 1e-3,
        "both.coupling": 4.7e-6,
        "both.npn.gain": 400.0,
        "both.pnp.gain": 400.0,
    }
    weak = {"both.latch": 220e3, "both.motor.resistance": 15.0}
    quick = {"both.latch": 100e3, "both.coupling": 0.47e-6}
    hungry = {"both.latch": 2.2e3, "both.motor.resistance": 8.0}
    lossy = {"storage.series_resistance": 5.0}
    listed = [
        ("220k, 60 ohm, 1 mF, 4.7 uF, gain 400", frugal, 3e3, None),
        ("220k, 15 ohm, 3 klx", weak, 3e3, None),
        ("220k, 15 ohm, 30 klx", weak, 30e3, None),
        ("100k, 0.47 uF, 8 klx", quick, 8e3, None),
        ("470k", {"both.latch": 470e3}, 3e3, None),
        ("2k2, 8 ohm, 3.9 V", hungry, 20e3, 3.9),
        ("defaults, 300 lx", {}, 300.0, None),
        ("defaults, 3 klx", {}, 3e3, None),
        ("defaults, 30 klx", {}, 30e3, None),
        ("1k", {"both.latch": 1e3}, 3e3, None),
        ("5 ohm in the storage", lossy, 3e3, None),
        ("10 mF, 0.3 ohm in it", {"storage.capacitance": 10e-3, "storage.series_resistance": 0.3}, 3e3, None),
    ]
    return [case for name, values, light, rail in listed for case in both_ways(name, values, light, rail)]
