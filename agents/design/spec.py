"""A design: what its file says, and the built copies that its part tolerances allow."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import cached_property
from pathlib import Path
from statistics import NormalDist
from typing import Any, ClassVar
from zlib import crc32

import numpy as np
from pydantic import Field

from agents.design.parts import Body, Panel, Side, Storage
from agents.design.values_by_path import BOTH, SIDES, expanded, of_one, value_places
from agents.noise import PARTS, uniform
from agents.text.keyed_errors import KeyedError, UnreadError, cross_check
from agents.text.marked_yaml import KeyPath, Node, merge_marked
from agents.text.quantities import Fraction, Number, Quantity
from agents.text.readers import QuantityError
from agents.text.shapes import BaseSpec, key_paths, nearest_path, shape_at
from agents.text.shipped import find_document
from agents.text.spec_reading import parse_document, read_document
from agents.text.values_by_place import in_turn, value_at

# A pulse that empties the storage faster than this [1/s] is over before anything can turn.
FASTEST_DISCHARGE = 1e4

# Tolerances of a design at the most, about as many as it has values.
MOST_TOLERANCES = 300

Numeric = Quantity | Fraction | Number


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

    @cross_check
    def _check_form(self) -> Iterator[KeyedError]:
        is_normal, is_uniform = self.is_given("normal"), self.is_given("uniform")
        if is_normal == is_uniform:
            got = "both normal and uniform" if is_normal else "neither normal nor uniform"
            yield KeyedError((), got, "one of the two")
        elif is_uniform and self.is_given("bound"):
            yield KeyedError(("bound",), "bound beside uniform", "a bound with normal only")


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
    team: str | None = Field(None, description="who has built it, as races tell")
    panel: Panel = Field(default_factory=Panel, title="panel", description="solar panel")
    storage: Storage = Field(default_factory=Storage, title="storage", description="storage capacitor")
    left: Side = Field(default_factory=Side, title="left", description="left side")
    right: Side = Field(default_factory=Side, title="right", description="right side")
    body: Body = Field(default_factory=Body, title="body", description="frame and outline")
    spread: dict[str, Tolerance] = Field(
        default_factory=dict,
        max_length=MOST_TOLERANCES,
        description="tolerance by part, like both.latch or storage.capacitance",
    )

    @cross_check
    def _check_spread(self) -> Iterator[KeyedError]:
        for path in self.spread:
            try:
                with suppress(UnreadError):
                    self._resolve(path)
            except KeyedError as error:
                yield error

    @cross_check
    def _check_discharge(self) -> Iterator[KeyedError]:
        rates = [0.0]
        for side in SIDES:
            with suppress(UnreadError):
                rates.append(self._side_rate(getattr(self, side)))
        if max(rates) > FASTEST_DISCHARGE:
            yield KeyedError(
                ("storage", "capacitance"),
                f"a storage that motor and latch empty in {1e3 / max(rates):.2g} ms",
                f"one that lasts {1e3 / FASTEST_DISCHARGE:g} ms",
            )

    @property
    def discharge_rate(self) -> float:
        """Upper bound [1/s] of the rate at which a pulse empties the storage, of the faster side."""
        return max(self._side_rate(side) for side in (self.left, self.right))

    def _side_rate(self, side: Side) -> float:
        pnp, resistance = side.pnp, side.motor.resistance
        capacitance = self.storage.capacitance
        return float(emptying_rate(pnp.gain, pnp.knee_current, side.latch, resistance, capacitance))

    def _resolve(self, path: str) -> list[Spread]:
        """Turn the tolerance at ``path`` into one spread for each part it is about."""
        tolerance = self.spread[path]
        key = ("spread", path)
        reader = part_reader(path)
        if reader is None:
            near = _nearest(path)
            raise KeyedError(key, f"no part value {path!r}", "the path of a value, like both.latch", near)
        deviation = tolerance.normal or tolerance.uniform
        if deviation is None:
            return []
        spreads = []
        for name in expanded(path):
            value = self.value_at(name)
            if value is None:
                raise KeyedError(key, f"{name}, which this design leaves out", "a part that it has")
            is_normal = tolerance.normal is not None
            width = _deviation(deviation, value, reader, key, tolerance)
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
        return value_at(self, tuple(path.split(".")))

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
        return in_turn(self, rows, value_places)

    def with_spread(self, spread: Mapping[str, Tolerance]) -> "Design":
        """Return the design with other tolerances by part."""
        made = self.model_copy(update={"spread": dict(spread)})
        # a copy would keep what was worked out from the former ones
        made.__dict__.pop("spreads", None)
        return made

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


def emptying_rate(gain: Any, knee: Any, latch: Any, resistance: Any, capacitance: Any) -> Any:
    """Upper bound [1/s] of the rate at which a pulse empties the storage; floats or arrays.

    ``gain`` and ``knee`` current [A] of the PNP, ``latch`` and motor ``resistance`` [ohm], storage [F].
    """
    # slope of the NPN's base current against the rail, the PNP's gain fallen as at twice a usual one
    bases = gain / latch
    bases = bases / np.sqrt(1.0 + 4.0 * bases * 6.0 / knee)
    return (1.0 / resistance + bases) / capacitance


def part_reader(path: str) -> Numeric | None:
    """Return the reader of the part's value at a path like ``both.latch``; None where there is no number."""
    shape = shape_at(Design, of_one(tuple(path.split("."))))
    reader = shape.reader if shape else None
    return reader if isinstance(reader, Numeric) else None


