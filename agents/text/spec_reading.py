"""Reading a YAML file into a spec, with every fault of the file reported at its place.

A file begins with a line that says what it is, like ``photodrome: design 1``: the kind and the version of its
form. Checks within a spec that concern several keys are marked by
:func:`~agents.text.keyed_errors.cross_check`.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from agents.errors import MOST_FAULTS, Fault, SpecError, nearest
from agents.text.keyed_errors import KeyedError as KeyedError
from agents.text.keyed_errors import KeyedErrors as KeyedErrors
from agents.text.marked_yaml import KeyPath, Node, parse_marked, read_text
from agents.text.partial_reading import Finding, PartialReading, chosen, locate, place_fault
from agents.text.readers import with_article

# The kinds of files and the version of each that this program reads.
VERSIONS = {"design": 1, "arena": 1, "study": 1, "drawer": 1, "race": 1}

# A longer name leaves no room for anything else in a table or a picture.
LONGEST_NAME = 40

Spec = TypeVar("Spec", bound=BaseModel)


@dataclass(frozen=True)
class Parts:
    """What could be read of a file.

    ``spec`` is whole where there are no faults; else a part that could not be read is missing, and to ask for
    it raises UnreadError. ``more`` tells how many faults there are beside the first ones, ``faults``.
    """

    spec: Any
    tree: Node
    faults: list[Fault]
    more: int = 0

    @property
    def is_sound(self) -> bool:
        """Whether nothing is wrong with the file."""
        return not self.faults


def read_document(
    path: str | Path,
    model: type[Spec],
    kind: str,
    prepare: Callable[[Node], Node] | None = None,
) -> Spec:
    """Read a file into ``model``.

    ``kind`` is a key of :data:`VERSIONS`. ``prepare`` may rearrange the tree before it is checked, for
    instance with :func:`merge_marked`; a fault is reported once, where its text was written. Raises SpecError
    with all faults of the file, and NotFoundError.
    """
    return parse_document(read_text(Path(path), str(path)), str(path), model, kind, prepare)


def parse_document(
    text: str,
    file: str,
    model: type[Spec],
    kind: str,
    prepare: Callable[[Node], Node] | None = None,
) -> Spec:
    """As :func:`read_document` for the text of a file; ``file`` is what faults call it."""
    parts = parse_parts(text, file, model, kind, prepare)
    if not parts.is_sound:
        raise SpecError(parts.faults, parts.more)
    spec: Spec = parts.spec
    return spec


def parse_parts(
    text: str,
    file: str,
    model: type[BaseModel],
    kind: str,
    prepare: Callable[[Node], Node] | None = None,
) -> Parts:
    """As :func:`parse_document`, with all that could be read where there are faults.

    Raises SpecError where nothing could: for broken YAML, and for a file of another kind.
    """
    tree, faults = parse_marked(text, file)
    if not isinstance(tree.value, dict):
        expected = f"a map of keys, the first of them photodrome: {kind} {VERSIONS[kind]}"
        raise SpecError([*faults, place_fault(file, tree, (), tree.describe(), expected)])
    faults += _check_kind(file, tree, kind, faults)
    faults += _check_names(file, tree)
    body = Node({key: node for key, node in tree.value.items() if key != "photodrome"}, tree.mark)
    body = prepare(body) if prepare else body
    try:
        spec, findings = model.model_validate(body.plain()), []
    except ValidationError as error:
        reading = PartialReading(file, body, model, ("photodrome",))
        spec, findings = reading.spec, reading.findings
        if not findings:
            findings = [*_of_the_whole(file, body, error)]
    return Parts(spec, tree, *chosen([*map(Finding, faults), *findings], MOST_FAULTS))


def _of_the_whole(file: str, body: Node, error: ValidationError) -> Iterator[Finding]:
    """What a check of the whole found that is no check of its parts."""
    for detail in error.errors(include_url=False, include_input=False):
        cause = detail.get("ctx", {}).get("error")
        if not isinstance(cause, KeyedError | KeyedErrors):
            cause = KeyedError((), "what cannot be", str(detail["msg"]))
        for one in cause.errors if isinstance(cause, KeyedErrors) else [cause]:
            node, rest = locate(body, (*detail["loc"], *one.path))
            yield Finding(place_fault(file, node, rest, one.got, one.expected, one.near))


def _check_kind(file: str, tree: Node, kind: str, faults: list[Fault]) -> list[Fault]:
    """Return the fault of a first line that is missing or misspelt.

    Raises SpecError, with the ``faults`` so far, where the file is of another sort.
    """
    wanted = f"{kind} {VERSIONS[kind]}"
    node = tree.child("photodrome")
    if node is None:
        return [place_fault(file, tree, ("photodrome",), "nothing", f"a first line photodrome: {wanted}")]
    text = node.value if isinstance(node.value, str) else ""
    word, _, version = text.partition(" ")
    if word in VERSIONS and word != kind:
        fault = place_fault(file, node, (), f"{with_article(word)} file", f"{with_article(kind)} file")
    elif word == kind and re.fullmatch("[0-9]{1,6}", version) and int(version) > VERSIONS[kind]:
        got = f"version {version}, which a newer photodrome has written"
        fault = place_fault(file, node, (), got, f"version {VERSIONS[kind]}")
    elif text == wanted:
        return []
    else:
        fault = place_fault(file, node, (), node.describe(), wanted)
        if not word or nearest(word, VERSIONS) == kind:
            return [fault]
    raise SpecError([*faults, fault])


def _check_names(file: str, tree: Node) -> Iterator[Fault]:
    """Yield the fault of every text under a key ``name`` or ``team`` that would not do as a name."""
    for key, node in tree.children():
        if key in ("name", "team") and isinstance(node.value, str) and node.value:
            is_one_line = not set("\t\n") & set(node.value)
            if not (node.value.strip() and is_one_line and len(node.value) <= LONGEST_NAME):
                expected = f"a name in one line, of at most {LONGEST_NAME} characters"
                yield place_fault(file, node, (), node.describe(), expected)
        yield from _check_names(file, node)


def fault_at(
    file: str,
    tree: Node,
    path: KeyPath,
    got: str,
    expected: str,
    near: str = "",
    at_key: bool = False,
) -> Fault:
    """Return a fault at a path of a tree, for checks that go beyond one model.

    It is shown at the text that stands there, or ``at_key`` at its key; at the nearest holder of what is
    missing.
    """
    node, rest = locate(tree, path)
    return place_fault(file, node, rest, got, expected, near, node.place if at_key else None)
