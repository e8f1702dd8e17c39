"""Every value of a design or an arena by its place in the file: in words, what it may be, and set by text."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from agents.design.rewriting import places_saying, plain_at, rewrite, rewrite_design
from agents.design.spec import Design
from agents.design.values_by_path import BOTH, SIDES, expanded
from agents.text.marked_yaml import KeyPath
from agents.text.shapes import Shape, field_table, shape_at
from agents.text.yaml_text import layout_of, plain_of
from arena.scene.spec import ArenaSpec
from arena.workbench.documents import Document, read_spec


@dataclass(frozen=True)
class ValueRow:
    """One value: where its file gives it, its title, what it is, what it may be, and what it is about."""

    room: str
    place: KeyPath
    title: str
    shown: str
    expected: str
    about: str


def design_rows(design: Design, scope: str) -> list[ValueRow]:
    """All values of a design, those of the sides in a ``scope``, room by room as a file gives them."""
    rows: list[ValueRow] = []
    for row in field_table(Design):
        first, _, below = row.key.partition(".")
        if first == SIDES[1] or "[]" in row.key or first == "spread":
            continue
        place = (scope, *below.split(".")) if first == SIDES[0] else tuple(row.key.split("."))
        if first == SIDES[0] and not below:
            continue
        room = "all" if not below else scope if first == SIDES[0] else first
        title = row.title.removeprefix(f"{first} ") if below else row.title or row.key
        rows += _row(Design, design, place, room, title, row.range, row.description)
    for part, tolerance in design.spread.items():
        for word in type(tolerance).model_fields:
            rows += _row(Design, design, ("spread", part, word), "spread", f"{part} {word}", "", "tolerance")
    return rows


def arena_rows(spec: ArenaSpec, path: KeyPath) -> list[ValueRow]:
    """All values of the thing at ``path``, like ``("lamps", 0, "place")``, then those of the whole arena."""
    rows: list[ValueRow] = []
    is_item = len(path) > 1 and isinstance(path[1], int)
    for row in field_table(ArenaSpec):
        first, _, below = row.key.partition("[].")
        if below and is_item and first == path[0] and "[]" not in below:
            place = (*path[:2], *below.split("."))
            rows += _row(
                ArenaSpec, spec, place, str(path[0]), below.replace(".", " "), row.range, row.description
            )
    for row in field_table(ArenaSpec):
        if "[]" not in row.key:
            place = tuple(row.key.split("."))
            room = str(place[0]) if len(place) > 1 else "all"
            rows += _row(ArenaSpec, spec, place, room, row.title or row.key, row.range, row.description)
    return rows


def _row(
    model: type[BaseModel], spec: BaseModel, place: KeyPath, room: str, title: str, limits: str, about: str
) -> Iterator[ValueRow]:
    shape = shape_at(model, _one_side(place))
    if shape is None or (shape.model is not None and not shape.may_be_none) or shape.item is not None:
        # a map is told by what is in it, and a list is not written in a line
        return
    if shape.entry is not None:
        return
    expected = shape.expected if shape.model is None else "none; a value in it puts it back"
    yield ValueRow(
        room, place, title, _shown(shape, spec, place), expected, "; ".join(filter(None, (about, limits)))
    )


def _one_side(place: KeyPath) -> KeyPath:
    return (SIDES[0], *place[1:]) if place[0] == BOTH else place


def _shown(shape: Shape, spec: BaseModel, place: KeyPath) -> str:
    sides = SIDES if place[0] == BOTH else (place[0],)
    return " / ".join(dict.fromkeys(_words(shape, value_of(spec, (side, *place[1:]))) for side in sides))


def _words(shape: Shape, value: Any) -> str:
    if value is None:
        return "none"
    if shape.model is not None:
        return "there"
    return shape.reader.show(value) if shape.reader is not None else str(value)


def value_of(spec: Any, place: KeyPath) -> Any:
    """What a spec holds at a place of its file; None where it leaves it out."""
    for key in place:
        if spec is None:
            return None
        if isinstance(key, int):
            spec = spec[key] if key < len(spec) else None
        elif isinstance(spec, dict):
            spec = spec.get(key)
        else:
            fields = type(spec).model_fields
            spec = getattr(spec, next((name for name, one in fields.items() if one.alias == key), str(key)))
    return spec


def with_text(document: Document, place: KeyPath, typed: str) -> str:
    """The text of a document with ``typed`` at a place, for both sides wherever the file says them.

    It is read like any file. Raises SpecError, which tells the line, and WorkError.
    """
    plain = plain_of(layout_of(document.text).root)
    model: type[BaseModel] = Design if document.kind == "design" else ArenaSpec
    places: Sequence[KeyPath] = places_saying(plain, place) if document.kind == "design" else [place]
    text = rewrite(document.text, dict.fromkeys(places, typed), model)
    read_spec(document.kind, text, document.path.name)
    return text


def as_in_file(document: Document, place: KeyPath) -> str:
    """The text of a document with what stands at a place as it was last read or saved.

    Where the file does not say it, its usual value is written. Raises SpecError and WorkError.
    """
    first = read_spec(document.kind, document.clean, document.path.name)
    text = document.text
    if isinstance(first, Design):
        for path in expanded(".".join(map(str, place))) if place[0] != "spread" else ():
            text = rewrite_design(text, {path: value_of(first, tuple(path.split(".")))})
    else:
        plain = plain_at(plain_of(layout_of(document.clean).root), place)
        if plain is not None and plain_at(plain_of(layout_of(text).root), place) is not None:
            text = rewrite(text, {place: plain}, ArenaSpec)
    now = read_spec(document.kind, text, document.path.name)
    return document.clean if now == first else text
