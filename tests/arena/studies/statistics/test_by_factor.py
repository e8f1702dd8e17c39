"""Tables of settings, and what a score comes to at each level of one factor."""

import math

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from agents.text.quantities import Quantity
from agents.text.readers import Word
from arena.studies.plans.parameters import Parameter
from arena.studies.statistics.by_factor import MOST_LEVELS, margin
from arena.studies.statistics.estimates import estimate_all
from arena.studies.statistics.factors import Factor, Table, table_of
from arena.studies.trial_scores import SCORES

REACHED, REACH_TIME, ESCAPE = SCORES["reached"], SCORES["reach time"], SCORES["escape"]
CONTACTS = SCORES["contacts"]
FEELER = Parameter("design.both.feeler", Quantity("ohm", above=0.0, most=1e9))
SPACING = Parameter("design.both.eye.aside", Quantity("m", least=0.0, most=1.0))
DESIGN = Parameter("design", Word(("poppy", "sage")), is_ordered=False)

Floats = NDArray[np.float64]


def test_a_table_has_ascending_levels_and_words_as_they_come() -> None:
    rows = [
        (33e3, "sage", 0.02),
        (10e3, "poppy", 0.01),
        (10e3, "sage", 0.03),
        (33e3, "poppy", 0.02),
        (100e3, "sage", 0.01),
    ]
    table = table_of([FEELER, DESIGN, SPACING], rows)
    feeler, design, spacing = table.factors
    assert (feeler.name, feeler.levels, feeler.shown) == (
        "both.feeler",
        (10e3, 33e3, 100e3),
        ("10k", "33k", "100k"),
    )
    assert (feeler.is_ordered, feeler.by_ratio, feeler.unit) == (True, True, "ohm")
    assert (design.name, design.levels, design.is_ordered) == ("design", ("sage", "poppy"), False)
    assert (spacing.shown, spacing.by_ratio) == (("10 mm", "20 mm", "30 mm"), False)
    assert table.places.tolist() == [[1, 0, 1], [0, 1, 0], [0, 0, 2], [1, 1, 1], [2, 0, 0]]
    assert not table.is_grid
    part = table.of(np.array([0, 3]))
    assert part.factors[0].levels == (33e3,)
    assert part.places.tolist() == [[0, 0, 0], [0, 1, 0]]


def test_what_may_be_none_is_not_ordered() -> None:
    table = table_of([FEELER], [(33e3,), (None,), (10e3,)])
    (factor,) = table.factors
    assert not factor.is_ordered
    assert factor.shown == ("33k", "none", "10k")


@pytest.mark.parametrize(
    ("levels", "by_ratio"),
    [
        ([1.0, 2.0, 3.0], False),
        ([0.0, 10.0, 100.0], False),
        ([1.0, 10.0], True),
        ([1e4, 1.5e4, 2.2e4, 3.3e4, 4.7e4, 6.8e4, 1e5], True),
        ([1.0, 3.0, 5.0, 7.0, 9.0], False),
        ([-10.0, -1.0], False),
    ],
)
def test_values_spread_by_ratio_are_told_from_even_ones(levels: list[float], by_ratio: bool) -> None:
    assert table_of([SPACING], [(level,) for level in levels]).factors[0].by_ratio is by_ratio


def test_a_grid_is_told_whatever_its_order() -> None:
    rows = [(feeler, place) for feeler in (1e4, 2e4) for place in (0.01, 0.02, 0.03)]
    assert table_of([FEELER, SPACING], rows[::-1]).is_grid
    assert not table_of([FEELER, SPACING], rows[:-1]).is_grid
    assert not table_of([FEELER, SPACING], [*rows[:-1], rows[0]]).is_grid


