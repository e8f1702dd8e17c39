"""Plans: what they come to, setting by setting."""

import gc
import os
import tracemalloc
from collections import Counter
from contextlib import suppress
from itertools import product
from pathlib import Path
from typing import Any

import pytest
import yaml

from agents.design.spec import Design, read_design
from agents.errors import InputError, SpecError
from agents.text.shipped import find_document, shipped_names
from arena.scene import geometry
from arena.scene.spec import read_arena
from arena.studies.plans import plan_form as planform
from arena.studies.plans.plan_form import typical_time
from arena.studies.plans.ranges import Levels, Span
from arena.studies.plans.study import Setting, parse_study, read_study
from tests.helpers.plans import BASE, DRAWN, OWN, ROOM, with_vary, write


def test_the_grid_is_every_combination_in_order() -> None:
    study = parse_study(BASE)
    assert (study.settings, study.repeats, study.trials) == (2 * 2 * 2 * 3 * 4, 10, 960)
    latches, lights, eyes = (4.7e3, 10e3), (1e3, 5e3, 9e3), (0.02, 0.025, 0.03, 0.035)
    expected = [
        Setting(number, arena, design, values)
        for number, (arena, design, *values) in enumerate(product((0, 1), (0, 1), latches, lights, eyes))
        for values in [tuple(values)]
    ]
    assert [study.setting(number) for number in range(study.settings)] == expected
    assert all(study.setting_of(one.values, one.arena, one.design) == one for one in expected)


def test_what_a_study_says() -> None:
    study = parse_study(BASE)
    assert (study.name, study.about, study.scores) == ("a study", "", ("escape", "reached"))
    assert (study.walkers, study.seconds, study.seed, study.sampling) == (1, 600.0, 1, "grid")
    assert (study.budget, study.says_budget) == (5000, False)
    assert study.marks == {"design.both.eye.aside": {"wheels": 0.021}}
    assert [one.label() for one in study.factors] == [
        *("arena", "design", "both.latch", "lamps.grow lamp.intensity", "both.eye.aside")
    ]
    assert [one.is_ordered for one in study.factors] == [False, False, True, True, True]
    setting = study.setting(95)
    assert study.factor_values(setting) == ("corner trap", "cress", 10e3, 9e3, 0.035)
    shown = [one.show(value) for one, value in zip(study.factors, study.factor_values(setting), strict=True)]
    assert shown == ["corner trap", "cress", "10k", "9000 cd", "35 mm"]
    one = parse_study(with_vary("design.both.latch: 10k"))
    assert [factor.path for factor in one.factors] == ["design.both.latch"]


def test_numbers_of_walkers_are_given_like_an_arena() -> None:
    study = parse_study(with_vary("walkers: 2..5", "design.both.latch: 4k7, 10k"))
    assert study.settings == 8
    assert [study.walkers_of(study.setting(number)) for number in range(8)] == [2, 2, 3, 3, 4, 4, 5, 5]
    assert study.walkers == 5
    assert [one.is_given for one in study.factors] == [True, False]
    first, last = study.setting(0), study.setting(6)
    assert study.arena_of(first) is study.arena_of(last)
    assert study.arena_key(first) == study.arena_key(last)
    assert study.design_of(first) is study.design_of(last)
    # as many walker-seconds as their mean number comes to
    one = parse_study(with_vary("design.both.latch: 4k7, 10k", more="walkers: 1\n"))
    assert study.typical_time == pytest.approx(4 * 3.5 * one.typical_time)
    assert parse_study(with_vary("design.both.latch: 10k", more="walkers: 3\n")).walkers == 3


def test_a_setting_makes_its_arena_and_its_design() -> None:
    study = parse_study(BASE)
    setting = study.setting_of((4.7e3, 5e3, 0.025), arena=1, design=1)
    design, arena = study.design_of(setting), study.arena_of(setting)
    assert (design.name, design.left.latch, design.right.eye.aside) == ("cress", 4.7e3, 0.025)
    assert (arena.name, arena.lamps[0].intensity, arena.walls) == (
        "corner trap",
        5e3,
        read_arena("corner-trap").walls,
    )
    assert study.seconds_of(setting) == 600.0
    own = parse_study(BASE.replace("lasts: 10 min\n", ""))
    assert own.seconds is None
    assert own.seconds_of(setting) == 7200.0


def test_a_study_without_anything_varied_compares_designs() -> None:
    study = parse_study("photodrome: study 1\nname: two\narenas: slalom\ndesigns: poppy, cress\n")
    assert (study.settings, study.repeats) == (2, 100)
    assert [study.design_of(study.setting(one)) for one in (0, 1)] == [
        read_design("poppy"),
        read_design("cress"),
    ]
    assert study.arena_of(study.setting(0)) == read_arena("slalom")


