"""How all tests are run: in how many processes, and with kernels that only one of them has to compile."""

import math
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from agents.compiled import PLAIN, kernels_digest

ROOT = Path(__file__).resolve().parent.parent

# With more processes than this, each of which loads the engine and runs it in threads, nothing is won.
MOST_PROCESSES = 4

# Between them these commands call nearly every kernel; what is left, a process compiles when it comes to it.
EVERY_KERNEL = """
from arena.cli.command import main
for arguments in (
    ["demo", "--no-window", "--walkers", "2", "--duration", "10 min"],
    ["run", "slat-shade", "-d", "poppy", "--alone", "--walkers", "2", "--duration", "1 min"],
    ["bench", "thistle-spins", "--light", "3klx"],
    ["kit", "poppy", "--copies", "10", "--kits", "2"],
):
    try:
        main(arguments)
    except SystemExit as ended:
        assert not ended.code, arguments
"""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Return how many processes ``-n auto`` stands for."""
    return min(os.cpu_count() or 1, MOST_PROCESSES)


def pytest_configure(config: pytest.Config) -> None:
    """Let what is too large be in plain Python what it is when compiled: run over, or inf."""
    if PLAIN:
        # chance is made by whole numbers of 64 bits that run over, and kernels ask whether a number is one
        told = "(overflow|invalid value|divide by zero) encountered"
        config.addinivalue_line("filterwarnings", f"ignore:{told}:RuntimeWarning")
        for name in ("exp", "expm1"):
            setattr(math, name, _unbounded(getattr(math, name)))


def _unbounded(function: Callable[[float], float]) -> Callable[[float], float]:
    def unbounded(value: float) -> float:
        try:
            return function(value)
        except OverflowError:
            return math.inf

    return unbounded


@pytest.hookimpl(wrapper=True)
def pytest_runtest_setup() -> Generator[None, object, object]:
    """Let no fixture compute for longer than a test may."""
    with _bounded_as_plain_python():
        return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call() -> Generator[None, object, object]:
    """Stop a test that takes long as plain Python, where that is asked for: see tests/covered.py."""
    with _bounded_as_plain_python():
        return (yield)


@contextmanager
def _bounded_as_plain_python() -> Iterator[None]:
    seconds = float(os.environ.get("PHOTODROME_PLAIN_SECONDS", "0"))
    if not (PLAIN and seconds):
        yield
        return

    why = f"takes longer than {seconds:g} s as plain Python"
    stopped = False

    def stop(*_: object) -> None:
        nonlocal stopped
        stopped = True
        pytest.skip(why)

    # what counts is what this process has computed, so that a busy machine comes as far as an idle one
    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    except Exception:
        # hypothesis makes an error of its own of a draw that was stopped
        if stopped:
            pytest.skip(why)
        raise
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the rules of the house: to check types is one long piece, and nobody is to wait for it."""
    items.sort(key=lambda item: item.path.name != "test_house.py")


def pytest_sessionstart(session: pytest.Session) -> None:
    """Before the first of several processes starts, see to it that they do not stand in one another's way."""
    config = session.config
    several = getattr(config.option, "numprocesses", None) and not hasattr(config, "workerinput")
    if several:
        # products of matrices here are small, and threads of theirs that wait for a core spin
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        _compile_kernels(config)


def _compile_kernels(config: pytest.Config) -> None:
    """Compile the kernels once, for each process of a new machine would do so for itself."""
    known = getattr(config, "cache", None)
    if PLAIN or known is None:
        # without the cache provider nobody would know that it is done already
        return
    # what was compiled stays in the user's cache, so that this is done once for each state of the kernels
    if known.get("photodrome/compiled", None) == kernels_digest():
        return
    with tempfile.TemporaryDirectory() as folder:
        variables = {**os.environ, "PYTHONPATH": str(ROOT), "SDL_VIDEODRIVER": "dummy"}
        subprocess.run(
            [sys.executable, "-c", EVERY_KERNEL],
            cwd=folder,
            env=variables,
            stdout=subprocess.DEVNULL,
            check=True,
        )
    known.set("photodrome/compiled", kernels_digest())
