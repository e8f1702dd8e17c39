"""Telling what a file is by how it begins, and reading it as that."""

import codecs
import os
import re
from pathlib import Path

from agents.design.spec import read_design
from agents.errors import NotFoundError, nearest, nearest_note
from agents.text.shipped import shipped_names
from agents.text.spec_reading import VERSIONS
from arena.cli.panel_report import panel_lines
from arena.scene.spec import read_arena
from replays.format.replay_file import read_replay

_FIRST_LINE = re.compile(rb"^photodrome:[ \t]*[\"']?([a-z]{1,20})", re.MULTILINE)
# How every zip begins, and so every replay.
_ZIP = b"PK\x03\x04"


def check_file(name: str) -> str:
    """Read a file of any kind, or a shipped one by its name; returns what it is, in words.

    Raises SpecError, ReplayError or NotFoundError.
    """
    if name in shipped_names("design"):
        return _design(name)
    if name in shipped_names("arena"):
        return _arena(name)
    if name in shipped_names("study"):
        return _study(name)
    if name in shipped_names("race"):
        return _race(name)
    if name in shipped_names("drawer"):
        return _drawer(name)
    path = Path(name)
    beginning = _beginning(name)
    if path.suffix.lower() == ".npz" or beginning.startswith(_ZIP):
        replay = read_replay(path)
        count = len(replay.walkers)
        return f"replay of {replay.arena['name']} with {count} walker{'' if count == 1 else 's'}"
    kind = _kind_of(beginning)
    read = {"study": _study, "race": _race, "drawer": _drawer, "arena": _arena}.get(kind, _design)
    return read(_as_path(name))


def _kind_of(beginning: bytes) -> str:
    """The kind that the first line names, be it misspelt; a design where it names none."""
    found = _FIRST_LINE.search(beginning.removeprefix(codecs.BOM_UTF8).replace(b"\r", b"\n"))
    return nearest(found[1].decode(), VERSIONS) if found is not None else "design"


def notes_on_design(name: str) -> tuple[str, ...]:
    """What is right about a design, and may yet mislead; ``name`` has been found to be one.

    Raises what reading it does.
    """
    from agents.testbench.bench_figures import LIGHTS
    from agents.testbench.eye_tables import table_notes

    return table_notes(read_design(name if name in shipped_names("design") else _as_path(name)), LIGHTS)


def _as_path(name: str) -> str:
    """A bare file name is a path here, as it is to the shell."""
    return name if Path(name).name != name else os.path.join(".", name)  # noqa: PTH118 - a Path drops the dot


def _drawer(name: str) -> str:
    from agents.drawer.contents import read_drawer

    drawer = read_drawer(name)
    pieces = sum(item.pieces for *_, item in drawer.items())
    return f"drawer {drawer.name} with {pieces} part{'' if pieces == 1 else 's'}"


def _arena(name: str) -> str:
    return f"arena {read_arena(name).name}"


def _design(name: str) -> str:
    design = read_design(name)
    made = panel_lines(design.panel)
    return "; ".join([f"design {design.name}", *map(str.strip, made)])


def _study(name: str) -> str:
    # Studies bring statistics with them, and most files are none.
    from arena.studies.plans.plan_form import MOST_TRIALS
    from arena.studies.plans.study import read_study

    study = read_study(name, most_trials=None)
    # A plan with a budget is for a search, which tries few of its settings.
    if study.trials > MOST_TRIALS and not study.says_budget:
        read_study(name)
    return f"study {study.name}: {study.size_text}"


def _race(name: str) -> str:
    from arena.races.race_plan import read_race

    plan = read_race(name)
    return f"race {plan.form.name}: {plan.form.format}, {', '.join(one.arena.name for one in plan.courses)}"


def _beginning(name: str) -> bytes:
    """The first part of a file. Raises NotFoundError."""
    if not name:
        raise NotFoundError(
            "an empty name; expected a file, or the name of a shipped design, arena, study or race"
        )
    path = Path(name)
    try:
        if path.is_dir():
            raise NotFoundError(f"{name}: is a folder; name the files in it")
        if path.exists() and not path.is_file():
            raise NotFoundError(f"{name}: is no ordinary file")
        with path.open("rb") as stream:
            return stream.read(65536)
    except FileNotFoundError:
        kinds = ("design", "arena", "study", "drawer", "race")
        names = [name for kind in kinds for name in shipped_names(kind)]
        note = nearest_note(nearest(name, names, cutoff=0.7))
        raise NotFoundError(
            f"{name!r}: no such file, and no shipped design, arena, study or race{note}"
        ) from None
    except OSError as error:
        raise NotFoundError(f"{name}: cannot be read: {error.strerror}") from None
