"""Reading a YAML file into a spec, with every fault of the file reported at its place.

A file begins with a line that says what it is, like ``photodrome: design 1``: the kind and the version of its
form. Checks within a spec that concern several keys raise :class:`KeyedError` with the path of the key at
which the fault is to be shown, relative to the model that raises it.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from agents.errors import Fault, SpecError, nearest, refusal
from agents.text.marked_yaml import KeyPath, Mark, Node, load_marked, parse_marked, path_text
from agents.text.readers import with_article
from agents.text.shapes import (
    keys_of,
    nearest_key,
    shape_at,
)

# The kinds of files and the version of each that this program reads.
VERSIONS = {"design": 1, "arena": 1, "study": 1, "drawer": 1, "race": 1}

# A longer name leaves no room for anything else in a table or a picture.
LONGEST_NAME = 40

Spec = TypeVar("Spec", bound=BaseModel)


class KeyedError(ValueError):
    """A fault that a spec's own check found, at the path of a key relative to that spec."""

    def __init__(self, path: KeyPath, got: str, expected: str, near: str = "") -> None:
        self.path, self.got, self.expected, self.near = path, got, expected, near
        super().__init__(f"{path_text(path)}: {refusal(got, expected)}")


class KeyedErrors(ValueError):  # noqa: N818 - several of them, hence the plural
    """Several of them, so that one check can report all it found."""

    def __init__(self, errors: Iterable[KeyedError]) -> None:
        self.errors = list(errors)
        super().__init__("; ".join(str(error) for error in self.errors))


@dataclass(frozen=True)
class _Finding:
    """A fault together with where in the tree it was found, and whether a check of several keys found it."""

    fault: Fault
    location: KeyPath
    is_unknown_key: bool
    is_check: bool


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
    return _checked(str(path), load_marked(Path(path), str(path)), model, kind, prepare)


def parse_document(
    text: str,
    file: str,
    model: type[Spec],
    kind: str,
    prepare: Callable[[Node], Node] | None = None,
) -> Spec:
    """As :func:`read_document` for the text of a file; ``file`` is what faults call it."""
    return _checked(file, parse_marked(text, file), model, kind, prepare)


def _checked(
    file: str,
    loaded: tuple[Node, list[Fault]],
    model: type[Spec],
    kind: str,
    prepare: Callable[[Node], Node] | None,
) -> Spec:
    tree, faults = loaded
    if not isinstance(tree.value, dict):
        expected = f"a map of keys, the first of them photodrome: {kind} {VERSIONS[kind]}"
        raise SpecError([*faults, _fault_at(file, tree, (), tree.describe(), expected)])
    faults += _check_kind(file, tree, kind)
    faults += _check_names(file, tree)
    body = Node({key: node for key, node in tree.value.items() if key != "photodrome"}, tree.mark)
    try:
        body = prepare(body) if prepare else body
        spec = model.model_validate(body.plain())
    except (KeyedError, KeyedErrors) as error:
        raise SpecError(faults + [finding.fault for finding in _keyed(file, body, (), error)]) from None
    except ValidationError as error:
        findings = list(_findings(file, body, model, error))
        findings += _behind(file, body, model, findings)
        raise SpecError(_distinct(faults + [finding.fault for finding in findings])) from None
    if faults:
        raise SpecError(faults)
    return spec


def _check_kind(file: str, tree: Node, kind: str) -> list[Fault]:
    """Return the fault of a missing first line; raise SpecError where the file is of another sort."""
    wanted = f"{kind} {VERSIONS[kind]}"
    node = tree.child("photodrome")
    if node is None:
        return [_fault_at(file, tree, ("photodrome",), "nothing", f"a first line photodrome: {wanted}")]
    text = node.value if isinstance(node.value, str) else ""
    match = re.fullmatch(r"([a-z]+) ([0-9]{1,6})", text)
    if match is None or match[1] not in VERSIONS:
        fault = _fault_at(file, node, (), node.describe(), wanted)
    elif match[1] != kind:
        fault = _fault_at(file, node, (), f"{with_article(match[1])} file", f"{with_article(kind)} file")
    elif int(match[2]) > VERSIONS[kind]:
        got = f"version {match[2]}, which a newer photodrome has written"
        fault = _fault_at(file, node, (), got, f"version {VERSIONS[kind]}")
    elif int(match[2]) != VERSIONS[kind]:
        fault = _fault_at(file, node, (), node.describe(), wanted)
    else:
        return []
    raise SpecError([fault])


def _check_names(file: str, tree: Node) -> Iterator[Fault]:
    """Yield the fault of every text under a key ``name`` or ``team`` that would not do as a name."""
    for key, node in tree.children():
        if key in ("name", "team") and isinstance(node.value, str) and node.value:
            is_one_line = not set("\t\n") & set(node.value)
            if not (node.value.strip() and is_one_line and len(node.value) <= LONGEST_NAME):
                expected = f"a name in one line, of at most {LONGEST_NAME} characters"
                yield _fault_at(file, node, (), node.describe(), expected)
        yield from _check_names(file, node)


