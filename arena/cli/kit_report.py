"""What the command kit tells: how many kits work, what fails, what is to blame, and which eyes to pair."""

import math
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from rich.console import Console
from rich.text import Text

from agents.testbench.faults import FAULTS, STRAYS, fault_title
from agents.text.units import format_quantity
from arena.cli.printed_tables import NOTHING, Column, print_in_parts, print_table, recorded, the_console
from arena.cli.terminal import command_word, printable
from arena.reports.html_page import write_page
from arena.reports.told_page import told_page
from arena.studies.kits.eye_picking import Picking
from arena.studies.kits.kit_drawer import Shortage
from arena.studies.kits.kit_yield import KitYield
from arena.studies.plans.titles import design_title
from arena.studies.statistics.estimates import Estimate

CAUTION = (
    "Before anybody solders, read 'Cautions for the bench' in the README: irons, wire, lamps, capacitors."
)
# The heading of how many kits lose which fault.
REMOVED = "faults removed"
# Faults that a row of gains names at the most.
MOST_MENDS = 2
# Gains that a title names at the most.
_NAMED_GAINS = 2


def _percent(value: float) -> str:
    return NOTHING if math.isnan(value) else f"{100.0 * value:.1f} %"


def _share(one: Estimate) -> str:
    return f"{_percent(one.value)} [{100.0 * one.low:.1f}, {100.0 * one.high:.1f}]"


def _points(one: Estimate) -> str:
    """A difference of two shares, in points of a hundred."""
    return f"{100.0 * one.value:+.1f} [{100.0 * one.low:+.1f}, {100.0 * one.high:+.1f}]"


def _lx(light: float) -> str:
    return format_quantity(light, "lx")


def _range(lights: Sequence[float]) -> str:
    low, high = _lx(lights[0]), _lx(lights[-1])
    return f"at {low}" if low == high else f"from {low} to {high}"


def print_kit(found: KitYield, name: str) -> None:
    """Print all of it; ``name`` is how the command was told the design."""
    console = the_console()
    _print_answer(console, found, name)
    _print_faults(console, found)
    if found.share.value < 1.0:
        _print_blame(console, found)
        _print_pairs(console, found)
    _print_picking(console, found)
    console.print(CAUTION, style="dim")


def print_shortages(short: Sequence[Shortage], kits: int) -> None:
    """Print what a drawer lacks for so many kits."""
    console = the_console()
    if not short:
        console.print(f"the drawer holds resistors and capacitors enough for {kits} kits")
    for one in short:
        console.print(
            f"the drawer lacks, for {kits} kits: {one.place.title}, {one.needed} needed, {one.there} there"
        )


def _print_answer(console: Console, found: KitYield, name: str) -> None:
    demand = found.bench_test.demand
    for fault, lights in found.faulty_as_drawn.items():
        at = ", ".join(map(_lx, lights))
        console.print(
            Text.assemble(
                (printable(found.bench_test.design.name), "bold"),
                f" as drawn, with no tolerance at all, is faulty already: {fault_title(fault)} at {at}. "
                f"Cure that first: photodrome bench {command_word(Path(name))}",
            )
        )
    median, low, high = found.expected
    console.print(
        Text.assemble(
            f"of {found.share.count} kits ",
            (_share(found.share), "bold"),
            f" work {_range(demand.lights)}; of {found.kits}, expect {median} ({low} to {high})",
        )
    )
    how = f"{printable(found.bench_test.design.name)}, seed {found.seed}, {demand.kind}"
    allowed = [fault_title(name) for name in FAULTS if name in demand.allowed]
    if allowed:
        how += f"; not counted: {', '.join(allowed)}"
    console.print(how, style="dim")


