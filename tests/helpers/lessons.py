"""The figures that the shipped lessons tell the teacher, made by the commands of the lessons.

``python -m tests.helpers.lessons`` writes them into the lessons anew, after something that they rest on has
changed; then read what each lesson says of them, too.
"""

import contextlib
import io
import json
import os
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from agents.text.shipped import configs_folder
from arena.cli.command import main
from replays.words import time_words

LESSONS = configs_folder() / "lessons"
NAMES = ("one-pulse", "why-it-lost", "luck-or-design")
STORAGES = ("1000 uF", "2200 uF", "4700 uF", "10 mF")
# A window waits for somebody.
WINDOWS = ("watch",)


@contextlib.contextmanager
def at_the_bench() -> Iterator[Path]:
    """Stand in a folder of one's own that holds the walkers of the lessons."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(LESSONS / "walkers", Path(folder) / "walkers")
        os.chdir(folder)
        try:
            yield Path(folder)
        finally:
            os.chdir(before)


def commands_of(name: str) -> list[list[str]]:
    """The commands of a lesson, word by word and without the program's name, in their order."""
    text = (LESSONS / f"{name}.md").read_text(encoding="utf-8")
    lines = [line for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL) for line in block.splitlines()]
    assert all(line.startswith("photodrome ") for line in lines)
    return [shlex.split(line)[1:] for line in lines]


def answer(*arguments: str) -> Any:
    """What a command says in JSON."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.suppress(SystemExit):
        main([*arguments, "--json"])
    return json.loads(out.getvalue())


def _table(heads: list[str], rows: list[list[str]]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def _one_pulse() -> str:
    bench = next(words for words in commands_of("one-pulse") if words[:2] == ["bench", "./mine.yaml"])
    with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
        main(["new", "design", "mine"])
    text = Path("mine.yaml").read_text(encoding="utf-8")
    rows = []
    for storage in STORAGES:
        changed = text.replace("capacitance: 2200 uF", f"capacitance: {storage}")
        Path("mine.yaml").write_text(changed, encoding="utf-8")
        [point] = answer(*bench)["points"]
        farads = {"1000 uF": 1e-3, "2200 uF": 2.2e-3, "4700 uF": 4.7e-3, "10 mF": 10e-3}[storage]
        energy = 0.5 * farads * (point["trigger_V"] ** 2 - point["let_go_V"] ** 2)
        rows.append(
            [
                storage,
                f"{point['trigger_V']:.2f} V",
                f"{point['let_go_V']:.2f} V",
                f"{point['pulse_s'] + point['charge_s']:.0f} s",
                f"{1e3 * point['pulse_s']:.0f} ms",
                f"{abs(point['turn_deg']):.0f} deg",
                f"{1e3 * energy:.0f} mJ",
                ", ".join(point["faults"]) or "none",
            ]
        )
    heads = [
        "capacitor",
        "trigger",
        "released at",
        "time between pulses",
        "pulse",
        "turn",
        "energy",
        "faults",
    ]
    return _table(heads, rows)


@cache
def told_why() -> Any:
    """What the command of the second lesson says that asks why, in JSON."""
    return answer(*next(words for words in commands_of("why-it-lost") if "--why" in words))


def _why_it_lost() -> str:
    told = told_why()
    rows = []
    for score, account in zip(told["designs"], told["accounts"], strict=True):
        change, gain = account["change"], account["gain"]
        rows.append(
            [
                account["name"],
                f"{account['outcome']['place']} of {account['outcome']['among']}",
                account["outcome"]["words"],
                str(score["pulses"]),
                f"{score['median_turn_deg']:.0f} deg",
                "–" if score["directness"] is None else f"{score['directness']:.2f}",
                ", ".join(account["faults"]) or "none",
                "–" if change is None else change["text"],
                "–" if gain is None else time_words(gain["reach_s"]),
            ]
        )
    heads = ["walker", "place", "what it did", "pulses", "turn a pulse", "directness", "fault"]
    return _table([*heads, "change that gains most", "at the lamp then"], rows)


def _luck_or_design() -> str:
    few, many = [answer(*words) for words in commands_of("luck-or-design") if "--rounds" in words]
    before = {one["name"]: one["place"] for one in few["standings"]}
    rows = [
        [
            one["name"],
            before[one["name"]],
            one["place"],
            f"{one['arrived']} of {one['starts']}",
            "–" if one["median_s"] is None else time_words(one["median_s"]),
        ]
        for one in many["standings"]
    ]
    return _table(["walker", "place, 2 rounds", "place, 24 rounds", "arrived", "median time"], rows)


FIGURES: dict[str, Callable[[], str]] = {
    "one-pulse": _one_pulse,
    "why-it-lost": _why_it_lost,
    "luck-or-design": _luck_or_design,
}


def figures(name: str) -> str:
    """The table of a lesson, made anew; to be called :func:`at_the_bench`."""
    return FIGURES[name]()


def printed(name: str) -> str:
    """The table as it stands in the lesson."""
    return _parts(name)[1]


def _parts(name: str) -> tuple[str, str, str]:
    text = (LESSONS / f"{name}.md").read_text(encoding="utf-8")
    begin = f"<!-- figures: {name} -->\n"
    before, rest = text.split(begin)
    table, after = rest.split("<!-- end -->")
    return before + begin, table.strip("\n"), "<!-- end -->" + after


def _write_all() -> None:
    for name in NAMES:
        with at_the_bench():
            table = figures(name)
        before, _, after = _parts(name)
        # a table needs an empty line on either side
        (LESSONS / f"{name}.md").write_text(f"{before}\n{table}\n\n{after}", encoding="utf-8")
        sys.stdout.write(f"{name}\n{table}\n")


if __name__ == "__main__":
    _write_all()
