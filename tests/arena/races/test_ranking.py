"""Rankings against closed forms, against brute force, and against designs whose true order is known."""

import itertools
import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import binomtest

from agents.arrays import FloatArray
from arena.races.ranking import (
    LEVEL,
    Ranking,
    Tally,
    place_ranges,
    rounds_to_tell,
    strengths,
    surely_ahead,
    tally,
)


def drawn_scores(truth: FloatArray, rounds: int, seed: int) -> FloatArray:
    """Rounds of the model of Plackett and Luce: log strengths plus Gumbel noise, the largest first."""
    random = np.random.default_rng(seed)
    times = truth + random.gumbel(size=(rounds, len(truth)))
    return np.asarray(times.argsort(axis=1).argsort(axis=1), np.float64)


def as_rankings(scores: FloatArray) -> list[Ranking]:
    return [[[int(one)] for one in np.argsort(-row)] for row in scores]


def test_strengths_are_those_of_greatest_likelihood() -> None:
    # an optimiser that knows nothing of the algorithm, on the likelihood written out
    rankings: list[Ranking] = [[[0], [1], [2]], [[1], [0], [2]], [[0], [2], [1]], [[2], [0]], [[0, 1], [2]]]

    def against(logs: FloatArray) -> float:
        strength = np.exp(logs)
        total = 0.0
        for ranking in rankings:
            left = [one for group in ranking for one in group]
            for group in ranking:
                if len(left) > 1:
                    total += sum(logs[one] - math.log(sum(strength[left])) for one in group)
                left = [one for one in left if one not in group]
        # half a win and half a loss against one of strength 1
        total += sum(0.5 * one - math.log(1.0 + math.exp(one)) for one in logs)
        return -total

    best = minimize(against, np.zeros(3), tol=1e-12).x
    expected = np.exp(best) / np.exp(best).sum()
    assert strengths(rankings, 3) == pytest.approx(expected, rel=1e-4)


def test_strengths_of_two_are_the_shares_of_their_wins() -> None:
    # 30 to 10: the half win and half loss of each draw it a little to the middle
    found = strengths([[[0], [1]]] * 30 + [[[1], [0]]] * 10, 2)
    assert found[0] == pytest.approx(0.75, abs=0.02)
    assert found[0] < 0.75


def test_strengths_find_a_known_truth() -> None:
    truth = np.array([2.0, 1.0, 0.5, 0.0, -1.0])
    found = strengths(as_rankings(drawn_scores(truth, 1500, 1)), 5)
    assert np.log(found / found[3]) == pytest.approx(truth, abs=0.2)


def test_who_always_wins_has_a_strength_too() -> None:
    found = strengths([[[0], [1], [2]]] * 20, 3)
    assert np.all(np.isfinite(found))
    assert found[0] > found[1] > found[2] > 0.0
    assert strengths([], 3) == pytest.approx([1 / 3] * 3)
    assert strengths([[[0, 1, 2]]] * 9, 3) == pytest.approx([1 / 3] * 3)


def test_the_sign_test_and_holm_written_out() -> None:
    scores = drawn_scores(np.array([1.5, 1.0, 0.0, -2.0]), 20, 5)
    pairs = tally(scores)
    chances = {}
    for one, other in itertools.combinations(range(4), 2):
        ahead = sum(row[one] > row[other] for row in scores)
        assert (pairs.wins[one, other], pairs.wins[other, one]) == (ahead, 20 - ahead)
        chances[one, other] = binomtest(int(ahead), 20).pvalue
    told = set()
    for step, (pair, chance) in enumerate(sorted(chances.items(), key=lambda one: one[1])):
        if chance > LEVEL / (len(chances) - step):
            break
        one, other = pair
        told.add(pair if pairs.wins[one, other] > 10 else (other, one))
    sure = surely_ahead(pairs)
    assert {(one, other) for one in range(4) for other in range(4) if sure[one, other]} == told
    assert told


def test_ties_and_absences_count_for_nobody() -> None:
    scores = np.array([[1.0, 1.0, np.nan], [2.0, 1.0, 0.0], [np.nan, 1.0, 1.0]])
    pairs = tally(scores)
    assert pairs.wins.tolist() == [[0, 1, 1], [0, 0, 1], [0, 0, 0]]
    assert pairs.met[0, 2] == 1
    assert pairs.met[0, 1] == 2


