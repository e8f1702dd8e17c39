"""What Ctrl-C does to a program that may be in the midst of anything.

What a signal raises while a module is being imported, or when the interpreter is on its way out, ends as a
trace of calls, as another error, or is lost. So there the program says that it is stopped, and ends at once.
While a command works, Ctrl-C is a KeyboardInterrupt, and the command tells what becomes of the work.

Nothing is imported here but what every interpreter has loaded already.
"""

import os
import sys
from _signal import SIGINT, signal  # type: ignore[import-not-found]

STOPPED = 130
"""The exit code of a program that Ctrl-C has ended: 128 and the number of the signal, as shells have it."""


class Stopper:
    """A handler of Ctrl-C. ``words`` are said where it ends the program at once.

    ``is_working``: somebody takes a KeyboardInterrupt and tells what becomes of the work.
    """

    def __init__(self) -> None:
        self.words = "stopped"
        self.is_working = False

    def __call__(self, number: int, frame: object) -> None:
        """Take the signal that came while ``frame`` was run."""
        if not self.is_working or is_importing(frame):
            self.end()
        raise KeyboardInterrupt

    def end(self) -> None:
        """Say that the program is stopped, and end it."""
        try:  # noqa: SIM105 - contextlib is not there yet
            os.write(2, f"{self.words}\n".encode(errors="replace"))
        except OSError:
            pass
        os._exit(STOPPED)

    def unraisable(self, lost: object) -> None:
        """End the program where an interrupt was raised and nobody could be told."""
        if getattr(lost, "exc_type", None) is KeyboardInterrupt:
            self.end()
        sys.__unraisablehook__(lost)  # type: ignore[arg-type]

    def install(self) -> None:
        """Be what Ctrl-C does from now on."""
        sys.unraisablehook = self.unraisable
        signal(SIGINT, self)


def is_importing(frame: object) -> bool:
    """Whether a module is being imported where ``frame`` is run."""
    while frame is not None:
        code = getattr(frame, "f_code", None)
        if getattr(code, "co_filename", "").startswith("<frozen importlib"):
            return True
        frame = getattr(frame, "f_back", None)
    return False


stopper = Stopper()
"""The one of this program."""
