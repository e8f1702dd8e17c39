"""Tests run in forks of a process in which pytest is ready, and all is imported that does not change.

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
# this; all are after so long [s], and so many times longer, by the clock. The change is noticed then.
_TIMES, _MORE, _IMPORTING = 3.0, 0.3, 10.0
_LONGEST, _SLOWER = 600.0, 40.0
# What memory a change may take [B].
_MEMORY = 6 << 30


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


class Forks:
    """Runs ``tests`` in forks, for one changing ``module`` of a ``house``; given to pytest, it stands in it.

    Tests that take longer than ``slowest`` [s of CPU] are left out, and the quickest run first.
    """

    def __init__(self, house: Path, module: str, tests: Sequence[str], slowest: float) -> None:
        self.house = house
        self.module = module
        self.tests = tests
        self.slowest = slowest
        self.takes: dict[str, float] = {}
        self.is_fork = False
        self._work: Callable[[], None] = lambda: None
        self._noted: dict[str, float] = {}
        self._since = 0.0

    @property
    def seconds(self) -> float:
        """What all that are not left out take."""
        return sum(time for time in self.takes.values() if time <= self.slowest)

    @property
    def left_out(self) -> list[str]:
        """Those that take too long."""
        return [name for name, time in self.takes.items() if time > self.slowest]

    def work(self, work: Callable[[], None]) -> None:
        """Import what the tests need but for what depends on the module, and call ``work``.

        This process is of use for that module alone. RuntimeError where tests fail with nothing changed.
        """
        os.chdir(self.house)
        sys.path[0] = str(self.house)
        _forget(HOUSE)
        depend = {_dotted(one) for one in dependents(self.house, self.module)}
        _import_but(set(self._try_unchanged()), depend)
        gc.collect()
        gc.freeze()
        self._try_unchanged()
        self._work = work
        code = self._pytest()
        if self.is_fork:
            os._exit(code)

    def _pytest(self) -> int:
        arguments = [
            "-x",
            "-s",
            "-p",
            "no:terminal",
            "-o",
            "addopts=",
            "-p",
            "no:cacheprovider",
            "--assert=plain",
            *self.tests,
        ]
        return int(importlib.import_module("pytest").main(arguments, plugins=[self]))

    def _try_unchanged(self) -> list[str]:
        """Note what each test takes; returns all modules that tests have imported."""
        self.takes = {}
        with tempfile.NamedTemporaryFile(mode="r") as told:
            process = os.fork()
            if process == 0:
                code = 70
                try:
                    self._begin_fork(_LONGEST)
                    code = self._pytest()
                    found = json.dumps([sorted(sys.modules), self._noted])
                    Path(told.name).write_text(found, encoding="utf-8")
                finally:
                    os._exit(code)
            code = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
            if code != 0:
                raise RuntimeError(f"{' '.join(self.tests)} fail with nothing changed ({code})")
            modules, self.takes = json.load(told)
        return list(modules)

    def run(self, changed: Callable[[], str]) -> int:
        """Run the tests up to the first that fails; pytest's exit code, below 0 if stopped.

        ``changed`` makes the source. To be called by the work, which has to return at once where
        ``is_fork`` is true afterwards.
        """
        process = os.fork()
        if process != 0:
            return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
        try:
            self._begin_fork(_IMPORTING)
            sys.meta_path.insert(0, _Finder(self.house, self.module, changed()))
        except BaseException:
            os._exit(70)
        return 0

    def _begin_fork(self, seconds: float) -> None:
        self.is_fork = True
        signal.setitimer(signal.ITIMER_REAL, _LONGEST + _SLOWER * self.seconds)
        signal.setitimer(signal.ITIMER_PROF, seconds)
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
        silence = os.open(os.devnull, os.O_RDWR)
        for number in range(3):
            os.dup2(silence, number)
        importlib.invalidate_caches()

    def pytest_collection(self, session: Any) -> bool | None:
        """Do the work; a fork goes on, with the tests, and the process itself has none."""
        if not self.is_fork:
            self._work()
        if self.is_fork:
            return None
        session.items = []
        return True

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Put the quickest first."""
        if self.takes:
            items[:] = [item for item in items if self.takes.get(item.nodeid, 0.0) <= self.slowest]
            items.sort(key=lambda item: self.takes.get(item.nodeid, 0.0))

    def pytest_runtestloop(self) -> None:
        """Begin to note what tests take."""
        self._noted = {}
        self._since = time.process_time()

    def pytest_runtest_protocol(self, item: Any, nextitem: object) -> None:
        """Set the time of the test to come."""
        signal.setitimer(signal.ITIMER_PROF, _TIMES * self.takes.get(item.nodeid, _LONGEST) + _MORE)

    def pytest_runtest_logreport(self, report: Any) -> None:
        """Note what a test takes."""
        now = time.process_time()
        self._noted[report.nodeid] = self._noted.get(report.nodeid, 0.0) + now - self._since
        self._since = now


def _import_but(names: set[str], depend: set[str]) -> None:
    """Import all of ``names`` but tests and what is in ``depend``."""
    for name in sorted(names):
        if name.split(".")[0] != "tests" and name not in depend and not name.startswith("__"):
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                try:
                    importlib.import_module(name)
                except ImportError:
                    continue
    if depend & set(sys.modules):
        # something asks for it in a way that is not seen in its source
        print("imports all of the house each time", file=sys.stderr)  # noqa: T201 - slow, and to be seen
        _forget(HOUSE)


def dependents(house: Path, module: str) -> set[str]:
    """Files of the ``house`` that import a ``module`` of it, directly or not, and itself; by their paths.

    Doors, which import by name when they are asked to, do not count.
    """
    imports: dict[str, set[str]] = {}
    for name in HOUSE[:-1]:
        for path in (house / name).rglob("*.py"):
            asked = set()
            for node in ast.walk(ast.parse(path.read_bytes())):
                if isinstance(node, ast.Import):
                    asked |= {one.name for one in node.names}
                elif isinstance(node, ast.ImportFrom) and node.module:
                    asked |= {node.module, *(f"{node.module}.{one.name}" for one in node.names)}
            if path.name != "__init__.py":
                imports[path.relative_to(house).as_posix()] = asked
    found = {module}
    while True:
        names = {_dotted(one) for one in found}
        more = {path for path, asked in imports.items() if asked & names} - found
        if not more:
            return found
        found |= more


def _dotted(path: str) -> str:
    return path.removesuffix(".py").replace("/", ".")


def _forget(packages: Sequence[str]) -> None:
    for name in [name for name in sys.modules if name.split(".")[0] in packages]:
        del sys.modules[name]
