"""How much of the code the tests run: ``python -m tests.covered [PART …] [--seconds 5]``.

Two sorts of runs are put together. Kernels are compiled, and what they do then nobody sees; so the tests
that call them run once as plain Python, hundreds of times slower. There a test that computes for longer than
``--seconds`` is stopped and counts as skipped: what it has run by then counts, and the time of a run is
bounded by the number of its tests. Everything else is seen in the usual way, in the programs that tests start
too. Parts that ran before count, until ``--anew``.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

# What runs as plain Python is what holds a kernel, and what that rests on.
PLAIN = {
    "circuit": ("tests/agents/circuit", "tests/agents/test_noise.py"),
    "bench": ("tests/agents/testbench", "tests/agents/design"),
    "engine": ("tests/arena/engine", "tests/golden", "tests/replays/causes"),
}
USUAL = {
    "agents": ("tests/agents",),
    "replays": ("tests/replays",),
    "scene": ("tests/arena/scene", "tests/arena/engine", "tests/golden"),
    "runs": tuple(str(path) for path in sorted(ROOT.glob("tests/arena/test_*.py"))),
    "studies": ("tests/arena/studies",),
    "races": ("tests/arena/races", "tests/arena/accounts", "tests/arena/reports"),
    "workbench": ("tests/arena/workbench",),
    "commands": (
        *("tests/arena/cli", "tests/test_notebook.py", "tests/upgrade"),
        "tests/test_house.py::test_the_reference_of_fields_is_up_to_date",
    ),
}


def main() -> int:
    """Run parts, all of them where none is named, and print what no test has run."""
    parser = argparse.ArgumentParser(prog="python -m tests.covered", description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"of {', '.join([*PLAIN, *USUAL])}")
    parser.add_argument("--seconds", type=float, default=5.0, help="of computing for a test in plain Python")
    parser.add_argument("--anew", action="store_true", help="forget parts that ran before")
    parser.add_argument("--only", default="", help="report these files, like 'agents/*'")
    asked = parser.parse_args()
    if asked.anew:
        _coverage("erase")
    codes = []
    for part in asked.parts or [*PLAIN, *USUAL]:
        plain = part in PLAIN
        if not plain and part not in USUAL:
            parser.error(f"there is no part {part}")
        variables = {
            **os.environ,
            "COVERAGE_FILE": str(ROOT / f".coverage.{part}"),
            "SDL_VIDEODRIVER": "dummy",
        }
        if plain:
            variables |= {"PHOTODROME_PLAIN": "1", "PHOTODROME_PLAIN_SECONDS": str(asked.seconds)}
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "--no-header",
            "-r",
            "fE",
            "--cov",
            "--cov-report=",
            "--cov-fail-under=0",
        ]
        command += [*(PLAIN if plain else USUAL)[part], "-p", "no:cacheprovider"]
        done = subprocess.run(command, cwd=ROOT, env=variables, check=False)
        print(f"{part}: pytest ended with {done.returncode}", flush=True)
        codes.append(done.returncode)
    _coverage("combine", "--keep", "--quiet")
    return max([*codes, _coverage("report", *(["--include", asked.only] if asked.only else []))])


def _coverage(*words: str) -> int:
    return subprocess.run([sys.executable, "-m", "coverage", *words], cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
