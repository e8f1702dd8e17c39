"""The rules of a class, and which part of a walker breaks them."""

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress

from agents.design.spec import Design
from agents.design.values_by_path import expanded
from agents.text.keyed_errors import KeyedError, KeyedErrors, UnreadError
from agents.text.readers import QuantityError
from agents.text.units import format_quantity
from arena.races.race_form import RulesForm
from arena.studies.plans.parameters import Parameter, parameter_at
from arena.studies.plans.ranges import Levels, read_range

# What a crystalline silicon cell gives at the most with no load in full sun [V]; from memory. One that is
# allowed so many cells is never wrongly refused.
CELL_VOLTAGE = 0.7
# Full sun [lx].
FULL_SUN = 100e3
# Values that are the same but for rounding.
_SAME = 1e-9

Rule = Callable[[Design], Sequence[str]]
"""Tells in words, part by part, how a design breaks a rule; a further one may be given to :func:`broken`."""


def rule_faults(rules: RulesForm) -> Iterator[KeyedError]:
    """Yield where values or prices of rules name what no design has, or cannot be read."""
    for check in (_value_faults, _price_faults, _cost_faults):
        with suppress(UnreadError):
            yield from check(rules)


def _value_faults(rules: RulesForm) -> Iterator[KeyedError]:
    for path, text in rules.values.items():
        try:
            with suppress(UnreadError):
                read_range(text, _parameter(path))
        except KeyedErrors as found:
            for one in found.errors:
                yield KeyedError(("values", path, *one.path), one.got, one.expected, one.near)
        except KeyedError as one:
            yield KeyedError(("values", path), one.got, one.expected, one.near)


def _price_faults(rules: RulesForm) -> Iterator[KeyedError]:
    for path, prices in rules.prices.items():
        try:
            reader = _parameter(path).reader
        except KeyedError as one:
            yield KeyedError(("prices", path), one.got, one.expected, one.near)
            continue
        with suppress(UnreadError):
            for text, price in prices.items():
                for read, given in ((reader.read, text), (_price, price)):
                    try:
                        with suppress(UnreadError):
                            read(given)
                    except QuantityError as one:
                        yield KeyedError(("prices", path, text), one.got, one.expected, one.near)


def _cost_faults(rules: RulesForm) -> Iterator[KeyedError]:
    if rules.is_given("cost") and not rules.prices:
        yield KeyedError(("cost",), "a limit on cost without prices", "prices beside it")


def broken(design: Design, rules: RulesForm, also: Sequence[Rule] = ()) -> list[str]:
    """Every rule that a design breaks, in words: the part, its value, and what is allowed."""
    found = [*_storage(design, rules), *_cells(design, rules), *_values(design, rules)]
    found += _cost(design, rules)
    for rule in also:
        found += rule(design)
    return found


def cost_of(design: Design, rules: RulesForm) -> tuple[float, list[str]]:
    """What the parts of a design cost by the prices of the rules, and the parts that have no price."""
    total, unpriced = 0.0, []
    for path, prices in rules.prices.items():
        reader = _parameter(path).reader
        known = [(reader.read(text), _price(price)) for text, price in prices.items()]
        for place in expanded(path):
            value = design.value_at(place)
            if value is None:
                continue
            fitting = [price for one, price in known if _is_same(one, value)]
            if fitting:
                total += fitting[0]
            else:
                unpriced.append(f"{place} {_parameter(path).show(value)}")
    return total, unpriced


def _storage(design: Design, rules: RulesForm) -> list[str]:
    found = design.storage.capacitance
    if rules.storage is None or found <= rules.storage * (1.0 + _SAME):
        return []
    return [
        f"storage.capacitance: {format_quantity(found, 'F')}, allowed are at most "
        f"{format_quantity(rules.storage, 'F')}"
    ]


def _cells(design: Design, rules: RulesForm) -> list[str]:
    if rules.cells is None:
        return []
    panel = design.panel
    current = panel.current_per_light * FULL_SUN
    # above the root of the single-diode equation, whatever the shunt takes
    voltage = min(
        panel.junction_voltage * math.log1p(current / panel.saturation_current),
        current * panel.shunt_resistance,
    )
    cells = math.ceil(voltage / CELL_VOLTAGE - _SAME)
    if cells <= rules.cells:
        return []
    return [
        f"panel: {voltage:.2f} V with no load in full sun, which takes at least {cells} silicon cells in "
        f"series; allowed are at most {rules.cells}"
    ]


def _values(design: Design, rules: RulesForm) -> list[str]:
    found = []
    for path, text in rules.values.items():
        parameter = _parameter(path)
        allowed = read_range(text, parameter)
        words = text if isinstance(text, str) else ", ".join(text)
        for place in expanded(path):
            value = design.value_at(place)
            if isinstance(allowed, Levels):
                fits = any(_is_same(one, value) for one in allowed.values)
            else:
                slack = _SAME * max(abs(allowed.low), abs(allowed.high))
                fits = value is not None and allowed.low - slack <= value <= allowed.high + slack
            if not fits:
                shown = "none" if value is None else parameter.show(value)
                found.append(f"{place}: {shown}, allowed are {words}")
    return found


def _cost(design: Design, rules: RulesForm) -> list[str]:
    if rules.cost is None:
        return []
    total, unpriced = cost_of(design, rules)
    found = [f"{part}: has no price in the rules, so it cannot be bought" for part in unpriced]
    if total > rules.cost * (1.0 + _SAME):
        found.append(f"cost: {total:.2f}, allowed are at most {rules.cost:.2f}")
    return found


def _is_same(one: object, other: object) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return math.isclose(one, other, rel_tol=_SAME, abs_tol=1e-15)
    return one == other


def _parameter(path: str) -> Parameter:
    """The value of a design at a path. Raises KeyedError where there is none of the sort."""
    try:
        return parameter_at(f"design.{path}", [Design(name="any")], [], path)
    except KeyedError as error:
        near = error.near.removeprefix("design.")
        raise KeyedError(
            error.path, f"no part value {path!r}", "the path of a value, like both.latch", near
        ) from None


def _price(text: str) -> float:
    """A price. Raises QuantityError."""
    from agents.text.quantities import Number

    return float(Number(least=0.0, most=1e6).read(text))
