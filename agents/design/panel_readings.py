"""A panel as its label and a meter give it: voltages and currents in known light, solved to a diode's values.

A reading is what a label says, or what a meter and a lux meter say of the panel alone: the open-circuit
voltage, the short-circuit current, and where it is known the point of greatest power. The values of the
single-diode equation (:mod:`agents.circuit.panel`) are those of which the residuals below come nearest to
nought, each a share of what was read, by least squares; V_d is the voltage at the junction.

    short circuit   I_ph - I_0 (exp(V_d / a) - 1) - V_d / R_sh = I_sc,               V_d = I_sc R_s
    open circuit    a ln(1 + (I_ph - V_oc / R_sh) / I_0) = V_oc
    best point      a ln(1 + (I_ph - I_mp - V_d / R_sh) / I_0) - I_mp R_s = V_mp,    V_d = V_mp + I_mp R_s
                    V_mp g / (1 + g R_s) = I_mp,   g = (I_ph - I_mp - V_d / R_sh + I_0) / a + 1 / R_sh

The last is d(V I) / dV = 0. Source: the usual conditions at the three points of a data sheet, as in De Soto,
Klein and Beckman, Solar Energy 80 (2006), there with a fifth one for temperature. As many values are free as
there are readings to tell them. Readings are those of a panel at 25 degC, as labels are: in the sun, of one
that was uncovered seconds ago.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise, product
from typing import Annotated

import numpy as np
from pydantic import Field

from agents.arrays import FloatArray
from agents.handbook.formulae import thermal_voltage
from agents.handbook.light_kinds import KINDS, SAME_KINDS, SUN, kind_index, panel_weights
from agents.text.keyed_errors import KeyedError, KeyedErrors, UnreadError, cross_check
from agents.text.quantities import Quantity
from agents.text.readers import Word
from agents.text.shapes import BaseSpec
from agents.text.units import format_quantity

MOST_READINGS = 8
# No cell has a fill factor above this; the best ones of crystalline silicon come to 0.86 (from memory).
BEST_FILL_FACTOR = 0.9
# Readings have no more digits than this; a worst difference above that is no fit.
GOOD_DIFFERENCE = 1e-4
WORST_DIFFERENCE = 0.25
# Ideality of a cell where neither a best point nor a second light tells it; from memory.
IDEALITIES = {"crystalline-silicon": 1.3, "amorphous-silicon": 1.8, "flat": 1.5}
CELL_TEMPERATURE = 298.15  # [K]

Volts = Annotated[float, Quantity("V", least=0.01, most=100.0)]
Amperes = Annotated[float, Quantity("A", least=1e-9, most=100.0)]


class PanelReading(BaseSpec):
    """What a label or a meter says of a panel in one light."""

    light: Annotated[float, Quantity("lx", least=1.0, most=1e6)] = Field(
        title="light", description="light on the panel; 1000 W/m2 of the reference sun are 109.5 klx"
    )
    kind: Annotated[str, Word(KINDS, tuple(SAME_KINDS.items()))] = Field(
        SUN, title="light kind", description="kind of that light"
    )
    open_circuit: Volts = Field(title="open-circuit voltage", description="voltage with nothing connected")
    short_circuit: Amperes = Field(
        title="short-circuit current", description="current through the meter alone"
    )
    best_voltage: Volts | None = Field(
        None, title="voltage at greatest power", description="voltage at the point of greatest power"
    )
    best_current: Amperes | None = Field(
        None, title="current at greatest power", description="current at the point of greatest power"
    )

    @cross_check
    def _check_best_point(self) -> Iterator[KeyedError]:
        missing = [one for one in ("best_voltage", "best_current") if not self.is_given(one)]
        if len(missing) == 1:
            got = f"a point of greatest power without {missing[0]}"
            yield KeyedError((), got, "both best_voltage and best_current, or none of them")
        if missing:
            return
        outside = False
        # the curve falls and is concave, so that it lies above its chord and below its tangent at that point
        pairs = ("best_voltage", "open_circuit", "V"), ("best_current", "short_circuit", "A")
        for key, name, unit in pairs:
            with suppress(UnreadError):
                best, whole = getattr(self, key), getattr(self, name)
                if not 0.5 * whole <= best < whole:
                    outside = True
                    least, most = format_quantity(0.5 * whole, unit), format_quantity(whole, unit)
                    expected = f"at least {least}, and less than the {most} of {name}"
                    yield KeyedError((key,), format_quantity(best, unit), expected)
        if not outside and self.fill_factor > BEST_FILL_FACTOR:
            yield KeyedError(
                ("best_current",),
                f"a fill factor of {self.fill_factor:.2f}",
                f"best_voltage times best_current of at most {BEST_FILL_FACTOR} of open_circuit times "
                "short_circuit",
            )

    @property
    def fill_factor(self) -> float:
        """Greatest power over open-circuit voltage times short-circuit current; nan where it is not known."""
        if self.best_voltage is None or self.best_current is None:
            return math.nan
        return self.best_voltage * self.best_current / (self.open_circuit * self.short_circuit)


@dataclass(frozen=True)
class ReadingFit:
    """By what share of itself each reading differs from what the panel's values give; None where not read.

    ``best_voltage`` is the panel's at the current that was read, ``best_slope`` how far the power is from its
    greatest there: 0 where the current falls by just its own share as the voltage rises.
    """

    reading: PanelReading
    open_circuit: float
    short_circuit: float
    best_voltage: float | None
    best_slope: float | None

    @property
    def worst(self) -> float:
        """The greatest of the differences, without its sign."""
        found = (self.open_circuit, self.short_circuit, self.best_voltage, self.best_slope)
        return max(abs(one) for one in found if one is not None)


# The values of the diode by the panel's keys, their ranges, and those that are sought by their logarithm.
_RANGES = {
    "current_per_light": (1e-10, 1e-4),
    "light_exponent": (0.3, 1.5),
    "saturation_current": (1e-18, 1e-3),
    "junction_voltage": (0.02, 2.0),
    "series_resistance": (0.0, 1e5),
    "shunt_resistance": (10.0, 1e12),
}
_PLAIN = ("light_exponent", "series_resistance")
SOLVED = (*_RANGES, "measured_light")
"""Keys of the panel that readings give."""

Values = Mapping[str, float]


def _residuals(values: Values, lights: FloatArray, readings: Sequence[PanelReading]) -> list[list[float]]:
    """Open circuit, short circuit, and voltage and slope at the best point of each reading, as shares."""
    saturation, thermal = values["saturation_current"], values["junction_voltage"]
    series, leak = values["series_resistance"], 1.0 / values["shunt_resistance"]
    known, exponent = values["measured_light"], values["light_exponent"]
    found = []
    for light, one in zip(lights, readings, strict=True):
        photo = values["current_per_light"] * known * (light / known) ** exponent

        def voltage(left: float) -> float:
            # goes on falling where the light could not give as much, so that a search finds back
            left /= saturation
            return thermal * (math.log1p(left) if left > 0.0 else left)

        drop = min(one.short_circuit * series, 50.0 * thermal)
        short = photo - saturation * math.expm1(drop / thermal) - drop * leak
        row = [
            voltage(photo - one.open_circuit * leak) / one.open_circuit - 1.0,
            short / one.short_circuit - 1.0,
        ]
        if one.best_voltage is not None and one.best_current is not None:
            junction = one.best_voltage + one.best_current * series
            left = photo - one.best_current - junction * leak
            slope = max(left + saturation, 1e-12 * photo) / thermal + leak
            row.append((voltage(left) - one.best_current * series) / one.best_voltage - 1.0)
            row.append(one.best_voltage * slope / (1.0 + slope * series) / one.best_current - 1.0)
        found.append(row)
    return found


def fit_of(values: Values, response: str, readings: Sequence[PanelReading]) -> tuple[ReadingFit, ...]:
    """Return how far the panel's ``values``, by its keys, are from each reading."""
    rows = _residuals(values, lights_worth(response, readings), readings)
    return tuple(
        ReadingFit(one, *map(float, row), *(None,) * (4 - len(row)))
        for one, row in zip(readings, rows, strict=True)
    )


