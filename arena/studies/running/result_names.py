"""The names of the files that a sweep writes in its folder, beside the journal."""

import re
from collections.abc import Sequence

from arena.studies.plans.study import Study

CSV, NPZ = "trials.csv", "trials.npz"
"""Names of the tables of trials, see :mod:`arena.studies.running.results`."""

SETTINGS_CSV = "settings.csv"
"""Name of the table of settings, see :func:`arena.studies.telling.summary.write_summary`."""

TABLES = (CSV, NPZ, SETTINGS_CSV)


def picture_name(score: str, word: str) -> str:
    """The name of the picture of a score by a factor, of which ``word`` is one of :func:`file_words`."""
    return f"{_file_word(score)}-by-{word}.png"


def map_name(score: str) -> str:
    """The name of the map of a score by two factors."""
    return f"{_file_word(score)}-map.png"


def picture_names(study: Study) -> list[str]:
    """The names of all pictures that a sweep of the study may have."""
    words = file_words([factor.label() or factor.path for factor in study.factors])
    by_factor = [picture_name(score, word) for score in study.scores for word in words]
    return [*by_factor, *map(map_name, study.scores)]


def file_words(texts: Sequence[str]) -> list[str]:
    """Words for names of files, no two alike, though the letters by which the texts differ may be lost."""
    words: list[str] = []
    for number, text in enumerate(texts, 1):
        word = _file_word(text) or "value"
        while word in words:
            word += f"-{number}"
        words.append(word)
    return words


def _file_word(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
