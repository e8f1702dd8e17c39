"""A design: what its file says, and the built copies that its part tolerances allow."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from statistics import NormalDist
from typing import Any, ClassVar, TypeVar
from zlib import crc32

from pydantic import BaseModel, Field, model_validator

from agents.design.parts import Body, Panel, Side, Storage
from agents.noise import PARTS, uniform
from agents.text.documents import (
    BaseSpec,
    KeyedError,
    KeyedErrors,
    KeyPath,
    Node,
    key_paths,
    merge_marked,
    nearest_path,
    parse_document,
    read_document,
)
from agents.text.quantities import Fraction, Number, Quantity, QuantityError
from agents.text.shapes import shape_at
from agents.text.shipped import find_document

SIDES = ("left", "right")

# A pulse that empties the storage faster than this [1/s] is over before anything can turn.
FASTEST_DISCHARGE = 1e4

Model = TypeVar("Model", bound=BaseModel)


class Tolerance(BaseSpec):
    """How far a part strays from its value: a share of the value, or an amount in its own unit."""

    example: ClassVar[str] = "{normal: 5 %} or {uniform: 5 %}"

    normal: str | None = Field(
        None,
        title="standard deviation",
        description="standard deviation, like 5 % or 30 mV; cut off at the bound",
    )
    uniform: str | None = Field(
        None, title="half width", description="half width of an even spread, like 20 %"
    )
    bound: str | None = Field(
        None,
        title="greatest deviation",
        description="greatest deviation of a normal spread; three standard deviations if left out",
    )

    @model_validator(mode="after")
    def _check_form(self) -> "Tolerance":
        if (self.normal is None) == (self.uniform is None):
            got = "neither normal nor uniform" if self.normal is None else "both normal and uniform"
            raise KeyedError((), got, "one of the two")
        if self.bound is not None and self.uniform is not None:
            raise KeyedError(("bound",), "bound beside uniform", "a bound with normal only")
        return self


class Spread:
    """A tolerance resolved against the value that it is about.

    ``width`` is the standard deviation or half width, ``bound`` the greatest deviation, both in SI units.
    """

    def __init__(self, path: str, value: float, width: float, bound: float, is_normal: bool) -> None:
        self.path, self.value = path, value
        self.width, self.bound, self.is_normal = width, bound, is_normal

    @property
    def index(self) -> int:
        """Index of the part's draws in the stream agents.noise.PARTS."""
        return crc32(self.path.encode())

    def draw(self, chance: float) -> float:
        """Return the part's value at the quantile ``chance``, between 0 and 1, of its spread."""
        return self.draws([chance])[0]

    def draws(self, chances: Sequence[float]) -> list[float]:
        """Return the part's values at several quantiles."""
        value, width = self.value, self.width
        if width == 0.0:
            return [value] * len(chances)
        if not self.is_normal:
            return [value + width * (2.0 * chance - 1.0) for chance in chances]
        normal = NormalDist()
        tail = normal.cdf(-self.bound / width)
        return [value + width * normal.inv_cdf(tail + chance * (1.0 - 2.0 * tail)) for chance in chances]


