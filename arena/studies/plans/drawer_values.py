"""A plan whose values are narrowed down to what lies in a drawer."""

from pathlib import Path

from agents.design.rewriting import rewrite
from agents.drawer.contents import Drawer
from agents.drawer.stock import PLACES, choices, lacking
from agents.errors import OptionError, WorkError
from agents.text.marked_yaml import KeyPath
from arena.studies.plans.parameters import Parameter
from arena.studies.plans.plan_form import PlanForm
from arena.studies.plans.ranges import Levels, Span
from arena.studies.plans.study import Study, parse_study


def within_drawer(study: Study, drawer: Drawer) -> Study:
    """Return the study with the values of resistors, capacitors and tapes that a drawer has pieces enough of.

    Of a list or series the values that are there stay, of a range all of the drawer's that lie in it. Other
    parameters stay as they are. Raises :class:`~agents.errors.OptionError` where a parameter is left
    without a value, and where no parameter is one that a drawer could narrow.
    """
    places = {place.path: place for place in PLACES}
    changed: dict[KeyPath, str] = {}
    errors = []
    for parameter, values in zip(study.parameters, study.ranges, strict=True):
        place = places.get(parameter.label())
        if place is None or parameter.is_given:
            continue
        paths = [path for choice in choices(drawer, place) for path in choice.values]
        there = [
            float(choice.sort[1]) if place.section != "tapes" else float(choice.values[paths[0]])
            for choice in choices(drawer, place)
            if place.section in ("resistors", "capacitors", "tapes")
        ]
        if place.section == "tapes":
            # an eye without any, of which no drawer runs out
            there.append(1.0)
        kept = [value for value in sorted(there) if _is_among(value, values)]
        if not kept:
            errors.append(f"{parameter.path}: {_why(parameter, drawer, there)}")
        changed["vary", parameter.path] = ", ".join(parameter.exact(value) for value in kept)
    if errors:
        raise OptionError("\n".join(errors))
    if not changed:
        raise OptionError(f"{study.name}: varies nothing that a drawer holds, like design.both.latch")
    try:
        text = rewrite(study.text, changed, PlanForm)
    except WorkError:
        listed = ", ".join(str(path) for _, path in changed)
        raise OptionError(
            f"{study.name}: write the values of {listed} on one line each, not as lists"
        ) from None
    return parse_study(text, study.file, Path(study.file).parent, most_trials=None)


def _is_among(value: float, values: Levels | Span) -> bool:
    if isinstance(values, Levels):
        # a drawn value may differ from a listed one by the last digit
        return any(isinstance(one, float) and abs(one - value) <= 1e-9 * abs(value) for one in values.values)
    return values.low <= value <= values.high


def _why(parameter: Parameter, drawer: Drawer, there: list[float]) -> str:
    place = next(one for one in PLACES if one.path == parameter.label())
    if not there:
        return lacking(drawer, place)
    return f"the drawer has {', '.join(map(parameter.show, sorted(there)))}, none of which the plan asks for"
