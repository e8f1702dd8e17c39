"""Kill commands at drawn moments, and see that nothing is lost that was there or was finished.

``python -m tests.crashes.harness --kills 50 --seed 1`` does so for every command that writes files, 50 times
each, and prints a table; ``--only tune`` for one of them. ``--first-starts`` starts two commands at once with
an empty cache of machine code, which takes a minute or two of compiling.
"""

import argparse
import contextlib
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from arena.studies.running.database import FILE
from tests.helpers.commands import DESIGN, ROOT, listing
from tests.helpers.plans import with_vary

MINE = b"of before\n"
READINGS = """\
light;side;trigger;time between pulses
1 klx;left;2.89 V;2 min 05 s
3 klx;left;3.20 V;41 s
10 klx;left;3.58 V;14.0 s
"""


@dataclass(frozen=True)
class Case:
    """A command: its arguments, the files that it writes over, and the folder in which it keeps its work."""

    arguments: tuple[str, ...]
    files: tuple[str, ...] = ()
    folder: str = ""


CASES = {
    "run": Case(
        ("run", "open-bench", "-d", "poppy", "--walkers", "4", "--duration", "20 min", "-o", "a.npz"),
        ("a.npz",),
    ),
    "sweep": Case(("sweep", "plan.yaml", "--no-plots", "-o", "out"), folder="out"),
    "race": Case(
        ("race", "walkers", "--course", "bean-race", "--rounds", "4", "--seed", "2", "-o", "out"),
        folder="out",
    ),
    "tune": Case(("tune", "plan.yaml", "--no-plots", "--budget", "400", "-o", "out"), folder="out"),
    "kit": Case(
        ("kit", "poppy", "--copies", "400", "--light-count", "3", "-o", "a.csv"), ("a.csv",), "poppy.kit"
    ),
    "fit": Case(("fit", "poppy", "readings.csv", "--out", "built.yaml"), ("built.yaml",)),
    "film": Case(
        (
            "film",
            "good.npz",
            "-o",
            "a.gif",
            "--to",
            "300",
            "--speed",
            "60",
            "--fps",
            "4",
            "--size",
            "640x480",
        ),
        ("a.gif",),
    ),
}


class Failure(Exception):  # noqa: N818 - it is what was looked for
    """Something was lost, or came out otherwise."""


def prepare(name: str, folder: Path) -> None:
    """Put into a folder what a case needs, and files of before where it is to write."""
    folder.mkdir(parents=True)
    vary = "design.storage.capacitance: 10 uF, 15 uF, 22 uF, 33 uF"
    (folder / "plan.yaml").write_text(with_vary(vary, more="repeats: 200\nlasts: 60 s\nscores: [pulses]\n"))
    (folder / "readings.csv").write_text(READINGS)
    (folder / "walkers").mkdir()
    for walker in ("borage", "chervil", "dill"):
        (folder / "walkers" / f"{walker}.yaml").write_text(DESIGN.replace("borage", walker))
    if name == "film":
        arguments = (
            "run",
            "open-bench",
            "-d",
            "poppy",
            "--walkers",
            "2",
            "--duration",
            "10 min",
            "-o",
            "good.npz",
        )
        finish(arguments, folder)
    for file in CASES[name].files:
        (folder / file).write_bytes(MINE)


def start(arguments: tuple[str, ...], folder: Path, limit: int | None = None) -> "subprocess.Popen[bytes]":
    """Start a command in a folder; no file may grow beyond ``limit`` [bytes]."""
    code = "from photodrome.__main__ import main; main()"
    if limit is not None:
        code = (
            "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
            f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit})); {code}"
        )
    return subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "SDL_VIDEODRIVER": "dummy"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        start_new_session=True,
    )


def finish(arguments: tuple[str, ...], folder: Path) -> None:
    """Run a command to its end."""
    process = start(arguments, folder)
    _, err = process.communicate(timeout=900)
    if process.returncode != 0:
        raise Failure(f"{' '.join(arguments)} ended with {process.returncode}: {err.decode()[-500:]}")


def results(folder: Path) -> dict[str, bytes]:
    """All files but journals and what nobody sees, by name."""
    return {
        name.removeprefix(f"{folder}{os.sep}"): held
        for name, held in listing(folder).items()
        if FILE not in name and not Path(name).name.startswith(".") and ".part" not in name
    }


def kept(case: Case, folder: Path) -> int:
    """How much of the work is kept: rows in the journal, or files of rounds."""
    path = folder / case.folder / FILE
    if case.folder and path.exists():
        with contextlib.closing(sqlite3.connect(path)) as database:
            tables = [
                name for (name,) in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
            ]
            counted = [name for name in ("chunks", "trials", "pieces") if name in tables]
            return sum(database.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in counted)
    return len(list((folder / case.folder).glob("round-*.json"))) if case.folder else 0


