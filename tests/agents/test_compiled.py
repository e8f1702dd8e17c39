"""Kernels run compiled and plain to the same numbers, and a changed kernel starts a fresh store."""

import ast
import importlib
import json
import os
import pkgutil
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
from agents.circuit.panel import lit_panel
from agents.circuit.pulse import begin_pulse, pulse_step
from agents.circuit.records import STATE
from agents.circuit.tyre import at_rest, begin_coasting, coast_step
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
        panel = lit_panel(walker, 3000.0 * design.panel.current_per_light, 12.0)
        trigger = trigger_voltage(3000.0, touched, side)
        state = np.zeros(1, STATE)[0]
        state["rail"] = 0.8
        wait(walker, panel, state, 40.0)
        row = [float(state["rail"]), *time_to_reach(walker, panel, 0.8, trigger)]
        state["rail"] = trigger
        begin_pulse(walker, 0, touched, state)
        way = 0.0
        while True:
            holds, passed = pulse_step(walker, 0, panel, touched, state, 1.0)
            way += passed
            if not holds:
                break
        begin_coasting(state)
        while not at_rest(state):
            way += coast_step(walker, 0, state, 1.0)[1]
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
    """A copy of the packages, of which the digest is worked out anew at each call."""
    for package in ("agents", "replays", "arena"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(compiled, "_ROOT", tmp_path)

    def forget() -> None:
        compiled.kernel_sources.cache_clear()
        compiled.kernels_digest.cache_clear()

    def digest() -> str:
        forget()
        return compiled.kernels_digest()

    yield tmp_path, digest
    forget()


def write_more(path: Path, text: str = "\n# another line\n") -> None:
    path.parent.mkdir(exist_ok=True)
    path.write_text((path.read_text(encoding="utf-8") if path.exists() else "") + text, encoding="utf-8")


def kernel_file(name: str) -> str:
    """Path below the root of the file that holds the kernel ``name``."""
    (path,) = [
        path for path, source in compiled.kernel_sources().items() if f"\ndef {name}(".encode() in source
    ]
    return path


def test_a_changed_kernel_starts_a_fresh_store(copied_house: Any) -> None:
    house, digest = copied_house
    before = digest()
    assert digest() == before
    write_more(house / kernel_file("settle_latch"))
    changed = digest()
    assert changed != before
    # a file on which no kernel depends is of no concern
    write_more(house / "arena" / "standing_by.py")
    assert digest() == changed
    write_more(house / "arena" / "deeper" / "further.py", "@kernel\ndef further() -> None: ...\n")
    further = digest()
    assert further != changed
    # one that a kernel takes a constant from is, however far down
    write_more(house / "arena" / "deeper" / "further.py", "from arena.standing_by import (\n    ONE,\n)\n")
    dependent = digest()
    write_more(house / "arena" / "standing_by.py", "from arena.deeper import distant\n")
    write_more(house / "arena" / "deeper" / "distant.py", "ONE = 1\n")
    distant = digest()
    write_more(house / "arena" / "deeper" / "distant.py", "ONE = 2\n")
    assert len({further, dependent, distant, digest()}) == 4
    # the same lines in another place are another program
    (house / "arena" / "deeper" / "further.py").rename(house / "arena" / "further.py")
    assert digest() not in {further, dependent, distant}


def test_every_kernel_is_in_the_digest() -> None:
    """Told by the modules themselves: whatever they hold that was compiled."""
    import numba

    held = set()
    for package in ("agents", "replays", "arena"):
        for found in pkgutil.walk_packages([str(ROOT / package)], f"{package}."):
            for value in vars(importlib.import_module(found.name)).values():
                if isinstance(value, numba.core.dispatcher.Dispatcher):
                    file = Path(value.py_func.__code__.co_filename)
                    held.add(file.resolve().relative_to(ROOT).as_posix())
    assert len(held) > 15
    assert held <= set(compiled.kernel_sources())


def test_everything_that_kernels_import_is_in_the_digest() -> None:
    """Told by the syntax tree, not by the patterns that the digest is found with."""
    sources = set(compiled.kernel_sources())
    assert sources
    for path in sources:
        for node in ast.walk(ast.parse((ROOT / path).read_text(encoding="utf-8"))):
            modules = [name.name for name in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{path}:{node.lineno}: say the whole path, the digest goes by it"
                modules = [str(node.module), *(f"{node.module}.{name.name}" for name in node.names)]
            for module in modules:
                place = ROOT.joinpath(*module.split("."))
                for file in (place.with_suffix(".py"), place / "__init__.py"):
                    if module.split(".")[0] in {"agents", "replays", "arena"} and file.exists():
                        assert file.relative_to(ROOT).as_posix() in sources, f"{path}:{node.lineno}"


@pytest.mark.skipif(compiled.PLAIN, reason="plain kernels are not put together")
def test_what_a_kernel_calls_is_no_machine_code_of_its_own() -> None:
    @kernel
    def lowest(one: float) -> float:
        return one / 3.0

    @kernel
    def middle(one: float) -> float:
        return lowest(one) + lowest(2.0 * one)

    @kernel
    def top(one: float) -> float:
        return middle(one) * lowest(one)

    tried: Any = top
    assert tried(6.0) == (2.0 + 4.0) * 2.0
    assert len(tried.overloads) == 1
    for part in (lowest, middle):
        untouched: Any = part
        assert untouched.overloads == {}
    # and yet Python can call it
    assert middle(6.0) == 6.0
    assert tried(3.0) == 3.0
