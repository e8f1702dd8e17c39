"""Values in frozen specs: read, set and listed by where they stand.

A *place* is a tuple of keys and of indices of lists, like ``("lamps", 0, "intensity")``. A *path* is the same
as people write it, with dots between; an item of a list goes by its name, or by its position from 1, like
``lamps.grow lamp.intensity``. A spec may have *derived* values beside its fields, such as where the middle of
a thing lies; who knows of them tells their names, and sets them.
"""

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping
from contextlib import suppress
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from agents.errors import InputError, refusal
from agents.text.keyed_errors import KeyedError, KeyedErrors, UnreadError
from agents.text.marked_yaml import KeyPath, path_text
from agents.text.shapes import Shape, keys_of, shape_at, shape_of

Model = TypeVar("Model", bound=BaseModel)
Path = TypeVar("Path", bound=Hashable)
Derived = Callable[[BaseModel], Collection[str]]
"""Names of the derived values that a part of a spec has."""


def value_at(spec: Any, place: KeyPath) -> Any:
    """Return what stands at a place; None where it, or a part on the way, is left out."""
    for key in place:
        if spec is None:
            return None
        spec = getattr(spec, key) if isinstance(key, str) else spec[key]
    return spec


def with_values(spec: Model, values: Mapping[KeyPath, Any]) -> Model:
    """Return the spec with ``values`` by place; nothing is checked but the places.

    A place ends in a key. Raises KeyError for one that is not there.
    """
    return next(in_turn(spec, [values], lambda place: (place,)))


def in_turn(
    spec: Model, rows: Iterable[Mapping[Path, Any]], places_of: Callable[[Path], Iterable[KeyPath]]
) -> Iterator[Model]:
    """Yield the spec with each of ``rows`` in place, as :func:`with_values` does, one after the other.

    ``places_of`` tells the places that a key of a row sets. It is the same object each time, and a value once
    set stays until it is set anew: this is for thousands of copies that are read off as they come.
    """
    spec = _own_copy(spec)
    own: dict[int, BaseModel] = {}
    holders: dict[Path, list[tuple[BaseModel, str]]] = {}
    for values in rows:
        for path, value in values.items():
            if path not in holders:
                holders[path] = [_holder(spec, place, own) for place in places_of(path)]
            for model, key in holders[path]:
                _set(model, key, value)
            if not isinstance(value, float):
                # other paths may have led into what stood there
                holders.clear()
        yield spec


def _own_copy(model: Model) -> Model:
    """Return a copy of a model, not of what it holds."""
    copy = model.model_copy()
    # what the model has worked out of its values and kept is copied too, and is about to be no longer true
    for name in set(copy.__dict__) - set(type(model).model_fields):
        del copy.__dict__[name]
    return copy


def _holder(model: BaseModel, place: KeyPath, own: dict[int, BaseModel]) -> tuple[BaseModel, str]:
    """Return the model and the key that a place leads to from a frozen model that is the caller's own.

    What that holds on the way is copied, unless it is in ``own`` by its id already.
    """
    way = list(place)
    while len(way) > 1:
        key = str(way.pop(0))
        held = model.__dict__[key]
        index = int(way.pop(0)) if isinstance(held, tuple) else None
        inner = held if index is None else held[index]
        if id(inner) not in own:
            inner = _own_copy(inner)
            own[id(inner)] = inner
            _set(model, key, inner if index is None else (*held[:index], inner, *held[index + 1 :]))
        model = inner
    last = str(way[0])
    if last not in type(model).model_fields:
        raise KeyError(last)
    return model, last


def _set(model: BaseModel, key: str, value: Any) -> None:
    model.__dict__[key] = value
    model.__pydantic_fields_set__.add(key)


def with_checked_values(spec: Model, values: Mapping[KeyPath, Any], name: str) -> Model:
    """Return the spec with ``values`` by place, each model on the way checked anew.

    An entry that a map of free keys lacks is made of what is set of it. Raises InputError with the reason,
    which ``name`` begins, where a check refuses what comes out.
    """
    try:
        rebuilt: Model = _rebuilt(spec, Shape(model=type(spec)), values, ())
    except _RefusedError as error:
        raise InputError(f"{name}: {error}") from None
    return rebuilt


