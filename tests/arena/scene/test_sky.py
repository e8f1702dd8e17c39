"""The sky of a run: steps hold their tolerance, clouds and lamps come in time, bad days are refused."""

import datetime
import math
from typing import Any

import numpy as np
import pytest

from agents.errors import SpecError
from agents.handbook.sky_light import disc_illuminance, sky_illuminance
from agents.handbook.sun_position import seconds_of, sun_position
from arena.scene.flat_arena import flatten
from arena.scene.records import SUN_DISTANCE
from arena.scene.sky import LEAST_LIGHT, Sky, sky_of
from arena.scene.spec import ArenaSpec, parse_arena
from arena.scene.still_arena import arena_at

YARD = """\
photodrome: arena 1
name: yard
floor:
  outline: 0 0 / 2 0 / 2 1 / 0 1 m
lamps:
  - name: lamp
    place: 1 0.5 m
    height: 600 mm
    light: white-led
    intensity: 100 cd
starts:
  places:
    - place: 0.5 0.5 m
lasts: 20 h
"""
PLACE = "latitude: 47.4 deg, longitude: 8.5 deg, date: 2026-06-21, clock: UTC+2"
NO_LAMP = YARD.replace(YARD[YARD.index("lamps") : YARD.index("starts")], "")


def yard(day: str, text: str = YARD) -> ArenaSpec:
    return parse_arena(f"{text}day: {{{day}}}\n", "yard.yaml")


def with_table(*entries: str) -> str:
    listed = "".join(f"      - {{{entry}}}\n" for entry in entries)
    return YARD.replace("    intensity: 100 cd\n", f"    intensity: 100 cd\n    lit:\n{listed}")


def sky(spec: ArenaSpec, seconds: float | None = None, seed: int = 1, luck: int = 0) -> Sky:
    found = sky_of(spec, spec.lasts if seconds is None else seconds, seed, luck)
    assert found is not None
    return found


def held(found: Sky, times: np.ndarray) -> np.ndarray:
    """The steps that hold at ``times`` [s]."""
    return found.steps[np.searchsorted(found.steps["start"], times, side="right") - 1]


@pytest.mark.parametrize("tolerance", [0.02, 0.05])
@pytest.mark.parametrize(
    "where",
    [
        "latitude: 47.4 deg, longitude: 8.5 deg, date: 2026-06-21, clock: UTC+2, begins: 04:00",
        "latitude: 0 deg, longitude: 0 deg, date: 2026-03-20, begins: 05:00",
        "latitude: 78 deg, longitude: 15 deg, date: 2026-06-21, begins: 00:00",
        "latitude: -54.8 deg, longitude: -68.3 deg, date: 2026-12-21, clock: UTC-3, begins: 03:00",
    ],
)
def test_what_a_step_holds_is_never_far_from_what_is_there(where: str, tolerance: float) -> None:
    spec = yard(f"{where}, tolerance: {tolerance}, coldest: 5 degC, warmest: 25 degC")
    day = spec.day
    assert day is not None
    assert day.date is not None
    assert day.latitude is not None
    assert day.longitude is not None
    times = np.arange(0.5, spec.lasts, 7.0)
    step = held(sky(spec), times)
    seconds = seconds_of(day.date) + day.begins - day.clock + times
    sun = sun_position(seconds, day.latitude, day.longitude)
    of_year = np.full(len(times), float(day.date.timetuple().tm_yday))
    disc, blue = disc_illuminance(sun.apparent, of_year), sky_illuminance(sun.elevation)
    light = disc + blue
    # the middle of a step is at most a step away from its ends; the sky's root law at the horizon is steep
    off = np.abs(step["sun"] - disc) + np.abs(step["clear_sky"] - blue)
    assert np.quantile(off / np.maximum(light, LEAST_LIGHT), 0.999) < tolerance
    # an angle of the compass stands on the plan with north up
    height = np.sin(sun.apparent)
    towards = np.column_stack(
        [np.cos(sun.apparent) * np.sin(sun.azimuth), np.cos(sun.apparent) * np.cos(sun.azimuth), height]
    )
    known = np.column_stack([-step["aim_x"], -step["aim_y"], -step["aim_z"]])
    shines = disc > LEAST_LIGHT
    assert np.any(shines)
    angle = np.degrees(np.linalg.norm(towards - known, axis=1))[shines]
    assert angle.max() < 25.0 * tolerance
    assert np.all(step["overcast_sky"] == 0.0)
    assert 278.1 < step["air"].min() < 280.0
    assert 296.0 < step["air"].max() < 298.2