class Design(BaseSpec):
    """One design of a walker, as in ``configs/designs/*.yaml``."""

    name: str = Field(description="name by which tables and pictures show it")
    about: str | None = Field(None, description="what it is for, in a sentence")
    panel: Panel = Field(default_factory=Panel, title="panel", description="solar panel")
    storage: Storage = Field(default_factory=Storage, title="storage", description="storage capacitor")
    left: Side = Field(default_factory=Side, title="left", description="left side")
    right: Side = Field(default_factory=Side, title="right", description="right side")
    body: Body = Field(default_factory=Body, title="body", description="frame and outline")
    spread: dict[str, Tolerance] = Field(
        default_factory=dict, description="tolerance by part, like both.latch or storage.capacitance"
    )

    @model_validator(mode="after")
    def _check_spread(self) -> "Design":
        errors = []
        for path in self.spread:
            try:
                self._resolve(path)
            except KeyedError as error:
                errors.append(error)
        if errors:
            raise KeyedErrors(errors)
        return self

    @model_validator(mode="after")
    def _check_discharge(self) -> "Design":
        if self.discharge_rate > FASTEST_DISCHARGE:
            raise KeyedError(
                ("storage", "capacitance"),
                f"a storage that motor and latch empty in {1e3 / self.discharge_rate:.2g} ms",
                f"one that lasts {1e3 / FASTEST_DISCHARGE:g} ms",
            )
        return self

    @property
    def discharge_rate(self) -> float:
        """Upper bound [1/s] of the rate at which a pulse empties the storage, of the faster side."""
        fastest = 0.0
        for side in (self.left, self.right):
            # slope of the NPN's base current against the rail, the PNP's gain fallen as at twice a usual one
            bases = side.pnp.gain / side.latch
            bases /= math.sqrt(1.0 + 4.0 * bases * 6.0 / side.pnp.knee_current)
            fastest = max(fastest, (1.0 / side.motor.resistance + bases) / self.storage.capacitance)
        return fastest

    def _resolve(self, path: str) -> list[Spread]:
        """Turn the tolerance at ``path`` into one spread for each part it is about."""
        tolerance = self.spread[path]
        key = ("spread", path)
        first, _, rest = path.partition(".")
        concrete = [f"{side}.{rest}" for side in SIDES] if first == "both" else [path]
        shape = shape_at(Design, tuple(concrete[0].split(".")))
        reader = shape.reader if shape else None
        if not isinstance(reader, Quantity | Fraction | Number):
            near = _nearest(path)
            raise KeyedError(key, f"no part value {path!r}", "the path of a value, like both.latch", near)
        spreads = []
        for name in concrete:
            value = self.value_at(name)
            if value is None:
                raise KeyedError(key, f"{name}, which this design leaves out", "a part that it has")
            is_normal = tolerance.normal is not None
            width = _deviation(tolerance.normal or tolerance.uniform or "", value, reader, key, tolerance)
            bound = 3.0 * width if is_normal else width
            if tolerance.bound is not None:
                bound = _deviation(tolerance.bound, value, reader, key, tolerance)
                if bound <= 0.0:
                    raise KeyedError((*key, "bound"), "no room", "more than nought")
            spread = Spread(name, value, width, bound, is_normal)
            for end in (value - bound, value + bound):
                try:
                    reader.check(end)
                except QuantityError:
                    got = f"parts from {reader.show(value - bound)} to {reader.show(value + bound)}"
                    raise KeyedError(
                        (*key, "normal" if is_normal else "uniform"), got, reader.expected
                    ) from None
            spreads.append(spread)
        return spreads

    def value_at(self, path: str) -> Any:
        """Return the value at a path like ``left.eye.tape``; None where the part is left out."""
        value: Any = self
        for key in path.split("."):
            value = getattr(value, key)
            if value is None:
                return None
        return value

    def with_values(self, values: dict[str, Any]) -> "Design":
        """Return the design with SI ``values`` in place by path; ``both.`` sets either side.

        The values must be in their ranges; nothing is checked but the paths.
        """
        return next(self.in_turn([values]))

    def in_turn(self, rows: Iterable[Mapping[str, Any]]) -> Iterator["Design"]:
        """Yield the design with each of ``rows`` in place, as :meth:`with_values` does, one after the other.

        It is the same object each time, and a path once set stays set until it is set anew: this is for
        thousands of copies that are read off as they come.
        """
        design = _own_copy(self)
        own: dict[int, BaseModel] = {}
        places: dict[str, list[tuple[BaseModel, str]]] = {}
        for values in rows:
            for path, value in values.items():
                if path not in places:
                    first, _, rest = path.partition(".")
                    targets = [f"{side}.{rest}" for side in SIDES] if first == "both" else [path]
                    places[path] = [_place(design, target.split("."), own) for target in targets]
                for model, key in places[path]:
                    _set(model, key, value)
                if not isinstance(value, float):
                    # other paths may have led into what stood there
                    places.clear()
            yield design

    @cached_property
    def spreads(self) -> tuple[Spread, ...]:
        """Every tolerance, one entry a part."""
        return tuple(spread for path in self.spread for spread in self._resolve(path))

    def built(self, seed: int, number: int) -> "Design":
        """Return built copy ``number`` of this design: each part drawn from its spread.

        A part's draw depends on seed, copy and the part's own path alone, so a further tolerance or a
        further copy changes no other draw.
        """
        return self.with_values(self.drawn_parts(seed, number))

    def drawn_parts(self, seed: int, number: int) -> dict[str, float]:
        """Return the value of each part that has a tolerance, by path, for copy ``number``."""
        return {
            spread.path: spread.draw(uniform(seed, number, PARTS, spread.index)) for spread in self.spreads
        }