def _print_faults(console: Console, found: KitYield) -> None:
    counts = found.counts()
    if not counts:
        console.print("no kit has any fault, so there is nothing to blame on a part")
        return
    demand = found.bench_test.demand
    labels = [f"{fault_title(name)}{' (not counted)' if name in demand.allowed else ''}" for name in counts]
    columns: list[Column] = [("kits", [str(count) for count, _ in counts.values()])]
    for number, light in enumerate(demand.lights):
        columns.append((_lx(light), [str(by_light[number]) for _, by_light in counts.values()]))
    print_in_parts(console, ("fault", labels), columns)
    if STRAYS in counts:
        console.print(
            f"{STRAYS}: heads more than {math.degrees(demand.straight):.3g} deg beside a lamp that outshines "
            "all else two to one, or circles",
            style="dim",
        )


def _mends(mends: Sequence[tuple[str, int]]) -> str:
    return ", ".join(f"{fault_title(name)} {count}" for name, count in mends[:MOST_MENDS]) or NOTHING


def _print_blame(console: Console, found: KitYield) -> None:
    parts = found.blame.parts
    columns: list[Column] = [
        ("tolerance", [one.tolerance for one in parts]),
        ("share of\nvariance", [_percent(one.explained) for one in parts]),
        ("work if\nexact", [_percent(one.exact.share.value) for one in parts]),
        ("gain by exact", [_points(one.exact.gain) for one in parts]),
        ("gain by half", [_points(one.half.gain) for one in parts]),
        (REMOVED, [_mends(one.exact.mends) for one in parts]),
    ]
    print_table(console, ("part", [one.path for one in parts]), columns, REMOVED)
    blamed = [one for one in parts if one.exact.is_told]
    if blamed:
        told = "; ".join(f"{one.path} ({_points(one.exact.gain)} points)" for one in blamed)
        console.print(Text.assemble(("to blame: ", "bold"), told))
    else:
        console.print(
            Text.assemble(("to blame: ", "bold"), "no single part whose gain is significant at 5 %")
        )
    some = f", of the first {found.blame.copies} kits" if found.blame.copies < found.share.count else ""
    console.print(
        f"exact, half: the same kits{some}, but for this part's tolerance. Gains are in points of a hundred, "
        "with their 95 % range. Share of variance: of that between kits that work and that do not",
        style="dim",
    )


def _print_pairs(console: Console, found: KitYield) -> None:
    pairs = found.blame.pairs
    if not pairs:
        return
    columns: list[Column] = [
        ("work if\nmatched", [_percent(one.alike.share.value) for one in pairs]),
        ("gain", [_points(one.alike.gain) for one in pairs]),
        ("significant\nat 5 %", ["yes" if one.alike.is_told else "no" for one in pairs]),
        (REMOVED, [_mends(one.alike.mends) for one in pairs]),
    ]
    print_table(console, ("left and right alike", [one.name for one in pairs]), columns, REMOVED)
    console.print(
        "significant at 5 %: all rows together; so the 95 % range of a single row may lie beside 0 though "
        "its gain is not significant",
        style="dim",
    )


def _beside(angle: float) -> str:
    if math.isnan(angle):
        return "circles"
    degrees = round(math.degrees(abs(angle)))
    if degrees == 0:
        return "straight at it"
    # the lamp stands to the left of where it heads
    return f"{degrees} deg to the {'right' if angle > 0.0 else 'left'}"