def deviation_reader(reader: Numeric, is_share: bool) -> Numeric:
    """Return the reader of a tolerance of what ``reader`` reads: a share of it, or an amount in its unit."""
    if is_share:
        return Fraction(least=0.0, most=1.0)
    return Quantity(reader.unit, least=0.0) if isinstance(reader, Quantity) else Number(least=0.0)


def _deviation(text: str, value: float, reader: Numeric, key: KeyPath, tolerance: Tolerance) -> float:
    """Read a share of ``value`` or an amount in the unit of its reader, not below nought."""
    word = next(name for name in ("normal", "uniform", "bound") if getattr(tolerance, name) == text)
    try:
        is_share = text.rstrip().endswith("%")
        deviation = float(deviation_reader(reader, is_share).read(text))
        return deviation * abs(value) if is_share else deviation
    except QuantityError as error:
        raise KeyedError((*key, word), error.got, f"{error.expected}, or a share like 5 %") from None


def _nearest(path: str) -> str:
    first, _, rest = path.partition(".")
    if first == BOTH and rest:
        near = nearest_path(Side, rest)
        return f"{BOTH}.{near}" if near else ""
    if path in key_paths(Side):
        return f"{BOTH}.{path}"
    return nearest_path(Design, path) or ""


def both_sides(tree: Node) -> Node:
    """Put what stands under ``both:`` beneath ``left:`` and ``right:``, which may each say it over."""
    if not isinstance(tree.value, dict):
        return tree
    both = tree.child(BOTH)
    value = {key: node for key, node in tree.value.items() if key != BOTH}
    for side in SIDES:
        merged = merge_marked(both, tree.child(side))
        if merged is not None:
            value[side] = merged
    return Node(value, tree.mark, tree.path, tree.key_mark)


def read_design(name_or_path: str | Path) -> Design:
    """Read a design by the name of a shipped one or by the path of a file.

    Raises SpecError with all that is wrong with the file, and NotFoundError.

    >>> poppy = read_design("poppy")
    >>> poppy.left.latch, poppy.storage.capacitance
    (10000.0, 0.0022)
    >>> read_design("popy")
    Traceback (most recent call last):
    agents.errors.NotFoundError: 'popy': no shipped design of this name (nearest: poppy); there are ...
    """
    return read_document(find_document(str(name_or_path), "design"), Design, "design", both_sides)


def parse_design(text: str, file: str) -> Design:
    """Read a design from the ``text`` of its file; ``file`` is what faults call it. Raises SpecError."""
    return parse_document(text, file, Design, "design", both_sides)
