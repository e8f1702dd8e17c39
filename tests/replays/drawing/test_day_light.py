"""The light of a day as pictures show it, from a replay alone: against the engine's own map of light."""

import math
from typing import Any

import numpy as np
import pytest

from arena.recording import describe_arena, describe_day, map_of
from arena.scene.sky import Sky, sky_of
from arena.scene.spec import ArenaSpec, parse_arena
from arena.scene.still_arena import arena_at
from replays.drawing.day_card import day_words, draw_day_card
from replays.drawing.day_light import DayLight
from replays.drawing.light_map import LightMap
from replays.drawing.metres_to_points import fit
from replays.drawing.moving_picture import Stage
from replays.drawing.sheet import Sheet, pygame
from replays.format.daylight import Daylight, daylight_of
from tests.helpers.drawn_words import noting_words

YARD = """\
photodrome: arena 1
name: yard
floor:
  outline: 0 0 / 1.2 0 / 1.2 1 / 0 1 m
  rim: 1 mm
walls:
  - name: box
    outline: 0.5 0.4 / 0.7 0.4 / 0.7 0.55 / 0.5 0.55 m
    height: 150 mm
  - name: plank
    line: 0.2 0.1 / 0.4 0.2 / 0.6 0.1 m
    height: 60 mm
shades:
  - name: leaf
    outline: 0.8 0.6 / 1.0 0.6 / 1.0 0.9 / 0.85 0.8 m
    height: 250 mm
    passes: 30 %
lamps:
  - name: lamp
    place: 1.1 0.2 m
    height: 500 mm
    light: white-led
    intensity: 900 cd
    beam: 40 deg
    aim: 0.6 0.5 m
    lit:
      - {begins: 20:00, ends: 23:00, share: 50 %}
ambient:
  illuminance: 20 lx
  light: white-led
day:
  latitude: 47.4 deg
  longitude: 8.5 deg
  date: 2026-06-21
  clock: UTC+2
  begins: 05:00
  north: 60 deg
  clouds: {cover: 3, lasts: 10 min}
  coldest: 12 degC
  warmest: 27 degC
starts:
  places:
    - place: 0.1 0.5 m
lasts: 18 h
"""
HEIGHT = 0.03
PLACED = {"x": 0.0, "y": 0.0, "cell": 0.01}
SHAPE = (100, 120)


@pytest.fixture(scope="module")
def yard() -> tuple[ArenaSpec, Sky, dict[str, Any], Daylight]:
    spec = parse_arena(YARD, "yard.yaml")
    sky = sky_of(spec, spec.lasts, seed=2)
    assert sky is not None
    arena = describe_arena(spec, "") | describe_day(spec, sky, HEIGHT)
    day = daylight_of(arena)
    assert day is not None
    return spec, sky, arena, day


@pytest.mark.parametrize("hour", [5.5, 6.5, 9.0, 13.4, 17.0, 20.5, 22.5])
def test_the_map_of_any_hour_is_that_of_the_engine(
    yard: tuple[ArenaSpec, Sky, dict[str, Any], Daylight], hour: float
) -> None:
    """Nine cells of ten to a thousandth; the others lie at the soft edge of a shadow."""
    spec, sky, arena, day = yard
    time_s = (hour - 5.0) * 3600.0
    known = map_of(arena_at(spec, time_s, sky), HEIGHT)
    found = DayLight(arena, day, PLACED, SHAPE).at(day.step(time_s))
    assert found.shape == known.shape == SHAPE
    off = np.abs(found / known - 1.0)
    assert np.quantile(off, 0.9) < 2e-3
    # within the box it is dark here, where nobody ever stands
    assert np.mean(found) == pytest.approx(np.mean(known), rel=0.02)
    # and where the light differs at all, a shadow is there
    if day.sun_lx[day.step(time_s)] > 5e3:
        assert known.min() < 0.7 * known.max()


def test_what_the_card_says(yard: tuple[ArenaSpec, Sky, dict[str, Any], Daylight]) -> None:
    _, _, _, day = yard
    shining = np.flatnonzero(day.sun_lx > 5e4)
    noon = shining[np.argmax(day.sun_elevation_rad[shining])]
    words = day_words(day, float(day.times_s[noon]))
    assert f"sun {math.degrees(day.sun_elevation_rad[noon]):.0f}° high" in words
    assert "klx" in words
    hidden = np.flatnonzero((day.sun_lx == 0.0) & (day.sun_elevation_rad > 0.3))[0]
    assert "sun behind clouds" in day_words(day, float(day.times_s[hidden]))
    assert day_words(day, 0.0).startswith("05:00, twilight")
    assert day_words(day, 18.0 * 3600.0 - 1.0).startswith("22:59, night")
    assert day.clock(20.0 * 3600.0) == "01:00 on day 2"


def test_the_card_holds_its_words_and_shows_where_the_sun_stands(
    yard: tuple[ArenaSpec, Sky, dict[str, Any], Daylight],
) -> None:
    """All in the upper left corner; a mark of the sun is there where that shines, and turns with it."""
    _, _, arena, day = yard
    shining = np.flatnonzero(day.sun_lx > 5e4)
    pictures = []
    for time_s in (day.times_s[shining[0]], day.times_s[shining[-1]], 18.0 * 3600.0 - 1.0):
        surface = pygame.Surface((500, 300))
        surface.fill((1, 2, 3))
        sheet = Sheet(surface)
        with noting_words(surface) as words:
            draw_day_card(sheet, fit(arena, 0.0, 0.0, 500.0, 300.0), day, float(time_s))
        assert [told for told, _ in words.seen] == [day_words(day, float(time_s))]
        assert words.faults == []
        picture = pygame.surfarray.array3d(surface)
        drawn = np.any(picture != (1, 2, 3), axis=2)
        ((_, ink),) = words.seen
        right, bottom = np.max(np.nonzero(drawn), axis=1)
        assert drawn[ink.left : ink.right, ink.top : ink.bottom].all()
        assert right < ink.right + 20
        assert bottom < ink.bottom + 20
        pictures.append((ink.left, picture[: ink.left]))
    (morning, first), (evening, second), (night, _) = pictures
    assert min(morning, evening) > night + 10
    assert not np.array_equal(first[:, :60], second[:, :60])


def test_the_ground_follows_the_hour(yard: tuple[ArenaSpec, Sky, dict[str, Any], Daylight]) -> None:
    from arena.scene.contest import read_contest
    from arena.simulation import simulate

    replay = simulate(read_contest("yard-day", ["poppy"], walkers=1, seconds=7200.0))
    assert replay.day is not None
    view = fit(replay.arena, 0.0, 0.0, 300.0, 220.0)
    stage = Stage(replay)

    def ground(time_s: float) -> Any:
        return stage.begin_ground(view, 1, time_s).plan.light

    dawn, later, again = ground(600.0), ground(7000.0), ground(7000.0)
    assert isinstance(dawn, LightMap)
    assert later is again
    assert later is not dawn
    # one scale all day, so that brighter is brighter
    assert later.scale == dawn.scale
    x, y = np.linspace(0.1, 1.9, 40), np.linspace(0.1, 1.3, 30)
    assert later.shares(x, y).mean() > dawn.shares(x, y).mean() + 0.2
    surface = pygame.Surface((300, 220))
    pictures = []
    for time_s in (600.0, 7000.0):
        from replays.drawing.figures import ALL_WAYS, Moment

        stage.draw(surface, view, Moment(time_s, None, None, ALL_WAYS, None, False))
        pictures.append(pygame.surfarray.array3d(surface).astype(float).mean())
    assert pictures[1] > pictures[0] + 10.0
