"""Tables of settings, and what a score comes to at each level of one factor."""

import math
from dataclasses import replace
from statistics import median_low

import numpy as np
import pytest
import scipy.stats
from numpy.typing import NDArray

from agents.text.quantities import Quantity
from agents.text.readers import Word
from arena.studies.plans.parameters import Parameter
from arena.studies.statistics import by_factor
from arena.studies.statistics.by_factor import MOST_LEVELS, _clustered, _farther, margin
from arena.studies.statistics.estimates import estimate, estimate_all
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


def drawn_table(held: tuple[int, ...], repeats: int) -> tuple[Table, Floats, list[NDArray[np.int64]]]:
    """Drawn settings of which so many have each feeler, their values, and which settings these are."""
    draw = np.random.default_rng(17)
    feelers = draw.permutation(np.repeat(1e4 * np.arange(1, len(held) + 1), held))
    table = table_of(
        [FEELER, SPACING],
        [(feeler, place) for feeler, place in zip(feelers, draw.random(len(feelers)), strict=True)],
    )
    values = draw.lognormal(0.0, 0.4, (len(feelers), 1)) * draw.lognormal(0.0, 0.3, (len(feelers), repeats))
    return table, values, [np.flatnonzero(table.places[:, 0] == level) for level in range(len(held))]


def written_out(values: Floats, clusters: NDArray[np.int64]) -> tuple[float, float]:
    """The ends of a median's interval by drawing whole clusters 500 times over, one by one."""
    names = np.unique(clusters)
    count = len(names)
    medians = []
    for drawn in np.random.default_rng(0).integers(0, count, (500, count)):
        medians.append(median_low([one for number in drawn for one in values[clusters == names[number]]]))
    medians.sort()
    # Student's 97.5 % point, a little wider for few, as a share of resamples on either side
    deviate = math.sqrt(count / (count - 1)) * scipy.stats.t.ppf(0.975, count - 1)
    tail = scipy.stats.norm.sf(deviate)
    return medians[math.floor(tail * 499)], medians[math.ceil((1.0 - tail) * 499)]


@pytest.mark.parametrize("repeats", [9, 38, 66])
def test_medians_in_a_grid_by_drawing_repeats_one_by_one(repeats: int) -> None:
    rows = [(feeler, place) for place in (0.01, 0.02, 0.03) for feeler in (1e4, 2e4)]
    table = table_of([FEELER, SPACING], rows)
    values = np.random.default_rng(8).lognormal(0.0, 0.5, (6, repeats))
    values[0, 3:5] = np.nan
    _, figures = margin(REACH_TIME, values, None, table, 0)
    for level in range(2):
        mine = values[level::2]
        kept = ~np.isnan(mine)
        ends = written_out(mine[kept], np.nonzero(kept)[1])
        assert (figures.low[level], figures.high[level]) == ends
        assert figures.value[level] == np.nanmedian(mine)


def test_medians_of_drawn_settings_by_drawing_repeats_and_settings_one_by_one() -> None:
    """The distances of both pairs of ends from the figure, by their squares."""
    table, values, rows = drawn_table((5, 7, 6), 11)
    _, figures = margin(REACH_TIME, values, None, table, 0)
    for level, row in enumerate(rows):
        mine = values[row]
        middle = float(np.median(mine))
        by_repeat, by_setting = (
            written_out(mine.ravel(), np.indices(mine.shape)[axis].ravel()) for axis in (1, 0)
        )
        low, high = (
            math.hypot(one - middle, other - middle) for one, other in zip(by_repeat, by_setting, strict=True)
        )
        assert figures.value[level] == pytest.approx(middle, rel=1e-12)
        # nothing reaches below the least value of all
        assert figures.low[level] == pytest.approx(max(middle - low, values.min()), rel=1e-9)
        assert figures.high[level] == pytest.approx(middle + high, rel=1e-9)
        assert figures.method[level] == "bootstrap"


