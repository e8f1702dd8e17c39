"""Rows of trials that nobody has run and that might yet have been."""

import numpy as np

from arena.studies.trial_scores import SCORE_COLUMNS, impossible_figure


def possible(rows: np.ndarray) -> np.ndarray:
    """Bring the figures of TRIAL ``rows``, (n,), into the ranges that a run's may have, in place.

    What is no number, or not within the run, stays so.
    """
    for name in SCORE_COLUMNS:
        rows[name] = np.abs(rows[name])
        if impossible_figure(rows) == name:
            rows[name] %= 1.0
    rows["impossible"] = 0.0
    for part, whole in (("escapes", "contacts"), ("shade_escapes", "shades")):
        rows[part] = np.minimum(rows[part], rows[whole])
    assert impossible_figure(rows) == ""
    return rows
