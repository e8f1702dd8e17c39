"""The list of the files that a search has left in its folder."""

import json
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from agents.errors import InputError, OutputError
from arena.studies.running.results_folder import check_empty, check_single
from replays.format.whole_files import write_whole

FILE = "manifest.json"
"""Name of the list in its folder."""

_KIND = "search 1"


class Manifest:
    """The files of ours in the folder of a search, each with the SHA-256 digests that it may have."""

    def __init__(self, folder: Path, study: str) -> None:
        """Read the list in ``folder``, where there is one; nothing is written before :meth:`claim`.

        ``study`` is the name of the plan that is searched. Raises InputError where the folder holds the
        search of another plan, a list that is no search's, or no list but other files.
        """
        self.path, self._study = folder / FILE, study
        self._claimed: dict[str, set[str]] = {}
        check_single(self.path)
        if not self.path.exists():
            check_empty(folder)
            return
        try:
            found: Any = json.loads(self.path.read_bytes())
            kind, of = found["photodrome"], found["study"]
            self._claimed = {str(name): set(digests) for name, digests in found["files"].items()}
        except OSError as error:
            raise OutputError(f"{self.path}: cannot be read ({error.strerror})") from error
        except (ValueError, KeyError, TypeError, AttributeError):
            kind, of = "", ""
        if kind != _KIND:
            raise InputError(
                f"{self.path}: is no list of the files of a search; choose another folder with --folder"
            )
        if of != study:
            raise InputError(
                f"{folder}: holds the search of another plan, {of!r}; choose another folder with --folder"
            )

    def claimed(self) -> Mapping[str, Collection[str]]:
        """The digests that files may have, by name, if they are ours."""
        return self._claimed

    def claim(self, digests: Mapping[str, str]) -> None:
        """Write down that files with these names and digests are about to be put in the folder."""
        for name, digest in digests.items():
            self._claimed.setdefault(name, set()).add(digest)
        self._write()

    def settle(self, digests: Mapping[str, str]) -> None:
        """Write down that these names have no other digests any more."""
        self._claimed.update((name, {digest}) for name, digest in digests.items())
        self._write()

    def _write(self) -> None:
        check_single(self.path)
        files = {name: sorted(digests) for name, digests in sorted(self._claimed.items())}
        content = {"photodrome": _KIND, "study": self._study, "files": files}
        write_whole(self.path, (json.dumps(content, indent=2, ensure_ascii=False) + "\n").encode())
