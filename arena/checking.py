"""Telling what a file is by its first line, and reading it as that."""

import difflib
import re
from pathlib import Path

from agents.design import read_design
from agents.errors import NotFoundError
from agents.shipped import shipped_names
from arena.spec import read_arena
from replays.file import read_replay

_FIRST_LINE = re.compile(rb"^photodrome:[ \t]*arena\b", re.MULTILINE)


def check_file(name: str) -> str:
    """Read a design, an arena or a replay, by path or shipped name; returns what it is, in words.

    Raises SpecError, ReplayError or NotFoundError.
    """
    if name in shipped_names("design"):
        return f"design {read_design(name).name}"
    if name in shipped_names("arena"):
        return f"arena {read_arena(name).name}"
    path = Path(name)
    if path.suffix == ".npz":
        replay = read_replay(path)
        return f"replay of {replay.arena['name']} with {len(replay.walkers)} walkers"
    if not path.is_file():
        names = (*shipped_names("design"), *shipped_names("arena"))
        near = difflib.get_close_matches(name, names, n=1)
        raise NotFoundError(
            f"no such file, and no shipped design or arena{f' (nearest: {near[0]})' if near else ''}"
        )
    # a bare file name is a path here, as it is to the shell
    path = path.absolute()
    if _FIRST_LINE.search(path.read_bytes()[:65536]):
        return f"arena {read_arena(path).name}"
    return f"design {read_design(path).name}"
