"""Who enters a contest, as a notebook asks for it."""

import pytest

from agents.errors import OptionError
from arena.scene.contest import read_contest


def test_one_text_in_place_of_a_list_is_told() -> None:
    # text is a sequence of letters, each of which would be looked for as a design
    with pytest.raises(OptionError) as refused:
        read_contest("slalom", "poppy")
    assert str(refused.value) == "designs: got the text 'poppy', expected a list like ['poppy']"
