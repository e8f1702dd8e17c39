"""Files to begin with, schemas for editors, and what a shell completes."""

import copy
import json
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from agents.design.spec import parse_design, part_reader
from agents.drawer.contents import parse_drawer
from agents.errors import Fault, SpecError
from agents.text.quantities import Fraction, Number, Point, Points, Quantity
from agents.text.readers import QuantityError, Reader
from agents.text.units import DIMENSIONS
from arena.cli.file_commands import KINDS, STARTERS
from arena.cli.file_schemas import FORMS, schema_of, spread_paths
from arena.races.race_plan import parse_race
from arena.scene.spec import parse_arena
from arena.studies.plans.study import read_study
from tests.helpers.commands import ROOT, finished, listing, photodrome, refusal

FOLDERS = {"design": "designs", "arena": "arenas", "study": "studies", "race": "races", "drawer": "parts"}
SHIPPED = {kind: sorted(ROOT.glob(f"configs/{folder}/*.yaml")) for kind, folder in FOLDERS.items()}


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def validator(kind: str) -> Any:
    schema = schema_of(kind)
    jsonschema.Draft7Validator.check_schema(schema)
    return jsonschema.Draft7Validator(schema)


def found_by_the_program(kind: str, text: str) -> list[Fault]:
    """What the program finds wrong with a file."""
    try:
        if kind == "design":
            parse_design(text, "x.yaml")
        elif kind == "arena":
            parse_arena(text, "x.yaml")
        elif kind == "drawer":
            parse_drawer(text, "x.yaml")
        elif kind == "race":
            parse_race(text, "x.yaml", Path())
        else:
            Path("x.yaml").write_text(text, encoding="utf-8")
            read_study("./x.yaml", most_trials=None)
    except SpecError as error:
        return error.faults
    return []


@pytest.mark.parametrize("kind", FORMS)
def test_a_schema_takes_every_shipped_file(kind: str) -> None:
    wanted = validator(kind)
    files = [*SHIPPED[kind], *(ROOT / "configs" / "starters").glob(f"{kind}.yaml")]
    assert len(files) >= (1 if kind in ("drawer", "race") else 6)
    for path in files:
        assert list(wanted.iter_errors(yaml.safe_load(path.read_text(encoding="utf-8")))) == [], path


def test_a_schema_takes_the_examples_of_the_reference() -> None:
    text = (ROOT / "configs" / "FIELDS.md").read_text(encoding="utf-8")
    examples = re.findall(r"```yaml\n(.*?)```", text, re.DOTALL)
    assert len(examples) >= 2
    for example in examples:
        loaded = yaml.safe_load(example)
        kind = loaded["photodrome"].split()[0]
        assert list(validator(kind).iter_errors(loaded)) == []


