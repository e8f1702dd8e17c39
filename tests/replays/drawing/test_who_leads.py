"""Lanes of who leads: as many as there is room for, the chosen one's among them, whatever the crowd."""

import os
from typing import Any

os.environ["SDL_VIDEODRIVER"] = "dummy"

import pytest

from replays.drawing.lanes import DESIGN_LANES, WALKER_LANES, lane_room
from replays.drawing.layout import Box
from replays.drawing.sheet import Sheet, pygame
from replays.drawing.who_leads import MOST_PLACES, LeadView
from replays.format.tables import Replay
from tests.helpers.window_measures import crowd_in

WALKERS = 300


@pytest.fixture(scope="module")
def replay() -> Replay:
    return crowd_in("potting-bench", WALKERS)


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """All words that are drawn."""
    words: list[str] = []
    text = Sheet.text

    def noted(self: Sheet, told: str, *rest: Any, **more: Any) -> None:
        words.append(told)
        text(self, told, *rest, **more)

    monkeypatch.setattr(Sheet, "text", noted)
    return words


@pytest.mark.parametrize("box", [Box(0, 0, 300, 500), Box(0, 0, 1200, 150), Box(0, 0, 150, 60)], ids=str)
def test_the_first_and_the_chosen_one_have_a_lane_and_the_rest_are_counted(
    replay: Replay, box: Box, written: list[str]
) -> None:
    lead, sheet = LeadView(replay), Sheet(pygame.Surface((1280, 720)))
    order = lead.progress.at(300.0).order.tolist()
    last = order[-1]
    lead.draw(sheet, box, WALKER_LANES, 300.0, last)
    columns, rows = lane_room(box)
    lanes = columns * rows - 1
    assert f"and {WALKERS - lanes} more" in written
    ranks = [int(word) for word in written if word.isdigit()]
    assert len(ranks) == lanes
    if lanes > 1:
        assert ranks == [*range(1, lanes), WALKERS]


def test_ranks_of_a_card_count_all_who_ran(replay: Replay, written: list[str]) -> None:
    sheet = Sheet(pygame.Surface((1280, 720)))
    LeadView(replay).draw_final(sheet, Box(0, 0, 1280, 720), 600.0)
    assert [int(word) for word in written if word.isdigit()] == list(range(1, MOST_PLACES + 1))
    assert f"and {WALKERS - MOST_PLACES} more" in written


def test_a_lane_of_a_design_shows_where_each_of_its_walkers_is(
    replay: Replay, monkeypatch: pytest.MonkeyPatch
) -> None:
    lead, sheet = LeadView(replay), Sheet(pygame.Surface((1280, 720)), 2.0)
    drawn: list[float] = []
    line = Sheet.line

    def noted(self: Sheet, points: Any, *rest: Any, **more: Any) -> None:
        if len(points) == 2 and points[0][0] == points[1][0]:
            drawn.append(points[0][0])
        line(self, points, *rest, **more)

    monkeypatch.setattr(Sheet, "line", noted)
    box = Box(0, 0, 280, 100)
    lead.draw(sheet, box, DESIGN_LANES, 300.0, None)
    gone = lead.progress.at(300.0).gone
    expected = {round((24 + (276 - 24) * share) * 2.0) / 2.0 for share in gone.tolist()}
    # and the post at the end of the lane
    assert set(drawn) == expected | {276.0}
    assert len(drawn) < WALKERS


@pytest.mark.parametrize("room", [Box(20, 100, 260, 80), Box(20, 60, 260, 130), Box(0, 0, 640, 400)], ids=str)
def test_the_card_of_places_stays_in_its_room(replay: Replay, room: Box, written: list[str]) -> None:
    sheet = Sheet(pygame.Surface((640, 400)))
    card = LeadView(replay).draw_final(sheet, room, 600.0, "Esc puts this away")
    assert card.top >= room.top - 0.5
    assert card.bottom <= room.bottom + 0.5
    assert "1" in written
