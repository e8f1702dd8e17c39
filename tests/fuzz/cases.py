"""Cases of wrong files by number: what is written into a folder, and the command that is to cope with it."""

import json
import random
import shutil
import traceback
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import yaml

from agents.design.spec import Design
from agents.drawer.contents import Drawer
from agents.errors import PhotodromeError
from agents.text.shipped import configs_folder
from arena.races.race_form import RaceForm
from arena.scene.spec import ArenaSpec
from arena.studies.plans.plan_form import PlanForm
from arena.studies.plans.study import read_study
from tests.fuzz.mutations import Mutator, Tree, dumped, loaded
from tests.helpers.commands import photodrome

MODELS = {"design": Design, "arena": ArenaSpec, "study": PlanForm, "drawer": Drawer, "race": RaceForm}
SHARES = {"design": 0.38, "arena": 0.2, "study": 0.18, "race": 0.1, "drawer": 0.08, "lot": 0.06}
LOTS = {
    "eyes.csv": "eye,trigger\nE01,2.31 V\nE02,2.28 V\nE03,2.40 V\nE04,2.35 V\n",
    "readings.csv": "light;side;trigger;time between pulses\n1 klx;left;2,89 V;125 s\n3 klx;left;3,2 V;1 s\n",
}
# What ``fit`` ends with 1 for: the table is sound, and no build of the design reads so.
UNLIKE = "these readings are not of a build of this design"
# Trials times walkers times seconds that a sweep may take here.
MOST_SWEPT = 4000.0


@cache
def corpus() -> dict[str, list[str]]:
    """The texts of all shipped files by kind."""
    texts: dict[str, list[str]] = {kind: [] for kind in MODELS}
    for path in sorted(configs_folder().rglob("*.yaml")):
        text = path.read_text(encoding="utf-8")
        kind = loaded(text)["photodrome"].partition(" ")[0]
        texts[kind].append(text)
    return texts


@cache
def trees(kind: str) -> list[Tree]:
    """The trees of all shipped files of a kind."""
    return [loaded(text) for text in corpus()[kind]]


@dataclass(frozen=True)
class Case:
    """Files by name, and the command that is given them."""

    number: int
    files: dict[str, str]
    command: tuple[str, ...]


def case(number: int, seed: int = 1) -> Case:
    """Case ``number`` of those of a seed."""
    chance = random.Random(f"{seed}/{number}")
    kind = chance.choices(list(SHARES), list(SHARES.values()))[0]
    if kind == "lot":
        return _lot(number, chance)
    text = _mutated(kind, chance)
    files = {"own.yaml": text}
    if kind in ("study", "race"):
        # what it names may be there, and be wrong itself
        for name, other in (("a.yaml", "arena"), ("d.yaml", "design"), ("w.yaml", "drawer")):
            whole = chance.choice(corpus()[other])
            files[name] = _mutated(other, chance) if chance.random() < 0.3 else whole
        if chance.random() < 0.5:
            files["own.yaml"] = text = _naming_own(text, kind, chance)
    return Case(number, files, _command(kind, chance))


def _mutated(kind: str, chance: random.Random) -> str:
    mutator = Mutator(chance, MODELS[kind], trees(kind))
    text = chance.choice(corpus()[kind])
    if chance.random() < 0.85:
        tree = loaded(text)
        for _ in range(chance.choice([1, 1, 1, 2, 3, 6])):
            mutator.tree(tree)
        text = dumped(tree)
    if chance.random() < 0.25:
        for _ in range(chance.choice([1, 1, 2])):
            text = mutator.text(text)
    return text


def _naming_own(text: str, kind: str, chance: random.Random) -> str:
    try:
        tree = loaded(text)
    except (ValueError, RecursionError, yaml.YAMLError):
        return text
    if isinstance(tree, dict) and kind == "study":
        tree["arenas"], tree["designs"] = ["./a.yaml"], chance.choice([["./d.yaml"], ["./d.yaml", "poppy"]])
    elif isinstance(tree, dict):
        tree["courses"] = [{"arena": "./a.yaml", "by": chance.choice(["arrival", "most light"])}]
        tree["rules"] = chance.choice([{}, {"drawer": "./w.yaml"}])
    return dumped(tree)