def places(value: Any, above: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place of a loaded file below its top."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, below in pairs:
        yield (*above, key)
        yield from places(below, (*above, key))


def at(loaded: Any, place: tuple[Any, ...]) -> Any:
    for key in place:
        loaded = loaded[key]
    return loaded


def broken(loaded: Any, chance: random.Random) -> Any:
    """A file with one thing wrong: a key, a sort of value, a unit, a word, or something that is missing."""
    loaded = copy.deepcopy(loaded)
    place = chance.choice([one for one in places(loaded) if one[0] not in ("name", "about")])
    holder, key = at(loaded, place[:-1]), place[-1]
    value = holder[key]
    how = chance.choice(["key", "sort", "unit", "form", "gone", "more"])
    if how == "key" and isinstance(key, str):
        holder[key[:-1] + chance.choice("qxz")] = holder.pop(key)
    elif how == "sort":
        holder[key] = chance.choice(
            [one for one in ({"a": "1 m"}, ["1 m", "2 m"], "1 kg m2") if one != value]
        )
    elif how == "unit" and isinstance(value, str):
        holder[key] = re.sub(r"[A-Za-z%µ/ 2]+$", chance.choice([" kg", " lm", " Hz", " W/m2", ""]), value)
    elif how == "form" and isinstance(value, str | int | float):
        holder[key] = chance.choice([f"{value} {value}", f"about {value}", f"-{value}-", f"{value},0"])
    elif how == "gone":
        del holder[key]
    else:
        (holder if isinstance(holder, dict) else loaded)["further"] = "1 m"
    return loaded


# What a study names, a schema cannot look up: files, values of these by path, and scores. Codes and rings of
# parts are languages of their own, and how many there are has to do with how many were measured.
_BEYOND = {
    "study": re.compile(r"(designs|arenas|vary|marks|scores)\b"),
    "race": re.compile(r"(courses|rules)\b"),
    "drawer": re.compile(r".*\.(code|rings|count)$"),
}


@pytest.mark.parametrize("kind", FORMS)
def test_a_schema_refuses_what_is_wrong_with_keys_sorts_and_units(kind: str) -> None:
    """Seventy files that the program refuses for their form the schema refuses too; and no right one."""
    wanted, chance = validator(kind), random.Random(f"{kind} 7")
    sources = [yaml.safe_load(path.read_text(encoding="utf-8")) for path in SHIPPED[kind]]
    refused = 0
    for _ in range(1000):
        loaded = broken(chance.choice(sources), chance)
        text = yaml.safe_dump(loaded, sort_keys=False, allow_unicode=True)
        faults = found_by_the_program(kind, text)
        if kind in _BEYOND and any(_BEYOND[kind].match(fault.key) for fault in faults):
            continue
        assert wanted.is_valid(yaml.safe_load(text)) == (faults == []), (text, faults)
        refused += faults != []
        if refused == 70:
            break
    assert refused == 70


NUMBERS = ("5", "0.5", ".5", "5.", "-5", "+5", "5e2", "5E-3", "5e", "5,0", "1 000", "0x5", "٥", "")


def readers_of_every_unit() -> list[Reader]:
    return [
        *(Quantity(unit) for unit in DIMENSIONS),
        Number(),
        Number(whole=True),
        Fraction(least=None, most=None),
        Points(),
        Points(least_count=3),
        Point(),
    ]


@pytest.mark.parametrize("reader", readers_of_every_unit(), ids=lambda reader: repr(reader)[:60])
def test_a_pattern_takes_what_the_reader_takes_and_nothing_else(reader: Reader) -> None:
    """Every spelling of every unit after every form of a number, codes, points, and what is nearly right."""
    wanted = jsonschema.Draft7Validator(reader.json_form())
    spellings = {spelling for dimension in DIMENSIONS.values() for spelling in dimension.spellings}
    own = DIMENSIONS[reader.unit].spellings if isinstance(reader, Quantity) else ("",)
    texts = {
        f"{number}{gap}{unit}" for number in NUMBERS for gap in ("", " ", "  ") for unit in (*own, "%", "")
    }
    texts |= {f"{number}{unit}" for number in ("5", "5 ", "51 ", "") for unit in spellings}
    letters = "pnuµμmFRkKMG"
    texts |= {
        form.replace("L", letter)
        for letter in letters
        for form in ("4L7", "L47", "47L", "4.7L", "L", "4L7L", ".L")
    }
    pairs = ("0 0", "0.5 .2", "-1 2e1", "1", "1 2 3", "a b", "1e 2")
    texts |= {
        f"{' / '.join(chosen)}{unit}"
        for one in pairs
        for other in pairs
        for chosen in ((one,), (one, other), (one, other, "3 3"))
        for unit in (" m", "m", " mm", " kg", "")
    }
    agreed = 0
    for text in sorted(texts):
        try:
            reader.read(text)
            is_read = True
        except QuantityError:
            is_read = False
        is_valid = wanted.is_valid(text)
        assert is_valid == is_read, repr(text)
        agreed += is_read
    assert agreed >= 5


def test_paths_of_tolerances_are_offered_with_their_units() -> None:
    offered = schema_of("design")["properties"]["spread"]["properties"]
    assert list(offered) == spread_paths()
    assert {"both.latch", "left.latch", "storage.capacitance", "both.eye.dark_trigger"} <= set(offered)
    assert all(part_reader(path) is not None for path in offered)
    assert offered["both.latch"] == {"$ref": "#/definitions/Tolerance_ohm"}


def test_every_key_is_explained() -> None:
    for kind in FORMS:
        schema = schema_of(kind)
        for definition in (schema, *schema["definitions"].values()):
            for key, form in definition["properties"].items():
                assert "$ref" in form or len(form.get("description", "")) > 3, (kind, key)
    latch = schema_of("design")["definitions"]["Side"]["properties"]["latch"]["description"]
    assert latch.endswith("10 ohm to 100 Mohm; 10 kohm if left out")


def test_schemas_are_written_and_printed() -> None:
    assert tuple(FORMS) == KINDS
    for kind in KINDS:
        printed = photodrome("schema", kind)
        assert json.loads(printed.out) == schema_of(kind)
        assert photodrome("schema", kind, "--out", f"{kind}.json").out == f"schema: {kind}.json\n"
        assert json.loads(Path(f"{kind}.json").read_text(encoding="utf-8")) == schema_of(kind)
    assert "one of design, arena, study" in refusal("schema", "walker")


@pytest.mark.parametrize("kind", STARTERS)
def test_a_file_to_begin_with_is_right_and_runs(kind: str) -> None:
    written = photodrome("new", kind, "fast radish")
    assert (written.code, written.err) == (0, "")
    assert list(listing()) == ["fast-radish.yaml"]
    checked = photodrome("check", "./fast-radish.yaml")
    assert checked.code == 0
    assert checked.out.startswith(f"./fast-radish.yaml: {kind} fast radish")
    text = Path("fast-radish.yaml").read_text(encoding="utf-8")
    assert validator(kind).is_valid(yaml.safe_load(text))
    # what it explains: a remark for every few lines
    assert text.count("#") >= 7
    # what the file and the command say to do next works as it is printed
    told = [line for line in (*text.splitlines(), written.out) if "photodrome " in line and "./" in line]
    assert len(told) >= 3
    for line in told:
        [order] = re.findall(
            r"photodrome ((?:check|bench|run|race) .*?fast-radish\.yaml(?: --design poppy)?)", line
        )
        more = ("--duration", "2 min", "--walkers", "1") if order.startswith("run") else ()
        more = ("--rounds", "1", "--seed", "3") if order.startswith("race") else more
        words = order.replace("FOLDER", str(ROOT / "configs" / "designs" / "[cp]*.yaml")).split()
        assert photodrome(*words, *more).code == 0, order


def test_the_design_to_begin_with_works_in_a_window_and_in_the_open() -> None:
    """A pupil's first walker has no fault from 1 klx to 10 klx."""
    assert photodrome("new", "design", "radish").code == 0
    points = photodrome("bench", "./radish.yaml", "--json", "--light", "1klx", "--light", "10klx").json()[
        "points"
    ]
    assert [point["faults"] for point in points] == [[], []]


def test_the_arena_to_begin_with_can_be_won() -> None:
    assert photodrome("new", "arena", "sill").code == 0
    run = photodrome("run", "./sill.yaml", "-d", "poppy", "--json", "--alone", "--walkers", "6").json()
    assert run["designs"][0]["reached"] >= 3


@pytest.mark.parametrize(
    "name",
    ["../radish", "a/b", "a\\b", "..", ".", ".hidden", "-o", "~", "", "   ", "c:radish", "con", "NUL.txt",
     "a\x00b", "a\nb", "\u202eabc", "x" * 41, "what?", "a*", "lpt1"],
)  # fmt: skip
def test_names_that_are_no_names(name: str) -> None:
    for kind in STARTERS:
        said = refusal("new", kind, "--", name)
        assert "expected a name, not a path" in said


@pytest.mark.parametrize(
    "name", ["Zwiebel & Söhne", "\U0001f955 carrot", "גזר", "yes", "12", "a: b"[:1], "'quoted'", "# one"]
)
def test_names_that_need_quotes_or_other_letters(name: str) -> None:
    for kind in STARTERS:
        folder = Path(kind)
        folder.mkdir()
        assert photodrome("new", kind, name, "--folder", folder).code == 0
        [path] = folder.iterdir()
        assert path.stem == "-".join(name.split())
        checked = photodrome("check", f"./{path}")
        assert checked.code == 0
        assert f": {kind} {name}" in checked.out


def test_nothing_is_written_over() -> None:
    Path("radish.yaml").write_text("mine", encoding="utf-8")
    assert "is there already" in refusal("new", "design", "radish")
    Path("beet.yaml").symlink_to("nowhere.yaml")
    assert "is there already" in refusal("new", "design", "beet")
    assert "poppy is a design that is shipped" in refusal("new", "design", "poppy")
    assert "no such folder" in refusal("new", "design", "leek", "--folder", "away", code=1)
    assert "one of design, arena" in refusal("new", "walker", "leek")


def completed(*words: str) -> list[str]:
    """What a shell is told after these words, the last of which is being typed."""
    variables = {
        "_PHOTODROME_COMPLETE": "bash_complete",
        "COMP_WORDS": " ".join(("photodrome", *words)),
        "COMP_CWORD": str(len(words)),
    }
    return finished(environment=variables).out.split()


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("be",), ["plain,bench"]),
        (("bench", "po"), ["plain,poppy"]),
        (("run", "pott"), ["plain,potting-bench"]),
        (("run", "slalom", "--design", "thi"), ["plain,thistle-spins"]),
        (("sweep", "eye"), ["plain,eye-spacing"]),
        (("check", "tape"), ["plain,tape-sun"]),
        (("bench", "./m"), ["file,./m"]),
    ],
    ids=lambda words: "-".join(words),
)
def test_a_shell_completes_commands_and_names(words: tuple[str, ...], found: list[str]) -> None:
    assert completed(*words) == found


def test_the_lines_of_the_readme_set_completion_up() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    [line] = re.findall(r'`(eval "\$\(_PHOTODROME_COMPLETE=bash_source photodrome\)")`', text)
    shell = shutil.which("bash")
    if shell is None:
        pytest.skip("no bash on the PATH")
    Path("photodrome").write_text(
        f"#!/bin/sh\nPYTHONPATH={ROOT} exec {sys.executable} -c "
        "'from arena.cli.command import main; main()' \"$@\"\n",
        encoding="utf-8",
    )
    Path("photodrome").chmod(0o755)
    done = subprocess.run(
        [shell, "-c", f'export PATH="$PWD:$PATH"; {line}; complete -p photodrome'],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "complete" in done.stdout
    assert done.stdout.endswith(" photodrome\n")
