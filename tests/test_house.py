"""The rules of the house: style, types, layers, public names, and imports that stay where they are needed."""

import ast
import json
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from pkgutil import resolve_name

import pytest

from tests.helpers.commands import HEAVY

ROOT = Path(__file__).resolve().parent.parent

PUBLIC = {
    "agents": [
        "BenchPoint",
        "Design",
        "Drawer",
        "FaultReport",
        "Fit",
        "PhotodromeError",
        "Picked",
        "Reading",
        "bench",
        "bench_point",
        "change_design",
        "design_text",
        "diagnose",
        "fit_design",
        "pick_parts",
        "read_design",
        "read_drawer",
        "read_readings",
        "table_notes",
    ],
    "replays": [
        "DesignScore",
        "Replay",
        "draw_picture",
        "make_film",
        "make_show",
        "read_replay",
        "score",
        "score_many",
        "watch",
        "watch_show",
        "write_replay",
    ],
    "arena": [
        "ArenaSpec",
        "Contest",
        "Study",
        "SweepResult",
        "read_arena",
        "read_contest",
        "read_study",
        "run_sweep",
        "simulate",
    ],
}


def house_rule(*command: str) -> None:
    done = subprocess.run(
        [sys.executable, *command], cwd=ROOT, capture_output=True, text=True, timeout=600, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_style() -> None:
    house_rule("-m", "ruff", "check", ".")


def test_layout_of_the_code() -> None:
    house_rule("-m", "ruff", "format", "--check", ".")


def test_types() -> None:
    house_rule("-m", "mypy")


def test_layers() -> None:
    house_rule("-c", "from importlinter.cli import lint_imports_command as lint; lint()")


@pytest.mark.parametrize("package", PUBLIC)
def test_public_names(package: str) -> None:
    module = import_module(package)
    assert module.__all__ == PUBLIC[package]
    for name in module.__all__:
        assert getattr(module, name).__doc__, name
    with pytest.raises(AttributeError, match="has no attribute"):
        _ = module.nothing_of_the_kind


def test_no_name_stands_for_two_things() -> None:
    homes: dict[str, list[str]] = {}
    for package in PUBLIC:
        for path in (ROOT / package).rglob("*.py"):
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                # a command's function goes by the name of the command, and so does what it runs
                is_command = path.parent.name == "cli" and getattr(node, "decorator_list", [])
                is_named = isinstance(node, ast.ClassDef | ast.FunctionDef) and not is_command
                if is_named and not node.name.startswith("_"):
                    homes.setdefault(node.name, []).append(path.name)
    assert {name: paths for name, paths in homes.items() if len(paths) > 1} == {}


@pytest.mark.parametrize("first", ["agents", "replays", "arena", "arena.cli.command"])
def test_a_package_alone_imports_nothing_heavy(first: str) -> None:
    code = f"import json, sys, {first}; print(json.dumps([m for m in sys.modules if '.' not in m]))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    assert not set(HEAVY) & set(json.loads(done.stdout))


def test_the_continuous_run_is_the_command_of_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    steps = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert steps[-1] in readme


def test_files_stay_short_enough_to_read() -> None:
    for package in PUBLIC:
        for path in (ROOT / package).rglob("*.py"):
            assert len(path.read_text(encoding="utf-8").splitlines()) <= 420, path.name


def test_only_packages_list_their_names() -> None:
    for package in PUBLIC:
        for path in (ROOT / package).rglob("*.py"):
            assert path.name == "__init__.py" or "__all__" not in path.read_text(encoding="utf-8"), path


def test_the_reference_of_fields_is_up_to_date() -> None:
    from arena.cli.field_reference import reference

    assert (ROOT / "configs" / "FIELDS.md").read_text(encoding="utf-8") == reference(), (
        "run python -m arena.cli.field_reference"
    )


def test_the_example_in_the_reference_can_be_read(tmp_path: Path) -> None:
    from agents.design.spec import read_design

    text = (ROOT / "configs" / "FIELDS.md").read_text(encoding="utf-8")
    path = tmp_path / "radish.yaml"
    path.write_text(text.split("```yaml\n")[1].split("```")[0], encoding="utf-8")
    design = read_design(path)
    assert [row.light for row in design.left.eye.table] == [0.0, 300.0, 3e3, 30e3]
    assert design.left.eye.table == design.right.eye.table
    assert (design.left.eye.tape, design.right.eye.tape) == (0.8, 1.0)


def named_in(document: str) -> set[str]:
    """What stands between backticks in a document, on one line or across two, and where its links lead."""
    text = (ROOT / document).read_text(encoding="utf-8")
    text = re.sub(r"^```.*?^```", "", text, flags=re.MULTILINE | re.DOTALL)
    spans = (re.sub(r"\s+", " ", span) for span in re.findall(r"`([^`]+)`", text))
    return {*spans, *re.findall(r"\]\(([^)]+)\)", text)}


@pytest.mark.parametrize("document", ["DEVELOPERS.md", "README.md"])
def test_files_and_folders_named_in_a_document_are_there(document: str) -> None:
    ours = re.compile(
        r"(agents|arena|configs|replays|tests|\.ci|\.pictures)(/[\w.-]+)*/?|[\w/]+\.(py|toml)|\w+/"
    )
    named = {one for one in named_in(document) if ours.fullmatch(one)}
    assert len(named) > 3
    assert {one for one in named if not (ROOT / one).exists()} == set()


@pytest.mark.parametrize("document", ["DEVELOPERS.md", "README.md"])
def test_modules_named_in_a_document_can_be_run_or_imported(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    run = re.findall(r"-m\s+([\w.]+\w)", text)
    assert run
    for module in run:
        of_ours = module.split(".")[0] in (*PUBLIC, "tests")
        if of_ours:
            place = ROOT.joinpath(*module.split("."))
            source = place / "__main__.py" if place.is_dir() else place.with_suffix(".py")
            assert "__main__" in source.read_text(encoding="utf-8"), module
    for name in named_in(document):
        if re.fullmatch(rf"({'|'.join(PUBLIC)})(\.\w+)+", name):
            resolve_name(name)


def test_names_in_the_code_that_developers_are_told_are_there() -> None:
    sources = {
        path: path.read_text(encoding="utf-8")
        for folder in (*PUBLIC, "tests")
        for path in (ROOT / folder).rglob("*.py")
        if path != Path(__file__)
    }
    words = {word for source in sources.values() for word in re.findall(r"\w+", source)}
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    # the second of four columns is that of names in the table of symbols alone
    cells = re.findall(r"^\| [^|]+ \| ([^|`]+) \| [^|]+ \| [^|]+ \|$", text, re.MULTILINE)
    told = {name for cell in cells[1:] for name in cell.split(", ")}
    assert len(told) > 30
    told |= {one.lstrip("@") for one in named_in("DEVELOPERS.md") if re.fullmatch(r"@?[A-Za-z_]\w+", one)}
    assert told - words == set()
    for home, name in (one.split(".") for one in named_in("DEVELOPERS.md") if re.fullmatch(r"\w+\.\w+", one)):
        if name in ("md", "py", "toml", "json"):
            continue
        homes = [
            source
            for path, source in sources.items()
            if path.stem == home or re.search(rf"^class {home}\b", source, re.MULTILINE)
        ]
        assert any(re.search(rf"\b{name}\b", source) for source in homes), f"{home}.{name}"
