"""Heats and start places: everybody from everywhere, everybody beside everybody."""

from collections import Counter
from itertools import pairwise

import pytest

from arena.races.draw import heat_shape, heats_of, round_robin, williams_rows


@pytest.mark.parametrize("size", [1, 2, 3, 4, 5, 8, 11])
def test_a_williams_square_is_balanced(size: int) -> None:
    # Williams 1949: each in each place equally often, each next to each equally often
    rows = williams_rows(size)
    for place in range(size):
        assert set(Counter(row[place] for row in rows).values()) == {len(rows) // size}
    beside = Counter(pair for row in rows for pair in pairwise(row))
    assert len(beside) == size * (size - 1)
    assert len(set(beside.values())) <= 1


@pytest.mark.parametrize(("count", "room"), [(12, 12), (7, 7), (30, 8), (30, 30), (10, 3), (5, 4), (2, 2)])
def test_everybody_runs_from_every_start_in_a_turn(count: int, room: int) -> None:
    heats, starts = heat_shape(count, room)
    for turn in range(2):
        seen: Counter[tuple[int, int]] = Counter()
        for number in range(turn * starts, (turn + 1) * starts):
            drawn = heats_of(count, room, 7, number)
            assert len(drawn) == heats
            assert all(len(heat) <= room for heat in drawn)
            assert all(len({start for _, start in heat}) == len(heat) for heat in drawn)
            assert sorted(one for heat in drawn for one, _ in heat) == list(range(count))
            seen.update(pair for heat in drawn for pair in heat)
        assert seen == {(one, start): 1 for one in range(count) for start in range(starts)}


def test_heats_bring_together_others_each_time() -> None:
    met: Counter[frozenset[int]] = Counter()
    for number in range(32):
        for heat in heats_of(30, 8, 3, number):
            members = [one for one, _ in heat]
            met.update(frozenset((one, other)) for one in members for other in members if one < other)
    # 8 of 30 meet 7 others of 29 in a round: in 32 rounds each pair about 7 times
    assert len(met) == 30 * 29 // 2
    assert min(met.values()) >= 1
    assert heats_of(30, 8, 3, 0) != heats_of(30, 8, 4, 0)


def test_pairs_are_a_round_robin_in_which_starts_change_hands() -> None:
    for count in (2, 5, 6):
        two = [round_robin(count, number) for number in (0, 1)]
        for drawn in two:
            assert sorted(sorted(one for one, _ in pair) for pair in drawn) == [
                [one, other] for one in range(count) for other in range(one + 1, count)
            ]
        firsts = Counter(pair[0][0] for drawn in two for pair in drawn)
        assert firsts == dict.fromkeys(range(count), count - 1)
