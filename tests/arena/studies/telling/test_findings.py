"""What titles of pictures say of made-up results: what is told apart, and nothing where nothing is."""

import math

import numpy as np
import pytest

from agents.text.units import format_code
from arena.studies.statistics.comparison import compare
from arena.studies.statistics.estimates import Estimates, estimate_all
from arena.studies.statistics.factors import Factor, Table
from arena.studies.statistics.sensitivities import sensitivity
from arena.studies.telling.findings import Found, by_intervals, finding, finding_of_map
from arena.studies.telling.lines_shown import lines_shown, spoken
from arena.studies.trial_scores import SCORES

REACHED, REACH_TIME, SHADES = SCORES["reached"], SCORES["reach time"], SCORES["shades"]
OHMS = (10e3, 33e3, 47e3, 100e3, 220e3)


def resistors(values: tuple[float, ...] = OHMS, title: str = "feeler resistor") -> Factor:
    shown = tuple(format_code(value, "ohm") for value in values)
    return Factor("both.feeler", values, shown, True, True, "ohm", title=title)


def arrivals(shares: list[float], repeats: int = 200, seed: int = 0) -> np.ndarray:
    """Ones and noughts (settings, repeats) whose shares are exactly these."""
    generator = np.random.default_rng(seed)
    rows = [np.arange(repeats) < round(share * repeats) for share in shares]
    return np.array([generator.permutation(row) for row in rows], dtype=np.float64)


def found(values: np.ndarray) -> Found:
    told = compare(REACHED, values)
    return Found(told.best, told.alike, told.worse, told.estimates)


def test_a_title_tells_the_best_range_and_from_where_on_it_gets_worse() -> None:
    line = found(arrivals([0.84, 0.85, 0.60, 0.40, 0.20]))
    assert finding(REACHED, resistors(), [("", line)]) == (
        "Feeler resistor: 33k or less is best, 85 % [79, 89] at 33k; "
        "the more the worse from 47k on, 20 % [15, 26] at 220k"
    )


def test_a_title_is_silent_where_nothing_is_told_apart() -> None:
    line = found(arrivals([0.80, 0.82, 0.79, 0.81, 0.80]))
    told = finding(REACHED, resistors(), [("", line)])
    assert told == "Feeler resistor: no significant difference between 10k and 220k"
    both = [("latch resistor 10k", line), ("latch resistor 47k", line)]
    assert finding(REACHED, resistors(), both) == f"{told}, on every line"


def test_lines_that_say_different_things_are_told_one_by_one() -> None:
    lines = [
        ("latch resistor 10k", found(arrivals([0.85, 0.84, 0.60, 0.58, 0.59]))),
        ("latch resistor 47k", found(arrivals([0.20, 0.85, 0.84, 0.50, 0.20]))),
    ]
    assert finding(REACHED, resistors(), lines) == (
        "Feeler resistor with latch resistor 10k: 33k or less is best, worse from 47k on; "
        "with 47k: 33k to 47k is best, worse at 10k, worse from 100k on"
    )


def test_two_values_and_names_are_told_in_words_of_their_own() -> None:
    pair = found(arrivals([0.2, 0.9]))
    told = finding(REACHED, resistors((10e3, 47e3)), [("", pair)])
    assert told == "Feeler resistor: 47k is better than 10k, 90 % [85, 93] against 20 % [15, 26]"
    names = ("poppy", "cress", "lentil")
    three = found(arrivals([0.2, 0.9, 0.88]))
    told = finding(REACHED, Factor("design", names, names, False), [("", three)])
    assert told == "Design: cress is best, 90 % [85, 93]; poppy is worse; not told from it: lentil"


def test_ranges_of_drawn_values_are_told_by_their_outer_ends() -> None:
    shown = ("1k to 2k", "3k to 4k", "5k to 6k", "7k to 8k")
    drawn = Factor("feeler", (1.5e3, 3.5e3, 5.5e3, 7.5e3), shown, True, False, "ohm", is_binned=True)
    told = finding(REACHED, drawn, [("", found(arrivals([0.9, 0.9, 0.3, 0.3])))])
    assert told.startswith("Feeler: 4k or less is best, 90 % [85, 93] at 1k to 2k; worse from 5k on, ")
    told = finding(REACHED, drawn, [("", found(arrivals([0.3, 0.2, 0.9, 0.9])))])
    assert told.startswith("Feeler: 5k or more is best, 90 % [85, 93] at 5k to 6k; worse at 4k and less, ")
    told = finding(REACHED, drawn, [("", found(arrivals([0.5, 0.5, 0.5, 0.5])))])
    assert told == "Feeler: no significant difference between 1k and 8k"