class _RefusedError(ValueError):
    """A model that its own checks refuse."""


def _rebuilt(held: Any, shape: Shape, values: Mapping[KeyPath, Any], place: KeyPath) -> Any:
    if () in values:
        return values[()]
    below: dict[str | int, dict[KeyPath, Any]] = {}
    for keys, value in values.items():
        below.setdefault(keys[0], {})[keys[1:]] = value
    if isinstance(held, tuple):
        items = list(held)
        for key, inner in below.items():
            items[int(key)] = _rebuilt(items[int(key)], shape_of(shape.item), inner, (*place, key))
        return tuple(items)
    if isinstance(held, dict):
        entries = dict(held)
        for key, inner in below.items():
            entries[str(key)] = _rebuilt(entries.get(str(key)), shape_of(shape.entry), inner, (*place, key))
        return entries
    kind = shape.model
    assert kind is not None
    fields = {field: getattr(held, field) for field in kind.model_fields} if held is not None else {}
    for key, inner in below.items():
        field = shape_at(kind, (key,)) or Shape()
        fields[str(key)] = _rebuilt(fields.get(str(key)), field, inner, (*place, key))
    try:
        return kind.model_validate(fields)
    except ValidationError as error:
        raise _RefusedError("; ".join(_reasons(error, place))) from None


def _reasons(error: ValidationError, place: KeyPath) -> Iterator[str]:
    for detail in error.errors(include_url=False, include_input=False):
        context = detail.get("ctx", {})
        cause = context.get("error")
        keyed = cause.errors if isinstance(cause, KeyedErrors) else [cause]
        for one in keyed:
            if isinstance(one, KeyedError):
                where, got, expected = one.path, one.got, one.expected
            else:
                where, got = (), context.get("got", "an impossible value")
                expected = context.get("expected", detail["msg"])
            text = path_text((*place, *detail["loc"], *where))
            yield f"{text}: {refusal(got, expected)}" if text else refusal(got, expected)


def _none_derived(_: BaseModel) -> Collection[str]:
    return ()


def place_at(spec: BaseModel, path: str, derived: Derived = _none_derived) -> KeyPath | None:
    """Return the place that a path names, or None where the spec has none.

    A derived value is a place of its own, like ``("shades", 0, "size_y")``. Of an item that is named like
    another's position, the name counts. Below a part that is left out any path passes: whether the part could
    have it is for the caller to find out.
    """
    place: list[str | int] = []
    here: Any = spec
    while path:
        if isinstance(here, tuple):
            names = [str(getattr(item, "name", "")) for item in here]
            fitting = [name for name in names if name and path.startswith(f"{name}.")]
            if fitting:
                name = max(fitting, key=len)
                index, path = names.index(name), path[len(name) + 1 :]
            else:
                number, _, path = path.partition(".")
                if not (number.isascii() and number.isdigit() and 1 <= int(number) <= len(here)):
                    return None
                index = int(number) - 1
            place.append(index)
            here = here[index]
            continue
        key, _, path = path.partition(".")
        place.append(key)
        if not isinstance(here, BaseModel):
            return None
        if not path and key in derived(here):
            return tuple(place)
        if key not in type(here).model_fields:
            return None
        here = getattr(here, key)
        if here is None and path:
            return (*place, *path.split("."))
    return tuple(place)


def value_paths(spec: BaseModel, derived: Derived = _none_derived, has_items: bool = True) -> Iterator[str]:
    """Yield the paths of all values that a spec has, the derived ones of each part after its own.

    ``has_items`` tells whether its lists have items that are named by themselves. What of it could not be
    read is left out.
    """
    for key in keys_of(type(spec)):
        shape = shape_at(type(spec), (key,))
        if shape is not None and shape.reader:
            yield key
            continue
        with suppress(UnreadError):
            value = getattr(spec, key)
            if isinstance(value, BaseModel):
                yield from (f"{key}.{below}" for below in value_paths(value, derived, has_items))
            elif isinstance(value, tuple) and has_items:
                for number, item in enumerate(value, start=1):
                    with suppress(UnreadError):
                        name = getattr(item, "name", number)
                        yield from (f"{key}.{name}.{below}" for below in value_paths(item, derived))
    with suppress(UnreadError):
        yield from derived(spec)