def test_ranges_overlap_where_two_are_not_told_apart() -> None:
    random = np.random.default_rng(3)
    for _ in range(300):
        count = int(random.integers(2, 9))
        sure = np.triu(random.random((count, count)) < 0.4, 1)
        first, last = place_ranges(sure, range(count))
        closed = sure.copy()
        for _ in range(count):
            closed |= (closed.astype(int) @ closed.astype(int)) > 0
        for one, other in itertools.combinations(range(count), 2):
            assert closed[one, other] == (last[one] < first[other]) or first[other] <= last[one]
            if not closed[one, other]:
                assert max(first[one], first[other]) <= min(last[one], last[other])


def test_a_claim_against_the_order_is_left_out() -> None:
    sure = np.array([[False, False], [True, False]])
    assert [one.tolist() for one in place_ranges(sure, [0, 1])] == [[1, 1], [2, 2]]


@pytest.mark.parametrize(
    ("truth", "rounds"),
    [
        (np.array([1.2, 0.9, 0.4, 0.0, -0.5, -1.5]), 24),
        (np.linspace(2.0, -2.0, 12), 24),
        (np.linspace(3.0, -3.0, 30), 24),
        (np.array([0.02, 0.01, 0.0]), 60),
        (np.repeat([1.0, -1.0], 6) + np.linspace(0.001, 0.0, 12), 16),
    ],
)
def test_what_is_called_sure_is_right_in_95_of_100_races(truth: FloatArray, rounds: int) -> None:
    """Every claim of a race counts: one wrong range makes the race wrong."""
    wrong, told = 0, 0
    races = 1000
    for race in range(races):
        scores = drawn_scores(truth, rounds, 1000 + race)
        sure = surely_ahead(tally(scores))
        # by mean score: the order decides only which claims are shown
        order = np.argsort(-scores.mean(axis=0), kind="stable").tolist()
        first, last = place_ranges(sure, order)
        places = np.arange(1, len(truth) + 1)
        wrong += bool(np.any((places < first) | (places > last)))
        told += int(np.sum(sure))
    assert wrong <= 0.05 * races
    # and it does tell: designs as unlike as these are told apart
    if np.ptp(truth) > 1.0:
        assert told > 2 * races


def test_identical_entries_are_told_apart_in_no_more_than_5_of_100_races() -> None:
    wrong = sum(
        bool(np.any(surely_ahead(tally(drawn_scores(np.zeros(8), 24, race))))) for race in range(1000)
    )
    assert wrong <= 50


@pytest.mark.parametrize("gap", [0.8, 1.2, 2.0])
def test_the_advised_rounds_tell_them_apart(gap: float) -> None:
    """Advice from 24 rounds in which two were not told apart; as many more rounds are run, and they are."""
    truth = np.array([gap / 2, -gap / 2, -4.0, -5.0])
    came_true, advised = 0, 0
    for race in range(400):
        pairs = tally(drawn_scores(truth, 12, race))
        if surely_ahead(pairs)[0, 1]:
            continue
        needed = rounds_to_tell(int(pairs.wins[0, 1]), int(pairs.wins[1, 0]), 12, 6)
        if needed is None or pairs.wins[0, 1] <= pairs.wins[1, 0]:
            continue
        advised += 1
        longer = tally(drawn_scores(truth, max(needed, 13), 10_000 + race))
        came_true += bool(surely_ahead(longer)[0, 1])
    assert advised > 50
    assert came_true > 0.6 * advised


def test_no_rounds_tell_twins_apart() -> None:
    assert rounds_to_tell(0, 0, 24, 1) is None
    assert rounds_to_tell(12, 12, 24, 1) is None
    assert rounds_to_tell(5, 5, 0, 1) is None
    few = rounds_to_tell(24, 0, 24, 6)
    assert few is not None
    assert few <= 24


def test_a_single_entry_is_told_from_nobody() -> None:
    alone = Tally(np.zeros((1, 1), np.int64), np.zeros((1, 1), np.int64))
    assert surely_ahead(alone).shape == (1, 1)
    assert [one.tolist() for one in place_ranges(surely_ahead(alone), [0])] == [[1], [1]]


