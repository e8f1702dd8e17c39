"""Words that have gone out of use come up nowhere where people read: screens, tables, help, messages, pages.

What they stand for is told by the words of the trade. Keys of JSON, columns of CSV and of replays, paths of
YAML and names of faults in JSON are read by programs and stay as they are.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from arena.cli.command import photodrome as commands
from arena.studies.trial_scores import SCORES
from tests.helpers.commands import AMBIENT, FLOOR, ROOT, START_AND_GOAL, photodrome

RETIRED = (
    r"\b(un)?touched\b",
    r"\bcharges in\b",
    r"\blet(s|ting)? go\b",
    r"\bmoves on\b",
    r"\blame\b",
    r"\bdeaf\b",
    r"\bnarrow eyes\b",
    r"\bit brings\b",
    r"\bnothing on it\b",
    r"\bfor ever\b",
    r"\bquiet current\b",
    r"\bjunction voltage\b",
    r"\btime to it\b",
    r"\baim, resultant\b",
    r"\btold from luck\b",
    r"\btold worse\b",
    r"\bmends\b",
    r"\bhangs on\b",
    r"--seconds\b",
    r"--afresh\b",
    r"\blast pulse\b",
)

# Of a table alone: what a heading or the name of a row may not be, though a sentence may say it.
RETIRED_IN_TABLES = (
    r"(^|\s\s)(fires at|turns|moves on|explains|by itself|with others|shades|open)(\s\s|$)",
    r"\bopen:",
)

# Whole texts of the program that are read by programs, or are how a former name is still understood.
KEYS = {
    "touched": "column of a replay",
    "lame": "name of a fault in JSON",
    "deaf feelers": "name of a fault in JSON",
    "narrow eyes": "name of a fault in JSON",
    "mends": "key of JSON",
    "let go": "former heading of a table of readings, which is still understood",
    "--seconds": "former name of --duration",
    "--afresh": "former name of --restart",
}

# A walker that has what it takes to have every fault whose title differs from its name.
POOR = """\
photodrome: design 1
name: borage
storage: { capacitance: 100 uF }
right: { eye: { aside: 15 mm }, feeler: none }
"""

PLAN = """\
photodrome: study 1
name: shed study
arenas: [./floor.yaml]
designs: [poppy]
vary:
  design.both.latch: 10k, 47k
  design.both.feeler: 10k, 33k, 220k
repeats: 12
lasts: 200 s
scores: [reached, shades, aim, held]
"""


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("floor.yaml").write_text(FLOOR + AMBIENT + START_AND_GOAL, encoding="utf-8")
    Path("plan.yaml").write_text(PLAN, encoding="utf-8")
    Path("poor.yaml").write_text(POOR, encoding="utf-8")


def found_in(text: str, *patterns: str) -> list[str]:
    """The retired words of a text, each with what stands round it."""
    found = (
        match for pattern in patterns for match in re.finditer(pattern, text, re.MULTILINE | re.IGNORECASE)
    )
    return [text[max(match.start() - 40, 0) : match.end() + 40] for match in found]


def test_the_patterns_find_the_words() -> None:
    """A table and a sentence as they once were."""
    assert (
        len(found_in("light   touched    charges in   lets go at     turns   moves on   faults", *RETIRED))
        == 4
    )
    assert found_in("light   trigger     turns   step   faults", *RETIRED_IN_TABLES)
    assert found_in("  shades      5    11", *RETIRED_IN_TABLES)
    assert found_in("  82 % [76, 86]   open         ", *RETIRED_IN_TABLES)
    assert not found_in(
        "a left pulse turns it by 123 deg; the panel gives 4.24 V open-circuit", *RETIRED_IN_TABLES
    )


@pytest.mark.parametrize("command", [None, *sorted(commands.commands)])
def test_help(command: str | None) -> None:
    shown = photodrome(*([command] if command else []), "--help")
    assert shown.code == 0
    assert "Usage: photodrome" in shown.out
    assert found_in(shown.out, *RETIRED, *RETIRED_IN_TABLES) == []


@pytest.mark.parametrize(
    "arguments",
    [
        ("bench", "poppy"),
        ("bench", "nettle-twitches"),
        ("bench", "./poor.yaml", "--light", "3klx"),
        ("run", "./floor.yaml", "-d", "poppy", "--duration", "300"),
        ("sweep", "./plan.yaml", "--no-plots"),
        ("tune", "./plan.yaml", "--no-plots", "--budget", "200"),
        ("kit", "poppy", "--copies", "40", "--light-count", "2"),
        ("check", "poppy", "./plan.yaml"),
    ],
    ids=lambda arguments: " ".join(arguments[:2]),
)
def test_tables_and_messages(arguments: tuple[str, ...]) -> None:
    shown = photodrome(*arguments)
    assert (shown.code, shown.err) == (0, "")
    assert len(shown.out) > 20
    assert found_in(shown.out, *RETIRED, *RETIRED_IN_TABLES) == []


def test_faults_go_by_their_titles_in_tables_and_by_their_names_in_json() -> None:
    sheet = photodrome("bench", "./poor.yaml", "--light", "3klx", "--light", "100klx").out
    points = photodrome("bench", "./poor.yaml", "--light", "3klx", "--light", "100klx", "--json").json()[
        "points"
    ]
    names = {name for point in points for name in point["faults"]}
    assert names >= {"blind", "lame", "narrow eyes", "deaf feelers"}
    for title in (
        "blind (trigger above panel)",
        "hardly moves",
        "eyes inside the wheels",
        "whiskers without effect",
    ):
        assert title in sheet


def test_what_a_cure_costs_is_told() -> None:
    """With tape the nettle's eyes fire in the sun too, and there it twitches as it does everywhere."""
    told = photodrome("bench", "nettle-twitches").out.replace("\n", " ")
    assert "; but then: twitch (" in told
    assert "hardly moves (" in told