def lights_worth(response: str, readings: Sequence[PanelReading]) -> FloatArray:
    """The light [lx] of each reading by its worth in sun."""
    weights = panel_weights(response)
    return np.array([weights[kind_index(one.kind)] * one.light for one in readings])


def reading_faults(response: str, readings: Sequence[PanelReading]) -> Iterator[KeyedError]:
    """Yield where readings contradict one another: more light never gives less."""
    if len(readings) > MOST_READINGS:
        yield KeyedError(("label",), f"{len(readings)} readings", f"at most {MOST_READINGS}")
        return
    worth: list[tuple[float, int]] = []
    for number, one in enumerate(readings):
        with suppress(UnreadError):
            worth.append((float(lights_worth(response, [one])[0]), number))
    for (less_light, dim), (more_light, bright) in pairwise(sorted(worth)):
        if more_light <= less_light * (1.0 + 1e-9):
            continue
        for key, unit in (("short_circuit", "A"), ("open_circuit", "V")):
            with suppress(UnreadError):
                less, more = getattr(readings[dim], key), getattr(readings[bright], key)
                if more <= less:
                    where = f"{format_quantity(readings[dim].light, 'lx')} ({readings[dim].kind})"
                    yield KeyedError(
                        ("label", bright, key),
                        format_quantity(more, unit),
                        f"more than the {format_quantity(less, unit)} of {where}, which is worth less light",
                    )


