"""Trying cases one after the other, each within its time and memory, in processes that may be lost."""

import argparse
import faulthandler
import multiprocessing
import os
import resource
import signal
import sys
import tempfile
from collections.abc import Iterator
from contextlib import chdir, contextmanager
from pathlib import Path
from typing import Any

# CPU time [s] of one case: of those that only read files, and of those that measure or run.
READING, RUNNING = 5.0, 60.0
# Memory [MB] of the process, with all kernels in it.
MEMORY = 1000
# After this [s] on the clock a case is stuck, and its process is ended.
STUCK = 600
_PER_PROCESS = 250


class TooLongError(BaseException):
    """A case has used up its time."""


@contextmanager
def limited(seconds: float) -> Iterator[None]:
    """Raise TooLongError after so much time of a processor."""

    def stop(*_: Any) -> None:
        raise TooLongError(f"more than {seconds:g} s")

    signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    faulthandler.dump_traceback_later(STUCK, exit=True)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        faulthandler.cancel_dump_traceback_later()


def found_in(number: int, seed: int) -> str:
    """What is wrong with case ``number``, or empty."""
    from tests.fuzz.cases import case, tried

    one = case(number, seed)
    seconds = READING if one.command[0] == "check" else RUNNING
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        try:
            with limited(seconds):
                found = tried(one)
        except TooLongError as error:
            found = str(error)
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
    return found or (f"{most} MB" if most > MEMORY else "")


def _some(numbers: range, seed: int, only: str, told: Any) -> None:
    from tests.fuzz.cases import case

    os.environ["SDL_VIDEODRIVER"] = "dummy"
    for number in numbers:
        if only and case(number, seed).command[0] != only:
            told.put((number, ""))
            continue
        told.put((number, None))
        told.put((number, found_in(number, seed)))


def main(told_of: str) -> None:
    """Try the cases that the command line asks for; ``told_of`` is its help."""
    from tests.fuzz.cases import case, described

    parser = argparse.ArgumentParser(description=told_of)
    parser.add_argument("count", type=int, nargs="?", default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--only", default="", help="Try the cases of this command alone.")
    parser.add_argument("--keep", metavar="DIR", type=Path, default=Path("fuzz-findings"))
    asked = parser.parse_args()
    findings = 0
    context = multiprocessing.get_context("spawn")
    last = asked.first + asked.count
    number = asked.first
    while number < last:
        told = context.SimpleQueue()
        numbers = range(number, min(number + _PER_PROCESS, last))
        process = context.Process(target=_some, args=(numbers, asked.seed, asked.only, told))
        process.start()
        done = numbers.start
        open_case: int | None = None
        while done < numbers.stop:
            if told.empty():
                if not process.is_alive():
                    break
                process.join(0.02)
                continue
            at, found = told.get()
            open_case = at if found is None else None
            if found is not None:
                done = at + 1
            if found:
                findings += 1
                asked.keep.mkdir(parents=True, exist_ok=True)
                text = f"{found}\n{described(case(at, asked.seed))}\n"
                (asked.keep / f"{asked.seed}-{at:06d}.txt").write_bytes(text.encode("utf-8", "replace"))
                print(f"case {at}: {found.splitlines()[0]}", flush=True)  # noqa: T201
        process.join()
        if open_case is not None:
            findings += 1
            print(f"case {open_case}: ended its process (exit {process.exitcode})", flush=True)  # noqa: T201
            done = open_case + 1
        elif done < numbers.stop:
            raise SystemExit(f"a process ended before case {done} (exit {process.exitcode})")
        number = done
        print(f"{number - asked.first} tried", file=sys.stderr, flush=True)  # noqa: T201
    print(f"{asked.count} cases, {findings} with something wrong")  # noqa: T201
    raise SystemExit(1 if findings else 0)
