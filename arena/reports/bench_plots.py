"""The plots of a bench page."""

import math
from typing import TYPE_CHECKING, Any

from agents.testbench.faults import BLIND, DIM, LOCKED
from arena.reports.bench_curves import WORKS, Cycle, LightCurves, LightRange
from arena.reports.paper import hex_of
from arena.reports.plot_sheet import SMALL, Drawing, PlotSheet, plot_sheet
from arena.studies.telling.canvas import apart
from replays.words import light_words, time_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH = 7.0
"""Width of every plot [inches]."""

# Where one meets so much light [lx]: EN 12464-1 asks for 300 to 500 lx at a desk; the others from memory.
_PLACES = ((500.0, "desk"), (2500.0, "window sill"), (15e3, "overcast sky"), (100e3, "full sun"))
_PAINTS = {WORKS: "works", DIM: "faded", BLIND: "fails", LOCKED: "fails", "fires": "warns"}
# Width of a letter [inches] at SMALL, somewhat too wide rather than too narrow.
_LETTER = 0.075


def light_plot(curves: LightCurves) -> Drawing:
    """Triggers, open circuit and rail at rest against light, with the ranges that they make."""
    low, high = float(curves.lights[0]), float(curves.lights[-1])
    with plot_sheet(WIDTH, 3.15) as sheet:
        axes = sheet.axes(0.62, 0.72, WIDTH - 0.8, 1.65)
        axes.set_xscale("log")
        axes.set_xlim(low, high)
        triggers = (curves.left, curves.right)
        bottom = min(float(one.min()) for one in triggers) - 0.45
        top = max(float(curves.open_circuit.max()), *(float(one.max()) for one in triggers)) + 0.15
        axes.set_ylim(bottom, top)
        lower = triggers[0] if curves.sides_alike else _lower(curves)
        axes.fill_between(
            curves.lights,
            lower,
            curves.rests,
            where=curves.rests > lower,
            color=hex_of("works"),
            alpha=0.14,
            lw=0,
        )
        lines = _voltages(axes, curves)
        for one in curves.ranges[1:]:
            axes.axvline(one.low, color=hex_of("wood"), lw=0.7, zorder=1)
        light_axis(axes, low, high)
        axes.set_ylabel("voltage [V]")
        _strip(sheet, axes, curves.ranges)
        sheet.figure.legend(
            handles=lines,
            loc="upper left",
            bbox_to_anchor=(0.62 / WIDTH, 1.0),
            ncols=len(lines),
            frameon=False,
            fontsize=SMALL,
            borderaxespad=0.0,
            handlelength=2.4,
            columnspacing=1.4,
        )
        return sheet.drawing(_light_words(curves))


def _lower(curves: LightCurves) -> Any:
    import numpy as np

    return np.minimum(curves.left, curves.right)


def _voltages(axes: "Axes", curves: LightCurves) -> list[Any]:
    lines: list[Any] = []
    if curves.sides_alike:
        lines += axes.plot(curves.lights, curves.left, color=hex_of("left"), lw=1.6, label="trigger")
    else:
        lines += axes.plot(curves.lights, curves.left, color=hex_of("left"), lw=1.6, label="left trigger")
        lines += axes.plot(
            curves.lights, curves.right, color=hex_of("right"), lw=1.6, ls=(0, (7, 2)), label="right trigger"
        )
    if any(map(math.isfinite, curves.pressed)):
        lines += axes.plot(
            curves.lights,
            curves.pressed,
            color=hex_of("left"),
            lw=1.0,
            ls=(0, (1, 1.5)),
            label="whisker pressed",
        )
    lines += axes.plot(curves.lights, curves.rests, color=hex_of("ink"), lw=1.6, label="storage at rest")
    lines += axes.plot(
        curves.lights,
        curves.open_circuit,
        color=hex_of("faded"),
        lw=1.2,
        ls=(0, (4, 2, 1, 2)),
        label="open circuit",
    )
    return lines


def light_axis(axes: "Axes", low: float, high: float) -> None:
    """Mark light [lx] from ``low`` to ``high`` along an axis of ratios, and where one meets so much of it."""
    decades = range(math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high)) + 1)
    ticks = [10.0**decade for decade in decades]
    axes.set_xticks(ticks, [light_words(tick) for tick in ticks])
    axes.set_xticks(
        [mark * tick / 10.0 for tick in [*ticks, 10.0 * ticks[-1]] for mark in range(2, 10)], [], minor=True
    )
    axes.set_xlim(low, high)
    for light, place in _PLACES:
        if low <= light <= high:
            axes.annotate(
                place,
                (light, 0.0),
                xycoords=("data", "axes fraction"),
                xytext=(0, -24),
                textcoords="offset points",
                ha="center" if light < 0.5 * high else "right",
                va="center",
                fontsize=SMALL,
                color=hex_of("wood"),
            )
    axes.set_xlabel("light on eyes and panel", labelpad=17)


