"""What a study advises, and that it says how sure it is."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from arena.studies.statistics.comparison import compare
from arena.studies.statistics.factors import Factor, Table
from arena.studies.telling.advice import Advice, advise
from arena.studies.trial_scores import SCORES, Score

REACHED, REACH_TIME, ESCAPE, CONTACTS = (
    SCORES[name] for name in ("reached", "reach time", "escape", "contacts")
)
Floats = NDArray[np.float64]

OHMS = (10e3, 15e3, 22e3, 33e3, 47e3)
FEELER = Factor("both.feeler", OHMS, ("10k", "15k", "22k", "33k", "47k"), True, by_ratio=True, unit="ohm")
SPACING = Factor("both.eye.aside", (0.015, 0.02, 0.025), ("15 mm", "20 mm", "25 mm"), True, unit="m")
DESIGN = Factor("design", ("poppy", "sage", "thyme"), ("poppy", "sage", "thyme"), False)


def one(factor: Factor) -> Table:
    return Table((factor,), np.arange(len(factor.levels))[:, None])


def grid(*factors: Factor) -> Table:
    places = np.indices([len(factor.levels) for factor in factors]).reshape(len(factors), -1).T
    return Table(factors, places.copy())


def hits(*shares: float, repeats: int = 200) -> Floats:
    """Ones and noughts in just these shares, with shared luck: who does worse fails where others do too."""
    return np.stack([(np.arange(repeats) < round(share * repeats)) * 1.0 for share in shares])


def scattered(seed: int, *shares: float, repeats: int = 200) -> Floats:
    """As :func:`hits`, but in places of their own."""
    draw = np.random.default_rng(seed)
    return np.stack([draw.permutation(row) for row in hits(*shares, repeats=repeats)])


def advice_on(score: Score, table: Table, values: Floats, weights: Floats | None = None) -> Advice:
    return advise(table, compare(score, values, weights), values, weights)


def at_edge(advice: Advice) -> tuple[str, ...]:
    """The notes that tell of a best value at the edge of what was tried."""
    return tuple(note for note in advice.notes if "that was tried" in note)


def test_a_range_that_cannot_be_told_from_the_best() -> None:
    values = scattered(1, 0.92, 0.95, 0.93, 0.61, 0.3)
    advice = advice_on(REACHED, one(FEELER), values)
    assert advice.text == (
        "22k or less: reached 95 % [91, 97] at 15k; 33k is worse: 61 % [54, 67]; "
        "no significant difference between 10k and 22k."
    )
    assert (advice.best, advice.alike, at_edge(advice), advice.repeats_needed) == (1, 2, (), None)


def test_a_range_in_the_middle_and_one_at_the_top() -> None:
    middle = advice_on(REACHED, one(FEELER), scattered(2, 0.5, 0.9, 0.92, 0.9, 0.4))
    wanted = r"15k to 33k: reached 92 % .* at 22k; 10k is worse: 50 % .*; 47k is worse: 40 % "
    assert re.match(wanted, middle.text)
    top = advice_on(REACHED, one(FEELER), scattered(3, 0.1, 0.2, 0.3, 0.88, 0.9))
    assert top.text.startswith("33k or more: reached 90 %")
    assert at_edge(top) == ("47k is the most that was tried; more may do better.",)
    least = advice_on(REACHED, one(FEELER), scattered(3, 0.9, 0.5, 0.3, 0.2, 0.1))
    assert least.text == "10k: reached 90 % [85, 93]; 15k is worse: 50 % [43, 57]."
    assert str(least).endswith("10k is the least that was tried; less may do better.")


def test_settings_in_any_order_are_told_by_their_values() -> None:
    values = scattered(1, 0.92, 0.95, 0.93, 0.61, 0.3)
    order = [3, 0, 4, 2, 1]
    shuffled = Table((FEELER,), np.array(order)[:, None])
    assert advice_on(REACHED, shuffled, values[order]).text == advice_on(REACHED, one(FEELER), values).text


def test_a_gap_is_not_papered_over() -> None:
    advice = advice_on(REACHED, one(FEELER), scattered(4, 0.9, 0.4, 0.92, 0.91, 0.3))
    assert advice.text.startswith("22k to 33k: reached 92 %")
    assert advice.text.endswith("Nor is 10k significantly worse.")


def test_no_difference_says_how_many_repeats_would_tell_one() -> None:
    values = scattered(5, 0.5, 0.52, 0.48, 0.5, 0.51, repeats=60)
    advice = advice_on(REACHED, one(FEELER), values)
    assert advice.text.startswith("No significant difference in reached between 10k and 47k: ")
    assert "at the best, " in advice.text
    assert "at the last, " in advice.text
    # Half of the pairs differ: by the normal approximation about (3.5 sqrt(0.5))² / 0.01 repeats.
    assert advice.repeats_needed is not None
    assert 500 < advice.repeats_needed < 1000
    assert re.search(r"To tell a difference of 10 points takes about [5-9][0-9]0 repeats\.$", advice.text)
    assert at_edge(advice) == ()


def test_no_difference_after_many_repeats_says_what_would_have_shown() -> None:
    values = scattered(6, 0.5, 0.51, 0.5, 0.5, 0.5, repeats=2000)
    advice = advice_on(REACHED, one(FEELER), values)
    assert advice.text.endswith("Had one of them been 10 points worse, it would most likely have shown.")
    draw = np.random.default_rng(2)
    counts = advice_on(CONTACTS, one(FEELER), draw.poisson(4.0, (5, 400)).astype(np.float64))
    assert "a difference of a tenth takes" in counts.text


def test_no_share_is_said_to_lack_repeats_for_a_difference_that_cannot_be() -> None:
    """Where 6 % do at the best, none can be 10 points worse."""
    advice = advice_on(REACHED, one(FEELER), scattered(5, 0.05, 0.06, 0.04, 0.05, 0.05))
    assert advice.text.startswith("No significant difference in reached")
    assert "points" not in advice.text
    assert advice.repeats_needed is None
    time = np.full((5, 200), 600.0)
    stuck = scattered(6, 0.95, 0.96, 0.94, 0.95, 0.95) * time
    assert advice_on(SCORES["stuck"], one(FEELER), stuck, time).repeats_needed is None
    some = scattered(6, 0.05, 0.06, 0.04, 0.05, 0.05) * time
    assert advice_on(SCORES["stuck"], one(FEELER), some, time).repeats_needed is not None


def test_fewer_contacts_are_better_and_times_have_no_end() -> None:
    draw = np.random.default_rng(3)
    counts = draw.poisson(np.array([[9.0], [6.0], [2.0], [2.1], [5.0]]), (5, 100)).astype(np.float64)
    few = advice_on(CONTACTS, one(FEELER), counts)
    assert re.match(r"22k to 33k: contacts .*; 15k is worse: .*; 47k is worse: ", few.text)
    times = np.exp(draw.normal(5.0, 0.2, (5, 60)))
    times[2:] *= 3.0
    times[3:] = math.inf
    text = advice_on(REACH_TIME, one(FEELER), times).text
    assert text.startswith("15k or less: reach time ")
    assert re.search(r" min [0-9]{2} s|[0-9] s", text)
    nobody = advice_on(REACH_TIME, one(FEELER), np.full((5, 60), math.inf))
    assert nobody.text.count("not within the run") >= 2
    assert nobody.repeats_needed is None


def test_kinds_are_named_one_by_one() -> None:
    advice = advice_on(REACHED, one(DESIGN), scattered(7, 0.6, 0.9, 0.88))
    assert advice.text == (
        "sage: reached 90 % [85, 93]; poppy is worse: 60 % [53, 67]; no significant difference from thyme."
    )
    assert advice.notes == ()
    alike = advice_on(REACHED, one(DESIGN), scattered(7, 0.6, 0.6, 0.6))
    assert "between poppy, sage and thyme" in alike.text
    many = Factor("design", tuple("abcdefgh"), tuple("abcdefgh"), False)
    long = advice_on(REACHED, one(many), scattered(8, 0.95, *[0.5] * 7))
    assert long.text.endswith("; 4 more are worse too.")


def test_several_factors_name_the_best_and_what_occurs_among_its_like() -> None:
    table = grid(FEELER, SPACING)
    shares = np.where((table.places[:, 0] <= 2) & (table.places[:, 1] >= 1), 0.9, 0.4)
    shares[(table.places[:, 0] == 1) & (table.places[:, 1] == 1)] = 0.95
    advice = advice_on(REACHED, table, scattered(9, *shares))
    assert advice.text.startswith("both.feeler 15k, both.eye.aside 20 mm: reached 95 % [91, 97]; ")
    assert f"; {advice.alike} of the other 14 settings are not significantly worse. " in advice.text
    assert advice.alike == 5
    assert advice.text.endswith("Among them both.feeler is 22k or less; both.eye.aside is 20 mm or more.")
    # The spacing lies between its ends, and the feeler too.
    assert at_edge(advice) == ()
    alone = np.where(np.arange(15) == 14, 0.95, 0.3)
    alone_advice = advice_on(REACHED, table, scattered(10, *alone))
    assert alone_advice.text.endswith("; the other 14 settings are worse.")
    assert at_edge(alone_advice) == (
        "both.feeler 47k is the most that was tried; more may do better.",
        "both.eye.aside 25 mm is the most that was tried; more may do better.",
    )
    nothing = advice_on(REACHED, table, scattered(11, *[0.5] * 15, repeats=50))
    assert nothing.text.startswith(
        "No single one of 15 settings is significantly worse in reached than the best: "
    )
    feeler_only = advice_on(REACHED, table, scattered(13, *np.where(table.places[:, 0] <= 2, 0.9, 0.2)))
    assert feeler_only.text.endswith(
        "Among them both.feeler is 22k or less; every value of both.eye.aside is found."
    )


def test_values_among_the_like_of_kinds_and_gaps() -> None:
    table = grid(FEELER, DESIGN)
    good = (table.places[:, 0] % 2 == 0) & (table.places[:, 1] != 0)
    advice = advice_on(REACHED, table, scattered(12, *np.where(good, 0.9, 0.2)))
    assert "both.feeler is 10k, 22k or 47k; design is sage or thyme." in advice.text


def test_nothing_to_count_is_said_plainly() -> None:
    advice = advice_on(ESCAPE, one(FEELER), np.zeros((5, 30)), np.zeros((5, 30)))
    assert advice.text == "Nothing can be said of escape: no trial of any setting had anything to count."
    assert advice.best is None
    values = scattered(1, 0.9, 0.9, 0.3, 0.2, 0.2)
    values[1] = np.nan
    partly = advice_on(REACHED, one(FEELER), values)
    assert "1 of 5 settings has no figure." in partly.notes
    assert partly.text.startswith("10k: reached 90 %")
    alone = advice_on(REACHED, one(FEELER), np.where(np.arange(5)[:, None] == 2, 1.0, np.nan) * np.ones(30))
    assert alone.text == "22k: reached 100 % [89, 100]; there is nothing to compare it with."
    assert "4 of 5 settings have no figure." in alone.notes


def test_the_best_of_many_is_said_to_flatter_itself() -> None:
    draw = np.random.default_rng(4)
    many = Factor("seed", tuple(range(40)), tuple(map(str, range(40))), False)
    values = (draw.random((40, 100)) < 0.5) * 1.0
    values[39] = 0.0
    advice = advice_on(REACHED, one(many), values)
    (note,) = advice.notes
    assert re.fullmatch(r"Picked from 40 settings, its figure flatters it by about [0-9.]+ points\.", note)


@settings(deadline=None, max_examples=80)
@given(
    st.lists(st.sampled_from([0.0, 0.1, 0.5, 0.9, 1.0, math.nan]), min_size=1, max_size=5),
    st.sampled_from(["reached", "contacts", "reach time", "escape"]),
    st.booleans(),
)
def test_advice_is_always_one_or_two_sentences(shares: list[float], name: str, is_ordered: bool) -> None:
    factor = Factor("both.feeler", OHMS[: len(shares)], FEELER.shown[: len(shares)], is_ordered)
    values = np.array(shares)[:, None] * (np.arange(30) % 7 > 0)
    if name == "reached":
        values = np.where(np.isnan(values), np.nan, (values > np.linspace(0.0, 0.99, 30)) * 1.0)
    score = SCORES[name]
    advice = advice_on(score, one(factor), values, np.ones(values.shape) if score.weight else None)
    assert advice.text.endswith(".")
    assert 1 <= len(re.findall(r"\.(?: |$)", advice.text)) <= 2
    assert "nan" not in str(advice)
    assert (advice.best is None) == all(math.isnan(share) for share in shares)


@pytest.mark.parametrize("repeats", [1, 4])
def test_a_handful_of_repeats_is_no_ground_for_advice(repeats: int) -> None:
    advice = advice_on(REACHED, one(FEELER), hits(1.0, 1.0, 0.0, 0.0, 0.0, repeats=repeats))
    assert advice.text.startswith("No significant difference in reached between")