def test_bins_hold_about_as_many_settings_each() -> None:
    draw = np.random.default_rng(3)
    table = table_of([SPACING], [(value,) for value in draw.lognormal(-4.0, 0.5, 403)])
    binned = table.binned(0, 8)
    held = np.bincount(binned.places[:, 0])
    assert len(held) == 8
    assert held.min() >= 49
    assert held.max() <= 52
    factor = binned.factors[0]
    assert factor.is_binned
    assert list(factor.levels) == sorted(factor.levels)
    assert " to " in factor.shown[0]
    for level in range(8):
        mine = np.array(table.factors[0].levels)[table.places[binned.places[:, 0] == level, 0]]
        assert mine.min() < factor.levels[level] < mine.max()
    assert table.binned(0, 500) is table


def test_one_factor_alone_is_estimated_setting_by_setting() -> None:
    table = table_of([FEELER], [(33e3,), (10e3,), (22e3,)])
    values = (np.random.default_rng(1).random((3, 40)) < 0.6) * 1.0
    factor, figures = margin(REACHED, values, None, table, 0)
    plain = estimate_all(REACHED, values[[1, 2, 0]])
    assert factor.shown == ("10k", "22k", "33k")
    assert list(figures) == list(plain)


def grid_with_shared_luck(draw: np.random.Generator, repeats: int) -> tuple[Table, Floats]:
    rows = [(feeler, place) for feeler in (1e4, 2e4, 4e4) for place in np.linspace(0.01, 0.06, 6)]
    luck = draw.normal(size=repeats) + 0.3 * draw.normal(size=(18, repeats))
    return table_of([FEELER, SPACING], rows), luck


@pytest.mark.parametrize("name", ["contacts", "reach time"])
def test_intervals_allow_for_luck_that_settings_share(name: str) -> None:
    holds = naive = 0
    for seed in range(200):
        table, luck = grid_with_shared_luck(np.random.default_rng(seed), 30)
        factor, figures = margin(SCORES[name], luck, None, table, 0, seed)
        holds += figures.low[0] <= 0.0 <= figures.high[0]
        # As if all trials at a level were independent, the interval would be less than half as wide.
        pooled = luck[:6].ravel()
        naive += abs(pooled.mean()) <= 1.96 * scipy.stats.sem(pooled)
    assert len(factor.levels) == 3
    assert 0.89 * 200 <= holds <= 199
    assert naive < 0.75 * 200


@pytest.mark.parametrize("name", ["contacts", "reach time"])
def test_intervals_allow_for_other_factors_of_drawn_settings(name: str) -> None:
    holds = []
    for seed in range(100):
        draw = np.random.default_rng(seed)
        x = draw.random((120, 2))
        table = table_of([SPACING, FEELER], x.tolist())
        # The other factor shifts the figure evenly by up to 10 to either side.
        values = 20.0 * (x[:, 1:] - 0.5) + draw.normal(size=(120, 10))
        factor, figures = margin(SCORES[name], values, None, table, 0, seed)
        assert factor.is_binned
        assert len(factor.levels) == MOST_LEVELS // 2
        holds += list((figures.low <= 0.0) & (figures.high >= 0.0))
    assert 0.9 <= np.mean(holds) <= 0.995


@pytest.mark.parametrize("name", ["contacts", "reach time", "reached"])
@pytest.mark.parametrize("reach", [1.0, 10.0])
def test_intervals_of_drawn_settings_allow_for_luck_that_they_share(name: str, reach: float) -> None:
    """Whether the other factor or the repeats' common luck decides; resampling settings alone holds 40 %."""
    holds, width = [], []
    for seed in range(60):
        draw = np.random.default_rng(seed)
        x = draw.random((256, 2))
        luck = 3.0 * draw.normal(size=10) + draw.normal(size=(256, 10))
        values = 2.0 * reach * (x[:, 1:] - 0.5) + luck
        truth = 0.5 if name == "reached" else 0.0
        values = (values > 0.0) * 1.0 if name == "reached" else values
        _, figures = margin(SCORES[name], values, None, table_of([SPACING, FEELER], x.tolist()), 0, seed)
        holds += list((figures.low <= truth) & (figures.high >= truth))
        # Of 10 repeats, and of the 256 / 12 settings at a level, a normal interval for known spreads.
        ideal = 2.0 * 1.96 * math.sqrt(9.0 / 10.0 + reach**2 / 3.0 * 12.0 / 256.0)
        width.append(np.mean(figures.high - figures.low) / ideal)
    assert np.mean(holds) >= 0.9
    assert name == "reached" or np.mean(width) < 1.5