@pytest.mark.parametrize("repeats", [5, 40])
def test_lines_of_many_settings_are_told_apart_by_their_intervals(repeats: int) -> None:
    value = np.array([0.8, 0.78, 0.2])
    one = Estimates(value, value - 0.1, value + 0.1, np.full(3, repeats), ("bootstrap",) * 3)
    told = by_intervals(REACHED, one)
    # five repeats are too few to tell three levels apart, however far the figures
    assert (told.best, told.worse.tolist()) == (0, [False, False, repeats > 5])
    endless = Estimates(
        np.array([90.0, math.inf]),
        np.array([80.0, 300.0]),
        np.array([100.0, math.inf]),
        np.full(2, 40),
        ("bootstrap",) * 2,
    )
    assert by_intervals(REACH_TIME, endless).worse.tolist() == [False, True]
    inf = np.full(2, math.inf)
    never = Estimates(inf, inf, inf, np.full(2, 40), ("bootstrap",) * 2)
    words = finding(REACH_TIME, resistors((10e3, 47e3)), [("", by_intervals(REACH_TIME, never))])
    assert words == "Feeler resistor: not within the run, at any value"


def test_no_line_hides_82_against_20_percent() -> None:
    """Feeler by latch by frame: the latch turns the feeler's answer round, the frame does nothing."""
    latches = Factor("both.latch", (10e3, 47e3), ("10k", "47k"), True, True, "ohm", title="latch resistor")
    frames = Factor("body.track", (0.03, 0.04), ("30 mm", "40 mm"), True, False, "m", title="track")
    places = np.array([(feeler, latch, frame) for feeler in (0, 1) for latch in (0, 1) for frame in (0, 1)])
    table = Table((resistors((10e3, 220e3)), latches, frames), places)
    shares = [0.82, 0.82, 0.20, 0.20, 0.20, 0.20, 0.82, 0.82]
    values = arrivals(shares)
    effects = sensitivity(REACHED, values, None, table)
    shown = lines_shown(REACHED, values, None, table, 0, effects)
    assert (shown.series, shown.panels) == (("latch resistor 10k", "latch resistor 47k"), ("",))
    figures = [one.value.tolist() for one in shown.lines[0]]
    assert figures == [pytest.approx([0.82, 0.20]), pytest.approx([0.20, 0.82])]
    assert shown.notes == ("over all values of track, which is not told to matter",)
    assert finding(REACHED, shown.factor, shown.found) == (
        "Feeler resistor with latch resistor 10k: 10k is better than 220k; with 47k: 220k is better than 10k"
    )


def test_a_second_factor_that_matters_gets_plots_of_its_own_and_many_levels_are_picked() -> None:
    levels = tuple(float(level) for level in range(9))
    many = Factor("a", levels, tuple(f"{level:g}" for level in levels), True)
    places = np.array([(x, y, z) for x in (0, 1) for y in range(9) for z in (0, 1, 2)])
    two, three = (Factor(name, levels[:n], many.shown[:n], True) for name, n in (("b", 2), ("c", 3)))
    table = Table((two, many, three), places)
    values = arrivals([0.1 + 0.05 * y + 0.2 * z for _, y, z in places.tolist()], 60)
    shown = lines_shown(REACHED, values, None, table, 0, None)
    assert (len(shown.series), len(shown.panels), len(shown.found)) == (6, 3, 18)
    assert shown.series[0] == "a 0"
    assert shown.series[-1] == "a 8"
    assert shown.notes == ("6 of 9 values of a",)
    # a line is of single settings, as they are estimated by themselves
    own = estimate_all(REACHED, values[[3 * 8 + 2, 27 + 3 * 8 + 2]])
    last = shown.lines[2][5]
    assert (last.value.tolist(), last.low.tolist()) == (own.value.tolist(), own.low.tolist())


def test_eye_spacing_is_the_distance_of_the_eyes_from_one_another() -> None:
    aside = Factor("both.eye.aside", (0.008, 0.045), ("8 mm", "45 mm"), True, False, "m")
    factor, times = spoken(aside, "design.both.eye.aside")
    assert (factor.words, factor.shown, times) == ("eye spacing", ("16 mm", "90 mm"), 2.0)
    assert factor.levels == pytest.approx((0.016, 0.09))
    # of one eye alone the distance from the middle is all there is
    assert spoken(aside, "design.left.eye.aside") == (aside, 1.0)


def test_a_map_tells_its_best_cell_and_how_many_are_as_good() -> None:
    places = np.array([(x, y) for x in (0, 1) for y in (0, 1)])
    table = Table((resistors((10e3, 47e3)), resistors((1e3, 2e3), "latch resistor")), places)
    told = finding_of_map(table, compare(REACHED, arrivals([0.9, 0.88, 0.2, 0.3])))
    assert told == (
        "Feeler resistor 10k with latch resistor 1k is best, 90 % [85, 93]; "
        "1 of the other 3 cannot be told from it"
    )
    same = finding_of_map(table, compare(REACHED, arrivals([0.9] * 4)))
    assert same == "Reached the goal: no significant difference between any of 4 settings"