def kill_often(name: str, kills: int, draws: random.Random, room: Path) -> dict[str, float]:
    """Kill a command so many times, looking after each, and let it go on in between; returns counts."""
    case = CASES[name]
    whole = room / "whole"
    prepare(name, whole)
    begun = time.monotonic()
    finish(case.arguments, whole)
    lasts = time.monotonic() - begun
    wanted = results(whole)
    folder = room / "killed"
    killed = ended = before = 0
    for number in range(kills):
        if not folder.exists():
            prepare(name, folder)
            before = 0
        process = start(case.arguments, folder)
        time.sleep(draws.uniform(0.0, 1.05 * lasts))
        process.send_signal(signal.SIGKILL)
        process.communicate(timeout=60)
        is_killed = process.returncode == -signal.SIGKILL
        killed += is_killed
        check_intact(case, folder, wanted)
        if is_killed and case.folder and (folder / case.folder).exists():
            now = kept(case, folder)
            if now < before and now != 0:
                raise Failure(f"{name}: {before - now} of {before} are lost after kill {number + 1}")
            before = now
        if not is_killed or draws.random() < 0.25:
            finish(case.arguments, folder)
            check_same(name, folder, wanted)
            ended += 1
            shutil.rmtree(folder)
    if folder.exists():
        finish(case.arguments, folder)
        check_same(name, folder, wanted)
    return {"kills": killed, "whole runs": ended + 1, "a run [s]": lasts}


def check_intact(case: Case, folder: Path, wanted: dict[str, bytes]) -> None:
    """Each file is as before, or as it is in the end."""
    for file in case.files:
        held = (folder / file).read_bytes()
        if held not in (MINE, wanted[file]):
            raise Failure(f"{file} is neither old nor new: {len(held)} bytes")


def check_same(name: str, folder: Path, wanted: dict[str, bytes]) -> None:
    """All files are those of an unbroken run."""
    found = results(folder)
    if found.keys() != wanted.keys():
        raise Failure(f"{name}: other files: {sorted(found.keys() ^ wanted.keys())}")
    for file, held in wanted.items():
        if found[file] != held:
            raise Failure(f"{name}: {file} has other bytes")


def out_of_room(name: str, draws: random.Random, room: Path, tries: int) -> int:
    """Let no file grow beyond a drawn size: the command ends with a line, and goes on when there is room."""
    case = CASES[name]
    prepare(name, room / "whole")
    finish(case.arguments, room / "whole")
    wanted = results(room / "whole")
    largest = max(len(held) for held in wanted.values())
    failed = 0
    for number in range(tries):
        folder = room / f"full {number}"
        prepare(name, folder)
        process = start(case.arguments, folder, limit=int(draws.uniform(0.02, 1.2) * largest))
        _, err = process.communicate(timeout=900)
        if b"Traceback" in err or process.returncode not in (0, 1):
            raise Failure(f"{name}: {process.returncode}, {err.decode()[-500:]}")
        failed += process.returncode
        check_intact(case, folder, wanted)
        finish(case.arguments, folder)
        check_same(name, folder, wanted)
    return failed


def first_starts(room: Path) -> None:
    """Two first starts at once with an empty cache come to the same, and leave a cache that is of use."""
    cache = {"XDG_CACHE_HOME": str(room / "cache"), "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "photodrome", "bench", "poppy", "--light", "3klx", "--json"]
    both = [
        subprocess.Popen(command, env={**os.environ, **cache}, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        for _ in range(2)
    ]
    said = [process.communicate(timeout=900) for process in both]
    if any(process.returncode for process in both) or said[0] != said[1]:
        raise Failure(f"two first starts: {[one.decode()[-300:] for _, one in said]}")


def two_at_once(room: Path) -> None:
    """Two commands write one folder at once: one of them may be refused, and nothing is mixed up."""
    for name in ("race", "sweep", "tune", "kit"):
        case = CASES[name]
        prepare(name, room / name / "whole")
        finish(case.arguments, room / name / "whole")
        folder = room / name / "both"
        prepare(name, folder)
        both = [start(case.arguments, folder) for _ in range(2)]
        said = [process.communicate(timeout=900)[1] for process in both]
        for process, err in zip(both, said, strict=True):
            if process.returncode not in (0, 1, 2) or b"Traceback" in err:
                raise Failure(f"{name}, two at once: {process.returncode}, {err.decode()[-500:]}")
        finish(case.arguments, folder)
        check_same(name, folder, results(room / name / "whole"))
        sys.stdout.write(f"{name}, two at once: {[process.returncode for process in both]}\n")


def main() -> None:
    """Do all of it, and print what was counted."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--full", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=list(CASES))
    parser.add_argument("--first-starts", action="store_true")
    parser.add_argument("--two", action="store_true")
    how = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        if how.first_starts:
            first_starts(Path(place))
        if how.two:
            two_at_once(Path(place))
        for name in [how.only] if how.only else list(CASES):
            draws = random.Random(f"{how.seed} {name}")
            counted = kill_often(name, how.kills, draws, Path(place, f"{name} killed"))
            words = ", ".join(f"{what} {count:.3g}" for what, count in counted.items())
            failed = out_of_room(name, draws, Path(place, f"{name} full"), how.full)
            sys.stdout.write(f"{name}: {words}; out of room {failed} of {how.full}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