@lru_cache(64)
def solve_readings(response: str, readings: tuple[PanelReading, ...], cells: int | None) -> dict[str, float]:
    """Return the values of the panel, by its keys, that fit its ``readings`` best, to six digits.

    Raises KeyedErrors where readings contradict one another, where too little is read, and where no diode
    comes near them.
    """
    if faults := list(reading_faults(response, readings)):
        raise KeyedErrors(faults)
    lights = lights_worth(response, readings)
    fixed = {"measured_light": float(f"{lights[0]:.6g}")}
    has_best = any(one.best_voltage is not None for one in readings)
    spread = float(lights.max() / lights.min())
    if spread < 2.0:
        fixed["light_exponent"] = 1.0
    if not has_best:
        fixed["series_resistance"] = 10.0
        if spread < 2.0:
            if cells is None:
                got = "voltage and current in one light, from which n N V_T cannot be told"
                expected = "best_voltage and best_current, a reading in other light, or cells of the panel"
                raise KeyedErrors([KeyedError(("label",), got, expected)])
            fixed["junction_voltage"] = cells * IDEALITIES[response] * thermal_voltage(CELL_TEMPERATURE)
    best: dict[str, float] = {}
    worst = math.inf
    tries = [{"shunt_resistance": 10e6, **fixed}]
    if has_best:
        # a shunt only where the series resistance alone does not do; for one reading first in its place
        tries += [{"series_resistance": 0.0, **fixed}, fixed] if len(readings) == 1 else [fixed]
    for held, steepness in product(tries, (0.5, 0.9)):
        found = _solved(held, lights, readings, steepness)
        off = max(abs(one) for row in _residuals(found, lights, readings) for one in row)
        if off < 0.9 * worst:
            best, worst = found, off
        if worst < GOOD_DIFFERENCE:
            break
    if not worst < WORST_DIFFERENCE:
        rows = [max(map(abs, row)) for row in _residuals(best, lights, readings)]
        got = f"a reading that the nearest panel misses by {100.0 * max(rows):.0f} %"
        expected = "readings of one panel, that a single diode can give"
        raise KeyedErrors([KeyedError(("label", int(np.argmax(rows))), got, expected)])
    return {key: best[key] for key in SOLVED}


def _solved(
    fixed: Values, lights: FloatArray, readings: Sequence[PanelReading], steepness: float
) -> dict[str, float]:
    """The values nearest to the readings, from a beginning of which ``steepness`` is a guess of n N V_T.

    In parts of what it would be with neither resistance.
    """
    from scipy.optimize import least_squares

    first = readings[int(np.argmax([one.best_voltage is not None for one in readings]))]
    if first.best_voltage is not None and first.best_current is not None:
        thermal = (first.short_circuit - first.best_current) * first.best_voltage / first.best_current
    else:
        thermal = 0.05 * first.open_circuit
    thermal = fixed.get("junction_voltage", min(max(steepness * thermal, 0.021), 1.9))
    saturation = first.short_circuit / math.expm1(min(first.open_circuit / thermal, 600.0))
    start = {
        "current_per_light": readings[0].short_circuit / float(lights[0]),
        "light_exponent": 0.9,
        "saturation_current": min(max(saturation, 2e-18), 5e-4),
        "junction_voltage": thermal,
        "series_resistance": 0.02 * first.open_circuit / first.short_circuit,
        "shunt_resistance": 3.0 * max(one.open_circuit / one.short_circuit for one in readings),
    }
    free = [key for key in _RANGES if key not in fixed]
    # series resistance is sought in parts of V_oc / I_sc, so that all steps are of like size
    units = dict.fromkeys(free, 1.0) | {"series_resistance": first.open_circuit / first.short_circuit}

    def taken(key: str, value: float) -> float:
        return value / units[key] if key in _PLAIN else math.log(value)

    def values_at(place: FloatArray) -> dict[str, float]:
        values = dict(fixed)
        for key, one in zip(free, place, strict=True):
            values[key] = float(one) * units[key] if key in _PLAIN else math.exp(float(one))
        return values

    def differences(place: FloatArray) -> FloatArray:
        return np.array([one for row in _residuals(values_at(place), lights, readings) for one in row])

    least, most = (np.array([taken(key, _RANGES[key][end]) for key in free]) for end in (0, 1))
    begin = np.clip([taken(key, start[key]) for key in free], least + 1e-6, most - 1e-6)
    solution = least_squares(
        differences,
        begin,
        bounds=(least, most),
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
        max_nfev=300,
    )
    found = values_at(solution.x)
    return {key: float(f"{value:.6g}") for key, value in found.items()} | dict(fixed)
