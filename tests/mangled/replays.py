"""Mangle replays and give them to the program: ``python -m tests.mangled.replays --number 2000``.

Each is checked, scored and drawn, and what a replay's walkers say of their pulses is worked out. Whatever it
is, each command is done or tells what is wrong and exits with 2, in 5 s of processor time and 1 GB; no scores
but numbers, no letters that steer a terminal, no file but those that were asked for. Cases are drawn by seed
and number, so that ``--seed 1 --only 17`` does one again; ``--keep FOLDER`` keeps what went wrong.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import tempfile
import zlib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import numpy as np

from tests.mangled.mangle_replays import WAYS, corpus
from tests.mangled.running import Outcome, run_apart

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
    shares = np.array([share for _, share in WAYS.values()])
    for number in numbers:
        draw = np.random.default_rng([seed, number])
        of = list(sound)[int(draw.integers(len(sound)))]
        way = list(WAYS)[int(draw.choice(len(WAYS), p=shares / shares.sum()))]
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
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--number", type=int, default=2000, help="so many replays")
    parser.add_argument("--from", dest="first", type=int, default=0, help="the number of the first")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="the case of this number alone")
    parser.add_argument("--keep", type=Path, help="folder for the files of what went wrong")
    options = parser.parse_args(arguments)
    for module in ("arena.cli.bench_and_run_report", "replays.drawing.films", "replays.drawing.pictures"):
        # here, so that not each of the processes imports them for itself
        import_module(module)
    came: Counter[str] = Counter()
    slowest, largest, wrong = 0.0, 0, 0
    with tempfile.TemporaryDirectory() as made:
        last = options.first + options.number
        numbers = range(options.first, last) if options.only is None else [options.only]
        for case in cases(options.seed, numbers, corpus(Path(made))):
            with tempfile.TemporaryDirectory() as folder:
                found = outcomes(case, Path(folder))
            slowest = max(slowest, *(one.seconds for one in found))
            largest = max(largest, *(one.memory for one in found))
            came["refused" if found[0].code == 2 else "taken"] += 1
            faults = [(one, fault) for one in found for fault in one.faults()]
            for one, fault in faults:
                print(f"case {case.number}, {case.way} of {case.of}: {' '.join(one.command)}: {fault}")
                print("\n".join(f"    {line}" for line in one.said.splitlines()[-6:]), flush=True)
            wrong += bool(faults)
            if faults and options.keep is not None:
                options.keep.mkdir(parents=True, exist_ok=True)
                (options.keep / f"{case.number}-{zlib.crc32(case.content):08x}.npz").write_bytes(case.content)
            if options.only is not None:
                print("\n".join(f"{' '.join(one.command)}: {one.code}: {one.said[:500]}" for one in found))
            if case.number % 100 == 99:
                print(f"{case.number + 1} done", flush=True)
    print(
        f"{sum(came.values())} mangled replays: {came['refused']} refused, {came['taken']} taken, "
        f"{wrong} wrong; at the most {slowest:.1f} s of a core and {largest / 1e6:.0f} MB for a command"
    )
    return wrong


if __name__ == "__main__":
    raise SystemExit(min(main(), 1))