def _print_picking(console: Console, found: KitYield) -> None:
    picking = found.picking
    low, high = found.eye_range
    if not low <= 0.0 <= high:
        console.print("with like eyes too it heads too far beside a lamp, so no pairing of eyes helps")
        return
    if picking is None:
        console.print(
            f"eyes up to {format_quantity(min(-low, high), 'V')} apart steer straight; not both of its "
            "eyes have a tolerance, so there are none to pick: give a table of measured ones by --eyes"
        )
        return
    console.print(Text.assemble(("picking list", "bold"), f": {_picking_words(picking)}"))
    pairs = picking.pairs
    if pairs:
        columns: list[Column] = [
            ("left eye", [f"{one.left.label}, {one.left.trigger:.3f} V" for one in pairs]),
            ("right eye", [f"{one.right.label}, {one.right.trigger:.3f} V" for one in pairs]),
            ("apart", [f"{1e3 * one.difference:.0f} mV" for one in pairs]),
            ("beside a lamp", [_beside(one.beside) for one in pairs]),
            ("faults", [", ".join(map(fault_title, one.faults)) or "none" for one in pairs]),
        ]
        labels = [str(number) for number in range(1, len(pairs) + 1)]
        print_table(console, ("walker", labels), columns, "faults")
    if picking.left_over:
        told = ", ".join(f"{printable(eye.label)} ({eye.trigger:.3f} V)" for eye in picking.left_over)
        console.print(f"left over: {told}")


def _picking_words(picking: Picking) -> str:
    walkers = len(picking.eyes) // 2
    bag = f"{len(picking.eyes)} eyes"
    if not picking.is_measured:
        bag += " drawn from its own tolerance"
    if len(picking.eyes) % 2:
        bag += ", an odd number"
    sides = "; it matters which one goes left" if picking.is_handed else "; either of two may go left"
    return (
        f"{bag}: {len(picking.pairs)} of {walkers} walkers steer straight by it, {_percent(picking.listed)}; "
        f"of eyes paired at random {_percent(picking.blind)} would. That takes eyes at most "
        f"{format_quantity(picking.limit, 'V')} apart{sides}"
    )


def write_kit_page(
    found: KitYield, name: str, short: Sequence[Shortage] | None, kits: int, out: Path
) -> None:
    """Write the page of a kit: what :func:`print_kit` prints, and the picture of the gains.

    Raises OutputError where it cannot be written.
    """

    def tell() -> None:
        print_kit(found, name)
        if short is not None:
            print_shortages(short, kits)

    design = found.bench_test.design
    with TemporaryDirectory() as folder:
        pictures = []
        if found.share.value < 1.0 and found.blame.parts:
            pictures.append(Path(folder) / "gains-of-exact-and-matched-parts.png")
            draw_gains(found, pictures[0])
        page = told_page("kits of a design", design.name, design.about, recorded(tell), pictures)
    write_page(page, out)


def draw_gains(found: KitYield, path: Path) -> None:
    """Draw what exact and matched parts would buy, with the intervals of the gains, as a PNG.

    Raises OutputError where it cannot be written.
    """
    from arena.studies.telling.plots import forest

    rows = [(f"{design_title(one.path)} exact\n{one.path}", one.exact.gain) for one in found.blame.parts]
    rows += [(f"{one.name} matched", one.alike.gain) for one in found.blame.pairs]
    design, lights = found.bench_test.design.name, _range(found.bench_test.demand.lights)
    about = f"{design}: {_share(found.share)} of {found.share.count} kits work {lights}"
    note = "the same kits with and without the change, so that it is the gain that has an interval"
    forest(path, gains_finding(found), about, rows, "gain in kits that work [points of a hundred]", note)


def gains_finding(found: KitYield) -> str:
    """Which exact or matched parts are told to bring more kits to work, the largest gain first, in words."""
    told = [
        (one.exact.gain, f"an exact {design_title(one.path)}")
        for one in found.blame.parts
        if one.exact.is_told
    ]
    told += [(one.alike.gain, f"pairing {one.name} alike") for one in found.blame.pairs if one.alike.is_told]
    told.sort(key=lambda one: -one[0].value)
    if not told:
        return "No single part is told to cost any kits: no gain is significant"
    words = "; ".join(f"{name} brings {_points(gain)} points" for gain, name in told[:_NAMED_GAINS])
    more = f"; {len(told) - _NAMED_GAINS} more help too" if len(told) > _NAMED_GAINS else ""
    return f"{words[:1].upper()}{words[1:]}{more}"
