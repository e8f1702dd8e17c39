"""Setting values in the text of a design or an arena, and leaving all else as its author wrote it.

Comments, order, blank lines, line ends and the way in which maps are written stay. A value that is there is
replaced where it stands, with its own unit where that suits the new value too; a key that is missing goes to
the place that the reference of fields gives it, with the indentation of the file. What comes out is read
again before it is handed on: it says the new values, and for the rest what it said before.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import yaml
from pydantic import BaseModel

from agents.design.spec import Design
from agents.design.values_by_path import BOTH, SIDES, of_one
from agents.errors import WorkError
from agents.text.exact import exact_text
from agents.text.marked_yaml import KeyPath, path_text
from agents.text.quantities import Quantity
from agents.text.shapes import keys_of, shape_at, shape_of
from agents.text.yaml_text import Plain, layout_of, plain_of, removed, replaced


def rewrite(text: str, values: Mapping[KeyPath, Plain | None], model: type[BaseModel]) -> str:
    """Return YAML ``text`` with what stands at the paths of ``values`` set; ``model`` orders the keys.

    None takes a key out, with the map of which it was all.

    ``text`` must be a document that :func:`agents.text.spec_reading.read_document` can follow. An item of a
    list has to be there, a map need not be. Raises WorkError where the text cannot be changed like that.
    """
    expected = plain_of(layout_of(text).root)
    try:
        for path, value in values.items():
            layout = layout_of(text)
            if layout.is_shared(path):
                layout = layout_of(layout.without_aliases())
            try:
                if value is None:
                    text = removed(layout, path)
                    _take_out(expected, path)
                    continue
                text = replaced(layout, path, value, lambda place: _order(model, place))
                _put(expected, path, value)
            except LookupError as error:
                raise WorkError(f"{path_text(path)}: there is no such place in this file ({error})") from None
        found = plain_of(layout_of(text).root)
    except yaml.YAMLError as error:
        raise WorkError(f"the text of this file cannot be changed at {_listed(values)} ({error})") from None
    if found != expected:
        raise WorkError(f"the text of this file cannot be changed at {_listed(values)}; change it by hand")
    return text


def rewrite_values(text: str, values: Mapping[KeyPath, Any], model: type[BaseModel]) -> str:
    """As :func:`rewrite`, with SI values, which read back as the very same floats.

    Raises WorkError, and KeyError for a path that ``model`` does not know.
    """
    plain = plain_of(layout_of(text).root)
    texts = {path: _written(model, path, value, [plain_at(plain, path)]) for path, value in values.items()}
    return rewrite(text, texts, model)


def value_texts(values: Mapping[str, Any]) -> dict[str, Plain]:
    """SI values of a design by path as the text that a file gives them; of a whole part, each of its values.

    >>> value_texts({"both.latch": 2700.0, "panel.current_per_light": 6e-8, "left.feeler": None})
    {'both.latch': '2k7', 'panel.current_per_light': '60 nA/lx', 'left.feeler': 'none'}
    """
    return {
        path: _written(Design, tuple(path.split(".")), value, [_style(path)])
        for path, value in _leaves(values).items()
    }


def _style(path: str) -> str:
    """Text like that of a value at ``path``: a resistor goes by its code, any other resistance does not."""
    is_resistor = path.rpartition(".")[2] in ("latch", "series", "feeler")
    shape = shape_at(Design, of_one(tuple(path.split("."))))
    reader = shape.reader if shape else None
    return "1 ohm" if isinstance(reader, Quantity) and reader.unit == "ohm" and not is_resistor else ""


def _leaves(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values by path with each part that is given whole taken apart; what it leaves out is left out."""
    leaves: dict[str, Any] = {}
    for path, value in values.items():
        if isinstance(value, BaseModel):
            fields = {f"{path}.{key}": getattr(value, key) for key in keys_of(type(value))}
            leaves |= _leaves({key: one for key, one in fields.items() if one is not None})
        else:
            leaves[path] = value
    return leaves


