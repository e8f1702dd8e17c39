"""Race files and folders of races that cannot be: told at their place, and nothing is made of them."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from agents.errors import InputError, NotFoundError, SpecError
from arena.races.entries import read_entries
from arena.races.race_folder import INDEX, read_results
from arena.races.race_plan import parse_race
from arena.races.race_setup import prepare_race
from arena.races.racing import race_all
from tests.helpers.classes import write_class

HEAD = "photodrome: race 1\nname: class\n"
SPRINT = "{arena: sprint-to-the-lamp, lasts: 30 s}"


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("courses: []", "courses", "got an empty list, expected at least one course"),
        (
            f"format: pairs\ncourses: [{SPRINT}, {SPRINT}]",
            "courses",
            "got 2 courses for a pairs, expected one, or format: relay",
        ),
        (
            "courses: [{arena: open-bench, by: last moving, dims: [50 %, 80 %]}]",
            "dims",
            "expected falling shares of the light",
        ),
        ("courses: [{arena: open-bench, by: last moving, dims: []}]", "dims", "expected falling shares"),
        (
            "courses: [{arena: sprint-to-the-lamp, dims: '100 %, 50 %'}]",
            "dims",
            "got stages of light, expected by: last moving beside them",
        ),
        ("courses: [{arena: sun-patches}]", "courses[0]", "which has no goal, expected an arena with a goal"),
        ("courses: [{arena: nowhere}]", "courses[0]", "expected an arena"),
    ],
)
def test_a_faulty_course_is_told_at_its_place(text: str, place: str, words: str) -> None:
    with pytest.raises(SpecError) as caught:
        parse_race(f"{HEAD}{text}\n", "plan", Path())
    (fault,) = caught.value.faults
    assert place in fault.key
    assert words in str(fault)


def without(key: str) -> Callable[[dict[str, Any]], object]:
    return lambda found: found.pop(key)


DAMAGE: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "of another program": (lambda found: found.update(photodrome="dance 1"), "it is none of this program"),
    "without its rounds": (without("rounds"), "something is missing"),
    "without its name": (lambda found: found["terms"].pop("name"), "is damaged"),
    "entries that are none": (lambda found: found.update(entries=[5]), "is damaged"),
    "a format that is none": (
        lambda found: found["terms"].update(format="tag"),
        r"is damaged \(format 'tag'\)",
    ),
}


def test_a_damaged_folder_of_a_race_is_refused(tmp_path: Path) -> None:
    write_class(tmp_path / "walkers", 2)
    plan = parse_race(f"{HEAD}courses: [{SPRINT}]\nrounds: 1\n", "plan", tmp_path)
    folder = tmp_path / "out"
    results = race_all(prepare_race(plan, read_entries([str(tmp_path / "walkers")])), folder, 1)
    path = folder / INDEX
    whole = path.read_bytes()
    for damage, words in DAMAGE.values():
        found = json.loads(whole)
        damage(found)
        path.write_text(json.dumps(found), encoding="utf-8")
        with pytest.raises(InputError, match=words) as caught:
            read_results(folder)
        assert str(path) in str(caught.value)
    path.write_bytes(whole)
    assert read_results(folder).as_dict() == results.as_dict()
    with pytest.raises(NotFoundError, match="walkers: holds no race"):
        read_results(tmp_path / "walkers")