def test_half_the_tolerance_is_twice_the_steps() -> None:
    coarse, fine = (
        len(sky(yard(f"{PLACE}, begins: 04:00, tolerance: {share}")).steps) for share in (0.04, 0.02)
    )
    assert fine / coarse == pytest.approx(2.0, rel=0.02)


def test_the_sun_comes_from_where_north_says() -> None:
    # noon by the sun at 47 N: it stands in the south, on whichever side of the plan that is
    noon = "latitude: 47 deg, longitude: 0 deg, date: 2026-06-21, begins: 12:00"
    for north, towards in (
        (90.0, (0.0, -1.0)),
        (0.0, (-1.0, 0.0)),
        (-45.0, (-math.sqrt(0.5), math.sqrt(0.5))),
    ):
        step = sky(yard(f"{noon}, north: {north} deg"), 60.0).steps[0]
        flat = math.hypot(step["aim_x"], step["aim_y"])
        assert (-step["aim_x"] / flat, -step["aim_y"] / flat) == pytest.approx(towards, abs=0.03)
        # and by the rule of thumb stands 90 - 47 + 23.4 degrees high
        assert math.degrees(math.asin(-step["aim_z"])) == pytest.approx(66.4, abs=0.1)
        place = np.array([step["sun_x"] - 1.0, step["sun_y"] - 0.5, step["sun_z"]])
        assert np.linalg.norm(place) == pytest.approx(SUN_DISTANCE)


def test_glass_and_open_sky_take_their_share() -> None:
    noon = f"{PLACE}, begins: 12:00"
    whole, behind = (sky(yard(day), 60.0).steps[0] for day in (noon, f"{noon}, glass: 80 %, open_sky: 5 %"))
    assert behind["sun"] == pytest.approx(0.8 * whole["sun"])
    assert behind["clear_sky"] == pytest.approx(0.8 * 0.05 * whole["clear_sky"])


def test_clouds_hide_the_sun_for_their_share_and_their_length() -> None:
    # ten summer days far north, on which the sun never sets: the telegraph process has the mean duration
    # that is given, and by its stationary law hides for the share of the cover
    spec = yard(
        "latitude: 80 deg, longitude: 0 deg, date: 2026-06-16, begins: 00:00, "
        "clouds: {cover: 3, lasts: 2 min}, tolerance: 20 %"
    )
    found = sky(spec, 864_000.0)
    hidden = found.steps["sun"] == 0.0
    lengths = np.diff(np.append(found.steps["start"], 864_000.0))
    assert lengths[hidden].sum() / 864_000.0 == pytest.approx(3 / 8, abs=0.02)
    edges = np.flatnonzero(hidden[1:] & ~hidden[:-1])
    assert lengths[hidden].sum() / len(edges) == pytest.approx(120.0, rel=0.06)
    # without memory: a standard deviation like the mean
    begins, ends = (
        found.steps["start"][1:][hidden[1:] & ~hidden[:-1]],
        found.steps["start"][1:][~hidden[1:] & hidden[:-1]],
    )
    first = np.searchsorted(ends, begins[0], side="right")
    count = min(len(begins), len(ends) - first)
    clouds = ends[first:][:count] - begins[:count]
    assert np.std(clouds) == pytest.approx(np.mean(clouds), rel=0.1)
    # three eighths of the sky are clouds
    step = found.steps[0]
    assert step["overcast_sky"] / (step["clear_sky"] + step["overcast_sky"]) == pytest.approx(3 / 8)


def test_the_luck_of_clouds_is_a_function_of_seed_and_repeat() -> None:
    spec = yard(f"{PLACE}, begins: 08:00, clouds: {{cover: 4}}")
    one, again, other, later = (sky(spec, 3600.0, *luck) for luck in ((1, 0), (1, 0), (2, 0), (1, 1)))
    assert one.steps.tobytes() == again.steps.tobytes()
    assert one.steps.tobytes() != other.steps.tobytes()
    assert one.steps.tobytes() != later.steps.tobytes()
    # a longer run begins with the same clouds
    longer = sky(spec, 7200.0)
    times = np.arange(5.0, 3590.0, 5.0)
    assert np.array_equal(held(one, times)["sun"] == 0.0, held(longer, times)["sun"] == 0.0)


@pytest.mark.parametrize(("cover", "is_hidden"), [(0, False), (8, True)])
def test_no_cloud_and_all_clouds_never_change(cover: int, is_hidden: bool) -> None:
    found = sky(yard(f"{PLACE}, begins: 12:00, clouds: {{cover: {cover}, lasts: 10 s}}"), 3600.0)
    assert np.all((found.steps["sun"] == 0.0) == is_hidden)
    assert len(found.steps) < 60


