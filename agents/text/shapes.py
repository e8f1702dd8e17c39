"""What a spec model looks like from outside: its keys, what each expects, and the table of all fields."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from types import UnionType
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal, Self, Union, get_args, get_origin

from annotated_types import MaxLen
from pydantic import BaseModel, ConfigDict, model_validator
from pydantic.fields import FieldInfo

from agents.errors import nearest
from agents.text.keyed_errors import Check, KeyedErrors, UnreadError, cross_checks_of
from agents.text.marked_yaml import KeyPath
from agents.text.readers import OrNone, Reader


@dataclass(frozen=True)
class Shape:
    """What a field takes: a reader's text, a nested model, items, words out of a list, or text.

    ``item`` is what a list holds, ``entry`` what a map of free keys holds under each, and ``most`` how many
    of them there may be. ``may_be_none`` tells that the word none leaves the part out.
    """

    reader: Reader | None = None
    model: type[BaseModel] | None = None
    item: Any = None
    entry: Any = None
    words: tuple[str, ...] = ()
    bare: type | None = None
    may_be_none: bool = False
    most: int | None = None

    @property
    def expected(self) -> str:
        """What a right value looks like."""
        return f"{self._expected}; or none" if self.may_be_none else self._expected

    @property
    def _expected(self) -> str:
        if self.reader:
            return self.reader.expected
        if self.model:
            example = getattr(self.model, "example", "")
            return (
                f"a map like {example}"
                if example
                else f"a map with the keys {', '.join(keys_of(self.model))}"
            )
        if self.entry is not None:
            return f"a map that holds under each key {shape_of(self.entry).expected}"
        if self.words:
            return f"one of {', '.join(self.words)}"
        return "a list" if self.item is not None else "text"


def shape_of(annotation: Any, metadata: tuple[Any, ...] = ()) -> Shape:
    """Look through ``Annotated`` and ``| None`` at what an annotation takes."""
    if any(isinstance(extra, OrNone) for extra in metadata):
        return replace(shape_of(annotation), may_be_none=True)
    for extra in metadata:
        if isinstance(extra, Reader):
            return Shape(reader=extra)
        if isinstance(extra, MaxLen):
            return replace(shape_of(annotation), most=extra.max_length)
    origin, arguments = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return shape_of(arguments[0], arguments[1:])
    if origin in (Union, UnionType):
        kept = [argument for argument in arguments if argument is not type(None)]
        return shape_of(kept[0]) if len(kept) == 1 else Shape()
    if origin is Literal:
        return Shape(words=arguments)
    if origin in (tuple, list):
        return Shape(item=arguments[0])
    if origin is dict:
        return Shape(entry=arguments[1])
    if isinstance(annotation, type):
        return Shape(model=annotation) if issubclass(annotation, BaseModel) else Shape(bare=annotation)
    return Shape()


def field_shape(field: FieldInfo) -> Shape:
    """What a field of a model takes."""
    return shape_of(field.annotation, tuple(field.metadata))


class BaseSpec(BaseModel):
    """Base of all spec models: frozen, no unknown keys, and no number that is read without a reader."""

    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=True, str_min_length=1)

    # how messages show it, where that tells more than its keys
    example: ClassVar[str] = ""
    cross_checks: ClassVar[tuple[Check, ...]] = ()

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        """Refuse a model whose fields would let pydantic itself turn text into numbers, nan included."""
        cls.cross_checks = cross_checks_of(cls)
        for name, field in cls.model_fields.items():
            shape = field_shape(field)
            while shape.item is not None:
                shape = shape_of(shape.item)
            if shape.bare in (float, int, bool):
                raise TypeError(f"{cls.__name__}.{name} needs a reader, like Quantity or Number")

    @model_validator(mode="after")
    def _check_together(self) -> Self:
        errors = [error for check in self.cross_checks for error in check(self)]
        if errors:
            raise KeyedErrors(errors)
        return self

    def is_given(self, name: str) -> bool:
        """Whether a field has a value other than None, be it one that could not be read.

        Raises UnreadError where nobody can tell, for a misspelt key may have been meant for it.
        """
        if name in self.__dict__:
            return self.__dict__[name] is not None
        if name in self.model_fields_set:
            return True
        raise UnreadError(name)

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            if name in type(self).model_fields:
                raise UnreadError(name)
            return super().__getattr__(name)


def keys_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Return the fields of a model by the keys under which a file gives them."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


@lru_cache(4096)
def shape_at(model: type[BaseModel], path: KeyPath) -> Shape | None:
    """Return what stands at a path of keys, or None where the model has no such place."""
    shape = Shape(model=model)
    for key in path:
        if isinstance(key, int):
            if shape.item is None:
                return None
            shape = shape_of(shape.item)
        elif shape.entry is not None:
            shape = shape_of(shape.entry)
        else:
            field = keys_of(shape.model).get(key) if shape.model else None
            if field is None:
                return None
            shape = field_shape(field)
    return shape


def title_at(model: type[BaseModel], path: str, names: Sequence[str] = ()) -> str:
    """Return what stands at a path in words: the titles of all fields on the way there.

    An item of a list goes by its name, one of ``names``, or by its number. Keys that are no fields stand for
    themselves.
    """
    words: list[str] = []
    shape, rest = Shape(model=model), path
    while rest:
        if shape.item is not None:
            name = max((one for one in names if f"{rest}.".startswith(f"{one}.")), key=len, default="")
            words[-1:] = [name] if name else [*words[-1:], rest.partition(".")[0]]
            rest = rest[len(name) + 1 :] if name else rest.partition(".")[2]
            shape = shape_of(shape.item)
            continue
        key, _, rest = rest.partition(".")
        field = keys_of(shape.model).get(key) if shape.model else None
        words.append(key if field is None else field.title or "")
        shape = Shape() if field is None else field_shape(field)
    return " ".join(word for word in words if word)


def _walk(shape: Shape, prefix: str) -> Iterator[str]:
    if shape.item is not None:
        yield from _walk(shape_of(shape.item), f"{prefix}[]")
    elif shape.model is not None:
        for key, field in keys_of(shape.model).items():
            path = f"{prefix}.{key}" if prefix else key
            yield path
            yield from _walk(field_shape(field), path)


def key_paths(model: type[BaseModel]) -> list[str]:
    """Return the paths of all keys that a model knows, like ``both.eye.tape`` or ``walls[].height``."""
    return list(_walk(Shape(model=model), ""))


def nearest_key(model: type[BaseModel], path: KeyPath, also: tuple[str, ...] = ()) -> str:
    """Return the valid key nearest to the unknown one at the end of ``path``, or empty.

    A key beside it comes first, or one of ``also``; failing that, the whole path of a key elsewhere.
    """
    key = str(path[-1])
    beside = shape_at(model, path[:-1])
    keys: list[str] = [*(keys_of(beside.model) if beside and beside.model else ()), *also]
    if near := nearest(key, keys):
        return near
    elsewhere: dict[str, str] = {}
    for known in key_paths(model):
        elsewhere.setdefault(known.rpartition(".")[2].removesuffix("[]"), known)
    return elsewhere.get(nearest(key, elsewhere, cutoff=0.75), "")


def nearest_path(model: type[BaseModel], path: str) -> str:
    """Return the key path of the model that is nearest to a whole path that someone wrote, or empty."""
    return nearest(path, key_paths(model)) or nearest_key(model, (path.rpartition(".")[2],))


@dataclass(frozen=True)
class FieldRow:
    """One line of the table of all fields; all of it is text for people."""

    key: str
    title: str
    unit: str
    default: str
    range: str
    description: str


def field_table(model: type[BaseModel]) -> list[FieldRow]:
    """Return a row for every key of a model, nested ones too, in the order in which they are declared."""
    return list(_rows(model, None, "", ""))


def _rows(model: type[BaseModel], instance: BaseModel | None, prefix: str, words: str) -> Iterator[FieldRow]:
    for (key, field), name in zip(keys_of(model).items(), model.model_fields, strict=True):
        shape = field_shape(field)
        path = f"{prefix}.{key}" if prefix else key
        if instance is not None:
            value: Any = getattr(instance, name)
            default = _show(shape, value)
        elif field.is_required():
            value, default = None, "required"
        else:
            value = field.get_default(call_default_factory=True)
            default = _show(shape, value)
        nested, suffix = shape, ""
        while nested.item is not None:
            nested, suffix = shape_of(nested.item), f"{suffix}[]"
        reader = nested.reader
        unit = reader.unit_text if reader else ""
        choices = ", ".join(nested.words) or (reader.range_text if reader else "")
        title = f"{words} {field.title or ''}".strip()
        yield FieldRow(path, title, unit, default, choices, field.description or "")
        if nested.model is not None:
            inner = value if isinstance(value, BaseModel) else None
            yield from _rows(nested.model, inner, f"{path}{suffix}", title)


def _show(shape: Shape, value: Any) -> str:
    if value is None:
        return "none"
    if shape.reader:
        return shape.reader.show(value)
    if shape.model:
        return ""
    if shape.item is not None:
        inner = shape_of(shape.item)
        return ", ".join(_show(inner, one) for one in value) or "none"
    if shape.entry is not None:
        return ", ".join(value) or "none"
    return str(value)
