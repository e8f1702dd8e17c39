"""The entries of a race: every design in a folder, or of a pattern of files, each read by itself.

A file that cannot be used is scratched with its faults, and the others race. A file is read once; whatever
becomes of it afterwards changes nothing in the race.
"""

import glob
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from agents.design.spec import Design, parse_design
from agents.errors import InputError, NotFoundError, OptionError, SpecError
from agents.text.marked_yaml import parse_marked, read_text
from agents.text.shipped import find_document
from agents.text.spec_reading import LONGEST_NAME, VERSIONS
from arena.races.results import Entry, Scratching
from arena.scene.elements import MOST_WALKERS

ENDINGS = (".yaml", ".yml")
_WILD = "*?["


@dataclass(frozen=True)
class EntryList:
    """Who is entered, who is scratched, and who is left aside since it is no design at all.

    ``twins`` are groups of entries, by number, that are the same walker but for name and words.
    """

    entries: tuple[Entry, ...]
    scratched: tuple[Scratching, ...]
    aside: tuple[str, ...]
    twins: tuple[tuple[int, ...], ...]


def is_several(name: str) -> bool:
    """Whether ``name`` is a folder or a pattern of files, and no single file."""
    path = Path(name)
    # an empty name would mean the folder of the moment
    return bool(name) and (path.is_dir() or (not path.exists() and any(letter in name for letter in _WILD)))


def matching_files(name: str) -> list[Path]:
    """The YAML files of a folder or of a pattern like ``walkers/*.yaml``, by name; or one file.

    That is the file ``name``, or the shipped design of that name.

    Raises NotFoundError where there is none, or where the folder cannot be looked into.
    """
    path = Path(name)
    try:
        if name and path.is_dir():
            found = [one for one in path.iterdir() if one.suffix.lower() in ENDINGS]
        elif is_several(name):
            found = [Path(one) for one in glob.glob(name, recursive=True)]  # noqa: PTH207 - any pattern
            found = [one for one in found if one.suffix.lower() in ENDINGS]
        elif name and (path.exists() or path.is_symlink() or path.name != name):
            return [path]
        elif path.suffix.lower() in ENDINGS:
            raise NotFoundError(f"{name}: no such file")
        else:
            return [_shipped(name)]
    except (OSError, ValueError) as error:
        raise NotFoundError(f"{name}: cannot be looked into ({error})") from None
    # what begins with a dot is hidden, and a folder may be called anything
    found = [one for one in found if not one.name.startswith(".") and not one.is_dir()]
    if not found:
        what = "a folder without a YAML file" if path.is_dir() else "no YAML file goes by this pattern"
        raise NotFoundError(f"{name}: {what}; put a design's file there for each walker")
    return sorted(found, key=lambda one: (one.name, str(one)))


def _shipped(name: str) -> Path:
    """The shipped design of a name. Raises NotFoundError, which tells that there is no such folder either."""
    try:
        return find_document(name, "design")
    except NotFoundError as error:
        told = str(error).removeprefix(f"{name!r}: ")
        raise NotFoundError(f"{name}: no such folder or file here, and {told}") from None


def read_entries(names: Sequence[str]) -> EntryList:
    """Read the entries of folders, patterns and files.

    Raises NotFoundError where nothing is to be found, OptionError for more entries than an arena takes.
    """
    paths: dict[str, Path] = {}
    for name in names:
        for path in matching_files(name):
            # the same file by two patterns is entered once; a link beside its file is an entry of its own
            paths.setdefault(os.path.abspath(path), path)  # noqa: PTH100 - resolve() would follow links
    if len(paths) > MOST_WALKERS:
        raise OptionError(f"{len(paths)} files are entered; the most is {MOST_WALKERS}")
    read: list[tuple[Path, Design, str]] = []
    scratched: list[Scratching] = []
    aside: list[str] = []
    for path in paths.values():
        try:
            text = read_text(path, str(path))
            other = other_kind(text)
            if other:
                aside.append(f"{path.name}: left aside, for it is of the kind {other}")
            else:
                read.append((path, parse_design(text, str(path)), text))
        except SpecError as error:
            scratched.append(Scratching(path.name, tuple(error.lines())))
        except InputError as error:
            where = "a link that leads nowhere" if path.is_symlink() and not path.exists() else str(error)
            scratched.append(Scratching(path.name, (where,)))
    entries = _named(read)
    return EntryList(entries, tuple(scratched), tuple(aside), _twins(entries))


def sound_files(name: str) -> tuple[list[str], list[str]]:
    """The paths of the sound designs of a folder or pattern, and in lines why its other files are left out.

    Raises NotFoundError where there is no file, OptionError where no design is sound.
    """
    listed = read_entries([name])
    told = [f"left out: {one.file}: {reason}" for one in listed.scratched for reason in one.reasons]
    told += listed.aside
    if not listed.entries:
        raise OptionError("\n".join([f"{name}: holds no design that can be used", *told]))
    paths = {path.name: str(path) for path in matching_files(name)}
    # a bare file name would be looked for among the shipped ones
    return [os.path.join(".", paths[one.file]) for one in listed.entries], told  # noqa: PTH118


def other_kind(text: str) -> str:
    """The kind that the first line of a YAML text names where that is no design; else empty."""
    try:
        node = parse_marked(text, "")[0].child("photodrome")
    except SpecError:
        return ""
    word = node.value.split(" ")[0] if node is not None and isinstance(node.value, str) else ""
    return word if word in VERSIONS and word != "design" else ""


def _named(read: Sequence[tuple[Path, Design, str]]) -> tuple[Entry, ...]:
    """Entries with names of their own: those that share one have the names of their files beside it."""
    shared: dict[str, int] = {}
    for _, design, _ in read:
        shared[design.name.strip()] = shared.get(design.name.strip(), 0) + 1
    taken: set[str] = {name for name, count in shared.items() if count == 1}
    entries = []
    for number, (path, design, text) in enumerate(read):
        name = design.name.strip()
        if shared[name] > 1:
            name = _own_name(name, path.stem, taken)
            taken.add(name)
        own = design.model_copy(update={"name": name})
        entries.append(Entry(number, path.name, name, design.team or "", own, text))
    return tuple(entries)


def _own_name(name: str, stem: str, taken: set[str]) -> str:
    for turn in range(1, MOST_WALKERS + 2):
        ending = f" ({stem[: LONGEST_NAME // 2]})" if turn == 1 else f" ({turn})"
        own = name[: LONGEST_NAME - len(ending)] + ending
        if own not in taken:
            return own
    raise AssertionError("more names than entries")


def _twins(entries: Sequence[Entry]) -> tuple[tuple[int, ...], ...]:
    groups: list[tuple[Design, list[int]]] = []
    for entry in entries:
        bare = entry.design.model_copy(update={"name": "-", "about": None, "team": None})
        for same, numbers in groups:
            if same == bare:
                numbers.append(entry.number)
                break
        else:
            groups.append((bare, [entry.number]))
    return tuple(tuple(numbers) for _, numbers in groups if len(numbers) > 1)


def with_broken_rules(entry: Entry, broken: Sequence[str]) -> Entry:
    """The entry, racing out of competition where it breaks rules."""
    return replace(entry, broken_rules=tuple(broken))
