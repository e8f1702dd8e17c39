"""Two settings on the same repeats, against scipy's paired tests and intervals."""

import math

import numpy as np
import pytest
from scipy import stats

from arena.studies.statistics.head_to_head import head_to_head
from arena.studies.trial_scores import SCORES


def test_difference_of_means_has_students_paired_test_and_interval() -> None:
    chance = np.random.default_rng(4)
    luck = chance.normal(size=60)
    late = arrive.copy()
    late[:20] = math.inf
    values = np.stack([arrive, late])
        np.float64
    )
    found = head_to_head(SCORES["reach time"], values)
    assert math.isnan(found.low)
    assert found.is_better
    both = head_to_head(SCORES["reach time"], np.stack([arrive, arrive + 60.0]))
    assert both.difference == pytest.approx(-60.0)
    assert both.low < -30.0
