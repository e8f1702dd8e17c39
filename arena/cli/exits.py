"""How the command line ends: the exit code, and what is said of errors."""

import contextlib
import os
import sys
from collections.abc import Sequence

import click

from arena.cli.terminal import tell_error
from photodrome.stopping import STOPPED, stopper


def run_and_exit(command: click.Group, arguments: Sequence[str] | None) -> None:
    """Run a command line; what goes wrong is told in lines, and says by the exit code what it is."""
    from agents.errors import InputError, PhotodromeError, StoppedError

    for stream in (sys.stdout, sys.stderr):
        # a terminal that lacks a letter shows a ? in its place
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        sys.exit(_work(command, arguments))
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        tell_error("stopped")
        sys.exit(STOPPED)
    except StoppedError as error:
        tell_error(str(error))
        sys.exit(STOPPED)
    except PhotodromeError as error:
        tell_error(str(error))
        sys.exit(2 if isinstance(error, InputError) else 1)
    except MemoryError:
        tell_error("not enough memory for this; run fewer walkers, or a shorter time")
        sys.exit(1)
    except OSError as error:
        sys.exit(_after(error))


def _work(command: click.Group, arguments: Sequence[str] | None) -> int:
    """Run a command; returns the exit code."""
    stopper.is_working = True
    try:
        code = command.main(args=arguments, prog_name="photodrome", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
        return code or 0
    finally:
        stopper.is_working = False


def _after(error: OSError) -> int:
    """Tell what the system refused; returns the exit code."""
    if error.filename is not None:
        tell_error(f"{error.filename}: {error.strerror}")
        return 2
    if not isinstance(error, BrokenPipeError):
        tell_error(f"the output cannot be written ({error.strerror})")
    # What is left to print goes nowhere, so that Python does not stumble over it on its way out.
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 1