def _deviation(
    text: str, value: float, reader: Quantity | Fraction | Number, key: KeyPath, tolerance: Tolerance
) -> float:
    """Read a share of ``value`` or an amount in the unit of its reader, not below nought."""
    word = next(name for name in ("normal", "uniform", "bound") if getattr(tolerance, name) == text)
    try:
        if text.rstrip().endswith("%"):
            return float(Fraction(least=0.0, most=1.0).read(text)) * abs(value)
        amount = Quantity(reader.unit, least=0.0) if isinstance(reader, Quantity) else Number(least=0.0)
        return float(amount.read(text))
    except QuantityError as error:
        raise KeyedError((*key, word), error.got, f"{error.expected}, or a share like 5 %") from None


def _nearest(path: str) -> str:
    first, _, rest = path.partition(".")
    if first == "both" and rest:
        near = nearest_path(Side, rest)
        return f"both.{near}" if near else ""
    if path in key_paths(Side):
        return f"both.{path}"
    return nearest_path(Design, path) or ""


def _own_copy(model: Model) -> Model:
    """Return a copy of a model, not of what it holds."""
    copy = model.model_copy()
    # what the model has worked out of its values and kept is copied too, and is about to be no longer true
    for name in set(copy.__dict__) - set(type(model).model_fields):
        del copy.__dict__[name]
    return copy


def _place(model: BaseModel, keys: list[str], own: dict[int, BaseModel]) -> tuple[BaseModel, str]:
    """Return the model and the key that a path leads to from a frozen model that is the caller's own.

    What that holds on the way is copied, unless it is in ``own`` by its id already.
    """
    for key in keys[:-1]:
        inner = model.__dict__[key]
        if id(inner) not in own:
            inner = _own_copy(inner)
            own[id(inner)] = inner
            _set(model, key, inner)
        model = inner
    if keys[-1] not in type(model).model_fields:
        raise KeyError(keys[-1])
    return model, keys[-1]


def _set(model: BaseModel, key: str, value: Any) -> None:
    model.__dict__[key] = value
    model.__pydantic_fields_set__.add(key)


def both_sides(tree: Node) -> Node:
    """Put what stands under ``both:`` beneath ``left:`` and ``right:``, which may each say it over."""
    if not isinstance(tree.value, dict):
        return tree
    both = tree.child("both")
    value = {key: node for key, node in tree.value.items() if key != "both"}
    for side in SIDES:
        merged = merge_marked(both, tree.child(side))
        if merged is not None:
            value[side] = merged
    return Node(value, tree.mark, tree.path, tree.key_mark)


def read_design(name_or_path: str | Path) -> Design:
    """Read a design by the name of a shipped one or by the path of a file.

    Raises SpecError with all that is wrong with the file, and NotFoundError.
    """
    return read_document(find_document(str(name_or_path), "design"), Design, "design", both_sides)


def parse_design(text: str, file: str) -> Design:
    """Read a design from the ``text`` of its file; ``file`` is what faults call it. Raises SpecError."""
    return parse_document(text, file, Design, "design", both_sides)
