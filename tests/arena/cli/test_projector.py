"""The commands that show a run to a whole room."""

import pytest

from agents.errors import OptionError
from arena.cli.options import walker_called
from tests.helpers.fabricate import potting_bench


def test_a_walker_is_found_by_its_name_and_others_are_told() -> None:
    replay = potting_bench().replay()
    assert walker_called(replay, None) is None
    assert walker_called(replay, " CRESS 2") == 3
    with pytest.raises(OptionError, match="no walker is called 'thyme'; there are cress 1, "):
        walker_called(replay, "thyme")
