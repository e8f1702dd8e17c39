"""The plots of rhythm and turn against light, and of one pulse as an oscilloscope would show it."""

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from agents.testbench.bench_figures import BenchPoint
from agents.testbench.pulse_scope import PulseScope
from arena.reports.bench_plots import WIDTH, light_axis
from arena.reports.paper import hex_of
from arena.reports.plot_sheet import SMALL, Drawing, PlotSheet, plot_sheet
from replays.words import light_words, time_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_TIMES = {
    0.01: "10 ms",
    0.1: "0.1 s",
    1.0: "1 s",
    10.0: "10 s",
    60.0: "1 min",
    600.0: "10 min",
    3600.0: "1 h",
    36e3: "10 h",
    360e3: "100 h",
}
RHYTHM_HEIGHT = 2.75
"""Height of the plot against light [inches]."""

_ENERGY_PAINTS = {"motion": "works", "winding": "wood", "bases": "warns"}
# Shares of energy that are smaller than this are told together.
_SMALL_SHARE = 0.02


def rhythm_plot(points: Sequence[BenchPoint]) -> Drawing:
    """Time between pulses and turn of a pulse, free and pressed, against light."""
    with plot_sheet(WIDTH, RHYTHM_HEIGHT) as sheet:
        draw_rhythm(sheet, points)
        return sheet.drawing(_rhythm_words(points))


def draw_rhythm(sheet: PlotSheet, points: Sequence[BenchPoint]) -> None:
    """Draw what :func:`rhythm_plot` shows."""
    low, high = points[0].light, points[-1].light
    times = sheet.axes(0.62, 1.75, WIDTH - 0.8, 0.8)
    times.set_xscale("log")
    times.set_yscale("log")
    lights = [point.light for point in points]
    between = _values(points, lambda point: point.first.between)
    times.plot(lights, between, color=hex_of("ink"), lw=1.6)
    shown = [one for one in between if math.isfinite(one)] or [1.0, 100.0]
    bottom, top = 0.7 * min(shown), 1.5 * max(shown)
    times.set_ylim(bottom, top)
    ticks = [one for one in _TIMES if bottom <= one <= top]
    times.set_yticks(ticks, [_TIMES[one] for one in ticks])
    times.set_yticks([], [], minor=True)
    times.set_xlim(low, high)
    times.tick_params(labelbottom=False, which="both")
    times.set_title(
        "time from one pulse to the next", loc="left", fontsize=SMALL, color=hex_of("faded"), pad=4
    )
    turns = sheet.axes(0.62, 0.66, WIDTH - 0.8, 0.8)
    turns.set_xscale("log")
    free = _values(points, lambda point: _degrees(point.first.turn))
    pressed = _values(
        points, lambda point: None if point.first.pressed is None else _degrees(point.first.pressed.turn)
    )
    turns.plot(lights, free, color=hex_of("left"), lw=1.6, label="whisker free")
    if any(map(math.isfinite, pressed)):
        turns.plot(lights, pressed, color=hex_of("left"), lw=1.2, ls=(0, (1, 1.5)), label="pressed")
        turns.legend(frameon=False, fontsize=SMALL, loc="upper left", ncols=2, borderaxespad=0.0)
    highest = max([abs(one) for one in (*free, *pressed) if math.isfinite(one)], default=100.0)
    lowest = min([one for one in (*free, *pressed) if math.isfinite(one)], default=0.0)
    turns.set_ylim(min(0.0, 1.1 * lowest), 1.45 * max(highest, 1.0))
    turns.set_ylabel("turn [deg]")
    light_axis(turns, low, high)


def _values(points: Sequence[BenchPoint], value: Callable[[BenchPoint], float | None]) -> list[float]:
    found = [value(point) for point in points]
    return [math.nan if one is None else one for one in found]


def _degrees(turn: float | None) -> float | None:
    return None if turn is None else math.degrees(turn)


def _rhythm_words(points: Sequence[BenchPoint]) -> str:
    firing = [point for point in points if point.first.between]
    if not firing:
        return "Plot of the time between pulses against light: it pulses at none of them."
    first, last = firing[0], firing[-1]
    ends = [
        f"{time_words(one.first.between or 0.0)} in {light_words(float(f'{one.light:.2g}'))}"
        for one in (first, last)
    ]
    turns = [f"{_degrees(one.first.turn) or 0.0:.0f} deg" for one in (first, last)]
    rhythm, turn = ", ".join(ends), " and ".join(turns)
    return f"Plots against light. Time between pulses: {rhythm}. Turn of a pulse: {turn}."


