"""Mangle replays and give them to the program: ``python -m tests.mangled.replays --number 2000``.

Each is checked, scored and drawn, and what a replay's walkers say of their pulses is worked out. Whatever it
is, each command is done or tells what is wrong and exits with 2, in 5 s of processor time and 1 GB; no scores
but numbers, no letters that steer a terminal, no file but those that were asked for. Cases are drawn by seed
and number, so that ``--seed 1 --only 17`` does one again; ``--keep FOLDER`` keeps what went wrong.
"""

# ruff: noqa: T201 - printing is what it is for

import tempfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import numpy as np

from tests.mangled.mangle_bytes import drawn_way
from tests.mangled.mangle_replays import WAYS, corpus
from tests.mangled.running import Outcome, Tally, case_options, numbers_of, run_apart

COMMANDS = (
    ("check", "it.replay.npz"),
    ("score", "it.replay.npz", "--json"),
    ("score", "it.replay.npz"),
    ("picture", "it.replay.npz", "--out", "it.png", "--width", "800"),
    ("film", "it.replay.npz", "--out", "it.gif", "--width", "320", "--fps", "2", "--ticker"),
    ("film", "it.replay.npz", "--out", "it.gif", "--width", "320", "--fps", "1", "--projector"),
)
# Films take long, even of a sound replay; one in so many cases is filmed.
FILMED = 12


@dataclass(frozen=True)
class Case:
    """A mangled replay: its number, what was mangled in which way, and its bytes."""

    number: int
    of: str
    way: str
    content: bytes


def cases(seed: int, numbers: Sequence[int], sound: dict[str, bytes]) -> Iterator[Case]:
    """Mangled replays by number; each is the same whichever others are drawn."""
    for number in numbers:
        draw = np.random.default_rng([seed, number])
        of = list(sound)[int(draw.integers(len(sound)))]
        way = drawn_way(WAYS, draw)
        content = WAYS[way][0](sound[of], draw)
        yield Case(number, of, way, content)


def outcomes(case: Case, folder: Path) -> list[Outcome]:
    """What came of all commands on one replay, in an empty ``folder``."""
    path = folder / "it.replay.npz"
    path.write_bytes(case.content)
    commands = COMMANDS if case.number % FILMED == 0 else COMMANDS[:4]
    found = []
    for command in commands:
        found.append(run_apart(command, folder))
        if found[0].code == 2 and not found[0].faults() and len(found) == 2:
            # refused by the first two alike; so it is by all others, which read it by the same means
            break
    left = {one.name for one in folder.iterdir()} - {"it.replay.npz", "it.png", "it.gif"}
    if left or path.read_bytes() != case.content:
        found.append(Outcome(("files",), -1, 0.0, 0, f"left behind or written over: {sorted(left)}"))
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Print what came of it; returns how many cases went wrong."""
    parser = case_options(__doc__ or "", 2000, "replays")
    parser.add_argument("--keep", type=Path, help="folder for the files of what went wrong")
    options = parser.parse_args(arguments)
    for module in ("arena.cli.bench_and_run_report", "replays.drawing.films", "replays.drawing.pictures"):
        # here, so that not each of the processes imports them for itself
        import_module(module)
    tally = Tally("replays")
    with tempfile.TemporaryDirectory() as made:
        for case in cases(options.seed, numbers_of(options), corpus(Path(made))):
            with tempfile.TemporaryDirectory() as folder:
                found = outcomes(case, Path(folder))
            faults = [(one, fault) for one in found for fault in one.faults()]
            for one, fault in faults:
                print(f"case {case.number}, {case.way} of {case.of}: {' '.join(one.command)}: {fault}")
                print("\n".join(f"    {line}" for line in one.said.splitlines()[-6:]), flush=True)
            tally.add(found, bool(faults))
            if faults and options.keep is not None:
                options.keep.mkdir(parents=True, exist_ok=True)
                (options.keep / f"{case.number}-{zlib.crc32(case.content):08x}.npz").write_bytes(case.content)
            if options.only is not None:
                print("\n".join(f"{' '.join(one.command)}: {one.code}: {one.said[:500]}" for one in found))
            if case.number % 100 == 99:
                print(f"{case.number + 1} done", flush=True)
    print(tally)
    return tally.wrong


if __name__ == "__main__":
    raise SystemExit(min(main(), 1))
