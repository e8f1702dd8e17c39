"""What readings tell: against scipy on a straight case, and against builds whose parts are known."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import optimize

from agents.design.changing import change_design
from agents.design.spec import Design, read_design
from agents.errors import OptionError
from agents.fitting.fit import ERRORS, NEVER, FitModel, errors_of, fit_design
from agents.fitting.least_squares import most_likely
from agents.fitting.next_reading import next_readings
from agents.fitting.readings import Reading
from agents.fitting.unknowns import Unknown, unknowns_of, values_at

# What a builder reads in an evening.
EVENING = [
    *(Reading(2, key, 0.0, 1e3) for key in ("trigger", "let_go", "between", "turn")),
    *(Reading(3, key, 0.0, 6e3) for key in ("trigger", "let_go", "between", "turn")),
    Reading(4, "trigger", 0.0, 1e3, pressed=True),
    Reading(5, "stall", 0.0, stall_voltage=1.5),
]


def test_a_straight_case_as_scipy_has_it() -> None:
    """Values and covariance as scipy.optimize.curve_fit has them, for which what is known is a reading."""
    rng = np.random.default_rng(5)
    slopes, offsets = rng.normal(size=(7, 3)), rng.normal(size=7)
    errors = rng.uniform(0.2, 2.0, 7)
    readings = offsets + slopes @ np.array([0.5, -1.0, 0.2]) + errors * rng.normal(size=7)
    ours = most_likely(lambda unknowns: offsets + slopes @ unknowns, readings, errors, 3)

    def straight(_: object, *unknowns: float) -> np.ndarray:
        return np.concatenate([offsets + slopes @ np.array(unknowns), unknowns])

    theirs, covariance = optimize.curve_fit(
        straight,
        np.zeros(10),
        np.concatenate([readings, np.zeros(3)]),
        p0=np.zeros(3),
        sigma=np.concatenate([errors, np.ones(3)]),
        absolute_sigma=True,
    )
    assert ours.unknowns == pytest.approx(theirs, abs=1e-5)
    assert ours.covariance == pytest.approx(covariance, rel=1e-4, abs=1e-6)


@cache
def poppy() -> Design:
    return read_design("poppy")


def hidden_build(rng: np.random.Generator, rows: list[Reading]) -> tuple[dict[str, float], list[Reading]]:
    """Parts of a build by chance, and its readings with the errors of meter, clock and protractor."""
    unknowns = unknowns_of(poppy(), {row.key for row in rows}, False)
    while True:
        steps = rng.normal(size=len(unknowns))
        shown = FitModel(poppy(), unknowns, rows)(steps)
        if np.all(shown < NEVER):
            break
    exact = [replace(row, value=float(value)) for row, value in zip(rows, shown, strict=True)]
    noise = errors_of(exact, ERRORS) * rng.normal(size=len(rows))
    noisy = [replace(row, value=row.value + float(one)) for row, one in zip(exact, noise, strict=True)]
    return values_at(unknowns, steps), noisy


@pytest.mark.parametrize("part", range(4))
def test_true_values_of_hidden_builds_lie_within_their_intervals(part: int) -> None:
    """200 builds in four parts; 95 % intervals hold the true value in about 95 %."""
    rng = np.random.default_rng(part)
    inside, suits = [], []
    for _ in range(50):
        true, readings = hidden_build(rng, EVENING)
        fit = fit_design(poppy(), readings)
        suits.append(fit.suits)
        inside += [one.low <= true[one.path] <= one.high for one in fit.parts]
    # 50 builds of 16 parts each; intervals of one build hang together, so the bounds are those of 50 clusters
    assert sum(suits) >= 49
    assert 0.91 < np.mean(inside) < 0.985


@pytest.mark.parametrize(
    ("place", "factor", "words"),
    [(2, 10.0, "decimal point"), (6, 1.0 / 60.0, "minutes"), (0, 1e-1, "decimal point")],
)
def test_a_slip_is_found_and_told(place: int, factor: float, words: str) -> None:
    _, readings = hidden_build(np.random.default_rng(13), EVENING)
    readings[place] = replace(readings[place], value=readings[place].value * factor)
    fit = fit_design(poppy(), readings)
    assert [one.is_slip for one in fit.misfits] == [number == place for number in range(len(readings))]
    assert words in fit.misfits[place].hint
    assert fit.suits


def test_readings_of_quite_another_walker_are_told() -> None:
    other = change_design(poppy(), {"both.motor.resistance": "60 ohm", "storage.capacitance": "470 uF"})
    shown = FitModel(other, [], EVENING)(np.zeros(0))
    readings = [replace(row, value=float(value)) for row, value in zip(EVENING, shown, strict=True)]
    assert not fit_design(poppy(), readings).suits


def test_the_fitted_design_shows_what_was_read() -> None:
    _, readings = hidden_build(np.random.default_rng(3), EVENING)
    fit = fit_design(poppy(), readings)
    assert fit.learnt
    shown = FitModel(fit.fitted_design, [], readings)(np.zeros(0))
    off = (shown - [one.value for one in readings]) / errors_of(readings, ERRORS)
    assert np.max(np.abs(off)) < 4.0


def test_more_readings_never_leave_a_part_more_open() -> None:
    _, readings = hidden_build(np.random.default_rng(4), EVENING)
    few = {one.path: one.narrowed for one in fit_design(poppy(), readings[:3]).parts}
    for one in fit_design(poppy(), readings).parts:
        assert one.narrowed <= few.get(one.path, 1.0) + 0.08, one.path


def test_what_the_stall_current_alone_tells() -> None:
    [reading] = [replace(EVENING[-1], value=1.5 / 31.0)]
    fit = fit_design(poppy(), [reading])
    [motor] = fit.parts
    # two normal errors, 4 % beforehand as the spread says and 2 % of the meter, meet at their weighed mean
    weight = 0.04**2 / (0.04**2 + 0.02**2)
    assert math.log(motor.value / 28.0) == pytest.approx(weight * math.log(31.0 / 28.0), rel=0.02)
    assert motor.narrowed == pytest.approx(math.sqrt(1.0 - weight), rel=0.02)


def test_capacitor_and_panel_are_told_only_together_by_the_clock_alone() -> None:
    readings = [Reading(2, "between", 16.0, 10e3), Reading(3, "between", 5.3, 30e3)]
    loose = change_design(
        poppy(),
        {"spread.panel.current_per_light.normal": "15 %", "spread.panel.current_per_light.bound": "60 %"},
    )
    fit = fit_design(loose, readings)
    assert ("panel.current_per_light", "storage.capacitance") in fit.tied


def test_the_reading_advised_narrows_as_it_says() -> None:
    _, readings = hidden_build(np.random.default_rng(8), EVENING[:2])
    fit = fit_design(poppy(), readings)
    advice = next_readings(fit, 1)[0]
    after = fit_design(poppy(), [*readings, replace(advice.reading, line=9)])
    [part] = [one for one in after.parts if one.path == advice.path]
    assert part.narrowed <= advice.then + 0.03 < advice.now


def test_sides_are_told_apart_where_the_table_says_which() -> None:
    rows = [Reading(2, "stall", 1.5 / 27.0, side="left", stall_voltage=1.5)]
    rows.append(Reading(3, "stall", 1.5 / 30.0, side="right", stall_voltage=1.5))
    values = fit_design(poppy(), rows).fitted_values
    assert values["left.motor.resistance"] < 28.0 < values["right.motor.resistance"]


@pytest.mark.parametrize(
    ("readings", "part"),
    [
        ([], "no reading"),
        ([Reading(2, "trigger", 3.0, 1e3, pressed=True)], "would show none"),
        ([Reading(2, "between", 3.0, 0.5)], "would show none"),
    ],
)
def test_what_nothing_can_be_learnt_from(readings: list[Reading], part: str) -> None:
    design = change_design(poppy(), {"both.whisker": "none", "spread.both.feeler.uniform": "5 %"})
    with pytest.raises(OptionError, match=part):
        fit_design(design, readings)


def test_an_unknown_goes_by_ratio_or_by_amount() -> None:
    assert Unknown("both.latch", 10e3, 0.05, False).at(2.0) == pytest.approx(10e3 * math.exp(0.1))
    assert Unknown("both.eye.dark_trigger", 2.2, 0.03, True).at(-1.0) == pytest.approx(2.17)
