"""What reaches the terminal besides tables: a bar while something takes long, JSON, and clean text."""

import json
import os
import shlex
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

# After Ctrl-C the program ends by itself; this much later [s] it is ended, for a kernel that is just being
# compiled cannot be stopped.
GRACE = 1.0
# Getting ready takes this long [s] only where the kernels have to be compiled.
PATIENCE = 3.0

Tell = Callable[[float], None]


def printable(text: str) -> str:
    """Return ``text`` in one line, with blanks for what would steer a terminal instead of being read."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def tell_error(text: str) -> None:
    """Print lines of an error where errors go."""
    for line in text.split("\n"):
        click.echo(printable(line), err=True)


def command_word(path: Path) -> str:
    """Return ``path`` as one would type it after a command."""
    text = str(path)
    if text.startswith("-"):
        text = os.path.join(".", text)  # noqa: PTH118 - a Path would drop the dot again
    if os.name == "nt":
        return f'"{text}"' if " " in text else text
    return shlex.quote(text)


def print_json(value: Any) -> None:
    """Print ``value`` as JSON, with null for every number that JSON has no word for."""
    click.echo(json.dumps(_finite(value), indent=2, allow_nan=False))


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(one) for one in value]
    if isinstance(value, float) and not (float("-inf") < value < float("inf")):
        return None
    return value


@contextmanager
def progress(words: str) -> Iterator[Tell]:
    """A bar on the terminal while something takes long; nothing where errors do not go to a terminal.

    Gives a function to be called now and then with the share that is done, 0 to 1. Ctrl-C ends what is done
    meanwhile, the program if need be, within about ``GRACE``.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns: Sequence[Any] = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    begun = time.monotonic()
    bars = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)

    def leave_line() -> None:
        if console.show_cursor(True):
            tell_error("")

    with bars, _prompt_stop(leave_line):
        task = bars.add_task(words, total=None)

        def tell(done: float) -> None:
            if done > 0.0:
                bars.update(task, description="running", total=1.0, completed=done)
            elif time.monotonic() - begun > PATIENCE:
                bars.update(task, description="compiling, which only a first run has to")

        yield tell


@contextmanager
def _prompt_stop(tidy: Callable[[], Any]) -> Iterator[None]:
    """Let nobody who presses Ctrl-C wait for threads that cannot be stopped."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def leave() -> None:
        tidy()
        tell_error("stopped; nothing was written")
        sys.stderr.flush()
        os._exit(1)

    timer = threading.Timer(GRACE, leave)
    timer.daemon = True

    def stop(number: int, frame: Any) -> None:
        if not timer.is_alive():
            timer.start()
        raise KeyboardInterrupt

    kept = signal.signal(signal.SIGINT, stop)
    try:
        yield
    finally:
        timer.cancel()
        signal.signal(signal.SIGINT, kept)
