"""Tables for people, on the terminal."""

from collections.abc import Sequence
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from agents.bench import BenchPoint
from agents.diagnosis import FaultReport
from agents.quantities import format_quantity
from replays.record import Replay
from replays.score import EXPLANATIONS, DesignScore

NOTHING = "–"


def _console() -> Console:
    # a table that is read from a file or a pipe must not be cut to a guess of the terminal
    console = Console(highlight=False)
    return console if console.is_terminal else Console(highlight=False, width=160)


def _share(value: float | None) -> str:
    return NOTHING if value is None else f"{100.0 * value:.0f} %"


def _number(value: float | None) -> str:
    return NOTHING if value is None else f"{value:.2f}"


def _time(value: float | None) -> str:
    if value is None:
        return NOTHING
    if value < 120.0:
        return f"{value:.1f} s"
    minutes, seconds = divmod(round(value), 60)
    return f"{minutes} min {seconds:02d} s"


def _interval(ends: tuple[float, float] | None) -> str:
    return "" if ends is None else f" [{100.0 * ends[0]:.0f}, {100.0 * ends[1]:.0f}]"


def print_run(replay: Replay) -> None:
    """One line on what was run."""
    how = ", each alone" if replay.header.get("alone") else ""
    _console().print(
        f"{replay.arena['name']}: {len(replay.walkers)} walkers{how}, {_time(replay.seconds)}, "
        f"seed {replay.header['seed']}, {len(replay.pulses)} pulses"
    )


def print_scores(scores: Sequence[DesignScore]) -> None:
    """The scores of every design side by side, each with a line that says what it is."""
    table = Table(box=SIMPLE_HEAD)
    table.add_column("score")
    for one in scores:
        table.add_column(one.design, justify="right")
    table.add_column("what it says", overflow="fold")
    rows: list[tuple[str, str, Any]] = [
        ("walkers", "walkers", lambda one: str(one.walkers)),
        ("pulses", "pulses", lambda one: str(one.pulses)),
        (
            "reached a goal",
            "reach_share",
            lambda one: (
                NOTHING
                if one.reached is None
                else f"{one.reached}, {_share(one.reach_share)}{_interval(one.reach_interval)}"
            ),
        ),
        ("median time to it", "median_reach_s", lambda one: _time(one.median_reach_s)),
        (
            "light gain",
            "light_gain",
            lambda one: NOTHING if one.light_gain is None else f"x {one.light_gain:.2f}",
        ),
        ("directness", "directness", lambda one: _number(one.directness)),
        ("aim", "aim", lambda one: _number(one.aim)),
        ("aim, resultant", "aim_resultant", lambda one: _number(one.aim_resultant)),
        ("contacts", "contacts", lambda one: str(one.contacts)),
        ("shades", "shades", lambda one: str(one.shades)),
        (
            "escaped",
            "escape_share",
            lambda one: f"{_share(one.escape_share)}{_interval(one.escape_interval)}",
        ),
        ("median time to escape", "median_escape_s", lambda one: _time(one.median_escape_s)),
        (
            "median pulses to escape",
            "median_escape_pulses",
            lambda one: NOTHING if one.median_escape_pulses is None else f"{one.median_escape_pulses:.0f}",
        ),
        ("time stuck", "stuck_share", lambda one: _share(one.stuck_share)),
    ]
    for label, key, show in rows:
        table.add_row(label, *(show(one) for one in scores), f"[dim]{EXPLANATIONS[key]}[/dim]")
    _console().print(table)


def print_bench(name: str, about: str, points: Sequence[BenchPoint], reports: Sequence[FaultReport]) -> None:
    """What a design does at each light, and its faults with cause and cure."""
    console = _console()
    console.print(f"[bold]{name}[/bold]: {about}")
    table = Table(box=SIMPLE_HEAD)
    for heading in (
        "light",
        "trigger",
        "touched",
        "charges in",
        "pulse",
        "lets go at",
        "turns",
        "moves on",
        "faults",
    ):
        table.add_column(heading, justify="left" if heading == "faults" else "right")
    for point in points:
        row = point.as_dict()
        table.add_row(
            format_quantity(row["light_lx"], "lx"),
            _fixed(row["trigger_V"], 2, "V"),
            _fixed(row["trigger_touched_V"], 2, "V"),
            _time(row["charge_s"]),
            _fixed(row["pulse_s"], 0, "ms", 1e3),
            _fixed(row["let_go_V"], 2, "V"),
            _fixed(row["turn_deg"], 0, "deg"),
            _fixed(row["advance_m"], 0, "mm", 1e3),
            ", ".join(point.faults) or "none",
        )
    console.print(table)
    for report in reports:
        low, high = (format_quantity(light, "lx") for light in report.lights)
        where = low if low == high else f"{low} to {high}"
        console.print(f"[bold]{report.name}[/bold], {where}: {report.cause}")
        console.print(f"  cure: {_cure(report)}")


def _cure(report: FaultReport) -> str:
    cure = report.cure
    if cure is None:
        return "none found among the standard part values; the design itself has to change"
    where = ""
    if cure.lights != report.lights:
        low, high = (format_quantity(light, "lx") for light in cure.lights)
        where = f" (shown at {low})" if low == high else f" (shown from {low} to {high})"
    brings = f"; but it brings {', '.join(cure.brings)}" if cure.brings else ""
    return f"{cure.text}{where}{brings}"


def _fixed(value: float | None, digits: int, unit: str, factor: float = 1.0) -> str:
    """A value with a fixed number of digits after the point, so that a column lines up."""
    return NOTHING if value is None else f"{factor * value:.{digits}f} {unit}"
