"""The file of the run that a window shows: whether it has changed, and what is in it then."""

from pathlib import Path

from agents.errors import PhotodromeError
from replays.format.file_watch import FileWatch
from replays.format.replay_file import read_replay
from replays.format.tables import Replay

# How often a look is taken at the file [s of the viewer].
_LOOK_EVERY = 1.0


class OwnFile:
    """The file at ``path``."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._watch = FileWatch(path)
        self._looked_s = 0.0

    def has_changed(self, now_s: float) -> bool:
        """Whether it has been written anew, as a look now and then tells; ``now_s`` [s of the viewer]."""
        if now_s - self._looked_s < _LOOK_EVERY:
            return False
        self._looked_s = now_s
        return self._watch.has_changed()

    def read(self) -> tuple[Replay | None, str]:
        """The replay in it, or None and why it cannot be read."""
        try:
            return read_replay(self.path), ""
        except PhotodromeError as error:
            return None, f"not read again: {error}"
