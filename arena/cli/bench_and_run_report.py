"""Tables for people, on the terminal.

Text that comes from files is shown as it is, never read as markup, and without what would steer a terminal.
"""

import math
import re
from collections.abc import Callable, Sequence

from rich.text import Text

from agents.testbench.bench_figures import BenchPoint
from agents.testbench.faults import fault_title
from arena.cli.printed_tables import (
    NOTHING,
    Column,
    print_in_parts,
    print_table,
    table_width,
    table_with,
    the_console,
)
from arena.cli.terminal import printable
from arena.reports.bench_words import (
    FAULTS_HEADING,
    bench_columns,
    light_cells,
    sides_differ,
)
from replays.causes.bench_faults import EntryBench
from replays.format.tables import Replay
from replays.scoring.crowds import CROWD_EXPLANATIONS, UNDEFINED, CrowdScore
from replays.scoring.scores import EXPLANATIONS, DesignScore
from replays.words import light_words, time_words

# Explanations stand beside their scores where there is so much room for them, else below.
NOTES_WIDTH = 48


def _share(value: float | None) -> str:
    return NOTHING if value is None else f"{100.0 * value:.0f} %"


def _fine_share(value: float) -> str:
    return f"{100.0 * value:.1f} %"


def _number(value: float | None) -> str:
    return NOTHING if value is None else f"{value:.2f}"


def _degrees(value: float | None) -> str:
    return NOTHING if value is None else f"{value:.0f} deg"


def _time(value: float | None) -> str:
    return NOTHING if value is None else time_words(value)


def _range(ends: tuple[float, float] | None) -> str:
    return NOTHING if ends is None else f"{100.0 * ends[0]:.0f} to {100.0 * ends[1]:.0f} %"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


# Label, key of the explanation, and how the cell of a design reads.
_SCORES: tuple[tuple[str, str, Callable[[DesignScore], str]], ...] = (
    ("walkers", "walkers", lambda one: str(one.walkers)),
    ("pulses", "pulses", lambda one: str(one.pulses)),
    (
        "reached a goal",
        "reach_share",
        lambda one: NOTHING if one.reached is None else f"{one.reached}, {_share(one.reach_share)}",
    ),
    ("reached, 95 % range", "reach_interval", lambda one: _range(one.reach_interval)),
    ("median arrival time", "median_reach_s", lambda one: _time(one.median_reach_s)),
    ("progress to the goal", "progress", lambda one: _number(one.progress)),
    (
        "light gain",
        "light_gain",
        lambda one: NOTHING if one.light_gain is None else f"x {one.light_gain:.2f}",
    ),
    ("hardly moved", "hardly_moved", lambda one: f"{one.hardly_moved} of {one.walkers}"),
    ("directness", "directness", lambda one: _number(one.directness)),
    ("turn a pulse", "median_turn_deg", lambda one: _degrees(one.median_turn_deg)),
    ("aim", "aim", lambda one: _number(one.aim)),
    ("steadiness of heading", "aim_resultant", lambda one: _number(one.aim_resultant)),
    ("contacts", "contacts", lambda one: str(one.contacts)),
    ("times shaded", "shades", lambda one: str(one.shades)),
    ("escaped", "escape_share", lambda one: _share(one.escape_share)),
    ("escaped, 95 % range", "escape_interval", lambda one: _range(one.escape_interval)),
    ("median time to escape", "median_escape_s", lambda one: _time(one.median_escape_s)),
    (
        "median pulses to escape",
        "median_escape_pulses",
        lambda one: NOTHING if one.median_escape_pulses is None else f"{one.median_escape_pulses:.0f}",
    ),
    ("time stuck", "stuck_share", lambda one: _share(one.stuck_share)),
)


def _explanation(words: str) -> str:
    # the cells say their units themselves
    return re.sub(r" \[[^]]+\]", "", words)


def print_run(replay: Replay) -> None:
    """One line on what was run."""
    how = ", each alone" if replay.header.get("alone") else ""
    the_console().print(
        f"{printable(replay.arena['name'])}: {_count(len(replay.walkers), 'walker')}{how}, "
        f"{_time(replay.seconds)}, seed {replay.header['seed']}, {_count(len(replay.pulses), 'pulse')}"
    )


def print_scores(scores: Sequence[DesignScore]) -> None:
    """The scores of every design side by side, each with a line that says what it is."""
    labels: Column = ("score", [label for label, _, _ in _SCORES])
    columns = [(one.design, [show(one) for _, _, show in _SCORES]) for one in scores]
    notes = [_explanation(EXPLANATIONS[key]) for _, key, _ in _SCORES]
    _print_explained(labels, columns, notes)
    if any(NOTHING in cells for _, cells in columns):
        the_console().print(f"{NOTHING}: undefined: too few got there, nothing happened, or it hardly moved")


def _print_explained(labels: Column, columns: Sequence[Column], notes: list[str]) -> None:
    """A table of scores with a note on each."""
    console = the_console()
    if table_width(console, table_with(labels, columns)) + NOTES_WIDTH <= console.width:
        console.print(table_with(labels, columns, ("what it says", notes)))
    else:
        print_in_parts(console, labels, columns)
        for label, note in zip(labels[1], notes, strict=True):
            console.print(Text.assemble(f"{label}: ", (note, "dim")))