@pytest.mark.parametrize("number", [-1, 96, 10**20])
@pytest.mark.parametrize("sampling", ["grid", "sobol"])
def test_no_setting_outside_of_the_study(number: int, sampling: str) -> None:
    study = parse_study(BASE if sampling == "grid" else DRAWN.format(sampling=sampling, settings=96, seed=1))
    assert study.settings == 96
    with pytest.raises(IndexError):
        study.setting(number)


def test_a_setting_of_values() -> None:
    study = parse_study(BASE)
    with pytest.raises(ValueError, match="is none of the plan's values"):
        study.setting_of((5e3, 5e3, 0.025))
    drawn = parse_study(DRAWN.format(sampling="random", settings=5, seed=1))
    assert drawn.setting_of((2e-3, 10e3, 0.05)) == Setting(-1, 0, 0, (2e-3, 10e3, 0.05))
    with pytest.raises(ValueError, match="is outside of the plan's range"):
        drawn.setting_of((9e-3, 10e3, 0.05))


def test_settings_are_never_listed() -> None:
    lines = [f"design.{part}: {low}..{high} in 1000" for part, low, high in (
        ("both.latch", "1k", "100k"), ("both.series", "1k", "100k"), ("both.feeler", "1k", "100k"),
        ("storage.leak", "1 Mohm", "2 Mohm"),
    )]  # fmt: skip
    study = parse_study(with_vary(*lines), most_trials=None)
    gc.collect()
    tracemalloc.start()
    try:
        assert (study.settings, study.trials) == (10**12, 10**14)
        last = study.setting(10**12 - 1)
        assert last.values == (100e3, 100e3, 100e3, 2e6)
        assert study.setting(1001).values[2] == study.ranges[2].at(1.5 / 1000)
        assert study.design_of(last).storage.leak == 2e6
        assert tracemalloc.get_traced_memory()[1] < 2_000_000
    finally:
        tracemalloc.stop()


def test_typical_times_go_by_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: 8)
    assert typical_time(10_000, 2 * 600.0) == pytest.approx(10_000 * 2 * 600.0 / (8 * planform.TYPICAL_SPEED))
    study = parse_study(BASE)
    assert study.typical_time == pytest.approx(960 * 600.0 / (8 * planform.TYPICAL_SPEED))
    assert study.size_text == "96 settings, 10 repeats: 960 trials, about 1 s here"


@pytest.mark.parametrize("sampling", ["random", "latin hypercube", "sobol"])
@pytest.mark.parametrize("settings", [1, 100, 256])
def test_drawn_settings(sampling: str, settings: int) -> None:
    study = parse_study(DRAWN.format(sampling=sampling, settings=settings, seed=3))
    again = parse_study(DRAWN.format(sampling=sampling, settings=settings, seed=3))
    found = [study.setting(number) for number in range(settings)]
    assert found == [again.setting(number) for number in range(settings)]
    assert [one.number for one in found] == list(range(settings))
    latches = set(study.ranges[1].values) if isinstance(study.ranges[1], Levels) else set()
    for one in found:
        assert 1e-3 <= one.values[0] <= 5e-3
        assert one.values[1] in latches
        assert 0.02 <= one.values[2] <= 0.06
        assert study.design_of(one).left.latch == one.values[1]
        assert study.arena_of(one).walls[0].height == one.values[2]
    if settings == 1:
        return
    other = parse_study(DRAWN.format(sampling=sampling, settings=settings, seed=4))
    assert found != [other.setting(number) for number in range(settings)]
    arenas = Counter(one.arena for one in found)
    if sampling == "random":
        assert min(arenas.values()) > 0.3 * settings
    else:
        assert abs(arenas[0] - arenas[1]) <= (0 if settings == 256 or "latin" in sampling else 10)
    # evenly in the logarithm: as many below the geometric mean of the ends as above
    below = sum(one.values[0] < 5e-3**0.5 * 1e-3**0.5 for one in found)
    assert 0.35 * settings < below < 0.65 * settings


def test_the_seed_of_a_grid_changes_no_setting() -> None:
    one, other = parse_study(BASE), parse_study(BASE + "seed: 7\n")
    assert [one.setting(n) for n in range(96)] == [other.setting(n) for n in range(96)]
    assert one.digest != other.digest


def test_settings_are_made_without_reading_yaml(monkeypatch: pytest.MonkeyPatch) -> None:
    study = parse_study(BASE)

    def refuse(*given: Any, **named: Any) -> None:
        raise AssertionError("YAML read for a setting")

    for name in ("parse", "compose", "scan", "safe_load"):
        monkeypatch.setattr(yaml, name, refuse)
    for number in range(study.settings):
        setting = study.setting(number)
        assert study.design_of(setting).left.latch == setting.values[0]
        assert study.arena_of(setting).lamps[0].intensity == setting.values[1]


