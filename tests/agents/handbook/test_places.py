"""Places and the light that falls there, against EN 12464-1."""

import pytest

from agents.errors import OptionError
from agents.handbook.light_kinds import KINDS
from agents.handbook.places import PLACES, place_named


def test_places_have_the_light_of_the_standard() -> None:
    """EN 12464-1: 100 lx in corridors, 300 in classrooms, 500 for writing, 750 for technical drawing."""
    by_standard = {
        name: place.light for name, place in PLACES.items() if place.source.startswith("EN 12464-1")
    }
    assert by_standard == {"corridor": 100.0, "classroom": 300.0, "desk": 500.0, "drawing board": 750.0}
    assert all(place.kind in KINDS and place.source for place in PLACES.values())
    lights = [place.light for place in PLACES.values()]
    assert lights == sorted(lights)


def test_a_place_is_found_with_hyphens_too_and_another_is_refused_with_the_nearest() -> None:
    assert place_named("sunny-sill") is place_named("sunny sill") is PLACES["sunny sill"]
    with pytest.raises(OptionError, match=r"no place 'dsek'.*nearest: desk.*; the places are corridor"):
        place_named("dsek")