def of_pairs(count: int, won: dict[tuple[int, int], int]) -> Tally:
    """So many rounds won by the one of each pair, and all others tied."""
    wins = np.zeros((count, count), np.int64)
    for pair, number in won.items():
        wins[pair] = number
    return Tally(wins, np.full((count, count), 30))


def told(pairs: Tally) -> set[tuple[int, int]]:
    return {(int(one), int(other)) for one, other in np.argwhere(surely_ahead(pairs))}


@pytest.mark.parametrize(
    ("wins", "losses", "is_told"),
    [(5, 0, False), (6, 0, True), (7, 1, False), (8, 1, True), (9, 2, False), (10, 2, True)],
)
def test_how_many_wins_tell_two_apart(wins: int, losses: int, is_told: bool) -> None:
    """2 / 2^n times the ways to lose as many or fewer: 2/32, 2/64, 18/256, 20/512, 134/2048, 158/4096."""
    chance = 2.0 * sum(math.comb(wins + losses, lost) for lost in range(losses + 1)) / 2.0 ** (wins + losses)
    assert (chance < 0.05) == is_told
    assert told(of_pairs(2, {(0, 1): wins, (1, 0): losses})) == ({(0, 1)} if is_told else set())
    assert told(of_pairs(2, {(1, 0): wins, (0, 1): losses})) == ({(1, 0)} if is_told else set())


def test_three_pairs_share_the_5_percent() -> None:
    # 2/128 is below 5 % over 3 and over 2, 2/64 below 5 %; what comes after one that is not told is not told
    assert told(of_pairs(3, {(0, 1): 7, (0, 2): 7, (1, 2): 6})) == {(0, 1), (0, 2), (1, 2)}
    assert told(of_pairs(3, {(0, 1): 7, (0, 2): 6, (1, 2): 6})) == {(0, 1)}
    assert told(of_pairs(3, {(0, 1): 6, (0, 2): 6, (1, 2): 6})) == set()


def test_who_is_better_than_a_better_one_has_a_place_before_both() -> None:
    sure = np.zeros((4, 4), np.bool_)
    sure[2, 0] = sure[0, 3] = True
    first, last = place_ranges(sure, [2, 0, 1, 3])
    assert first.tolist() == [2, 1, 1, 3]
    assert last.tolist() == [3, 4, 2, 4]


def test_strengths_of_one_and_of_nobody() -> None:
    assert strengths([], 1).tolist() == [1.0]
    assert strengths([[[0]]], 1) == pytest.approx([1.0])
    assert strengths([], 0).shape == (0,)


@pytest.mark.parametrize(
    ("wins", "losses", "met", "pairs"), [(9, 3, 14, 3), (5, 11, 16, 1), (13, 9, 40, 10), (0, 1, 1, 1)]
)
def test_advised_rounds_by_the_normal_approximation(wins: int, losses: int, met: int, pairs: int) -> None:
    """n (p - 1/2) = sqrt(n) (z(1 - a/2) / 2 + z(0.8) sqrt(p (1 - p))) of the rounds that are no ties."""
    share = (max(wins, losses) + 1) / (wins + losses + 2)
    normal = NormalDist()
    reach = 0.5 * normal.inv_cdf(1.0 - 0.025 / pairs)
    reach += normal.inv_cdf(0.8) * math.sqrt(share * (1.0 - share))
    expected = (reach / (share - 0.5)) ** 2 * met / (wins + losses)
    assert rounds_to_tell(wins, losses, met, pairs) == math.ceil(expected)
    assert rounds_to_tell(losses, wins, met, pairs) == math.ceil(expected)


def test_advised_rounds_are_no_fewer_than_an_unbroken_row_takes_and_no_more_than_anybody_runs() -> None:
    # 2 / 2^6 is below 5 %, 2 / 2^8 below 5 % over 6; every second round a tie takes twice as many
    assert rounds_to_tell(400, 0, 400, 1) == 6
    assert rounds_to_tell(400, 0, 400, 6) == 8
    assert rounds_to_tell(400, 0, 800, 6) == 16
    assert rounds_to_tell(400, 0, 400, 0) == 6
    # 11 to 10 of 21: a share of 12/23
    assert rounds_to_tell(11, 10, 21, 1) is None