def test_arenas_are_checked_once_each(monkeypatch: pytest.MonkeyPatch) -> None:
    study = parse_study(BASE)
    checked: list[str] = []
    check = geometry.check_geometry
    monkeypatch.setattr(geometry, "check_geometry", lambda spec: (checked.append(spec.name), check(spec))[1])
    found = {}
    for number in range(study.settings):
        setting = study.setting(number)
        arena = study.arena_of(setting)
        assert found.setdefault(study.arena_key(setting), arena) is arena
    # two arenas with three lights each
    assert Counter(checked) == {"slalom": 3, "corner trap": 3}
    assert len(found) == 6
    assert len({id(study.design_of(study.setting(number))) for number in range(study.settings)}) == 2 * 2 * 4


def test_settings_that_make_nothing_say_why() -> None:
    # the whisker must be longer than its bend: some combinations are impossible, the study is not
    study = parse_study(
        with_vary("design.both.whisker.length: 3 mm, 50 mm", "design.both.whisker.bend_to_close: 1 mm, 5 mm")
    )
    for values, possible in (((0.003, 0.001), True), ((0.003, 0.005), False), ((0.05, 0.005), True)):
        setting = study.setting_of(values)
        for _ in range(2):
            if possible:
                assert study.design_of(setting).left.whisker is not None
            else:
                with pytest.raises(
                    InputError, match=r"poppy: left\.whisker: got a switch that closes at 5 mm"
                ):
                    study.design_of(setting)
    zone = parse_study(
        with_vary("arena.starts.zone.x: 0.3 m, 0.4 m", "arena.starts.zone.size_x: 0.4 m, 0.7 m")
    )
    assert zone.arena_of(zone.setting_of((0.4, 0.7))).starts.zone is not None
    with pytest.raises(InputError, match=r"slalom: starts\.zone\.outline: got a zone that leaves the floor"):
        zone.arena_of(zone.setting_of((0.3, 0.7)))
    # at both ends of where it may be the wide zone leaves the floor, and yet there are places for it
    lines = ("arena.starts.zone.x: 0.3 m..2.15 m", "arena.starts.zone.size_x: 0.4 m, 2.36 m")
    drawn = parse_study(with_vary(*lines, more="sampling: sobol\nsettings: 256\n"))
    wide = [one for one in map(drawn.setting, range(drawn.settings)) if one.values[1] == 2.36]
    possible = 0
    for setting in wide:
        with suppress(InputError):
            possible += drawn.arena_of(setting).name == "slalom"
    # within 20 mm of the middle of the floor, of 1.8 m: one in 45
    assert 0 < possible < len(wide) / 10


def test_files_lie_beside_the_plan_or_in_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path / "plans" / "own.yaml", OWN)
    write(tmp_path / "rooms" / "room.yaml", ROOM)
    work = write(tmp_path / "work" / "else.yaml", OWN.replace("name: own", "name: else")).parent
    write(work / "own.yaml", OWN.replace("name: own", "name: hidden"))
    path = write(
        tmp_path / "plans" / "plan.yaml",
        "photodrome: study 1\nname: x\narenas: ../rooms/room.yaml\ndesigns: own.yaml, else.yaml, poppy\n",
    )
    monkeypatch.chdir(work)
    study = read_study(path)
    assert [spec.name for spec, _ in study.arenas] == ["room"]
    assert [one.design.name for one in study.designs] == ["own", "else", "poppy"]
    assert study.file == str(path)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(
        SpecError, match=r"plan\.yaml:4:10: designs: got 'else\.yaml', where no file can be read"
    ):
        read_study("plans/plan.yaml")


@pytest.mark.parametrize("name", shipped_names("study"))
def test_shipped_studies(name: str) -> None:
    study = read_study(name)
    assert study.about
    assert study.trials <= 100_000
    for number in range(0, study.settings, max(study.settings // 50, 1)):
        setting = study.setting(number)
        assert isinstance(study.design_of(setting), Design)
        assert study.seconds_of(setting) > 0.0


def test_the_example_in_the_reference_can_be_read() -> None:
    reference = (find_document("poppy", "design").parent.parent / "FIELDS.md").read_text(encoding="utf-8")
    section = reference.split("## Study")[1].split("\n## ")[0]
    study = parse_study(section.split("```yaml\n")[1].split("```")[0])
    assert study.settings == 5 * 7
    # each range of the table there, on parameters that it suits
    samples = [
        line.split("`")[1]
        for line in section.splitlines()
        if line.startswith("| `") and ("..." in line or ".." in line or "mm," in line)
    ]
    assert len(samples) == 6
    suits = {
        "mm": "design.both.eye.aside",
        "k.": "design.both.latch",
        "kl": "design.both.eye.knee_light",
        "mF": "design.storage.capacitance",
    }
    for sample in samples:
        path = next(path for unit, path in suits.items() if unit in sample)
        found = parse_study(with_vary(f"{path}: {sample}", more="sampling: sobol\nsettings: 4\n"))
        assert isinstance(found.ranges[0], Span) == (
            " in " not in sample and ".." in sample and "E12" not in sample
        )
