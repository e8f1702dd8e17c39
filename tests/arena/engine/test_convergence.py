"""How finely a world is worked out hardly matters: with half of every tolerance scores stay as they are."""

import numpy as np
import pytest

from agents.text.shipped import shipped_names
from arena.engine.tolerances import USUAL
from tests.benchmarks import convergence
from tests.benchmarks.convergence import astray, moved, walks


@pytest.mark.parametrize("arena", shipped_names("arena"))
def test_scores_hold_with_half_the_tolerances(arena: str) -> None:
    """Means of two dozen walkers with the same luck: each within its own 95 % interval.

    And after five pulses half of the walkers are within 5 mm of where they were.
    """
    usual, finer = (walks(arena, one, 24, 400.0, True) for one in (USUAL, USUAL.times(0.5)))
    shares = moved(usual, finer)
    assert len(shares) >= 2
    assert max(shares.values()) < 1.0, shares
    if np.sum(~np.isnan(usual.places[:, 0])) > 12:
        assert astray(usual, finer) < 5.0


def test_a_common_floor_holds_too() -> None:
    """Two dozen that meet and shade one another."""
    usual, finer = (walks("open-bench", one, 24, 400.0, False) for one in (USUAL, USUAL.times(0.5)))
    shares = moved(usual, finer)
    assert max(shares.values()) < 1.0, shares


def test_the_table_tells_of_all_tolerances(capsys: pytest.CaptureFixture[str]) -> None:
    convergence.main(["--quick"])
    printed = capsys.readouterr().out
    for name in (*convergence.GROUPS, "all"):
        assert f"{name} halved" in printed
        assert f"{name} doubled" in printed