def test_means_of_drawn_settings_have_the_errors_of_repeats_and_of_settings() -> None:
    """Each as of a ratio of sums, of repeats or settings; where these are fewer, with empty ones."""
    table, values, rows = drawn_table((5, 7, 6), 11)
    values[2, 4] = np.nan
    _, figures = margin(CONTACTS, values, None, table, 0)
    pooled = replace(CONTACTS, summary="ratio", weight="trials")
    for level, row in enumerate(rows):
        mine, said = np.nan_to_num(values[row]), (~np.isnan(values[row])) * 1.0
        by_repeat = estimate(pooled, mine.sum(axis=0), said.sum(axis=0))
        empty = np.zeros(7 - len(row))
        by_setting = estimate(pooled, np.append(mine.sum(axis=1), empty), np.append(said.sum(axis=1), empty))
        middle = by_repeat.value
        assert middle == pytest.approx(np.nanmean(values[row]))
        low = math.hypot(by_repeat.low - middle, by_setting.low - middle)
        high = math.hypot(by_repeat.high - middle, by_setting.high - middle)
        assert figures.low[level] == pytest.approx(max(middle - low, 0.0), rel=1e-9)
        assert figures.high[level] == pytest.approx(middle + high, rel=1e-9)
        assert figures.count[level] == said.sum()


def test_intervals_of_drawn_settings_end_where_the_score_does() -> None:
    """Shares at 0 and 1, means at 0 where no value is less; what may be negative has no end."""
    table, _, rows = drawn_table((6, 6, 6), 8)
    few = np.outer(np.arange(6) < 2, np.arange(8) < 3) * 1.0
    values = np.zeros((18, 8))
    values[rows[0]], values[rows[1]], values[rows[2]] = few, 1.0 - few, few + 0.25
    shares, means, moved = (
        margin(score, some, None, table, 0)[1]
        for score, some in ((REACHED, values.clip(0.0, 1.0)), (CONTACTS, values), (CONTACTS, values - 0.5))
    )
    assert shares.low[0] == means.low[0] == 0.0
    assert shares.high[1] == 1.0
    assert means.high[1] > 1.0
    # two ends as far as the figure itself, or a little less
    assert moved.low[0] == pytest.approx(-0.5 + few.mean() * (1.0 - math.sqrt(2.0)), abs=0.01)
    assert moved.high[1] == pytest.approx(means.high[1] - 0.5)


def test_how_an_interval_of_drawn_settings_came_about() -> None:
    table, _, rows = drawn_table((6, 6, 6), 8)
    values = np.ones((18, 8)) * 3.0
    values[rows[1]] *= np.arange(1.0, 7.0)[:, None]
    values[rows[2], :] *= np.arange(1.0, 9.0)
    _, figures = margin(CONTACTS, values, None, table, 0)
    assert figures.method == ("all alike", "bootstrap", "bootstrap")
    assert figures.low[0] == figures.high[0] == 3.0
    _, none = margin(REACHED, np.zeros((18, 8)), None, table, 0)
    assert set(none.method) == {"Wilson"}


def test_drawn_settings_are_thrown_together_from_25_levels_on() -> None:
    for count, levels in ((24, 24), (25, 12)):
        rows = [(place, 1e4) for place in np.linspace(0.01, 0.05, count)] * 2
        factor, figures = margin(
            CONTACTS, np.ones((2 * count, 6)), None, table_of([SPACING, FEELER], rows), 0
        )
        assert len(factor.levels) == len(figures) == levels
        assert factor.is_binned == (levels == 12)


def test_an_end_on_the_other_side_of_the_figure_adds_nothing() -> None:
    one, other = np.array([1.2, 0.6]), np.array([0.5, 0.2])
    assert _farther(np.ones(2), one, other, -1.0) == pytest.approx([0.5, 1.0 - math.hypot(0.4, 0.8)])
    assert _farther(np.ones(2), one, other, 1.0) == pytest.approx([1.2, 1.0])


def test_very_many_values_are_taken_a_few_resamples_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    draw = np.random.default_rng(5)
    values, clusters = draw.random(60), draw.integers(0, 12, 60)
    whole = _clustered(values, clusters, 12, 3)
    for held in (1, 7 * 60):
        monkeypatch.setattr(by_factor, "_AT_A_TIME", held)
        assert _clustered(values, clusters, 12, 3) == whole
