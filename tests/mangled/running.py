"""Running commands of the program on a mangled file, each in a process of its own, and what came of it."""

import argparse
import contextlib
import io
import json
import os
import resource
import sys
import time
import traceback
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

# What a command may take: seconds of processor time, and memory in bytes.
MOST_SECONDS = 5.0
MOST_MEMORY = 1 << 30
# A process that does not end by itself is ended after so much processor time [s] and wall time [s].
_ENDED_AFTER = 20
_WAITED = 240.0


@dataclass(frozen=True)
class Outcome:
    """What came of a command: its exit code, -1 for one that fell over, what it cost, and what it said.

    ``out`` is what of that went to its output, and is no remark.
    """

    command: tuple[str, ...]
    code: int
    seconds: float
    memory: int
    said: str
    out: str = ""

    def faults(self) -> list[str]:
        """What must not be."""
        found = []
        if self.code not in (0, 2):
            found.append(f"exit {self.code}")
        if "Traceback" in self.said:
            found.append("a traceback")
        if self.code == 2 and not self.said.strip():
            found.append("no word of why")
        if self.seconds > MOST_SECONDS:
            found.append(f"{self.seconds:.1f} s")
        if self.memory > MOST_MEMORY:
            found.append(f"{self.memory / 1e6:.0f} MB")
        if any(not (letter.isprintable() or letter == "\n") for letter in self.said):
            found.append("letters that steer a terminal")
        if self.code == 0 and "--json" in self.command and not _is_json_of_numbers(self.out):
            found.append("no JSON of numbers")
        return found


class Tally:
    """Counts what came of cases: refused or taken, how many wrong, and the most that a command cost."""

    def __init__(self, what: str) -> None:
        self.what = what
        self.refused = self.taken = self.wrong = 0
        self.slowest, self.largest = 0.0, 0

    def add(self, found: Sequence[Outcome], is_wrong: bool) -> None:
        """Count a case by the outcomes of its commands, the first of which tells whether it is refused."""
        self.slowest = max(self.slowest, *(one.seconds for one in found))
        self.largest = max(self.largest, *(one.memory for one in found))
        self.refused += found[0].code == 2
        self.taken += found[0].code != 2
        self.wrong += is_wrong

    def __str__(self) -> str:
        return (
            f"{self.refused + self.taken} mangled {self.what}: {self.refused} refused, {self.taken} taken, "
            f"{self.wrong} wrong; at the most {self.slowest:.1f} s of a core and {self.largest / 1e6:.0f} MB "
            "for a command"
        )


def case_options(told: str, number: int, what: str) -> argparse.ArgumentParser:
    """Options for which cases are tried, ``number`` of them if nobody says; ``told`` is the help."""
    parser = argparse.ArgumentParser(description=told, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--number", type=int, default=number, help=f"so many {what}")
    parser.add_argument("--from", dest="first", type=int, default=0, help="the number of the first")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="the case of this number alone")
    return parser


def numbers_of(options: argparse.Namespace) -> Sequence[int]:
    """The numbers of the cases that :func:`case_options` were given."""
    if options.only is not None:
        return [options.only]
    return range(options.first, options.first + options.number)


def _is_json_of_numbers(text: str) -> bool:
    def refuse(word: str) -> None:
        raise ValueError(word)

    try:
        json.loads(text, parse_constant=refuse)
    except ValueError:
        return False
    return True


def run_apart(command: Sequence[str], folder: Path) -> Outcome:
    """Run a command of the program in a process of its own, in ``folder``."""
    reader, writer = os.pipe()
    with warnings.catch_warnings():
        # from Python 3.12 on, of threads that a fork leaves behind; those of libraries are idle here
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        os.close(reader)
        with open(writer, "wb") as stream:  # noqa: PTH123 - a descriptor has no path
            stream.write(_run(command, folder))
        os._exit(0)
    os.close(writer)
    begun = time.monotonic()
    with open(reader, "rb") as stream:  # noqa: PTH123
        os.set_blocking(reader, False)
        told = b""
        while time.monotonic() - begun < _WAITED:
            piece = stream.read()
            if piece == b"":
                break
            told += piece or b""
            time.sleep(0.005)
        else:
            os.kill(child, 9)
    _, _, used = os.wait4(child, 0)
    seconds = used.ru_utime + used.ru_stime
    if not told:
        return Outcome(tuple(command), -1, seconds, used.ru_maxrss * 1024, "it was ended, or ended itself")
    code, said, out = json.loads(told)
    return Outcome(tuple(command), code, seconds, used.ru_maxrss * 1024, said, out)


def _run(command: Sequence[str], folder: Path) -> bytes:
    from arena.cli.command import main

    resource.setrlimit(resource.RLIMIT_CPU, (_ENDED_AFTER, _ENDED_AFTER))
    os.chdir(folder)
    said, out = io.StringIO(), io.StringIO()
    code = -1
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
        sys.argv = ["photodrome", *command]
        try:
            main()
            code = 0
        except SystemExit as stop:
            code = stop.code if isinstance(stop.code, int) else 1
        except BaseException:
            traceback.print_exc()
    return json.dumps([code, out.getvalue() + said.getvalue(), out.getvalue()]).encode()