def _strip(sheet: PlotSheet, axes: "Axes", ranges: tuple[LightRange, ...]) -> None:
    """Above the axes a bar for each range, with its name beside or above it."""
    box = axes.get_position()
    left, width = box.x0 * sheet.width, box.width * sheet.width
    low, high = (math.log(limit) for limit in axes.get_xlim())
    y = box.y1 * sheet.height + 0.1
    over = sheet.figure.add_axes((0.0, 0.0, 1.0, 1.0))
    over.set_xlim(0.0, sheet.width)
    over.set_ylim(0.0, sheet.height)
    over.axis("off")
    ends = [
        tuple(left + width * (math.log(light) - low) / (high - low) for light in (one.low, one.high))
        for one in ranges
    ]
    sizes = [_LETTER * len(one.words) + 0.1 for one in ranges]
    high_up = [size > end - start for size, (start, end) in zip(sizes, ends, strict=True)]
    middles = [0.5 * (start + end) for start, end in ends]
    lifted = [number for number, is_up in enumerate(high_up) if is_up]
    places = apart(
        [middles[number] for number in lifted], [sizes[number] for number in lifted], left, left + width
    )
    for one, (start, end), middle, is_up in zip(ranges, ends, middles, high_up, strict=True):
        paint = hex_of(_PAINTS[one.state])
        over.plot([start + 0.015, end - 0.015], [y, y], color=paint, lw=4.0, solid_capstyle="butt")
        if not is_up:
            over.text(middle, y + 0.13, one.words, ha="center", va="center", fontsize=SMALL, color=paint)
    for number, place in zip(lifted, places, strict=True):
        paint = hex_of(_PAINTS[ranges[number].state])
        over.plot([middles[number], place], [y + 0.04, y + 0.25], color=paint, lw=0.7)
        over.text(
            place, y + 0.33, ranges[number].words, ha="center", va="center", fontsize=SMALL, color=paint
        )


def _light_words(curves: LightCurves) -> str:
    low, high = curves.lights[0], curves.lights[-1]
    trigger = _lower(curves)
    ranges = "; ".join(f"{one.words} {one.where}" for one in curves.ranges)
    return (
        f"Plot of voltages against light from {light_words(float(low))} to {light_words(float(high))}. "
        f"The lower trigger rises from {trigger[0]:.2f} V to {trigger[-1]:.2f} V; the storage at rest from "
        f"{curves.rests[0]:.2f} V to {curves.rests[-1]:.2f} V. {ranges}."
    )


def cycle_plot(cycle: Cycle) -> Drawing:
    """One cycle: the rail while it waits, and rail and motor current in the pulse."""
    trigger, let_go = float(cycle.waiting[-1, 1]), float(cycle.pulse[-1, 1])
    waits, lasts = float(cycle.waiting[-1, 0]), float(cycle.pulse[-1, 0])
    peak = float(cycle.pulse[:, 2].max())
    paint = hex_of(cycle.side)
    with plot_sheet(WIDTH, 2.3) as sheet:
        top = 1.15 * trigger
        wait_axes = sheet.axes(0.62, 0.45, 2.9, 1.6)
        wait_axes.plot(cycle.waiting[:, 0], cycle.waiting[:, 1], color=hex_of("ink"), lw=1.6)
        wait_axes.axhline(trigger, color=paint, lw=1.0, ls=(0, (5, 2)))
        wait_axes.set_xlim(0.0, waits)
        wait_axes.set_xlabel("waiting [s]")
        wait_axes.set_ylabel("rail [V]")
        rail_axes = sheet.axes(4.05, 1.25, 2.75, 0.8)
        rail_axes.plot(1e3 * cycle.pulse[:, 0], cycle.pulse[:, 1], color=hex_of("ink"), lw=1.6)
        rail_axes.set_ylabel("rail [V]")
        rail_axes.tick_params(labelbottom=False)
        motor_axes = sheet.axes(4.05, 0.45, 2.75, 0.65)
        motor_axes.plot(1e3 * cycle.pulse[1:, 0], 1e3 * cycle.pulse[1:, 2], color=paint, lw=1.4)
        motor_axes.set_ylabel("motor [mA]")
        motor_axes.set_xlabel("the pulse [ms]")
        motor_axes.set_ylim(0.0, 1.15e3 * peak)
        for axes in (wait_axes, rail_axes):
            axes.set_ylim(0.0, top)
        for axes in (rail_axes, motor_axes):
            axes.set_xlim(0.0, 1e3 * lasts)
        titles = (
            (wait_axes, f"charging to the trigger, {trigger:.2f} V"),
            (rail_axes, f"a {cycle.side} pulse: the latch releases at {let_go:.2f} V"),
        )
        for axes, words in titles:
            axes.set_title(words, loc="left", fontsize=SMALL, color=hex_of("faded"), pad=4)
        return sheet.drawing(
            f"Two plots of one cycle in {light_words(cycle.light)}. Charging: the rail rises from"
            f" {let_go:.2f} V to the trigger of {trigger:.2f} V in {time_words(waits)}. A {cycle.side} pulse"
            f" of {1e3 * lasts:.0f} ms: the rail falls to {let_go:.2f} V, where the latch releases; the motor"
            f" takes up to {1e3 * peak:.0f} mA."
        )
