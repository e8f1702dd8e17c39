"""The parameters of designs and arenas by their paths, as plans name them, and setting them.

A design's paths are those of its file with ``design.`` before them, like ``design.both.eye.aside``; ``both``
sets either side. A tolerance is ``design.spread.``, the path of the part, and ``uniform``, ``normal`` or
``bound``.
An arena's begin with ``arena.``; an item of a list is named by its name or by its position from 1, like
``arena.lamps.grow lamp.intensity`` or ``arena.starts.places.1.heading``. The path ``walkers`` is how many
share the arena. A thing of an arena that has a place
or an outline also has ``x``, ``y``, ``size_x``, ``size_y`` (:mod:`arena.studies.plans.arena_moves`).
"""

import difflib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pydantic import BaseModel

from agents.design.spec import Design, Numeric, Tolerance, deviation_reader, part_reader
from agents.design.values_by_path import BOTH, SIDES, SPREAD, expanded, parts_left, value_places
from agents.errors import InputError
from agents.text.exact import exact_text
from agents.text.marked_yaml import KeyPath, path_text
from agents.text.quantities import Fraction, Number, Points, Quantity
from agents.text.readers import Reader
from agents.text.shapes import shape_at
from agents.text.spec_reading import KeyedError
from agents.text.units import format_code, format_quantity, plain_text
from agents.text.values_by_place import place_at, value_at, value_paths, with_checked_values
from arena.scene.elements import MOST_WALKERS
from arena.scene.spec import ArenaSpec
from arena.studies.plans.arena_moves import (
    LISTED,
    MOVES,
    PLACED,
    extents_of,
    moves_of,
    placed,
    points_of,
    possible_moves_of,
)

_DIGITS = 4

WALKERS = "walkers"
"""The path of how many walkers share the arena in a trial."""


@dataclass(frozen=True)
class Parameter:
    """A value of a design or an arena that a plan varies.

    ``path`` is how the plan names it. ``is_ordered``: its values are numbers, which can be drawn along an
    axis. ``may_be_none``: it can be left out, which a plan writes as none.
    """

    path: str
    reader: Reader
    is_ordered: bool = True
    may_be_none: bool = False

    @property
    def is_tolerance(self) -> bool:
        """Whether it is a tolerance of a part rather than a value."""
        return self.path.startswith("design.spread.")

    @property
    def is_given(self) -> bool:
        """Whether it is a condition that designs meet: an arena, or how many are there; else it is chosen."""
        return self.is_of_arena or self.path == WALKERS

    @property
    def is_of_arena(self) -> bool:
        """Whether it is the arena, or a value of it."""
        return self.path.partition(".")[0] == "arena"

    def label(self) -> str:
        """The path without the word design or arena at its head."""
        return self.path.partition(".")[2] or self.path

    @property
    def unit(self) -> str:
        """The SI unit of its values, or empty where they have none (shares count from 0 to 1)."""
        if isinstance(self.reader, Quantity | Points):
            return self.reader.unit
        return ""

    def show(self, value: Any) -> str:
        """Print a value shortly with its unit, like ``33k`` or ``15 mm``."""
        if value is None:
            return "none"
        if isinstance(self.reader, Quantity):
            if self.reader.unit == "ohm" and value > 0.0:
                return format_code(value, "ohm", _DIGITS)
            return format_quantity(value, self.reader.unit, _DIGITS)
        if isinstance(self.reader, Fraction):
            return f"{plain_text(100.0 * value, _DIGITS)} %"
        return self.reader.show(value)

    def exact(self, value: Any) -> str:
        """Print a value so that a plan which says it reads the very same one."""
        if value is None:
            return "none"
        if self.is_tolerance and isinstance(self.reader, Fraction):
            # a bare number would be an amount, so the sign stays whatever the digits
            number = Decimal(repr(value)) * 100
            text = f"{number:f}" if value > 1e-12 else f"{number:e}"
            return f"{text.rstrip('0').rstrip('.') if '.' in text and 'e' not in text else text} %"
        return exact_text(self.reader, value)

    def put(self, value: Any) -> Any:
        """What :func:`values_into_design` takes for a value: itself, or the text of a tolerance."""
        return self.exact(value) if self.is_tolerance else value


