"""Changes one thing after the other in a module and sees whether its tests notice.

    python -m tests.mutants agents/circuit/eye.py [MODULE … | all] [--session FILE] [--every 3]

A module runs as plain Python, in a copy of the house, with the tests that stand for it in ``TESTS``; they
must be quick, for each change runs them once. Printed is what none of them noticed. A session that is kept
goes on where it was stopped; what went unnoticed is tried again where the tests have changed. Needs
``pip install cosmic-ray``, the extra ``mutants``.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import hashlib
import json
import os
import shutil
import sys
import tempfile
from pathlib import Path

from tests.mutants.changes import Change, changed_rows, changed_source, changes_of, get_ast
from tests.mutants.explained import EXPLAINED
from tests.mutants.forked import HOUSE, Forks
from tests.mutants.modules import TESTS

ROOT = Path(__file__).resolve().parents[2]


def main() -> int:
    """Try modules; 1 where a change was not noticed."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("modules", nargs="+", choices=[*sorted(TESTS), "all"], metavar="MODULE")
    parser.add_argument("--session", type=Path, help="Keep what was tried there, and go on from it.")
    parser.add_argument("--every", type=int, default=1, help="Try every so manieth change only.")
    parser.add_argument(
        "--slowest", type=float, default=2.0, help="Seconds; tests that take longer are left out."
    )
    parser.add_argument("--from-line", type=int, default=1, help="Leave out the lines above this one.")
    asked = parser.parse_args()
    os.environ |= {
        "PHOTODROME_PLAIN": "1",
        "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "PYGAME_HIDE_SUPPORT_PROMPT": "1",
        "SDL_VIDEODRIVER": "dummy",
    }
    left = 0
    sys.stdout.flush()
    with tempfile.TemporaryDirectory() as folder:
        house = Path(folder, "house")
        for name in (*HOUSE, "configs"):
            shutil.copytree(ROOT / name, house / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGES.md"):
            shutil.copy(ROOT / name, house)
        session = asked.session or Path(folder, "session.jsonl")
        for module in list(TESTS) if "all" in asked.modules else asked.modules:
            # each in a process of its own, which imports what does not depend on the module
            process = os.fork()
            if process == 0:
                code = 70
                try:
                    code = int(_try(house, module, session.absolute(), asked) > 0)
                except RuntimeError as error:
                    print(f"{module}: {error}", file=sys.stderr)
                finally:
                    sys.stdout.flush()
                    os._exit(code)
            left |= os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
    return left


def _try(house: Path, module: str, session: Path, asked: argparse.Namespace) -> int:
    """Try the changes of a module and tell of them; returns how many are left without a reason."""
    source = (house / module).read_text(encoding="utf-8")
    everything = [one for one in changes_of(source) if one.line >= asked.from_line]
    changes = everything[:: asked.every]
    tests = TESTS[module]
    stand = [
        _digest(source),
        _digest(
            *(Path(house, one.split("::")[0]).read_text("utf-8") for one in tests), *tests, str(asked.slowest)
        ),
    ]
    known = _read(session, module, stand)
    missing = [one for one in changes if one.key not in known]
    if missing:
        forks = Forks(house, module, tests, asked.slowest)

        def work() -> None:
            left_out = f", without {', '.join(forks.left_out)}" if forks.left_out else ""
            print(
                f"{module}: {len(missing)} to try, tests take {forks.seconds:.1f} s{left_out}",
                file=sys.stderr,
            )
            tree = get_ast(source)
            for change in missing:
                code = forks.run(lambda: changed_source(tree, change))  # noqa: B023 - called at once
                if forks.is_fork:
                    return
                known[change.key] = "unnoticed" if code == 0 else "noticed" if code > 0 else "stopped"
                with session.open("a", encoding="utf-8") as file:
                    print(json.dumps([module, *stand, change.key, known[change.key]]), file=file)

        forks.work(work)
    return _tell(module, source, changes, known, len(everything))


def _digest(*texts: str) -> str:
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()[:12]


def _read(session: Path, module: str, stand: list[str]) -> dict[str, str]:
    """What a session knows of the changes of a module: noticed, stopped, unnoticed."""
    known: dict[str, str] = {}
    if session.exists():
        for line in session.read_text(encoding="utf-8").splitlines():
            of, source, tests, key, found = json.loads(line)
            if of == module and source == stand[0] and (found != "unnoticed" or tests == stand[1]):
                known[key] = found
    return known


def _tell(module: str, source: str, changes: list[Change], known: dict[str, str], whole: int) -> int:
    explained = left = 0
    for change in changes:
        if known[change.key] == "unnoticed":
            rows = changed_rows(source, change)
            if any((module, row[1:].strip()) in EXPLAINED for row in rows):
                explained += 1
            else:
                left += 1
                print(f"{module}:{change.line} {change.key}")
                print("\n".join(f"    {row}" for row in rows))
    noticed = len(changes) - explained - left
    stopped = sum(known[one.key] == "stopped" for one in changes)
    sampled = "" if len(changes) == whole else f" of {whole}, evenly picked"
    print(
        f"{module}: {len(changes)} changes{sampled}, {noticed} noticed ({stopped} by running on), "
        f"{explained} explained, {left} left",
        flush=True,
    )
    return left


if __name__ == "__main__":
    sys.exit(main())