def test_a_former_name_works_and_tells_the_new_one() -> None:
    run = ("run", "./floor.yaml", "-d", "poppy", "--json")
    now = photodrome(*run, "--duration", "100")
    before = photodrome(*run, "--seconds", "100")
    assert (before.code, before.out) == (0, now.out)
    assert before.err == "--seconds is now called --duration\n"
    both = photodrome(*run, "--seconds", "100", "--duration", "100")
    assert both.code == 2
    assert "--seconds is --duration by its former name; give one" in both.err
    kept = [photodrome("sweep", "./plan.yaml", "--no-plots", "--json", *more) for more in ((), ("--afresh",))]
    assert [one.json()["trials_kept_from_before"] for one in kept] == [0, 0]
    assert kept[1].err.splitlines()[0] == "--afresh is now called --restart"
    kit = ("kit", "poppy", "--copies", "20", "--light-count", "2", "--json")
    now = photodrome(*kit, "--allow", "whiskers without effect", "--allow", "trigger above panel")
    before = photodrome(*kit, "--allow", "deaf feelers", "--allow", "blind")
    assert now.json()["allowed"] == before.json()["allowed"] == ["blind", "deaf feelers"]
    assert before.err == "deaf feelers is now called whiskers without effect\n"
    assert now.err == ""
    former = photodrome("kit", "poppy", "--copies", "20", "--lights", "2", "--json")
    assert former.err == "--lights is now called --light-count\n"


@pytest.mark.parametrize(
    "path",
    [
        ROOT / "README.md",
        ROOT / "DEVELOPERS.md",
        ROOT / "configs/FIELDS.md",
        *sorted(ROOT.glob("configs/studies/*")),
        *sorted(ROOT.glob("arena/reports/templates/*.html")),
    ],
    ids=lambda path: path.name,
)
def test_pages(path: Path) -> None:
    assert found_in(path.read_text(encoding="utf-8"), *RETIRED) == []


def test_scores_of_experiments() -> None:
    for score in SCORES.values():
        assert found_in(f"{score.words}\n{score.definition}", *RETIRED, *RETIRED_IN_TABLES) == []


def _texts(tree: ast.AST) -> Iterator[str]:
    """All texts of a program but for docstrings; one with values in it as a whole."""
    skipped = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            skipped.update(map(id, node.values))
            yield "".join(one.value if isinstance(one, ast.Constant) else "0" for one in node.values)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skipped:
            yield node.value


@pytest.mark.parametrize("package", ["agents", "replays", "arena"])
def test_texts_of_the_program(package: str) -> None:
    """So also windows, the workbench, plots and every message, whether or not a test brings it up."""
    texts = {
        text: path.relative_to(ROOT)
        for path in sorted((ROOT / package).rglob("*.py"))
        for text in _texts(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert len(texts) > 400
    found = {text: path for text, path in texts.items() if text not in KEYS and found_in(text, *RETIRED)}
    assert found == {}
