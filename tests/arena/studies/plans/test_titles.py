"""What plots call the values of a plan, against words by hand and the reference of all fields."""

import pytest

from agents.design.spec import Design
from agents.text.shapes import field_table, title_at
from agents.text.shipped import configs_folder
from arena.scene.spec import ArenaSpec, read_arena
from arena.studies.plans.parameters import known_paths
from arena.studies.plans.titles import design_title, title_of


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("arena", "arena"),
        ("design", "design"),
        ("design.both.feeler", "feeler resistor"),
        ("design.left.feeler", "left feeler resistor"),
        ("design.right.eye.tape", "right eye tape transmission"),
        ("design.both.npn.gain", "NPN current gain"),
        ("design.storage.capacitance", "storage capacitance"),
        ("design.panel.junction_voltage", "panel n N V_T"),
        ("design.spread.both.motor.constant.normal", "motor constant, standard deviation"),
        ("design.spread.storage.capacitance.uniform", "storage capacitance, half width"),
        ("arena.lasts", "length of the run"),
        ("arena.sun.elevation", "sun elevation"),
        ("arena.lamps.grow lamp.intensity", "grow lamp luminous intensity"),
        ("arena.lamps.1.intensity", "lamp 1 luminous intensity"),
        ("arena.walls.1.size_y", "wall 1 size along y"),
        ("arena.starts.places.2.heading", "start 2 heading"),
        ("arena.goals.by the lamp.x", "by the lamp place along x"),
    ],
)
def test_titles_by_hand(path: str, words: str) -> None:
    slalom = read_arena("slalom")
    goal = slalom.goals[0].model_copy(update={"name": "by the lamp"})
    assert title_of(path, slalom.model_copy(update={"goals": (goal,)})) == words


def test_a_name_with_a_dot_in_it_and_one_that_begins_like_another() -> None:
    names = ["lamp", "lamp 2.5"]
    assert title_at(ArenaSpec, "lamps.lamp 2.5.height", names) == "lamp 2.5 height"
    assert title_at(ArenaSpec, "lamps.lamp.height", names) == "lamp height"


def test_every_value_that_can_be_varied_has_words_of_its_own() -> None:
    """Two alike would make two axes that nobody could tell from one another."""
    arena = read_arena("potting-bench")
    paths = known_paths([Design(name="borage")], [arena])
    titles = [title_of(path, arena) for path in paths]
    assert len(paths) > 150
    assert all(titles)
    assert len(set(titles)) == len(titles)
    # no key of a file is left in them
    assert not [title for title in titles if "_" in title.replace("V_T", "")]


def test_the_reference_has_the_same_words() -> None:
    reference = (configs_folder() / "FIELDS.md").read_text(encoding="utf-8")
    rows = [row for row in field_table(Design) if row.key.startswith("left.")]
    assert len(rows) > 50
    for row in rows:
        path = row.key.replace("left.", "both.", 1)
        words = row.title.removeprefix("left ")
        assert f"| `{path}` | {words} | " in reference
        if "[]" not in path:
            assert design_title(path) == words