def test_a_lamp_keeps_its_timetable_day_after_day() -> None:
    text = with_table("begins: 06:00, ends: 08:00, share: 50 %", "begins: 20:00, ends: 24:00, fades: 30 min")
    spec = yard("begins: 05:00", text)
    found = sky(spec, 3 * 86400.0)
    clock = np.arange(5.0, 5.0 + 72.0, 0.01) + 0.005
    given = found.lamps[np.searchsorted(found.steps["start"], (clock - 5.0) * 3600.0, side="right") - 1, 0]
    hour = clock % 24.0
    known = np.interp(hour, [0, 6, 6, 8, 8, 20, 20.5, 23.5, 24], [0, 0, 0.5, 0.5, 0, 0, 1, 1, 0])
    assert np.abs(given - known).max() < 0.02
    # each switch at its very time
    for switch in (1.0, 3.0, 25.0, 27.0):
        assert np.min(np.abs(found.steps["start"] - switch * 3600.0)) == 0.0
    # nothing changes by night and noon, so there are no steps
    assert not np.any((found.steps["start"] > 3.0 * 3600.0) & (found.steps["start"] < 15.0 * 3600.0))


def test_an_arena_without_a_day_has_no_sky_and_a_clock_alone_has_one_step() -> None:
    assert sky_of(parse_arena(YARD, "yard.yaml"), 3600.0) is None
    found = sky(yard("begins: 05:00"))
    assert len(found.steps) == 1
    assert found.steps[0]["sun"] == found.steps[0]["clear_sky"] == 0.0
    assert found.lamps.tolist() == [[1.0]]


def test_the_flat_arena_of_a_day_has_a_place_for_its_sun() -> None:
    assert flatten(yard(f"{PLACE}, begins: 12:00")).sources["is_sun"].tolist() == [0, 1]
    assert flatten(yard("begins: 12:00")).sources["is_sun"].tolist() == [0]


def test_ten_days_go_over_midnights() -> None:
    found = sky(yard(f"{PLACE}, begins: 22:00"), 864_000.0)
    times = np.arange(10) * 86400.0 + 14.0 * 3600.0
    noon = held(found, times)
    assert np.all(noon["sun"] > 9e4)
    assert np.all(held(found, times + 12.0 * 3600.0)["sun"][:-1] == 0.0)
    assert np.all(np.diff(found.steps["start"]) > 0.0)


def faults(day: str, text: str = YARD) -> list[tuple[str, str, str]]:
    with pytest.raises(SpecError) as caught:
        yard(day, text)
    return [(fault.key, fault.got, fault.expected) for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("day", "key", "got"),
    [
        ("begins: 25:00", "day.begins", "'25:00'"),
        ("clock: UTC", "day.begins", "nothing"),
        (f"{PLACE.replace('06-21', '02-30')}, begins: 06:00", "day.date", "'2026-02-30'"),
        (f"{PLACE.replace('2026', '1820')}, begins: 06:00", "day.date", "'1820-06-21'"),
        (f"{PLACE.replace('47.4', '97.4')}, begins: 06:00", "day.latitude", "'97.4 deg'"),
        (f"{PLACE.replace('8.5', '188.5')}, begins: 06:00", "day.longitude", "'188.5 deg'"),
        (f"{PLACE.replace('UTC+2', 'CEST')}, begins: 06:00", "day.clock", "'CEST'"),
        ("begins: 06:00, latitude: 47 deg", "day.longitude", "nothing"),
        ("begins: 06:00, clouds: {cover: 3}", "day.clouds", "clouds without a sun"),
        (f"{PLACE}, begins: 06:00, clouds: {{cover: 9}}", "day.clouds.cover", "'9'"),
        (f"{PLACE}, begins: 06:00, clouds: {{cover: 4, lasts: 0 s}}", "day.clouds.lasts", "'0 s'"),
        (f"{PLACE}, begins: 06:00, coldest: 5 degC", "day.warmest", "nothing"),
        (f"{PLACE}, begins: 06:00, coldest: 25 degC, warmest: 5 degC", "day.coldest", "25 degC"),
        (f"{PLACE}, begins: 06:00, tolerance: 0 %", "day.tolerance", "'0 %'"),
    ],
)
def test_a_day_that_cannot_be_is_refused_where_it_stands(day: str, key: str, got: str) -> None:
    assert [fault[:2] for fault in faults(day)] == [(key, got)]


