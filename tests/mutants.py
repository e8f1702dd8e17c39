"""Changes one thing after the other in a module and sees whether its tests notice.

    python -m tests.mutants agents/circuit/eye.py [--session eye.sqlite]

A module runs as plain Python, in a copy of the house, with the tests that stand for it in ``TESTS``; they
must be quick, for each change runs them once. Printed is what none of them noticed. A session that is kept
goes on where it was stopped. Needs ``pip install cosmic-ray``, the extra ``mutants``.
"""

# ruff: noqa: T201 - printing is what it is for

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FOLDERS = ("agents", "arena", "configs", "photodrome", "replays", "tests")

TESTS = {
    "agents/circuit/air.py": "tests/agents/circuit/test_air.py",
    "agents/circuit/charging.py": "tests/agents/circuit/test_charging.py",
    "agents/circuit/eye.py": "tests/agents/circuit/test_eye.py",
    "agents/circuit/flow.py": "tests/agents/circuit/test_charging.py tests/agents/circuit/test_pulse.py",
    "agents/circuit/ignition.py": "tests/agents/circuit/test_ignition.py",
    "agents/circuit/latch.py": "tests/agents/circuit/test_latch.py",
    "agents/circuit/level.py": "tests/agents/circuit/test_latch.py tests/agents/circuit/test_status.py",
    "agents/circuit/panel.py": "tests/agents/circuit/test_panel.py",
    "agents/circuit/pulse.py": "tests/agents/circuit/test_pulse.py",
    "agents/circuit/transistors.py": "tests/agents/circuit/test_latch.py",
    "agents/circuit/tyre.py": "tests/agents/circuit/test_tyre.py",
    "arena/races/ranking.py": "tests/arena/races/test_ranking.py",
    "arena/studies/statistics/by_factor.py": "tests/arena/studies/statistics/test_by_factor.py",
    "arena/studies/statistics/comparison.py": "tests/arena/studies/statistics/test_comparison.py",
    "arena/studies/statistics/estimates.py": "tests/arena/studies/statistics/test_estimates.py",
    "arena/studies/statistics/head_to_head.py": "tests/arena/studies/statistics/test_head_to_head.py",
    "arena/studies/statistics/sensitivities.py": "tests/arena/studies/statistics/test_sensitivities.py",
    "replays/scoring/confidence_intervals.py": (
        "tests/replays/scoring/test_survival.py "
        "tests/replays/scoring/test_crowds.py::test_several_floors_have_their_mean_and_its_range"
    ),
    "replays/scoring/directions.py": "tests/replays/scoring/test_scores.py",
    "replays/scoring/scatter.py": "tests/replays/scoring/test_scatter.py",
    "replays/scoring/survival.py": "tests/replays/scoring/test_survival.py",
    "replays/scoring/turns.py": "tests/replays/scoring/test_turns.py",
}
"""The quick tests of each module that can be tried."""

CONFIG = """\
[cosmic-ray]
module-path = "{module}"
timeout = {timeout}
excluded-modules = []
test-command = "{python} -m pytest -q -x -p no:cacheprovider -p no:xdist {tests}"

[cosmic-ray.distributor]
name = "local"

[cosmic-ray.filters.operators-filter]
exclude-operators = [{idle}]
"""

# What is left out: of each operator all but one other, since tests that notice one notice them all; the | of
# types, and decorators, which do nothing in plain Python.
IDLE = (
    "core/ReplaceBinaryOperator_(?!(Add_Sub|Sub_Add|Mul_Div|Div_Mul|Pow_Mul)$)",
    "core/ReplaceComparisonOperator_(?!(Lt_LtE|LtE_Lt|Gt_GtE|GtE_Gt|Lt_GtE|LtE_Gt|Gt_LtE|GtE_Lt)$)(?!Eq_NotEq$)",
    "core/ReplaceUnaryOperator_(?!USub_UAdd$|Delete_)",
    "core/RemoveDecorator",
)


# What goes unnoticed with good reason: module, the changed line, why.
EXPLAINED = {
    ("replays/scoring/survival.py", "@dataclass(frozen=False)"): "nobody tries to change one",
    (
        "replays/scoring/survival.py",
        "half = np.flatnonzero(self.waiting < 0.5 + 1e-12)",
    ): "no share of a number of walkers is this one",
    (
        "agents/circuit/eye.py",
        "for point in range( 0, count):",
    ): "below the first point it has returned",
    ("agents/circuit/eye.py", "if place < lights[0]:"): "at a point either way gives its value",
    (
        "agents/circuit/eye.py",
        "if place < lights[point]:",
    ): "at a point either way gives its value",
}


def main() -> int:
    """Try a module; 1 where a change was not noticed."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("module", choices=sorted(TESTS))
    parser.add_argument("--session", type=Path, help="Keep what was tried there, and go on from it.")
    parser.add_argument("--timeout", type=float, default=120.0, help="Seconds; who takes longer has noticed.")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        house = Path(folder, "house")
        for name in FOLDERS:
            shutil.copytree(ROOT / name, house / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / name, house)
        session = (asked.session or Path(folder, "session.sqlite")).absolute()
        config = CONFIG.format(
            module=asked.module,
            timeout=asked.timeout,
            python=sys.executable,
            tests=TESTS[asked.module],
            idle=", ".join(f"'{one}'" for one in IDLE),
        )
        Path(house, "mutants.toml").write_text(config, encoding="utf-8")
        if not session.exists():
            _tool(house, "cli", "init", "mutants.toml", str(session))
            _tool(house, "tools.filters.operators_filter", str(session), "mutants.toml")
        _tool(house, "cli", "baseline", "mutants.toml")
        _tool(house, "cli", "exec", "mutants.toml", str(session))
        lines = _tool(house, "cli", "dump", str(session)).splitlines()
    return _tell(asked.module, [json.loads(line) for line in lines])


def _tool(house: Path, module: str, *words: str) -> str:
    """What a module of the tool says; it sees the copied house alone, whose kernels are plain Python."""
    before = os.environ.get("PYTHONPATH")
    path = os.pathsep.join([str(house), *([before] if before else [])])
    variables = {**os.environ, "PHOTODROME_PLAIN": "1", "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", f"cosmic_ray.{module}", *words]
    done = subprocess.run(command, cwd=house, env=variables, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"{' '.join(words)}: {done.stdout}{done.stderr}")
    return done.stdout


def _tell(module: str, tried: list[list[dict[str, object]]]) -> int:
    survivors, count = [], 0
    for item, result in tried:
        [mutation] = item["mutations"]
        count += result["test_outcome"] is not None
        if result["test_outcome"] == "survived":
            diff = str(result["diff"]).splitlines()
            changed = [row for row in diff if row[:1] in "+-" and row[:3] not in ("+++", "---")]
            if not any((module, row[1:].strip()) in EXPLAINED for row in changed):
                survivors.append((mutation["start_pos"], changed))
    for (line, _), changed in sorted(survivors, key=str):
        print(f"{module}:{line}")
        print("\n".join(f"    {row}" for row in changed))
    print(f"{module}: {count} changes, {len(survivors)} not noticed without a reason that is known")
    return int(bool(survivors))


if __name__ == "__main__":
    sys.exit(main())
