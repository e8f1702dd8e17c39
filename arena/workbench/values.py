"""Every value of a design or an arena by its place in the file: in words, what it may be, and set by text."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from agents.design.rewriting import places_saying, plain_at, rewrite, rewrite_design
from agents.design.spec import Design
from agents.design.values_by_path import BOTH, SIDES, SPREAD, expanded, of_one
from agents.text.marked_yaml import KeyPath
from agents.text.shapes import Shape, field_table, keys_of, shape_at, shape_of
from agents.text.yaml_text import NONE, layout_of, plain_of
from arena.scene.spec import ArenaSpec
from arena.workbench.documents import Document, read_spec
from arena.workbench.value_lines import (
    TOLERANCE_EXPECTED,
    expected_line,
    line_of,
    model_of,
    values_in,
)

VALUE, LINE, ROWS = "value", "line", "rows"
"""How a row is written: as a value, as keys and values in a line, or row by row in a list of its own."""


@dataclass(frozen=True)
class ValueRow:
    """One value: where its file gives it, its title, what it is, what it may be, and what it is about.

    Its ``form`` is that of a single value, of a whole part in one line, or of a list of such parts.
    """

    room: str
    place: KeyPath
    title: str
    shown: str
    expected: str
    about: str
    form: str = VALUE


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
        about = "tolerance; none takes it out"
        line = line_of(values_in(tolerance))
        rows.append(ValueRow(SPREAD, (SPREAD, part), part, line, TOLERANCE_EXPECTED, about, LINE))
    return rows


def arena_rows(spec: ArenaSpec, path: KeyPath) -> list[ValueRow]:
    """All values of the thing at ``path``, like ``("lamps", 0, "place")``, then those of the whole arena."""
    rows: list[ValueRow] = []
    number = next((place for place, key in enumerate(path) if isinstance(key, int)), None)
    if number is not None:
        item, held = path[: number + 1], ".".join(map(str, path[:number]))
        for row in field_table(ArenaSpec):
            first, _, below = row.key.partition("[].")
            if below and first == held and "[]" not in below:
                place = (*item, *below.split("."))
                rows += _row(
                    ArenaSpec, spec, place, held, below.replace(".", " "), row.range, row.description
                )
        shape = shape_at(ArenaSpec, item)
        assert shape is not None
        about = "all of it at once: what stands there in its file, in one line; none takes it out"
        words = line_of(values_in(value_of(spec, item)))
        rows.append(ValueRow(held, item, "all of it, in a line", words, expected_line(shape), about, LINE))
    for row in field_table(ArenaSpec):
        if "[]" not in row.key:
            place = tuple(row.key.split("."))
            room = str(place[0]) if len(place) > 1 else "all"
            rows += _row(ArenaSpec, spec, place, room, row.title or row.key, row.range, row.description)
    return rows


def list_rows(spec: BaseModel, row: ValueRow) -> list[ValueRow]:
    """The rows of the list that a ``row`` stands for, each in one line."""
    held = value_of(spec, of_one(row.place)) or ()
    return [
        ValueRow(
            row.room, (*row.place, number), f"row {number + 1}", line_of(values_in(one)), row.expected,
            "none takes it out", LINE,
        )
        for number, one in enumerate(held)
    ]  # fmt: skip


def _row(
    model: type[BaseModel], spec: BaseModel, place: KeyPath, room: str, title: str, limits: str, about: str
) -> Iterator[ValueRow]:
    shape = shape_at(model, of_one(place))
    if shape is None or shape.entry is not None:
        # a map is told by what is in it
        return
    about = "; ".join(filter(None, (about, limits)))
    if shape.item is not None:
        if shape_of(shape.item).model is not None and not _lies_on_plan(model, place):
            yield ValueRow(room, place, title, _counted(spec, place), expected_line(shape), about, ROWS)
        return
    can_go = shape.may_be_none or _is_optional(model, place)
    if shape.model is None:
        expected = f"{shape.expected}; or none" if can_go and not shape.may_be_none else shape.expected
        yield ValueRow(room, place, title, _shown(shape, spec, place), expected, about)
    elif can_go and not _lies_on_plan(model, place):
        about = "; ".join(filter(None, (about, "none leaves it out")))
        yield ValueRow(room, place, title, _shown(shape, spec, place), expected_line(shape), about, LINE)


def _lies_on_plan(model: type[BaseModel], place: KeyPath) -> bool:
    """Whether things on the plan are told there, each of which has a list of its own."""
    return model is ArenaSpec and place[0] not in ("sun", "ambient", "air")


def _is_optional(model: type[BaseModel], place: KeyPath) -> bool:
    """Whether a file may leave out what stands at ``place``, which is then none."""
    holder = shape_at(model, of_one(place)[:-1])
    field = keys_of(holder.model).get(str(place[-1])) if holder is not None and holder.model else None
    return field is not None and field.default is None


def _counted(spec: BaseModel, place: KeyPath) -> str:
    counts = {len(value_of(spec, (side, *place[1:])) or ()) for side in _sides(place)}
    return " / ".join(f"{count} row{'s' * (count != 1)}" if count else "none" for count in sorted(counts))


def _sides(place: KeyPath) -> Sequence[str | int]:
    return SIDES if place[0] == BOTH else (place[0],)


def _shown(shape: Shape, spec: BaseModel, place: KeyPath) -> str:
    told = [_words(shape, value_of(spec, (side, *place[1:]))) for side in _sides(place)]
    return " / ".join(dict.fromkeys(told))


def _words(shape: Shape, value: Any) -> str:
    if value is None:
        return "none"
    if shape.model is not None:
        return line_of(values_in(value))
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

    It is read like any file; ``none`` takes out what may be left out. Raises SpecError, which tells the line,
    and WorkError.
    """
    plain = plain_of(layout_of(document.text).root)
    model = model_of(document)
    places: Sequence[KeyPath] = places_saying(plain, place) if document.kind == "design" else [place]
    shape = shape_at(model, of_one(place))
    value: str | None = typed
    if typed.strip().lower() == NONE and _is_optional(model, place) and not (shape and shape.may_be_none):
        value, places = None, [one for one in places if plain_at(plain, one) is not None]
    text = rewrite(document.text, dict.fromkeys(places, value), model)
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
