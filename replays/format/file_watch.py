"""Noticing that a file was written anew while its content is on the screen."""

from pathlib import Path


class FileWatch:
    """Notices that a file was written anew."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._mark = self._look()

    def _look(self) -> tuple[int, int] | None:
        try:
            stat = self._path.stat()
        except OSError:
            return None
        return stat.st_mtime_ns, stat.st_size

    def has_changed(self) -> bool:
        """Whether the file is there and is not what it was when this was last asked."""
        mark = self._look()
        if mark is None or mark == self._mark:
            return False
        self._mark = mark
        return True
