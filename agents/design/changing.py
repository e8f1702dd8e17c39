"""A design as the text of a file, and designs made from others by changing values.

The text gives every value, defaults too, so that it means the same whatever the defaults come to be. Values
read back as the very same floats.
"""

from collections.abc import Mapping
from typing import Any

import yaml

from agents.design.spec import Design, Tolerance, parse_design
from agents.design.values_by_path import BOTH, SIDES, SPREAD, of_one
from agents.errors import OptionError, SpecError, refusal
from agents.text.exact import exact_text
from agents.text.shapes import Shape, keys_of, shape_at, shape_of
from agents.text.spec_reading import VERSIONS

# Lines of a list of points stay whole.
_WIDTH = 1000


def design_text(design: Design) -> str:
    """Return the text of a file that :func:`agents.design.spec.read_design` reads as this very ``design``.

    >>> text = design_text(read_design("poppy"))
    >>> print(text[: text.index("panel:")])
    photodrome: design 1
    name: poppy
    about: the plain build, 2200 uF and eyes 60 mm apart
    <BLANKLINE>
    """
    return _dumped(_tree(design))


def change_design(design: Design, values: Mapping[str, str | float]) -> Design:
    """Return a copy of ``design`` with some of its ``values`` changed, by the paths of configs/FIELDS.md.

    A value is text as in a file, ``"1k"`` or ``"30 mm"``, or a number in SI units. ``both.`` sets either
    side, ``left.`` and ``right.`` one of them. Raises :class:`~agents.errors.OptionError`, naming all that
    cannot be.

    >>> poppy = read_design("poppy")
    >>> mine = change_design(poppy, {"name": "mine", "both.latch": "1k", "left.eye.aside": 0.035})
    >>> mine.name, mine.left.latch, mine.right.latch, mine.left.eye.aside, mine.right.eye.aside
    ('mine', 1000.0, 1000.0, 0.035, 0.03)
    >>> poppy.left.latch
    10000.0
    >>> change_design(poppy, {"both.latch": "1000"})
    Traceback (most recent call last):
    agents.errors.OptionError: both.latch: got '1000', expected a resistance with its unit, like 33k \
or 33 kohm, 10 ohm to 100 Mohm
    """
    tree = _tree(design)
    for path, value in values.items():
        if not isinstance(path, str):
            raise OptionError(f"got {path!r} for a path, expected text like 'both.latch'")
        keys = _keys(path)
        text = value if isinstance(value, str) else _number_text(path, keys, value)
        for side in SIDES if keys[0] == BOTH else ():
            _drop(tree.get(side), keys[1:])
        _put(tree, keys, text)
    try:
        return parse_design(_dumped(tree), design.name)
    except SpecError as error:
        lines = [f"{fault.key}: {refusal(fault.got, fault.expected, fault.near)}" for fault in error.faults]
        raise OptionError("\n".join(lines)) from None


def _tree(design: Design) -> dict[str, Any]:
    """Nested dicts, lists and text as in a file, with what both sides have in common under ``both``."""
    values = _texts(Shape(model=Design), design)
    sides = dict(zip((BOTH, *SIDES), _common(*map(values.pop, SIDES)), strict=True))
    tree: dict[str, Any] = {"photodrome": f"design {VERSIONS['design']}"}
    for key, value in values.items():
        if key == "body":
            tree |= {name: below for name, below in sides.items() if below}
        tree[key] = value
    return tree


def _texts(shape: Shape, value: Any) -> Any:
    if value is None:
        return "none"
    if shape.reader:
        return exact_text(shape.reader, value)
    if shape.model:
        texts = {}
        for (key, field), name in zip(keys_of(shape.model).items(), shape.model.model_fields, strict=True):
            below = shape_of(field.annotation, tuple(field.metadata))
            one = getattr(value, name)
            if one is not None or below.may_be_none:
                texts[key] = _texts(below, one)
        return texts
    if shape.item is not None:
        return [_texts(shape_of(shape.item), one) for one in value]
    if shape.entry is not None:
        return {key: _texts(shape_of(shape.entry), one) for key, one in value.items()}
    return str(value)


def _common(left: dict[str, Any], right: dict[str, Any]) -> tuple[dict[str, Any], ...]:
    """What two maps have in common, and what only the one and only the other says."""
    both: dict[str, Any] = {}
    rest: tuple[dict[str, Any], dict[str, Any]] = ({}, {})
    for key, one in left.items():
        other = right.get(key)
        if one == other:
            both[key] = one
        elif isinstance(one, dict) and isinstance(other, dict):
            shared, *apart = _common(one, other)
            if shared:
                both[key] = shared
            for side, below in zip(rest, apart, strict=True):
                if below:
                    side[key] = below
        else:
            rest[0][key] = one
    rest[1].update({key: one for key, one in right.items() if key not in both and key not in rest[1]})
    return both, *rest


def _dumped(tree: dict[str, Any]) -> str:
    return yaml.safe_dump(tree, sort_keys=False, allow_unicode=True, width=_WIDTH)


def _keys(path: str) -> tuple[str, ...]:
    """The keys on the way to a value; the name of a tolerance has dots in it and is one of them."""
    first, *rest = path.split(".")
    if first == SPREAD and rest and rest[-1] in keys_of(Tolerance):
        return first, ".".join(rest[:-1]), rest[-1]
    if first == SPREAD and rest:
        return first, ".".join(rest)
    return first, *rest


def _number_text(path: str, keys: tuple[str, ...], value: float) -> str:
    shape = shape_at(Design, of_one(keys))
    if shape is None or shape.reader is None:
        return repr(value)
    try:
        return exact_text(shape.reader, value)
    except ValueError as error:
        raise OptionError(f"{path}: {error}") from None


def _drop(tree: Any, keys: tuple[str, ...]) -> None:
    """Take out what stands at the end of ``keys``, if anything does."""
    for key in keys[:-1]:
        tree = tree.get(key) if isinstance(tree, dict) else None
    if isinstance(tree, dict) and keys:
        tree.pop(keys[-1], None)


def _put(tree: dict[str, Any], keys: tuple[str, ...], text: str) -> None:
    for key in keys[:-1]:
        below = tree.get(key)
        if not isinstance(below, dict):
            below = tree[key] = {}
        tree = below
    tree[keys[-1]] = text
