"""Tests run in a fork of a process that has imported all they need of others, one fork for each change.

A fork imports the changed module from its changed source, and what of the house depends on it, all in plain
Python and from a copy of the house.
"""

import ast
import gc
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import resource
import signal
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

HOUSE = ("agents", "arena", "photodrome", "replays", "tests")
# A test is stopped after so many times what it takes, and so much more [s of CPU], and so are imports after
# this; all are after so many times by the clock. The change is noticed then. And what memory it may take [B].
_TIMES, _MORE, _IMPORTING = 3.0, 0.3, 10.0
_SLOWER = 20.0
_MEMORY = 6 << 30


class Tests:
    """Tests by their names, each with what it takes [s of CPU]; given to pytest, it runs the quickest first.

    What takes longer than ``slowest`` is left out, and who takes far longer than it should is stopped.
    """

    def __init__(self, names: Sequence[str], slowest: float) -> None:
        self.names = names
        self.slowest = slowest
        self.takes: dict[str, float] = {}

    @property
    def seconds(self) -> float:
        """What all that are not left out take."""
        return sum(time for time in self.takes.values() if time <= self.slowest)

    @property
    def left_out(self) -> list[str]:
        """Those that take too long."""
        return [name for name, time in self.takes.items() if time > self.slowest]

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Put the quickest first."""
        if self.takes:
            items[:] = [item for item in items if self.takes.get(item.nodeid, 0.0) <= self.slowest]
            items.sort(key=lambda item: self.takes.get(item.nodeid, 0.0))

    def pytest_runtest_protocol(self, item: Any, nextitem: object) -> None:
        """Set the time of the test to come, and note that of the one before."""
        signal.setitimer(signal.ITIMER_PROF, _TIMES * self.takes.get(item.nodeid, 600.0) + _MORE)

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Note what a test takes."""
        now = time.process_time()
        self._noted[report.nodeid] = self._noted.get(report.nodeid, 0.0) + now - self._since
        self._since = now

    def pytest_runtestloop(self) -> None:
        """Begin to note."""
        self._noted: dict[str, float] = {}
        self._since = time.process_time()

    @property
    def noted(self) -> dict[str, float]:
        """What each test took in this process."""
        return self._noted


class _Finder(importlib.abc.MetaPathFinder):
    """Finds one module, and gives it another source."""

    def __init__(self, house: Path, module: str, source: str) -> None:
        self.name = _dotted(module)
        self.path = str(house / module)
        self.source = source

    def find_spec(
        self, name: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if name != self.name:
            return None
        loader = _Loader(name, self.path)
        loader.source = self.source
        return importlib.util.spec_from_file_location(name, self.path, loader=loader)


class _Loader(importlib.machinery.SourceFileLoader):
    source = ""

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.source, self.path, "exec", dont_inherit=True)


def import_what_tests_need(house: Path, module: str, tests: Tests) -> None:
    """Run ``tests`` in a fork, import here what they have come to need, and note what each takes.

    Nothing is imported that depends on ``module``, which is to change. This process is of use for that module
    alone. RuntimeError where tests fail with nothing changed.
    """
    os.chdir(house)
    sys.path[0] = str(house)
    _forget(HOUSE)
    tests.takes = {}
    needed = _try_unchanged(house, tests)[0]
    depend = {_dotted(one) for one in dependents(house, module)}
    for name in needed:
        if name.split(".")[0] != "tests" and name not in depend and not name.startswith("__"):
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                try:
                    importlib.import_module(name)
                except ImportError:
                    continue
    if depend & set(sys.modules):
        # something asks for it in a way that is not seen in its source
        _forget(HOUSE)
    gc.collect()
    gc.freeze()
    tests.takes = _try_unchanged(house, tests)[1]


def dependents(house: Path, module: str) -> set[str]:
    """Files of the ``house`` that import a ``module`` of it, directly or not, and itself; by their paths."""
    imports: dict[str, set[str]] = {}
    for name in HOUSE[:-1]:
        for path in (house / name).rglob("*.py"):
            asked = set()
            for node in ast.walk(ast.parse(path.read_bytes())):
                if isinstance(node, ast.Import):
                    asked |= {one.name for one in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module:
                    asked |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
            imports[path.relative_to(house).as_posix()] = asked
    found = {module}
    while True:
        names = {_dotted(one) for one in found}
        more = {path for path, asked in imports.items() if asked & names} - found
        if not more:
            return found
        found |= more


def _dotted(path: str) -> str:
    return path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def _forget(packages: Sequence[str]) -> None:
    for name in [name for name in sys.modules if name.split(".")[0] in packages]:
        del sys.modules[name]


def _try_unchanged(house: Path, tests: Tests) -> tuple[list[str], dict[str, float]]:
    with tempfile.NamedTemporaryFile(mode="r") as told:

        def tell() -> None:
            Path(told.name).write_text(json.dumps([sorted(sys.modules), tests.noted]), encoding="utf-8")

        code = run_tests(house, tests, None, tell)
        if code != 0:
            raise RuntimeError(f"{' '.join(tests.names)} fail with nothing changed ({code})")
        modules, takes = json.load(told)
    return modules, takes


def run_tests(
    house: Path,
    tests: Tests,
    changed: tuple[str, Callable[[], str]] | None = None,
    afterwards: Callable[[], None] | None = None,
) -> int:
    """Run ``tests`` of the ``house`` up to the first that fails; pytest's exit code, below 0 if stopped.

    ``changed`` is a module's path and what makes its source; ``afterwards`` is called in the fork.
    """
    process = os.fork()
    if process == 0:
        code = 70
        try:
            code = _in_fork(house, tests, changed)
            if afterwards is not None:
                afterwards()
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


def _in_fork(house: Path, tests: Tests, changed: tuple[str, Callable[[], str]] | None) -> int:
    signal.setitimer(signal.ITIMER_REAL, 600.0 + _SLOWER * tests.seconds)
    signal.setitimer(signal.ITIMER_PROF, 600.0 if changed is None else _IMPORTING)
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
    silence = os.open(os.devnull, os.O_RDWR)
    for number in range(3):
        os.dup2(silence, number)
    importlib.invalidate_caches()
    if changed is not None:
        module, source_of = changed
        sys.meta_path.insert(0, _Finder(house, module, source_of()))
    pytest = importlib.import_module("pytest")
    return int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *tests.names], plugins=[tests]))
