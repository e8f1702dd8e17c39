"""The page of a bench sheet: where a design works, its figures, its cycle, its faults with cause and cure."""

from collections.abc import Sequence

from agents.design.spec import Design
from agents.design.values_by_path import SIDES
from agents.testbench.bench_figures import BenchPoint
from agents.testbench.diagnosis import Diagnosis, FaultReport
from agents.testbench.eye_tables import table_notes
from agents.testbench.faults import FAULTS, fault_title
from agents.testbench.pulse_scope import PulseScope, pulse_scope
from agents.testbench.whole_design import WholeDesign
from agents.text.shapes import shape_at, title_at
from arena.reports.bench_curves import WORKS, LightCurves, cycle_of, light_curves
from arena.reports.bench_plots import cycle_plot, light_plot
from arena.reports.bench_words import (
    bench_columns,
    light_cells,
    sides_differ,
)
from arena.reports.cure_words import NONE_FOUND, after_words, effect_words, range_words, values_words
from arena.reports.html_page import rendered
from arena.reports.light_table import eye_voltage, table_points
from arena.reports.pulse_plots import rhythm_plot, scope_plot
from replays.words import NOTHING, light_words, time_words

# What a bench has to hand when it is set up: paths of the whole design, and of a side.
_COMMON = (
    "storage.capacitance",
    "storage.leak",
    "storage.series_resistance",
    "panel.current_per_light",
    "panel.response",
    "panel.junction_voltage",
    "panel.series_resistance",
    "body.mass",
    "body.track",
    "body.radius",
)
_OF_SIDES = (
    "eye.dark_trigger",
    "eye.slope",
    "eye.tape",
    "eye.aside",
    "eye.outward",
    "series",
    "coupling",
    "latch",
    "feeler",
    "motor.resistance",
    "motor.constant",
    "whisker.length",
)


def bench_page(
    design: Design,
    points: Sequence[BenchPoint],
    found: Diagnosis | None,
    kind: str = "daylight",
    air: Sequence[str] = (),
) -> str:
    """The page of a design measured at ``points`` in a ``kind`` of light, ascending.

    ``air`` are sentences on temperature, ``found`` is the diagnosis between the first and the last of them;
    None where nobody looked for causes.
    Raises :class:`~agents.errors.ModelError` where the model cannot follow the design.
    """
    curves = light_curves(design, kind, air=points[0].measured.air)
    cycle = cycle_of(design, list(points))
    scope = None if cycle is None else pulse_scope(design, cycle.light, kind, cycle.side)
    return rendered(
        "bench.html",
        name=design.name,
        about=design.about,
        kind_words=". ".join([f"light: {kind}", *air]),
        verdict=_verdict(curves),
        light_plot=light_plot(curves),
        light_caption=(
            "A side fires where the storage, at rest between panel, eyes and leak, stands above the trigger:"
            " the shaded part. The bars name what was found in each range of light."
        ),
        lights=light_cells(points),
        columns=bench_columns(points),
        sides_differ=sides_differ(points),
        notes=[
            f"{note[0].upper()}{note[1:]}." for note in table_notes(design, [one.light for one in points])
        ],
        rhythm_plot=rhythm_plot(table_points(design, kind)),
        scope_plot=None if scope is None else scope_plot(scope),
        scope_caption="" if scope is None else _scope_caption(design, scope),
        cycle_plot=None if cycle is None else cycle_plot(cycle),
        cycle_caption=""
        if cycle is None
        else (
            f"One cycle in {light_words(cycle.light)}: the storage charges for"
            f" {time_words(float(cycle.waiting[-1, 0]))}, the {cycle.side} side fires, and its latch holds"
            f" the motor on for {1e3 * float(cycle.pulse[-1, 0]):.0f} ms."
        ),
        looked=_looked(points, found),
        faults=[] if found is None else [fault_words(report) for report in found.reports],
        advice=None if found is None or found.advice is None else _advice_words(found.advice),
        part_tables=part_tables(design),
    )


