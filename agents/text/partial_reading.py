"""Reading the parts of a tree into a spec one by one, so that a fault in one of them hides none in another.

What cannot be read is left out of the spec, and asking for it raises
:class:`~agents.text.keyed_errors.UnreadError`. The checks of several keys are run on all that could be read.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, NoReturn

from pydantic import BaseModel

from agents.errors import Fault, nearest
from agents.text.keyed_errors import KeyedError, UnreadError
from agents.text.marked_yaml import KeyPath, Mark, Node, path_text
from agents.text.readers import QuantityError
from agents.text.shapes import BaseSpec, Shape, field_shape, keys_of, nearest_key, shape_of

# A map with more unknown keys than this is none that a slip of the pen has made.
_MOST_SLIPS = 20


def _refuse(*_: Any) -> NoReturn:
    raise UnreadError("a part that could not be read")


class _Unread:
    """Stands in a list or a map for an item that could not be read; nothing can be done with it."""

    def __getattr__(self, name: str) -> NoReturn:
        _refuse()


_DOINGS = """
add radd sub rsub mul rmul truediv rtruediv pow rpow neg abs lt le gt ge eq ne hash bool float int round
iter len contains getitem str format
"""
for _name in _DOINGS.split():
    setattr(_Unread, f"__{_name}__", _refuse)

UNREAD = _Unread()


@dataclass(frozen=True)
class Finding:
    """A fault; where ``find_near`` is there, it takes a while and gives the nearest right word."""

    fault: Fault
    find_near: Callable[[], str] | None = None

    def told(self) -> Fault:
        """The fault with the nearest word."""
        return self.fault if self.find_near is None else replace(self.fault, near=self.find_near())


def locate(tree: Node, location: KeyPath) -> tuple[Node, KeyPath]:
    """Return the deepest node on the way to a location, and what is left of the way."""
    node = tree
    for number, key in enumerate(location):
        below = node.child(key)
        if below is None:
            return node, location[number:]
        node = below
    return node, ()


def place_fault(
    file: str, node: Node, rest: KeyPath, got: str, expected: str, near: str = "", mark: Mark | None = None
) -> Fault:
    """Build a fault: at a text itself, at the key of a map or list, at the holder of what is missing."""
    mark = mark or (node.mark if isinstance(node.value, str) else node.place)
    return Fault(file, mark.line, mark.column, path_text((*node.path, *rest)), got, expected, near)


class PartialReading:
    """Reads a tree, as far as that can be done, into ``spec``, with a finding for all that is wrong.

    ``also`` are keys that a file has beside those of its model.
    """

    def __init__(self, file: str, tree: Node, model: type[BaseModel], also: tuple[str, ...] = ()) -> None:
        self._file, self._model, self._also = file, model, also
        self.findings: list[Finding] = []
        self.spec: Any = self._read_model(tree, Shape(model=model), model, ())

    def _tell(
        self,
        node: Node,
        rest: KeyPath,
        got: str,
        expected: str,
        near: str = "",
        mark: Mark | None = None,
        find_near: Callable[[], str] | None = None,
    ) -> Any:
        """Note a fault; returns what stands for a value that is not there."""
        fault = place_fault(self._file, node, rest, got, expected, near, mark)
        self.findings.append(Finding(fault, find_near))
        return UNREAD

    def _read_model(self, node: Node, shape: Shape, model: type[BaseModel], location: KeyPath) -> Any:
        if not isinstance(node.value, dict):
            return self._tell(node, (), node.describe(), shape.expected)
        keys = keys_of(model)
        doubtful = self._unknown_keys(node, keys, location)
        given, values = set(), {}
        for (key, field), name in zip(keys.items(), model.model_fields, strict=True):
            below, inner = node.value.get(key), field_shape(field)
            if below is not None:
                given.add(name)
                value = self._read(below, inner, (*location, key))
            elif field.is_required():
                value = self._tell(node, (key,), "nothing", inner.expected)
            elif key in doubtful:
                value = UNREAD
            else:
                value = field.get_default(call_default_factory=True)
            if value is not UNREAD:
                values[name] = value
        spec = model.model_construct(given)
        spec.__dict__.clear()
        spec.__dict__.update(values)
        wrong = self._check(node, spec)
        if location:
            # for the checks of what holds it
            for error in wrong:
                spec.__dict__.pop(str(error.path[0]) if error.path else "", None)
        return spec

    def _unknown_keys(self, node: Node, keys: Any, location: KeyPath) -> set[str]:
        """Tell of keys that the model does not know; returns known ones that may have been meant."""
        unknown = [key for key, _ in node.children() if key not in keys]
        listed = ", ".join(keys)
        for key in unknown:
            below = node.child(key)
            assert below is not None
            place = (*location, key)
            expected, find_near = f"one of {listed}", self._near(place)
            self._tell(below, (), "an unknown key", expected, mark=below.place, find_near=find_near)
        if len(unknown) > _MOST_SLIPS:
            return set(keys)
        return {nearest(str(key), keys) for key in unknown}

    def _near(self, place: KeyPath) -> Callable[[], str]:
        return lambda: nearest_key(self._model, place, self._also if len(place) == 1 else ())

    def _read(self, node: Node, shape: Shape, location: KeyPath) -> Any:
        if shape.may_be_none and node.value == "none":
            return None
        if shape.reader:
            try:
                return shape.reader.read(node.plain())
            except QuantityError as error:
                ending = "; or none" if shape.may_be_none else ""
                return self._tell(node, (), error.got, error.expected + ending, error.near)
        if shape.model:
            return self._read_model(node, shape, shape.model, location)
        if shape.entry is not None or shape.item is not None:
            return self._read_several(node, shape, location)
        if shape.words:
            if node.value in shape.words:
                return node.value
            near = nearest(str(node.value), shape.words)
            return self._tell(node, (), node.describe(), shape.expected, near)
        if isinstance(node.value, str) and node.value:
            return node.value
        return self._tell(node, (), node.describe(), shape.expected)

    def _read_several(self, node: Node, shape: Shape, location: KeyPath) -> Any:
        if not isinstance(node.value, list if shape.entry is None else dict):
            return self._tell(node, (), node.describe(), shape.expected)
        if shape.most is not None and len(node.value) > shape.most:
            got, expected = f"{len(node.value):,} entries", f"at most {shape.most:,}"
            return self._tell(node, (), got, expected)
        inner = shape_of(shape.item if shape.entry is None else shape.entry)
        if shape.entry is None:
            return tuple(self._read(below, inner, (*location, key)) for key, below in node.children())
        for key, below in node.children():
            if not key:
                self._tell(below, (), "an empty key", "a word", mark=below.place)
        return {key: self._read(below, inner, (*location, key)) for key, below in node.children() if key}

    def _check(self, node: Node, spec: Any) -> list[KeyedError]:
        """Run the checks of a spec, and tell what they find."""
        wrong: list[KeyedError] = []
        for check in spec.cross_checks if isinstance(spec, BaseSpec) else ():
            wrong += _found(check(spec))
        for error in wrong:
            below, rest = locate(node, error.path)
            self._tell(below, rest, error.got, error.expected, error.near)
        return wrong


def _found(errors: Iterator[KeyedError]) -> Iterator[KeyedError]:
    try:
        yield from errors
    except UnreadError:
        return


def chosen(findings: Sequence[Finding], most: int) -> tuple[list[Fault], int]:
    """The first of the faults in file order, each once, ``most`` at the most; and how many there are more."""
    # text that is merged into several places is told of once
    first = {one.fault: one for one in reversed(findings)}
    order = sorted(first, key=lambda one: (one.line, one.column, one.key, one.got))
    faults = [first[fault].told() for fault in order[:most]]
    return faults, len(order) - len(faults)