def test_a_timetable_that_cannot_be_is_refused() -> None:
    def fault(*entries: str, day: str = "begins: 06:00") -> tuple[str, str, str]:
        (found,) = faults(day, with_table(*entries))
        return found

    key, got, expected = fault("begins: 22:00, ends: 05:00")
    assert (key, got) == ("lamps[0].lit[0].ends", "05:00, which is not after 22:00")
    # what it advises can be done
    assert "22:00 to 24:00 and 00:00 to 05:00" in expected
    yard("begins: 06:00", with_table("begins: 22:00, ends: 24:00", "begins: 00:00, ends: 05:00"))
    assert fault("begins: 08:00, ends: 08:00")[0] == "lamps[0].lit[0].ends"
    assert fault("begins: 08:00, ends: 09:00, fades: 31 min")[0] == "lamps[0].lit[0].fades"
    key, got, _ = fault("begins: 10:00, ends: 12:00", "begins: 08:00, ends: 11:00")
    assert (key, got) == ("lamps[0].lit[0].begins", "10:00, while lit[1] lasts until 11:00")
    with pytest.raises(SpecError, match="a timetable without a day"):
        parse_arena(with_table("begins: 08:00, ends: 09:00"), "yard.yaml")


def test_two_suns_and_two_airs_are_refused() -> None:
    sun = "sun: {azimuth: 0 deg, elevation: 30 deg, illuminance: 9 klx}\n"
    assert faults(f"{PLACE}, begins: 06:00", f"{YARD}{sun}")[0][:2] == ("sun", "a sun beside the day's own")
    air = f"{YARD}air: 30 degC\n"
    assert faults(f"{PLACE}, begins: 06:00, coldest: 5 degC, warmest: 9 degC", air)[0][0] == "air"
    # a clock needs neither
    assert yard("begins: 06:00", f"{air}{sun}").sun is not None


@pytest.mark.parametrize(
    ("day", "text", "advice"),
    [
        (f"{PLACE}, begins: 00:00", NO_LAMP.replace("20 h", "2 h"), "the sun rises at 05:30 by that clock"),
        (
            "latitude: 78 deg, longitude: 15 deg, date: 2026-12-21, begins: 00:00",
            NO_LAMP.replace("20 h", "24 h"),
            "the sun does not rise there, it comes to -11.4 deg",
        ),
    ],
)
def test_a_run_in_the_dark_is_refused(day: str, text: str, advice: str) -> None:
    # rising at Zurich on 21 June at half past five in summer time, from memory of almanacs, to a minute
    (fault,) = faults(day, text)
    assert fault[0] == "day.begins"
    assert "it stays dark" in fault[1]
    assert advice in fault[2]
    # a lamp, or light from elsewhere, is light
    assert yard(day, YARD).day is not None
    assert yard(day, f"{text}ambient: {{illuminance: 5 lx}}\n").day is not None


def test_python_may_give_a_day_in_si_units() -> None:
    known: dict[str, Any] = {
        "begins": 6 * 3600.0,
        "latitude": 0.8,
        "longitude": 0.1,
        "date": datetime.date(2026, 6, 21),
        "clock": 7200.0,
    }
    spec = parse_arena(YARD, "yard.yaml")
    changed = ArenaSpec.model_validate({**dict(spec), "day": known})
    assert changed.day is not None
    assert changed.day.begins == 21600.0


def test_an_arena_at_one_time_of_its_day_stands_still() -> None:
    text = with_table("begins: 20:00, ends: 22:00, share: 50 %")
    spec = yard(f"{PLACE}, begins: 04:00, coldest: 5 degC, warmest: 25 degC, clouds: {{cover: 8}}", text)
    assert arena_at(parse_arena(YARD, "yard.yaml")).lamps[0].lit == ()
    noon, evening, night = (arena_at(spec, (hour - 4.0) * 3600.0, sky(spec)) for hour in (13.4, 21.0, 23.5))
    assert noon.day is None
    assert noon.sun is None
    # 0.3 + 21 sin h of an overcast sky, in klx
    assert noon.ambient.illuminance == pytest.approx(300.0 + 21e3 * math.sin(math.radians(66.0)), rel=0.01)
    assert noon.ambient.light == "overcast"
    assert 295.0 < noon.air < 298.2
    assert [one.lamps[0].intensity for one in (noon, evening, night)] == [0.0, 50.0, 0.0]
    assert night.ambient.illuminance < 1.0
    # left to itself it is the brightest time, of a clear day
    bright = arena_at(spec)
    assert bright.sun is not None
    assert math.degrees(bright.sun.elevation) == pytest.approx(66.0, abs=0.5)
    assert flatten(bright).sources["is_sun"].tolist() == [0, 1]
    # a clock alone: when most lamps are on
    assert arena_at(yard("begins: 04:00", text)).lamps[0].intensity == 50.0
