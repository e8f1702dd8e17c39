"""In which air a design works: the range of temperature without a fault, at a given light."""

from collections.abc import Callable

from agents.design.as_built import build
from agents.design.spec import Design
from agents.errors import OptionError
from agents.handbook.light_kinds import SUN
from agents.handbook.temperature import COLDEST_AIR, HOTTEST_AIR, NAUGHT_CELSIUS, ROOM_TEMPERATURE
from agents.testbench.bench_figures import bench_record
from agents.text.units import format_quantity

Range = tuple[float, float]

# Air in which anybody would race [K]: from a winter's day to a car in the sun.
USUAL_AIR = (NAUGHT_CELSIUS - 20.0, NAUGHT_CELSIUS + 60.0)
# Steps in which it is searched, and to what its ends are narrowed down [K].
STEP = 5.0
NEAR = 0.5


def check_air(air: float) -> None:
    """Raise OptionError for ``air`` [K] outside -40 to 85 degC."""
    if not COLDEST_AIR <= air <= HOTTEST_AIR:
        raise OptionError(
            f"air of {format_quantity(air, 'K')}; expected {format_quantity(COLDEST_AIR, 'K')} to"
            f" {format_quantity(HOTTEST_AIR, 'K')}"
        )


def working_air(
    design: Design, light: float, kind: str = SUN, between: Range = USUAL_AIR, near: float = ROOM_TEMPERATURE
) -> Range | None:
    """The temperatures of the air [K] ``between`` which a design has no fault in ``light`` [lx] of a kind.

    Of several such ranges it is the one that lies nearest to ``near`` [K]. It is searched in steps of 5 K,
    and its ends are found to half a kelvin; where it reaches an end of ``between`` it is cut off there. None
    if there is none. Raises :class:`~agents.errors.OptionError` for a range that is upside down or leaves -40
    to 85 degC, and as :func:`~agents.testbench.bench_figures.bench_point` does.

    >>> from agents.design.spec import read_design
    >>> low, high = working_air(read_design("poppy"), 3e3)
    >>> print(f"{low - 273.15:.0f} to {high - 273.15:.0f} degC")
    -20 to 40 degC
    """
    start, end = between
    check_air(start)
    check_air(end)
    if start > end:
        ends = f"{format_quantity(start, 'K')} to {format_quantity(end, 'K')}"
        raise OptionError(f"air from {ends}; expected the colder first")

    def works(air: float) -> bool:
        return not bench_record(build(design, air)[0], light, kind).faults

    count = max(1, round((end - start) / STEP)) if end > start else 0
    airs = [start + (end - start) * step / max(count, 1) for step in range(count + 1)]
    good = [works(air) for air in airs]
    places = [place for place, one in enumerate(good) if one]
    if not places:
        return None
    first = last = min(places, key=lambda place: abs(airs[place] - near))
    while first > 0 and good[first - 1]:
        first -= 1
    while last < count and good[last + 1]:
        last += 1
    low = airs[first] if first == 0 else _edge(works, airs[first], airs[first - 1])
    high = airs[last] if last == count else _edge(works, airs[last], airs[last + 1])
    return low, high


def _edge(works: Callable[[float], bool], good: float, bad: float) -> float:
    while abs(good - bad) > NEAR:
        middle = 0.5 * (good + bad)
        if works(middle):
            good = middle
        else:
            bad = middle
    return good


def in_celsius(found: Range | None) -> list[float] | None:
    """A range of temperatures in degC, for JSON."""
    return None if found is None else [end - NAUGHT_CELSIUS for end in found]


def air_words(found: Range | None, between: Range = USUAL_AIR) -> str:
    """Words for a range that :func:`working_air` has found.

    >>> air_words((253.15, 313.15)), air_words(None), air_words(USUAL_AIR)
    ('up to 40 degC', 'in no air', '-20 degC to 60 degC')
    """
    if found is None:
        return "in no air"
    low, high = (format_quantity(round(end - NAUGHT_CELSIUS) + NAUGHT_CELSIUS, "K") for end in found)
    if found[0] == between[0] and found[1] < between[1]:
        return f"up to {high}"
    if found[1] == between[1] and found[0] > between[0]:
        return f"from {low} on"
    return f"{low} to {high}"
