"""A small share of ``python -m tests.mangled.replays`` and ``python -m tests.mangled.journals``."""

from pathlib import Path

from tests.mangled import journals, replays
from tests.mangled.mangle_replays import corpus

# Other cases than those that are tried by hand.
SEED = 2
REPLAYS, JOURNALS = 16, 10


def test_mangled_replays_are_taken_or_refused(tmp_path: Path) -> None:
    (tmp_path / "sound").mkdir()
    for case in replays.cases(SEED, range(REPLAYS), corpus(tmp_path / "sound")):
        folder = tmp_path / str(case.number)
        folder.mkdir()
        for outcome in replays.outcomes(case, folder):
            assert not outcome.faults(), f"{case.number}: {outcome}"


def test_mangled_journals_are_gone_on_from_or_refused(tmp_path: Path) -> None:
    sound = journals.sound_runs(tmp_path)
    for number in range(JOURNALS):
        *case, faults = journals.tried(number, SEED, sound)
        assert not faults, f"{number}: {case}"
