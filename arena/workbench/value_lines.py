"""Whole parts, rows of lists and tolerances as one line of text: shown, read, and set in a file.

Such a line holds what stands under a key, like ``length 50 mm, outward 35 deg``: keys of the file with their
values, with commas between, as in braces of YAML but for the colon, which may be left out.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import yaml
from pydantic import BaseModel

from agents.design.rewriting import places_saying, plain_at, rewrite
from agents.design.spec import Design, part_reader
from agents.design.values_by_path import of_one
from agents.errors import WorkError
from agents.text.marked_yaml import KeyPath
from agents.text.shapes import Shape, keys_of, shape_at, shape_of
from agents.text.yaml_text import NONE, flow_text, layout_of, plain_of
from arena.scene.spec import ArenaSpec
from arena.workbench.documents import Document, design_of, read_spec
from arena.workbench.plan_text import with_item, without_item

TOLERANCE_EXPECTED = "uniform 5 %, or normal 30 mV, or normal 3 %, bound 8 %"
"""What the line of a tolerance looks like."""

_LIKE = "length 50 mm, outward 35 deg"

ROWS_APART = ";"
"""What stands between rows that are written in one go."""


def values_in(part: BaseModel | None) -> dict[str, str]:
    """The values of a part by their keys, as a file gives them; those that it leaves out are left out."""
    if part is None:
        return {}
    given: dict[str, str] = {}
    for key, name in zip(keys_of(type(part)), type(part).model_fields, strict=True):
        shape, value = shape_at(type(part), (key,)), getattr(part, name)
        if shape is None or value is None or shape.model is not None or shape.item is not None:
            continue
        if shape.entry is None:
            given[key] = shape.reader.show(value) if shape.reader is not None else str(value)
    return given


def line_of(given: Mapping[str, str]) -> str:
    """Values by their keys in one line.

    >>> line_of({"length": "50 mm", "outward": "35 deg"})
    'length 50 mm, outward 35 deg'
    """
    return ", ".join(f"{key} {_quoted(value)}" for key, value in given.items())


def _quoted(value: str) -> str:
    written = flow_text([{"k": value}])
    return written.removeprefix("[{k: ").removesuffix("}]")


def read_line(typed: str) -> dict[str, str]:
    """The values of a line by their keys. Raises WorkError.

    >>> read_line("length: 50 mm, outward 35 deg")
    {'length': '50 mm', 'outward': '35 deg'}
    """
    text = typed.strip()
    if not text.startswith("{"):
        text = f"{{{text}}}"
    try:
        plain = plain_of(layout_of(text).root)
    except (yaml.YAMLError, TypeError) as error:
        raise WorkError(
            f"{typed!r} is no line of keys and values, like length 50 mm, outward 35 deg"
        ) from error
    given: dict[str, str] = {}
    for key, value in plain.items() if isinstance(plain, dict) else ():
        name, _, rest = key.partition(" ")
        if not isinstance(value, str) or not (value or rest):
            raise WorkError(f"{key!r} in that line: a key and its value are expected, like length 50 mm")
        key, value = (key, value) if value else (name, rest.strip())
        if key in given:
            raise WorkError(f"{key} stands twice in that line")
        given[key] = value
    if not given:
        raise WorkError(f"keys and values are expected, like {_LIKE}")
    return given


def read_rows(typed: str) -> list[dict[str, str]]:
    """The values of several lines. Raises WorkError."""
    return [read_line(one) for one in typed.split(ROWS_APART) if one.strip()]


def with_line(document: Document, place: KeyPath, shown: Mapping[str, str], typed: str) -> str:
    """The text of a document with a part as a line says, which was ``shown`` as those values before.

    ``none`` leaves the part out, or takes the item out of its list. Only what differs is written. It is read
    like any file. Raises SpecError and WorkError.
    """
    model = model_of(document)
    text = document.text
    if typed.strip().lower() == NONE:
        return _read(document, _left_out(document, place, model))
    given = read_line(typed)
    for one in _places(document, place):
        there = plain_at(plain_of(layout_of(text).root), one)
        changed: dict[KeyPath, Any] = {
            (*one, key): value for key, value in given.items() if shown.get(key) != value
        }
        gone = [key for key in shown if key not in given and isinstance(there, dict) and key in there]
        text = rewrite(text, changed | {(*one, key): None for key in gone}, model)
    return _read(document, text)


def _left_out(document: Document, place: KeyPath, model: type[BaseModel]) -> str:
    text = document.text
    shape = shape_at(model, of_one(place))
    for one in _places(document, place):
        plain = plain_of(layout_of(text).root)
        if isinstance(one[-1], int):
            text = without_item(text, one[:-1], one[-1], model)
        elif shape is not None and shape.may_be_none:
            text = rewrite(text, {one: NONE}, model)
        elif plain_at(plain, one) is None:
            raise WorkError("this file does not say it, so there is nothing to leave out")
        else:
            text = rewrite(text, {one: None}, model)
    return text


def with_rows(document: Document, place: KeyPath, typed: str) -> str:
    """The text of a document with more rows at the end of a list. Raises SpecError and WorkError."""
    model, text = model_of(document), document.text
    for one in _places(document, place):
        for row in read_rows(typed):
            text = with_item(text, one, row, model)
    return _read(document, text)


def parts_without_tolerance(document: Document, scope: str) -> list[str]:
    """Paths of the numbers of a design, on the sides in ``scope``, of which no tolerance is given yet."""
    design = design_of(document)
    found = []
    for path in _number_paths(Shape(model=Design), ()):
        text = ".".join((scope, *path[1:]) if path[0] == "left" else path)
        if path[0] != "right" and text not in design.spread and design.value_at(".".join(path)) is not None:
            found.append(text)
    return found


def _number_paths(shape: Shape, path: tuple[str, ...]) -> Sequence[tuple[str, ...]]:
    if shape.model is not None:
        below = ((key, shape_at(shape.model, (key,))) for key in keys_of(shape.model))
        return [one for key, inner in below if inner for one in _number_paths(inner, (*path, key))]
    return [path] if part_reader(".".join(path)) is not None else []


def expected_line(shape: Shape) -> str:
    """What a line of a part, or of a row of a list, looks like."""
    model = (shape_of(shape.item) if shape.item is not None else shape).model
    if model is None:
        return shape.expected
    told = []
    for key, field in keys_of(model).items():
        inner = shape_at(model, (key,))
        if inner is not None and inner.model is None and inner.item is None and inner.entry is None:
            told.append(key if field.is_required() else f"[{key}]")
    return f"keys with their values, commas between: {', '.join(told)}"


def model_of(document: Document) -> type[BaseModel]:
    """What the file of a document is read as."""
    return Design if document.kind == "design" else ArenaSpec


def _places(document: Document, place: KeyPath) -> Sequence[KeyPath]:
    if document.kind != "design":
        return [place]
    return places_saying(plain_of(layout_of(document.text).root), place)


def _read(document: Document, text: str) -> str:
    read_spec(document.kind, text, document.path.name)
    return text
