"""The program in a notebook: the README's page and the example of every public function, run as they are."""

import code
import contextlib
import doctest
import io
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from types import FunctionType

import pytest

from replays.drawing.sheet import pygame
from replays.window import screen

ROOT = Path(__file__).resolve().parent.parent

PACKAGES = ("agents", "replays", "arena")
FUNCTIONS = [
    (package, name)
    for package in PACKAGES
    for name in import_module(package).__all__
    if isinstance(getattr(import_module(package), name), FunctionType)
]
# What the example of a function leaves in its folder.
FILES = {
    "draw_picture": "slalom.png",
    "make_film": "slalom.gif",
    "make_show": "show.gif",
    "write_replay": "slalom.replay.npz",
}
NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")


@pytest.fixture(autouse=True)
def _in_a_folder_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that an example writes go to a folder of the test's, and a window is closed at once."""
    opened = screen.open_display

    def open_and_close() -> None:
        opened()
        pygame.event.post(pygame.event.Event(pygame.QUIT))

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(screen, "open_display", open_and_close)


@pytest.mark.parametrize(("package", "name"), FUNCTIONS)
def test_the_example_of_a_public_function(package: str, name: str, tmp_path: Path) -> None:
    module = import_module(package)
    known = {one: getattr(module, one) for one in module.__all__}
    [example] = doctest.DocTestFinder(recurse=False).find(known[name], name, globs=known)
    assert example.examples, "a public function has an example in its docstring"
    report = io.StringIO()
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS, verbose=False)
    runner.run(example, out=report.write)
    assert runner.failures == 0, report.getvalue()
    assert runner.tries == len(example.examples)
    if name in FILES:
        assert (tmp_path / FILES[name]).stat().st_size > 1000


def test_no_room_hides_a_function() -> None:
    # a module that has been imported is an attribute of its package, whatever else went by its name
    for package in PACKAGES:
        rooms = {path.stem for path in (ROOT / package).iterdir()}
        assert not rooms & set(import_module(package).__all__)


@pytest.mark.parametrize(
    "imports",
    [
        "from agents import bench; import agents.testbench.bench_figures, arena.simulation",
        "import agents.testbench.bench_figures, arena.simulation; from agents import bench",
    ],
)
def test_a_public_name_is_a_function_whatever_was_imported_before(imports: str) -> None:
    code = f"{imports}; import agents, arena; print(agents.bench is bench, callable(bench), arena.simulate)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.startswith("True True <function simulate at ")


def test_the_page_of_the_readme(tmp_path: Path) -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8").split("\n## A notebook in ten lines\n")[1]
    page = page.split("\n## ")[0]
    lines = page.split("```python\n")[1].split("```")[0].splitlines()
    printed = page.split("```text\n")[1].split("```")[0]
    assert len([line for line in lines if line]) == 10
    out = io.StringIO()
    # pasted into an interpreter, where a block ends with a blank line only
    interpreter = code.InteractiveConsole({})
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        for line in lines:
            interpreter.push(line)
    assert NUMBER.sub("#", out.getvalue()) == NUMBER.sub("#", printed)
    for found, told in zip(NUMBER.findall(out.getvalue()), NUMBER.findall(printed), strict=True):
        # a processor that rounds otherwise may let a walker or two arrive at another time
        assert float(found) == pytest.approx(float(told), rel=0.05)
    assert (tmp_path / "race.png").read_bytes().startswith(b"\x89PNG")