def parameter_at(
    path: str, designs: Sequence[Design], arenas: Sequence[ArenaSpec], like: str = ""
) -> Parameter:
    """Return the parameter at a path, which every one of the designs, or of the arenas, must have.

    ``like`` is text of its values; for a tolerance it tells whether these are shares or amounts. Raises
    KeyedError at the empty path where there is none, with the nearest ones.
    """
    if path == WALKERS:
        return Parameter(path, Number(whole=True, least=1, most=MOST_WALKERS))
    head, _, rest = path.partition(".")
    owners: Sequence[BaseModel] = designs if head == "design" else arenas if head == "arena" else ()
    found: Parameter | None = None
    for owner in owners:
        if isinstance(owner, Design):
            places = value_places(rest)
        else:
            place = place_at(owner, rest, moves_of)
            places = () if place is None else (place,)
        for place in places:
            parameter = _parameter(path, owner, place, like)
            if parameter is None:
                break
            found = found or parameter
        else:
            if places:
                continue
        raise _unknown(path, designs, arenas)
    if found is None:
        raise _unknown(path, designs, arenas)
    return found


def places_set(
    path: str, designs: Sequence[Design], arenas: Sequence[ArenaSpec]
) -> frozenset[tuple[int, KeyPath]]:
    """Return every place that a parameter sets, with the index of its design or arena.

    Two parameters that set the same place cannot both be varied. An outline counts with the moves and the
    stretches that change it.
    """
    head, _, rest = path.partition(".")
    places: set[tuple[int, KeyPath]] = set()
    for index, _ in enumerate(designs if head == "design" else ()):
        for keys in value_places(rest):
            if keys[0] == SPREAD:
                places |= {(index, ("design", SPREAD, part, keys[2])) for part in expanded(str(keys[1]))}
            else:
                places.add((index, ("design", *keys)))
    for index, spec in enumerate(arenas if head == "arena" else ()):
        place = place_at(spec, rest, moves_of)
        if place is None:
            continue
        places.add((index, ("arena", *place)))
        if place[-1] in PLACED:
            places |= {(index, ("arena", *place[:-1], word)) for word in MOVES}
    return frozenset(places)


def values_into_design(design: Design, values: Mapping[str, Any]) -> Design:
    """Return the design with SI ``values`` by path like ``design.both.latch``, checked as a whole.

    The value of a tolerance is its text, like ``5 %``, as :meth:`Parameter.put` gives it. A tolerance in
    percent stays the same share of a value that is changed; that of a part which is left out goes with it.
    Raises InputError with the reason where no such design can be.
    """
    changes = {
        place: value for path, value in values.items() for place in value_places(path.removeprefix("design."))
    }
    if None in changes.values():
        gone = {path_text(place) for place, value in changes.items() if value is None}
        spread = {part: kept for name, kept in design.spread.items() for part in parts_left(name, gone)}
        design = design.model_copy(update={"spread": spread})
        changes = {
            place: value
            for place, value in changes.items()
            if place[0] != SPREAD or str(place[1]) in parts_left(str(place[1]), gone)
        }
    return with_checked_values(design, changes, design.name)


def values_into_arena(spec: ArenaSpec, values: Mapping[str, Any]) -> ArenaSpec:
    """Return the arena with SI ``values`` by path like ``arena.shades.post.size_y``, checked as a whole.

    Moves and stretches go together. Raises InputError with the reason where no such arena can be.
    """
    changes: dict[KeyPath, Any] = {}
    wanted: dict[KeyPath, dict[str, float]] = {}
    for path, value in values.items():
        place = place_at(spec, path.removeprefix("arena."), moves_of)
        if place is None:
            raise InputError(f"{spec.name}: there is no {path}")
        if place[-1] in MOVES:
            wanted.setdefault(place[:-1], {})[str(place[-1])] = value
        else:
            changes[place] = value
    for place, moves in wanted.items():
        field, points = points_of(value_at(spec, place))
        outline = placed(points, moves)
        changes[(*place, field)] = outline if field in LISTED else outline[0]
    return with_checked_values(spec, changes, spec.name)


def known_paths(designs: Sequence[Design], arenas: Sequence[ArenaSpec]) -> list[str]:
    """Return the paths of all parameters that every one of the designs, or of the arenas, has."""
    found: list[str] = []
    for owners in (designs, arenas):
        lists = [list(_paths_of(owner)) for owner in owners]
        shared = set(lists[0]).intersection(*lists) if lists else set()
        found += [path for path in (lists[0] if lists else []) if path in shared]
    return found


