"""What is kept of the golden runs, what has moved since, and the line that says so in the list of changes."""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from tests.golden.runs import FIGURES, Figures, Outcome

KEPT = Path(__file__).with_name("kept.json")
CHANGES = Path(__file__).resolve().parents[2] / "CHANGES.md"

TOLERANCE = 2e-3
"""Of a score on a machine of another kind: share of itself, or of 1 where it is less.

The last digit can push a heading over the rim of a replay's grain, and one grain of 0.09 deg is that share of
a turn of 45 deg. With the ways of the system's library for processors without fused multiply-add, and with
those of numpy without wide vectors, scores were the same to 1e-15 (tried by turning both off on a machine
that has them).
"""

DIGITS = 10
# Of a score on a machine of the same kind: what its digits kept leave open.
ROUNDED = 1e-9
# Scores that a line of the list of changes names.
MOST_TOLD = 3


@dataclass(frozen=True)
class Kept:
    """The outcome of every run: digests by kind of machine and run, scores by run and design."""

    digests: dict[str, dict[str, str]]
    scores: dict[str, dict[str, Figures]]


@dataclass(frozen=True)
class Moved:
    """A score that is not what it was."""

    run: str
    design: str
    figure: str
    before: float | None
    now: float | None

    @property
    def by(self) -> float:
        """How far it moved: share of what it was, or of 1 where that is less; inf where one is undefined."""
        if self.before is None or self.now is None:
            return 0.0 if self.before == self.now else math.inf
        return abs(self.now - self.before) / max(abs(self.before), 1.0)

    def __str__(self) -> str:
        told = [("none" if value is None else f"{value:.6g}") for value in (self.before, self.now)]
        share = ""
        if self.before and self.now is not None:
            share = f" ({100 * (self.now - self.before) / abs(self.before):+.3g} %)"
        return f"{self.run}, {self.design}: {self.figure} {told[0]} -> {told[1]}{share}"


def read_kept(path: Path = KEPT) -> Kept:
    """Read what is kept."""
    found = json.loads(path.read_text(encoding="utf-8"))
    scores = {
        run: {design: dict(zip(found["figures"], row, strict=True)) for design, row in rows.items()}
        for run, rows in found["scores"].items()
    }
    return Kept(found["digests"], scores)


def write_kept(kept: Kept, path: Path = KEPT) -> None:
    """Write what is to be kept, a line for each design of each run, so that a change can be read as one."""
    runs = []
    for run, designs in kept.scores.items():
        rows = [
            f"      {json.dumps(design)}: {json.dumps([_rounded(figures[name]) for name in FIGURES])}"
            for design, figures in designs.items()
        ]
        runs.append(f"    {json.dumps(run)}: {{\n" + ",\n".join(rows) + "\n    }")
    digests = json.dumps(kept.digests, indent=2).replace("\n", "\n  ")
    text = (
        "{\n"
        f'  "figures": {json.dumps(FIGURES)},\n'
        f'  "digests": {digests},\n'
        '  "scores": {\n' + ",\n".join(runs) + "\n  }\n}\n"
    )
    path.write_text(text, encoding="utf-8")


def moved_scores(kept: Kept, run: str, found: Outcome, tolerance: float) -> list[Moved]:
    """The scores of a run that moved by more than ``tolerance``, those that moved most first."""
    before = kept.scores.get(run, {})
    moves = [
        Moved(
            run, design, figure, before.get(design, {}).get(figure), found.scores.get(design, {}).get(figure)
        )
        for design in {**before, **found.scores}
        for figure in FIGURES
    ]
    return sorted((one for one in moves if one.by > tolerance), key=lambda one: -one.by)


def what_moved(kept: Kept, run: str, found: Outcome, kind: str) -> list[str]:
    """In a line each what of a run is not as kept on a machine of this ``kind``; nothing where all is."""
    if run not in kept.scores:
        return [f"{run}: nothing is kept of it"]
    if kind not in kept.digests:
        # what its bits would have to be, nobody has seen yet
        return [str(one) for one in moved_scores(kept, run, found, TOLERANCE)]
    lines = [str(one) for one in moved_scores(kept, run, found, ROUNDED)]
    if kept.digests[kind].get(run) == found.digest:
        return lines and [f"{run}: the run is the same to every bit, and is scored otherwise", *lines]
    return [f"{run}: the run is not the same", *(lines or [f"{run}: no score of it moved"])]


def accept(
    kept: Kept | None, found: Mapping[str, Outcome], kind: str, why: str, path: Path, changes: Path
) -> str:
    """Take over what was ``found``, write a line to the list of changes, and return it.

    Where nothing moved no line is written, "" is returned, and a kind of machine that is new is added.
    """
    scores = {run: one.scores for run, one in found.items()}
    digests = {run: one.digest for run, one in found.items()}
    moved = {run: what_moved(kept, run, one, kind) for run, one in found.items()} if kept else {}
    gone = [run for run in (kept.scores if kept else ()) if run not in found]
    if kept is not None and not gone and not any(moved.values()):
        write_kept(Kept({**kept.digests, kind: digests}, kept.scores), path)
        return ""
    write_kept(Kept({kind: digests}, scores), path)
    if kept is None:
        told = f"{len(found)} runs are kept"
    else:
        moves = sorted(
            (
                one
                for run in found
                if run in kept.scores
                for one in moved_scores(kept, run, found[run], ROUNDED)
            ),
            key=lambda one: -one.by,
        )
        new = [run for run in found if run not in kept.scores]
        told = "; ".join(
            [
                f"{sum(map(bool, moved.values()))} of {len(found)} runs, {len(moves)} scores",
                *map(str, moves[:MOST_TOLD]),
                *([f"new: {', '.join(new)}"] if new else []),
                *([f"gone: {', '.join(gone)}"] if gone else []),
            ]
        )
    row = " | ".join(" ".join(cell.split()).replace("|", "/") for cell in (f"{date.today()}", told, why))
    line = f"| {row} |\n"
    with changes.open("a", encoding="utf-8") as file:
        file.write(line)
    return line


def _rounded(value: float | None) -> float | None:
    return value if value is None or isinstance(value, int) else float(f"{value:.{DIGITS}g}")