def test_drawn_settings_with_few_repeats_or_without_end_at_all() -> None:
    x = np.random.default_rng(1).random((60, 2))
    table = table_of([SPACING, FEELER], x.tolist())
    mixed = np.arange(4) % 2 * np.ones((60, 1))
    for name in ("reached", "reach time"):
        _, few = margin(SCORES[name], mixed, None, table, 0)
        assert set(few.method) == {"too few trials"}
        assert np.isnan(few.low).all()
        assert (few.value == 0.5).all()
    _, never = margin(REACH_TIME, np.full((60, 8), math.inf), None, table, 0)
    assert np.isinf(never.low).all()
    assert np.isinf(never.high).all()
    none, all_of_them = (margin(REACHED, np.full((60, 8), one), None, table, 0)[1] for one in (0.0, 1.0))
    wilson = scipy.stats.binomtest(0, 8).proportion_ci(0.95, method="wilson").high
    assert (none.low == 0.0).all()
    assert (none.high > wilson).all()
    assert none.high == pytest.approx(1.0 - all_of_them.low)
    assert (all_of_them.high == 1.0).all()
    half = np.where(np.arange(8) < 5, 100.0, math.inf) * np.ones((60, 1))
    _, some = margin(REACH_TIME, half, None, table, 0)
    assert (some.value == 100.0).all()
    assert (some.low == 100.0).all()
    assert np.isinf(some.high).all()


def test_ratios_and_shares_pool_their_sums() -> None:
    draw = np.random.default_rng(6)
    table, luck = grid_with_shared_luck(draw, 20)
    weights = draw.poisson(2.0, luck.shape).astype(np.float64)
    values = draw.binomial(weights.astype(int), 0.7).astype(np.float64)
    _, figures = margin(ESCAPE, values, weights, table, 1)
    for level in range(6):
        rows = np.flatnonzero(table.places[:, 1] == level)
        assert figures.value[level] == pytest.approx(values[rows].sum() / weights[rows].sum())
        assert figures.count[level] == (weights[rows] > 0).sum()
    reached = (luck > 0.0) * 1.0
    reached[4] = np.nan
    _, figures = margin(REACHED, reached, None, table, 0)
    assert figures.value[0] == pytest.approx(np.nanmean(reached[:6]))
    assert figures.count[0] == 100


def test_medians_may_lie_beyond_the_run() -> None:
    table, luck = grid_with_shared_luck(np.random.default_rng(2), 25)
    values = np.exp(luck)
    values[:6][luck[:6] > np.median(luck[:6]) - 0.05] = math.inf
    _, figures = margin(REACH_TIME, values, None, table, 0)
    assert figures.value[0] == math.inf
    assert figures.high[0] == math.inf
    assert figures.low[0] < math.inf
    assert figures.high[1] < math.inf
    values[:6] = np.nan
    values[6:12, 4:] = np.nan
    _, figures = margin(REACH_TIME, values, None, table, 0)
    assert figures.method[:2] == ("nothing", "too few trials")
    assert math.isnan(figures.low[1])


def test_a_factor_of_words_is_never_binned() -> None:
    factor = Factor("design", ("sage", "poppy"), ("sage", "poppy"), is_ordered=False)
    table = Table((factor,), np.array([[1], [0], [1]]))
    found, figures = margin(CONTACTS, np.ones((3, 6)), None, table, 0)
    assert found is factor
    assert figures.count.tolist() == [6, 12]
