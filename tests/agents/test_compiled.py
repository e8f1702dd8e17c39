"""Kernels run compiled and plain to the same numbers, and a changed kernel starts a fresh cache."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from agents import compiled
from agents.circuit.charging import time_to_reach, wait
from agents.circuit.eye import trigger_voltage
from agents.circuit.pulse import at_rest, begin_pulse, coast_step, pulse_step, pulse_step_length
from agents.circuit.records import STATE
from agents.compiled import kernel
from agents.design.as_built import build
from agents.design.spec import Design

ROOT = Path(compiled.__file__).resolve().parent.parent

CASES: list[tuple[dict[str, float], bool]] = [
    ({}, False),
    ({}, True),
    ({"both.latch": 1e3, "both.motor.resistance": 8.0}, False),
    ({"both.latch": 33e3, "both.motor.resistance": 8.0}, False),
    ({"both.latch": 47e3, "both.motor.resistance": 8.0}, False),
    ({"storage.series_resistance": 3.0, "panel.series_resistance": 0.0, "storage.leak": 2e4}, False),
]


def circuit_numbers() -> list[list[float]]:
    """Everything that a wait, a pulse and the coasting after it come to, for every case."""
    numbers = []
    for values, touched in CASES:
        design = Design(name="dill").with_values(values)
        walker = build(design)[0]
        side = walker["side"][0]
        photocurrent = 3000.0 * design.panel.current_per_light
        trigger = trigger_voltage(3000.0, touched, side)
        state = np.zeros(1, STATE)[0]
        state["rail"] = 0.8
        wait(walker, photocurrent, state, 40.0)
        row = [float(state["rail"]), *time_to_reach(walker, photocurrent, 0.8, trigger)]
        state["rail"] = trigger
        begin_pulse(walker, 0, touched, state)
        way = 0.0
        while True:
            step = pulse_step_length(side, state, walker["step"])
            holds, passed = pulse_step(walker, 0, photocurrent, touched, state, step)
            if not holds:
                break
            way += passed
        while not at_rest(state):
            way += coast_step(walker, 0, state, walker["step"])
        assert STATE.names is not None
        numbers.append([float(way), *map(float, row), *(float(state[name]) for name in STATE.names)])
    return numbers


def test_plain_python_gives_the_same_numbers() -> None:
    code = (
        "import json; from tests.agents.test_compiled import circuit_numbers as all_of_them\n"
        "print(json.dumps(all_of_them()))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, "PHOTODROME_PLAIN": "1", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    plain = json.loads(done.stdout)
    for case, got, expected in zip(CASES, circuit_numbers(), plain, strict=True):
        assert got == pytest.approx(expected, rel=1e-12, abs=1e-18), case


def test_a_kernel_divides_as_numpy_does() -> None:
    @kernel
    def ratio(first: float, second: float) -> float:
        return first / second

    assert ratio(1.0, 2.0) == 0.5
    if not compiled.PLAIN:
        assert ratio(1.0, 0.0) == np.inf


@pytest.fixture
def copied_house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A copy of the packages, of which the cache folder's name is worked out anew at each call."""
    for package in ("agents", "replays", "arena"):
        for path in (ROOT / package).rglob("*.py"):
            copy = tmp_path / path.relative_to(ROOT)
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, copy)
    monkeypatch.setattr(compiled, "_ROOT", tmp_path)

    def forget() -> None:
        compiled.kernels_digest.cache_clear()
        compiled._cache_folder.cache_clear()

    def folder() -> str:
        forget()
        return compiled._cache_folder()

    yield tmp_path, folder
    forget()


def test_a_changed_kernel_starts_a_fresh_cache(copied_house: Any) -> None:
    house, folder = copied_house
    before = folder()
    assert folder() == before
    latch = house / "agents" / "circuit" / "latch.py"
    latch.write_text(latch.read_text(encoding="utf-8") + "\n# another line\n", encoding="utf-8")
    changed = folder()
    assert changed != before
    # a file without kernels is of no concern to the cache
    shipped = house / "agents" / "text" / "shipped.py"
    shipped.write_text(shipped.read_text(encoding="utf-8") + "\n# another line\n", encoding="utf-8")
    assert folder() == changed
    (house / "arena" / "engine" / "further.py").write_text("# @kernel\n", encoding="utf-8")
    assert folder() != changed


def test_where_nothing_can_be_kept_kernels_still_compile(tmp_path: Path) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the cache folder should be", encoding="utf-8")
    code = (
        "from agents import compiled\n"
        f"compiled._cache_folder = lambda: {str(blocked / 'cache')!r}\n"
        "from agents.circuit.panel import panel_current\n"
        "print(panel_current(1.0, 1e-3, 1e-12, 0.2, 5.0, 1e6)[0])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) == pytest.approx(1e-3, rel=0.01)
