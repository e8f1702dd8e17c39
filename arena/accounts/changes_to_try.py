"""Which changes of a design are worth a try in the race that it lost.

First what the bench proposes against its faults in the light that it had; then the neighbouring values that
are sold: capacitors and resistors in the steps of E6 (IEC 60063), for a race hardly tells finer ones apart,
tape, and wires bent by hand. One kind of part is changed, on both sides alike.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from agents.design.parts import Side
from agents.design.spec import Design
from agents.design.values_by_path import of_one
from agents.errors import InputError, ModelError
from agents.handbook.light_kinds import SUN
from agents.handbook.preferred_values import preferred_values
from agents.testbench.diagnosis import diagnose
from agents.testbench.possible_changes import changes
from agents.text.exact import exact_text
from agents.text.shapes import keys_of, shape_at
from agents.text.units import format_code, format_quantity
from replays.causes.bench_faults import EntryBench

# Parts in the order in which they are tried: path, name, unit, range, how many of the nearest values.
_STEPS = (
    ("storage.capacitance", "a storage capacitor", "F", (100e-6, 22e-3), 6),
    ("both.latch", "a latch resistor", "ohm", (1e3, 220e3), 6),
    ("both.feeler", "a feeler resistor", "ohm", (4.7e3, 220e3), 4),
    ("both.series", "a series resistor", "ohm", (10e3, 470e3), 2),
    ("both.coupling", "a coupling capacitor", "F", (47e-9, 10e-6), 2),
)
_TAPES = (1.0, 0.5, 0.3, 0.1)
_ASIDES = (0.02, 0.025, 0.03, 0.035, 0.04, 0.05, 0.06)
_LENGTHS = (0.03, 0.04, 0.05, 0.06, 0.08)
# Of lengths, the nearest ones on either side.
_NEAREST_LENGTHS = 2
_LARGER_PANELS = 3
# A value this near to another one, in ratio, is the same.
_SAME = 1e-6
_PANEL = "panel.current_per_light"
# Words of the bench that tell what to do, and not what to use.
_IMPERATIVES = ("bend", "exchange", "swap", "turn", "move", "set", "shorten", "lengthen", "take", "widen")


@dataclass(frozen=True)
class RaceChange:
    """One change to a design: SI values, or whole parts, by path, and what it is in words."""

    values: dict[str, Any]
    text: str

    def applied(self, design: Design) -> Design:
        """The design with the change made."""
        return design.with_values(self.values)

    @property
    def condition(self) -> str:
        """The change as the beginning of a sentence: *With a storage capacitor of ...*."""
        is_order = self.text.split(" ", 1)[0] in _IMPERATIVES
        return f"If you {self.text}," if is_order else f"With {self.text}"


def changes_to_try(
    design: Design, seen: Sequence[EntryBench], most: int, larger_panels: bool = False
) -> list[RaceChange]:
    """Up to ``most`` changes of a design, those of the bench first.

    ``seen`` is the design on the bench in lights that it had. ``larger_panels``, the dearest of all changes,
    are for one that did not arrive for want of current.
    """
    found: list[RaceChange] = []
    known: list[dict[str, Any]] = []
    panels = _larger_panels(design) if larger_panels else ()
    for change in (*_of_bench(design, seen), *panels, *neighbours(design)):
        if len(found) == most:
            break
        if change.values not in known:
            known.append(change.values)
            found.append(change)
    return found


def _of_bench(design: Design, seen: Sequence[EntryBench]) -> Iterator[RaceChange]:
    for entry in seen:
        if not entry.faults or entry.point is None:
            continue
        # the bench knows one kind of light: a panel that takes from sun what it took from the mixture
        present = design.panel.current_per_light
        mixed = present * entry.weight**design.panel.light_exponent
        try:
            reports = diagnose(design.with_values({_PANEL: mixed}), (entry.eye_lx, entry.eye_lx), SUN)
        except (ModelError, InputError):
            continue
        for report in reports:
            cure = report.cure
            if cure is None:
                continue
            change = RaceChange(dict(cure.values), cure.text)
            yield from _in_own_figures(change, mixed, present)


def _larger_panels(design: Design) -> list[RaceChange]:
    """Panels of the same cells, in the next sizes up."""
    larger = [
        RaceChange(dict(one.values), one.text)
        for one in changes(design)
        if one.values.get(_PANEL, 0.0) > design.panel.current_per_light
    ]
    return sorted(larger, key=lambda one: float(one.values[_PANEL]))[:_LARGER_PANELS]


def _in_own_figures(change: RaceChange, mixed: float, present: float) -> Iterator[RaceChange]:
    """A change found with a panel of ``mixed`` current per light, for the panel of ``present`` [A/lx]."""
    if mixed == present or _PANEL not in change.values:
        yield change
        return
    wanted = change.values[_PANEL]
    # in as many figures as are printed
    own = float(f"{wanted * present / mixed:.1e}")
    text = change.text.replace(
        f"{_current(wanted)} in place of {_current(mixed)}",
        f"{_current(own)} in place of {_current(present)}",
    )
    if text != change.text:
        yield RaceChange({**change.values, _PANEL: own}, text)


def _current(value: float) -> str:
    return format_quantity(value, "A/lx")


def neighbours(design: Design) -> Iterator[RaceChange]:
    """Changes to the neighbouring values of each kind of part, the nearest first."""
    for path, name, unit, (least, most), count in _STEPS:
        present = _present(design, path)
        if any(one is None for one in present):
            continue
        values = [one for one in preferred_values("E6", least, most) if not _alike(one, present)]
        for value in sorted(values, key=lambda one: _ratio(one, present))[:count]:
            text = f"{name} of {_shown(value, unit)}{_instead(present, unit)}{_where(path)}"
            yield RaceChange({path: value}, text)
    yield from _bent(design)


def _bent(design: Design) -> Iterator[RaceChange]:
    tapes = _present(design, "both.eye.tape")
    for tape in _TAPES:
        if not _alike(tape, tapes):
            text = f"tape that lets {100.0 * tape:.0f} % through" if tape < 1.0 else "no tape"
            yield RaceChange({"both.eye.tape": tape}, f"{text} over both eyes")
    asides = _present(design, "both.eye.aside")
    for aside in _nearest(_ASIDES, asides):
        yield RaceChange({"both.eye.aside": aside}, f"both eyes {1e3 * aside:.0f} mm from the middle")
    whiskers = [side.whisker for side in _sides(design)]
    if all(one is not None for one in whiskers):
        for length in _nearest(_LENGTHS, _present(design, "both.whisker.length")):
            yield RaceChange(
                {"both.whisker.length": length}, f"whiskers of {1e3 * length:.0f} mm on both sides"
            )


def _sides(design: Design) -> tuple[Side, Side]:
    return design.left, design.right


def _present(design: Design, path: str) -> list[float | None]:
    """The present values at a path, of either side where it means both; None where there is none."""
    first, *rest = path.split(".")
    owners: Sequence[Any] = _sides(design) if first == "both" else (getattr(design, first),)
    values = []
    for owner in owners:
        for name in rest:
            owner = None if owner is None else getattr(owner, name)
        values.append(owner)
    return values


def _ratio(value: float, present: Sequence[float | None]) -> float:
    """How far a value lies from the farther of the present ones, in ratio."""
    far = max((abs(math.log(value / one)) for one in present if one), default=0.0)
    return round(far, 9)


def _alike(value: float, present: Sequence[float | None]) -> bool:
    return all(one is not None and abs(one / value - 1.0) < _SAME for one in present)


def _nearest(values: Sequence[float], present: Sequence[float | None]) -> list[float]:
    other = [one for one in values if not _alike(one, present)]
    below = [one for one in other if one < min(one or 0.0 for one in present)]
    above = [one for one in other if one > max(one or 0.0 for one in present)]
    return [*above[:_NEAREST_LENGTHS], *below[-1:]]


def _shown(value: float, unit: str) -> str:
    return format_code(value, unit) if unit == "ohm" else format_quantity(value, unit)


def _instead(present: Sequence[float | None], unit: str) -> str:
    shown = dict.fromkeys(_shown(one, unit) for one in present if one is not None)
    return f" in place of {' and '.join(shown)}" if shown else ""


def _where(path: str) -> str:
    return " on both sides" if path.startswith("both.") else ""


def values_as_text(design: Design, values: dict[str, Any]) -> dict[str, str]:
    """What a change sets, by path, as a file says it; a whole part as those of its values that differ."""
    found: dict[str, str] = {}
    for path, value in values.items():
        for place, one in _leaves(path, value):
            if all(before == one for before in _present(design, place)):
                continue
            shape = shape_at(Design, of_one(tuple(place.split("."))))
            reader = None if shape is None else shape.reader
            found[place] = "none" if one is None else exact_text(reader, one) if reader else str(one)
    return found


def _leaves(path: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, BaseModel):
        for key, name in zip(keys_of(type(value)), type(value).model_fields, strict=True):
            yield from _leaves(f"{path}.{key}", getattr(value, name))
    else:
        yield path, value
