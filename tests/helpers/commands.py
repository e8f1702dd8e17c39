"""Running the command line within the test, or as a program of its own where only that will do."""

import contextlib
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from arena.cli.command import main

ROOT = Path(__file__).resolve().parents[2]

# What takes long to import, or needs a screen.
HEAVY = ("jinja2", "matplotlib", "numba", "numpy", "pydantic", "pygame", "rich", "scipy", "shapely", "yaml")

FLOOR = """\
photodrome: arena 1
name: shed floor
floor:
  outline: 0 0 / 1 0 / 1 1 / 0 1 m
"""
AMBIENT = """\
ambient:
  illuminance: 10 klx
"""
# A start on one side, and on the other a goal that lies all round.
START_AND_GOAL = """\
starts:
  zone:
    outline: 0.1 0.3 / 0.3 0.3 / 0.3 0.7 / 0.1 0.7 m
    number: 1
    heading: 0 deg
goals:
  - name: by the lamp
    centre: 0.9 0.5 m
    radius: 400 mm
"""

# A bench of its own: two start places, light from everywhere, no goal.
ARENA = (
    FLOOR
    + AMBIENT
    + """\
starts:
  places:
    - place: 0.3 0.3 m
    - place: 0.7 0.7 m
"""
)

DESIGN = "photodrome: design 1\nname: borage\n"


@dataclass(frozen=True)
class Outcome:
    """What a command left: its exit code, and what it printed."""

    code: int
    out: str
    err: str

    def json(self) -> Any:
        """The output as JSON of RFC 8259, which has no word for nan and infinity."""

        def refuse(word: str) -> None:
            raise AssertionError(f"{word} is no JSON")

        return json.loads(self.out, parse_constant=refuse)


def photodrome(*arguments: str | Path) -> Outcome:
    """Run the command line within this process."""
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        pytest.raises(SystemExit) as ended,
    ):
        main([str(one) for one in arguments])
    code = ended.value.code
    assert isinstance(code, int)
    return Outcome(code, out.getvalue(), err.getvalue())


def refusal(*arguments: str | Path, code: int = 2) -> str:
    """Run a command that must fail and leave nothing behind in its folder; returns what it says."""
    before = listing()
    outcome = photodrome(*arguments)
    assert (outcome.code, outcome.out) == (code, "")
    assert "Traceback" not in outcome.err
    assert outcome.err.strip()
    assert listing() == before
    return outcome.err


def listing(folder: Path = Path()) -> dict[str, bytes]:
    """Every file below a folder, with what it holds."""
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@contextlib.contextmanager
def program(
    *arguments: str | Path,
    code: str | None = None,
    environment: dict[str, str | None] | None = None,
    **how: Any,
) -> Iterator[subprocess.Popen[str]]:
    """Start the command line as a program; ``code`` runs before it. It is killed if it outlives the test."""
    start = f"{code}\nfrom photodrome.__main__ import main\nmain()\n"
    variables = {**os.environ, "PYTHONPATH": str(ROOT), **(environment or {})}
    process = subprocess.Popen(
        [sys.executable, "-c", start, *(str(one) for one in arguments)],
        env={name: value for name, value in variables.items() if value is not None},
        text=True,
        encoding="utf-8",
        **{"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "stdin": subprocess.DEVNULL, **how},
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        for stream in (process.stdout, process.stderr):
            if stream is not None:
                stream.close()


def finished(*arguments: str | Path, **how: Any) -> Outcome:
    """Run the command line as a program to its end."""
    with program(*arguments, **how) as process:
        out, err = process.communicate(timeout=600)
        return Outcome(process.returncode, out or "", err or "")