# Label, name of the score of a crowd, and how its figure reads.
_CROWD_SCORES: tuple[tuple[str, str, Callable[[float], str]], ...] = (
    ("gathered in a goal", "gathered", _share),
    ("gathered more", "gathered_more", _share),
    ("spread", "spread", _number),
    ("contacts a walker-minute", "crowding", _number),
    ("in contact with others", "contact_share", _share),
    ("light lost to others", "shading", _fine_share),
    ("light on the panel", "light_lx", light_words),
    ("evenness of light", "evenness", _number),
    ("mixing of designs", "mixing", _number),
)
_GATE_SCORES: tuple[tuple[str, str, Callable[[float], str]], ...] = (
    ("came through {}", "passed_share", _share),
    ("a minute through {}", "flow_per_min", _number),
)


def print_crowds(crowds: Sequence[CrowdScore]) -> None:
    """What came of walkers that shared a floor; nothing where there are none."""
    if not crowds:
        return
    everybody = crowds[0]
    rows: list[tuple[str, str, Callable[[CrowdScore], str]]] = [
        ("walkers", "walkers", lambda one: str(one.walkers))
    ]
    rows += [(label, key, _crowd_cell(key, key, show)) for label, key, show in _CROWD_SCORES]
    # rows that would say nothing, or what another one says
    left_out = {key for key in ("mixing", "gathered", "gathered_more") if getattr(everybody, key) is None}
    if all(one.gathered_more == one.gathered for one in crowds):
        left_out.add("gathered_more")
    rows = [row for row in rows if row[1] not in left_out]
    for number, gate in enumerate(everybody.gates):
        rows += [
            (label.format(printable(gate.gate)), key, _crowd_cell(key, f"{gate.gate}: {key}", show, number))
            for label, key, show in _GATE_SCORES
        ]
    floors = "" if everybody.floors == 1 else f"\n({_count(everybody.floors, 'floor')})"
    labels: Column = (f"on one floor{floors}", [label for label, _, _ in rows])
    columns = [(one.of, [show(one) for _, _, show in rows]) for one in crowds]
    _print_explained(labels, columns, [_explanation(CROWD_EXPLANATIONS[key]) for _, key, _ in rows])
    for number, (label, key, _) in enumerate(rows):
        if any(cells[number] == NOTHING for _, cells in columns):
            the_console().print(f"{NOTHING} of {label}: undefined, {UNDEFINED[key]}")


# Of the scores of a crowd those that a line has room for, and how it names them.
_CROWD_IN_SHORT = (
    ("crowding", "{} contacts a walker-minute"),
    ("shading", "{} of the light lost to others"),
    ("spread", "spread {} (1 as by chance)"),
)


def print_crowds_in_short(crowds: Sequence[CrowdScore], command: str) -> None:
    """One line on what came of walkers that shared a floor, and the ``command`` that tells all of it."""
    if not crowds:
        return
    everybody = crowds[0]
    shows = {key: show for _, key, show in _CROWD_SCORES}
    told = [
        words.format(shows[key](getattr(everybody, key)))
        for key, words in _CROWD_IN_SHORT
        if getattr(everybody, key) is not None
    ]
    the_console().print(Text(f"on one floor: {', '.join(told)}; more: {command}"))


def _crowd_cell(
    key: str, range_key: str, show: Callable[[float], str], gate: int | None = None
) -> Callable[[CrowdScore], str]:
    """How the cell of a crowd reads: its figure, and behind it the range, where there is one."""

    def cell(one: CrowdScore) -> str:
        value = getattr(one if gate is None else one.gates[gate], key)
        if value is None:
            return NOTHING
        ends = one.ranges.get(range_key)
        # the figure has the sign for both
        low, high = ("", "") if ends is None else (show(end).removesuffix(" %") for end in ends)
        return show(value) if ends is None else f"{show(value)} [{low}, {high}]"

    return cell


def print_entries(entries: Sequence[EntryBench]) -> None:
    """The faults that the bench finds in each entry, in the light in which its walkers stood."""
    console = the_console()
    rows = [(one.design, _stood_in(one), _faults_words(one)) for one in entries]
    names, lights, faults = ([row[number] for row in rows] for number in range(3))
    columns: list[Column] = [
        ("stood in (median of\npanel and darker eye)", lights),
        ("faults on the bench in that light", faults),
    ]
    print_table(console, ("entry", names), columns, words="faults on the bench in that light")


def _stood_in(entry: EntryBench) -> str:
    if math.isnan(entry.light_lx):
        return NOTHING
    return f"{light_words(entry.light_lx)}, eye {light_words(entry.eye_lx)}"


def _faults_words(entry: EntryBench) -> str:
    if entry.faults is None:
        return NOTHING if math.isnan(entry.light_lx) else "the model cannot follow it"
    return ", ".join(map(fault_title, entry.faults)) or "none"


def print_bench(
    name: str,
    about: str | None,
    points: Sequence[BenchPoint],
    notes: Sequence[str] = (),
    places: Sequence[str] = (),
) -> None:
    """What a design does at each light, and notes on what may mislead.

    ``places`` are lines that say where there is such light.
    """
    console = the_console()
    words = "" if about is None else f": {printable(about)}"
    console.print(Text.assemble((printable(name), "bold"), words))
    for line in places:
        console.print(Text(line))
    lights, columns = light_cells(points), bench_columns(points)
    table = table_with(("light", lights), columns, words=FAULTS_HEADING)
    if table_width(console, table) <= console.width:
        console.print(table)
    else:
        headings = [heading.replace("\n", " ") for heading, _ in columns]
        turned = [(light, [cells[number] for _, cells in columns]) for number, light in enumerate(lights)]
        print_in_parts(console, ("light", headings), turned)
    if sides_differ(points):
        console.print("figures are those of the side that fires first in even light")
    for note in notes:
        console.print(f"note: {note}")