def _lot(number: int, chance: random.Random) -> Case:
    name = chance.choice(list(LOTS))
    mutator = Mutator(chance, Design, trees("design"))
    text = LOTS[name]
    for _ in range(chance.choice([1, 1, 2, 3])):
        cells = text.split(chance.choice([";", ",", "\n", " "]))
        if chance.random() < 0.5 and len(cells) > 1:
            tree: Tree = {"cells": cells}
            mutator.tree(tree)
            kept = tree.get("cells", [])
            text = ";".join(str(one) for one in kept) if isinstance(kept, list) else str(kept)
        else:
            text = mutator.text(text)
    if name == "eyes.csv":
        return Case(number, {name: text}, ("kit", "poppy", "--copies", "10", "--kits", "2", "--eyes", name))
    return Case(number, {name: text}, ("fit", "poppy", name, "--json"))


def _command(kind: str, chance: random.Random) -> tuple[str, ...]:
    others = {
        "design": [
            ("bench", "./own.yaml", "--light", "3klx", "--no-cures", "--json"),
            ("bench", "./own.yaml", "--light", "300 lx", "--light", "50klx", "--no-cures"),
            ("run", "open-bench", "-d", "./own.yaml", "--walkers", "2", "--duration", "60", "--json"),
            (
                "run",
                "corner-trap",
                "-d",
                "./own.yaml",
                "--alone",
                "--walkers",
                "1",
                "--duration",
                "60",
                "--json",
            ),
            ("kit", "./own.yaml", "--copies", "10", "--kits", "2", "--json"),
            ("sheet", "./own.yaml", "--light", "3klx", "--out", "sheet.html"),
        ],
        "arena": [
            ("run", "./own.yaml", "-d", "poppy", "--walkers", "2", "--duration", "60", "--json"),
            ("run", "./own.yaml", "-d", "lentil", "--alone", "--walkers", "2", "--duration", "60", "--json"),
        ],
        "study": [("sweep", "./own.yaml", "--no-plots", "--out", "out", "--json")],
        "race": [("race", "folder", "--course", "./own.yaml", "--check")],
        "drawer": [
            # resistors are picked for one place alone, since all pairs of three places take long
            (
                *("pick", "poppy", "--drawer", "./own.yaml", "--light-count", "2"),
                *("--keep", "both.series", "--keep", "both.feeler", "--json"),
            )
        ],
    }
    if chance.random() < 0.6:
        return ("check", "./own.yaml", *(["--json"] if chance.random() < 0.2 else []))
    return chance.choice(others[kind])


def tried(one: Case) -> str:
    """Try a case in a folder within the working folder, which is empty; returns what is wrong, or empty."""
    inner = Path("inner")
    inner.mkdir()
    for name, text in one.files.items():
        (inner / name).write_bytes(text.encode("utf-8", "surrogatepass"))
    if "folder" in one.command:
        (inner / "folder").mkdir()
        for name in ("poppy", "lentil"):
            shutil.copy(configs_folder() / "designs" / f"{name}.yaml", inner / "folder")
    try:
        return _tried(one, inner)
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt):
            raise
        return f"{type(error).__name__}: {error}\n{traceback.format_exc(limit=-6)}"


def _tried(one: Case, inner: Path) -> str:
    from contextlib import chdir

    with chdir(inner):
        command = one.command
        if command[0] == "sweep" and not _is_small(command[1]):
            command = ("check", command[1])
        outcome = photodrome(*command)
    said = outcome.out + outcome.err
    wrong = []
    if outcome.code not in (0, 2) and not (outcome.code == 1 and UNLIKE in outcome.err):
        wrong.append(f"exit {outcome.code}")
    if outcome.code == 2 and not outcome.err.strip() and "--json" not in command:
        wrong.append("refused without a word")
    if any(not (letter.isprintable() or letter == "\n") for letter in said):
        wrong.append("control characters in what it says")
    if outcome.code == 0 and "--json" in command:
        outcome.json()
    if any(len(line) > 6000 for line in said.split("\n")) and "--json" not in command:
        wrong.append("a line that nobody reads")
    if sorted(path.name for path in Path().iterdir()) != ["inner"]:
        wrong.append("written outside of its folder")
    for page in inner.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        if any(not (letter.isprintable() or letter in "\n\t") for letter in text):
            wrong.append("control characters in a page")
        if "<script>" in text.lower() or "<b>bold" in text:
            wrong.append("a page that says what a name said")
    return "; ".join(wrong) + (f"\n{said[-1500:]}" if wrong else "")


def _is_small(file: str) -> bool:
    try:
        study = read_study(file)
    except PhotodromeError:
        return True
    longest = study.seconds or max(spec.lasts for spec, _ in study.arenas)
    return study.trials * study.walkers * longest <= MOST_SWEPT


def described(one: Case) -> str:
    """A case for people: its command and files."""
    return json.dumps({"number": one.number, "command": one.command, "files": one.files}, ensure_ascii=False)