def _locate(tree: Node, location: KeyPath) -> tuple[Node, KeyPath]:
    """Return the deepest node on the way to a location, and what is left of the way."""
    node = tree
    for number, key in enumerate(location):
        below = node.child(key)
        if below is None:
            return node, location[number:]
        node = below
    return node, ()


def _fault_at(
    file: str, node: Node, rest: KeyPath, got: str, expected: str, near: str = "", mark: Mark | None = None
) -> Fault:
    """Build a fault: at a text itself, at the key of a map or list, at the holder of what is missing."""
    mark = mark or (node.mark if isinstance(node.value, str) else node.place)
    return Fault(file, mark.line, mark.column, path_text((*node.path, *rest)), got, expected, near)


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
    node, rest = _locate(tree, path)
    return _fault_at(file, node, rest, got, expected, near, node.place if at_key else None)


def _keyed(file: str, tree: Node, location: KeyPath, error: KeyedError | KeyedErrors) -> Iterator[_Finding]:
    for one in error.errors if isinstance(error, KeyedErrors) else [error]:
        place = (*location, *one.path)
        node, rest = _locate(tree, place)
        yield _Finding(_fault_at(file, node, rest, one.got, one.expected, one.near), place, False, True)


def _findings(file: str, tree: Node, model: type[BaseModel], error: ValidationError) -> Iterator[_Finding]:
    """Translate what pydantic found."""
    for detail in error.errors(include_url=False, include_input=False):
        location, context = detail["loc"], detail.get("ctx", {})
        cause = context.get("error")
        if isinstance(cause, KeyedError | KeyedErrors):
            yield from _keyed(file, tree, location, cause)
            continue
        node, rest = _locate(tree, location)
        unknown = detail["type"] == "extra_forbidden"
        if unknown:
            also = ("photodrome",) if len(location) == 1 else ()
            near = nearest_key(model, location, also)
            beside = shape_at(model, location[:-1])
            expected = (
                f"one of {', '.join(keys_of(beside.model))}" if beside and beside.model else "no such key"
            )
            fault = _fault_at(file, node, rest, "an unknown key", expected, near, node.place)
        elif detail["type"] == "photodrome":
            shape = shape_at(model, location)
            expected = context["expected"] + ("; or none" if shape and shape.may_be_none else "")
            fault = _fault_at(file, node, rest, context["got"], expected, context["near"])
        else:
            got = "nothing" if rest else node.describe()
            shape = shape_at(model, location)
            near = nearest(str(node.value), shape.words) if shape else ""
            fault = _fault_at(file, node, rest, got, _expected(model, location, detail), near)
        yield _Finding(fault, location, unknown, False)


def _expected(model: type[BaseModel], location: KeyPath, detail: Any) -> str:
    sort = detail["type"]
    shape = shape_at(model, location)
    is_plain = sort == "missing" or sort.endswith("_type") or sort == "literal_error"
    if shape and (is_plain or sort == "string_too_short"):
        return shape.expected
    message = str(detail["msg"])
    for opening in ("Value error, ", "Input should ", "Value should "):
        message = message.removeprefix(opening)
    return message


def _behind(file: str, tree: Node, model: type[BaseModel], findings: list[_Finding]) -> Iterable[_Finding]:
    """Find what the faults so far hid from the checks of several keys.

    pydantic runs such a check only where all the keys are right. So the faulty items of lists, and unknown
    keys, are taken out and the rest is checked again. What that check says about the places that were thinned
    out is not to be trusted, and is left away; a fault outside of lists leaves nothing sound to check.
    """
    removed: set[KeyPath] = set()
    doubtful: set[KeyPath] = set()
    for finding in findings:
        indices = [number for number, key in enumerate(finding.location) if isinstance(key, int)]
        if finding.is_unknown_key:
            removed.add(finding.location)
            near = finding.fault.near
            doubtful.add((*finding.location[:-1], near) if near else finding.location)
        elif indices:
            removed.add(finding.location[: indices[-1] + 1])
            doubtful.add(finding.location[: indices[-1] + 1])
        else:
            return []
    thinned = _without(tree, removed, ())
    try:
        model.model_validate(thinned.plain())
    except ValidationError as error:
        return [
            found
            for found in _findings(file, thinned, model, error)
            if found.is_check
            and not any(place[: len(found.location)] == found.location for place in doubtful)
        ]
    return []


def _without(node: Node, removed: set[KeyPath], location: KeyPath) -> Node:
    kept = {key: below for key, below in node.children() if (*location, key) not in removed}
    below = {key: _without(one, removed, (*location, key)) for key, one in kept.items()}
    if isinstance(node.value, str):
        return node
    value: Any = below if isinstance(node.value, dict) else list(below.values())
    return Node(value, node.mark, node.path, node.key_mark)


def _distinct(faults: list[Fault]) -> list[Fault]:
    """Drop repetitions: text that is merged into several places is reported once."""
    return list(dict.fromkeys(faults))
