"""The commands that README, lessons, studies and --help tell: each is one that the program takes."""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from arena.cli.command import photodrome as group
from tests.helpers.commands import ROOT, photodrome

PAGES = [ROOT / "README.md", *sorted((ROOT / "configs").rglob("*.md"))]
# What stands for something of one's own, and what may stand there.
OWN = {
    "FOLDER": "walkers",
    "PLAN": "eye-spacing",
    "tcp://HOST:8786": "tcp://localhost:8786",
    "…": "eye-spacing",
}


def told_in(text: str) -> Iterator[str]:
    """Every command in code spans and in indented or fenced lines of a page, or in a help text."""
    spans = re.findall(r"`(photodrome [^`]+)`", text, flags=re.S)
    lines = re.findall(r"^\s*(photodrome [a-z].*)$", text, flags=re.M)
    for one in dict.fromkeys([" ".join(span.split()) for span in spans] + [line.strip() for line in lines]):
        if not one.startswith("photodrome is "):
            yield one


def help_texts() -> Iterator[str]:
    """The help of every command, unwrapped."""
    for name in sorted(group.commands):
        for paragraph in (group.commands[name].help or "").split("\n\n"):
            yield " ".join(paragraph.split())


def commands_told() -> list[str]:
    """All of them, those of pages first."""
    found = [one for page in PAGES for one in told_in(page.read_text(encoding="utf-8"))]
    for text in help_texts():
        found += re.findall(r"photodrome [a-z]+ [^\n]*$", text)
    return list(dict.fromkeys(found))


def test_commands_are_found() -> None:
    found = commands_told()
    assert len(found) > 40
    assert {"photodrome bench poppy", "photodrome fit poppy readings.csv --out mine.yaml"} <= set(found)


@pytest.mark.parametrize("told", commands_told())
def test_a_command_that_is_told_is_taken_as_it_stands(
    told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    _, *words = shlex.split(told, comments=True)
    words = [OWN.get(word, word) for word in words]
    with click.Context(group) as context:
        name, command, rest = group.resolve_command(context, words)
        assert command is not None
        if rest:
            # reads all options and arguments, and runs nothing; a bare name is but a mention
            command.make_context(name, rest, parent=context).close()


def test_the_sheet_in_the_readme_is_the_one_that_is_printed() -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    table = page.split("which faults it has:")[1].split("```")[1]
    rows = [line.split() for line in table.splitlines() if "klx" in line]
    printed = [line.split() for line in photodrome("bench", "poppy", "--no-cures").out.splitlines()]
    assert len(rows) == 3
    for row in rows:
        # the last column may be broken into lines
        assert any(line[: len(row) - 5] == row[: len(row) - 5] for line in printed), row
