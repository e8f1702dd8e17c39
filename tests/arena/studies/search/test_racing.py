"""The search: that it finds what is best, keeps to its budget, and does not flatter what it found."""

import itertools
import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.special import ndtri

from agents.errors import InputError
from arena.studies.search.heats import Place
from arena.studies.search.racing import LEAST_BUDGET, RacingResult, race
from arena.studies.trial_scores import SCORES

REACHED, REACH_TIME, ESCAPE, CONTACTS = (
    SCORES[name] for name in ("reached", "reach time", "escape", "contacts")
)
Floats = NDArray[np.float64]


class Bench:
    """Settings of which half the luck is shared; the share that reach the goal falls off from a peak."""

    def __init__(
        self, levels: Sequence[int], peak: Sequence[float], width: Sequence[float], seed: int
    ) -> None:
        self.levels, self.peak, self.width, self.seed = levels, peak, width, seed
        self.common = np.random.default_rng([seed, 99]).normal(size=20_000)
        self.trials = 0
        self.seen: set[tuple[Place, int]] = set()
        self.calls: list[tuple[list[Place], range]] = []

    def truth(self, place: Sequence[int]) -> float:
        apart = sum(((a - b) / w) ** 2 for a, b, w in zip(place, self.peak, self.width, strict=True))
        return 0.02 + 0.88 * math.exp(-apart / 2.0)

    def luck(self, places: Sequence[Place], repeats: range) -> Floats:
        self.trials += len(places) * len(repeats)
        self.calls.append((list(places), repeats))
        part = slice(repeats.start, repeats.stop)
        own = [np.random.default_rng([self.seed, *place]).normal(size=20_000)[part] for place in places]
        return np.sqrt(0.5) * (np.array(own).reshape(len(places), -1) + self.common[part])

    def __call__(self, places: Sequence[Place], repeats: range) -> dict[str, Floats]:
        for place in places:
            assert all(0 <= level < count for level, count in zip(place, self.levels, strict=True))
            new = {(place, repeat) for repeat in repeats}
            assert not new & self.seen, "a trial was run twice"
            self.seen |= new
        limits = ndtri([self.truth(place) for place in places])
        return {"reached": (self.luck(places, repeats) < limits[:, None]) * 1.0}

    def all_places(self) -> list[Place]:
        return list(itertools.product(*map(range, self.levels)))


def bench_with_peak(levels: Sequence[int], width: Sequence[float], seed: int) -> Bench:
    draw = np.random.default_rng([seed, 7])
    peak = [draw.uniform(0.15, 0.85) * (count - 1) for count in levels]
    return Bench(levels, peak, width, seed)


def regret(bench: Bench, found: RacingResult) -> float:
    assert found.winner is not None
    return max(map(bench.truth, bench.all_places())) - bench.truth(found.winner)


def even_split(bench: Bench, repeats: int) -> Floats:
    """How often each setting reaches the goal when all have as many repeats, with shared luck too."""
    truths = np.array([bench.truth(place) for place in bench.all_places()])
    own = np.random.default_rng([bench.seed, 5]).normal(size=(len(truths), repeats))
    luck = np.sqrt(0.5) * (own + bench.common[10_000 : 10_000 + repeats])
    return (luck < ndtri(truths)[:, None]).sum(axis=1)


INDIFFERENCE = 0.02


def runners_up(result: RacingResult) -> tuple[Place, ...]:
    """The other finalists that cannot be told from the winner."""
    if result.comparison is None:
        return ()
    alike = zip(result.finalists, result.comparison.alike, strict=True)
    return tuple(place for place, is_alike in alike if is_alike and place != result.winner)