def scope_plot(scope: PulseScope) -> Drawing:
    """Rail, currents of motor and bases, and speed of the wheel during a pulse, and where its energy goes."""
    times = 1e3 * scope.times
    with plot_sheet(WIDTH, 3.0) as sheet:
        rail = sheet.axes(0.62, 2.15, 3.5, 0.65)
        rail.plot(times, scope.rail, color=hex_of("ink"), lw=1.6)
        rail.set_ylim(0.0, 1.15 * float(scope.rail[0]))
        rail.set_ylabel("rail [V]")
        currents = sheet.axes(0.62, 1.3, 3.5, 0.65)
        currents.plot(times[1:], 1e3 * scope.motor[1:], color=hex_of("left"), lw=1.6, label="motor")
        currents.plot(
            times[1:], 1e3 * scope.bases[1:], color=hex_of("right"), lw=1.3, ls=(0, (5, 2)), label="bases"
        )
        currents.set_ylim(0.0, 1.45e3 * float(max(scope.motor.max(), scope.bases.max(), 1e-6)))
        currents.set_ylabel("[mA]")
        currents.legend(frameon=False, fontsize=SMALL, loc="upper right", ncols=2, borderaxespad=0.0)
        wheel = sheet.axes(0.62, 0.45, 3.5, 0.65)
        wheel.plot(times, scope.wheel, color=hex_of("wood"), lw=1.6)
        wheel.set_ylim(0.0, 1.15 * max(float(scope.wheel.max()), 1e-6))
        wheel.set_ylabel("wheel [rad/s]")
        wheel.set_xlabel("since the flash [ms]")
        for axes in (rail, currents, wheel):
            axes.set_xlim(0.0, float(times[-1]))
            axes.yaxis.set_label_coords(-0.115, 0.5)
        for axes in (rail, currents):
            axes.tick_params(labelbottom=False)
        _energy_bars(sheet.axes(5.35, 0.45, 1.4, 2.2), scope)
        return sheet.drawing(_scope_words(scope))


def energy_shares(scope: PulseScope) -> list[tuple[str, float]]:
    """Where the energy of a pulse goes, as shares of what storage and panel gave, the largest first."""
    spent = {name: one for name, one in scope.energy.items() if one > 0.0}
    whole = sum(spent.values())
    if whole <= 0.0:
        return []
    shares = [(name, one / whole) for name, one in spent.items()]
    large = [pair for pair in shares if pair[1] >= _SMALL_SHARE or pair[0] == "motion"]
    rest = sum(share for name, share in shares if share < _SMALL_SHARE and name != "motion")
    return [*sorted(large, key=lambda pair: -pair[1]), *([("all else", rest)] if rest > 0.0 else [])]


def _energy_bars(axes: "Axes", scope: PulseScope) -> None:
    shares = energy_shares(scope)
    axes.set_title("where its energy goes", loc="left", fontsize=SMALL, color=hex_of("faded"), pad=4)
    axes.grid(False)
    axes.spines["bottom"].set_visible(False)
    axes.set_xticks([])
    for place, (name, share) in enumerate(shares):
        axes.barh(-place, share, height=0.6, color=hex_of(_ENERGY_PAINTS.get(name, "faded")))
        axes.text(
            share + 0.02, -place, f"{100.0 * share:.0f} %", va="center", fontsize=SMALL, color=hex_of("ink")
        )
    axes.set_xlim(0.0, 1.3)
    axes.set_yticks(
        [-place for place in range(len(shares))], [name.replace("'s own", "’s\nown") for name, _ in shares]
    )


def _scope_words(scope: PulseScope) -> str:
    shares = ", ".join(f"{name} {100.0 * share:.0f} %" for name, share in energy_shares(scope))
    volts = f"from {scope.rail[0]:.2f} V to {scope.rail[-1]:.2f} V in {1e3 * scope.times[-1]:.0f} ms"
    return (
        f"A {scope.side} pulse in {light_words(scope.light)} against time: the rail falls {volts}, the motor "
        f"takes up to {1e3 * scope.motor.max():.0f} mA, the bases up to {1e3 * scope.bases.max():.0f} mA, "
        f"the wheel turns at up to {scope.wheel.max():.0f} rad/s. Energy: {shares}."
    )