def _scope_caption(design: Design, scope: PulseScope) -> str:
    trigger = float(scope.rail[0])
    eye = eye_voltage(design, scope.side, trigger)
    return (
        f"A meter on the rail reads {trigger:.2f} V as it fires, one at the eye {eye:.2f} V: its standby "
        f"current drops the difference over series resistor and motor. {100.0 * scope.motion_share:.0f} % of "
        f"the pulse’s energy became motion; {1e3 * scope.charge['motor']:.2f} mC of charge went through the "
        f"motor, {1e3 * scope.charge['bases']:.2f} mC through the bases."
    )


def fault_words(report: FaultReport) -> dict[str, str]:
    """A fault as a page tells it: its title, where it is, its cause and its cure."""
    return {
        "title": fault_title(report.name),
        "where": range_words(report.lights),
        "cause": report.cause,
        **_cure_words(report),
    }


def _cure_words(report: FaultReport) -> dict[str, str]:
    cure = report.cure
    if cure is None:
        return {"cure": NONE_FOUND, "setting": "", "effect": ""}
    near = "none found; the nearest miss: " if cure.stays else ""
    return {
        "cure": f"{near}{cure.text}{after_words(cure)}",
        "setting": values_words(cure.values),
        "effect": effect_words(report),
    }


def _advice_words(advice: WholeDesign) -> dict[str, str]:
    reach = "no fault" if advice.is_all else "no fault there, which is the widest range that was found"
    before = "nowhere without one" if advice.before is None else f"{range_words(advice.before)} without one"
    return {
        "where": range_words(advice.lights),
        "change": f"{advice.text}; with it {reach} (now {before})",
        "setting": values_words(advice.values),
    }


def _verdict(curves: LightCurves) -> str:
    """In a sentence, where it works and what it does elsewhere."""
    works = [one.where for one in curves.ranges if one.state == WORKS]
    others = [f"{one.words} {one.where}" for one in curves.ranges if one.state != WORKS]
    if not works:
        return f"In no light was it found to be without a fault: {'; '.join(others)}."
    beyond = f" Elsewhere: {'; '.join(others)}." if others else " No fault was found."
    return f"Works {' and '.join(works)}.{beyond}"


def _looked(points: Sequence[BenchPoint], found: Diagnosis | None) -> str:
    """What was looked for, and in which light."""
    where = range_words((points[0].light, points[-1].light))
    kinds = ", ".join(fault_title(name) for name in FAULTS)
    if found is None:
        return "Nobody looked for causes and cures here."
    none = "" if found.reports else " None was found."
    return f"Looked for, in even light of {where}: {kinds}.{none}"


def part_tables(design: Design) -> list[tuple[str, list[str], list[tuple[str, list[str]]]]]:
    """The main values of a design: those of the whole, and those of its sides, in one column where alike."""
    pairs = {path: tuple(_value(design, f"{side}.{path}") for side in SIDES) for path in _OF_SIDES}
    pairs = {path: pair for path, pair in pairs.items() if pair != (NOTHING, NOTHING)}
    labels = [title_at(Design, f"left.{path}").removeprefix("left ") for path in pairs]
    columns = [(side, [pair[number] for pair in pairs.values()]) for number, side in enumerate(SIDES)]
    if columns[0][1] == columns[1][1]:
        columns = [("left and right", columns[0][1])]
    common = [_value(design, path) for path in _COMMON]
    return [
        ("the whole", [title_at(Design, path) for path in _COMMON], [("value", common)]),
        ("a side", labels, columns),
    ]


def _value(design: Design, path: str) -> str:
    """A value of a design as its file could say it."""
    keys = tuple(path.split("."))
    # a part that is left out has nothing below it
    for count in range(1, len(keys) + 1):
        value = design.value_at(".".join(keys[:count]))
        if value is None:
            return "none" if count == len(keys) else NOTHING
    shape = shape_at(Design, keys)
    return shape.reader.show(value) if shape and shape.reader else str(value)