@pytest.mark.parametrize(
    ("levels", "width", "budget"),
    [
        ((40,), (6.0,), 3000),
        ((12, 5), (2.5, 1.2), 3000),
        ((12, 12, 3), (2.5, 2.5, 1.0), 5000),
        ((24, 24, 12), (4.0, 4.0, 2.5), 8000),
    ],
)
def test_the_best_or_one_as_good_is_found_and_an_even_split_finds_it_less_often(
    levels: tuple[int, ...], width: tuple[float, ...], budget: int
) -> None:
    found = even = holds = 0
    for seed in range(30):
        bench = bench_with_peak(levels, width, seed)
        result = race(levels, bench, budget, REACHED, seed=seed)
        assert result.trials == bench.trials <= budget
        assert result.winner is not None
        assert result.comparison is not None
        found += regret(bench, result) <= INDIFFERENCE
        figure = result.comparison.estimates[result.finalists.index(result.winner)]
        holds += figure.low <= bench.truth(result.winner) <= figure.high
        places = bench.all_places()
        truths = np.array([bench.truth(place) for place in places])
        # An even split has the same luck in pairs; ties, and all without a repeat each, go to anyone.
        shown = even_split(bench, budget // len(places)) + np.random.default_rng(seed).random(len(places))
        even += truths.max() - truths[int(shown.argmax())] <= INDIFFERENCE
    assert found >= 27
    assert even < found
    # The winner's figure comes from fresh repeats, so its interval holds the truth as often as any.
    assert holds >= 26


def test_an_even_split_of_twice_the_trials_is_no_better() -> None:
    mine, even = [], []
    for seed in range(30):
        bench = bench_with_peak((12, 5), (2.5, 1.2), seed)
        mine.append(regret(bench, race((12, 5), bench, 3000, REACHED, seed=seed)))
        places = bench.all_places()
        truths = np.array([bench.truth(place) for place in places])
        even.append(truths.max() - truths[int(even_split(bench, 100).argmax())])
    assert np.mean(mine) <= np.mean(even)


def same(one: RacingResult, other: RacingResult) -> bool:
    return (
        (one.winner, one.finalists, one.history, one.trials)
        == (other.winner, other.finalists, other.history, other.trials)
        and np.array_equal(one.values, other.values)
        and np.array_equal(one.pool, other.pool)
    )


def test_the_same_seed_gives_the_same_race() -> None:
    levels = (12, 12, 3)
    races = [
        race(levels, bench_with_peak(levels, (2.5, 2.5, 1.0), 3), 2000, REACHED, seed) for seed in (5, 5, 6)
    ]
    assert same(races[0], races[1])
    assert not np.array_equal(races[0].pool, races[2].pool)


@settings(deadline=None, max_examples=80)
@given(
    levels=st.lists(st.integers(1, 9), min_size=1, max_size=4),
    budget=st.integers(LEAST_BUDGET, 700),
    name=st.sampled_from(["reached", "reach time", "contacts", "escape"]),
    seed=st.integers(0, 5),
    impossible=st.integers(0, 4),
    is_ordered=st.booleans(),
)
def test_the_budget_is_never_exceeded(
    levels: list[int], budget: int, name: str, seed: int, impossible: int, is_ordered: bool
) -> None:
    bench = Bench(levels, [count / 2.0 for count in levels], [1.5] * len(levels), seed)

    def evaluate(places: Sequence[Place], repeats: range) -> dict[str, Floats]:
        luck = bench.luck(places, repeats)
        is_out = np.array([sum(place) % 5 < impossible for place in places])[:, None]
        truth = np.array([bench.truth(place) for place in places])[:, None]
        hit = np.where(is_out, np.nan, (luck < ndtri(truth)) * 1.0)
        times = np.where(is_out, np.nan, np.where(hit == 1.0, np.exp(luck), math.inf))
        return {"reached": hit, "reach_s": times, "contacts": np.exp(luck), "escapes": hit * np.exp(luck)}

    score = SCORES[name]
    result = race(levels, evaluate, budget, score, seed, [is_ordered] * len(levels))
    assert result.trials == bench.trials <= budget
    assert (
        result.told_worse + result.set_aside + result.without_figure + len(result.finalists) == result.tried
    )
    if result.winner is None:
        assert result.comparison is None
        assert result.finalists == ()
        assert result.without_figure == result.tried
    else:
        assert result.winner in result.finalists
        assert result.winner not in runners_up(result)
        assert result.values.shape[0] == len(result.finalists)
        if name != "contacts":
            assert sum(result.winner) % 5 >= impossible


def test_the_finalists_meet_on_repeats_that_nobody_has_seen() -> None:
    bench = bench_with_peak((12, 5), (2.5, 1.2), 1)
    result = race((12, 5), bench, 3000, REACHED, seed=1)
    *search, (places, fresh) = bench.calls
    assert tuple(places) == result.finalists
    assert fresh.start == max(repeats.stop for _, repeats in search)
    assert result.values.shape == (len(places), len(fresh))
    # The leader has had all the repeats before these; who was called back has had the first of them.
    had = [{repeat for one, repeat in bench.seen if one == place} for place in places]
    assert had[0] == set(range(fresh.stop))
    for seen in had[1:]:
        before = seen - set(fresh)
        assert set(fresh) <= seen
        assert before == set(range(len(before)))


@pytest.mark.parametrize(("cycle", "budget"), [(3, 40), (7, 56), (7, 900), (16, 128), (16, 3000), (40, 1500)])
def test_repeats_come_in_whole_cycles(cycle: int, budget: int) -> None:
    bench = bench_with_peak((6, 4), (1.5, 1.2), 2)
    result = race((6, 4), bench, budget, REACHED, conditions=cycle)
    assert result.trials == bench.trials <= budget
    assert all(step.repeats % cycle == 0 for step in result.history)
    for _, repeats in bench.calls:
        assert repeats.start % cycle == repeats.stop % cycle == 0
    assert result.values.shape[1] >= cycle
    with pytest.raises(InputError, match=f"{8 * 16} trials"):
        race((6, 4), bench, 8 * 16 - 1, REACHED, conditions=16)


def test_a_leader_that_shows_nothing_on_the_fresh_repeats_does_not_win() -> None:
    """Its contacts all come early; a figure without trials is none."""

    def evaluate(places: Sequence[Place], repeats: range) -> dict[str, Floats]:
        number = np.array(repeats)
        contacts = np.ones((len(places), len(repeats)))
        escapes = np.stack([(number % 10 > 2 + place[0]) * 1.0 for place in places])
        first = [row for row, place in enumerate(places) if place == (0,)]
        contacts[first] = number < 40
        return {"contacts": contacts, "escapes": escapes * contacts}

    result = race((3,), evaluate, 300, ESCAPE)
    assert result.comparison is not None
    assert result.history[-2].leader == (0,)
    assert np.isnan(result.comparison.estimates.value[result.finalists.index((0,))])
    assert result.winner == (1,)
    assert result.overturned
    assert not result.comparison.worse[result.finalists.index((0,))]


def test_an_impossible_setting_drops_out_at_once() -> None:
    bench = bench_with_peak((20,), (4.0,), 2)

    def evaluate(places: Sequence[Place], repeats: range) -> dict[str, Floats]:
        found = bench(places, repeats)["reached"]
        found[[place[0] >= 12 for place in places]] = np.nan
        return {"reached": found}

    result = race((20,), evaluate, 1500, REACHED)
    assert result.without_figure == 8
    assert len({place for place, _ in bench.seen if place[0] >= 12}) == 8
    assert max(repeat for place, repeat in bench.seen if place[0] >= 12) == 9
    assert result.winner is not None
    assert result.winner[0] < 12
    nothing = race(
        (20,), lambda places, repeats: {"reached": np.full((len(places), len(repeats)), np.nan)}, 900, REACHED
    )
    assert nothing.winner is None
    assert nothing.history == ()
    assert runners_up(nothing) == ()
    assert nothing.trials == 200


def test_runners_up_are_those_that_cannot_be_told_apart() -> None:
    bench = Bench((6,), (2.0,), (100.0,), 4)
    alike = race((6,), bench, 3000, REACHED)
    # Shares of 0.9 and a little less: nobody is told worse.
    assert len(runners_up(alike)) >= 2
    steep = Bench((6,), (2.0,), (0.5,), 4)
    apart = race((6,), steep, 3000, REACHED)
    assert apart.winner == (2,)
    assert runners_up(apart) == ()
    assert apart.told_worse == 5
    # One alone is left early, and the rest of the budget stays.
    assert apart.trials < 2000
