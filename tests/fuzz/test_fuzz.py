"""A few of the broken files that ``python -m tests.fuzz`` tries by the thousand."""

from pathlib import Path

import pytest

from tests.fuzz.cases import case, tried

# Other cases than those that are tried by hand.
SEED = 2


@pytest.mark.parametrize("number", range(120))
def test_a_broken_file_is_run_or_refused_with_a_word(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert tried(case(number, SEED)) == ""