def rewrite_design(text: str, values: Mapping[str, Any]) -> str:
    """As :func:`rewrite_values` for a design, by path like ``both.latch``, ``left.eye.tape`` or ``name``.

    ``both`` sets the value on either side, wherever the file gives it: under ``both``, and under a side that
    says it over. ``left`` and ``right`` set one side and leave the other as it is.
    """
    for path, value in _leaves(values).items():
        plain = plain_of(layout_of(text).root)
        texts = {
            place: _written(Design, place, value, said_at(plain, place))
            for place in places_saying(plain, tuple(path.split(".")))
        }
        text = rewrite(text, texts, Design)
    return text


def places_saying(plain: Any, place: KeyPath) -> list[KeyPath]:
    """Where a design's file, as nested dicts, has to say a value to hold for all that ``place`` means."""
    first, *rest = place
    if first != BOTH:
        return [place]
    over = [side for side in SIDES if _says(plain.get(side), tuple(rest))]
    return [(side, *rest) for side in (over if len(over) == len(SIDES) else (BOTH, *over))]


def said_at(plain: Any, place: KeyPath) -> list[Any]:
    """What a design's file, as nested dicts, says of a value: at its place, and for a side, of both."""
    places = [place, (BOTH, *place[1:])] if place[0] in SIDES else [place]
    return [plain_at(plain, one) for one in places]


def _says(plain: Any, path: KeyPath) -> bool:
    """Whether what stands under a side decides on the value at ``path``."""
    for key in path:
        if not isinstance(plain, dict):
            break
        plain = plain.get(key)
    return plain is not None


def _written(model: type[BaseModel], path: KeyPath, value: Any, alike: Sequence[Any]) -> Plain:
    shape = shape_at(model, of_one(path))
    if shape is None:
        raise KeyError(path_text(path))
    like = next((text for text in alike if isinstance(text, str) and text), "")
    if shape.item is not None and isinstance(value, tuple):
        keys = keys_of(shape_of(shape.item).model or BaseModel)
        return [
            {key: str(_written(model, (*path, number, key), getattr(row, key), [])) for key in keys}
            for number, row in enumerate(value)
        ]
    if shape.reader is None or value is None:
        return "none" if value is None else str(value)
    return exact_text(shape.reader, value, like)


def _order(model: type[BaseModel], path: KeyPath) -> list[str]:
    """The keys of the map at ``path`` of a file, in the order of the reference of fields."""
    shape = shape_at(model, of_one(path))
    keys = list(keys_of(shape.model)) if shape and shape.model else []
    if not path:
        keys.insert(0, "photodrome")
        if SIDES[0] in keys:
            keys.insert(keys.index(SIDES[0]), BOTH)
    return keys


def plain_at(plain: Any, path: KeyPath) -> Any:
    """What stands at a path of nested dicts, lists and text; None where nothing does."""
    for key in path:
        try:
            plain = plain[key]
        except (LookupError, TypeError):
            return None
    return plain


def _put(plain: Any, path: KeyPath, value: Plain) -> None:
    """Set ``value`` in nested dicts, making the maps that are missing."""
    for key, following in pairwise(path):
        missing = isinstance(plain, dict) and not isinstance(plain.get(key), dict | list)
        if missing and isinstance(following, str):
            plain[key] = {}
        plain = plain[key]
    plain[path[-1]] = value


def _take_out(plain: Any, path: KeyPath) -> None:
    """Take the key at ``path`` out of nested dicts, and what has become empty by that."""
    holders = [plain]
    for key in path[:-1]:
        holders.append(holders[-1][key])
    for number, key in reversed(list(enumerate(path))):
        del holders[number][key]
        if number == 0 or holders[number] or not isinstance(path[number - 1], str):
            return


def _listed(values: Mapping[KeyPath, Any]) -> str:
    return ", ".join(path_text(path) for path in values)
