"""Changing frozen models: values put in their places, things moved and stretched, everything checked anew."""

from collections.abc import Iterator, Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from agents.design.spec import Tolerance
from agents.errors import InputError
from agents.text.documents import KeyedError, KeyedErrors
from agents.text.marked_yaml import KeyPath, path_text
from agents.text.quantities import Pair

__all__ = ["LISTED", "PLACED", "changed", "extents_of", "placed", "points_of"]

# Fields in which a thing of an arena says where it lies, and those of them that hold several points.
PLACED = ("outline", "line", "place", "centre")
LISTED = ("outline", "line")

Model = TypeVar("Model", bound=BaseModel)


def points_of(thing: Any) -> tuple[str, tuple[Pair, ...]]:
    """Return the field in which a thing says where it lies, and its points; none where it lies nowhere."""
    for field in PLACED:
        value = getattr(thing, field, None)
        if value is not None:
            return field, value if field in LISTED else (value,)
    return "", ()


def extents_of(points: tuple[Pair, ...]) -> dict[str, float]:
    """Return middle and size [m] of the upright rectangle round points; nothing for no points."""
    if not points:
        return {}
    across, along = zip(*points, strict=True)
    return {
        "x": (min(across) + max(across)) / 2.0,
        "y": (min(along) + max(along)) / 2.0,
        "size_x": max(across) - min(across),
        "size_y": max(along) - min(along),
    }


def placed(points: tuple[Pair, ...], moves: Mapping[str, float]) -> tuple[Pair, ...]:
    """Return the points stretched about their middle, then moved so that the middle is where it is to be."""
    extents = extents_of(points)
    columns = []
    for axis, coordinates in zip("xy", zip(*points, strict=True), strict=True):
        middle, size = extents[axis], extents[f"size_{axis}"]
        factor = moves.get(f"size_{axis}", size) / size if size > 0.0 else 1.0
        target = moves.get(axis, middle)
        columns.append([target + (one - middle) * factor for one in coordinates])
    return tuple(zip(*columns, strict=True))


def changed(model: Model, changes: Mapping[KeyPath, Any], name: str) -> Model:
    """Return a copy with ``changes`` by place put in, each model on the way checked anew.

    A tolerance that a design lacks is made of what is set of it. Raises InputError with the reason, which
    ``name`` begins, where a check refuses what comes out.
    """
    try:
        rebuilt: Model = _with(model, changes, ())
    except _RefusedError as error:
        raise InputError(f"{name}: {error}") from None
    return rebuilt


class _RefusedError(ValueError):
    """A model that its own checks refuse."""


def _with(model: Any, changes: Mapping[KeyPath, Any], place: KeyPath) -> Any:
    if () in changes:
        return changes[()]
    below: dict[str | int, dict[KeyPath, Any]] = {}
    for keys, value in changes.items():
        below.setdefault(keys[0], {})[keys[1:]] = value
    if isinstance(model, tuple):
        items = list(model)
        for key, inner in below.items():
            items[int(key)] = _with(items[int(key)], inner, (*place, key))
        return tuple(items)
    if isinstance(model, dict):
        entries = dict(model)
        for key, inner in below.items():
            entries[str(key)] = _with(entries.get(str(key)), inner, (*place, key))
        return entries
    kind = type(model) if isinstance(model, BaseModel) else Tolerance
    fields = {field: getattr(model, field) for field in kind.model_fields} if model is not None else {}
    for key, inner in below.items():
        fields[str(key)] = _with(fields.get(str(key)), inner, (*place, key))
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
            yield f"{text}: got {got}, expected {expected}" if text else f"got {got}, expected {expected}"
