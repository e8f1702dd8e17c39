"""What a replay takes on the disk: ``python -m tests.benchmarks.replays`` (``--quick`` for small crowds).

Crowds of 200 and of 5,000 walkers on halls as crowded as each other run 600 s. Told are bytes a pulse of the
replay and of its parts, and what a file of version 1 takes for the same: all tables as they are in memory,
compressed alike. That flatters version 1, which kept digits that the engine no longer writes. Writing and
reading are told as ratios to the time of the run.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import math
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from arena.scene.contest import Contest, read_contest
from arena.simulation import simulate
from replays.format.archive import write_archive
from replays.format.first_version import LIGHTS_THEN
from replays.format.replay_file import read_replay, write_replay
from replays.format.tables import MEMBERS, Replay

SIZES, SECONDS = (200, 5000), 600.0
# A floor of 4 m by 3 m for 200 walkers, with 36 walls and four lamps.
CROWD, WIDTH, DEPTH, WALLS = 200, 4.0, 3.0, 36
CANDELA = 3750.0


def hall_text(walkers: int) -> str:
    """The arena of a hall that is as crowded with any number of ``walkers``."""
    draws, scale = np.random.default_rng(2), math.sqrt(walkers / CROWD)
    width, depth = scale * WIDTH, scale * DEPTH

    def walls() -> Iterator[str]:
        # each in a square of its own, so that none crosses another
        count = max(round(WALLS * walkers / CROWD), 1)
        columns = math.ceil(math.sqrt(count * width / depth))
        across, along = width / columns, depth / math.ceil(count / columns)
        for number in range(count):
            row, column = divmod(number, columns)
            x, y, side = across * (column + 0.5), along * (row + 0.5), min(across, along)
            turn, half = draws.uniform(0.0, math.pi), 0.5 * min(draws.uniform(0.05, 0.2), 0.8 * side)
            dx, dy = half * math.cos(turn), half * math.sin(turn)
            ends = f"{x - dx:.4f} {y - dy:.4f} / {x + dx:.4f} {y + dy:.4f} m"
            yield f"  - {{name: wall {number}, line: {ends}, height: 60 mm}}"

    lamps = [
        f"  - {{name: lamp {number}, place: {x * width:.3f} {y * depth:.3f} m, height: {scale:.3f} m, "
        f"intensity: {scale**2 * CANDELA:.0f} cd, light: incandescent}}"
        for number, (x, y) in enumerate([(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)])
    ]
    lines = [
        "photodrome: arena 1",
        "name: hall",
        f"floor: {{outline: 0 0 / {width:.3f} 0 / {width:.3f} {depth:.3f} / 0 {depth:.3f} m}}",
        "walls:",
        *walls(),
        "lamps:",
        *lamps,
        "ambient: {illuminance: 300 lx}",
        "starts:",
        f"  zone: {{outline: 0.1 0.1 / {width - 0.1:.3f} 0.1 / {width - 0.1:.3f} {depth - 0.1:.3f} / "
        f"0.1 {depth - 0.1:.3f} m, number: {walkers}}}",
        "cell: 20 mm",
    ]
    return "\n".join(lines) + "\n"


def crowd(walkers: int, seconds: float, folder: Path) -> Contest:
    """A contest of so many walkers in a hall."""
    path = folder / f"hall-{walkers}.yaml"
    path.write_text(hall_text(walkers), encoding="utf-8")
    return read_contest(str(path), ["poppy"], walkers=walkers, seconds=seconds)


def bytes_then(replay: Replay) -> int:
    """How large a file of version 1 is with the tables of ``replay``, without its header."""
    then = {name: getattr(replay, name) for name in MEMBERS}
    lights = np.zeros(len(replay.lights), LIGHTS_THEN)
    for column in LIGHTS_THEN.names or ():
        lights[column] = replay.lights[column]
    with tempfile.TemporaryFile() as stream:
        write_archive(stream, then | {"lights": lights})
        return stream.tell()


def bytes_by_part(path: Path) -> dict[str, int]:
    """What each table of a replay takes in its file [bytes]; grids count as tables."""
    found: Counter[str] = Counter()
    with zipfile.ZipFile(path) as archive:
        for info in archive.infolist():
            found[info.filename.removesuffix(".npy").partition(".")[0]] += info.compress_size
    return dict(found)


def main(arguments: Sequence[str] | None = None) -> dict[int, float]:
    """Print all figures; returns bytes a pulse, by the number of walkers."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="crowds of 20 and 200, for a minute")
    quick = parser.parse_args(arguments).quick
    figures = {}
    with tempfile.TemporaryDirectory() as folder:
        for walkers in (20, 200) if quick else SIZES:
            contest = crowd(walkers, 60.0 if quick else SECONDS, Path(folder))
            begun = time.perf_counter()
            replay = simulate(contest)
            ran = time.perf_counter()
            path = Path(folder) / "run.replay.npz"
            write_replay(replay, path)
            wrote = time.perf_counter()
            read_replay(path)
            read = time.perf_counter()
            pulses = len(replay.pulses)
            size, then = path.stat().st_size, bytes_then(replay)
            figures[walkers] = size / pulses
            shares = (100.0 * lasted / (ran - begun) for lasted in (wrote - ran, read - wrote))
            print(
                f"{walkers:>6,} walkers, {pulses:>9,} pulses: {size / pulses:6.1f} bytes a pulse, "
                f"{then / pulses:6.1f} as version 1, ratio {then / size:.1f}; of the time of the run "
                "writing {:.1f} %, reading {:.1f} %".format(*shares)
            )
            parts = sorted(bytes_by_part(path).items(), key=lambda one: -one[1])
            print("       " + ", ".join(f"{name} {part / pulses:.1f}" for name, part in parts))
    return figures


if __name__ == "__main__":
    main()
