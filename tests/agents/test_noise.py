"""The random numbers: Philox bit for bit as numpy has it, and draws that owe each other nothing."""

import json
import os
import subprocess
import sys
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from agents.noise import PARTS, START, TRIGGER, normal_pair, philox, round_seed, uniform, uniform_pair

WORD = st.integers(0, 2**64 - 1)


def reference_block(counter: list[int], key: list[int]) -> list[int]:
    """numpy's block for the counter; it steps its counter by one before the first block it gives."""
    whole = sum(word << (64 * place) for place, word in enumerate(counter))
    before = (whole - 1) % 2**256
    words = [(before >> (64 * place)) & (2**64 - 1) for place in range(4)]
    generator: Any = np.random.Philox(
        counter=np.array(words, dtype=np.uint64), key=np.array(key, dtype=np.uint64)
    )
    return [int(word) for word in generator.random_raw(4)]


@settings(deadline=None, derandomize=True)
@given(counter=st.lists(WORD, min_size=4, max_size=4), key=st.lists(WORD, min_size=2, max_size=2))
def test_philox_is_that_of_numpy(counter: list[int], key: list[int]) -> None:
    block = philox(*(np.uint64(word) for word in (*counter, *key)))
    assert [int(word) for word in block] == reference_block(counter, key)


@pytest.mark.parametrize(("seed", "walker", "stream", "index"), [(0, 0, TRIGGER, 0), (2**40, 9999, PARTS, 7)])
def test_uniform_draws_come_from_the_upper_bits(seed: int, walker: int, stream: int, index: int) -> None:
    words = reference_block([index, stream, 0, 0], [seed, walker])
    expected = [((word >> 11) + 0.5) / 2.0**53 for word in words[:2]]
    assert list(uniform_pair(seed, walker, stream, index)) == expected
    assert uniform(seed, walker, stream, index) == expected[0]


def test_normal_draws_are_normal_and_independent() -> None:
    pairs = np.array([normal_pair(7, 3, TRIGGER, index) for index in range(20_000)])
    for draws in pairs.T:
        assert abs(draws.mean()) < 4.0 / np.sqrt(len(draws))
        assert draws.var() == pytest.approx(1.0, abs=4.0 * np.sqrt(2.0 / len(draws)))
        assert stats.kstest(draws, "norm").pvalue > 0.01
        # each against the next of its own stream
        assert abs(stats.pearsonr(draws[:-1], draws[1:]).statistic) < 4.0 / np.sqrt(len(draws))
    assert abs(stats.pearsonr(pairs[:, 0], pairs[:, 1]).statistic) < 4.0 / np.sqrt(len(pairs))
    assert abs(stats.spearmanr(np.abs(pairs[:, 0]), np.abs(pairs[:, 1])).statistic) < 4.0 / np.sqrt(
        len(pairs)
    )


@pytest.mark.parametrize("moved", ["seed", "walker", "stream"])
def test_neighbouring_streams_are_independent(moved: str) -> None:
    places = {"seed": 11, "walker": 4, "stream": TRIGGER, "index": 0}
    both = []
    for shift in (0, 1):
        place = {**places, moved: places[moved] + shift}
        both.append([uniform_pair(*{**place, "index": index}.values())[0] for index in range(5_000)])
    assert stats.kstest(both[1], "uniform").pvalue > 0.01
    assert abs(stats.pearsonr(*both).statistic) < 4.0 / np.sqrt(5_000)


def test_a_draw_depends_on_its_own_place_alone() -> None:
    alone = normal_pair(5, 2, TRIGGER, 10)
    for walker in range(50):
        for index in range(20):
            normal_pair(5, walker, TRIGGER, index)
    assert normal_pair(5, 2, TRIGGER, 10) == alone
    places = {
        (seed, walker, stream, index)
        for seed in range(3)
        for walker in range(3)
        for stream in (TRIGGER, PARTS, START)
        for index in range(3)
    }
    assert len({uniform_pair(*place) for place in places}) == len(places)


def test_rounds_of_two_seeds_have_no_seed_in_common() -> None:
    seeds = [0, 1, 2, 3, 2**63 - 1]
    rounds = {round_seed(seed, number) for seed in seeds for number in range(1000)}
    assert len(rounds) == 5 * 1000
    assert min(rounds) >= 0
    assert max(rounds) == 2**63 - 1
    assert [round_seed(seed, 0) for seed in seeds] == seeds


def test_plain_python_draws_the_same_bits() -> None:
    places = [(seed, walker, TRIGGER, index) for seed in (0, 2**50) for walker in (0, 77) for index in (0, 9)]
    code = (
        "import json, sys, numpy as np\n"
        "from agents.noise import normal_pair, philox\n"
        "with np.errstate(over='ignore'):\n"
        "    print(json.dumps([normal_pair(*place) for place in json.loads(sys.argv[1])]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, json.dumps(places)],
        env={**os.environ, "PHOTODROME_PLAIN": "1"},
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    plain = json.loads(done.stdout)
    for place, pair in zip(places, plain, strict=True):
        assert pair == pytest.approx(normal_pair(*place), rel=1e-14)
