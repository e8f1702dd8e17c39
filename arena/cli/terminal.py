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
from queue import Empty, SimpleQueue
from typing import Any, Protocol

import click

from agents.compiled import compiled_so_far
from photodrome.stopping import STOPPED, is_importing, stopper

# After Ctrl-C the program ends by itself; this much later [s] it is ended, for a kernel that is just being
# compiled cannot be stopped.
GRACE = 1.0
# The most that a bar shows as done.
NEARLY = 0.999
COMPILING = "compiling, on the first run only:"


class Tell(Protocol):
    """Tells a bar what share is done, 0 to 1, and with ``doing`` what is being done."""

    def __call__(self, done: float, doing: str = "", /) -> None: ...


def printable(text: str) -> str:
    """Return ``text`` in one line, with blanks for what would steer a terminal instead of being read."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def tell_error(text: str) -> None:
    """Print lines of an error where errors go."""
    for line in text.split("\n"):
        click.echo(printable(line), err=True)


def tell_report(path: Path | None) -> None:
    """Say where a report is, if one was asked for."""
    if path is not None:
        click.echo(f"report: {printable(str(path))}")


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
def progress(words: str, doing: str = "running", stopped: str = "nothing was written") -> Iterator[Tell]:
    """A bar on the terminal while something takes long; nothing where errors do not go to a terminal.

    ``words`` stand before it until something is done, ``doing`` from then on. Gives a function to
    be called now and then with the share that is done, 0 to 1. Ctrl-C ends what is done meanwhile, the
    program if need be, within about ``GRACE``; ``stopped`` says what becomes of the work then.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, Task, TextColumn, TimeElapsedColumn, TimeRemainingColumn
    from rich.text import Text

    class Left(TimeRemainingColumn):
        """The time left, and nothing while nobody knows."""

        def render(self, task: Task) -> Text:
            if task.total is None or task.time_remaining is None:
                return Text("")
            return Text("left: ").append_text(super().render(task))

    console = Console(stderr=True)
    columns: Sequence[Any] = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), Left())
    bars = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)

    def leave_line() -> None:
        if console.show_cursor(True):
            tell_error("")

    with bars, _prompt_stop(leave_line, stopped):
        task = bars.add_task(words, total=None)

        def tell(done: float, now: str = "") -> None:
            if done > 0.0:
                # what is quite done would stop the clock, and something may still come after it
                bars.update(task, description=now or doing, total=1.0, completed=min(done, NEARLY))
            elif bars.tasks[0].total is not None:
                bars.tasks[0].total = None
                bars.update(task, description=f"{COMPILING} what other commands need")
            elif compiled_so_far() > 0:
                bars.update(task, description=f"{COMPILING} {compiled_so_far()} functions")

        yield tell


@contextmanager
def telling_of_stop(path: Path) -> Iterator[None]:
    """Let Ctrl-C end the making of the file at ``path``, and tell whether it has been written all the same.

    A stop may be taken just after the file got its name. Raises StoppedError in place of KeyboardInterrupt.
    """
    from agents.errors import StoppedError
    from replays.format.whole_files import fingerprint_of

    before = fingerprint_of(path)
    try:
        yield
    except KeyboardInterrupt:
        now = fingerprint_of(path)
        left = "nothing was written" if now is None or now == before else f"{path} was written before that"
        raise StoppedError(f"stopped; {left}") from None


@contextmanager
def _prompt_stop(tidy: Callable[[], Any], stopped: str) -> Iterator[None]:
    """Let nobody who presses Ctrl-C wait for threads that cannot be stopped; a second one ends at once."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    # The queue alone may be used in the midst of anything, which is where a signal comes.
    orders: SimpleQueue[str] = SimpleQueue()
    before = set(threading.enumerate())

    def watch() -> None:
        if orders.get() == "over":
            return
        try:
            order = orders.get(timeout=GRACE)
        except Empty:
            order = "stop"
        if order == "over":
            return
        if order == "stop":
            tidy()
            tell_error(f"stopped; {stopped}")
        else:
            # the main thread has gone on, tells what there is to tell, and would then wait for the others
            time.sleep(GRACE)
        sys.stderr.flush()
        os._exit(STOPPED)

    def stop(number: int, frame: Any) -> None:
        if is_importing(frame):
            tidy()
            stopper.words = f"stopped; {stopped}"
            stopper.end()
        orders.put("stop")
        raise KeyboardInterrupt

    watchman = threading.Thread(target=watch, daemon=True)
    watchman.start()
    kept = signal.signal(signal.SIGINT, stop)
    order = "over"
    try:
        yield
    except KeyboardInterrupt:
        # an executor that is interrupted as it starts a thread does not wait for that thread
        if any(not thread.daemon for thread in set(threading.enumerate()) - before):
            order = "left"
        raise
    finally:
        signal.signal(signal.SIGINT, kept)
        orders.put(order)