def _paths_of(owner: BaseModel) -> Iterator[str]:
    if not isinstance(owner, Design):
        yield from (f"arena.{path}" for path in value_paths(owner, possible_moves_of))
        return
    plain = [
        path for path in value_paths(owner, has_items=False) if path.partition(".")[0] not in (*SIDES, SPREAD)
    ]
    sides = [list(value_paths(getattr(owner, side), has_items=False)) for side in SIDES]
    yield from (f"design.{path}" for path in plain)
    yield from (f"design.{BOTH}.{path}" for path in sides[0] if path in sides[1])
    for name, paths in zip(SIDES, sides, strict=True):
        yield from (f"design.{name}.{path}" for path in paths)
    for part, tolerance in owner.spread.items():
        word = "normal" if tolerance.uniform is None else "uniform"
        yield f"design.{SPREAD}.{part}.{word}"


def _parameter(path: str, owner: BaseModel, place: KeyPath, like: str) -> Parameter | None:
    """Return the parameter at a place of one design or arena, or None where there is no such value."""
    name = str(getattr(owner, "name", ""))
    if place[:1] == (SPREAD,):
        return _tolerance(path, place, like)
    shape = shape_at(type(owner), place)
    is_derived = isinstance(owner, ArenaSpec) and place[-1:] in [(word,) for word in MOVES]
    if shape is None and not is_derived:
        return None
    out = next((number for number in range(1, len(place)) if value_at(owner, place[:number]) is None), None)
    if out is not None:
        if shape is None:
            return None
        kind = "design" if isinstance(owner, Design) else "arena"
        got = f"{path}, but {path_text(place[:out])} is left out in {name}"
        raise KeyedError((), got, f"a value that the {kind} has")
    if is_derived:
        word = str(place[-1])
        extents = extents_of(points_of(value_at(owner, place[:-1]))[1])
        if word.startswith("size") and extents[word] == 0.0:
            got = f"{path}, which has no such extent in {name}"
            raise KeyedError((), got, "a thing with a width and a depth to be stretched")
        return Parameter(path, MOVES[word])
    if shape is None or shape.reader is None:
        return None
    return Parameter(path, shape.reader, isinstance(shape.reader, Numeric), shape.may_be_none)


def _tolerance(path: str, place: KeyPath, like: str) -> Parameter | None:
    _, part, word = place
    reader = part_reader(str(part))
    if word not in Tolerance.model_fields or reader is None:
        return None
    return Parameter(path, deviation_reader(reader, "%" in like))


def _unknown(path: str, designs: Sequence[Design], arenas: Sequence[ArenaSpec]) -> KeyedError:
    known = [WALKERS, *known_paths(designs, arenas)]
    near = [one for one in known if path and one.endswith(f".{path}")][:3]
    if not near:
        # a whole thing
        near = [one for one in known if one.startswith(f"{path.rstrip('.')}.")][:3]
    parts = path.split(".")
    if not near and len(parts) > 2 and parts[2].isdecimal():
        # a position that the list does not have, or that has no such value
        items = [one for one in known if one.startswith(f"{parts[0]}.{parts[1]}.")]
        close = difflib.get_close_matches(parts[-1], [one.rpartition(".")[2] for one in items], n=1)
        near = [one for one in items if close and one.endswith(f".{close[0]}")][:3] or items[:3]
    if not near:
        near = difflib.get_close_matches(path, known, n=3, cutoff=0.75)
        likeness = [difflib.SequenceMatcher(None, one, path).ratio() for one in near]
        near = [one for one, ratio in zip(near, likeness, strict=True) if ratio > likeness[0] - 0.05]
    if not near:
        # the end of the path may be right where its way is not
        tail = path.rpartition(".")[2]
        ends = dict.fromkeys(one.rpartition(".")[2] for one in known)
        close = difflib.get_close_matches(tail, list(ends), n=1, cutoff=0.75)
        near = [one for one in known if close and one.rpartition(".")[2] == close[0]][:3]
    near = near or difflib.get_close_matches(path, known, n=1, cutoff=0.5)
    expected = "the path of a value, like design.both.latch or arena.lamps.1.intensity"
    return KeyedError((), "no such value", expected, ", ".join(near))
